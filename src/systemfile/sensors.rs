//! The keys that every sensor understands, and the topics that sensors share by mistake.

use std::collections::BTreeMap;

use super::Fault;
use super::reader::{Reader, Section, nearest, within};
use crate::model::{Id, Place, Quantity, Sensor, Wired, Wiring, default_topic};

/// A sensor as one file names it, with what is needed to tell whether its topic is taken.
pub(super) struct Heard {
    pub(super) sensor: Sensor,
    /// Basin it sits in, if its id could be read.
    basin: Option<Id>,
    /// Line and column of its key.
    position: (usize, usize),
}

/// The sensors of one file.
pub(super) struct FileSensors<'f> {
    pub(super) file: &'f str,
    pub(super) system: Option<&'f Id>,
    pub(super) heard: &'f [Heard],
}

impl<'f> FileSensors<'f> {
    /// Its sensors at stated topics, or those at default ones.
    fn heard_at(&self, stated: bool) -> impl Iterator<Item = &'f Heard> + use<'f> {
        self.heard.iter().filter(move |heard| heard.sensor.wiring.topic.is_some() == stated)
    }
}

impl Heard {
    /// A sensor that no key names: heard at its default topic.
    pub(super) fn by_default(quantity: Quantity, place: Place, basin: Option<Id>) -> Self {
        let sensor = Sensor { place, quantity, wiring: Wired::default(), declared: false };
        Self { sensor, basin, position: (0, 0) }
    }

    /// Reads the wiring of a sensor out of its table, which stays open for keys of its own.
    pub(super) fn read(
        section: &mut Section<'_>,
        r: &mut Reader<'_>,
        quantity: Quantity,
        place: Place,
        basin: Option<Id>,
    ) -> Self {
        let wiring = read_wiring(section, r, quantity).into();
        let position = r.position(section.at());
        Self { sensor: Sensor { place, quantity, wiring, declared: true }, basin, position }
    }

    fn name(&self) -> String {
        let quantity = self.sensor.quantity;
        self.basin.as_ref().map_or_else(|| quantity.to_string(), |basin| format!("{basin}/{quantity}"))
    }

    /// Pointer to the value in a JSON payload, as intake will use it.
    fn pointer(&self) -> &str {
        self.sensor.wiring.value.as_deref().unwrap_or("/value")
    }
}

fn read_wiring(section: &mut Section<'_>, r: &mut Reader<'_>, quantity: Quantity) -> Wiring {
    let mut wiring = Wiring {
        topic: read_topic(section, r),
        value: read_pointer(section, r, "value"),
        time: read_pointer(section, r, "time"),
        scale: section.number(r, "scale", within(-1e12, 1e12, "")),
        offset: section.number(r, "offset", within(-1e12, 1e12, "")),
        ..Wiring::default()
    };
    if wiring.scale == Some(0.0) {
        r.fault(section.at(), format!("`scale`{} is 0", section.of_place()), "give a factor other than 0");
    }
    let unit = section.text(r, "unit", 16);
    if let Some((at, name)) = unit {
        wiring.unit = quantity.unit_named(name);
        if wiring.unit.is_none() {
            let known: Vec<&str> = quantity.units().iter().map(|(name, _)| *name).collect();
            let how = if known.is_empty() {
                "remove it: this sensor has no unit".to_owned()
            } else {
                format!("give one of: {}", known.join("  "))
            };
            r.fault(at, format!("`unit`{} is `{name}`", section.of_place()), how);
        }
    }
    if quantity == Quantity::Moisture {
        wiring.permittivity = section.flag(r, "permittivity").unwrap_or(false);
        if let (true, Some((at, _))) = (wiring.permittivity, unit) {
            let what = format!("`unit`{} stands beside `permittivity`", section.of_place());
            r.fault(at, what, "remove `unit`: a permittivity has none");
        }
    }
    if matches!(quantity, Quantity::Float | Quantity::Overflow) {
        wiring.wet_is_open = read_wet(section, r);
    }
    wiring
}

/// A topic that can be subscribed to as it stands.
fn read_topic(section: &mut Section<'_>, r: &mut Reader<'_>) -> Option<String> {
    let (at, topic) = section.text(r, "topic", 1024)?;
    if topic.contains(['+', '#']) {
        let what = format!("`topic`{} has a wildcard: `{topic}`", section.of_place());
        r.fault(at, what, "name one topic in full, without + and #");
        return None;
    }
    Some(topic.to_owned())
}

