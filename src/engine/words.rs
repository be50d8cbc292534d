//! The sentences that findings give as evidence: all English of the engine is here.

use jiff::{Timestamp, tz::TimeZone};

use crate::model::{BasinIx, EventTime, Place, Quantity, SensorIx, Span, System};
use crate::stats::figures::two_figures;

/// `3 May 14:05` on the clock of the yard.
fn clock(system: &System, at: EventTime) -> String {
    let zone: &TimeZone = &system.zone;
    let timestamp: Timestamp = at.timestamp();
    timestamp.to_zoned_datetime(zone.clone()).strftime("%-d %B %H:%M").to_string()
}

/// A span without false precision: `about 3 h`, `12 days`.
fn roughly(span: Span) -> String {
    match span {
        s if s < Span::from_secs(90) => "a minute".to_owned(),
        s if s < Span::from_mins(90) => format!("{:.0} minutes", s.mins_f64()),
        s if s < Span::from_hours(48) => format!("{:.1} hours", s.hours_f64()),
        s => format!("{:.0} days", s.days_f64()),
    }
}

/// A basin as people call it, `“quince tree”`; with its short name where two are called alike.
pub(crate) fn basin(system: &System, basin: BasinIx) -> String {
    let (id, label) = (&system.basin(basin).id, system.basin(basin).label());
    let alike = system.basins.iter().filter(|other| other.label() == label).count();
    if alike > 1 { format!("“{label}” ({id})") } else { format!("“{label}”") }
}

/// A sensor as people call it: `the moisture probe in “quince tree”`.
fn sensor(system: &System, sensor: SensorIx) -> String {
    let sensor = system.sensor(sensor);
    let device = match sensor.quantity {
        Quantity::Float => "the float",
        Quantity::Overflow => "the overflow float",
        Quantity::Moisture => "the moisture probe",
        Quantity::Temperature => "the temperature probe",
        Quantity::Battery => "the battery",
        Quantity::Meter => "the water meter",
        Quantity::Diverter => "the diverter's position sensor",
        Quantity::Rain => "the rain gauge",
    };
    match sensor.place {
        Place::Basin(ix) => format!("{device} in {}", basin(system, ix)),
        Place::System => device.to_owned(),
    }
}

/// The same as the beginning of a sentence.
fn sensor_first(system: &System, ix: SensorIx) -> String {
    capitalised(&sensor(system, ix))
}

pub(crate) fn float_wet(system: &System, basin: &str, since: EventTime, hold: Span) -> String {
    format!(
        "Water has stood at the float in {basin} since {}, longer than the {} after which it counts as a flood.",
        clock(system, since),
        roughly(hold)
    )
}

pub(crate) fn overflow_wet(system: &System, basin: &str, since: EventTime) -> String {
    format!("The overflow float near the rim of {basin} has been wet since {}.", clock(system, since))
}

pub(crate) fn float_last_heard(system: &System, basin: &str, at: EventTime) -> String {
    format!("The float in {basin} was last heard at {}.", clock(system, at))
}

pub(crate) fn float_belied(system: &System, float: SensorIx, since: EventTime, doses: u8) -> String {
    format!(
        "{} has said since {} that water stands, while {doses} doses wetted the soil below it as usual and it \
         dried in between.",
        sensor_first(system, float),
        clock(system, since)
    )
}

pub(crate) fn ponding_learnt(system: &System, basin: &str, since: EventTime, learnt: Span) -> String {
    format!(
        "Water has stood at the float in {basin} since {}; nine times in ten it is gone in {}.",
        clock(system, since),
        roughly(learnt)
    )
}

pub(crate) fn ponding_by_soil(system: &System, basin: &str, since: EventTime, allowance: Span) -> String {
    format!(
        "Water has stood at the float in {basin} since {}; {} should take it in {}.",
        clock(system, since),
        system.soil.name().replace('-', " "),
        roughly(allowance)
    )
}

pub(crate) fn silent(system: &System, silent: SensorIx, last: EventTime, patience: Span) -> String {
    format!(
        "Nothing was heard from {} since {}; by its habit {} would be long.",
        sensor(system, silent),
        clock(system, last),
        roughly(patience)
    )
}

pub(crate) fn never_heard(system: &System, silent: SensorIx, first: EventTime) -> String {
    format!(
        "Nothing was ever heard from {}, though the system has reported since {}.",
        sensor(system, silent),
        clock(system, first)
    )
}

pub(crate) fn frozen(system: &System, frozen: SensorIx, value: f64, since: EventTime) -> String {
    format!("{} has said exactly {value} since {}.", sensor_first(system, frozen), clock(system, since))
}

pub(crate) fn spiking(system: &System, spiking: SensorIx) -> String {
    format!(
        "{} leapt and came back several times within a day, as soil cannot.",
        sensor_first(system, spiking)
    )
}

pub(crate) fn out_of_range(system: &System, probe: SensorIx, value: f64) -> String {
    format!("{} says {value:.3} m³/m³, which no soil holds.", sensor_first(system, probe))
}

pub(crate) fn chatter(system: &System, float: SensorIx) -> String {
    format!("{} changes more often than water can rise and fall.", sensor_first(system, float))
}

pub(crate) fn battery(system: &System, battery: SensorIx, percent: f64) -> String {
    format!("{} is down to {percent:.0} %.", sensor_first(system, battery))
}

