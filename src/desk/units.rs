//! Quantities with their units, metric or as used in the United States.

use crate::model::Quantity;
use crate::stats::figures::two_figures;

/// A no-break space, between a number and its unit.
const NBSP: char = '\u{a0}';
/// Litres in a US gallon, exactly (NIST Handbook 44, appendix C).
const LITRES_PER_GALLON: f64 = 3.785_411_784;
/// Millimetres in an inch, exactly (NIST Handbook 44, appendix C).
const MM_PER_INCH: f64 = 25.4;

/// Which units a person prefers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Units {
    /// Litres, millimetres, degrees Celsius.
    #[default]
    Metric,
    /// Gallons, inches, degrees Fahrenheit.
    Us,
}

impl Units {
    /// The name that the cookie and the address carry.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Metric => "metric",
            Self::Us => "us",
        }
    }

    /// The units called `name`.
    pub fn named(name: &str) -> Option<Self> {
        [Self::Metric, Self::Us].into_iter().find(|units| units.name() == name)
    }

    /// Unit of volumes.
    pub const fn volume_unit(self) -> &'static str {
        match self {
            Self::Metric => "L",
            Self::Us => "gal",
        }
    }

    /// Unit of rain and depths.
    pub const fn depth_unit(self) -> &'static str {
        match self {
            Self::Metric => "mm",
            Self::Us => "in",
        }
    }

    /// Unit of lengths in a yard.
    pub const fn length_unit(self) -> &'static str {
        match self {
            Self::Metric => "m",
            Self::Us => "ft",
        }
    }

    /// Metres of a length in the unit of lengths.
    pub fn metres_of(self, length: f64) -> f64 {
        match self {
            Self::Metric => length,
            Self::Us => length * 0.012 * MM_PER_INCH,
        }
    }

    /// Litres in the unit of volumes.
    pub fn volume_in(self, litres: f64) -> f64 {
        match self {
            Self::Metric => litres,
            Self::Us => litres / LITRES_PER_GALLON,
        }
    }

    /// Millimetres in the unit of depths.
    pub fn depth_in(self, mm: f64) -> f64 {
        match self {
            Self::Metric => mm,
            Self::Us => mm / MM_PER_INCH,
        }
    }

    /// Litres of a volume in the unit of volumes.
    pub fn litres_of(self, volume: f64) -> f64 {
        match self {
            Self::Metric => volume,
            Self::Us => volume * LITRES_PER_GALLON,
        }
    }

    /// Millimetres of a depth in the unit of depths.
    pub fn mm_of(self, depth: f64) -> f64 {
        match self {
            Self::Metric => depth,
            Self::Us => depth * MM_PER_INCH,
        }
    }

    /// A volume: `1 240 L`, `328 gal`.
    pub fn volume(self, litres: f64) -> String {
        let volume = self.volume_in(litres);
        let number = if volume < 9.95 { format!("{volume:.1}") } else { grouped(volume) };
        format!("{number}{NBSP}{}", self.volume_unit())
    }

    /// A volume, to two figures if nobody counted it: `1 200 L`, `320 gal`.
    pub fn volume_told(self, litres: f64, is_estimate: bool) -> String {
        if !is_estimate {
            return self.volume(litres);
        }
        self.volume(self.litres_of(two_figures(self.volume_in(litres))))
    }

    /// A depth in a basin: `120 mm`, `4.7 in`.
    pub fn depth(self, mm: f64) -> String {
        match self {
            Self::Metric => format!("{mm:.0}{NBSP}mm"),
            Self::Us => format!("{:.1}{NBSP}in", self.depth_in(mm)),
        }
    }

    /// Rain: `3.2 mm`, `0.13 in`.
    pub fn rain(self, mm: f64) -> String {
        match self {
            Self::Metric => format!("{mm:.1}{NBSP}mm"),
            Self::Us => format!("{:.2}{NBSP}in", self.depth_in(mm)),
        }
    }

    /// An area: `1.2 m²`, `12.9 ft²`.
    pub fn area(self, m2: f64) -> String {
        match self {
            Self::Metric => format!("{m2:.1}{NBSP}m²"),
            Self::Us => format!("{:.1}{NBSP}ft²", m2 / (0.012 * MM_PER_INCH).powi(2)),
        }
    }

    /// A sentence whose volumes, depths and temperatures are metric, in these units.
    pub fn retold(self, metric: &str) -> String {
        match self {
            Self::Metric => metric.to_owned(),
            Self::Us => retold_in_us(metric),
        }
    }

    /// A value of a sensor.
    pub fn value(self, quantity: Quantity, number: f64) -> String {
        match quantity {
            Quantity::Temperature => self.temperature(number),
            Quantity::Float
            | Quantity::Overflow
            | Quantity::Moisture
            | Quantity::Battery
            | Quantity::Meter
            | Quantity::Diverter
            | Quantity::Rain => super::words::value(quantity, number),
        }
    }

    /// A temperature: `6.3 °C`, `43.3 °F`.
    pub fn temperature(self, celsius: f64) -> String {
        match self {
            Self::Metric => format!("{celsius:.1}{NBSP}°C"),
            Self::Us => format!("{:.1}{NBSP}°F", celsius * 1.8 + 32.0),
        }
    }
}

