//! Bare text: a number or a word.

use std::borrow::Cow;

use super::Refusal;
use super::convert::{Written, due, short};
use super::decoded::Fault;
use crate::model::Quantity;

/// Reads a payload that is one bare value of `quantity`.
pub(super) fn read(payload: &[u8], quantity: Quantity) -> Result<Written<'_>, Fault> {
    let text = std::str::from_utf8(payload).map_err(|error| (Refusal::NotUtf8, error.to_string()))?;
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
    if let Some(known) = word(text) {
        return Ok(Written::Word(Cow::Borrowed(known)));
    }
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(Written::Number(number)),
        Ok(number) => Err((Refusal::NotANumber, number.to_string())),
        Err(_) => Err((Refusal::NotParsable, format!("`{}` where {} is due", short(text), due(quantity)))),
    }
}

/// The known word that `text` is, in any case of letters.
pub(super) fn word(text: &str) -> Option<&'static str> {
    const WORDS: [&str; 8] = ["wet", "dry", "open", "closed", "true", "false", "landscape", "sewer"];
    WORDS.into_iter().find(|word| word.eq_ignore_ascii_case(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_words_are_read_and_nothing_else() {
        let read = |payload| read(payload, Quantity::Float);
        assert_eq!(read(b" 31.5\n"), Ok(Written::Number(31.5)));
        assert_eq!(read(b"Wet"), Ok(Written::Word("wet".into())));
        let reason = |payload: &'static [u8]| read(payload).unwrap_err().0;
        assert_eq!(reason(b"NaN"), Refusal::NotANumber);
        assert_eq!(reason(b"-inf"), Refusal::NotANumber);
        assert_eq!(reason(b"soaked"), Refusal::NotParsable);
        assert_eq!(reason(b""), Refusal::NotParsable);
        let says = read(b"up").unwrap_err().1;
        assert_eq!(says, "`up` where wet, dry, open, closed, true, false, 1 or 0 is due");
        assert_eq!(reason(&[0xc3, 0x28]), Refusal::NotUtf8);
    }
}