/// A JSON pointer (RFC 6901): empty, or steps that begin with `/`, with `~0` for `~` and `~1` for `/`.
fn read_pointer(section: &mut Section<'_>, r: &mut Reader<'_>, key: &'static str) -> Option<String> {
    let (at, pointer) = section.text(r, key, 256)?;
    let escapes_hold = pointer.split('~').skip(1).all(|rest| rest.starts_with(['0', '1']));
    if !pointer.starts_with('/') || !escapes_hold {
        let what = format!("`{key}`{} is no JSON pointer: `{pointer}`", section.of_place());
        r.fault(at, what, "begin each step with /, as in \"/object/moisture\"; write ~0 for ~ and ~1 for /");
        return None;
    }
    Some(pointer.to_owned())
}

fn read_wet(section: &mut Section<'_>, r: &mut Reader<'_>) -> bool {
    match section.text(r, "wet", 16) {
        Some((at, word)) if !matches!(word, "open" | "closed") => {
            let near = nearest(word, ["open", "closed"].into_iter()).unwrap_or("closed");
            let what = format!("`wet`{} is `{word}`", section.of_place());
            r.fault(at, what, format!("write \"open\" or \"closed\"; did you mean \"{near}\"?"));
            false
        }
        stated => stated.is_some_and(|(_, word)| word == "open"),
    }
}

/// A topic, at a pointer, that several sensors hear, with the places of their files among those asked about.
///
/// Sensors at default topics come first, so that the blame falls on the stated topic.
pub(super) struct Contest<'f> {
    topic: String,
    pub(super) hearers: Vec<(usize, &'f Heard)>,
}

impl Contest<'_> {
    /// What is wrong with the hearer at `later`, since the one at `earlier` is there already.
    pub(super) fn fault(&self, files: &[FileSensors<'_>], earlier: usize, later: usize) -> Fault {
        let of = |at: usize| (&files[self.hearers[at].0], self.hearers[at].1);
        taken(of(later), of(earlier), &self.topic)
    }

    /// What is wrong with every hearer but the first.
    fn faults(&self, files: &[FileSensors<'_>]) -> impl Iterator<Item = Fault> {
        (1..self.hearers.len()).map(|later| self.fault(files, 0, later))
    }
}

/// Every topic that more than one sensor of `files` hears at the same pointer.
///
/// Without a prefix only the topics stated in files are compared.
pub(super) fn contests<'f>(files: &[FileSensors<'f>], prefix: Option<&str>) -> Vec<Contest<'f>> {
    let heard = |stated: bool| {
        let numbered = files.iter().enumerate();
        numbered.flat_map(move |(at, file)| file.heard_at(stated).map(move |heard| (at, heard)))
    };
    let topic = |(at, heard): (usize, &Heard)| topic_of(heard, files[at].system, prefix);
    // Default topics differ as their systems and basins do, so only stated ones can be taken twice.
    let mut hearers: BTreeMap<(String, &str), Vec<(usize, &'f Heard)>> =
        heard(true).filter_map(|it| Some(((topic(it)?, it.1.pointer()), Vec::new()))).collect();
    if hearers.is_empty() {
        return Vec::new();
    }
    for it in heard(false).chain(heard(true)) {
        let Some(topic) = topic(it) else { continue };
        if let Some(hearers) = hearers.get_mut(&(topic, it.1.pointer())) {
            hearers.push(it);
        }
    }
    let several = hearers.into_iter().filter(|(_, hearers)| hearers.len() > 1);
    several.map(|((topic, _), hearers)| Contest { topic, hearers }).collect()
}

/// What is wrong with every sensor that hears a topic which another one has already; see [`contests`].
pub(super) fn shared_topics(files: &[FileSensors<'_>], prefix: Option<&str>) -> Vec<Fault> {
    contests(files, prefix).iter().flat_map(|contest| contest.faults(files)).collect()
}

fn taken((file, heard): (&FileSensors<'_>, &Heard), other: (&FileSensors<'_>, &Heard), topic: &str) -> Fault {
    let named = |(file, heard): (&FileSensors<'_>, &Heard)| {
        file.system.map_or_else(|| heard.name(), |id| format!("{}` of `{id}", heard.name()))
    };
    let (owner, other) = (named((file, heard)), named(other));
    Fault {
        file: file.file.to_owned(),
        line: heard.position.0,
        column: heard.position.1,
        what: format!("`{owner}` and `{other}` both hear topic `{topic}` at `{}`", heard.pointer()),
        how: "give each its own topic or its own `value` pointer".to_owned(),
    }
}

fn topic_of(heard: &Heard, system: Option<&Id>, prefix: Option<&str>) -> Option<String> {
    if let Some(topic) = &heard.sensor.wiring.topic {
        return Some(topic.clone());
    }
    if matches!(heard.sensor.place, Place::Basin(_)) && heard.basin.is_none() {
        return None;
    }
    Some(default_topic(prefix?, system?, heard.basin.as_ref(), heard.sensor.quantity))
}
