//! The last readings of one system, by sensor.

use crate::desk::sheet::{FloatSheet, Moment, SoilBand, SoilWater};
use crate::desk::words;
use crate::ledger::Latest;
use crate::model::{BasinIx, Course, EventTime, Place, Quantity, SensorIx, Soil, Span, System, Value};

/// A reading older than this no longer tells about the present.
const OLD: Span = Span::from_hours(12);

/// The last readings of a system, and when they are looked at.
#[derive(Clone, Copy, Debug)]
pub struct Readings<'a> {
    system: &'a System,
    latest: &'a [Latest],
    now: EventTime,
}

impl<'a> Readings<'a> {
    /// `latest` holds rows of `system` only, in any order; those of sensors it no longer has do not show.
    pub fn new(system: &'a System, latest: &'a [Latest], now: EventTime) -> Self {
        Self { system, latest, now }
    }

    /// The last reading of a sensor.
    pub fn of(&self, sensor: SensorIx) -> Option<&'a Latest> {
        let Place::Basin(basin) = self.system.sensor(sensor).place else {
            let name = self.system.sensor(sensor).quantity.name();
            return self.latest.iter().find(|reading| *reading.sensor == *name);
        };
        let basin = self.system.basin(basin).id.as_str();
        let quantity = self.system.sensor(sensor).quantity;
        self.latest.iter().find(|reading| {
            reading.quantity == quantity
                && reading.sensor.strip_suffix(quantity.name()).and_then(|rest| rest.strip_suffix('/'))
                    == Some(basin)
        })
    }

    /// `at` in words of the system's zone.
    pub fn moment(&self, at: EventTime) -> Moment {
        words::moment(at, self.now, &self.system.zone)
    }

    /// When they are looked at.
    pub fn now(&self) -> EventTime {
        self.now
    }

    /// How many sensors were heard, of all that the system file names or that were.
    pub fn heard(&self) -> (usize, usize) {
        let is_heard = |ix: &SensorIx| self.of(*ix).is_some();
        let there = self.system.sensor_ixs().filter(|ix| self.system.sensor(*ix).declared || is_heard(ix));
        there.fold((0, 0), |(heard, all), ix| (heard + usize::from(is_heard(&ix)), all + 1))
    }

    /// When anything was heard last.
    pub fn last_heard(&self) -> Option<Moment> {
        self.latest.iter().map(|reading| reading.at).max().map(|at| self.moment(at))
    }

    /// Where the diverter stands.
    pub fn diverter(&self) -> Option<(Course, Moment)> {
        let sensor = self.system.find_sensor(Place::System, Quantity::Diverter)?;
        let reading = self.of(sensor)?;
        match Value::from_number(Quantity::Diverter, reading.value) {
            Value::Course(course) => Some((course, self.moment(reading.at))),
            Value::Wet(_) | Value::Number(_) => None,
        }
    }

    /// The soil of a basin with a probe that was heard.
    pub fn soil(&self, basin: BasinIx) -> Option<SoilWater> {
        let sensor = self.system.find_sensor(Place::Basin(basin), Quantity::Moisture)?;
        let reading = self.of(sensor)?;
        Some(SoilWater {
            content: reading.value,
            band: band(self.system.soil, reading.value),
            read: self.moment(reading.at),
            old: self.is_old(reading.at),
        })
    }

    /// A float or overflow float of a basin, where there is one.
    pub fn float(&self, basin: BasinIx, quantity: Quantity) -> Option<FloatSheet> {
        let sensor = self.system.find_sensor(Place::Basin(basin), quantity)?;
        Some(self.of(sensor).map_or(FloatSheet::Unheard, |reading| FloatSheet::Read {
            wet: Value::from_number(quantity, reading.value) == Value::Wet(true),
            read: self.moment(reading.at),
            old: self.is_old(reading.at),
        }))
    }

    fn is_old(&self, at: EventTime) -> bool {
        self.now - at > OLD
    }
}

/// What a water content means in a soil class. Soaked begins at 95 % of the pores, since air stays
/// trapped in some (common practice, no published source).
fn band(soil: Soil, content: f64) -> SoilBand {
    let soil = soil.properties();
    match content {
        c if c < soil.wilting_point => SoilBand::Dry,
        c if c < soil.field_capacity => SoilBand::Moist,
        c if c < 0.95 * soil.porosity => SoilBand::Wet,
        _ => SoilBand::Soaked,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wilting point, field capacity and porosity of sandy loam: EPA SWMM 5 user's manual, appendix A.2.
    #[test]
    fn water_content_is_judged_by_the_soil() {
        let says = |content| band(Soil::SandyLoam, content);
        assert_eq!(says(0.05), SoilBand::Dry);
        assert_eq!(says(0.085), SoilBand::Moist);
        assert_eq!(says(0.190), SoilBand::Wet);
        assert_eq!(says(0.45), SoilBand::Soaked);
        assert_eq!(band(Soil::Clay, 0.25), SoilBand::Dry);
    }
}
