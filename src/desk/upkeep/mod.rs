//! Tasks and visits: what is to be done and when, as pages, tables and a calendar.
//!
//! Everything is taken from what the schedule worked out last; for a request, only the last year is played through.

mod bring;
mod compared;
mod feed;
mod handlers;
mod ical;
mod rows;
mod table;
mod tasks_page;
mod visits_page;

pub(in crate::desk) use bring::{bring, count_what_to_bring};
pub(in crate::desk) use handlers::routes;
pub(in crate::desk) use rows::{
    TaskRow, VisitRow, Wanted, coming_rows, due_soon, due_words, is_for_next, mulch_due, next_visits, proofs,
    record_address, tasks, visits, worth_doing,
};
pub(in crate::desk) use tasks_page::coming;
