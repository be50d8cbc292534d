//! Reading keys out of a TOML table without stopping at the first fault.
//!
//! A [`Reader`] collects the faults of one file. A [`Section`] is one table of it and remembers
//! which keys were asked for: whatever is left over when it closes is an unknown key.

use jiff::civil::Date;
use toml_edit::{Item, TableLike, TomlError, Value};

use super::Fault;

/// The faults of one file while it is read.
pub(super) struct Reader<'t> {
    file: &'t str,
    text: &'t str,
    faults: Vec<Fault>,
}

/// One table of the file.
pub(super) struct Section<'t> {
    table: &'t dyn TableLike,
    /// How faults call this table; empty for the file's top level.
    place: String,
    /// Where the table begins, in bytes.
    at: usize,
    asked: Vec<&'static str>,
}

/// A value with the place of its key, in bytes.
pub(super) type At<T> = (usize, T);

/// Bounds of a number, with its unit.
#[derive(Clone, Copy)]
pub(super) struct Bounds {
    low: f64,
    high: f64,
    /// The low bound itself is not allowed.
    open: bool,
    unit: &'static str,
}

/// `low` to `high`, both allowed.
pub(super) const fn within(low: f64, high: f64, unit: &'static str) -> Bounds {
    Bounds { low, high, open: false, unit }
}

/// Above 0, up to `high`.
pub(super) const fn above_zero(high: f64, unit: &'static str) -> Bounds {
    Bounds { low: 0.0, high, open: true, unit }
}

impl Bounds {
    fn contain(self, number: f64) -> bool {
        (self.low..=self.high).contains(&number) && !(self.open && number <= self.low)
    }

    fn advice(self) -> String {
        let low = if self.open { "a number above 0, up to".to_owned() } else { format!("{} to", self.low) };
        format!("give {low} {} {}", self.high, self.unit).trim_end().to_owned()
    }
}

impl<'t> Reader<'t> {
    pub(super) fn new(file: &'t str, text: &'t str) -> Self {
        Self { file, text, faults: Vec::new() }
    }

    /// Notes a fault at a byte offset of the text.
    pub(super) fn fault(&mut self, at: usize, what: impl Into<String>, how: impl Into<String>) {
        let (line, column) = self.position(at);
        self.faults.push(Fault {
            file: self.file.to_owned(),
            line,
            column,
            what: what.into(),
            how: how.into(),
        });
    }

    /// Notes that the text is not TOML at all.
    pub(super) fn syntax(&mut self, error: &TomlError) {
        let at = error.span().map_or(self.text.len(), |span| span.start);
        let what = format!("this is not TOML: {}", error.message().replace('\n', " "));
        self.fault(at, what, "texts stand in quotes, and a key may be set once only");
    }

    /// Line and column of a byte offset, both from 1.
    pub(super) fn position(&self, at: usize) -> (usize, usize) {
        let before = self.text.get(..at).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
    }

    /// All faults in the order of the file.
    pub(super) fn finish(mut self) -> Vec<Fault> {
        self.faults.sort_by_key(|fault| (fault.line, fault.column));
        self.faults
    }
}

impl<'t> Section<'t> {
    pub(super) fn top(table: &'t dyn TableLike) -> Self {
        Self { table, place: String::new(), at: 0, asked: Vec::new() }
    }

    /// Gives the table the name by which faults call it.
    pub(super) fn rename(&mut self, place: String) {
        self.place = place;
    }

    /// Where the table begins.
    pub(super) fn at(&self) -> usize {
        self.at
    }

    /// Where `key` stands, or the table without it.
    pub(super) fn at_of(&self, key: &str) -> usize {
        self.table.key(key).and_then(toml_edit::Key::span).map_or(self.at, |span| span.start)
    }

    /// ` of basin …` for messages; nothing at the top level.
    pub(super) fn of_place(&self) -> String {
        if self.place.is_empty() { String::new() } else { format!(" of {}", self.place) }
    }

