//! Passing everything on to a time-series server, where one is set.

use std::future::Future;

use crate::export::{Destination, ExportHealth, Exporter, SetupFault, Sources};
use crate::settings::Influxdb;

/// Starts passing on until `stop` is over; nothing where no server is set.
pub(super) fn start(
    settings: &Influxdb,
    sources: Sources,
    stop: impl Future<Output = ()> + Send + 'static,
) -> Result<Option<ExportHealth>, SetupFault> {
    let Some(destination) = destination(settings) else { return Ok(None) };
    let (exporter, health) = Exporter::new(destination, sources)?;
    tokio::spawn(exporter.run(stop));
    Ok(Some(health))
}

fn destination(settings: &Influxdb) -> Option<Destination> {
    Some(Destination {
        url: settings.url.as_ref()?.to_string(),
        org: settings.org.clone(),
        bucket: settings.bucket.clone(),
        token: settings.token.as_ref().map(|token| token.expose().to_owned()),
        ca_file: settings.ca_file.clone(),
    })
}
