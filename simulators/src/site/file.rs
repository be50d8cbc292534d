//! Reading a system file.
//!
//! The file is checked in full by the daemon; here it is read independently, and only what would make the physics
//! meaningless is refused. Keys that do not matter to water (topics, units, advice) are passed over.

use jiff::SignedDuration;
use jiff::tz::TimeZone;
use serde::Deserialize;

use super::built::{Basin, Chip, Fixture, Meter, Node, Site, Splitter, Texture};

/// Why a system file describes nothing that water could flow through.
#[derive(Debug, thiserror::Error)]
pub enum SiteError {
    /// The text is not TOML, or a key has the wrong type or an unknown name for a soil or chip.
    #[error("system file: {0}")]
    Toml(#[from] toml::de::Error),
    /// The time zone is not in the IANA database.
    #[error("system file: unknown time zone `{0}`; use an IANA name such as America/Denver")]
    Timezone(String),
    /// The mulch's date is not a calendar day.
    #[error("system file: basin `{basin}`: `{date}` is not a date; write year-month-day")]
    Placed {
        /// The basin.
        basin: String,
        /// What stood there.
        date: String,
    },
    /// There is no basin.
    #[error("system file: no basin; add at least one [[basin]] with id and area_m2")]
    NoBasin,
    /// A splitter feeds something that is not in the file.
    #[error("splitter `{splitter}` feeds `{feed}`, which is neither a splitter nor a basin of this system")]
    UnknownFeed {
        /// The splitter.
        splitter: String,
        /// The name nobody has.
        feed: String,
    },
    /// The parts do not form one tree.
    #[error("splitters and basins do not form one tree: {0}")]
    NotATree(String),
}

impl Site {
    /// Reads the text of a system file.
    pub fn parse(text: &str) -> Result<Self, SiteError> {
        let file: SystemFile = toml::from_str(text)?;
        file.into_site()
    }
}

impl Fixture {
    /// The kind that a name in the file stands for; names are free text, so what is not known brings no water.
    fn from_name(name: &str) -> Option<Self> {
        let name = name.to_lowercase();
        let has = |words: &[&str]| words.iter().any(|word| name.contains(word));
        if has(&["shower"]) {
            Some(Self::Showers)
        } else if has(&["laundry", "wash"]) {
            Some(Self::Laundry)
        } else if has(&["basin", "sink", "lavator"]) {
            Some(Self::Basins)
        } else if has(&["bath", "tub"]) {
            Some(Self::Baths)
        } else {
            None
        }
    }
}

/// The file as written; keys that do not concern the water are ignored.
#[derive(Deserialize)]
struct SystemFile {
    id: String,
    name: Option<String>,
    property: Option<String>,
    timezone: String,
    #[serde(default)]
    location: LocationKey,
    soil: Texture,
    #[serde(default)]
    source: SourceKey,
    diverter: Option<PresentKey>,
    rain: Option<RainKey>,
    #[serde(default)]
    splitter: Vec<SplitterKey>,
    #[serde(default)]
    basin: Vec<BasinKey>,
}

#[derive(Deserialize)]
#[serde(default)]
struct LocationKey {
    latitude: f64,
    longitude: f64,
    elevation_m: f64,
}

impl Default for LocationKey {
    fn default() -> Self {
        Self { latitude: 36.0, longitude: 0.0, elevation_m: 100.0 }
    }
}

#[derive(Deserialize, Default)]
struct SourceKey {
    people: Option<u32>,
    fixtures: Option<Vec<String>>,
    meter: Option<Meter>,
}

/// A table whose presence is all that matters.
#[derive(Deserialize)]
struct PresentKey {}

#[derive(Deserialize)]
struct RainKey {
    mm_per_count: Option<f64>,
}

#[derive(Deserialize)]
struct SplitterKey {
    id: String,
    feeds: [String; 2],
    split: Option<[f64; 2]>,
    at: Option<[f64; 2]>,
}

#[derive(Deserialize)]
struct BasinKey {
    id: String,
    area_m2: f64,
    depth_mm: Option<f64>,
    #[serde(default)]
    mulch: MulchKey,
    air_gap_mm: Option<f64>,
    float: Option<HeightKey>,
    overflow: Option<HeightKey>,
    moisture: Option<DepthKey>,
    flood_hold: Option<SignedDuration>,
    at: Option<[f64; 2]>,
}

#[derive(Deserialize, Default)]
struct MulchKey {
    depth_mm: Option<f64>,
    chip: Option<Chip>,
    placed: Option<toml::value::Datetime>,
}

#[derive(Deserialize)]
struct HeightKey {
    height_mm: Option<f64>,
}

#[derive(Deserialize)]
struct DepthKey {
    depth_mm: Option<f64>,
}

impl SystemFile {
    fn into_site(self) -> Result<Site, SiteError> {
        let timezone =
            TimeZone::get(&self.timezone).map_err(|_| SiteError::Timezone(self.timezone.clone()))?;
        let tree = link(&self.splitter, &self.basin)?;
        let basins = self.basin.into_iter().map(BasinKey::into_basin).collect::<Result<_, _>>()?;
        Ok(Site {
            name: self.name.unwrap_or_else(|| self.id.clone()),
            property: self.property.unwrap_or_else(|| self.id.clone()),
            id: self.id,
            latitude: self.location.latitude,
            longitude: self.location.longitude,
            elevation_m: self.location.elevation_m,
            timezone,
            soil: self.soil,
            people: self.source.people.unwrap_or(3),
            fixtures: match self.source.fixtures {
                None => vec![Fixture::Showers, Fixture::Laundry],
                Some(names) => names.iter().filter_map(|name| Fixture::from_name(name)).collect(),
            },
            meter: self.source.meter,
            has_diverter: self.diverter.is_some(),
            rain_mm_per_count: self.rain.map(|rain| rain.mm_per_count.unwrap_or(0.2)),
            splitters: tree.splitters,
            basins,
            root: tree.root,
        })
    }
}

impl BasinKey {
    fn into_basin(self) -> Result<Basin, SiteError> {
        let depth_mm = self.depth_mm.unwrap_or(300.0);
        let mulch_placed = match self.mulch.placed {
            None => None,
            Some(placed) => Some(
                placed
                    .to_string()
                    .parse()
                    .map_err(|_| SiteError::Placed { basin: self.id.clone(), date: placed.to_string() })?,
            ),
        };
        Ok(Basin {
            id: self.id,
            area_m2: self.area_m2,
            depth_mm,
            mulch_depth_mm: self.mulch.depth_mm.unwrap_or(depth_mm * 2.0 / 3.0),
            chip: self.mulch.chip.unwrap_or(Chip::Medium),
            mulch_placed,
            air_gap_mm: self.air_gap_mm.unwrap_or(150.0),
            float_height_mm: self.float.map(|float| float.height_mm.unwrap_or(120.0)),
            overflow_height_mm: self.overflow.map(|float| float.height_mm.unwrap_or(depth_mm - 40.0)),
            moisture_depth_mm: self.moisture.map(|probe| probe.depth_mm.unwrap_or(250.0)),
            flood_hold: self.flood_hold,
            at: self.at,
        })
    }
}

struct Tree {
    splitters: Vec<Splitter>,
    root: Node,
}

/// Resolves the names in `feeds` and finds the root.
fn link(splitters: &[SplitterKey], basins: &[BasinKey]) -> Result<Tree, SiteError> {
    if basins.is_empty() {
        return Err(SiteError::NoBasin);
    }
    let node = |splitter: &SplitterKey, feed: &String| {
        let as_splitter = splitters.iter().position(|other| other.id == *feed).map(Node::Splitter);
        let as_basin = || basins.iter().position(|basin| basin.id == *feed).map(Node::Basin);
        as_splitter
            .or_else(as_basin)
            .ok_or_else(|| SiteError::UnknownFeed { splitter: splitter.id.clone(), feed: feed.clone() })
    };
    let mut linked = Vec::with_capacity(splitters.len());
    for key in splitters {
        linked.push(Splitter {
            id: key.id.clone(),
            feeds: [node(key, &key.feeds[0])?, node(key, &key.feeds[1])?],
            split: key.split.unwrap_or([0.5, 0.5]),
            at: key.at,
        });
    }
    let nodes = (0..splitters.len()).map(Node::Splitter).chain((0..basins.len()).map(Node::Basin));
    let fed =
        |node: Node| linked.iter().flat_map(|splitter| splitter.feeds).filter(|feed| *feed == node).count();
    let roots: Vec<Node> = nodes.clone().filter(|node| fed(*node) == 0).collect();
    let [root] = roots[..] else {
        return Err(SiteError::NotATree(format!(
            "{} parts are fed by nothing; there must be one root",
            roots.len()
        )));
    };
    if let Some(twice) = nodes.clone().find(|node| fed(*node) > 1) {
        return Err(SiteError::NotATree(format!("{} is fed twice", name(twice, splitters, basins))));
    }
    // Every part but one is fed exactly once, so a part that the root does not reach lies on a loop.
    let mut reached = 0;
    let mut open = vec![root];
    while let Some(next) = open.pop() {
        reached += 1;
        if let Node::Splitter(index) = next {
            open.extend(linked[index].feeds);
        }
    }
    if reached != splitters.len() + basins.len() {
        return Err(SiteError::NotATree("some splitters feed each other in a loop".to_owned()));
    }
    Ok(Tree { splitters: linked, root })
}

fn name<'a>(node: Node, splitters: &'a [SplitterKey], basins: &'a [BasinKey]) -> &'a str {
    match node {
        Node::Splitter(index) => &splitters[index].id,
        Node::Basin(index) => &basins[index].id,
    }
}

#[cfg(test)]
mod tests {
    use crate::site::{Chip, Fixture, Node, Site, Texture};

