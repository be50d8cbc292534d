//! Passwords and tokens: made at random, kept only as hashes.

mod password;
mod seal;
mod token;

pub use password::{PasswordFault, check_password, hash_password, verify_password};
pub use seal::Seal;
pub use token::{NoChance, Token, TokenPrint, digest_text, one_time_code, same_text};
