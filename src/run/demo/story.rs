//! Which yards a folder holds, and what was done in them.

use std::collections::BTreeMap;
use std::path::Path;
use std::{fs, io};

use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use simulators::scenario::Scenario;
use tracing::warn;

use super::DemoOptions;
use super::deeds::Deed;
use super::tended::TendedYard;
use crate::clock::Clock;
use crate::model::{EventTime, Span};
use crate::upkeep::Day;

/// Remembers it in the folder.
const FILE: &str = "demo.json";

/// Each yard that is looked after: its id, its system file, and what goes wrong in a year if nobody looks after it.
const YARDS: [(&str, &str, &str); 3] = [
    ("hazel-court", include_str!("yards/hazel-court.toml"), include_str!("yards/hazel-court.story.toml")),
    ("rowan-house", include_str!("yards/rowan-house.toml"), include_str!("yards/rowan-house.story.toml")),
    ("alder-lane", include_str!("yards/alder-lane.toml"), include_str!("yards/alder-lane.story.toml")),
];
/// Stands in the system files for the day on which the mulch was placed.
const PLACED: &str = "PLACED";
/// How long before the story that was.
const BEFORE: Span = Span::from_days(50);

/// Which yards a folder holds.
#[derive(Serialize, Deserialize)]
pub(super) struct Story {
    pub(super) start: EventTime,
    pub(super) seed: u64,
    /// Of yards that are looked after: what was done in each system, and when.
    #[serde(default)]
    done: Option<BTreeMap<String, Vec<(EventTime, Deed)>>>,
}

impl Story {
    /// The story of the folder, or a new one that begins as many days ago as there is past to make up.
    pub(super) fn of(options: &DemoOptions) -> io::Result<Self> {
        fs::create_dir_all(&options.folder)?;
        let path = options.folder.join(FILE);
        if path.exists() {
            return Ok(serde_json::from_slice(&fs::read(&path)?)?);
        }
        let start = Clock::wall().now() - options.past;
        let story = Self { start, seed: options.seed, done: options.tended.then(BTreeMap::new) };
        story.write(&options.folder)?;
        Ok(story)
    }

    pub(super) fn is_tended(&self) -> bool {
        self.done.is_some()
    }

    /// The yards that are looked after, at their beginning, with what was done in them before.
    pub(super) fn yards(&self) -> Vec<TendedYard> {
        (self.seed..).zip(YARDS).map(|(seed, yard)| self.yard(seed, yard)).collect()
    }

    fn yard(&self, seed: u64, (id, file, story): (&str, &str, &str)) -> TendedYard {
        let placed = Day::of(self.start - BEFORE, &TimeZone::UTC).date().to_string();
        let file = file.replace(PLACED, &placed);
        let proof = "the stories are compiled in and a test begins each of them";
        let mut scenario = Scenario::parse(id, story, &|_| Ok(file.clone())).expect(proof);
        scenario.start_ms = self.start.millis();
        let mut yard = TendedYard::begin(scenario, seed).expect(proof);
        let done = self.done.as_ref().and_then(|done| done.get(id));
        yard.repeat(done.cloned().unwrap_or_default(), self.start);
        yard
    }

    /// Remembers what was done in the yards so far.
    pub(super) fn keep(&mut self, folder: &Path, yards: &[TendedYard]) {
        let done = yards.iter().map(|yard| (yard.id().to_owned(), yard.done().to_vec()));
        self.done = Some(done.collect());
        if let Err(error) = self.write(folder) {
            warn!(%error, "the demonstration cannot remember what was done");
        }
    }

    fn write(&self, folder: &Path) -> io::Result<()> {
        fs::write(folder.join(FILE), serde_json::to_vec(self)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::systemfile;

    #[test]
    fn every_yard_begins_and_its_file_is_sound() {
        let start = EventTime::from_secs(1_750_000_000);
        let story = Story { start, seed: 7, done: Some(BTreeMap::new()) };
        for yard in story.yards() {
            let system = systemfile::parse(yard.id(), yard.system_file()).expect("it is sound");
            assert_eq!(system.id.as_str(), yard.id());
            assert_eq!((yard.begins(), yard.ends()), (start, start + Span::from_days(365)));
        }
    }

    #[test]
    fn what_was_done_is_remembered_and_done_once_more() {
        let folder = tempfile::tempdir().expect("a folder");
        let (start, seed) = (EventTime::from_secs(1_750_000_000), 7);
        let mut story = Story { start, seed, done: Some(BTreeMap::new()) };
        let mut yards = story.yards();
        yards[0].live_until(start + Span::HOUR);
        yards[0].put_to([Deed::Mend("quince/moisture".to_owned())], Span::MINUTE);
        story.keep(folder.path(), &yards);
        let text = fs::read(folder.path().join(FILE)).expect("it is kept");
        let again: Story = serde_json::from_slice(&text).expect("it is JSON");
        assert_eq!(again.yards()[0].done(), yards[0].done());
    }
}
