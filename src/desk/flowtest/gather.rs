//! A flow test in words.

use std::fmt::Write as _;

use super::work::Known;
use crate::advice::{basin_title, quoted};
use crate::desk::gather::{node_words, volume_words};
use crate::desk::sheet::Moment;
use crate::desk::units::Units;
use crate::desk::words;
use crate::flowtest::{Arrival, Method, Next, Patience, SplitResult, Verdict, arrival};
use crate::ledger::StoredTest;
use crate::model::{EventTime, Id, Span, Subject, System};

/// A flow test.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct TestSheet {
    pub(super) key: String,
    pub(super) system: (String, String),
    pub(super) method: Method,
    pub(super) began: Moment,
    pub(super) by: String,
    pub(super) litres: Option<String>,
    pub(super) note: String,
    pub(super) ended: Option<(Moment, String)>,
    /// When and by whom the water of each run was said to be off.
    pub(super) run_ends: Vec<(Moment, String)>,
    /// It was given up.
    pub(super) given_up: bool,
    /// While it runs: each outlet, and when its water arrived.
    pub(super) outlets: Vec<OutletSheet>,
    /// Doses or runs: when, how large, and what each basin got.
    pub(super) runs: Vec<RunSheet>,
    /// Doses or runs that count.
    pub(super) counted: usize,
    /// Runs that were not judged, and why.
    pub(super) unjudged: Vec<(Moment, String)>,
    pub(super) splits: Vec<SplitSheet>,
    /// When a run whose water is off is judged, while probes measure.
    pub(super) judged: String,
    /// In one sentence.
    pub(super) says: String,
    /// Every splitter is even.
    pub(super) proved: bool,
}

/// An outlet while water runs.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct OutletSheet {
    /// The basin's id.
    pub(super) id: String,
    pub(super) place: String,
    pub(super) arrived: Option<Moment>,
    pub(super) says: String,
}

/// One run.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct RunSheet {
    pub(super) at: Moment,
    pub(super) litres: Option<String>,
    /// Basin and what it got.
    pub(super) parts: Vec<(String, String)>,
    pub(super) quality: Option<String>,
}

/// One splitter.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SplitSheet {
    pub(super) id: String,
    pub(super) verdict: Verdict,
    /// `“plum” 62 : “pear” 38`, with the interval of side a.
    pub(super) split: Option<(String, String)>,
    pub(super) design: String,
    /// How sure, and from how many runs.
    pub(super) says: String,
    /// Why it is not measured, where it is not.
    pub(super) why: String,
    /// What to do next.
    pub(super) next: String,
    /// How it was before, and what was done in between.
    pub(super) before: Option<String>,
    /// Share of side a, its interval and the design, for the drawing.
    pub(super) drawn: Option<(f64, (f64, f64), f64)>,
}

pub(super) fn sheet(system: &System, known: &Known, units: Units, now: EventTime) -> TestSheet {
    let test = &known.test;
    let moment = |at| words::moment(at, now, &system.zone);
    let splits: Vec<SplitSheet> =
        known.outcome.splits.iter().map(|split| split_sheet(system, known, split, now)).collect();
    TestSheet {
        key: test.key.to_string(),
        system: (system.id.to_string(), system.name.clone()),
        method: test.method,
        began: moment(test.began),
        by: test.by.clone(),
        litres: test.litres.map(|litres| units.volume(litres)),
        note: test.note.clone(),
        ended: test.ended.as_ref().map(|(at, by)| (moment(*at), by.clone())),
        run_ends: test.run_ends.iter().map(|(at, by)| (moment(*at), by.clone())).collect(),
        given_up: test.ended.is_some() && test.outcome.is_none(),
        outlets: outlets(system, known, now),
        runs: runs(system, known, units, now),
        counted: known.outcome.runs,
        unjudged: unjudged(system, known, now),
        judged: judged(known, now),
        says: says(test, known),
        proved: known.outcome.proves_the_split(),
        splits,
    }
}