    fn find(&mut self, key: &'static str) -> Option<At<&'t Item>> {
        self.asked.push(key);
        let (name, item) = self.table.get_key_value(key)?;
        let at = name.span().or_else(|| item.span()).map_or(self.at, |span| span.start);
        Some((at, item))
    }

    fn wrong_kind(&self, r: &mut Reader<'_>, at: usize, key: &str, item: &Item, how: &str) {
        let kind = item.type_name();
        let article = if kind.starts_with(['a', 'i']) { "an" } else { "a" };
        r.fault(at, format!("`{key}`{} is {article} {kind}", self.of_place()), how);
    }

    /// Notes that a required key is missing.
    pub(super) fn missing(&self, r: &mut Reader<'_>, key: &str, how: &str) {
        let place = if self.place.is_empty() { "the system" } else { &self.place };
        r.fault(self.at, format!("{place} lacks `{key}`"), how);
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// A text in quotes: not blank, at most `most` characters, no control characters.
    pub(super) fn text(&mut self, r: &mut Reader<'_>, key: &'static str, most: usize) -> Option<At<&'t str>> {
        let (at, item) = self.find(key)?;
        let Some(text) = item.as_str() else {
            self.wrong_kind(r, at, key, item, "write a text in quotes");
            return None;
        };
        if text.trim().is_empty() || text.chars().count() > most || text.contains(char::is_control) {
            let what = format!("`{key}`{} is blank, too long or has control characters", self.of_place());
            r.fault(at, what, format!("write 1 to {most} plain characters"));
            return None;
        }
        Some((at, text.trim()))
    }

    /// A number within bounds.
    pub(super) fn number(&mut self, r: &mut Reader<'_>, key: &'static str, bounds: Bounds) -> Option<f64> {
        let (at, item) = self.find(key)?;
        let Some(number) = item.as_value().and_then(as_number) else {
            self.wrong_kind(r, at, key, item, &bounds.advice());
            return None;
        };
        if !bounds.contain(number) {
            r.fault(at, format!("`{key}`{} is {number}", self.of_place()), bounds.advice());
            return None;
        }
        Some(number)
    }

    /// A whole number within bounds.
    pub(super) fn whole(
        &mut self,
        r: &mut Reader<'_>,
        key: &'static str,
        low: u16,
        high: u16,
    ) -> Option<u16> {
        let (at, item) = self.find(key)?;
        let how = format!("give a whole number from {low} to {high}");
        let Some(number) = item.as_integer() else {
            self.wrong_kind(r, at, key, item, &how);
            return None;
        };
        let fits = u16::try_from(number).ok().filter(|n| (low..=high).contains(n));
        if fits.is_none() {
            r.fault(at, format!("`{key}`{} is {number}", self.of_place()), how);
        }
        fits
    }

    /// `true` or `false`.
    pub(super) fn flag(&mut self, r: &mut Reader<'_>, key: &'static str) -> Option<bool> {
        let (at, item) = self.find(key)?;
        let flag = item.as_bool();
        if flag.is_none() {
            self.wrong_kind(r, at, key, item, "write true or false, without quotes");
        }
        flag
    }

    /// A day of the calendar, written as a TOML date.
    pub(super) fn date(&mut self, r: &mut Reader<'_>, key: &'static str) -> Option<Date> {
        let (at, item) = self.find(key)?;
        let how = "write a day from 1970 to 2100 without quotes or time, such as 2025-04-12";
        let Some(stamp) = item.as_datetime() else {
            self.wrong_kind(r, at, key, item, how);
            return None;
        };
        let day = match (stamp.date, stamp.time) {
            (Some(d), None) if (1970..=2100).contains(&d.year) => {
                Date::new(d.year.cast_signed(), d.month.cast_signed(), d.day.cast_signed()).ok()
            }
            _ => None,
        };
        if day.is_none() {
            r.fault(at, format!("`{key}`{} is {stamp}, which is no such day", self.of_place()), how);
        }
        day
    }

    /// Texts in square brackets.
    pub(super) fn texts(
        &mut self,
        r: &mut Reader<'_>,
        key: &'static str,
        how: &str,
    ) -> Option<At<Vec<&'t str>>> {
        let (at, item) = self.find(key)?;
        let texts: Option<Vec<&str>> = item.as_array().and_then(|a| a.iter().map(Value::as_str).collect());
        if texts.is_none() {
            self.wrong_kind(r, at, key, item, how);
        }
        texts.map(|texts| (at, texts))
    }

