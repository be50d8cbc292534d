//! Passwords as Argon2id hashes (RFC 9106).

use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};

use super::token::{NoChance, random};

/// Shortest password. NIST SP 800-63B (revision 3, section 5.1.1.2) asks for 8 at the least and forbids rules
/// about kinds of characters; the few more make up for there being no second factor.
const SHORTEST: usize = 12;
/// Longest password; longer ones only cost time.
const LONGEST: usize = 256;

/// Memory in KiB, passes and lanes: the first of the settings that the OWASP password storage cheat sheet gives
/// for Argon2id besides its 46 MiB one.
const COST: (u32, u32, u32) = (19 * 1024, 2, 1);

/// Why a password is not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PasswordFault {
    /// Too short to withstand guessing.
    #[error(
        "the password has {0} characters: choose 12 or more, such as four words that do not belong together"
    )]
    Short(usize),
    /// Longer than anybody types.
    #[error("the password has more than 256 characters: choose a shorter one")]
    Long,
    /// The first thing that somebody would try.
    #[error("the password repeats the name or a single character: choose another one")]
    Obvious,
}

/// Whether `password` will do for somebody called `name`.
///
/// # Errors
/// Why not.
pub fn check_password(name: &str, password: &str) -> Result<(), PasswordFault> {
    let length = password.chars().count();
    if length < SHORTEST {
        return Err(PasswordFault::Short(length));
    }
    if length > LONGEST {
        return Err(PasswordFault::Long);
    }
    let plain = password.to_lowercase();
    let one_character = plain.chars().all(|c| plain.starts_with(c));
    if one_character || plain.replace(&name.to_lowercase(), "").chars().count() < 4 {
        return Err(PasswordFault::Obvious);
    }
    Ok(())
}

fn argon2() -> Argon2<'static> {
    let (memory_kib, passes, lanes) = COST;
    let params = Params::new(memory_kib, passes, lanes, None).expect("constants within RFC 9106's bounds");
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

/// The hash to keep, in PHC string format. Takes some 20 ms of one core on purpose.
///
/// # Errors
/// Only when the system has no random numbers.
pub fn hash_password(password: &str) -> Result<String, NoChance> {
    let salt = SaltString::encode_b64(&random::<16>()?).expect("16 bytes are a salt");
    let hash = argon2().hash_password(password.as_bytes(), &salt).expect("any bytes can be hashed");
    Ok(hash.to_string())
}

/// Whether `password` belongs to `hash`; without a hash, takes as long and says no.
pub fn verify_password(password: &str, hash: Option<&str>) -> bool {
    let spare =
        "$argon2id$v=19$m=19456,t=2,p=1$bm90aGluZyBncm93cyE$KpLSRmoR3DOuvKKNpIfTW9PLPBvYBIGy4BOIJJW8Jx4";
    let Ok(known) = PasswordHash::new(hash.unwrap_or(spare)) else { return false };
    let fits = argon2().verify_password(password.as_bytes(), &known).is_ok();
    fits && hash.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_fits_its_own_hash_only() {
        let hash = hash_password("rake trowel spirit level").unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert!(verify_password("rake trowel spirit level", Some(&hash)));
        assert!(!verify_password("rake trowel spirit leve", Some(&hash)));
        assert!(!verify_password("rake trowel spirit level", None));
        assert!(!verify_password("rake", Some("not a hash")));
        assert_ne!(hash, hash_password("rake trowel spirit level").unwrap(), "salted");
    }

    /// Test vector of the reference implementation (github.com/P-H-C/phc-winner-argon2, src/test.c, version 0x13).
    #[test]
    fn a_hash_of_the_reference_implementation_is_understood() {
        let theirs = "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4";
        assert!(verify_password("password", Some(theirs)));
        assert!(!verify_password("Password", Some(theirs)));
    }

    #[test]
    fn passwords_that_fall_first_are_refused() {
        assert_eq!(check_password("maria", "rake"), Err(PasswordFault::Short(4)));
        assert_eq!(check_password("maria", "aaaaaaaaaaaaa"), Err(PasswordFault::Obvious));
        assert_eq!(check_password("Maria", "mariamaria12"), Err(PasswordFault::Obvious));
        assert_eq!(check_password("maria", &"ab".repeat(200)), Err(PasswordFault::Long));
        assert_eq!(check_password("maria", "rake trowel spirit level"), Ok(()));
    }
}