/// `a run is judged once no probe has risen for 38 minutes: here, with a reading every 15 minutes, …`
fn judged(known: &Known, now: EventTime) -> String {
    Patience::of(&known.traces, now).map_or_else(
        || "A run is judged once no probe rises any more, an hour or two after the water is off.".to_owned(),
        |patience| {
            let [interval, calm, soonest, latest] =
                [patience.interval, patience.calm, patience.soonest, patience.latest].map(words::span);
            format!(
                "The probes here report every {interval}. A run is judged once none of them has risen for {calm}: \
                 {soonest} to {latest} after the water is off, or later where other water runs meanwhile."
            )
        },
    )
}

fn says(test: &StoredTest, known: &Known) -> String {
    let of = |verdict| known.outcome.splits.iter().filter(|split| split.verdict == verdict).count();
    if test.ended.is_some() && test.outcome.is_none() {
        return "This test was given up.".to_owned();
    }
    if known.outcome.splits.is_empty() {
        return "This system has no splitter: water arrives in its one basin or it does not.".to_owned();
    }
    if known.outcome.runs == 0 {
        return match test.method {
            Method::Probes => "No dose is measured yet. The probes tell what each basin got once the soil has stopped rising.".to_owned(),
            Method::Buckets => "Nothing was caught yet.".to_owned(),
        };
    }
    if known.outcome.proves_the_split() {
        return "Every splitter divides as designed.".to_owned();
    }
    match (of(Verdict::Uneven), of(Verdict::Unclear) + of(Verdict::Unmeasured)) {
        (0, _) => "Not every splitter is proved yet.".to_owned(),
        (1, _) => "One splitter does not divide as designed.".to_owned(),
        (many, _) => {
            format!("{} splitters do not divide as designed.", words::capitalised(&words::count(many)))
        }
    }
}

/// Outlets in the order in which their water arrived, then those that still wait.
fn outlets(system: &System, known: &Known, now: EventTime) -> Vec<OutletSheet> {
    let began = known.test.began;
    let mut outlets: Vec<(Option<EventTime>, OutletSheet)> = system
        .basin_ixs()
        .zip(&known.traces)
        .map(|(basin, trace)| {
            let (at, says) = match arrival(trace, began) {
                Arrival::Seen(at) => (Some(at), format!("{} after the water began", words::span(at - began))),
                Arrival::NotYet => (None, "nothing yet".to_owned()),
                Arrival::Unheard => (None, "not heard since the water began".to_owned()),
            };
            let arrived = at.map(|at| words::moment(at, now, &system.zone));
            let id = system.basin(basin).id.to_string();
            (at, OutletSheet { id, place: basin_title(system, basin), arrived, says })
        })
        .collect();
    outlets.sort_by_key(|(at, _)| at.unwrap_or(EventTime::MAX));
    outlets.into_iter().map(|(_, sheet)| sheet).collect()
}

fn runs(system: &System, known: &Known, units: Units, now: EventTime) -> Vec<RunSheet> {
    let moment = |at| words::moment(at, now, &system.zone);
    let name = |id: &Id| {
        let basin = system.find_basin(id.as_str());
        basin.map_or_else(|| id.to_string(), |basin| system.basin(basin).label().to_owned())
    };
    match known.test.method {
        Method::Probes => known
            .doses
            .iter()
            .filter(|dose| dose.quality > 0.0 && dose.shares.len() > 1)
            .map(|dose| RunSheet {
                at: moment(dose.at),
                litres: dose.litres.map(|litres| volume_words(system, litres, units)),
                parts: dose.shares.iter().map(|(id, share)| (name(id), words::percent(*share))).collect(),
                quality: Some(words::percent(dose.quality)),
            })
            .collect(),
        Method::Buckets => known
            .test
            .runs
            .iter()
            .map(|(at, caught)| RunSheet {
                at: moment(*at),
                litres: Some(units.volume(caught.values().map(|caught| caught.litres).sum())),
                parts: caught.iter().map(|(id, caught)| (name(id), units.volume(caught.litres))).collect(),
                quality: None,
            })
            .collect(),
    }
}

/// Runs measured by probes that do not count, and why: doses that tell nothing of the splitters, and water that was said
/// to be off without any dose.
fn unjudged(system: &System, known: &Known, now: EventTime) -> Vec<(Moment, String)> {
    if known.test.method == Method::Buckets {
        return Vec::new();
    }
    let doses = known.doses.iter().filter_map(|dose| {
        let why = match dose.shares.len() {
            _ if dose.quality <= 0.0 => "rain wetted the basins as well",
            0 => "no probe rose enough to be measured",
            1 if system.basins.len() > 1 => "only one basin was measured, and a share needs two",
            _ => return None,
        };
        Some((dose.at, why.to_owned()))
    });
    let mut all: Vec<_> = doses.chain(without_dose(known, now)).collect();
    all.sort_by_key(|(at, _)| *at);
    all.into_iter().map(|(at, why)| (words::moment(at, now, &system.zone), why)).collect()
}

