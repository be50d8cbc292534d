//! What is told of one flood.

use serde::Serialize;
use utoipa::ToSchema;

use super::handled::{Closed, Taken};
use crate::model::{EventTime, Id};

/// Water that stood in a basin for too long, or at its rim.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct Flood {
    #[schema(value_type = String)]
    pub(in crate::desk) system: Id,
    pub(in crate::desk) name: String,
    #[schema(value_type = String)]
    pub(in crate::desk) property: Id,
    /// A key such as `basin:quince`.
    pub(in crate::desk) subject: String,
    /// One sentence for people.
    pub(in crate::desk) headline: String,
    /// Since when water stood.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) began_at: EventTime,
    /// When that was a flood, so that people were told.
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) found_at: EventTime,
    /// When it was over; none while it stands.
    #[schema(value_type = Option<String>, format = DateTime)]
    pub(in crate::desk) ended_at: Option<EventTime>,
    /// Hours from its beginning to its end, or until now.
    pub(in crate::desk) hours: f64,
    /// The alert that told of it.
    pub(in crate::desk) alert: Option<u64>,
    /// Who took it on first.
    pub(in crate::desk) taken: Option<Taken>,
    /// Who closed its alert while it stood. One that nobody closed ends with the flood.
    pub(in crate::desk) closed: Option<Closed>,
    /// What was written down at its system from its beginning until a day after its end, oldest first.
    pub(in crate::desk) work: Vec<FloodWork>,
}

/// Work that was written down while a flood stood, or a day after.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub(in crate::desk) struct FloodWork {
    /// The key of the record.
    pub(in crate::desk) key: String,
    #[schema(value_type = String, format = DateTime)]
    pub(in crate::desk) at: EventTime,
    /// Where, in words.
    pub(in crate::desk) place: String,
    /// What was done; empty if it was looked at.
    pub(in crate::desk) work: Vec<String>,
    pub(in crate::desk) note: String,
    pub(in crate::desk) by: String,
}
