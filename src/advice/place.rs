//! Naming a part of a system as somebody in its yard would: in sentences with the name that people gave it in quotes,
//! so that `lower` or `jasmine on a trellis` is seen to be one; as a title without.

use crate::model::{BasinIx, Quantity, Subject, System};

/// How names that people gave are written.
#[derive(Clone, Copy)]
enum Names {
    Quoted,
    Plain,
}

impl Names {
    fn write(self, name: &str) -> String {
        match self {
            Self::Quoted => quoted(name),
            Self::Plain => name.to_owned(),
        }
    }

    fn basin(self, system: &System, basin: BasinIx) -> String {
        let this = system.basin(basin);
        let Some(plant) = &this.plant else { return self.of_id(this.id.as_str()) };
        let namesakes = system.basins.iter().filter(|other| other.plant.as_ref() == Some(plant)).count();
        if namesakes > 1 {
            format!("the {} basin {}", self.write(plant), self.write(this.id.as_str()))
        } else {
            format!("the {} basin", self.write(plant))
        }
    }

    /// `basin “b2”`; an id that says itself that it is a basin is enough.
    fn of_id(self, id: &str) -> String {
        if id.starts_with("basin") { self.write(id) } else { format!("basin {}", self.write(id)) }
    }

    fn sensor(self, system: &System, sensor: &str) -> String {
        let (basin, quantity) = match sensor.split_once('/') {
            Some((basin, quantity)) => (system.find_basin(basin), quantity),
            None => (None, sensor),
        };
        let device = match Quantity::named(quantity) {
            Some(Quantity::Float) => "the float",
            Some(Quantity::Overflow) => "the overflow float",
            Some(Quantity::Moisture) => "the moisture probe",
            Some(Quantity::Temperature) => "the temperature probe",
            Some(Quantity::Battery) => "the battery",
            Some(Quantity::Meter) => "the water meter",
            Some(Quantity::Diverter) => "the diverter's position sensor",
            Some(Quantity::Rain) => "the rain gauge",
            None => return format!("sensor {}", self.write(sensor)),
        };
        match basin {
            Some(basin) => format!("{device} in {}", self.basin(system, basin)),
            None if sensor.contains('/') => format!("sensor {}", self.write(sensor)),
            None => device.to_owned(),
        }
    }

    fn place(self, system: &System, subject: &Subject) -> String {
        match subject {
            Subject::Splitter(id) => format!("splitter {}", self.write(id.as_str())),
            Subject::Basin(id) => match system.find_basin(id.as_str()) {
                Some(basin) => self.basin(system, basin),
                None => self.of_id(id.as_str()),
            },
            Subject::Sensor(name) => self.sensor(system, name),
            Subject::Source => "the source".to_owned(),
            Subject::Diverter => "the diverter".to_owned(),
        }
    }
}

/// A name set off from the sentence that it is part of.
pub fn quoted(name: &str) -> String {
    format!("“{name}”")
}

/// A basin by its plant where that is enough to find it: `the “quince tree” basin`, else `basin “b2”`.
pub fn basin_words(system: &System, basin: BasinIx) -> String {
    Names::Quoted.basin(system, basin)
}

/// A sensor by its name inside the system: `quince/moisture` is `the moisture probe in the “quince
/// tree” basin`. A sensor that the system no longer has keeps its bare name.
pub fn sensor_words(system: &System, sensor: &str) -> String {
    Names::Quoted.sensor(system, sensor)
}

/// Where a finding is: `the “quince tree” basin`, `splitter “s1”`, `the diverter`.
pub fn place_words(system: &System, subject: &Subject) -> String {
    Names::Quoted.place(system, subject)
}

/// The same as a title: `Quince tree basin`, `Splitter s1`, `Diverter`.
pub fn place_title(system: &System, subject: &Subject) -> String {
    title(&Names::Plain.place(system, subject))
}

/// A basin as a title: `Quince tree basin`.
pub fn basin_title(system: &System, basin: BasinIx) -> String {
    title(&Names::Plain.basin(system, basin))
}

/// A sensor as a title: `Moisture probe in the quince tree basin`.
pub fn sensor_title(system: &System, sensor: &str) -> String {
    title(&Names::Plain.sensor(system, sensor))
}

fn title(words: &str) -> String {
    let mut rest = words.trim_start_matches("the ").chars();
    rest.next().map_or_else(String::new, |first| first.to_uppercase().chain(rest).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::samples;

    #[test]
    fn names_are_set_off_in_sentences_and_bare_in_titles() {
        let system = samples::orchard();
        let [quince, fig] = ["quince", "fig"].map(samples::basin);
        assert_eq!(place_words(&system, &quince), "the “quince tree” basin");
        assert_eq!(place_words(&system, &fig), "basin “fig”");
        assert_eq!(place_title(&system, &samples::basin("basin-2")), "Basin-2");
        assert_eq!(place_title(&system, &quince), "Quince tree basin");
        assert_eq!(sensor_words(&system, "quince/float"), "the float in the “quince tree” basin");
        assert_eq!(sensor_title(&system, "quince/float"), "Float in the quince tree basin");
        assert_eq!(sensor_words(&system, "gone/float"), "sensor “gone/float”");
    }
}
