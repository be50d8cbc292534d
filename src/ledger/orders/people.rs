//! Who may come in: people, their signed-in browsers, and the keys of their programs.

use rusqlite::{Connection, OptionalExtension, params};

use super::{Answer, Refused, Reply};
use crate::ledger::record::to_json;
use crate::model::{Action, EventTime, PersonName, Reach, Role};
use crate::secrets::TokenPrint;

/// Most people, and most keys of one person; a bound on what a mistaken program can fill.
const MOST_PEOPLE: u64 = 10_000;
const MOST_KEYS: u64 = 50;
/// Signed-in browsers of one person; the oldest makes room for a new one.
const MOST_SESSIONS: u64 = 20;

/// Stands for a person, the same for ever and never given again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PersonNo(pub u64);

/// A change in who may come in.
#[derive(Clone, Debug, PartialEq)]
pub enum PeopleOrder {
    /// Take in somebody new. Answered with their number.
    Add {
        /// What they are called; nobody else may be.
        name: PersonName,
        /// What they may do.
        role: Role,
        /// What they may see.
        reach: Reach,
        /// Their password's hash.
        password: String,
        /// Only if there is nobody yet.
        first: bool,
        /// When.
        at: EventTime,
    },
    /// Change what somebody may do and see.
    Change {
        /// Who.
        person: PersonNo,
        /// What they may do from now on.
        role: Role,
        /// What they may see from now on.
        reach: Reach,
    },
    /// Give somebody another password, and sign their browsers out.
    SetPassword {
        /// Who.
        person: PersonNo,
        /// The hash of the new one.
        password: String,
        /// The browser that stays signed in.
        except: Option<TokenPrint>,
    },
    /// Take somebody out, with all that they came in by.
    Remove {
        /// Who.
        person: PersonNo,
    },
    /// A browser signs in.
    BeginSession {
        /// Who sits before it.
        person: PersonNo,
        /// What its cookie is known by.
        token: TokenPrint,
        /// When.
        at: EventTime,
        /// Until when it is good.
        ends: EventTime,
    },
    /// A browser signs out.
    EndSession {
        /// What its cookie is known by.
        token: TokenPrint,
    },
    /// A program gets a key. Answered with the key's number.
    AddKey {
        /// In whose name.
        person: PersonNo,
        /// What the key is known by.
        token: TokenPrint,
        /// What it is for, in the person's words.
        label: String,
        /// What it may be used for, of what the person may.
        scopes: Vec<Action>,
        /// When.
        at: EventTime,
        /// Until when it is good, if not for ever.
        ends: Option<EventTime>,
    },
    /// A key is no longer good.
    RevokeKey {
        /// Whose.
        person: PersonNo,
        /// Its number.
        key: u64,
    },
}

/// Carries out `order`.
pub(in crate::ledger) fn write(db: &Connection, order: &PeopleOrder) -> rusqlite::Result<Answer> {
    match order {
        PeopleOrder::Add { name, role, reach, password, first, at } => {
            add(db, name, *role, reach, password, *first, *at)
        }
        PeopleOrder::Change { person, role, reach } => change(db, *person, *role, reach),
        PeopleOrder::SetPassword { person, password, except } => set_password(db, *person, password, *except),
        PeopleOrder::Remove { person } => remove(db, *person),
        PeopleOrder::BeginSession { person, token, at, ends } => begin(db, *person, *token, *at, *ends),
        PeopleOrder::EndSession { token } => {
            db.execute("DELETE FROM sessions WHERE token = ?1", [token.0])?;
            Ok(Ok(Reply::Done))
        }
        PeopleOrder::AddKey { person, token, label, scopes, at, ends } => {
            let room = "SELECT count(*) FROM keys WHERE person = ?1";
            if db.query_row(room, [person.0], |row| row.get::<_, u64>(0))? >= MOST_KEYS {
                return Ok(refuse("you have 50 keys: revoke one that is no longer used"));
            }
            db.execute(
                "INSERT INTO keys (token, person, label, scopes, created_at, ends_at)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![token.0, person.0, label, to_json(scopes)?, at.millis(), ends.map(EventTime::millis)],
            )?;
            Ok(Ok(Reply::Number(db.last_insert_rowid().unsigned_abs())))
        }
        PeopleOrder::RevokeKey { person, key } => {
            let gone = db.execute("DELETE FROM keys WHERE no = ?1 AND person = ?2", [*key, person.0])?;
            Ok(if gone == 0 { refuse("there is no such key") } else { Ok(Reply::Done) })
        }
    }
}

fn refuse(why: &str) -> Answer {
    Err(Refused(why.to_owned()))
}

/// The reach as the ledger keeps it.
fn reach_text(reach: &Reach) -> rusqlite::Result<Option<String>> {
    match reach {
        Reach::Everywhere => Ok(None),
        Reach::Properties(properties) => to_json(properties).map(Some),
    }
}