    const COURT: &str = r#"
        id = "court"
        name = "Court"
        timezone = "America/Denver"
        soil = "sandy-loam"
        location = { latitude = 35.69, longitude = -105.94, elevation_m = 2100 }

        [source]
        people = 6
        fixtures = ["showers", "laundry", "fountain"]
        meter = { litres_per_count = 0.5 }

        [diverter]

        [[splitter]]
        id = "s1"
        feeds = ["s2", "plum"]
        split = [0.6, 0.4]

        [[splitter]]
        id = "s2"
        feeds = ["quince", "fig"]

        [[basin]]
        id = "quince"
        area_m2 = 1.2
        mulch = { depth_mm = 180, chip = "coarse", placed = 2025-04-12 }
        float = { height_mm = 90, topic = "yard/1" }
        moisture = {}

        [[basin]]
        id = "fig"
        area_m2 = 1.0

        [[basin]]
        id = "plum"
        area_m2 = 1.5
    "#;

    fn refusal(text: &str) -> String {
        Site::parse(text).unwrap_err().to_string()
    }

    #[test]
    fn a_system_file_tells_what_is_built() {
        let site = Site::parse(COURT).unwrap();
        assert_eq!((site.soil, site.people, site.has_diverter), (Texture::SandyLoam, 6, true));
        assert_eq!(site.fixtures, [Fixture::Showers, Fixture::Laundry], "a fountain brings no water here");
        assert_eq!(site.root, Node::Splitter(0));
        assert_eq!(site.splitters[0].feeds, [Node::Splitter(1), Node::Basin(2)]);
        let shares = site.design_shares();
        assert!(shares.iter().zip([0.3, 0.3, 0.4]).all(|(share, design)| (share - design).abs() < 1e-12));
        let quince = &site.basins[0];
        assert_eq!(
            (quince.chip, quince.float_height_mm, quince.moisture_depth_mm),
            (Chip::Coarse, Some(90.0), Some(250.0))
        );
        assert_eq!(quince.mulch_placed.map(|date| date.to_string()).as_deref(), Some("2025-04-12"));
        assert_eq!(site.basins[1].float_height_mm, None);
        assert!(site.meter.is_some_and(|meter| (meter.litres_per_count - 0.5).abs() < 1e-12));
    }

    #[test]
    fn what_water_could_not_flow_through_is_refused() {
        let swap = |from: &str, to: &str| refusal(&COURT.replacen(from, to, 1));
        assert_eq!(
            swap("\"s2\", \"plum\"", "\"s2\", \"kiwi\""),
            "splitter `s1` feeds `kiwi`, which is neither a splitter nor a basin of this system"
        );
        assert!(swap("\"quince\", \"fig\"", "\"quince\", \"plum\"").contains("parts are fed by nothing"));
        assert!(swap("\"quince\", \"fig\"", "\"quince\", \"quince\"").contains("one tree"));
        assert!(swap("America/Denver", "Denver").contains("unknown time zone `Denver`"));
        assert!(swap("sandy-loam", "gravel").contains("unknown variant `gravel`"));
        let loops = "id = \"x\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n[[basin]]\nid = \"a\"\narea_m2 = 1\n\
                     [[basin]]\nid = \"b\"\narea_m2 = 1\n[[splitter]]\nid = \"s\"\nfeeds = [\"s\", \"b\"]\n";
        assert!(refusal(loops).contains("in a loop"));
        assert!(refusal("id = \"x\"\ntimezone = \"UTC\"\nsoil = \"loam\"\n").contains("no basin"));
    }
}
