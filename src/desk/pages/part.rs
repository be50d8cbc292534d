//! Parts of a page that are replaced one by one while it is open.

use std::hash::Hasher;

use maud::{Markup, PreEscaped};
use rustc_hash::FxHasher;

/// A finished element with a name, and a print that changes with its content.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its name, unique on the page.
    pub name: String,
    /// The element.
    pub html: String,
}

impl Part {
    /// Finishes a part: `draw` makes the element and puts the given print into its `data-print`.
    ///
    /// The print is taken of the element drawn with an empty print, so equal content has an equal one.
    pub fn new(name: impl Into<String>, draw: impl FnOnce(&str) -> Markup) -> Self {
        const BLANK: &str = "0000000000000000";
        let mut html = draw(BLANK).into_string();
        let mut hasher = FxHasher::default();
        hasher.write(html.as_bytes());
        let print = format!("{:016x}", hasher.finish());
        if let Some(at) = html.find(BLANK) {
            html.replace_range(at..at + BLANK.len(), &print);
        }
        Self { name: name.into(), html }
    }

    /// The element for a template.
    pub fn markup(&self) -> PreEscaped<&str> {
        PreEscaped(&self.html)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use maud::html;

    #[test]
    fn equal_content_has_an_equal_print() {
        let part = |text: &str| Part::new("p", |print| html! { p data-print=(print) { (text) } }).html;
        assert_eq!(part("dry"), part("dry"));
        assert_ne!(part("dry"), part("wet"));
        assert!(!part("dry").contains("0000000000000000"));
    }
}
