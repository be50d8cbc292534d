//! What is wrong, and what was.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::Asked;
use super::paging::{Page, Paging};
use super::systems::seen;
use crate::advice::{self, Advice, WaterNow};
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::visit::ask;
use crate::desk::{fetch, gather};
use crate::ledger::{Latest, LedgerFault, StoredFinding, View};
use crate::model::{EventTime, Evidence, FindingKind, Id, Severity, Subject, System};

/// A finding, open or over.
#[derive(Serialize, ToSchema)]
struct FindingWire {
    #[schema(value_type = String)]
    system: Id,
    #[schema(value_type = String)]
    finding: FindingKind,
    /// `{"splitter": ID}`, `{"basin": ID}`, `{"sensor": NAME}`, `{"source": true}` or `{"diverter": true}`.
    #[schema(value_type = Object)]
    subject: Subject,
    /// `info`, `warning` or `critical`.
    #[schema(value_type = String)]
    severity: Severity,
    /// How sure it is, 0 to 1.
    probability: f64,
    #[schema(value_type = String, format = DateTime)]
    raised_at: EventTime,
    #[schema(value_type = String, format = DateTime)]
    changed_at: EventTime,
    /// When it was over, if it is.
    #[schema(value_type = Option<String>, format = DateTime)]
    cleared_at: Option<EventTime>,
    /// One sentence for people. That of a flood or pond follows its water.
    headline: Option<String>,
    /// Where the water of an open flood or pond stands now, by the basin's floats: `at-rim`, `at-float`, `sunk` from
    /// the rim to the float, `gone`, or `unheard`. Null for other findings.
    #[schema(value_type = Option<String>)]
    water: Option<WaterNow>,
    /// The same in words, and why the finding stands where the water has gone.
    water_says: Option<String>,
    #[schema(value_type = Object)]
    estimate: serde_json::Map<String, serde_json::Value>,
    /// What it rests on, in sentences.
    #[schema(value_type = Vec<Object>)]
    evidence: Vec<Evidence>,
    /// What to do, in words.
    #[schema(value_type = Object)]
    advice: Advice,
}

/// Which findings.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Which {
    /// Of this system only.
    system: Option<String>,
    /// Those that are over as well, newest first; only open ones, oldest first, without.
    #[serde(default)]
    past: bool,
}

/// Where a page of past findings begins: when the last one was raised, and how many of that time were told.
#[derive(Clone, Copy)]
struct Place {
    raised_at: i64,
    told: usize,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    OpenApiRouter::new().routes(routes!(findings))
}

/// What is wrong now, or what ever was.
#[utoipa::path(get, path = "/findings", tag = "findings", params(Which, Paging),
    responses((status = 200, body = Page<FindingWire>)))]
async fn findings(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(which): Asked<Which>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<FindingWire>>, Problem> {
    let systems = match &which.system {
        Some(id) => Arc::new(vec![seen(&office, &visitor, id)?]),
        None => office.systems(&visitor),
    };
    let limit = paging.limit();
    let (stored, next) = if which.past {
        let place = paging.after(Place::read)?;
        let known = Arc::clone(&systems);
        ask(&office, move |view| past(view, &known, place, limit)).await?
    } else {
        let skip = paging.after(|after| after.parse::<usize>().ok())?.unwrap_or(0);
        let mut open = ask(&office, View::findings_open).await?;
        open.retain(|finding| find(&systems, &finding.system).is_some());
        let more = open.len() > skip.saturating_add(limit);
        let open = open.into_iter().skip(skip).take(limit).collect();
        (open, more.then(|| (skip + limit).to_string()))
    };
    let now = office.now();
    let items = ask(&office, move |view| told(view, stored, &systems, now)).await?;
    Ok(Json(Page { items, next }))
}

fn find<'a>(systems: &'a [Arc<System>], id: &Id) -> Option<&'a Arc<System>> {
    systems.iter().find(|system| system.id == *id)
}

