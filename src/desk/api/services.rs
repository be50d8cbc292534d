//! Service records.

use std::sync::Arc;

use axum::Json;
use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::asked::{Asked, Sent};
use super::paging::{Page, Paging};
use super::systems::seen;
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::problem::Problem;
use crate::desk::record;
use crate::desk::visit::ask;
use crate::ledger::{LastService, PHOTO_BYTES, ServiceFilter, StoredService, View};
use crate::model::{
    EventTime, Id, LevelReading, LevelUnit, Obstruction, ObstructionKind, RecordKey, ServiceRecord, Subject,
    Work,
};

/// What was found and done at one part.
#[derive(Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct RecordWire {
    /// `{"splitter": ID}`, `{"basin": ID}`, `{"sensor": NAME}`, `{"source": true}` or `{"diverter": true}`.
    #[schema(value_type = Object)]
    subject: Subject,
    /// When the work was finished.
    #[schema(value_type = String, format = DateTime)]
    at: EventTime,
    /// What was done: `outlet-cleared`, `splitter-levelled`, `mulch-renewed`, `basin-loosened`,
    /// `moisture-probe-replaced`, `float-replaced`, `overflow-float-replaced`, `meter-replaced`,
    /// `rain-gauge-replaced`, `battery-changed`, `diverter-exercised`, `line-cleared`. Nothing if it was looked at.
    #[serde(default)]
    work: Vec<String>,
    /// Free fall between outlet and mulch as found, mm.
    air_gap_mm: Option<f64>,
    mulch_found_mm: Option<f64>,
    mulch_left_mm: Option<f64>,
    obstruction: Option<ObstructionWire>,
    level: Option<LevelWire>,
    #[serde(default)]
    note: String,
}

/// What held the water back.
#[derive(Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ObstructionWire {
    /// `roots`, `lint`, `grease`, `silt`, `mulch`, `animal`, `pipe` or `other`.
    #[schema(value_type = String)]
    kind: ObstructionKind,
    #[serde(default)]
    words: String,
}

/// What a spirit level on a splitter said; above zero where side a lies low and gets more.
#[derive(Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct LevelWire {
    /// `degrees` or `bubble-marks`.
    #[schema(value_type = String)]
    unit: LevelUnit,
    found: Option<f64>,
    left: Option<f64>,
}

/// A record to write.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewService {
    /// 16 to 64 characters out of a-z, 0-9 and -, made at random by whoever writes; the same record sent again under
    /// its key changes nothing.
    #[schema(value_type = String)]
    key: RecordKey,
    /// The system's id.
    system: String,
    record: RecordWire,
}

/// A record as it should be.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Correction {
    /// The version that it replaces.
    replaces: u32,
    reason: String,
    record: RecordWire,
}

/// A record that should not have been written.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Withdrawal {
    /// The version that it replaces.
    replaces: u32,
    reason: String,
}

/// A version of a record.
#[derive(Serialize, ToSchema)]
struct ServiceWire {
    #[schema(value_type = String)]
    key: RecordKey,
    version: u32,
    #[schema(value_type = String)]
    system: Id,
    by: String,
    #[schema(value_type = String, format = DateTime)]
    written_at: EventTime,
    /// Why it replaced the version before.
    reason: String,
    withdrawn: bool,
    record: RecordWire,
    /// How many photographs there are.
    photos: u32,
}

/// A record with its past.
#[derive(Serialize, ToSchema)]
struct StoryWire {
    /// Oldest first; the last one counts.
    versions: Vec<ServiceWire>,
    /// Numbers of the alerts that the work ended.
    ended: Vec<u64>,
}

/// When a part was worked on last.
#[derive(Serialize, ToSchema)]
struct LastWire {
    #[schema(value_type = String)]
    system: Id,
    #[schema(value_type = Object)]
    subject: Subject,
    /// What was done; none for the last look at the part, whatever was done.
    work: Option<&'static str>,
    #[schema(value_type = String, format = DateTime)]
    at: EventTime,
    by: String,
    #[schema(value_type = String)]
    key: RecordKey,
}

/// A number that was given.
#[derive(Serialize, ToSchema)]
struct Numbered {
    number: u64,
}

