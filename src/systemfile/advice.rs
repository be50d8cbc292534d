//! What is allowed in a system file but worth a second thought.

use crate::model::{Basin, Place, Quantity, System};

/// Advice to the people who keep a system file, one sentence each.
pub fn advice(system: &System) -> Vec<String> {
    let mut advice = Vec::new();
    for sensor in &system.sensors {
        let Place::Basin(basin) = sensor.place else { continue };
        let wiring = &sensor.wiring;
        let stated = wiring.unit.is_some() || wiring.scale.is_some() || wiring.offset.is_some();
        if sensor.quantity == Quantity::Moisture && !stated && !wiring.permittivity {
            let id = &system.basin(basin).id;
            advice.push(format!(
                "state the unit of moisture at {id}: without one, numbers up to 1 count as m³/m³ and larger ones as percent"
            ));
        }
    }
    advice.extend(system.basins.iter().filter_map(about_floats));
    advice.extend(about_probes(system));
    advice
}

/// What floats alone cannot tell, once for the whole system.
fn about_probes(system: &System) -> Option<String> {
    let has = |quantity| system.sensors.iter().any(|sensor| sensor.quantity == quantity);
    let by_floats = has(Quantity::Float) && !has(Quantity::Moisture) && !system.splitters.is_empty();
    by_floats.then(|| {
        "no moisture probe in any basin: how each splitter divides cannot be measured, and a blocked outlet is found only \
         when its float stays down"
            .to_owned()
    })
}

fn about_floats(basin: &Basin) -> Option<String> {
    let id = &basin.id;
    match (basin.float_height_mm, basin.overflow_height_mm, basin.moisture_depth_mm) {
        (Some(_), _, _) => None,
        (None, None, None) => {
            Some(format!("no sensor at {id}: neither its share nor standing water can be seen"))
        }
        (None, None, Some(_)) => Some(format!("no float at {id}: standing water cannot be seen")),
        (None, Some(_), _) => Some(format!(
            "no float at {id} but the one near the rim: standing water below that cannot be seen"
        )),
    }
}
