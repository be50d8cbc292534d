//! System files: one TOML file describes one system and its sensors.
//!
//! Reading never stops at the first fault: [`parse`], [`load_file`] and [`load_dir`] return every
//! [`Fault`] with file, line, and how to mend it. Unknown keys are faults that name the nearest
//! known one. What is allowed but doubtful is left to [`advice`]. [`load_dir`] takes a folder whole or
//! not at all; [`load_folder`] takes each file by itself, so that one that is faulty keeps no other
//! system from being watched.
//!
//! | key | default | allowed |
//! |---|---|---|
//! | `id` | required | the file's name without `.toml`; 1 to 48 of `a-z`, `0-9`, `-` |
//! | `name` | required | 1 to 120 characters |
//! | `property` | the system's id | an id |
//! | `timezone` | required | an IANA zone |
//! | `location` | unknown | table: `latitude` −90 to 90 and `longitude` −180 to 180, both required; `elevation_m` −500 to 9,000, default 0 |
//! | `soil` | required | a USDA texture class |
//! | `commissioned` | unknown | a TOML date |
//! | `source.people` | 2 | 1 to 500 |
//! | `source.fixtures` | none | up to 20 words |
//! | `source.meter` | no meter | table: `litres_per_count` above 0 to 10,000, default 1; `after_diverter`, default false; sensor keys |
//! | `diverter` | no diverter | table: sensor keys |
//! | `rain` | no gauge | table: `mm_per_count` above 0 to 100, default 0.2; sensor keys |
//! | `splitter.id` | required | an id, unique among splitters and basins |
//! | `splitter.feeds` | required | two ids of splitters or basins, side a first |
//! | `splitter.split` | `[0.5, 0.5]` | two fractions above 0 that sum to 1 ± 0.001 |
//! | `splitter.at` | unplaced | `[east, north]` in metres, within 10 km |
//! | `basin.id` | required | as for splitters, but not `meter`, `diverter` or `rain` |
//! | `basin.plant` | none | 1 to 120 characters |
//! | `basin.area_m2` | required | 0.05 to 100 |
//! | `basin.depth_mm` | 300 | 20 to 2,000 |
//! | `basin.mulch` | see right | table: `depth_mm` 20 to 2,000, default 200; `chip` fine, medium (default) or coarse; `placed`, a TOML date |
//! | `basin.air_gap_mm` | 150 | 0 to 2,000 |
//! | `basin.at` | unplaced | as for splitters |
//! | `basin.float` | no float | table: `height_mm` above 0 and below the basin's depth, default 120; `wet` open or closed (default); sensor keys |
//! | `basin.overflow` | no overflow float | as `float`, default 260, above the float |
//! | `basin.moisture` | no probe | table: `depth_mm` 20 to 2,000, default 250; `permittivity`, default false; sensor keys |
//! | `basin.temperature`, `basin.battery` | heard at the default topic | table: sensor keys |
//! | `basin.flood_hold` | by soil and depth | 1 minute to 30 days, as `"90m"`, `"6h"`, `"2d"` |
//!
//! The default heights of floats fit a basin 300 mm deep; in a shallower one they shrink in
//! proportion. A system has at most 256 basins, and a file at most 1 MiB.
//!
//! Sensor keys:
//!
//! | key | default | allowed |
//! |---|---|---|
//! | `topic` | `<prefix>/<system>[/<basin>]/<quantity>` | one MQTT topic without wildcards |
//! | `value` | `/value` | JSON pointer to the value |
//! | `time` | `/time` if present | JSON pointer to the time |
//! | `unit` | the payload's, else guessed | moisture: `/`, `m3/m3`, `%`; temperature: `Cel`, `degF`; battery: `%EL`, `%`, `/`; meter and rain: `count` |
//! | `scale` | 1 | a factor other than 0 |
//! | `offset` | 0 | a number added after the factor |
//!
//! Two sensors may hear one topic only if their `value` pointers differ.

mod advice;
mod edit;
mod fault;
mod folder;
mod load;
mod parse;
mod parts;
mod reader;
mod sensors;

pub use advice::advice;
pub use edit::{content, edit, pointer_of};
pub use fault::Fault;
pub use folder::{FaultyFile, Folder, load_folder};
pub use load::{fits, load_dir, load_file};
pub use parse::parse;
