//! What pages say of system files that cannot be taken: what is wrong, and how to mend it.

use maud::{Markup, html};

use crate::desk::faulty::told;
use crate::desk::office::Office;
use crate::desk::people::Visitor;
use crate::desk::visit::ask;
use crate::desk::words;
use crate::ledger::{AlertFilter, LedgerFault};
use crate::model::FindingKind;
use crate::systemfile::FaultyFile;

/// Alerts that are counted at most.
const COUNTED: usize = 1_000;

/// A faulty file, and how many alerts of its system stand open: all of them, and floods.
pub(super) struct Trouble {
    pub(super) file: FaultyFile,
    open: usize,
    floods: usize,
}

/// The faulty files that the visitor may know of, of the system `id` where one is named.
pub(super) async fn troubles(
    office: &Office,
    visitor: &Visitor,
    id: Option<&str>,
) -> Result<Vec<Trouble>, LedgerFault> {
    let mut files = office.faulty(visitor);
    files.retain(|file| id.is_none_or(|id| file.is_of(id)));
    ask(office, move |view| {
        let trouble = |file: FaultyFile| {
            let mut standing = Vec::new();
            if let Some(system) = &file.id {
                let (system, standing_now) = (Some(system.clone()), Some(true));
                let filter = AlertFilter { system, standing: standing_now, ..AlertFilter::default() };
                standing = view.alerts(&filter, COUNTED)?;
            }
            let floods = standing.iter().filter(|alert| alert.finding.kind == FindingKind::Flooding).count();
            Ok(Trouble { file, open: standing.len(), floods })
        };
        files.into_iter().map(trouble).collect()
    })
    .await
}

/// All of `troubles`, each with the way to mend it.
pub(super) fn list(visitor: &Visitor, troubles: &[Trouble]) -> Markup {
    html! {
        section id="faulty-files" {
            h2 { "Files that cannot be read" }
            (what_is_kept())
            @for trouble in troubles {
                div class="problem" {
                    h3 { (trouble.file.title()) }
                    (what_it_means(trouble))
                    (faults(visitor, &trouble.file))
                    @if let Some(id) = &trouble.file.id {
                        p { a class="target" href={ "/setup/" (id) } { "Mend it" span class="unseen" { ", " (trouble.file.title()) } } }
                    } @else { p { "Mend this file: " (by_hand(&trouble.file)) } }
                }
            }
        }
    }
}

/// One of them, on the page where it is mended; `has_form` says whether that shows a form of it.
pub(super) fn notice(visitor: &Visitor, trouble: &Trouble, has_form: bool) -> Markup {
    html! {
        div class="problem" id="faulty-file" {
            (what_it_means(trouble))
            (faults(visitor, &trouble.file))
        }
        (what_is_kept())
        p {
            @if has_form { "Mend it in the form below and save, or mend the file where it lies: " }
            @else { "It cannot be shown as a form until it can be read, so mend the file where it lies: " }
            (by_hand(&trouble.file))
        }
    }
}

fn what_it_means(Trouble { file, open, floods }: &Trouble) -> Markup {
    let title = file.title();
    html! {
        @if file.watched {
            p { strong { "This file cannot be read as it is now. " (title) " goes on by the plan from before until the daemon is restarted; then it is no longer watched." } }
        } @else {
            p { strong { "This file cannot be read, so " (title) " is not watched. Nobody is told of a flood there." } }
            @if *open > 0 {
                @let stands = if *open == 1 { "alert of it stands" } else { "alerts of it stand" };
                p {
                    (words::capitalised(&words::count(*open))) " " (stands) " open"
                    @match floods { 0 => {}, 1 => ", a flood among them", _ => ", floods among them" }
                    ": see for yourself how it is there."
                }
            }
        }
    }
}

fn what_is_kept() -> Markup {
    html! {
        p { "What was measured, found and learnt of a system that is not watched is kept, its alerts stay open, and all of it goes on once the file is mended. What its sensors send until then is listed under Sensor messages, and is not made up for." }
    }
}

fn faults(visitor: &Visitor, file: &FaultyFile) -> Markup {
    html! {
        ul {
            @for fault in told(file, visitor.sees_everything()) {
                li {
                    @if fault.line > 0 { "Line " (fault.line) ": " }
                    (fault.what.replace('`', "")) "; " (fault.how.replace('`', "")) "."
                }
            }
        }
    }
}

fn by_hand(file: &FaultyFile) -> Markup {
    html! {
        code { (file.file) } ", and let the daemon read it again (" code { "systemctl reload basinward" } "). "
        code { "basinward check" } " says whether all is right."
    }
}
