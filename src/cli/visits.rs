//! `basinward visits`: what the ledger says is to be done, and whether that is better than a calendar.

use std::collections::BTreeMap;
use std::io::{self, Write, stdout};
use std::path::PathBuf;
use std::sync::Arc;

use super::input::read_systems;
use super::paint::Paint;
use super::{Failure, SettingsFile};
use crate::clock::Clock;
use crate::ledger::{LedgerFault, View};
use crate::model::System;
use crate::schedule::{Upkeep, compared, work_out};
use crate::upkeep::{CALENDARS, Comparison, Day, Plan, Side, Task, Way, skipping, visit_reason};

/// Arguments of `visits`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward visits                         the visits that the ledger asks for now
  basinward visits --compare               the last year by plan, and by two calendars
  basinward visits --folder ~/yards        of a demonstration that was kept with `demo --folder ~/yards`

Reads the system files and the ledger, also while the daemon runs, and changes nothing.")]
pub struct VisitsArgs {
    /// Play the past through, by plan and by the calendar: visits made, and days that faults stood
    #[arg(long)]
    pub compare: bool,
    /// How much of the past to compare
    #[arg(long, value_name = "N", default_value_t = 365, requires = "compare", value_parser = clap::value_parser!(u16).range(30..=3650))]
    pub days: u16,
    /// Folder that holds systems/ and data/ [default: both as in the settings]
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// Where the settings come from.
    #[command(flatten)]
    pub settings: SettingsFile,
}

/// Prints the plan or the comparison.
pub(super) fn visits(args: &VisitsArgs) -> Result<(), Failure> {
    let settings = args.settings.load()?.settings;
    let folder = |name: &str, stated: &PathBuf| {
        args.folder.as_ref().map_or_else(|| stated.clone(), |folder| folder.join(name))
    };
    let systems = read_systems(&folder("systems", &settings.folders.systems), &settings.mqtt.prefix)?;
    let failed = |fault: LedgerFault| Failure::Failed(Box::new(fault));
    let view = View::open(&folder("data", &settings.folders.data)).map_err(failed)?;
    let (rules, crew) = (settings.upkeep.rules(), settings.upkeep.crew());
    // A demonstration lives faster than the clock on the wall.
    let heard = view.totals().map_err(failed)?.last_received;
    let now = heard.map_or(Clock::wall().now(), |heard| heard.max(Clock::wall().now()));
    let mut out = stdout().lock();
    if args.compare {
        let days = i64::from(args.days);
        let ways = [Way::AsItWas, Way::Plan(&rules, &crew), CALENDARS[0], CALENDARS[1]];
        let told = compared(&view, &systems, (now, days), &ways).map_err(failed)?;
        return Ok(write_comparison(&told, &mut out)?);
    }
    let before = view.plan().map_err(failed)?.map(|(_, plan)| plan).unwrap_or_default();
    let upkeep = work_out(&view, &systems, (&rules, &crew), &before, now).map_err(failed)?;
    Ok(write_plan(&upkeep, &systems, &mut out)?)
}

fn write_plan(upkeep: &Upkeep, systems: &[Arc<System>], out: &mut impl Write) -> io::Result<()> {
    let paint = Paint::for_stream(&stdout());
    let by_id: BTreeMap<_, _> = systems.iter().map(|system| (&system.id, system)).collect();
    let Plan { visits, late, .. } = &upkeep.plan;
    for visit in visits {
        let tasks: Vec<&Task> = visit.tasks.iter().filter_map(|key| upkeep.tasks.get(key)).collect();
        let Some(system) = tasks.first().and_then(|task| by_id.get(&task.key.system)) else { continue };
        let (day, minutes) = (visit.day, visit.minutes);
        writeln!(out, "{}  {}, {minutes} minutes", paint.strong(&day.to_string()), visit.property)?;
        writeln!(out, "    {}", visit_reason(visit, &tasks, system))?;
        writeln!(out, "    Skipping it: {}", skipping(&tasks))?;
        for task in &tasks {
            let Some(system) = by_id.get(&task.key.system) else { continue };
            let due = Day::of(task.window.due, &system.zone).date();
            writeln!(out, "    - {}, {}: due {due}", task.key.title(system), system.id)?;
        }
        writeln!(out)?;
    }
    let waiting = upkeep.tasks.len() - visits.iter().map(|visit| visit.tasks.len()).sum::<usize>();
    let visits = visits.len();
    let late = late.len();
    writeln!(out, "{visits} visits; {late} tasks after their due day; {waiting} tasks fall due later.")
}

