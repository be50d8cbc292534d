//! What the page of all sensors of a system asks of the ledger.

use crate::desk::gather::SensorsRecord;
use crate::ledger::{Bin, LedgerFault, Resolution, View};
use crate::model::{EventTime, Quantity, SensorIx, Span, System};

/// How far back the charge of batteries is looked at.
const BATTERY: Span = Span::from_days(60);

/// What is known of the sensors of `system`.
pub(in crate::desk) fn sensors(
    view: &View,
    system: &System,
    now: EventTime,
) -> Result<SensorsRecord, LedgerFault> {
    let latest = view.latest(Some(&system.id))?;
    let is_battery = |ix: &SensorIx| system.sensor(*ix).quantity == Quantity::Battery;
    let heard = |ix: &SensorIx| {
        let name = system.sensor_name(*ix);
        latest.iter().any(|reading| *reading.sensor == *name)
    };
    let batteries = system
        .sensor_ixs()
        .filter(|ix| is_battery(ix) && heard(ix))
        .map(|ix| Ok((ix, charge(view, system, ix, now)?)))
        .collect::<Result<_, LedgerFault>>()?;
    Ok(SensorsRecord { open: super::open(view, system)?, latest, batteries })
}

/// The charge of a battery by day.
pub(super) fn charge(
    view: &View,
    system: &System,
    battery: SensorIx,
    now: EventTime,
) -> Result<Vec<Bin>, LedgerFault> {
    let name = system.sensor_name(battery);
    view.history(&system.id, &name, now - BATTERY, now + Span::MINUTE, Resolution::Day)
}
