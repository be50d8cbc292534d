// A system whose topics reach every decoder.

use std::sync::{Arc, LazyLock};

use basinward::intake::{Decoded, Router};
use basinward::model::{EventTime, System};
use basinward::systemfile;

const YARD: &str = r#"
id = "yard"
name = "Yard"
timezone = "America/Denver"
soil = "sandy-loam"
[source]
meter = { litres_per_count = 1.0 }
[diverter]
[[basin]]
id = "quince"
area_m2 = 1.2
float = { topic = "lora/up", value = "/d/contact", time = "/at", wet = "open" }
moisture = {}
"#;

pub static SYSTEM: LazyLock<Arc<System>> =
    LazyLock::new(|| Arc::new(systemfile::parse("yard.toml", YARD).expect("a sound system file")));
static ROUTER: LazyLock<Router> = LazyLock::new(|| Router::new(&[Arc::clone(&SYSTEM)], "greywater"));

/// Decodes a payload on every given topic; no panic, and no more records than the bound allows.
#[allow(dead_code)]
pub fn decode(topics: &[&str], payload: &[u8]) {
    let mut out = Decoded::default();
    for topic in topics {
        ROUTER.decode(EventTime::from_secs(1_772_352_900), topic, payload, &mut out);
        assert!(out.readings.len() + out.refusals.len() + out.unassigned.len() <= 1_000);
        out.clear();
    }
}
