//! SenML records in CBOR (RFC 8949), by the labels of RFC 8428, table 4.

use std::borrow::Cow;

use minicbor::Decoder;
use minicbor::data::{IanaTag, Tag, Type};
use minicbor::decode::Error;

use super::Refusal;
use super::decoded::Fault;
use super::senml::{MOST_RECORDS, Record};

/// Whether a payload begins like a CBOR array, which no text does.
pub(super) fn looks_like_pack(payload: &[u8]) -> bool {
    payload.first().is_some_and(|byte| (0x80..=0x9f).contains(byte))
}

/// Reads a pack. A record with a field of the wrong type is a fault by itself; bytes that are no
/// CBOR at all spoil the pack.
pub(super) fn pack(payload: &[u8]) -> Result<Vec<Result<Record<'_>, Fault>>, Fault> {
    let mut decoder = Decoder::new(payload);
    let broken = |error: Error| (Refusal::NotParsable, error.to_string());
    let stated = decoder.array().map_err(broken)?;
    if stated.is_some_and(|count| count > MOST_RECORDS as u64) {
        return Err((Refusal::TooManyRecords, format!("{} records", stated.unwrap_or_default())));
    }
    let mut records = Vec::new();
    loop {
        let ended = match stated {
            Some(count) => records.len() as u64 == count,
            None => decoder.datatype().map_err(broken)? == Type::Break,
        };
        if ended {
            break;
        }
        if records.len() == MOST_RECORDS {
            return Err((Refusal::TooManyRecords, format!("more than {MOST_RECORDS} records")));
        }
        let start = decoder.position();
        decoder.skip().map_err(broken)?;
        let bytes = &payload[start..decoder.position()];
        records.push(record(&mut Decoder::new(bytes)).map_err(broken));
    }
    if stated.is_none() {
        decoder.skip().map_err(broken)?;
    }
    if decoder.position() == payload.len() {
        Ok(records)
    } else {
        Err((Refusal::NotParsable, "bytes follow the pack".to_owned()))
    }
}

fn record<'a>(decoder: &mut Decoder<'a>) -> Result<Record<'a>, Error> {
    let mut record = Record::default();
    let mut left = decoder.map()?;
    loop {
        match &mut left {
            Some(0) => return Ok(record),
            Some(count) => *count -= 1,
            None if decoder.datatype()? == Type::Break => return Ok(record),
            None => {}
        }
        field(decoder, &mut record)?;
    }
}

fn field<'a>(decoder: &mut Decoder<'a>, record: &mut Record<'a>) -> Result<(), Error> {
    if decoder.datatype()? == Type::String || decoder.datatype()? == Type::StringIndef {
        record.mandatory |= text(decoder)?.ends_with('_');
        return decoder.skip();
    }
    match decoder.i64()? {
        -1 => record.base_version = Some(number(decoder)?),
        -2 => record.base_name = Some(text(decoder)?),
        -3 => record.base_time = Some(number(decoder)?),
        -4 => record.base_unit = Some(text(decoder)?),
        -5 => record.base_value = Some(number(decoder)?),
        0 => record.name = Some(text(decoder)?),
        1 => record.unit = Some(text(decoder)?),
        2 => record.value = Some(number(decoder)?),
        3 => record.string = Some(text(decoder)?),
        4 => record.truth = Some(decoder.bool()?),
        6 => record.time = Some(number(decoder)?),
        8 => {
            record.data = true;
            decoder.skip()?;
        }
        // Base sum, sum, update time, and whatever comes later.
        _ => decoder.skip()?,
    }
    Ok(())
}

fn text<'a>(decoder: &mut Decoder<'a>) -> Result<Cow<'a, str>, Error> {
    if decoder.datatype()? == Type::StringIndef {
        let parts = decoder.str_iter()?.collect::<Result<Vec<_>, _>>()?;
        return Ok(Cow::Owned(parts.concat()));
    }
    decoder.str().map(Cow::Borrowed)
}

/// An integer, a float of any size, or a decimal fraction (RFC 8949, section 3.4.4).
fn number(decoder: &mut Decoder<'_>) -> Result<f64, Error> {
    let kind = decoder.datatype()?;
    if kind == Type::Tag {
        return decimal(decoder);
    }
    if matches!(kind, Type::F16 | Type::F32 | Type::F64) {
        // Accepts the smaller sizes as well.
        return decoder.f64();
    }
    decoder.int().map(|int| i128::from(int) as f64)
}

fn decimal(decoder: &mut Decoder<'_>) -> Result<f64, Error> {
    let wrong = || Error::message("a decimal fraction is a tagged pair of integers");
    if decoder.tag()? != Tag::from(IanaTag::Decimal) || decoder.array()? != Some(2) {
        return Err(wrong());
    }
    let exponent: i32 = decoder.i32()?;
    let mantissa = i128::from(decoder.int()?);
    // Written out, since a power of ten times an integer is not the nearest float.
    format!("{mantissa}e{exponent}").parse().map_err(|_| wrong())
}
