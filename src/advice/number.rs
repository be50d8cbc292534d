//! Large numbers in sentences.

/// Digits in groups of three, with spaces that do not break: `28 424`.
pub fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push('\u{a0}');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_stand_in_groups_of_three() {
        assert_eq!([0, 999, 1_000].map(grouped), ["0", "999", "1\u{a0}000"]);
        assert_eq!(grouped(1_234_567), "1\u{a0}234\u{a0}567");
    }
}