/// Which records.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Which {
    /// Of this system only.
    system: Option<String>,
    /// Of this property only.
    property: Option<String>,
    /// Of work at this time or later (RFC 3339).
    #[param(value_type = Option<String>, format = DateTime)]
    from: Option<EventTime>,
    /// Of work before this time.
    #[param(value_type = Option<String>, format = DateTime)]
    to: Option<EventTime>,
    /// Withdrawn ones as well.
    #[serde(default)]
    withdrawn: bool,
}

pub(super) fn routes() -> OpenApiRouter<Arc<Office>> {
    let photos =
        OpenApiRouter::new().routes(routes!(add_photo)).layer(DefaultBodyLimit::max(PHOTO_BYTES + 1));
    OpenApiRouter::new()
        .routes(routes!(services, write))
        .routes(routes!(last))
        .routes(routes!(service, correct))
        .routes(routes!(withdraw))
        .routes(routes!(photo))
        .merge(photos)
}

/// Records, newest work first.
#[utoipa::path(get, path = "/services", tag = "services", params(Which, Paging),
    responses((status = 200, body = Page<ServiceWire>)))]
async fn services(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Asked(which): Asked<Which>,
    Asked(paging): Asked<Paging>,
) -> Result<Json<Page<ServiceWire>>, Problem> {
    let mut systems = match &which.system {
        Some(id) => vec![seen(&office, &visitor, id)?],
        None => office.systems(&visitor).to_vec(),
    };
    let of = |property: &Id| which.property.as_ref().is_none_or(|asked| property.as_str() == asked);
    systems.retain(|system| of(&system.property));
    let after = paging.after(|text| {
        let (at, no) = text.split_once('.')?;
        Some((EventTime::from_millis(at.parse().ok()?), no.parse().ok()?))
    })?;
    let Which { from, to, withdrawn, .. } = which;
    let filter = ServiceFilter { from, to, after, withdrawn, ..ServiceFilter::default() };
    let limit = paging.limit();
    let mut found = record::listed(&office, &systems, filter, limit + 1).await?;
    let more = found.len() > limit;
    found.truncate(limit);
    let place = |last: &StoredService| format!("{}.{}", last.record.at.millis(), last.no);
    let next = found.last().filter(|_| more).map(place);
    Ok(Json(Page { items: found.into_iter().map(wire).collect(), next }))
}

/// Writes a record. Its engine hears of the work, and the alerts that it ends are closed.
#[utoipa::path(post, path = "/services", tag = "services", request_body = NewService,
    responses((status = 201, body = StoryWire)))]
async fn write(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Sent(new): Sent<NewService>,
) -> Result<(StatusCode, Json<StoryWire>), Problem> {
    let system = seen(&office, &visitor, &new.system)?;
    record::write(&office, &visitor, &system, new.key.clone(), unwired(new.record)?).await?;
    Ok((StatusCode::CREATED, Json(told(&office, &visitor, &new.key).await?)))
}

/// When each part was worked on last, by kind of work, and when it was last looked at.
#[utoipa::path(get, path = "/services/last", tag = "services", responses((status = 200, body = Vec<LastWire>)))]
async fn last(visitor: Visitor, State(office): State<Arc<Office>>) -> Result<Json<Vec<LastWire>>, Problem> {
    let last = ask(&office, View::last_services).await?;
    let seen = last.into_iter().filter(|it| office.system(&visitor, it.system.as_str()).is_some());
    let wire = |it: LastService| LastWire {
        system: it.system,
        subject: it.subject,
        work: it.work.map(Work::name),
        at: it.at,
        by: it.by,
        key: it.key,
    };
    Ok(Json(seen.map(wire).collect()))
}

/// One record with its past.
#[utoipa::path(get, path = "/services/{key}", tag = "services", params(("key" = String, Path)),
    responses((status = 200, body = StoryWire)))]
async fn service(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(key): Path<String>,
) -> Result<Json<StoryWire>, Problem> {
    Ok(Json(told(&office, &visitor, &known(&key)?).await?))
}

/// Corrects a record. The version before stays readable; work that was left out is told to the engine, which does
/// not forget what it was told already.
#[utoipa::path(put, path = "/services/{key}", tag = "services", params(("key" = String, Path)),
    request_body = Correction, responses((status = 200, body = StoryWire)))]
async fn correct(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(key): Path<String>,
    Sent(correction): Sent<Correction>,
) -> Result<Json<StoryWire>, Problem> {
    let Correction { replaces, reason, record } = correction;
    let change = record::Change::Correct(unwired(record)?);
    record::change(&office, &visitor, known(&key)?, (replaces, reason), change).await?;
    Ok(Json(told(&office, &visitor, &known(&key)?).await?))
}

