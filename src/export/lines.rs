//! Line protocol, the text form of points: <https://docs.influxdata.com/influxdb/v2/reference/syntax/line-protocol/>.
//!
//! Terms: a *line* is one point: measurement, tags, fields, time in milliseconds. What the protocol has no
//! spelling for is left out or spelt otherwise, so that no text can end a line early or spill into its
//! neighbour: no empty tags, no numbers that are not finite, no line without a field.

use std::fmt::Write;
use std::ops::Range;

use crate::model::EventTime;

/// Lines one after the other, each of which can be found again.
#[derive(Debug, Default)]
pub struct Lines {
    text: String,
    /// Where each line ends, its line feed included.
    ends: Vec<usize>,
}

/// A line in the making; [`Line::at`] completes it, dropping it leaves nothing behind.
#[derive(Debug)]
pub struct Line<'l> {
    lines: &'l mut Lines,
    fields: usize,
}

impl Lines {
    /// Begins a line. Tags come first, then fields, then [`Line::at`].
    pub fn line(&mut self, measurement: &str) -> Line<'_> {
        escape(&mut self.text, measurement, &[',', ' ']);
        Line { lines: self, fields: 0 }
    }

    /// Number of lines.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// The lines in `range`, each with its line feed.
    ///
    /// # Panics
    /// When `range` is not within `0..len()`.
    pub fn text(&self, range: Range<usize>) -> &str {
        &self.text[self.start(range.start)..self.start(range.end)]
    }

    /// Forgets all lines but keeps their room.
    pub fn clear(&mut self) {
        self.text.clear();
        self.ends.clear();
    }

    /// Where line `n` starts, or the end of all.
    fn start(&self, n: usize) -> usize {
        n.checked_sub(1).map_or(0, |before| self.ends[before])
    }
}

impl Line<'_> {
    /// Adds a tag, unless its value is empty.
    #[must_use]
    pub fn tag(self, key: &str, value: &str) -> Self {
        if !value.is_empty() {
            self.lines.text.push(',');
            escape(&mut self.lines.text, key, &[',', '=', ' ']);
            self.lines.text.push('=');
            escape(&mut self.lines.text, value, &[',', '=', ' ']);
        }
        self
    }

    /// Adds a number, unless it is not finite.
    #[must_use]
    pub fn number(mut self, key: &str, value: f64) -> Self {
        if value.is_finite() {
            self.key(key);
            // The shortest form that reads back as the same number.
            let _ = write!(self.lines.text, "{value:?}");
        }
        self
    }

    /// Adds a whole number.
    #[must_use]
    pub fn whole(mut self, key: &str, value: i64) -> Self {
        self.key(key);
        let _ = write!(self.lines.text, "{value}i");
        self
    }

    /// Adds a text.
    #[must_use]
    pub fn text(mut self, key: &str, value: &str) -> Self {
        self.key(key);
        self.lines.text.push('"');
        for c in value.chars() {
            if matches!(c, '"' | '\\') {
                self.lines.text.push('\\');
            }
            self.lines.text.push(if c.is_control() { ' ' } else { c });
        }
        self.lines.text.push('"');
        self
    }

    /// Completes the line, unless it has no field.
    pub fn at(self, time: EventTime) {
        if self.fields > 0 {
            let _ = writeln!(self.lines.text, " {}", time.millis());
            self.lines.ends.push(self.lines.text.len());
        }
    }

    fn key(&mut self, key: &str) {
        self.lines.text.push(if self.fields == 0 { ' ' } else { ',' });
        self.fields += 1;
        escape(&mut self.lines.text, key, &[',', '=', ' ']);
        self.lines.text.push('=');
    }
}

impl Drop for Line<'_> {
    fn drop(&mut self) {
        // After `at`, this is where the text ends anyway.
        let complete = self.lines.ends.last().copied().unwrap_or_default();
        self.lines.text.truncate(complete);
    }
}

/// A name with `special` characters escaped. A backslash has no spelling of its own there, since it would escape
/// what follows: it becomes a slash; so do control characters become blanks. A name is never empty, and never begins
/// with the sign of a comment.
fn escape(out: &mut String, name: &str, special: &[char]) {
    if name.is_empty() || name.starts_with('#') {
        out.push('_');
    }
    for c in name.chars() {
        let c = match c {
            '\\' => '/',
            c if c.is_control() => ' ',
            c => c,
        };
        if special.contains(&c) {
            out.push('\\');
        }
        out.push(c);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_has_the_documented_form() {
        let mut lines = Lines::default();
        lines
            .line("reading")
            .tag("system", "alder court")
            .tag("basin", "")
            .number("value", 0.31)
            .whole("n", -3)
            .text("says", "5\" deep, C:\\")
            .at(EventTime::from_millis(1_700_000_000_000));
        assert_eq!(
            lines.text(0..1),
            "reading,system=alder\\ court value=0.31,n=-3i,says=\"5\\\" deep, C:\\\\\" 1700000000000\n"
        );
    }

    #[test]
    fn a_line_without_a_field_or_an_end_leaves_nothing() {
        let mut lines = Lines::default();
        lines.line("a").number("x", 1.0).at(EventTime::from_millis(1));
        lines.line("b").number("x", f64::NAN).at(EventTime::from_millis(2));
        drop(lines.line("c").number("x", 1.0));
        lines.line("d").number("x", 2.0).at(EventTime::from_millis(3));
        assert_eq!((lines.len(), lines.text(0..2)), (2, "a x=1.0 1\nd x=2.0 3\n"));
        assert_eq!(lines.text(1..2), "d x=2.0 3\n");
    }

    #[test]
    fn what_would_end_a_line_or_escape_its_neighbour_is_spelt_otherwise() {
        let mut lines = Lines::default();
        lines.line("#m\n").tag("a\\", "b\nc,d=e\\").number("v", 1e300).at(EventTime::from_millis(0));
        assert_eq!(lines.text(0..1), "_#m\\ ,a/=b\\ c\\,d\\=e/ v=1e300 0\n");
    }
}