fn add(
    db: &Connection,
    name: &PersonName,
    role: Role,
    reach: &Reach,
    password: &str,
    first: bool,
    at: EventTime,
) -> rusqlite::Result<Answer> {
    let people: u64 = db.query_row("SELECT count(*) FROM people", [], |row| row.get(0))?;
    if first && people > 0 {
        return Ok(refuse("somebody has set this up already: sign in instead"));
    }
    if people >= MOST_PEOPLE {
        return Ok(refuse("there are 10,000 people already: remove somebody first"));
    }
    if people == 0 && role != Role::Owner {
        return Ok(refuse("the first person must be an owner, or nobody could let others in"));
    }
    if owner_is_limited(role, reach) {
        return Ok(refuse(LIMITED_OWNER));
    }
    let taken = "SELECT 1 FROM people WHERE name = ?1";
    if db.query_row(taken, [name.as_str()], |_| Ok(())).optional()?.is_some() {
        return Ok(Err(Refused(format!("somebody is called {name} already: choose another name"))));
    }
    db.execute(
        "INSERT INTO people (name, role, reach, password, created_at) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![name.as_str(), role.name(), reach_text(reach)?, password, at.millis()],
    )?;
    Ok(Ok(Reply::Number(db.last_insert_rowid().unsigned_abs())))
}

const LIMITED_OWNER: &str = "an owner sees every property: choose another role to limit somebody";
const NOBODY: &str = "there is no such person";
const LAST_OWNER: &str = "this is the only owner: make somebody else an owner first";

/// An owner lets people in to any property, so a limit would be one in name only.
fn owner_is_limited(role: Role, reach: &Reach) -> bool {
    role == Role::Owner && *reach != Reach::Everywhere
}

/// Whether somebody else is an owner too.
fn has_other_owner(db: &Connection, person: PersonNo) -> rusqlite::Result<bool> {
    let sql = "SELECT count(*) FROM people WHERE role = 'owner' AND no <> ?1";
    Ok(db.query_row(sql, [person.0], |row| row.get::<_, u64>(0))? > 0)
}

fn change(db: &Connection, person: PersonNo, role: Role, reach: &Reach) -> rusqlite::Result<Answer> {
    if owner_is_limited(role, reach) {
        return Ok(refuse(LIMITED_OWNER));
    }
    if role != Role::Owner && !has_other_owner(db, person)? {
        return Ok(refuse(LAST_OWNER));
    }
    let changed = db.execute(
        "UPDATE people SET role = ?2, reach = ?3 WHERE no = ?1",
        params![person.0, role.name(), reach_text(reach)?],
    )?;
    Ok(if changed == 0 { refuse(NOBODY) } else { Ok(Reply::Done) })
}

fn set_password(
    db: &Connection,
    person: PersonNo,
    password: &str,
    except: Option<TokenPrint>,
) -> rusqlite::Result<Answer> {
    let changed = db.execute("UPDATE people SET password = ?2 WHERE no = ?1", params![person.0, password])?;
    if changed == 0 {
        return Ok(refuse(NOBODY));
    }
    db.execute(
        "DELETE FROM sessions WHERE person = ?1 AND token IS NOT ?2",
        params![person.0, except.map(|token| token.0)],
    )?;
    Ok(Ok(Reply::Done))
}

fn remove(db: &Connection, person: PersonNo) -> rusqlite::Result<Answer> {
    if !has_other_owner(db, person)? {
        return Ok(refuse(LAST_OWNER));
    }
    db.execute("DELETE FROM sessions WHERE person = ?1", [person.0])?;
    db.execute("DELETE FROM keys WHERE person = ?1", [person.0])?;
    let gone = db.execute("DELETE FROM people WHERE no = ?1", [person.0])?;
    Ok(if gone == 0 { refuse(NOBODY) } else { Ok(Reply::Done) })
}

fn begin(
    db: &Connection,
    person: PersonNo,
    token: TokenPrint,
    at: EventTime,
    ends: EventTime,
) -> rusqlite::Result<Answer> {
    db.execute("DELETE FROM sessions WHERE ends_at <= ?1", [at.millis()])?;
    db.execute(
        "DELETE FROM sessions WHERE person = ?1 AND token NOT IN
         (SELECT token FROM sessions WHERE person = ?1 ORDER BY began_at DESC LIMIT ?2)",
        [person.0, MOST_SESSIONS - 1],
    )?;
    // The person may have been removed between the check of the password and now.
    let begun = db.execute(
        "INSERT INTO sessions (token, person, began_at, ends_at) SELECT ?1, no, ?3, ?4 FROM people WHERE no = ?2",
        params![token.0, person.0, at.millis(), ends.millis()],
    )?;
    Ok(if begun == 0 { refuse(NOBODY) } else { Ok(Reply::Done) })
}
