//! The pages, as HTML made from sheets. No page asks anything of the ledger or the clock.

mod alerts;
mod basin;
mod card;
mod fault;
mod finding;
mod first;
mod heard;
mod labelling;
mod layout;
mod level;
mod mark;
mod part;
mod place;
mod plan;
mod received;
mod scatter;
mod sensor;
mod system;
mod time_table;
mod timeline;

pub use alerts::{alert, alert_main, alerts, alerts_main};
pub use card::Detail;
pub use fault::fault;
pub(in crate::desk) use finding::{doubt, evidence, gist, standing, steps};
pub use first::{Group, first, first_card, first_main, first_row, first_rows, first_summary, rows_name};
pub use heard::{heard, heard_main};
pub(in crate::desk) use layout::{Page, layout_with};
pub(in crate::desk) use mark::{time, urgency};
pub use part::Part;
pub use place::{basin_page, basin_page_main, splitter_page, splitter_page_main};
pub(in crate::desk) use plan::plan as site_plan;
pub use sensor::{sensor_page, sensor_page_main};
pub(in crate::desk) use system::folded_on_phones;
pub use system::{system, system_main};
