//! An error and its causes on one line.

use std::error::Error;
use std::fmt;

/// Shows an error followed by its causes: `what failed: why: why that`. A cause that its error already ends with is
/// not said twice.
#[derive(Debug, Clone, Copy)]
pub struct Chain<'a>(&'a (dyn Error + 'static));

/// Shows `error` followed by its causes. For the one place where an error is handled.
pub fn chain<'a>(error: &'a (dyn Error + 'static)) -> Chain<'a> {
    Chain(error)
}

impl fmt::Display for Chain<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut said = self.0.to_string();
        let mut cause = self.0.source();
        while let Some(error) = cause {
            let words = error.to_string();
            if !said.ends_with(&words) {
                said.push_str(": ");
                said.push_str(&words);
            }
            cause = error.source();
        }
        f.write_str(&said)
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

    #[derive(Debug, thiserror::Error)]
    #[error("cannot connect: {0}")]
    struct Repeating(#[source] std::io::Error);

    #[test]
    fn a_cause_that_was_named_is_not_named_again() {
        let error = Repeating(std::io::Error::other("refused"));
        assert_eq!(chain(&error).to_string(), "cannot connect: refused");
    }
}