/// Runs whose water is off for longer than a judgement takes, without any dose.
fn without_dose(known: &Known, now: EventTime) -> impl Iterator<Item = (EventTime, String)> {
    /// A judgement takes no longer where nothing tells how often probes report.
    const AT_MOST: Span = Span::from_hours(3);
    let takes = Patience::of(&known.traces, now).map_or(AT_MOST, |patience| patience.latest);
    let until = known.test.ended.as_ref().map_or(now, |(at, _)| *at);
    let begins = std::iter::once(EventTime::MIN).chain(known.test.run_ends.iter().map(|(at, _)| *at));
    let runs = begins.zip(known.test.run_ends.iter().map(|(at, _)| *at));
    runs.filter_map(move |(from, off)| {
        if known.doses.iter().any(|dose| dose.at > from && dose.at <= off) {
            return None;
        }
        let why = if until - off >= takes {
            "no probe rose: too little water came to be measured, the diverter stood at sewer, or another run began \
             before the soil was calm"
        } else if known.test.ended.is_some() {
            "the test was ended before the probes had stopped rising"
        } else {
            return None;
        };
        Some((off, why.to_owned()))
    })
}

/// What the sides of a splitter feed; one that the system no longer has is told by the sides alone.
fn sides(system: &System, split: &SplitResult) -> [String; 2] {
    let ix = system.find_splitter(split.splitter.as_str());
    ix.map_or_else(
        || ["side a".to_owned(), "side b".to_owned()],
        |ix| system.tree().feeds(ix).map(|node| node_words(system, node)),
    )
}

fn split_sheet(system: &System, known: &Known, split: &SplitResult, now: EventTime) -> SplitSheet {
    let sides = sides(system, split);
    let side_a = &sides[0];
    let runs = match split.runs {
        0 => "no run".to_owned(),
        1 => "one run".to_owned(),
        many => format!("{} runs", words::count(many)),
    };
    let scatter = split
        .scatter
        .filter(|scatter| *scatter > 1.5)
        .map_or("", |_| "; the runs scatter more than they should, and so the split is told less exactly");
    let says = match split.within {
        Some(within) => format!(
            "Within 6 points of the design with a probability of {}, from {runs}{scatter}. Side a feeds {side_a}.",
            words::chance(within)
        ),
        None => format!("Not measured: {}. Side a feeds {side_a}.", why_unmeasured(split)),
    };
    SplitSheet {
        id: split.splitter.to_string(),
        verdict: split.verdict,
        split: split.share_a.zip(split.interval).map(|(share, interval)| {
            (words::split(share, &sides), format!("{} to side a", likely(interval)))
        }),
        design: format!("{:.0} : {:.0}", split.design_a * 100.0, (1.0 - split.design_a) * 100.0),
        says,
        why: why_unmeasured(split),
        next: next_words(&split.next),
        before: before(system, known, split, now),
        drawn: split.share_a.zip(split.interval).map(|(share, interval)| (share, interval, split.design_a)),
    }
}

/// `most likely between 52 % and 54 %`, or one number where these are the same.
fn likely((low, high): (f64, f64)) -> String {
    match [low, high].map(words::percent) {
        [low, high] if low == high => format!("most likely {low}"),
        [low, high] => format!("most likely between {low} and {high}"),
    }
}

/// Why a test could not tell how a splitter divides the water.
pub(in crate::desk) fn why_unmeasured(split: &SplitResult) -> String {
    if let Next::Buckets { blind } = &split.next
        && !blind.is_empty()
    {
        return format!("no probe measures at {}", listed(blind));
    }
    let why = match (split.verdict == Verdict::Unclear, split.runs) {
        (true, _) => "no run is measured yet",
        (false, 0) => "no run put a measurable part on both of its sides",
        (false, _) => "the runs do not tell both of its sides",
    };
    why.to_owned()
}

