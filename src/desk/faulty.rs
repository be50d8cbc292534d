//! System files that cannot be taken, for people: what that means, in a line for every page.

use super::words;
use crate::systemfile::{Fault, FaultyFile};

/// So many systems are named in one line.
const NAMED: usize = 3;
/// What is told of a clash to those who may not know of the other system.
const CLASH: &str = "a topic of this system is heard by a sensor of another one already";

/// What there is to say of all of `files` at once.
pub(super) fn notice(files: &[FaultyFile]) -> Option<String> {
    let (watched, unwatched): (Vec<_>, Vec<_>) = files.iter().partition(|file| file.watched);
    let mut sentences = Vec::new();
    if !unwatched.is_empty() {
        let (verb, them) = if unwatched.len() == 1 { ("is", "its file") } else { ("are", "their files") };
        sentences.push(format!(
            "{} {verb} not watched, and nobody is told of a flood there: {them} cannot be read.",
            named(&unwatched)
        ));
    }
    if !watched.is_empty() {
        let (verb, plan) =
            if watched.len() == 1 { ("is", "its file has") } else { ("are", "their files have") };
        sentences.push(format!(
            "{} {verb} watched by the plan from before, since {plan} a fault; that ends with the next restart.",
            named(&watched)
        ));
    }
    (!sentences.is_empty()).then(|| sentences.join(" "))
}

fn named(files: &[&FaultyFile]) -> String {
    let titles: Vec<&str> = files.iter().map(|file| file.title()).collect();
    match titles.as_slice() {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] if titles.len() <= NAMED => format!("{} and {last}", first.join(", ")),
        many => {
            format!("{} and {} others", many[..NAMED - 1].join(", "), words::count(many.len() + 1 - NAMED))
        }
    }
}

/// What is wrong with `file`, for somebody who may know of every system or not: line and column, what, and how to mend
/// it.
pub(super) fn told(file: &FaultyFile, sees_everything: bool) -> Vec<Fault> {
    let mut faults = file.faults.clone();
    if file.clashes && !sees_everything {
        for fault in &mut faults {
            CLASH.clone_into(&mut fault.what);
        }
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(name: &str, watched: bool) -> FaultyFile {
        let faults = vec![Fault {
            file: "a.toml".to_owned(),
            line: 3,
            column: 1,
            what: "`fig/float` of `a` and `fig/float` of `secret` both hear topic `t` at `/value`".to_owned(),
            how: "give each its own topic".to_owned(),
        }];
        let (name, file) = (Some(name.to_owned()), "a.toml".to_owned());
        FaultyFile { file, id: None, name, property: None, faults, clashes: true, watched }
    }

    #[test]
    fn the_notice_names_a_few_systems_and_counts_the_rest() {
        assert_eq!(notice(&[]), None);
        let one = notice(&[file("East", false)]).unwrap();
        assert_eq!(one, "East is not watched, and nobody is told of a flood there: its file cannot be read.");
        let names = ["A", "B", "C", "D", "E"].map(|name| file(name, false));
        assert!(notice(&names[..3]).unwrap().starts_with("A, B and C are not watched"));
        assert!(notice(&names).unwrap().starts_with("A, B and three others are not watched"));
        let both = notice(&[file("East", false), file("West", true)]).unwrap();
        assert!(both.contains("West is watched by the plan from before"), "{both}");
    }

    #[test]
    fn a_clash_does_not_name_the_other_system_to_whoever_may_not_know_of_it() {
        assert!(told(&file("East", false), true)[0].what.contains("secret"));
        assert!(!told(&file("East", false), false)[0].what.contains("secret"));
    }
}
