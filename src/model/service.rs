//! Service records: what was found and done at one part of a system, and what was measured.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{Command, Depths, EventTime, Id, Place, Quantity, Service, Span, Subject, System, Work};

/// Longest note, characters.
const NOTE: usize = 2_000;
/// Longest description of an obstruction, characters.
const WORDS: usize = 200;
/// Kinds of work in one record.
const WORKS: usize = 16;
/// Records may be written this long after the work.
const LATEST: Span = Span::from_days(400);
/// Clocks of phones may be ahead by this much.
const AHEAD: Span = Span::from_mins(10);

/// The name of a record, made where it is first written, so that it arrives once however often it is sent:
/// 16 to 64 characters out of `a`–`z`, `0`–`9` and `-`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct RecordKey(String);

/// A text that cannot be a record's key.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a key has 16 to 64 characters out of a-z, 0-9 and -, made at random where the record is written")]
pub struct KeyFault;

/// What was found and done at one part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ServiceRecord {
    /// The part.
    pub subject: Subject,
    /// When the work was finished.
    pub at: EventTime,
    /// What was done, in order; empty if the part was only looked at.
    pub work: Vec<Work>,
    /// Free fall between outlet and mulch as found, mm.
    pub air_gap_mm: Option<f64>,
    /// Depth of mulch as found, mm.
    pub mulch_found_mm: Option<f64>,
    /// Depth of mulch as left, mm.
    pub mulch_left_mm: Option<f64>,
    /// What held the water back.
    pub obstruction: Option<Obstruction>,
    /// What the spirit level said.
    pub level: Option<LevelReading>,
    /// Anything else.
    pub note: String,
}

/// What held the water back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Obstruction {
    /// Its kind.
    pub kind: ObstructionKind,
    /// More about it.
    pub words: String,
}

/// Kinds of obstruction that gravity drains are found with (common practice, no published source).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ObstructionKind {
    /// Roots in the outlet or the line.
    Roots,
    /// Hair and lint.
    Lint,
    /// Grease and soap.
    Grease,
    /// Silt or sand.
    Silt,
    /// Mulch against the outlet.
    Mulch,
    /// A nest, or what an animal brought.
    Animal,
    /// A crushed or sagging pipe.
    Pipe,
    /// Anything else.
    Other,
}

/// What a spirit level on a splitter said; above zero where side a lies low and gets more.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LevelReading {
    /// What the numbers are.
    pub unit: LevelUnit,
    /// As found.
    pub found: Option<f64>,
    /// As left.
    pub left: Option<f64>,
}

/// What is read off a level.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LevelUnit {
    /// Degrees, off a digital level or a phone.
    Degrees,
    /// Marks of the vial that the bubble is off its middle.
    BubbleMarks,
}

/// One thing wrong with a record: the field, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordFault {
    /// The field's name.
    pub field: &'static str,
    /// What is wrong and how to mend it.
    pub says: String,
}

impl RecordKey {
    /// Checks `text`.
    ///
    /// # Errors
    /// It is too short to be unique, long, or has characters that no key has.
    pub fn new(text: &str) -> Result<Self, KeyFault> {
        let fits = (16..=64).contains(&text.len());
        let plain = text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
        if fits && plain { Ok(Self(text.to_owned())) } else { Err(KeyFault) }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for RecordKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl TryFrom<String> for RecordKey {
    type Error = KeyFault;
    fn try_from(text: String) -> Result<Self, KeyFault> {
        Self::new(&text)
    }
}

impl From<RecordKey> for String {
    fn from(key: RecordKey) -> Self {
        key.0
    }
}

impl ObstructionKind {
    /// Every kind.
    pub const ALL: [Self; 8] = [
        Self::Roots,
        Self::Lint,
        Self::Grease,
        Self::Silt,
        Self::Mulch,
        Self::Animal,
        Self::Pipe,
        Self::Other,
    ];

    /// The word for it everywhere.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Roots => "roots",
            Self::Lint => "lint",
            Self::Grease => "grease",
            Self::Silt => "silt",
            Self::Mulch => "mulch",
            Self::Animal => "animal",
            Self::Pipe => "pipe",
            Self::Other => "other",
        }
    }

    /// The kind called `name`.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

impl LevelUnit {
    /// The word for it everywhere.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Degrees => "degrees",
            Self::BubbleMarks => "bubble-marks",
        }
    }

    /// The unit called `name`.
    pub fn named(name: &str) -> Option<Self> {
        [Self::Degrees, Self::BubbleMarks].into_iter().find(|unit| unit.name() == name)
    }

    /// The largest reading that makes sense.
    const fn most(self) -> f64 {
        match self {
            Self::Degrees => 45.0,
            Self::BubbleMarks => 10.0,
        }
    }
}

