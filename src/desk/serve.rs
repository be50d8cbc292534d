//! Addresses to handlers, and the server around them.

use std::future::Future;
use std::io;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::get;
use rustls::ServerConfig;
use tokio::net::TcpListener;
use tokio::sync::watch;

use super::office::{Desk, Office};
use super::tls::TlsListener;
use super::{
    acknowledge, api, assets, flood, flowtest, guard, live, mute, operations, people, record, setup, squeeze,
    upkeep, visit, yard, year,
};
use crate::secrets::NoChance;

/// Largest body of a request, bytes, where a route does not say otherwise.
const BODY: usize = 64 * 1024;
/// How long requests under way may take once the desk closes.
const FAREWELL: Duration = Duration::from_secs(2);

/// The desk's addresses.
///
/// # Errors
/// Only when the system has no random numbers.
pub fn router(desk: Desk) -> Result<Router, NoChance> {
    let (_, ending) = watch::channel(false);
    Ok(routes(Office::new(desk, ending)?))
}

fn routes(office: Arc<Office>) -> Router {
    Router::new()
        .route("/", get(visit::first))
        .route("/systems/{id}", get(visit::system))
        .route("/systems/{id}/timeline.json", get(visit::timeline::json))
        .route("/systems/{id}/timeline.csv", get(visit::timeline::sheet))
        .route("/systems/{id}/received.csv", get(visit::received::sheet))
        .route("/systems/{id}/basins/{basin}/timeline.json", get(visit::timeline::basin_json))
        .route("/systems/{id}/basins/{basin}/timeline.csv", get(visit::timeline::basin_sheet))
        .route("/alerts", get(visit::alerts::alerts).post(visit::alerts::act))
        .route("/alerts/{no}", get(visit::alerts::alert))
        .route("/fragments/alerts", get(visit::alerts::alerts_fragment))
        .route("/fragments/alerts/{no}", get(visit::alerts::alert_fragment))
        .route("/systems/{id}/basins/{basin}", get(visit::place::basin))
        .route("/systems/{id}/splitters/{splitter}", get(visit::place::splitter))
        .route("/fragments/systems/{id}/basins/{basin}", get(visit::place::basin_fragment))
        .route("/fragments/systems/{id}/splitters/{splitter}", get(visit::place::splitter_fragment))
        .route("/sensors", get(visit::sensors::in_doubt))
        .route("/systems/{id}/sensors", get(visit::sensors::of_system))
        .route("/fragments/systems/{id}/sensors", get(visit::sensors::of_system_fragment))
        .route("/systems/{id}/sensors/{*sensor}", get(visit::sensor::sensor))
        .route("/fragments/systems/{id}/sensors/{*sensor}", get(visit::sensor::sensor_fragment))
        .route("/units", get(visit::preference::units))
        .route("/heard", get(visit::heard))
        .route("/fragments/first", get(visit::first_fragment))
        .route("/fragments/systems/{id}", get(visit::system_fragment))
        .route("/fragments/heard", get(visit::heard_fragment))
        .route("/live", get(live::live))
        .route("/assets/{name}", get(assets::asset))
        .merge(people::routes())
        .merge(acknowledge::routes())
        .merge(operations::routes())
        .merge(setup::routes())
        .merge(record::routes())
        .merge(upkeep::routes())
        .merge(flowtest::routes())
        .merge(mute::routes())
        .merge(yard::routes())
        .merge(year::routes())
        .merge(flood::routes())
        .merge(api::routes())
        .fallback(visit::nowhere)
        .method_not_allowed_fallback(visit::only_reading)
        .layer(DefaultBodyLimit::max(BODY))
        .layer(from_fn_with_state(Arc::clone(&office), people::admit))
        .merge(operations::open_routes())
        .layer(from_fn(guard::headers))
        .layer(from_fn(squeeze::squeeze))
        .with_state(office)
}

/// Serves the desk at `listener` until `stop` is over, then lets go of open pages; over TLS with a `tls`,
/// of which new connections get the newest.
///
/// # Errors
/// When the listener has no address.
pub async fn serve(
    listener: TcpListener,
    tls: Option<watch::Receiver<Arc<ServerConfig>>>,
    desk: Desk,
    stop: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    let hosts = Arc::new(guard::Hosts::of(listener.local_addr()?.ip()));
    let (end, mut ending) = watch::channel(false);
    let office = Office::new(desk, end.subscribe()).map_err(io::Error::other)?;
    let mut routes = routes(office).layer(from_fn_with_state(hosts, guard::hosts));
    if tls.is_some() {
        routes = routes.layer(from_fn(guard::stay_on_tls));
    }
    let routes = routes.into_make_service_with_connect_info::<people::Peer>();
    let stop = async move {
        stop.await;
        end.send_replace(true);
        // Kept, so that nobody takes a closed channel for the end.
        std::mem::forget(end);
    };
    let server = async {
        match tls {
            Some(config) => {
                let listener = TlsListener::new(listener, config)?;
                axum::serve(listener, routes).with_graceful_shutdown(stop).await
            }
            None => axum::serve(listener, routes).with_graceful_shutdown(stop).await,
        }
    };
    let too_late = async {
        if ending.wait_for(|ending| *ending).await.is_ok() {
            tokio::time::sleep(FAREWELL).await;
        }
    };
    tokio::select! {
        done = server => done,
        () = too_late => Ok(()),
    }
}
