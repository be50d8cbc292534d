//! Recordings: JSON Lines of what a broker delivered.

use std::borrow::Cow;
use std::io::{self, BufRead, Read};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use serde::Deserialize;

use crate::model::EventTime;

/// Longest line that is read, in bytes: the largest payload in base64 with room for the rest.
const LONGEST_LINE: u64 = 1 << 20;

/// One message of a recording.
#[derive(Debug, Default)]
pub struct Recorded {
    /// When it arrived.
    pub received: EventTime,
    /// Topic it was published on.
    pub topic: String,
    /// Payload as published.
    pub payload: Vec<u8>,
}

/// A line that is no recorded message.
#[derive(Debug, thiserror::Error)]
pub enum LineFault {
    /// The file cannot be read further.
    #[error("cannot be read")]
    Read(#[from] io::Error),
    /// The line is longer than any message.
    #[error("the line is longer than 1 MiB")]
    TooLong,
    /// The line is no such JSON object.
    #[error("is no recorded message: {0}")]
    Json(#[from] serde_json::Error),
    /// `received` is no time.
    #[error(transparent)]
    Time(#[from] crate::model::TimeFault),
    /// `payload_base64` is not base64.
    #[error("`payload_base64` is not base64: {0}")]
    Base64(#[from] base64::DecodeError),
    /// There is not exactly one payload.
    #[error("needs either `payload` or `payload_base64`")]
    Payload,
}

/// A line as it is written.
#[derive(Deserialize)]
struct Line<'a> {
    #[serde(borrow)]
    received: Cow<'a, str>,
    #[serde(borrow)]
    topic: Cow<'a, str>,
    #[serde(borrow)]
    payload: Option<Cow<'a, str>>,
    #[serde(borrow)]
    payload_base64: Option<Cow<'a, str>>,
}

/// Reads a recording line by line, into a message that is used again.
pub struct RecordingReader<R> {
    input: R,
    line: Vec<u8>,
    number: u64,
    message: Recorded,
}

impl<R: BufRead> RecordingReader<R> {
    /// A reader at the start of `input`.
    pub fn new(input: R) -> Self {
        Self { input, line: Vec::new(), number: 0, message: Recorded::default() }
    }

    /// Number of the line read last, from 1.
    pub fn line_number(&self) -> u64 {
        self.number
    }

    /// The next message, or none at the end. Blank lines are passed over.
    pub fn next_message(&mut self) -> Result<Option<&Recorded>, LineFault> {
        loop {
            self.line.clear();
            self.number += 1;
            let read = self.input.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut self.line)?;
            if read == 0 {
                return Ok(None);
            }
            if read as u64 == LONGEST_LINE {
                return Err(LineFault::TooLong);
            }
            if !self.line.trim_ascii().is_empty() {
                break;
            }
        }
        let line: Line<'_> = serde_json::from_slice(&self.line)?;
        let message = &mut self.message;
        message.received = line.received.parse()?;
        message.topic.clear();
        message.topic.push_str(&line.topic);
        message.payload.clear();
        match (line.payload, line.payload_base64) {
            (Some(text), None) => message.payload.extend_from_slice(text.as_bytes()),
            (None, Some(text)) => STANDARD.decode_vec(text.as_bytes(), &mut message.payload)?,
            (Some(_), Some(_)) | (None, None) => return Err(LineFault::Payload),
        }
        Ok(Some(message))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Message = (i64, String, Vec<u8>);

    fn read(text: &str) -> Vec<Result<Message, String>> {
        let mut reader = RecordingReader::new(text.as_bytes());
        let mut all = Vec::new();
        loop {
            match reader.next_message() {
                Ok(None) => return all,
                Ok(Some(m)) => all.push(Ok((m.received.millis(), m.topic.clone(), m.payload.clone()))),
                Err(fault) => {
                    all.push(Err(fault.to_string()));
                    return all;
                }
            }
        }
    }

    #[test]
    fn text_and_bytes_are_read() {
        let text = "{\"received\":\"1970-01-01T00:00:01Z\",\"topic\":\"a/b\",\"payload\":\"we\\u0074\"}\n\n\
                    {\"received\":\"1970-01-01T00:00:02Z\",\"topic\":\"a/c\",\"payload_base64\":\"AP8=\"}";
        let expected =
            vec![Ok((1000, "a/b".to_owned(), b"wet".to_vec())), Ok((2000, "a/c".to_owned(), vec![0, 255]))];
        assert_eq!(read(text), expected);
    }

    #[test]
    fn what_is_wrong_is_said() {
        let fault = |line: &str| read(line).remove(0).unwrap_err();
        assert!(
            fault("{\"received\":\"noon\",\"topic\":\"t\",\"payload\":\"\"}")
                .contains("`noon` is not a time")
        );
        assert!(
            fault("{\"received\":\"1970-01-01T00:00:01Z\",\"topic\":\"t\"}").contains("either `payload`")
        );
        assert!(fault("{\"received\":\"1970-01-01T00:00:01Z\"").contains("no recorded message"));
        let both = "{\"received\":\"1970-01-01T00:00:01Z\",\"topic\":\"t\",\"payload\":\"\",\"payload_base64\":\"\"}";
        assert!(fault(both).contains("either `payload`"));
    }
}
