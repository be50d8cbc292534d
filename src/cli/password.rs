//! `basinward password`: a line for the embedded broker's password file.

use std::io::{self, IsTerminal, Write, stdin, stdout};

use super::{Failure, Fault};
use crate::link::hash_password;

/// Arguments of `password`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Example:
  basinward password shed-node >> /etc/basinward/passwords

The file named by `passwords_file` of [embedded_broker] holds one such line a device. It keeps a salted Argon2 \
hash, from which nobody can read the password. Without a terminal, the password is the first line of standard \
input.")]
pub struct PasswordArgs {
    /// User name that the device gives at the broker
    #[arg(value_name = "USER")]
    pub user: String,
}

/// Asks for a password and prints `user:hash`.
pub(super) fn password(args: &PasswordArgs) -> Result<(), Failure> {
    let user = &args.user;
    if user.is_empty() || user.starts_with('#') || user.contains([':', '\n']) {
        let what = format!("\"{user}\" cannot stand in a password file");
        let how = "choose a name without : that does not begin with #".to_owned();
        return Err(vec![Fault { place: "USER".to_owned(), what, how }].into());
    }
    let password = ask(&format!("Password of {user} (not shown): "))?;
    if password.is_empty() {
        let what = "the password is empty".to_owned();
        let how = "type one, or give it as the first line of standard input".to_owned();
        return Err(vec![Fault { place: "standard input".to_owned(), what, how }].into());
    }
    let hash = hash_password(&password).map_err(|e| Failure::Failed(Box::new(e)))?;
    writeln!(stdout(), "{user}:{hash}")?;
    Ok(())
}

/// A password from the terminal, asked for with `prompt`, or the first line of standard input.
pub(super) fn ask(prompt: &str) -> io::Result<String> {
    if stdin().is_terminal() {
        return rpassword::prompt_password(prompt);
    }
    let mut line = String::new();
    stdin().read_line(&mut line)?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}
