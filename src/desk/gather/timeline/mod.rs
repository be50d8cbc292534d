//! What happened in a system over a stretch of time.

mod edges;
mod lanes;
mod rows;
mod told;

use edges::{Grain, clipped, columns, edges};
use rows::rows;
pub(super) use rows::share_of;

use crate::desk::sheet::{Stretch, Tick, TimeRow, TimeTable, TimelineSheet};
use crate::desk::units::Units;
use crate::desk::words;
use crate::ledger::{Bin, DoseRecord, SoakRecord, StoredFinding};
use crate::model::{BasinIx, EventTime, Place, Quantity, Span, System};

pub use told::told;

/// What the ledger knows of a stretch of time.
#[derive(Clone, Debug, Default)]
pub struct TimelineRecord {
    /// When it was asked.
    pub now: EventTime,
    /// The basins looked at.
    pub basins: Vec<BasinIx>,
    /// Width of the bins: nothing for single readings.
    pub bin_width: Span,
    /// Moisture, by basin as above; nothing for a basin without a probe.
    pub moisture: Vec<Vec<Bin>>,
    /// Doses, in order.
    pub doses: Vec<DoseRecord>,
    /// Standing water that went away.
    pub soaks: Vec<SoakRecord>,
    /// Water standing now, and since when.
    pub standing: Vec<(BasinIx, EventTime)>,
    /// The meter's counts, from one bin before the stretch on; nothing without a meter.
    pub meter: Vec<Bin>,
    /// The rain gauge's counts, likewise.
    pub rain: Option<Vec<Bin>>,
    /// Findings about what is looked at that were open within the stretch.
    pub findings: Vec<StoredFinding>,
}

/// The timeline of `system` on the page at `page`.
pub fn timeline(
    system: &System,
    record: &TimelineRecord,
    stretch: &Stretch,
    page: &str,
    units: Units,
) -> TimelineSheet {
    let now = record.now;
    let columns = rows(system, record, &columns(stretch));
    let see = worded(
        system,
        now,
        rows(system, record, &clipped(stretch, &system.zone, Grain::to_see(stretch.length()))),
    );
    let read = worded(
        system,
        now,
        rows(system, record, &clipped(stretch, &system.zone, Grain::to_read(stretch.length()))),
    );
    let is_sensed = |position: &usize| {
        let place = Place::Basin(record.basins[*position]);
        [Quantity::Moisture, Quantity::Float].into_iter().any(|q| system.find_sensor(place, q).is_some())
    };
    let lane = |position| lanes::soil(system, record, position, stretch, &columns, now);
    TimelineSheet {
        page: page.to_owned(),
        stretch: *stretch,
        words: words::between(stretch.from, stretch.to, now, &system.zone),
        ticks: ticks(system, stretch),
        now: Some(stretch.place(now)).filter(|x| (0.0..=1.0).contains(x)),
        soil: (0..record.basins.len()).filter(is_sensed).map(lane).collect(),
        water: lanes::water(system, record, stretch, &see, units, now),
        rain: record.rain.as_ref().map(|_| lanes::rain(stretch, &see, units)),
        findings: lanes::findings(system, record, stretch, now),
        table: table(system, record, read),
    }
}

/// The timeline in steps as fine as the ledger tells them, for a table that programs read.
pub fn timeline_table(system: &System, record: &TimelineRecord, stretch: &Stretch) -> TimeTable {
    table(system, record, rows(system, record, &columns(stretch)))
}

fn table(system: &System, record: &TimelineRecord, rows: Vec<TimeRow>) -> TimeTable {
    let name = |ix: &BasinIx| (system.basin(*ix).id.clone(), system.basin(*ix).label().to_owned());
    TimeTable {
        basins: record.basins.iter().map(name).collect(),
        has_rain: record.rain.is_some(),
        estimated: !system.source.is_metered(),
        rows,
    }
}

fn worded(system: &System, now: EventTime, mut rows: Vec<TimeRow>) -> Vec<TimeRow> {
    for row in &mut rows {
        row.words = words::between(row.from, row.to, now, &system.zone);
    }
    rows
}

pub(super) fn ticks(system: &System, stretch: &Stretch) -> Vec<Tick> {
    let grain = Grain::to_mark(stretch.length());
    let marks = edges(stretch, &system.zone, grain);
    let in_sight = marks.into_iter().filter(|at| *at >= stretch.from && *at <= stretch.to);
    in_sight
        .enumerate()
        .map(|(i, at)| {
            let local = at.timestamp().to_zoned_datetime(system.zone.clone());
            let is_midnight = local.hour() == 0;
            let form = match grain {
                Grain::Hours(_) if is_midnight => "%a %-d",
                Grain::Hours(_) => "%H:%M",
                Grain::Day => "%a %-d",
                Grain::Week => "%-d %b",
                Grain::Month if local.month() == 1 => "%Y",
                Grain::Month => "%b",
                Grain::Year => "%Y",
            };
            Tick { x: stretch.place(at), words: local.strftime(form).to_string(), minor: i % 2 == 1 }
        })
        .collect()
}
