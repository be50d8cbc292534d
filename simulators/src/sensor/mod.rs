//! Sensors: what they make of the world, how often, and what is wrong with them.

mod battery;
mod counter;
mod device;
mod envelope;
mod fitted;
mod float;
mod probe;
mod profile;
mod topp;
mod trouble;

pub use device::{Device, Glance, Habits, Parts};
pub use envelope::Outgoing;
pub use profile::{
    BatteryProfile, CounterProfile, Exception, FloatProfile, Pack, ProbeProfile, Profiles, SwitchProfile,
    ThermometerProfile, Writing,
};
pub use trouble::{Ailment, Trouble};
