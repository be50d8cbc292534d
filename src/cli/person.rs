//! `basinward person`: who may come in to the pages, from the daemon's machine.

use std::collections::BTreeSet;
use std::io::{Write, stdout};
use std::path::Path;

use super::password::ask;
use super::{Failure, Fault, SettingsFile};
use crate::clock::Clock;
use crate::ledger::{LedgerFault, PeopleOrder, Person, View, order_people};
use crate::model::{Id, PersonName, Reach, Role};
use crate::secrets::{check_password, hash_password};

/// Arguments of `person`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward person add Maria --role owner
  basinward person add Sam --role technician --property alder-court --property elm-row
  basinward person password Maria        a new password, when the old one is lost
  basinward person list

All of it also works while the daemon runs. Without a terminal, the password is the first line of standard input.")]
pub struct PersonArgs {
    /// What to do.
    #[command(subcommand)]
    pub what: PersonCommand,
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// What to do about a person.
#[derive(Debug, clap::Subcommand)]
pub enum PersonCommand {
    /// Let somebody in
    Add {
        /// What they are called
        name: String,
        /// What they may do: viewer, technician, manager or owner
        #[arg(long, value_parser = role)]
        role: Role,
        /// A property that they may see [default: all]; may be repeated
        #[arg(long = "property", value_name = "ID")]
        properties: Vec<String>,
    },
    /// Give somebody a new password, and sign their browsers out
    Password {
        /// What they are called
        name: String,
    },
    /// List everybody
    List,
}

fn role(text: &str) -> Result<Role, String> {
    Role::named(text).ok_or_else(|| "write viewer, technician, manager or owner".to_owned())
}

/// Does it.
pub(super) fn person(args: &PersonArgs) -> Result<(), Failure> {
    let loaded = args.settings.load()?;
    let folder = &loaded.settings.folders.data;
    match &args.what {
        PersonCommand::Add { name, role, properties } => add(folder, name, *role, properties),
        PersonCommand::Password { name } => password(folder, name),
        PersonCommand::List => list(folder),
    }
}

fn fault(place: &str, what: String, how: &str) -> Failure {
    vec![Fault { place: place.to_owned(), what, how: how.to_owned() }].into()
}

fn add(folder: &Path, name: &str, role: Role, properties: &[String]) -> Result<(), Failure> {
    let how = "write a name of 1 to 64 characters without :";
    let name = PersonName::new(name).map_err(|no| fault("NAME", no.to_string(), how))?;
    let properties: Result<BTreeSet<Id>, Failure> = properties
        .iter()
        .map(|text| {
            let how = "write the property's id as in its system files";
            Id::new(text).map_err(|no| fault("--property", no.to_string(), how))
        })
        .collect();
    let properties = properties?;
    let reach = if properties.is_empty() { Reach::Everywhere } else { Reach::Properties(properties) };
    let password = new_password(&name)?;
    let at = Clock::wall().now();
    let order = PeopleOrder::Add { name: name.clone(), role, reach, password, first: false, at };
    place(folder, &order)?;
    writeln!(stdout(), "{name} may come in as {role}.")?;
    Ok(())
}

fn password(folder: &Path, name: &str) -> Result<(), Failure> {
    let person = view(folder)?.person_named(name.trim()).map_err(failed)?;
    let Some((Person { no: person, name, .. }, _)) = person else {
        let how = "`basinward person list` names everybody";
        return Err(fault("NAME", format!("nobody is called {name}"), how));
    };
    let password = new_password(&name)?;
    place(folder, &PeopleOrder::SetPassword { person, password, except: None })?;
    writeln!(stdout(), "{name} has a new password; their browsers are signed out.")?;
    Ok(())
}

fn list(folder: &Path) -> Result<(), Failure> {
    let mut out = stdout().lock();
    for person in view(folder)?.people().map_err(failed)? {
        let reach = match person.reach {
            Reach::Everywhere => "all properties".to_owned(),
            Reach::Properties(ids) => ids.iter().map(Id::as_str).collect::<Vec<_>>().join(", "),
        };
        writeln!(out, "{}\t{}\t{reach}", person.name, person.role)?;
    }
    Ok(())
}

fn failed(fault: LedgerFault) -> Failure {
    Failure::Failed(Box::new(fault))
}

fn view(folder: &Path) -> Result<View, Failure> {
    View::open(folder).map_err(failed)
}

fn new_password(name: &PersonName) -> Result<String, Failure> {
    let password = ask(&format!("New password of {name} (not shown): "))?;
    let place = "standard input";
    check_password(name.as_str(), &password).map_err(|no| fault(place, no.to_string(), "try another one"))?;
    hash_password(&password).map_err(|no| Failure::Failed(Box::new(no)))
}

fn place(folder: &Path, order: &PeopleOrder) -> Result<(), Failure> {
    match order_people(folder, order).map_err(failed)? {
        Ok(_) => Ok(()),
        Err(refused) => Err(Failure::Failed(Box::new(refused))),
    }
}