/// Withdraws a record that should not have been written. It stays readable.
#[utoipa::path(post, path = "/services/{key}/withdraw", tag = "services", params(("key" = String, Path)),
    request_body = Withdrawal, responses((status = 200, body = StoryWire)))]
async fn withdraw(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(key): Path<String>,
    Sent(withdrawal): Sent<Withdrawal>,
) -> Result<Json<StoryWire>, Problem> {
    let replaced = (withdrawal.replaces, withdrawal.reason);
    record::change(&office, &visitor, known(&key)?, replaced, record::Change::Withdraw).await?;
    Ok(Json(told(&office, &visitor, &known(&key)?).await?))
}

/// Adds a photograph to a record: the bytes of a JPEG, PNG or WebP picture of at most 2 MiB, six a record. What the
/// camera wrote beside the picture, such as where it was taken, is not kept. The same one again changes nothing.
#[utoipa::path(post, path = "/services/{key}/photos", tag = "services", params(("key" = String, Path)),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses((status = 201, body = Numbered)))]
async fn add_photo(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path(key): Path<String>,
    bytes: Bytes,
) -> Result<(StatusCode, Json<Numbered>), Problem> {
    let number = record::add_photo(&office, &visitor, known(&key)?, &bytes).await?;
    Ok((StatusCode::CREATED, Json(Numbered { number })))
}

/// One photograph.
#[utoipa::path(get, path = "/services/{key}/photos/{no}", tag = "services",
    params(("key" = String, Path), ("no" = u32, Path)),
    responses((status = 200, content_type = "image/jpeg", body = Vec<u8>)))]
async fn photo(
    visitor: Visitor,
    State(office): State<Arc<Office>>,
    Path((key, no)): Path<(String, String)>,
) -> Result<Response, Problem> {
    let no = no.parse().map_err(|_| Problem::not_found("a photograph has a number"))?;
    let (kind, bytes) = record::photograph(&office, &visitor, known(&key)?, no).await?;
    Ok(([(header::CONTENT_TYPE, kind.media_type())], bytes).into_response())
}

fn known(key: &str) -> Result<RecordKey, Problem> {
    RecordKey::new(key).map_err(|_| Problem::not_found("no record in your reach has this key"))
}

async fn told(office: &Office, visitor: &Visitor, key: &RecordKey) -> Result<StoryWire, Problem> {
    let (story, _) = record::story(office, visitor, key).await?;
    Ok(StoryWire {
        versions: story.versions.into_iter().map(wire).collect(),
        ended: story.ended.iter().map(|alert| alert.0).collect(),
    })
}

fn wire(stored: StoredService) -> ServiceWire {
    let record = stored.record;
    ServiceWire {
        key: stored.key,
        version: stored.version,
        system: stored.system,
        by: stored.by,
        written_at: stored.written_at,
        reason: stored.reason,
        withdrawn: stored.withdrawn,
        record: RecordWire {
            subject: record.subject,
            at: record.at,
            work: record.work.iter().map(|work| work.name().to_owned()).collect(),
            air_gap_mm: record.air_gap_mm,
            mulch_found_mm: record.mulch_found_mm,
            mulch_left_mm: record.mulch_left_mm,
            obstruction: record
                .obstruction
                .map(|found| ObstructionWire { kind: found.kind, words: found.words }),
            level: record.level.map(|level| LevelWire {
                unit: level.unit,
                found: level.found,
                left: level.left,
            }),
            note: record.note,
        },
        photos: stored.photos,
    }
}

fn unwired(wire: RecordWire) -> Result<ServiceRecord, Problem> {
    let work = wire
        .work
        .iter()
        .map(|name| Work::named(name).ok_or_else(|| Problem::wrong(format!("`{name}` is no kind of work"))));
    Ok(ServiceRecord {
        subject: wire.subject,
        at: wire.at,
        work: work.collect::<Result<_, _>>()?,
        air_gap_mm: wire.air_gap_mm,
        mulch_found_mm: wire.mulch_found_mm,
        mulch_left_mm: wire.mulch_left_mm,
        obstruction: wire.obstruction.map(|found| Obstruction { kind: found.kind, words: found.words }),
        level: wire.level.map(|level| LevelReading {
            unit: level.unit,
            found: level.found,
            left: level.left,
        }),
        note: wire.note,
    })
}