fn write_comparison(told: &Comparison<'_>, out: &mut impl Write) -> io::Result<()> {
    let Comparison { properties, systems, left_out, days, faults, sides, as_good } = told;
    writeln!(
        out,
        "The last {days} days once more, as far as they are recorded: {properties} properties, {systems} systems, {faults} \
         faults.\n"
    )?;
    if *left_out > 0 {
        writeln!(out, "Left out, as they were first heard later: {left_out} systems.\n")?;
    }
    writeln!(out, "{:34} {:>7} {:>7} {:>12} {:>12}", "", "visits", "of them", "days that", "of them")?;
    writeln!(out, "{:34} {:>7} {:>7} {:>12} {:>12}", "", "", "called", "faults stood", "floods")?;
    for (side, mark) in sides.iter().map(|side| (side, "")).chain(as_good.iter().map(|side| (side, " *"))) {
        let Side { way, visits, complaints, fault_days, flood_days } = side;
        let name = match way {
            Way::AsItWas => "as it was, by the records".to_owned(),
            Way::Plan(..) => "by plan".to_owned(),
            Way::Calendar(1) => format!("by calendar, every day{mark}"),
            Way::Calendar(every) => format!("by calendar, every {every} days{mark}"),
        };
        writeln!(out, "{name:34} {visits:>7} {complaints:>7} {fault_days:>12.0} {flood_days:>12.0}")?;
    }
    if as_good.is_some() {
        writeln!(
            out,
            "\n* The fair one to compare with: the rarest rounds under which faults would have stood no longer than as it\n\
             was. Rarer rounds save visits and let faults stand."
        )?;
    }
    writeln!(
        out,
        "\nPlan and calendars are played through over the same findings and forecasts, knowing on each day only what was\n\
         known then. A fault stands from when it was found until it went away or a visit mended it; one that was mended\n\
         would have stood on without that. A basin that soaks slowly foretells a fault and is none yet.\n\
         By the calendar, every property is visited in each round and all that is found is mended; a household calls\n\
         once its yard has stood under water for three days, which costs a visit. What work prevented counts for nobody.\n\
         A round a year is what a water agency advises for outlets and mulch (Santa Clara Valley Water District, guidance\n\
         on graywater mulch basins); a round a quarter, and who calls when, are common practice, no published source.",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::upkeep::{Crew, Rules};

    #[test]
    fn the_comparison_is_a_table_that_states_its_assumptions() {
        let side = |way, visits, complaints, fault_days| Side {
            way,
            visits,
            complaints,
            fault_days,
            flood_days: fault_days / 10.0,
        };
        let (rules, crew) = (Rules::default(), Crew::default());
        let sides = vec![
            side(Way::AsItWas, 10, 0, 40.0),
            side(Way::Plan(&rules, &crew), 9, 0, 31.0),
            side(Way::Calendar(365), 8, 2, 812.0),
            side(Way::Calendar(91), 24, 0, 240.0),
        ];
        let as_good = Some(side(Way::Calendar(17), 126, 0, 39.0));
        let told =
            Comparison { properties: 6, systems: 8, left_out: 1, days: 365, faults: 14, sides, as_good };
        let mut out = Vec::new();
        write_comparison(&told, &mut out).unwrap();
        insta::assert_snapshot!(String::from_utf8(out).unwrap());
    }
}
