//! The parts of a system: source, splitters, basins.

use super::reader::{At, Reader, Section, above_zero, nearest, within};
use super::sensors::Heard;
use crate::model::{
    Basin, BasinIx, Chip, Id, Location, Mulch, Place, Point, Quantity, Source, Span, Splitter,
};

/// Longest name, in characters.
const NAME: usize = 120;
/// Range of depths, mm.
const DEPTH_MM: (f64, f64) = (20.0, 2000.0);
/// Depth of a basin if not stated, mm. The default heights of its floats fit this depth.
const BASIN_DEPTH_MM: f64 = 300.0;

/// A splitter as the file has it, before the tree is known.
pub(super) struct SplitterPart {
    pub(super) at: usize,
    pub(super) splitter: Option<Splitter>,
    /// What it feeds, where both ids could be read.
    pub(super) feeds: Option<[Id; 2]>,
}

/// A basin as the file has it.
pub(super) struct BasinPart {
    pub(super) at: usize,
    pub(super) id: Option<Id>,
    pub(super) basin: Option<Basin>,
    pub(super) sensors: Vec<Heard>,
}

/// Reads an id and explains what is wrong with one that is none.
pub(super) fn id(section: &mut Section<'_>, r: &mut Reader<'_>, key: &'static str) -> Option<At<Id>> {
    let (at, text) = section.text(r, key, NAME)?;
    match Id::new(text) {
        Ok(id) => Some((at, id)),
        Err(fault) => {
            let what = format!("`{key}`{} is `{text}`", section.of_place());
            r.fault(at, what, fault.to_string());
            None
        }
    }
}

/// Reads a name for people.
pub(super) fn name(section: &mut Section<'_>, r: &mut Reader<'_>, key: &'static str) -> Option<String> {
    section.text(r, key, NAME).map(|(_, name)| name.to_owned())
}

/// Reads `location`.
pub(super) fn location(top: &mut Section<'_>, r: &mut Reader<'_>) -> Option<Location> {
    let mut section = top.section(r, "location")?;
    for key in ["latitude", "longitude"] {
        if !section.has(key) {
            section.missing(r, key, "give it in degrees, north and east positive");
        }
    }
    let latitude = section.number(r, "latitude", within(-90.0, 90.0, "degrees north"));
    let longitude = section.number(r, "longitude", within(-180.0, 180.0, "degrees east"));
    let elevation_m =
        section.number(r, "elevation_m", within(-500.0, 9000.0, "m above the sea")).unwrap_or(0.0);
    section.close(r);
    Some(Location { latitude: latitude?, longitude: longitude?, elevation_m })
}

/// Reads `[source]`, with its meter if it has one.
pub(super) fn source(top: &mut Section<'_>, r: &mut Reader<'_>) -> (Source, Option<Heard>) {
    let mut source =
        Source { people: 2, fixtures: Vec::new(), litres_per_count: None, meter_after_diverter: false };
    let Some(mut section) = top.section(r, "source") else { return (source, None) };
    source.people = section.whole(r, "people", 1, 500).unwrap_or(source.people);
    source.fixtures = fixtures(&mut section, r);
    let meter = section.section(r, "meter").map(|mut meter| {
        let litres = meter.number(r, "litres_per_count", above_zero(10_000.0, "litres"));
        source.litres_per_count = Some(litres.unwrap_or(1.0));
        source.meter_after_diverter = meter.flag(r, "after_diverter").unwrap_or(false);
        let heard = Heard::read(&mut meter, r, Quantity::Meter, Place::System, None);
        meter.close(r);
        heard
    });
    section.close(r);
    (source, meter)
}

fn fixtures(source: &mut Section<'_>, r: &mut Reader<'_>) -> Vec<String> {
    let how = "list up to 20 plain words, such as [\"showers\", \"laundry\"]";
    let Some((at, words)) = source.texts(r, "fixtures", how) else { return Vec::new() };
    let plain = |w: &&str| !w.trim().is_empty() && w.chars().count() <= NAME && !w.contains(char::is_control);
    if words.len() > 20 || !words.iter().all(plain) {
        r.fault(at, "`fixtures` of `source` are too many, blank or too long", how);
    }
    words.into_iter().map(|word| word.trim().to_owned()).collect()
}

/// Reads `[diverter]`.
pub(super) fn diverter(top: &mut Section<'_>, r: &mut Reader<'_>) -> Option<Heard> {
    let mut section = top.section(r, "diverter")?;
    let heard = Heard::read(&mut section, r, Quantity::Diverter, Place::System, None);
    section.close(r);
    Some(heard)
}

/// Reads `[rain]`: the gauge and its millimetres a count.
pub(super) fn rain(top: &mut Section<'_>, r: &mut Reader<'_>) -> Option<(Heard, f64)> {
    let mut section = top.section(r, "rain")?;
    let mm_per_count = section.number(r, "mm_per_count", above_zero(100.0, "mm")).unwrap_or(0.2);
    let heard = Heard::read(&mut section, r, Quantity::Rain, Place::System, None);
    section.close(r);
    Some((heard, mm_per_count))
}

