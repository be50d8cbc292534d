//! SenML packs (RFC 8428), JSON in section 5 and CBOR in section 6.
//!
//! The first record carries the base name and base time of the pack; every record a time relative to it.

use minicbor::Encoder;
use serde::Serialize;

use super::value::{Printed, diverter_word};
use super::{Sample, Value};

#[derive(Serialize)]
struct Record<'a> {
    #[serde(skip_serializing_if = "Option::is_none")]
    bn: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bt: Option<i64>,
    n: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    u: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    v: Option<Printed>,
    #[serde(skip_serializing_if = "Option::is_none")]
    vs: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    vb: Option<bool>,
    #[serde(skip_serializing_if = "is_zero")]
    t: i64,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde calls it with a reference")]
fn is_zero(seconds: &i64) -> bool {
    *seconds == 0
}

/// The pack's base time: that of its first sample, in whole seconds.
fn base_time(samples: &[Sample]) -> i64 {
    samples.first().map_or(0, |first| seconds(first.device_ms))
}

fn seconds(ms: i64) -> i64 {
    ms.div_euclid(1000)
}

pub(super) fn json(base_name: &str, samples: &[Sample]) -> Vec<u8> {
    let base = base_time(samples);
    let records: Vec<Record<'_>> = samples
        .iter()
        .enumerate()
        .map(|(i, sample)| record(sample, base, (i == 0).then_some(base_name)))
        .collect();
    serde_json::to_vec(&records).expect("records hold only strings, flags and finite numbers")
}

fn record<'a>(sample: &'a Sample, base: i64, base_name: Option<&'a str>) -> Record<'a> {
    let mut record = Record {
        bn: base_name.filter(|name| !name.is_empty()),
        bt: base_name.map(|_| base),
        n: &sample.name,
        u: None,
        v: None,
        vs: None,
        vb: None,
        t: seconds(sample.device_ms) - base,
    };
    match sample.value {
        Value::Number { value, unit } => {
            record.u = unit.symbol();
            record.v = Some(value.into());
        }
        Value::Float { closed, .. } => record.vb = Some(closed),
        Value::Diverter { sewer } => record.vs = Some(diverter_word(sewer)),
    }
    record
}

/// Integer labels of RFC 8428, table 4.
mod label {
    pub(super) const BASE_NAME: i8 = -2;
    pub(super) const BASE_TIME: i8 = -3;
    pub(super) const NAME: i8 = 0;
    pub(super) const UNIT: i8 = 1;
    pub(super) const VALUE: i8 = 2;
    pub(super) const STRING_VALUE: i8 = 3;
    pub(super) const BOOLEAN_VALUE: i8 = 4;
    pub(super) const TIME: i8 = 6;
}

pub(super) fn cbor(base_name: &str, samples: &[Sample]) -> Vec<u8> {
    let mut encoder = Encoder::new(Vec::with_capacity(32 * samples.len()));
    write_pack(&mut encoder, base_name, samples).expect("writing to memory does not fail");
    encoder.into_writer()
}

type Written = Result<(), minicbor::encode::Error<std::convert::Infallible>>;

fn write_pack(out: &mut Encoder<Vec<u8>>, base_name: &str, samples: &[Sample]) -> Written {
    let base = base_time(samples);
    out.array(samples.len() as u64)?;
    for (i, sample) in samples.iter().enumerate() {
        write_record(out, &record(sample, base, (i == 0).then_some(base_name)))?;
    }
    Ok(())
}

fn write_record(out: &mut Encoder<Vec<u8>>, record: &Record<'_>) -> Written {
    let members = 1
        + u64::from(record.bn.is_some())
        + u64::from(record.bt.is_some())
        + u64::from(record.u.is_some())
        + u64::from(record.v.is_some())
        + u64::from(record.vs.is_some())
        + u64::from(record.vb.is_some())
        + u64::from(record.t != 0);
    out.map(members)?;
    if let Some(name) = record.bn {
        out.i8(label::BASE_NAME)?.str(name)?;
    }
    if let Some(time) = record.bt {
        out.i8(label::BASE_TIME)?.i64(time)?;
    }
    out.i8(label::NAME)?.str(record.n)?;
    if let Some(unit) = record.u {
        out.i8(label::UNIT)?.str(unit)?;
    }
    match record.v {
        Some(Printed::Whole(whole)) => drop(out.i8(label::VALUE)?.i64(whole)?),
        Some(Printed::Real(real)) => drop(out.i8(label::VALUE)?.f64(real)?),
        None => {}
    }
    if let Some(word) = record.vs {
        out.i8(label::STRING_VALUE)?.str(word)?;
    }
    if let Some(flag) = record.vb {
        out.i8(label::BOOLEAN_VALUE)?.bool(flag)?;
    }
    if record.t != 0 {
        out.i8(label::TIME)?.i64(record.t)?;
    }
    Ok(())
}
