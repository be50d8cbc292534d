//! A value that is used but never shown.

use std::convert::Infallible;
use std::fmt;
use std::str::FromStr;

/// A password or token. It cannot be printed by accident: `Debug` hides it and there is no `Display`.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// The secret itself, for the one call that needs it.
    pub fn expose(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("set, hidden")
    }
}

impl FromStr for Secret {
    type Err = Infallible;

    fn from_str(text: &str) -> Result<Self, Infallible> {
        Ok(Self(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::Secret;

    #[test]
    fn debug_output_hides_the_secret() {
        let Ok(secret) = "correct horse".parse::<Secret>();
        assert_eq!(format!("{secret:?}"), "set, hidden");
        assert_eq!(secret.expose(), "correct horse");
    }
}