/// Reads one `[[splitter]]`.
pub(super) fn splitter(mut section: Section<'_>, r: &mut Reader<'_>) -> SplitterPart {
    let id = part_id(&mut section, r, "splitter", "s1");
    let feeds = feeds(&mut section, r);
    let split = split(&mut section, r);
    let at = point(&mut section, r);
    let part = SplitterPart {
        at: section.at(),
        splitter: id.map(|id| Splitter { id, split: split.unwrap_or([0.5, 0.5]), at }),
        feeds,
    };
    section.close(r);
    part
}

fn feeds(section: &mut Section<'_>, r: &mut Reader<'_>) -> Option<[Id; 2]> {
    let how = "name the two parts that it feeds, side a first, as in [\"s2\", \"quince\"]";
    if !section.has("feeds") {
        section.missing(r, "feeds", how);
    }
    let (at, names) = section.texts(r, "feeds", how)?;
    let ids: Vec<Id> = names.iter().filter_map(|name| Id::new(name).ok()).collect();
    let pair = <[Id; 2]>::try_from(ids).ok().filter(|_| names.len() == 2);
    if pair.is_none() {
        r.fault(at, format!("`feeds`{} is not two ids", section.of_place()), how);
    }
    pair
}

/// The design split, scaled so that it sums to 1 exactly.
fn split(section: &mut Section<'_>, r: &mut Reader<'_>) -> Option<[f64; 2]> {
    let how = "give two fractions above 0 that sum to 1, side a first, as in [0.5, 0.5]";
    let (at, [a, b]) = section.pair(r, "split", how)?;
    let sum = a + b;
    if a <= 0.0 || b <= 0.0 {
        r.fault(at, format!("`split`{} is [{a}, {b}]: every side needs some water", section.of_place()), how);
        return None;
    }
    // A little slack on the tolerance itself, for sums such as 0.501 + 0.5 in binary.
    if (sum - 1.0).abs() > 0.001 + 1e-9 {
        r.fault(at, format!("`split`{} sums to {}", section.of_place(), (sum * 1e6).round() / 1e6), how);
        return None;
    }
    Some([a / sum, b / sum])
}

/// Reads one `[[basin]]`, which is number `ix` in the file.
pub(super) fn basin(mut section: Section<'_>, r: &mut Reader<'_>, ix: u16) -> BasinPart {
    let id = part_id(&mut section, r, "basin", "quince");
    let id = id.filter(|id| !clashes_with_a_sensor(id, &section, r));
    if !section.has("area_m2") {
        section.missing(r, "area_m2", "give its floor area in m²");
    }
    let plant = name(&mut section, r, "plant");
    let area_m2 = section.number(r, "area_m2", within(0.05, 100.0, "m²"));
    let depth = section.number(r, "depth_mm", within(DEPTH_MM.0, DEPTH_MM.1, "mm"));
    let depth_mm = depth.unwrap_or(BASIN_DEPTH_MM);
    let mulch = mulch(&mut section, r);
    let air_gap_mm = section.number(r, "air_gap_mm", within(0.0, DEPTH_MM.1, "mm")).unwrap_or(150.0);
    let at = point(&mut section, r);
    let mut sensors = BasinSensors { place: Place::Basin(BasinIx(ix)), id: id.clone(), heard: Vec::new() };
    let float_height_mm = sensors.float(&mut section, r, Quantity::Float, depth_mm, 120.0);
    let overflow_height_mm = sensors.float(&mut section, r, Quantity::Overflow, depth_mm, 260.0);
    if let (Some(low), Some(high)) = (float_height_mm, overflow_height_mm)
        && high <= low
    {
        let what = format!("`overflow`{} sits at {high} mm, not above the float", section.of_place());
        let how = format!("give it a `height_mm` above {low} mm, near the rim");
        r.fault(section.at_of("overflow"), what, how);
    }
    let moisture_depth_mm = sensors.moisture(&mut section, r);
    sensors.heard_anyway(&mut section, r, Quantity::Temperature);
    sensors.heard_anyway(&mut section, r, Quantity::Battery);
    let flood_hold = flood_hold(&mut section, r);
    let part = BasinPart {
        at: section.at(),
        id: id.clone(),
        basin: id.zip(area_m2).map(|(id, area_m2)| Basin {
            id,
            plant,
            area_m2,
            depth_mm,
            mulch,
            air_gap_mm,
            at,
            float_height_mm,
            overflow_height_mm,
            moisture_depth_mm,
            flood_hold,
        }),
        sensors: sensors.heard,
    };
    section.close(r);
    part
}

/// The id of a splitter or basin, by which faults call it from then on.
fn part_id(section: &mut Section<'_>, r: &mut Reader<'_>, kind: &str, example: &str) -> Option<Id> {
    if !section.has("id") {
        section.missing(r, "id", &format!("give it a short one of a-z, 0-9 and -, such as \"{example}\""));
    }
    let (_, id) = id(section, r, "id")?;
    section.rename(format!("{kind} `{id}`"));
    Some(id)
}