fn listed(names: &[Id]) -> String {
    names.iter().map(|name| quoted(name.as_str())).collect::<Vec<_>>().join(", ")
}

fn next_words(next: &Next) -> String {
    match next {
        Next::Nothing => String::new(),
        Next::RunAgain { runs: 1 } => {
            "Run water once more, at least as much as a usual dose, so that every outlet gets a measurable part.".to_owned()
        }
        Next::RunAgain { runs } => format!(
            "Run water {} more times, each at least as much as a usual dose.",
            words::count(*runs)
        ),
        Next::TellApart => "Run a little water gently, and then a lot at once: a splitter off level divides worst with \
                            little water, a line that is partly blocked with much. A spirit level across the splitter \
                            tells as well."
            .to_owned(),
        Next::Buckets { blind } if blind.is_empty() => {
            "More runs like these would not tell: catch the water below each outlet in a bucket.".to_owned()
        }
        Next::Buckets { blind } => {
            format!("No probe measures at {}: catch the water below each outlet in a bucket.", listed(blind))
        }
    }
}

/// `Before, on 3 Mar: “plum” 62 : “pear” 38. Levelled 5 Mar by Sam.`
fn before(system: &System, known: &Known, split: &SplitResult, now: EventTime) -> Option<String> {
    let (test, share) = known.earlier.iter().find_map(|test| {
        let splits = &test.outcome.as_ref()?.splits;
        Some((test, splits.iter().find(|it| it.splitter == split.splitter)?.share_a?))
    })?;
    let moment = |at| words::moment(at, now, &system.zone).words;
    let mut says = format!(
        "At the test before, {}: {}.",
        moment(test.began),
        words::split(share, &sides(system, split))
    );
    let subject = Subject::Splitter(split.splitter.clone());
    if let Some(levelled) = known.levelled.iter().find(|service| service.record.subject == subject) {
        let proved = if split.verdict == Verdict::Even { ", and proved by this test" } else { "" };
        let _ = write!(says, " Levelled {} by {}{proved}.", moment(levelled.record.at), levelled.by);
    }
    Some(says)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::flowtest::Outcome;
    use crate::model::RecordKey;

    fn at(time: &str) -> EventTime {
        format!("2026-06-01T{time}:00Z").parse().unwrap()
    }

    fn known(system: &System, ended: Option<&str>, doses: Vec<crate::ledger::DoseRecord>) -> Known {
        let test = StoredTest {
            key: RecordKey::new("0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16011").unwrap(),
            system: system.id.clone(),
            method: Method::Probes,
            began: at("08:00"),
            by: "ana".to_owned(),
            litres: None,
            note: String::new(),
            ended: ended.map(|time| (at(time), "ana".to_owned())),
            outcome: None,
            run_ends: vec![(at("08:10"), "ana".to_owned())],
            runs: Vec::new(),
        };
        let outcome = Outcome { runs: 0, splits: Vec::new() };
        Known { test, doses, outcome, traces: Vec::new(), earlier: Vec::new(), levelled: Vec::new() }
    }

    #[test]
    fn a_run_that_is_not_judged_says_why() {
        let system = samples::terrace();
        let why = |known: &Known, now: &str| {
            let told = unjudged(&system, known, at(now));
            told.into_iter().map(|(_, why)| why).collect::<Vec<_>>().join("; ")
        };
        let none = known(&system, None, Vec::new());
        assert_eq!(why(&none, "09:00"), "", "it may still be judged");
        assert!(why(&none, "12:00").starts_with("no probe rose"), "{}", why(&none, "12:00"));
        let early = known(&system, Some("08:30"), Vec::new());
        assert!(why(&early, "12:00").contains("ended before"), "{}", why(&early, "12:00"));
        let mut rained = samples::dose(&system, "2026-06-01T08:05:00Z", None, &[0.25; 4]);
        rained.quality = 0.0;
        let rained = known(&system, None, vec![rained]);
        assert!(why(&rained, "12:00").starts_with("rain wetted"), "{}", why(&rained, "12:00"));
        let whole = samples::dose(&system, "2026-06-01T08:05:00Z", None, &[0.25; 4]);
        assert_eq!(why(&known(&system, None, vec![whole]), "12:00"), "");
    }
}
