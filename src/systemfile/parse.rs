//! From the text of one file to a checked system.

use std::path::Path;

use jiff::tz::TimeZone;
use toml_edit::Document;

use super::Fault;
use super::parts::{self, BasinPart, SplitterPart};
use super::reader::{Reader, Section, nearest};
use super::sensors::{FileSensors, Heard, shared_topics};
use crate::model::{Id, Soil, Splitter, System, SystemParts, Tree, TreeFault};

/// Most basins, and most splitters, of one system.
const MOST_PARTS: usize = 256;

/// What could be read of one file, whole or not.
#[derive(Default)]
pub(super) struct Draft {
    pub(super) id: Option<Id>,
    pub(super) heard: Vec<Heard>,
    /// The system, if nothing is wrong.
    pub(super) system: Option<System>,
    pub(super) faults: Vec<Fault>,
}

/// Reads the text of a system file.
///
/// `file_name` is quoted in faults, and its stem must equal the system's id.
///
/// # Errors
/// Every fault of the file, in the file's order.
pub fn parse(file_name: &str, text: &str) -> Result<System, Vec<Fault>> {
    let mut draft = Draft::read(file_name, text);
    let sensors = FileSensors { file: file_name, system: draft.id.as_ref(), heard: &draft.heard };
    let shared = shared_topics(&[sensors], None);
    draft.faults.extend(shared);
    draft.faults.sort_by_key(|fault| (fault.line, fault.column));
    match draft.system {
        Some(system) if draft.faults.is_empty() => Ok(system),
        _ => Err(draft.faults),
    }
}

impl Draft {
    pub(super) fn read(file_name: &str, text: &str) -> Self {
        let mut r = Reader::new(file_name, text);
        let mut draft = Self::default();
        match Document::parse(text) {
            Ok(document) => draft.fill(&mut r, Section::top(document.as_table()), file_name),
            Err(error) => r.syntax(&error),
        }
        draft.faults = r.finish();
        if !draft.faults.is_empty() {
            draft.system = None;
        }
        draft
    }

    fn fill(&mut self, r: &mut Reader<'_>, mut top: Section<'_>, file_name: &str) {
        for (key, how) in [
            ("id", "give it the name of the file without .toml"),
            ("name", "give it a name for people"),
            ("timezone", "give an IANA zone such as \"America/Denver\""),
            ("soil", "give the texture class of the basins, such as \"sandy-loam\""),
        ] {
            if !top.has(key) {
                top.missing(r, key, how);
            }
        }
        self.id = system_id(&mut top, r, file_name);
        let name = parts::name(&mut top, r, "name");
        let property = parts::id(&mut top, r, "property").map(|(_, id)| id).or_else(|| self.id.clone());
        let zone = zone(&mut top, r);
        let location = parts::location(&mut top, r);
        let soil = soil(&mut top, r);
        let commissioned = top.date(r, "commissioned");
        let (source, meter) = parts::source(&mut top, r);
        let diverter = parts::diverter(&mut top, r);
        let rain = parts::rain(&mut top, r);
        let has_diverter = diverter.is_some();
        let rain_mm_per_count = rain.as_ref().map(|(_, mm)| *mm);
        self.heard.extend(meter);
        self.heard.extend(diverter);
        self.heard.extend(rain.map(|(heard, _)| heard));

        let splitter_sections = top.sections(r, "splitter");
        let basin_sections = top.sections(r, "basin");
        top.close(r);
        if splitter_sections.len().max(basin_sections.len()) > MOST_PARTS {
            r.fault(
                0,
                format!("more than {MOST_PARTS} basins or splitters"),
                "divide it into several systems",
            );
            return;
        }
        let splitters: Vec<_> = splitter_sections.into_iter().map(|s| parts::splitter(s, r)).collect();
        let mut basins: Vec<_> =
            basin_sections.into_iter().enumerate().map(|(ix, s)| parts::basin(s, r, ix as u16)).collect();
        self.heard.extend(basins.iter_mut().flat_map(|basin| std::mem::take(&mut basin.sensors)));

        let tree = tree(r, &splitters, &basins);
        self.system = (|| {
            let parts = SystemParts {
                id: self.id.clone()?,
                name: name?,
                property: property?,
                zone: zone?,
                location,
                soil: soil?,
                commissioned,
                source,
                diverter: has_diverter,
                rain_mm_per_count,
                splitters: splitters.into_iter().map(|s| s.splitter).collect::<Option<_>>()?,
                basins: basins.into_iter().map(|b| b.basin).collect::<Option<_>>()?,
                sensors: self.heard.iter().map(|h| h.sensor.clone()).collect(),
            };
            Some(System::new(parts, tree?))
        })();
    }
}