impl ServiceRecord {
    /// A record of a look at `subject`, nothing measured.
    pub fn look(subject: Subject, at: EventTime) -> Self {
        Self {
            subject,
            at,
            work: Vec::new(),
            air_gap_mm: None,
            mulch_found_mm: None,
            mulch_left_mm: None,
            obstruction: None,
            level: None,
            note: String::new(),
        }
    }

    /// Everything wrong with it, as a record about `system` written at `now`.
    pub fn faults(&self, system: &System, now: EventTime) -> Vec<RecordFault> {
        let mut faults = Vec::new();
        let mut wrong = |field, says: String| faults.push(RecordFault { field, says });
        if !is_part(&self.subject, system) {
            wrong("subject", format!("{} has no such part: {}", system.id, self.subject));
        }
        if self.at > now + AHEAD {
            wrong("at", "this lies in the future: say when the work was finished".to_owned());
        } else if now - self.at > LATEST {
            wrong("at", "this is more than 400 days ago: the engine no longer knows that time".to_owned());
        }
        if self.work.len() > WORKS {
            wrong("work", format!("one record holds at most {WORKS} kinds of work: write a second one"));
        }
        for work in self.work.iter().filter(|work| !work.fits(&self.subject, system)) {
            wrong("work", format!("{} cannot be done at {}", work.name(), self.subject));
        }
        let (is_basin, is_splitter) =
            (matches!(self.subject, Subject::Basin(_)), matches!(self.subject, Subject::Splitter(_)));
        let depths = [
            ("air_gap_mm", self.air_gap_mm, 1_000.0),
            ("mulch_found_mm", self.mulch_found_mm, 2_000.0),
            ("mulch_left_mm", self.mulch_left_mm, 2_000.0),
        ];
        for (field, depth, most) in depths {
            match depth {
                Some(_) if !is_basin => wrong(field, "only a basin has this".to_owned()),
                Some(mm) if !(0.0..=most).contains(&mm) => {
                    wrong(field, format!("{mm} mm is not between 0 and {most} mm"));
                }
                Some(_) | None => {}
            }
        }
        if self.level.is_some() && !is_splitter {
            wrong("level", "only a splitter is levelled".to_owned());
        }
        for reading in
            self.level.iter().flat_map(|level| [level.found, level.left].map(|at| (level.unit, at)))
        {
            let (unit, most) = (reading.0, reading.0.most());
            if reading.1.is_some_and(|at| !(-most..=most).contains(&at)) {
                wrong("level", format!("a reading in {} lies between -{most} and {most}", unit.name()));
            }
        }
        if self.note.chars().count() > NOTE {
            wrong("note", format!("that is more than {NOTE} characters: shorten it"));
        }
        if self.obstruction.as_ref().is_some_and(|found| found.words.chars().count() > WORDS) {
            wrong("obstruction", format!("that is more than {WORDS} characters: the note has more room"));
        }
        faults
    }

    /// What the system's engine has to hear of it.
    pub fn told(&self) -> Vec<Command> {
        let mut told = vec![Service {
            at: self.at,
            subject: self.subject.clone(),
            work: self.work.clone(),
            mulch_found_mm: self.mulch_found_mm,
            mulch_left_mm: self.mulch_left_mm,
        }];
        // A battery belongs to a sensor; people write it down at the basin.
        if let (Subject::Basin(basin), true) = (&self.subject, self.work.contains(&Work::BatteryChanged)) {
            told.push(Service {
                at: self.at,
                subject: Subject::Sensor(format!("{basin}/{}", Quantity::Battery)),
                work: vec![Work::BatteryChanged],
                mulch_found_mm: None,
                mulch_left_mm: None,
            });
        }
        told.into_iter().map(Command::Serviced).collect()
    }

    /// What the engine has to hear when `self` is corrected to `new`: work that was left out, and the depths of
    /// mulch as they were. Work that it was told of already cannot be taken back.
    pub fn told_anew(&self, new: &Self) -> Vec<Command> {
        let added: Vec<Work> = new.work.iter().filter(|work| !self.work.contains(work)).copied().collect();
        let renewed_now = added.contains(&Work::MulchRenewed);
        let told_of_mulch = self.mulch_found_mm.is_some() || self.work.contains(&Work::MulchRenewed);
        let depths = self.corrected_depths(new).filter(|_| told_of_mulch);
        let found_mm = new.mulch_found_mm.filter(|_| !told_of_mulch);
        let mut told = Vec::from_iter(depths.map(Command::Corrected));
        if !added.is_empty() || found_mm.is_some() {
            let left_mm = new.mulch_left_mm.filter(|_| renewed_now);
            told.extend(
                Self { work: added, mulch_found_mm: found_mm, mulch_left_mm: left_mm, ..new.clone() }.told(),
            );
        }
        told
    }