/// A basin called `meter` would share its topic with the meter.
fn clashes_with_a_sensor(id: &Id, section: &Section<'_>, r: &mut Reader<'_>) -> bool {
    let clash = Quantity::named(id.as_str()).is_some_and(|quantity| !quantity.is_of_basin());
    if clash {
        let what = format!("a basin is called `{id}`, like a sensor of the whole system");
        r.fault(section.at(), what, "give the basin another id");
    }
    clash
}

fn mulch(basin: &mut Section<'_>, r: &mut Reader<'_>) -> Mulch {
    let mut mulch = Mulch { depth_mm: 200.0, chip: Chip::Medium, placed: None };
    let Some(mut section) = basin.section(r, "mulch") else { return mulch };
    let depth = section.number(r, "depth_mm", within(DEPTH_MM.0, DEPTH_MM.1, "mm"));
    mulch.depth_mm = depth.unwrap_or(mulch.depth_mm);
    if let Some((at, word)) = section.text(r, "chip", NAME) {
        match word {
            "fine" => mulch.chip = Chip::Fine,
            "medium" => mulch.chip = Chip::Medium,
            "coarse" => mulch.chip = Chip::Coarse,
            _ => {
                let near = nearest(word, ["fine", "medium", "coarse"].into_iter()).unwrap_or("medium");
                let how = format!("write fine, medium or coarse; did you mean \"{near}\"?");
                r.fault(at, format!("`chip`{} is `{word}`", section.of_place()), how);
            }
        }
    }
    mulch.placed = section.date(r, "placed");
    section.close(r);
    mulch
}

fn point(section: &mut Section<'_>, r: &mut Reader<'_>) -> Option<Point> {
    let how = "give metres east and north of the plan's corner, as in [3.2, 1.0]";
    let (at, [x_m, y_m]) = section.pair(r, "at", how)?;
    if x_m.abs() > 10_000.0 || y_m.abs() > 10_000.0 {
        r.fault(at, format!("`at`{} lies more than 10 km away", section.of_place()), how);
        return None;
    }
    Some(Point { x_m, y_m })
}

fn flood_hold(section: &mut Section<'_>, r: &mut Reader<'_>) -> Option<Span> {
    let (at, text) = section.text(r, "flood_hold", NAME)?;
    let span = text.parse::<Span>().ok().filter(|span| (Span::MINUTE..=Span::from_days(30)).contains(span));
    if span.is_none() {
        let what = format!("`flood_hold`{} is `{text}`", section.of_place());
        r.fault(at, what, "give a time from \"1m\" to \"30d\", such as \"90m\" or \"6h\"");
    }
    span
}

/// The sensors of one basin while they are read.
struct BasinSensors {
    place: Place,
    id: Option<Id>,
    heard: Vec<Heard>,
}

impl BasinSensors {
    fn declared(&mut self, section: &mut Section<'_>, r: &mut Reader<'_>, quantity: Quantity) {
        self.heard.push(Heard::read(section, r, quantity, self.place, self.id.clone()));
    }

    /// A float with its height above the floor; the default height shrinks with a shallow basin.
    fn float(
        &mut self,
        basin: &mut Section<'_>,
        r: &mut Reader<'_>,
        quantity: Quantity,
        basin_depth_mm: f64,
        default_mm: f64,
    ) -> Option<f64> {
        let mut section = basin.section(r, quantity.name())?;
        let stated = section.number(r, "height_mm", above_zero(DEPTH_MM.1, "mm"));
        let height = stated.unwrap_or(default_mm * (basin_depth_mm / BASIN_DEPTH_MM).min(1.0));
        if height >= basin_depth_mm {
            let what = format!(
                "{} sits at {height} mm, above the rim",
                section.of_place().trim_start_matches(" of ")
            );
            r.fault(
                section.at(),
                what,
                format!("give a `height_mm` below the basin's depth of {basin_depth_mm} mm"),
            );
        }
        self.declared(&mut section, r, quantity);
        section.close(r);
        Some(height)
    }

    fn moisture(&mut self, basin: &mut Section<'_>, r: &mut Reader<'_>) -> Option<f64> {
        let mut section = basin.section(r, Quantity::Moisture.name())?;
        let depth = section.number(r, "depth_mm", within(DEPTH_MM.0, DEPTH_MM.1, "mm")).unwrap_or(250.0);
        self.declared(&mut section, r, Quantity::Moisture);
        section.close(r);
        Some(depth)
    }

    /// A sensor that is heard at its default topic even where no key names it.
    fn heard_anyway(&mut self, basin: &mut Section<'_>, r: &mut Reader<'_>, quantity: Quantity) {
        if let Some(mut section) = basin.section(r, quantity.name()) {
            self.declared(&mut section, r, quantity);
            section.close(r);
        } else {
            self.heard.push(Heard::by_default(quantity, self.place, self.id.clone()));
        }
    }
}
