//! Refusals and unassigned topics.

use jiff::tz::TimeZone;

use crate::desk::sheet::{HeardSheet, RefusalSheet, RefusedAt, StraySheet};
use crate::desk::words;
use crate::ledger::{Refusals, Totals, Unassigned};
use crate::model::EventTime;

/// Samples shown for one reason.
const SAMPLES: usize = 5;

/// What could not be used; `page_of` finds the page of the system that a topic names, and what that is called. Times are
/// in `zone`, since no system owns them.
pub fn heard(
    totals: &Totals,
    refusals: Refusals,
    unassigned: Vec<Unassigned>,
    page_of: impl Fn(&str) -> Option<(String, String)>,
    (now, zone): (EventTime, &TimeZone),
) -> HeardSheet {
    let moment = |at| words::moment(at, now, zone);
    let mut sheets: Vec<RefusalSheet> = refusals
        .counts
        .into_iter()
        .map(|(reason, count)| RefusalSheet { reason, count, samples: Vec::new() })
        .collect();
    for sample in refusals.samples {
        let sheet = sheets.iter_mut().find(|sheet| sheet.reason == sample.reason);
        if let Some(sheet) = sheet.filter(|sheet| sheet.samples.len() < SAMPLES) {
            let detail = words::refusal(&sample.detail);
            let page = page_of(&sample.topic);
            sheet.samples.push(RefusedAt {
                at: moment(sample.at),
                page,
                topic: sample.topic,
                payload: sample.sample,
                detail,
            });
        }
    }
    sheets.sort_by(|a, b| b.count.cmp(&a.count).then_with(|| a.reason.cmp(&b.reason)));
    let strays = unassigned.into_iter().map(|stray| StraySheet {
        count: stray.count,
        last: moment(stray.last_at),
        page: page_of(&stray.topic),
        topic: stray.topic,
        payload: stray.sample,
    });
    HeardSheet {
        messages: totals.messages,
        readings: totals.readings,
        refusals: sheets,
        strays: strays.collect(),
        published: (String::new(), String::new()),
    }
}
