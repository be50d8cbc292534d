//! What happened at a part, as marks on a drawing of its course: when a fault began, and what people did.

use std::iter;

use crate::desk::sheet::{Mark, MarkKind, Stretch};
use crate::desk::words;
use crate::flowtest::Verdict;
use crate::ledger::{StoredFinding, StoredService, StoredTest};
use crate::model::{EventTime, Id, System, Work};

/// Marks that a drawing has at most, the newest.
const MARKS: usize = 12;

/// What lies within a stretch as marks, oldest first.
pub(super) struct Marks<'a> {
    pub(super) system: &'a System,
    pub(super) stretch: &'a Stretch,
    pub(super) now: EventTime,
}

impl Marks<'_> {
    fn mark(&self, at: EventTime, kind: MarkKind, words: String, page: Option<String>) -> (EventTime, Mark) {
        (at, Mark { at: self.stretch.place(at), kind, words, page })
    }

    fn when(&self, at: EventTime) -> String {
        words::moment(at, self.now, &self.system.zone).words
    }

    /// The time since which something was `wrong`, when that was found, and until when it stood.
    pub(super) fn fault(&self, stored: &StoredFinding, wrong: &str) -> (EventTime, Mark) {
        let began = onset(stored);
        let found = (began < stored.raised_at).then(|| format!("found {}", self.when(stored.raised_at)));
        let over = stored.cleared_at.map(|at| format!("over {}", self.when(at)));
        let says = iter::once(format!("{wrong} since {}", self.when(began))).chain(found).chain(over);
        let says = words::capitalised(&says.collect::<Vec<_>>().join(", "));
        self.mark(began, MarkKind::Change, says, None)
    }

    /// What somebody wrote down.
    pub(super) fn service(&self, stored: &StoredService) -> (EventTime, Mark) {
        let at = stored.record.at;
        let says = format!("{} by {}, {}", work_words(&stored.record.work), stored.by, self.when(at));
        self.mark(at, MarkKind::Work, says, Some(format!("/services/{}", stored.key)))
    }

    /// What a flow test came to for `splitter`; none where it tells nothing of it.
    pub(super) fn test(&self, stored: &StoredTest, splitter: &Id) -> Option<(EventTime, Mark)> {
        let split = stored.outcome.as_ref()?.splits.iter().find(|split| split.splitter == *splitter)?;
        let came_to = match split.verdict {
            Verdict::Even => "as designed",
            Verdict::Uneven => "not as designed",
            Verdict::Unclear => "not proved",
            Verdict::Unmeasured => return None,
        };
        let says = format!("Flow test: {came_to}, {}", self.when(stored.began));
        Some(self.mark(stored.began, MarkKind::Work, says, Some(format!("/tests/{}", stored.key))))
    }

    /// The newest of them that lie within the stretch, in order.
    pub(super) fn within(&self, mut all: Vec<(EventTime, Mark)>) -> Vec<Mark> {
        all.retain(|(at, _)| *at > self.stretch.from && *at <= self.stretch.to);
        all.sort_by_key(|(at, _)| *at);
        let older = all.len().saturating_sub(MARKS);
        all.drain(..older);
        all.into_iter().map(|(_, mark)| mark).collect()
    }
}

/// When what was found began, as far as that was estimated: of what grows, later estimates lie after it was found.
pub(super) fn onset(stored: &StoredFinding) -> EventTime {
    let told = stored.finding.estimate.get("since").and_then(|since| since.as_str());
    let since = told.and_then(|since| since.parse().ok());
    since.map_or(stored.raised_at, |since: EventTime| since.min(stored.raised_at))
}

fn work_words(work: &[Work]) -> String {
    if work.is_empty() {
        return "Looked at".to_owned();
    }
    words::capitalised(&work.iter().map(|work| work.words()).collect::<Vec<_>>().join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;
    use crate::model::{FindingKind, RecordKey, ServiceRecord, Span, Subject};

    fn at(day: u32) -> EventTime {
        format!("2026-06-{day:02}T18:00:00Z").parse().unwrap()
    }

    fn levelled(system: &System, day: u32) -> StoredService {
        let subject = Subject::Splitter(system.splitters[1].id.clone());
        let record =
            ServiceRecord { work: vec![Work::SplitterLevelled], ..ServiceRecord::look(subject, at(day)) };
        StoredService {
            no: 1,
            key: RecordKey::new("0f5b2c1e-77aa-4c55-9c5e-5ec2e7f16011").unwrap(),
            version: 1,
            system: system.id.clone(),
            by: "ana".to_owned(),
            written_at: record.at,
            reason: String::new(),
            withdrawn: false,
            record,
            photos: 0,
        }
    }

    #[test]
    fn a_fault_is_marked_where_it_began_and_work_where_it_was_done() {
        let system = samples::terrace();
        let stretch = Stretch::between(at(1), at(21));
        let marks = Marks { system: &system, stretch: &stretch, now: at(21) };
        let mut uneven = samples::flood(&system, "quince", at(8));
        uneven.finding.kind = FindingKind::UnevenSplit;
        uneven.finding.estimate.insert("since".to_owned(), at(6).to_string().into());
        uneven.cleared_at = Some(at(12));
        let long_ago =
            StoredFinding { raised_at: at(1) - Span::DAY, ..samples::flood(&system, "quince", at(1)) };
        let told = marks.within(vec![
            marks.service(&levelled(&system, 11)),
            marks.fault(&uneven, "uneven"),
            marks.fault(&long_ago, "uneven"),
        ]);
        let [fault, work] = &told[..] else { panic!("{told:?}") };
        assert_eq!((fault.kind, work.kind), (MarkKind::Change, MarkKind::Work));
        assert!((fault.at - 0.25).abs() < 1e-6 && (work.at - 0.5).abs() < 1e-6, "{told:?}");
        assert!(fault.words.starts_with("Uneven since 6 Jun"), "{}", fault.words);
        assert!(
            fault.words.contains("found 8 Jun") && fault.words.contains("over 12 Jun"),
            "{}",
            fault.words
        );
        assert!(work.words.ends_with("by ana, 11 Jun 12:00"), "{}", work.words);
        uneven.finding.estimate.insert("since".to_owned(), at(10).to_string().into());
        assert_eq!(marks.fault(&uneven, "uneven").0, at(8), "no later than it was found");
        assert!(work.page.as_ref().is_some_and(|page| page.starts_with("/services/")));
    }

    #[test]
    fn of_many_marks_the_newest_are_drawn() {
        let system = samples::terrace();
        let stretch = Stretch::between(at(1), at(28));
        let marks = Marks { system: &system, stretch: &stretch, now: at(28) };
        let told = marks.within((2..28).map(|day| marks.service(&levelled(&system, day))).collect());
        assert_eq!(told.len(), MARKS);
        assert!(told.last().unwrap().words.contains("yesterday"), "{told:?}");
    }
}
