//! Bare text: a number or a word.

use std::borrow::Cow;

use super::Refusal;
use super::convert::Written;
use super::decoded::Fault;

/// Reads a payload that is one bare value.
pub(super) fn read(payload: &[u8]) -> Result<Written<'_>, Fault> {
    let text = std::str::from_utf8(payload).map_err(|error| (Refusal::NotUtf8, error.to_string()))?;
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\0');
    if let Some(known) = word(text) {
        return Ok(Written::Word(Cow::Borrowed(known)));
    }
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(Written::Number(number)),
        Ok(number) => Err((Refusal::NotANumber, number.to_string())),
        Err(_) => Err((Refusal::NotParsable, "neither a number nor a known word".to_owned())),
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
        assert_eq!(read(b" 31.5\n"), Ok(Written::Number(31.5)));
        assert_eq!(read(b"Wet"), Ok(Written::Word("wet".into())));
        let reason = |payload: &[u8]| read(payload).unwrap_err().0;
        assert_eq!(reason(b"NaN"), Refusal::NotANumber);
        assert_eq!(reason(b"-inf"), Refusal::NotANumber);
        assert_eq!(reason(b"soaked"), Refusal::NotParsable);
        assert_eq!(reason(b""), Refusal::NotParsable);
        assert_eq!(reason(&[0xc3, 0x28]), Refusal::NotUtf8);
    }
}