fn system_id(top: &mut Section<'_>, r: &mut Reader<'_>, file_name: &str) -> Option<Id> {
    let (at, id) = parts::id(top, r, "id")?;
    let stem = Path::new(file_name).file_stem().unwrap_or_default();
    if stem != id.as_str() {
        let what = format!("the id `{id}` is not the name of the file");
        r.fault(at, what, format!("write `{}` here or rename the file to `{id}.toml`", stem.display()));
    }
    Some(id)
}

fn zone(top: &mut Section<'_>, r: &mut Reader<'_>) -> Option<TimeZone> {
    let (at, name) = top.text(r, "timezone", 64)?;
    let zone = TimeZone::get(name).ok();
    if zone.is_none() {
        let known: Vec<_> = jiff::tz::db().available().map(|known| known.to_string()).collect();
        let near = nearest(name, known.iter().map(String::as_str)).unwrap_or("Europe/London");
        r.fault(at, format!("`{name}` is no IANA time zone"), format!("did you mean `{near}`?"));
    }
    zone
}

fn soil(top: &mut Section<'_>, r: &mut Reader<'_>) -> Option<Soil> {
    let (at, name) = top.text(r, "soil", 64)?;
    let soil = Soil::named(name);
    if soil.is_none() {
        let names = Soil::ALL.map(Soil::name);
        let near = nearest(name, names.into_iter()).unwrap_or("loam");
        let what = format!("`{name}` is no USDA texture class");
        r.fault(at, what, format!("did you mean `{near}`? Classes: {}", names.join(", ")));
    }
    soil
}

/// Joins the parts to a tree, as far as their ids could be read: faults of the tree would
/// otherwise only echo those of the ids.
fn tree(r: &mut Reader<'_>, splitters: &[SplitterPart], basins: &[BasinPart]) -> Option<Tree> {
    let ids: Vec<Id> = basins.iter().map(|b| b.id.clone()).collect::<Option<_>>()?;
    let branch = |s: &SplitterPart| {
        let Splitter { id, split, .. } = s.splitter.as_ref()?;
        Some((id.clone(), s.feeds.clone()?, *split))
    };
    let branches: Vec<_> = splitters.iter().map(branch).collect::<Option<_>>()?;
    let places: Vec<(&Id, usize)> =
        std::iter::zip(branches.iter().map(|b| &b.0), splitters.iter().map(|s| s.at))
            .chain(std::iter::zip(&ids, basins.iter().map(|b| b.at)))
            .collect();
    let faults = match Tree::build(&branches, &ids) {
        Ok(tree) => return Some(tree),
        Err(faults) => faults,
    };
    for fault in faults {
        let (id, how) = mend_tree(&fault, &places);
        // The later of two parts with one id is the mistake, as a reader of the file sees it.
        let at = id.and_then(|id| places.iter().rev().find(|(known, _)| *known == id)).map_or(0, |p| p.1);
        r.fault(at, fault.to_string(), how);
    }
    None
}

/// The part that a fault of the tree is about, and how to mend it.
fn mend_tree<'f>(fault: &'f TreeFault, places: &[(&Id, usize)]) -> (Option<&'f Id>, String) {
    match fault {
        TreeFault::DuplicateId { id } => (Some(id), "give each splitter and basin its own id".to_owned()),
        TreeFault::UnknownFeed { splitter, feeds } => {
            let others = places.iter().map(|(id, _)| id.as_str()).filter(|id| *id != splitter.as_str());
            let how = match nearest(feeds.as_str(), others) {
                Some(near) => format!("did you mean `{near}`?"),
                None => "add a [[basin]] or [[splitter]] with this id".to_owned(),
            };
            (Some(splitter), how)
        }
        TreeFault::FedTwice { id } => (Some(id), "name it in `feeds` once only".to_owned()),
        TreeFault::Orphan { id, .. } => (Some(id), "name it in the `feeds` of one splitter".to_owned()),
        TreeFault::Loop { id } => {
            (Some(id), "let splitters feed only parts further down the hill".to_owned())
        }
        TreeFault::NoBasin => (None, "add a [[basin]] with `id` and `area_m2`".to_owned()),
    }
}
