//! The addresses, and their description (an `OpenAPI` document, version 3.1).

use std::sync::Arc;

use axum::Router;
use axum::http::header;
use axum::middleware::from_fn;
use axum::response::IntoResponse;
use axum::routing::get;
use utoipa::openapi::path::Operation;
use utoipa::openapi::security::{Http, HttpAuthScheme, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{Content, OpenApi, Ref, RefOr, Response};
use utoipa::{OpenApi as _, ToSchema};
use utoipa_axum::router::OpenApiRouter;

use super::{
    alerts, events, files, findings, floods, flow_tests, heard, keys, mute, people, portfolio, readings,
    received, sensors, services, session, systems, tags, upkeep, years,
};
use crate::desk::office::Office;
use crate::desk::problem::{FieldFault, Problem};

/// Where programs find it all.
const ROOT: &str = "/api/v1";

#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "Basinward",
        description = "Telemetry of monitored branched-drain greywater systems. Programs show a key, which people \
                       make on their own page, or sign in under `/session` as a browser does. Whoever asks sees the properties within their reach and nothing else: \
                       what lies beyond answers as if it did not exist. Answers carry an ETag."
    ),
    components(schemas(ProblemDetails, FieldFault))
)]
struct Description;

/// Why there is no answer (RFC 9457).
#[derive(ToSchema)]
#[expect(dead_code, reason = "it describes what `Problem` writes")]
struct ProblemDetails {
    /// What is wrong, the same every time.
    title: String,
    /// The status of the answer.
    status: u16,
    /// What is wrong this time, and how to mend it.
    detail: String,
    /// Each thing wrong with what was sent, where that is known.
    errors: Option<Vec<FieldFault>>,
}

/// The addresses under [`ROOT`], and their description beside them.
pub(in crate::desk) fn routes() -> Router<Arc<Office>> {
    let described = OpenApiRouter::new()
        .merge(systems::routes())
        .merge(files::routes())
        .merge(portfolio::routes())
        .merge(findings::routes())
        .merge(alerts::routes())
        .merge(floods::routes())
        .merge(readings::routes())
        .merge(received::routes())
        .merge(sensors::routes())
        .merge(services::routes())
        .merge(upkeep::routes())
        .merge(flow_tests::routes())
        .merge(mute::routes())
        .merge(years::routes())
        .merge(heard::routes())
        .merge(events::routes())
        .merge(people::routes())
        .merge(session::routes())
        .merge(keys::routes());
    let (routes, description) =
        OpenApiRouter::with_openapi(Description::openapi()).nest(ROOT, described).split_for_parts();
    let text = complete(description).to_pretty_json().expect("a description is JSON");
    let text: Arc<str> = text.into();
    let describe = move || {
        let text = Arc::clone(&text);
        async move { ([(header::CONTENT_TYPE, "application/json")], text.to_string()) }
    };
    let nowhere = || async { Problem::not_found("no address of the interface is like this").into_response() };
    routes
        .route(&format!("{ROOT}/openapi.json"), get(describe))
        .route(&format!("{ROOT}/{{*rest}}"), axum::routing::any(nowhere))
        .layer(from_fn(tags::tag))
}

/// Adds what holds for every operation: the key it takes, and what a refusal looks like.
fn complete(mut description: OpenApi) -> OpenApi {
    let components = description.components.get_or_insert_default();
    let bearer = SecurityScheme::Http(Http::new(HttpAuthScheme::Bearer));
    components.add_security_scheme("key", bearer);
    description.security = Some(vec![SecurityRequirement::new("key", std::iter::empty::<String>())]);
    for item in description.paths.paths.values_mut() {
        for operation in [&mut item.get, &mut item.put, &mut item.post, &mut item.delete, &mut item.patch] {
            operation.iter_mut().for_each(refuse);
        }
    }
    description
}

fn refuse(operation: &mut Operation) {
    let mut refusal = Response::new("The request is refused, for the reason given.");
    let schema = RefOr::Ref(Ref::from_schema_name("ProblemDetails"));
    refusal.content.insert("application/problem+json".to_owned(), RefOr::T(Content::new(Some(schema))));
    operation.responses.responses.insert("default".to_owned(), RefOr::T(refusal));
}
