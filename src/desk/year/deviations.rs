//! What an inspector should know of a year: what stood, what was not done, what was not heard.

use super::account::{Account, BasinYear};
use crate::advice::quoted;
use crate::desk::units::Units;
use crate::desk::words;
use crate::model::{FindingKind, System};

/// A sensor that was silent for more than this part of the days is named, and a basin whose figures lack more of the doses.
const SILENT: f64 = 0.05;
/// A basin whose share is off by more than this is named.
const OFF: f64 = 0.05;

/// The deviations, in sentences.
pub(super) fn of(system: &System, year: &Account) -> Vec<String> {
    let mut says = Vec::new();
    if !year.is_over {
        says.push("The year is not over: this account ends with the time at which it was drawn.".to_owned());
    }
    if let Some(at) = year.first_heard {
        let day = at.timestamp().to_zoned_datetime(system.zone.clone()).strftime("%-d %b %Y").to_string();
        says.push(format!("The system was heard first on {day}: the time before is not in this account."));
    }
    findings(year, &mut says);
    gaps(year, &mut says);
    water(year, &mut says);
    for basin in &year.basins {
        // What is missing because the meter was silent is said of all of them above.
        let of_meter = year.water.doses - year.water.metered_doses;
        let missing = year.water.doses.saturating_sub(basin.doses + of_meter);
        if let Some(why) = basin.says.as_ref().filter(|_| missing as f64 > SILENT * year.water.doses as f64) {
            let what = if basin.doses == 0 { "not known" } else { "incomplete" };
            says.push(format!("What basin {} received is {what}: {why}.", quoted(&name(year, basin))));
        }
        if let Some(share) = basin.share.filter(|share| (share - basin.design_share).abs() > OFF) {
            says.push(format!(
                "Basin {} received {} of the water; its design share is {}.",
                quoted(&name(year, basin)),
                words::percent(share),
                words::share(basin.design_share)
            ));
        }
    }
    not_done(system, year, &mut says);
    says
}

fn findings(year: &Account, says: &mut Vec<String>) {
    let floods: Vec<_> = year.findings.iter().filter(|it| it.finding == FindingKind::Flooding).collect();
    if !floods.is_empty() {
        let days: f64 = floods.iter().map(|it| it.days).sum();
        let times = super::pages::times(floods.len());
        says.push(format!("A basin flooded {times}, {days:.1} days in all."));
    }
    for finding in year.findings.iter().filter(|it| it.cleared_at.is_none()) {
        says.push(format!("Not over at the end: {}.", finding.headline));
    }
}

fn gaps(year: &Account, says: &mut Vec<String>) {
    for gap in &year.gaps {
        if gap.days as f64 > SILENT * gap.out_of as f64 {
            says.push(format!("Nothing was heard from {} on {} of {} days.", gap.of, gap.days, gap.out_of));
        }
    }
}

fn water(year: &Account, says: &mut Vec<String>) {
    let water = &year.water;
    if water.doses == 0 {
        says.push("No dose was recognised.".to_owned());
    } else if water.metered_doses == 0 {
        says.push(
            "No volume is known: there is no meter, so basins are told by their shares alone.".to_owned(),
        );
    } else {
        if water.estimated {
            says.push(
                "No meter counts: litres are estimates, reckoned by how many people use the system."
                    .to_owned(),
            );
        }
        if water.metered_doses < water.doses {
            let missing = water.doses - water.metered_doses;
            says.push(format!(
                "The volume of {} of {} doses is not known; they are not in the litres.",
                words::grouped(missing as u64),
                words::grouped(water.doses as u64)
            ));
        }
        if water.unattributed_litres > 0.0 {
            says.push(format!(
                "{} of {} could not be attributed to basins, because of rain or silent probes, or because it was too little to tell.",
                Units::Metric.volume(water.unattributed_litres), Units::Metric.volume(water.litres)
            ));
        }
    }
}

fn not_done(system: &System, year: &Account, says: &mut Vec<String>) {
    if year.diverter.as_ref().is_some_and(|diverter| diverter.turns + diverter.exercises == 0) {
        says.push(
            "The diverter was neither seen nor written down to be turned; once a year keeps it from seizing \
             (common practice, no published source)."
                .to_owned(),
        );
    }
    let unproved: Vec<_> =
        system.splitters.iter().filter(|it| !year.proved(&it.id)).map(|it| it.id.to_string()).collect();
    if !unproved.is_empty() {
        says.push(format!("No flow test proved {}.", listed("splitter", &unproved)));
    }
    let unseen: Vec<_> =
        year.basins.iter().filter(|basin| basin.services == 0).map(|basin| name(year, basin)).collect();
    if !unseen.is_empty() {
        says.push(format!("Nobody wrote down having been at {}.", listed("basin", &unseen)));
    }
}

/// What people call a basin; with its id where another is called the same.
fn name(year: &Account, basin: &BasinYear) -> String {
    if year.shares_label(&basin.label) {
        format!("{} ({})", basin.label, basin.id)
    } else {
        basin.label.clone()
    }
}

/// `splitter “s1”`, `splitters “s1”, “s2”`
fn listed(one: &str, names: &[String]) -> String {
    let plural = if names.len() == 1 { "" } else { "s" };
    let names: Vec<_> = names.iter().map(|name| quoted(name)).collect();
    format!("{one}{plural} {}", names.join(", "))
}
