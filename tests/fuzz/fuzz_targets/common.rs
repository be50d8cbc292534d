// What each target does with bytes from outside: the fuzzer and `tests/corpora.rs` both run it.

use std::sync::{Arc, LazyLock};

use basinward::engine::Engine;
use basinward::intake::{Decoded, Router};
use basinward::model::{EventTime, System};
use basinward::replay::RecordingReader;
use basinward::systemfile;

#[path = "desk.rs"]
mod desk;

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

static SYSTEM: LazyLock<Arc<System>> =
    LazyLock::new(|| Arc::new(systemfile::parse("yard.toml", YARD).expect("a sound system file")));
static ROUTER: LazyLock<Router> = LazyLock::new(|| Router::new(&[Arc::clone(&SYSTEM)], "greywater"));

/// Takes bytes from outside; panics where something is wrong.
pub(crate) type Target = fn(&[u8]);

/// Every target by name.
pub(crate) const TARGETS: [(&str, Target); 9] = [
    ("json", json),
    ("pointers", pointers),
    ("recording", recording),
    ("requests", requests),
    ("senml_cbor", senml_cbor),
    ("senml_json", senml_json),
    ("snapshot", snapshot),
    ("system_file", system_file),
    ("text", text),
];

/// JSON objects with value and time.
pub(crate) fn json(data: &[u8]) {
    let payload = [b"{\"value\":", data].concat();
    decode(&["greywater/yard/quince/moisture", "greywater/yard/diverter"], &payload);
    decode(&["greywater/yard/quince/battery"], &[b"{", data].concat());
}

/// Foreign JSON by pointers.
pub(crate) fn pointers(data: &[u8]) {
    decode(&["lora/up"], data);
    decode(&["lora/up"], &[b"{\"at\":1,\"d\":{\"contact\":", data].concat());
}

/// Recordings: every line is read or refused, and reading ends.
pub(crate) fn recording(data: &[u8]) {
    let mut reader = RecordingReader::new(data);
    while let Ok(Some(_)) = reader.next_message() {}
}

/// Requests to the pages and the interface: addresses, queries, cookies, forms and JSON are answered or refused.
pub(crate) fn requests(data: &[u8]) {
    desk::ask(data);
}

/// SenML in CBOR, with a stated and an open number of records.
pub(crate) fn senml_cbor(data: &[u8]) {
    for first in [0x81, 0x84, 0x9f] {
        let payload = [&[first][..], data].concat();
        decode(&["greywater/yard", "greywater/yard/quince/moisture"], &payload);
    }
}

/// SenML in JSON, on topics that stop at the system, at the basin and nowhere.
pub(crate) fn senml_json(data: &[u8]) {
    let payload = [b"[", data].concat();
    decode(&["greywater/yard", "greywater/yard/quince", "greywater/yard/quince/moisture"], &payload);
}

/// Snapshots: one that is changed anywhere, cut off or continued is refused. Three bytes say a place and what is
/// changed there; what is left over is put at the end, or cut off if it is a zero.
pub(crate) fn snapshot(data: &[u8]) {
    let whole = Engine::new(Arc::clone(&SYSTEM)).snapshot();
    let mut bytes = whole.clone();
    let (changes, rest) = data.as_chunks::<3>();
    for [high, low, change] in changes {
        let at = usize::from(u16::from_be_bytes([*high, *low])) % bytes.len();
        bytes[at] ^= change;
    }
    match rest {
        [] => {}
        [0, cut @ ..] => bytes.truncate(bytes.len() - 1 - cut.len()),
        more => bytes.extend_from_slice(more),
    }
    let restored = Engine::restore(Arc::clone(&SYSTEM), &bytes);
    assert_eq!(restored.is_ok(), bytes == whole, "a damaged snapshot is used, or a whole one refused");
}

/// System files: any text is read or refused with places.
pub(crate) fn system_file(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    if let Err(faults) = systemfile::parse("yard.toml", text) {
        assert!(!faults.is_empty());
    }
}

/// Bare text.
pub(crate) fn text(data: &[u8]) {
    decode(&["greywater/yard/quince/moisture", "greywater/yard/diverter", "greywater/yard/meter"], data);
}

/// Decodes a payload on every given topic; no panic, and no more records than the bound allows.
fn decode(topics: &[&str], payload: &[u8]) {
    let mut out = Decoded::default();
    for topic in topics {
        ROUTER.decode(EventTime::from_secs(1_772_352_900), topic, payload, &mut out);
        assert!(out.readings.len() + out.refusals.len() + out.unassigned.len() <= 1_000);
        out.clear();
    }
}
