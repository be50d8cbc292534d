//! The interface for programs: what the pages show and do, as JSON under `/api/v1`.
//!
//! Each handler carries its own description, from which `/api/v1/openapi.json` is made. Lists come in
//! pages ([`paging`]), answers with a tag to ask again by ([`tags`]), and refusals as problem details.

mod alerts;
mod asked;
mod description;
mod events;
mod files;
mod findings;
mod floods;
mod flow_tests;
mod heard;
mod keys;
mod mute;
mod paging;
mod people;
mod portfolio;
mod readings;
mod received;
mod sensors;
mod services;
mod session;
mod systems;
mod tags;
mod upkeep;
mod years;

pub(super) use description::routes;
