//! From what a record says to a value in the unit of its quantity.

use std::borrow::Cow;

use super::Refusal;
use super::decoded::Fault;
use crate::model::{Course, Quantity, Sensor, Unit, Value};

/// A value as it was written.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Written<'a> {
    Number(f64),
    Truth(bool),
    Word(Cow<'a, str>),
}

/// What a contact may say.
pub(super) const CONTACT_WORDS: &str = "wet, dry, open, closed, true, false, 1 or 0";
/// What a diverter may say.
pub(super) const COURSE_WORDS: &str = "landscape or sewer";

/// What is due as the value of `quantity`, in words.
pub(super) const fn due(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Float | Quantity::Overflow => CONTACT_WORDS,
        Quantity::Diverter => COURSE_WORDS,
        Quantity::Moisture | Quantity::Temperature | Quantity::Battery | Quantity::Meter | Quantity::Rain => {
            "a number"
        }
    }
}

/// The value of `sensor`, from what a record wrote and the unit it stated, if any.
pub(super) fn convert(sensor: &Sensor, written: &Written<'_>, unit: Option<&str>) -> Result<Value, Fault> {
    match sensor.quantity {
        Quantity::Float | Quantity::Overflow => contact(sensor, written).map(Value::Wet),
        Quantity::Diverter => course(written).map(Value::Course),
        Quantity::Moisture | Quantity::Temperature | Quantity::Battery | Quantity::Meter | Quantity::Rain => {
            measurement(sensor, written, unit).map(Value::Number)
        }
    }
}

/// Whether a contact means wet. `wet` and `dry` say so themselves; everything else is the
/// contact's state, which the system file may turn round.
fn contact(sensor: &Sensor, written: &Written<'_>) -> Result<bool, Fault> {
    let closed = match written {
        Written::Truth(truth) => *truth,
        Written::Number(number) => {
            let number = scaled(sensor, *number);
            if number.to_bits() == 1.0_f64.to_bits() {
                true
            } else if number == 0.0 {
                false
            } else {
                return Err((Refusal::OutOfRange, format!("{number} is neither 0 nor 1")));
            }
        }
        Written::Word(word) => match word.as_ref() {
            "wet" => return Ok(true),
            "dry" => return Ok(false),
            "true" | "closed" => true,
            "false" | "open" => false,
            other => return Err(unknown_word(other, CONTACT_WORDS)),
        },
    };
    Ok(closed != sensor.wiring.wet_is_open)
}

fn course(written: &Written<'_>) -> Result<Course, Fault> {
    match written {
        Written::Word(word) if word == "landscape" => Ok(Course::Landscape),
        Written::Word(word) if word == "sewer" => Ok(Course::Sewer),
        Written::Word(word) => Err(unknown_word(word, COURSE_WORDS)),
        Written::Number(_) | Written::Truth(_) => {
            Err((Refusal::WrongType, format!("a diverter says {COURSE_WORDS}")))
        }
    }
}

fn measurement(sensor: &Sensor, written: &Written<'_>, stated: Option<&str>) -> Result<f64, Fault> {
    let raw = match written {
        Written::Number(number) => *number,
        Written::Truth(truth) => {
            return Err((Refusal::WrongType, format!("{truth} where a number is due")));
        }
        Written::Word(word) => match word.parse::<f64>() {
            Ok(number) => number,
            Err(_) => return Err((Refusal::WrongType, format!("`{}` where a number is due", short(word)))),
        },
    };
    if !raw.is_finite() {
        return Err((Refusal::NotANumber, format!("{raw}")));
    }
    let wiring = &sensor.wiring;
    let number = scaled(sensor, raw);
    let value = if wiring.permittivity {
        topp(number)
    } else if let Some(unit) = wiring.unit {
        in_unit(sensor.quantity, number, unit)
    } else if wiring.scale.is_some() || wiring.offset.is_some() {
        number
    } else if let Some(stated) = stated {
        in_unit(sensor.quantity, number, unit_named(sensor.quantity, stated)?)
    } else {
        guessed(sensor.quantity, number)
    };
    let (low, high) = sensor.quantity.range();
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err((Refusal::OutOfRange, format!("{value} is not within {low} to {high} for {}", sensor.quantity)))
    }
}

