//! An error and its causes on one line.

use std::error::Error;
use std::fmt;

/// Shows an error followed by its causes: `what failed: why: why that`.
#[derive(Debug, Clone, Copy)]
pub struct Chain<'a>(&'a (dyn Error + 'static));

/// Shows `error` followed by its causes. For the one place where an error is handled.
pub fn chain<'a>(error: &'a (dyn Error + 'static)) -> Chain<'a> {
    Chain(error)
}

impl fmt::Display for Chain<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)?;
        let mut cause = self.0.source();
        while let Some(error) = cause {
            write!(f, ": {error}")?;
            cause = error.source();
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::chain;

    #[derive(Debug, thiserror::Error)]
    #[error("commit a batch")]
    struct Outer(#[source] std::io::Error);

    #[test]
    fn causes_follow_their_error() {
        let error = Outer(std::io::Error::other("disk full"));
        assert_eq!(chain(&error).to_string(), "commit a batch: disk full");
    }
}