    /// The depths of `new`, if they are others than these and those of a basin.
    fn corrected_depths(&self, new: &Self) -> Option<Depths> {
        let Subject::Basin(basin) = &self.subject else { return None };
        let (found_mm, left_mm) = (new.mulch_found_mm, new.mulch_left_mm);
        ((self.mulch_found_mm, self.mulch_left_mm) != (found_mm, left_mm)).then(|| Depths {
            at: self.at,
            basin: basin.clone(),
            found_mm,
            left_mm,
        })
    }

    /// What correcting `self` to `new` no longer changes in the engine, in sentences.
    pub fn beyond_recall(&self, new: &Self) -> Vec<String> {
        let taken_back = self.work.iter().filter(|work| !new.work.contains(work));
        let mut says: Vec<String> = taken_back
            .map(|work| {
                let name = work.words();
                format!("“{name}” was told to the engine already: what it forgot for it, it learns anew from the readings")
            })
            .collect();
        if self.at != new.at {
            says.push("the engine counts the work from when it first heard of it".to_owned());
        }
        says
    }
}

/// Whether the system has this part.
fn is_part(subject: &Subject, system: &System) -> bool {
    match subject {
        Subject::Splitter(id) => system.find_splitter(id.as_str()).is_some(),
        Subject::Basin(id) => system.find_basin(id.as_str()).is_some(),
        Subject::Sensor(name) => system.sensor_ixs().any(|ix| system.sensor_name(ix) == *name),
        Subject::Source => true,
        Subject::Diverter => system.find_sensor(Place::System, Quantity::Diverter).is_some(),
    }
}

/// The basin of a sensor, by the sensor's name.
pub(super) fn basin_of_sensor(name: &str) -> Option<Id> {
    Id::new(name.split_once('/')?.0).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(text: &str) -> Id {
        Id::new(text).unwrap()
    }

    fn record(work: &[Work]) -> ServiceRecord {
        let look = ServiceRecord::look(Subject::Basin(id("quince")), EventTime::from_secs(1_000));
        ServiceRecord { work: work.to_vec(), ..look }
    }

    #[test]
    fn a_key_is_long_enough_to_be_unique_and_plain_enough_for_an_address() {
        assert!(RecordKey::new("0d0c3a52-6c0e-4c7b-9a51-1f3b5a1e2c3d").is_ok());
        for bad in ["", "short", "0D0C3A52-6C0E-4C7B", "0d0c3a52/6c0e/4c7b", &"a".repeat(65)] {
            assert_eq!(RecordKey::new(bad), Err(KeyFault), "{bad}");
        }
    }

    #[test]
    fn a_battery_written_down_at_the_basin_is_told_of_its_sensor() {
        let told = record(&[Work::OutletCleared, Work::BatteryChanged]).told();
        let subjects: Vec<_> = told
            .iter()
            .map(|command| match command {
                Command::Serviced(service) => service.subject.key(),
                Command::Corrected(_) | Command::RunEnded { .. } | Command::Caught(_) => {
                    panic!("{command:?}")
                }
            })
            .collect();
        assert_eq!(subjects, ["basin:quince", "sensor:quince/battery"]);
    }

    #[test]
    fn a_correction_tells_the_engine_only_what_it_has_not_heard() {
        let old = ServiceRecord { mulch_found_mm: Some(80.0), ..record(&[Work::OutletCleared]) };
        let same = ServiceRecord { note: "wrong boots".into(), ..old.clone() };
        assert_eq!(old.told_anew(&same), []);
        let deeper = ServiceRecord { mulch_found_mm: Some(70.0), ..old.clone() };
        let depths = Depths { at: old.at, basin: id("quince"), found_mm: Some(70.0), left_mm: None };
        assert_eq!(old.told_anew(&deeper), [Command::Corrected(depths.clone())]);
        let taken_back = ServiceRecord { mulch_found_mm: None, ..old.clone() };
        assert_eq!(old.told_anew(&taken_back), [Command::Corrected(Depths { found_mm: None, ..depths })]);
        let more = ServiceRecord {
            work: vec![Work::OutletCleared, Work::MulchRenewed],
            mulch_left_mm: Some(200.0),
            ..old.clone()
        };
        let told = old.told_anew(&more);
        let [Command::Corrected(_), Command::Serviced(service)] = &told[..] else { panic!("{told:?}") };
        assert_eq!(service.work, [Work::MulchRenewed]);
        assert_eq!((service.mulch_found_mm, service.mulch_left_mm), (None, Some(200.0)));
        assert_eq!(old.beyond_recall(&more), Vec::<String>::new());
        assert_eq!(more.beyond_recall(&old).len(), 1, "work taken back");
    }
}
