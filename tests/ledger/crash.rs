//! What is left when the writer dies, and who may write.

use basinward::ledger::{Ledger, LedgerFault, Resolution, View};
use tempfile::TempDir;

use crate::child::{READINGS, Writer};
use crate::yard::{id, minute};

/// Deaths in one run.
const DEATHS: u64 = 20;

#[test]
fn whatever_a_killed_writer_reported_is_there_and_nothing_is_there_twice() {
    let folder = TempDir::new().unwrap();
    let mut reported = 0;
    for death in 0..DEATHS {
        let mut writer = Writer::start(folder.path(), &[]);
        // Deaths after different numbers of commits, so also at different moments.
        for _ in 0..=(death * 7) % 11 {
            reported = writer.hear_commit().expect("the writer goes on");
        }
        reported = writer.kill().unwrap_or(reported);

        let view = View::open(folder.path()).unwrap();
        let totals = view.totals().unwrap();
        assert!(totals.last_commit >= reported, "{reported} reported, {} there", totals.last_commit);
        assert_eq!(totals.readings, totals.last_commit * READINGS, "a commit is there whole or not at all");
        assert_eq!(totals.duplicates, 0);
        view.check().unwrap();
    }
    let mut ledger = Ledger::open(folder.path()).unwrap();
    let view = View::open(folder.path()).unwrap();
    let commits = ledger.last_commit();
    assert_eq!(view.changes_since(0, usize::MAX >> 1).unwrap().len() as u64, commits);
    let history = view.findings_history(None, minute(1 << 30), 1 << 20).unwrap();
    assert_eq!(history.len() as u64, commits.div_ceil(2));
    let raw =
        view.history(&id("east"), "quince/moisture", minute(0), minute(1 << 30), Resolution::Raw).unwrap();
    assert_eq!(raw.len() as u64, commits * READINGS);

    ledger.enrol([&crate::yard::system("east", &["quince"])]).unwrap();
    let recovery = ledger.recover().unwrap();
    assert_eq!(ledger.replay(&recovery, |_| ()).unwrap(), commits * READINGS);
}

#[test]
fn a_second_daemon_on_the_folder_is_refused_by_name_until_the_first_is_gone() {
    let folder = TempDir::new().unwrap();
    let mut writer = Writer::start(folder.path(), &[]);
    writer.hear_commit().expect("the writer goes on");
    let pid = writer.process.id();
    let refused = Ledger::open(folder.path()).unwrap_err();
    assert!(
        matches!(refused, LedgerFault::Locked { holder: Some(holder), .. } if holder == pid),
        "{refused:?}"
    );
    assert!(refused.to_string().contains(&format!("process {pid}")), "{refused}");
    writer.kill();
    Ledger::open(folder.path()).unwrap();
}

#[test]
fn views_read_whole_commits_while_the_writer_goes_on() {
    let folder = TempDir::new().unwrap();
    let mut writer = Writer::start(folder.path(), &[]);
    writer.hear_commit().expect("the writer goes on");
    let view = View::open(folder.path()).unwrap();
    let readers: Vec<_> = (0..12)
        .map(|_| {
            let view = view.clone();
            std::thread::spawn(move || {
                for _ in 0..30 {
                    let totals = view.totals().unwrap();
                    assert_eq!(totals.readings, totals.last_commit * READINGS);
                    let open = view.findings_open().unwrap().len();
                    let bins = view
                        .history(&id("east"), "quince/moisture", minute(0), minute(1 << 30), Resolution::Day)
                        .unwrap();
                    let counted: u64 = bins.iter().map(|bin| bin.count).sum();
                    assert!(open <= 1 && counted >= totals.readings, "{open} open, {counted} counted");
                }
            })
        })
        .collect();
    for reader in readers {
        reader.join().unwrap();
    }
    assert!(writer.hear_commit().is_some(), "the writer went on meanwhile");
    writer.kill();
}