/// Every `120 mm`, `1 240 L`, `1.2 m²`, `5 mm/h` and `6.3 °C` turned into what is used in the United States.
fn retold_in_us(metric: &str) -> String {
    let mut told = String::with_capacity(metric.len());
    let mut rest = metric;
    while let Some(at) = rest.find(|c: char| c.is_ascii_digit()) {
        let (before, from_digit) = rest.split_at(at);
        told.push_str(before);
        let (number, after) = from_digit.split_at(number_length(from_digit));
        if let Some((words, length)) = us(number, after) {
            told.push_str(&words);
            rest = &after[length..];
        } else {
            told.push_str(number);
            rest = after;
        }
    }
    told + rest
}

/// How much of `text`, which begins with a digit, is the number: with its thousands, as [`grouped`] writes them.
fn number_length(text: &str) -> usize {
    let digits = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    // A full stop after a number ends the sentence.
    let digits = text[..digits].trim_end_matches('.').len();
    let Some(next) = text[digits..].strip_prefix(NBSP) else { return digits };
    let group = next.find(|c: char| !c.is_ascii_digit()).unwrap_or(next.len());
    if group == 3 { digits + NBSP.len_utf8() + number_length(next) } else { digits }
}

/// The quantity of `number` and the unit that `after` begins with, and how much of `after` that was.
fn us(number: &str, after: &str) -> Option<(String, usize)> {
    let space = after.chars().next().filter(|c| *c == ' ' || *c == NBSP)?.len_utf8();
    let length = after[space..]
        .find(|c: char| !(c.is_alphabetic() || ['°', '/', '²'].contains(&c)))
        .unwrap_or(after.len() - space);
    let value: f64 = number.replace(NBSP, "").parse().ok()?;
    let words = match &after[space..space + length] {
        "L" | "litres" => Units::Us.volume(value),
        "mm" => Units::Us.depth(value),
        "m²" => Units::Us.area(value),
        "mm/h" => format!("{:.2}{NBSP}in/h", Units::Us.depth_in(value)),
        "°C" => Units::Us.temperature(value),
        _ => return None,
    };
    Some((words, space + length))
}

fn grouped(number: f64) -> String {
    super::words::grouped(number.max(0.0).round() as u64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_nobody_counted_is_told_to_two_figures() {
        let told = |litres| Units::Metric.volume_told(litres, true);
        assert_eq!(
            [1_197.0, 996.0, 47.3, 4.26].map(told),
            ["1\u{a0}200\u{a0}L", "1\u{a0}000\u{a0}L", "47\u{a0}L", "4.3\u{a0}L"]
        );
        assert_eq!(Units::Us.volume_told(1_197.0, true), "320\u{a0}gal");
        assert_eq!(Units::Metric.volume_told(1_197.0, false), "1\u{a0}197\u{a0}L");
        assert_eq!(told(0.0), "0.0\u{a0}L");
    }

    #[test]
    fn sentences_are_retold_in_the_units_of_the_reader() {
        let says = "Loam alone would take the same 18 mm in 83 minutes. It received 798 L, at 5 mm/h and 6.5 °C, since 2026.";
        assert_eq!(Units::Metric.retold(says), says);
        assert_eq!(
            Units::Us.retold(says),
            "Loam alone would take the same 0.7\u{a0}in in 83 minutes. It received 211\u{a0}gal, at 0.20\u{a0}in/h \
             and 43.7\u{a0}°F, since 2026."
        );
        assert_eq!(Units::Us.retold("It takes 2.5."), "It takes 2.5.");
        assert_eq!(
            Units::Us.retold("1\u{a0}240\u{a0}L on 1.2 m² by 20\u{a0}November 2026"),
            "328\u{a0}gal on 12.9\u{a0}ft² by 20\u{a0}November 2026"
        );
    }

    /// Conversions printed in NIST Handbook 44 (2024), appendix C: 1 gallon is 3.785 411 784 litres, 1 foot
    /// 304.8 mm, 1 square foot 929.0304 cm².
    #[test]
    fn units_convert_as_published() {
        assert_eq!(Units::Us.volume(3_785.411_784), "1\u{a0}000\u{a0}gal");
        assert_eq!(Units::Us.depth(304.8), "12.0\u{a0}in");
        assert_eq!(Units::Us.area(0.092_903_04), "1.0\u{a0}ft²");
        assert_eq!(Units::Us.temperature(100.0), "212.0\u{a0}°F");
        assert_eq!(Units::Metric.volume(1240.4), "1\u{a0}240\u{a0}L");
        assert_eq!(Units::Metric.volume(4.25), "4.2\u{a0}L");
    }
}