/// Water that reached a basin, or the meter, against the diverter.
pub(crate) fn water_on_sewer(
    system: &System,
    reached: Option<BasinIx>,
    at: EventTime,
    since: EventTime,
) -> String {
    format!(
        "Water reached {} at {} although the diverter has said sewer since {}.",
        reached.map_or_else(|| "the meter".to_owned(), |ix| basin(system, ix)),
        clock(system, at),
        clock(system, since)
    )
}

/// What basins received of late: percent of each dose, percent by design.
pub(crate) fn shares(system: &System, since: EventTime, basins: &[(BasinIx, f64, f64)]) -> String {
    let parts: Vec<String> = basins
        .iter()
        .take(4)
        .map(|(ix, now, design)| {
            format!("{} received {now:.0} % of each dose instead of {design:.0} %", basin(system, *ix))
        })
        .collect();
    format!("Since {} {}.", clock(system, since), parts.join(", "))
}

/// A float that rose in fewer doses than it would have by its habit.
pub(crate) fn float_stays_down(
    system: &System,
    basin: &str,
    since: EventTime,
    asked: u16,
    (rose, expected): (u16, f64),
) -> String {
    let rose = if rose == 0 { "has stayed down in".into() } else { format!("has risen in {rose} of") };
    let usual = expected.round().max(1.0);
    format!(
        "Since {} the float in {basin} {rose} {asked} doses; by its habit it would have risen in about {usual}.",
        clock(system, since)
    )
}

/// The float of the only basin beside one whose float stays down.
pub(crate) fn float_beside(basin: &str, (rose, expected): (u16, f64)) -> String {
    format!(" In {basin} the float rose in {rose} of them, by its habit in about {expected:.0}.")
}

/// A date without the time, on the calendar of the yard: `3 May 2026`.
fn date(system: &System, at: EventTime) -> String {
    at.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %B %Y").to_string()
}

pub(crate) fn judged_anew(system: &System, from: EventTime) -> String {
    format!(
        "What was remembered could not be used after an upgrade or a damage, so the readings since {} were judged \
         anew: by them this does not stand.",
        date(system, from)
    )
}

pub(crate) fn too_old_to_judge(system: &System, from: EventTime) -> String {
    format!(
        "What was remembered could not be used after an upgrade or a damage, and of the time before this began too few \
         readings are kept (since {}) to tell whether it stands: look at it at the next visit.",
        date(system, from)
    )
}

pub(crate) fn judged_by_changed_plan() -> String {
    "The plan was changed while the program did not run: by the changed plan this does not stand.".to_owned()
}

pub(crate) fn soaks_slower(
    system: &System,
    basin: &str,
    since: Option<EventTime>,
    [before, now]: [Span; 2],
) -> String {
    let since = since.map_or_else(String::new, |since| format!(" since about {}", date(system, since)));
    format!(
        "A larger dose now takes {} to soak away in {basin}; it took {} before. It has become slower{since}.",
        roughly(now),
        roughly(before)
    )
}

pub(crate) fn soil_alone(system: &System, dose_mm: f64, by_soil: Span, litres: f64) -> String {
    let received = if system.source.is_metered() {
        format!("{litres:.0} L")
    } else {
        format!("about {:.0} L", two_figures(litres))
    };
    format!(
        "{} alone would take the same {dose_mm:.0} mm in {}. The basin has received {received} since its mulch \
         was last renewed or it was first heard of.",
        capitalised(&system.soil.name().replace('-', " ")),
        roughly(by_soil)
    )
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A floor is told slow before water stands at its float.
pub(crate) fn told_by_probe(basin: &str) -> String {
    format!(
        "The moisture probe tells it: each dose reaches the soil under {basin} later and is spread over more hours."
    )
}

pub(crate) fn loads_are_guessed() -> String {
    "No meter counts the water: how much came is guessed from the sensors, and so is the soak time."
        .to_owned()
}

/// What a forecast rests on.
pub(crate) fn basis(mulch_left: f64, has_float: bool, is_seen: bool, is_slow: bool) -> String {
    let percent = 100.0 * mulch_left;
    let floor = match (has_float, is_seen, is_slow) {
        (false, ..) => "there is no float, so standing water cannot be seen",
        (true, false, _) => "no water has stood at the float, and the probe does not tell the floor yet",
        (true, true, false) => "the floor soaks as it did",
        (true, true, true) => "the floor soaks ever more slowly",
    };
    format!("about {percent:.0} % of the mulch is left; {floor}")
}

pub(crate) fn runs_on(system: &System, since: EventTime, longest: Span) -> String {
    format!(
        "The meter has run without a pause since {}; the longest use without a pause is about {}.",
        clock(system, since),
        roughly(longest)
    )
}

pub(crate) fn uncounted(system: &System, first: EventTime, last: EventTime) -> String {
    format!(
        "Water reached the basins at {} and {}, although the meter counted none and no rain fell.",
        clock(system, first),
        clock(system, last)
    )
}

pub(crate) fn water_lost(system: &System, last: EventTime, litres: f64) -> String {
    format!("The meter counted {litres:.0} L since {}, and none of it reached a basin.", clock(system, last))
}

pub(crate) fn quiet(system: &System, last: EventTime, longest: Span) -> String {
    format!(
        "No water reached any basin since {}; so far the longest pause was {}. The household may be away.",
        clock(system, last),
        roughly(longest)
    )
}

pub(crate) fn quiet_alone(system: &System, last: EventTime, days: u32) -> String {
    format!(
        "No water reached any basin since {}, while another system of the property had water on {days} days.",
        clock(system, last)
    )
}
