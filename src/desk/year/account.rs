//! The account of a year: what is told of a system.

use serde::Serialize;
use utoipa::ToSchema;

use crate::desk::flood::Taken;
use crate::flowtest::{Method, Outcome, Verdict};
use crate::model::{EventTime, FindingKind, Id, Severity};

/// One system in one calendar year of its own time zone.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub(in crate::desk) struct Account {
    /// The system's id.
    pub(in crate::desk) system: String,
    pub(in crate::desk) name: String,
    pub(in crate::desk) property: String,
    /// What it is and where, in one sentence.
    pub(in crate::desk) about: String,
    pub(in crate::desk) year: i16,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) from: EventTime,
    /// The end of the year, or the time of the account if it is not over.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) to: EventTime,
    pub(in crate::desk) is_over: bool,
    /// When the system was heard first, if that was in this year.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) first_heard: Option<EventTime>,
    pub(in crate::desk) water: Water,
    pub(in crate::desk) basins: Vec<BasinYear>,
    /// Oldest first.
    pub(in crate::desk) findings: Vec<FindingYear>,
    /// Alerts that were closed in this year, in the order of their closing.
    pub(in crate::desk) alerts: Vec<AlertYear>,
    pub(in crate::desk) services: Vec<ServiceYear>,
    pub(in crate::desk) tests: Vec<TestYear>,
    /// None where there is no diverter that tells its position.
    pub(in crate::desk) diverter: Option<DiverterYear>,
    pub(in crate::desk) gaps: Vec<Gap>,
    /// What an inspector should know, in sentences.
    pub(in crate::desk) deviations: Vec<String>,
}

/// Water through the system.
#[derive(Clone, Debug, Default, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct Water {
    pub(in crate::desk) doses: usize,
    /// Doses whose litres are known.
    pub(in crate::desk) metered_doses: usize,
    /// Litres of those.
    pub(in crate::desk) litres: f64,
    /// No meter counts: litres are reckoned by how many people use the system.
    pub(in crate::desk) estimated: bool,
    /// Litres of which it is not known what basin got them: rain, silent probes, or too little to tell.
    pub(in crate::desk) unattributed_litres: f64,
}

/// Water into one basin.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct BasinYear {
    pub(in crate::desk) id: String,
    pub(in crate::desk) label: String,
    /// Litres of the doses of which the volume and this basin's share is known; none where there is no such dose.
    pub(in crate::desk) litres: Option<f64>,
    /// Its share of the water of the same doses. Where no volume is known: its mean share of the doses that tell it,
    /// without those that rain touched.
    pub(in crate::desk) share: Option<f64>,
    /// How many doses these figures rest on.
    pub(in crate::desk) doses: usize,
    /// The longest time over which its sensors told of no dose: the first dose of it.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) silent_from: Option<EventTime>,
    /// The last dose of that time.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) silent_to: Option<EventTime>,
    /// What the figures rest on where that is not every dose, or why there are none, in words.
    pub(in crate::desk) says: Option<String>,
    /// The share that it should have.
    pub(in crate::desk) design_share: f64,
    /// Times that somebody wrote down that they were there.
    pub(in crate::desk) services: usize,
}

/// Something that was wrong.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct FindingYear {
    #[schema(value_type = String)]
    pub(in crate::desk) finding: FindingKind,
    /// A key such as `basin:quince`.
    pub(in crate::desk) subject: String,
    pub(in crate::desk) headline: String,
    #[schema(value_type = String)]
    pub(in crate::desk) severity: Severity,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) raised_at: EventTime,
    /// When it was over; none if it still stood at the end.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) cleared_at: Option<EventTime>,
    /// Days of this year on which it stood.
    pub(in crate::desk) days: f64,
}

/// An alert that was closed.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct AlertYear {
    pub(in crate::desk) alert: u64,
    #[schema(value_type = String)]
    pub(in crate::desk) finding: FindingKind,
    /// A key such as `basin:quince`.
    pub(in crate::desk) subject: String,
    pub(in crate::desk) headline: String,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) opened_at: EventTime,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) closed_at: EventTime,
    /// Who took it on first.
    pub(in crate::desk) taken: Option<Taken>,
    /// Who closed it while it stood; none where it closed by itself, since what it told of was over.
    pub(in crate::desk) closed_by: Option<String>,
    /// Why they did.
    pub(in crate::desk) reason: Option<String>,
}

/// Something that was done.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct ServiceYear {
    pub(in crate::desk) key: String,
    pub(in crate::desk) subject: String,
    pub(in crate::desk) place: String,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) at: EventTime,
    /// Names of what was done; empty if it was looked at.
    pub(in crate::desk) work: Vec<String>,
    /// Depth of mulch as found, mm.
    pub(in crate::desk) mulch_found_mm: Option<f64>,
    /// Depth of mulch as left, mm.
    pub(in crate::desk) mulch_left_mm: Option<f64>,
    pub(in crate::desk) note: String,
    pub(in crate::desk) by: String,
    /// Where mulch was renewed: what was last foretold before.
    pub(in crate::desk) foretold: Option<Foretold>,
}

/// When a basin would first have flooded, as it was foretold.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct Foretold {
    /// When that was thought.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) made: EventTime,
    /// The best estimate.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) due: EventTime,
    /// With 80 % probability not before this.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) earliest: EventTime,
    /// And not after this.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) latest: EventTime,
    /// The part of the mulch that was thought to be left, 0 to 1.
    pub(in crate::desk) mulch_left: f64,
}

/// Water run on purpose.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct TestYear {
    pub(in crate::desk) key: String,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) began: EventTime,
    pub(in crate::desk) by: String,
    /// `probes` or `buckets`.
    #[schema(value_type = String)]
    pub(in crate::desk) method: Method,
    /// As under `/systems/{id}/tests`.
    #[schema(value_type = Object)]
    pub(in crate::desk) outcome: Outcome,
}

/// The diverter.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct DiverterYear {
    /// How often its position changed, as far as it was told by the hour.
    pub(in crate::desk) turns: usize,
    /// When it changed last.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) last_turn: Option<EventTime>,
    /// Times that somebody wrote down that it was turned to the sewer and back.
    pub(in crate::desk) exercises: usize,
}

/// Days on which something was not heard.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct Gap {
    /// A sensor in words, or the whole system.
    pub(in crate::desk) of: String,
    /// Days of UTC without a reading.
    pub(in crate::desk) days: usize,
    /// Out of so many.
    pub(in crate::desk) out_of: usize,
}

impl Account {
    /// Whether several basins are called `label`, so that only their ids tell them apart.
    pub(super) fn shares_label(&self, label: &str) -> bool {
        self.basins.iter().filter(|basin| basin.label == label).count() > 1
    }

    /// Whether a flow test of this year proved `splitter`.
    pub(super) fn proved(&self, splitter: &Id) -> bool {
        let splits = self.tests.iter().flat_map(|test| &test.outcome.splits);
        splits.filter(|split| split.splitter == *splitter).any(|split| split.verdict == Verdict::Even)
    }
}
