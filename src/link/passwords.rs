//! The password file of the embedded broker: `user:hash` a line, `#` for comments.
//!
//! Hashes are Argon2 in PHC string format, which [`hash_password`] makes.

use std::path::{Path, PathBuf};

use mqtt5::broker::PasswordAuthProvider;

/// What is wrong with a password file.
#[derive(Debug, thiserror::Error)]
pub enum PasswordError {
    /// Missing, or not ours to read.
    #[error("cannot read {}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// A line that is not `user:hash`.
    #[error("{}:{line}: expected `user:hash` with an Argon2 hash, {why}", path.display())]
    Line {
        /// The file.
        path: PathBuf,
        /// Line number, from 1.
        line: usize,
        /// What was found instead.
        why: &'static str,
    },
    /// Nobody could ever log in.
    #[error("{} names no user", path.display())]
    NoUser {
        /// The file.
        path: PathBuf,
    },
    /// The system gave no random salt.
    #[error("cannot hash the password")]
    Hash(#[source] mqtt5::MqttError),
}

/// The hash to write behind a user's name in the password file.
///
/// # Errors
/// Only when the system has no random numbers.
pub fn hash_password(password: &str) -> Result<String, PasswordError> {
    PasswordAuthProvider::hash_password(password).map_err(PasswordError::Hash)
}

pub(super) fn read_passwords(path: &Path) -> Result<PasswordAuthProvider, PasswordError> {
    let text = std::fs::read_to_string(path)
        .map_err(|source| PasswordError::Read { path: path.to_path_buf(), source })?;
    let users = PasswordAuthProvider::new();
    for (index, line) in text.lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let (user, hash) = user_and_hash(line).map_err(|why| PasswordError::Line {
            path: path.to_path_buf(),
            line: index + 1,
            why,
        })?;
        users.add_user_with_hash(user, hash);
    }
    if users.user_count() == 0 {
        return Err(PasswordError::NoUser { path: path.to_path_buf() });
    }
    Ok(users)
}

fn user_and_hash(line: &str) -> Result<(&str, &str), &'static str> {
    let (user, hash) = line.split_once(':').ok_or("found no `:`")?;
    let (user, hash) = (user.trim(), hash.trim());
    if user.is_empty() {
        return Err("found no user name");
    }
    // `$argon2id$v=19$m=19456,t=2,p=1$salt$hash`
    if !hash.starts_with("$argon2") || hash.split('$').filter(|part| !part.is_empty()).count() < 4 {
        return Err("found a password in the clear or another kind of hash");
    }
    Ok((user, hash))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<PasswordAuthProvider, PasswordError> {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), text).unwrap();
        read_passwords(file.path())
    }

    #[test]
    fn a_hash_made_here_is_accepted_there() {
        let hash = hash_password("rake and trowel").unwrap();
        let users = read(&format!("# the yard\n\nprobe : {hash}\n")).unwrap();
        assert!(users.verify_user_password("probe", "rake and trowel"));
        assert!(!users.verify_user_password("probe", "rake"));
    }

    #[test]
    fn a_password_in_the_clear_is_refused_with_its_line() {
        let error = read("# the yard\nprobe:trowel\n").unwrap_err().to_string();
        assert!(error.contains(":2: ") && error.contains("in the clear"), "{error}");
        assert!(!error.contains("trowel"), "the password must not be repeated: {error}");
    }

    #[test]
    fn a_file_without_users_is_refused() {
        assert!(matches!(read("# nobody\n"), Err(PasswordError::NoUser { .. })));
    }
}
