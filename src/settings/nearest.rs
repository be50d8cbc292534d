//! The known word that somebody probably meant.

/// The candidate most like `word`, if any is like enough to be worth offering.
///
/// Likeness is the normalised Damerau–Levenshtein similarity; below one half a suggestion misleads more than it
/// helps.
pub(super) fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    const LIKE_ENOUGH: f64 = 0.5;
    candidates
        .into_iter()
        .map(|candidate| (strsim::normalized_damerau_levenshtein(word, candidate), candidate))
        .filter(|(likeness, _)| *likeness >= LIKE_ENOUGH)
        .max_by(|(a, _), (b, _)| a.total_cmp(b))
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn a_slip_of_the_finger_finds_its_word() {
        assert_eq!(nearest("brokr", ["broker", "batch"]), Some("broker"));
        assert_eq!(nearest("lisetn", ["listen"]), Some("listen"));
    }

    #[test]
    fn a_word_like_nothing_finds_nothing() {
        assert_eq!(nearest("xylophone", ["broker", "batch"]), None);
    }
}