impl Place {
    fn read(text: &str) -> Option<Self> {
        let (raised_at, told) = text.split_once('.')?;
        Some(Self { raised_at: raised_at.parse().ok()?, told: told.parse().ok()? })
    }

    fn write(self) -> String {
        format!("{}.{}", self.raised_at, self.told)
    }

    /// The place after `finding`, coming from `self`.
    fn after(self, finding: &StoredFinding) -> Self {
        let raised_at = finding.raised_at.millis();
        Self { raised_at, told: if raised_at == self.raised_at { self.told + 1 } else { 1 } }
    }
}

/// Findings of `systems` after `place`, newest first, and where to go on.
fn past(
    view: &View,
    systems: &[Arc<System>],
    place: Option<Place>,
    limit: usize,
) -> Result<(Vec<StoredFinding>, Option<String>), LedgerFault> {
    /// Findings read at a time; those beyond the visitor's reach are passed over.
    const STRIDE: usize = 500;
    let one = if let [system] = systems { Some(&system.id) } else { None };
    let mut place = place.unwrap_or(Place { raised_at: EventTime::MAX.millis() - 1, told: 0 });
    let mut found = Vec::new();
    loop {
        let before = EventTime::from_millis(place.raised_at.saturating_add(1));
        let read = view.findings_history(one, before, STRIDE + place.told)?;
        let is_last = read.len() < STRIDE + place.told;
        let told = place.told;
        for finding in read.into_iter().skip(told) {
            if found.len() == limit {
                return Ok((found, Some(place.write())));
            }
            place = place.after(&finding);
            if find(systems, &finding.system).is_some() {
                found.push(finding);
            }
        }
        if is_last {
            return Ok((found, None));
        }
    }
}

/// Findings with what is known of their basins now; the last readings are read once a system with standing water.
fn told(
    view: &View,
    stored: Vec<StoredFinding>,
    systems: &[Arc<System>],
    now: EventTime,
) -> Result<Vec<FindingWire>, LedgerFault> {
    let mut latest: BTreeMap<Id, Vec<Latest>> = BTreeMap::new();
    let of_water = stored.iter().filter(|it| it.cleared_at.is_none() && gather::is_of_water(it.finding.kind));
    for flood in of_water {
        if !latest.contains_key(&flood.system) {
            latest.insert(flood.system.clone(), view.latest(Some(&flood.system))?);
        }
    }
    let open: Vec<StoredFinding> = stored.iter().filter(|it| it.cleared_at.is_none()).cloned().collect();
    let one = |mut finding: StoredFinding| {
        let known = find(systems, &finding.system);
        fetch::foretell(view, &mut finding)?;
        let readings = latest.get(&finding.system).map_or(&[][..], Vec::as_slice);
        let water = known.and_then(|system| gather::water_of(system, &finding, readings, now));
        let here: Vec<StoredFinding> = open
            .iter()
            .filter(|it| it.system == finding.system && finding.cleared_at.is_none())
            .cloned()
            .collect();
        let advise = gather::beside(&here, &finding).advice();
        Ok(wire(finding, known.map(Arc::as_ref), water, advise))
    };
    stored.into_iter().map(one).collect()
}

fn wire(
    stored: StoredFinding,
    known: Option<&System>,
    water: Option<(WaterNow, String)>,
    advise: fn(FindingKind, Option<&System>) -> Advice,
) -> FindingWire {
    let StoredFinding { system, raised_at, changed_at, cleared_at, finding } = stored;
    let (water, water_says) = water.unzip();
    FindingWire {
        headline: known.map(|system| advice::headline_now(&finding, system, water)),
        water,
        water_says,
        advice: advise(finding.kind, known),
        system,
        finding: finding.kind,
        subject: finding.subject,
        severity: finding.severity,
        probability: finding.probability,
        raised_at,
        changed_at,
        cleared_at,
        estimate: finding.estimate,
        evidence: finding.evidence,
    }
}