fn scaled(sensor: &Sensor, number: f64) -> f64 {
    number * sensor.wiring.scale.unwrap_or(1.0) + sensor.wiring.offset.unwrap_or(0.0)
}

/// A number without unit or scale is a ratio up to and including 1, percent above.
fn guessed(quantity: Quantity, number: f64) -> f64 {
    let unit = match quantity {
        Quantity::Moisture | Quantity::Battery if number <= 1.0 => Unit::Ratio,
        Quantity::Moisture | Quantity::Battery => Unit::Percent,
        Quantity::Temperature => Unit::Celsius,
        Quantity::Float | Quantity::Overflow | Quantity::Diverter | Quantity::Meter | Quantity::Rain => {
            Unit::Count
        }
    };
    in_unit(quantity, number, unit)
}

/// A number in `unit` as the number that the model keeps for `quantity`.
fn in_unit(quantity: Quantity, number: f64, unit: Unit) -> f64 {
    match (unit, quantity) {
        (Unit::Percent, Quantity::Moisture) => number / 100.0,
        (Unit::Ratio, Quantity::Battery) => number * 100.0,
        (Unit::Fahrenheit, _) => (number - 32.0) / 1.8,
        (Unit::Ratio | Unit::Percent | Unit::Celsius | Unit::Count, _) => number,
    }
}

/// The unit that a SenML record may state for `quantity`.
fn unit_named(quantity: Quantity, stated: &str) -> Result<Unit, Fault> {
    match (quantity, stated) {
        (Quantity::Moisture | Quantity::Battery, "/") => Ok(Unit::Ratio),
        (Quantity::Moisture | Quantity::Battery, "%") | (Quantity::Battery, "%EL") => Ok(Unit::Percent),
        (Quantity::Temperature, "Cel") => Ok(Unit::Celsius),
        (Quantity::Meter | Quantity::Rain, "count") => Ok(Unit::Count),
        _ => Err((Refusal::WrongUnit, format!("`{}` is no unit of {quantity}", short(stated)))),
    }
}

/// Water content from relative permittivity: Topp, Davis & Annan (1980), Water Resour. Res.
/// 16:574–582.
fn topp(permittivity: f64) -> f64 {
    let e = permittivity;
    -5.3e-2 + e * (2.92e-2 + e * (-5.5e-4 + e * 4.3e-6))
}

fn unknown_word(word: &str, known: &str) -> Fault {
    (Refusal::WrongType, format!("`{}` where {known} is due", short(word)))
}

