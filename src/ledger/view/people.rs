//! Who may come in, and what they come in by.

use rusqlite::{Connection, OptionalExtension, Row, params};

use super::View;
use crate::ledger::record::{from_json, unexpected, unreadable};
use crate::ledger::{LedgerFault, PersonNo};
use crate::model::{Action, EventTime, PersonName, Reach, Role};
use crate::secrets::TokenPrint;

/// Somebody who may come in.
#[derive(Clone, Debug, PartialEq)]
pub struct Person {
    /// Their number.
    pub no: PersonNo,
    /// What they are called.
    pub name: PersonName,
    /// What they may do.
    pub role: Role,
    /// What they may see.
    pub reach: Reach,
    /// Since when.
    pub created_at: EventTime,
}

/// A program's key, without what it is known by.
#[derive(Clone, Debug, PartialEq)]
pub struct Key {
    /// Its number.
    pub no: u64,
    /// What it is for.
    pub label: String,
    /// What it may be used for, of what its person may.
    pub scopes: Vec<Action>,
    /// Since when.
    pub created_at: EventTime,
    /// Until when it is good, if not for ever.
    pub ends_at: Option<EventTime>,
}

const COLUMNS: &str = "people.no, people.name, people.role, people.reach, people.created_at";

impl View {
    /// Whether anybody may come in yet.
    pub fn has_people(&self) -> Result<bool, LedgerFault> {
        self.read("read the people", |db| {
            db.query_row("SELECT EXISTS (SELECT 1 FROM people)", [], |row| row.get(0))
        })
    }

    /// Everybody, by name.
    pub fn people(&self) -> Result<Vec<Person>, LedgerFault> {
        self.read("read the people", |db| {
            let mut query =
                db.prepare_cached(&format!("SELECT {COLUMNS} FROM people ORDER BY name COLLATE NOCASE"))?;
            query.query_map([], person)?.collect()
        })
    }

    /// Whoever is called `name`, with the hash of their password.
    pub fn person_named(&self, name: &str) -> Result<Option<(Person, String)>, LedgerFault> {
        self.read("look for a person", |db| {
            let sql = format!("SELECT {COLUMNS}, people.password FROM people WHERE name = ?1");
            let mut query = db.prepare_cached(&sql)?;
            query.query_row([name], |row| Ok((person(row)?, row.get(5)?))).optional()
        })
    }

    /// Who signed in at the browser whose cookie has this print, if that still holds at `now`.
    pub fn session(&self, token: TokenPrint, now: EventTime) -> Result<Option<Person>, LedgerFault> {
        self.read("look for a signed-in browser", |db| {
            let sql = format!(
                "SELECT {COLUMNS} FROM sessions JOIN people ON people.no = sessions.person
                 WHERE sessions.token = ?1 AND sessions.ends_at > ?2"
            );
            db.prepare_cached(&sql)?.query_row(params![token.0, now.millis()], person).optional()
        })
    }

    /// In whose name a program comes, and what its key is good for, if it is at `now`.
    pub fn key(
        &self,
        token: TokenPrint,
        now: EventTime,
    ) -> Result<Option<(Person, Vec<Action>)>, LedgerFault> {
        self.read("look for a key", |db| {
            let sql = format!(
                "SELECT {COLUMNS}, keys.scopes FROM keys JOIN people ON people.no = keys.person
                 WHERE keys.token = ?1 AND (keys.ends_at IS NULL OR keys.ends_at > ?2)"
            );
            let found = |row: &Row<'_>| Ok((person(row)?, from_json(5, row.get_ref(5)?.as_str()?)?));
            db.prepare_cached(&sql)?.query_row(params![token.0, now.millis()], found).optional()
        })
    }

    /// The keys of one person, oldest first.
    pub fn keys(&self, person: PersonNo) -> Result<Vec<Key>, LedgerFault> {
        self.read("read the keys", |db| keys(db, person))
    }
}

fn keys(db: &Connection, person: PersonNo) -> rusqlite::Result<Vec<Key>> {
    let mut query = db.prepare_cached(
        "SELECT no, label, scopes, created_at, ends_at FROM keys WHERE person = ?1 ORDER BY no",
    )?;
    let key = |row: &Row<'_>| {
        Ok(Key {
            no: row.get(0)?,
            label: row.get(1)?,
            scopes: from_json(2, row.get_ref(2)?.as_str()?)?,
            created_at: EventTime::from_millis(row.get(3)?),
            ends_at: row.get::<_, Option<i64>>(4)?.map(EventTime::from_millis),
        })
    };
    query.query_map([person.0], key)?.collect()
}

fn person(row: &Row<'_>) -> rusqlite::Result<Person> {
    let reach = match row.get_ref(3)?.as_str_or_null()? {
        None => Reach::Everywhere,
        Some(list) => Reach::Properties(from_json(3, list)?),
    };
    Ok(Person {
        no: PersonNo(row.get(0)?),
        name: PersonName::new(row.get_ref(1)?.as_str()?).map_err(|fault| unreadable(1, fault))?,
        role: Role::named(row.get_ref(2)?.as_str()?).ok_or_else(|| unexpected(2))?,
        reach,
        created_at: EventTime::from_millis(row.get(4)?),
    })
}
