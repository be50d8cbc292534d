//! From the ledger and the system files to what the pages show. Pure: rows in, sheets out.

mod alert;
mod balance;
mod battery;
mod board;
mod card;
mod explanation;
mod finding;
mod heard;
mod marks;
mod place;
mod readings;
mod received;
mod rhythm;
mod rival;
mod sensor;
mod sensors;
mod splitter;
mod system;
mod timeline;
mod water;

pub use alert::{Present, TAKEN_BACK, alert, alert_row};
pub use board::{board, choices, search_text};
pub use card::card;
pub(in crate::desk) use finding::{anchor, below, beside, node_words, sheet as finding_sheet};
pub use heard::heard;
pub use place::{BasinRecord, basin_page};
pub use readings::Readings;
pub(in crate::desk) use received::{basis, of_basin};
pub use received::{months, received, received_from};
pub use sensor::{SensorRecord, sensor_page};
pub use sensors::{SensorsRecord, doubts, sensors_sheet};
pub use splitter::{SplitterRecord, splitter_page};
pub(in crate::desk) use system::mark_off;
pub use system::{Lately, SystemRecord, awaited, plan, system};
pub use timeline::{TimelineRecord, timeline, timeline_table, told};
pub(in crate::desk) use water::{is_of_water, water_of};