    /// Two finite numbers in square brackets.
    pub(super) fn pair(&mut self, r: &mut Reader<'_>, key: &'static str, how: &str) -> Option<At<[f64; 2]>> {
        let (at, item) = self.find(key)?;
        let numbers: Option<Vec<f64>> = item.as_array().and_then(|a| a.iter().map(as_number).collect());
        let pair =
            numbers.and_then(|n| <[f64; 2]>::try_from(n).ok()).filter(|p| p.iter().all(|n| n.is_finite()));
        if pair.is_none() {
            r.fault(at, format!("`{key}`{} is not two numbers", self.of_place()), how);
        }
        pair.map(|pair| (at, pair))
    }

    /// A table, with a header of its own or in braces.
    pub(super) fn section(&mut self, r: &mut Reader<'_>, key: &'static str) -> Option<Section<'t>> {
        let (at, item) = self.find(key)?;
        let place = format!("`{key}`{}", self.of_place());
        if let Some(table) = item.as_table_like() {
            return Some(Section { table, place, at, asked: Vec::new() });
        }
        let how = format!("write its keys in braces; `{key} = {{}}` takes every default");
        self.wrong_kind(r, at, key, item, &how);
        None
    }

    /// Repeated tables, under `[[key]]` headers or in an array.
    pub(super) fn sections(&mut self, r: &mut Reader<'_>, key: &'static str) -> Vec<Section<'t>> {
        let Some((at, item)) = self.find(key) else { return Vec::new() };
        if let Some(tables) = item.as_array_of_tables() {
            let open = |table: &'t toml_edit::Table| Section {
                table,
                place: format!("a {key}"),
                at: table.span().map_or(at, |span| span.start),
                asked: Vec::new(),
            };
            return tables.iter().map(open).collect();
        }
        let inline = item.as_array().and_then(|array| {
            array
                .iter()
                .map(|value| {
                    let table = value.as_inline_table()?;
                    let at = value.span().map_or(at, |span| span.start);
                    Some(Section { table, place: format!("a {key}"), at, asked: Vec::new() })
                })
                .collect::<Option<Vec<_>>>()
        });
        inline.unwrap_or_else(|| {
            self.wrong_kind(r, at, key, item, &format!("head each {key} with `[[{key}]]`"));
            Vec::new()
        })
    }

    /// Notes every key that nobody asked for.
    pub(super) fn close(mut self, r: &mut Reader<'_>) {
        self.asked.sort_unstable();
        self.asked.dedup();
        for (name, item) in self.table.iter() {
            if self.asked.contains(&name) {
                continue;
            }
            let span = self.table.key(name).and_then(toml_edit::Key::span).or_else(|| item.span());
            let at = span.map_or(self.at, |span| span.start);
            let known: Vec<String> = self.asked.iter().map(|key| format!("`{key}`")).collect();
            let how = match nearest(name, self.asked.iter().copied()) {
                Some(near) => format!("did you mean `{near}`? Known here: {}", known.join(", ")),
                None => "remove it".to_owned(),
            };
            r.fault(at, format!("unknown key `{name}`{}", self.of_place()), how);
        }
    }
}

/// The known word that looks most like `word`.
pub(super) fn nearest<'k>(word: &str, known: impl Iterator<Item = &'k str>) -> Option<&'k str> {
    known.max_by(|a, b| strsim::jaro_winkler(word, a).total_cmp(&strsim::jaro_winkler(word, b)))
}

fn as_number(value: &Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64))
}