/// The beginning of a text, for a message.
pub(super) fn short(text: &str) -> &str {
    text.char_indices().nth(40).map_or(text, |(end, _)| &text[..end])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{BasinIx, Place, Wiring};

    fn sensor(quantity: Quantity, wiring: Wiring) -> Sensor {
        Sensor { place: Place::Basin(BasinIx(0)), quantity, wiring: wiring.into(), declared: true }
    }

    fn number(quantity: Quantity, wiring: Wiring, raw: f64, unit: Option<&str>) -> Result<f64, Refusal> {
        let sensor = sensor(quantity, wiring);
        convert(&sensor, &Written::Number(raw), unit).map(Value::to_number).map_err(|fault| fault.0)
    }

    fn close(found: Result<f64, Refusal>, expected: f64) {
        assert!((found.unwrap() - expected).abs() < 1e-6, "{found:?} is not {expected}");
    }

    #[test]
    fn water_content_is_a_ratio_up_to_one_and_percent_above() {
        let plain = |raw| number(Quantity::Moisture, Wiring::default(), raw, None);
        close(plain(0.31), 0.31);
        close(plain(1.0), 1.0);
        close(plain(31.0), 0.31);
        assert_eq!(plain(101.0), Err(Refusal::OutOfRange));
        assert_eq!(plain(-0.01), Err(Refusal::OutOfRange));
        assert_eq!(plain(f64::NAN), Err(Refusal::NotANumber));
    }

    #[test]
    fn stated_units_are_believed_and_wrong_ones_refused() {
        let stated = |quantity, raw, unit| number(quantity, Wiring::default(), raw, Some(unit));
        close(stated(Quantity::Moisture, 0.5, "%"), 0.005);
        close(stated(Quantity::Moisture, 0.5, "/"), 0.5);
        close(stated(Quantity::Battery, 80.0, "%EL"), 80.0);
        close(stated(Quantity::Battery, 0.8, "/"), 80.0);
        assert_eq!(stated(Quantity::Moisture, 1.5, "/"), Err(Refusal::OutOfRange));
        assert_eq!(stated(Quantity::Moisture, 20.0, "Cel"), Err(Refusal::WrongUnit));
        assert_eq!(stated(Quantity::Temperature, 20.0, "K"), Err(Refusal::WrongUnit));
    }

    #[test]
    fn scale_and_offset_come_first_and_then_no_unit_is_guessed() {
        let wiring = Wiring { scale: Some(0.001), offset: Some(0.1), ..Wiring::default() };
        close(number(Quantity::Moisture, wiring.clone(), 200.0, Some("%")), 0.3);
        let in_percent = Wiring { unit: Some(Unit::Percent), scale: Some(10.0), ..Wiring::default() };
        close(number(Quantity::Moisture, in_percent, 3.1, None), 0.31);
        assert_eq!(number(Quantity::Moisture, wiring, 2000.0, None), Err(Refusal::OutOfRange));
        let fahrenheit = Wiring { unit: Some(Unit::Fahrenheit), ..Wiring::default() };
        close(number(Quantity::Temperature, fahrenheit, 68.0, None), 20.0);
    }

    /// Values of Topp's equation as several public implementations give them.
    #[test]
    fn permittivity_becomes_water_content() {
        let wiring = Wiring { permittivity: true, ..Wiring::default() };
        for (permittivity, theta) in
            [(5.0, 0.079_788), (10.0, 0.188_300), (20.0, 0.345_400), (30.0, 0.444_100), (40.0, 0.510_200)]
        {
            let found = number(Quantity::Moisture, wiring.clone(), permittivity, None).unwrap();
            assert!((found - theta).abs() < 5e-7, "{permittivity}: {found}");
        }
        assert_eq!(number(Quantity::Moisture, wiring, 1.0, None), Err(Refusal::OutOfRange));
    }

    #[test]
    fn contacts_turn_round_but_wet_and_dry_never_do() {
        let wet = |wet_is_open, written: Written<'_>| {
            let sensor = sensor(Quantity::Float, Wiring { wet_is_open, ..Wiring::default() });
            convert(&sensor, &written, None).map(|v| v == Value::Wet(true)).map_err(|f| f.0)
        };
        let word = |w: &'static str| Written::Word(w.into());
        for written in [Written::Truth(true), Written::Number(1.0), word("closed"), word("true")] {
            assert_eq!((wet(false, written.clone()), wet(true, written)), (Ok(true), Ok(false)));
        }
        for written in [Written::Truth(false), Written::Number(0.0), word("open"), word("false")] {
            assert_eq!((wet(false, written.clone()), wet(true, written)), (Ok(false), Ok(true)));
        }
        assert_eq!((wet(true, word("wet")), wet(true, word("dry"))), (Ok(true), Ok(false)));
        assert_eq!(wet(false, Written::Number(2.0)), Err(Refusal::OutOfRange));
        assert_eq!(wet(false, word("damp")), Err(Refusal::WrongType));
        assert_eq!(wet(false, word("sewer")), Err(Refusal::WrongType));
    }
}
