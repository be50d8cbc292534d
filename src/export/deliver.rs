//! Getting lines across although some may be refused: halves until a refused line stands alone.

use std::ops::Range;

use super::Lines;
use super::server::{Server, Trouble};

/// Refusals after which a batch of which nothing was taken is called refused as a whole.
const HOPELESS: u32 = 64;
/// More lines than this that the server dropped by itself are counted, not looked for one by one.
const LOOKED_FOR: u64 = 16;

/// What became of a batch.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Delivered {
    /// Lines that the server has.
    pub(super) taken: u64,
    /// Lines that it refused for good.
    pub(super) refused: u64,
    /// Some of those, with the server's reason.
    pub(super) samples: Vec<RefusedLine>,
}

/// A line that the server refuses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefusedLine {
    /// The line, without its line feed.
    pub line: String,
    /// Why, in the server's words.
    pub why: String,
}

/// Writes all `lines`. Some may be written twice, which changes nothing at the server.
///
/// A server that takes none of them is asked to take `probe`, which is right beyond doubt: refused lines are given up
/// only where others are taken.
///
/// # Errors
/// The server cannot be written to, or refuses everything: then the lines are not to blame, and all of them have to
/// be written again later.
pub(super) async fn deliver(server: &Server, lines: &Lines, probe: &Lines) -> Result<Delivered, Trouble> {
    let mut done = Delivered::default();
    let mut refusals = 0;
    let mut left: Vec<Range<usize>> = std::iter::once(0..lines.len()).collect();
    while let Some(range) = left.pop() {
        let trouble = match server.write(lines.text(range.clone())).await {
            Ok(()) => {
                done.taken += range.len() as u64;
                continue;
            }
            Err(trouble) => trouble,
        };
        let why = match &trouble {
            Trouble::Lines(why) => why.clone(),
            Trouble::TooLarge => trouble.to_string(),
            Trouble::Passing(_) | Trouble::Denied(_) => return Err(trouble),
        };
        refusals += 1;
        if let Some(dropped) = dropped(&why).filter(|dropped| *dropped > LOOKED_FOR) {
            done.leave(lines, range, dropped, why);
        } else if range.len() == 1 {
            done.leave(lines, range, 1, why);
        } else {
            let middle = range.start + range.len() / 2;
            left.extend([middle..range.end, range.start..middle]);
        }
        if refusals == HOPELESS && done.taken == 0 {
            return Err(Trouble::Denied(format!("it refuses every line: {trouble}")));
        }
    }
    if done.taken == 0 && done.refused > 0 {
        server.write(probe.text(0..probe.len())).await.map_err(|trouble| match trouble {
            Trouble::Lines(why) => Trouble::Denied(format!("it refuses every line: {why}")),
            trouble @ (Trouble::TooLarge | Trouble::Passing(_) | Trouble::Denied(_)) => trouble,
        })?;
    }
    Ok(done)
}

impl Delivered {
    /// Gives up `refused` of the lines in `range`; the first stands for them all.
    fn leave(&mut self, lines: &Lines, range: Range<usize>, refused: u64, why: String) {
        let line = lines.text(range.start..range.start + 1).trim_end().to_owned();
        self.samples.push(RefusedLine { line, why });
        self.refused += refused;
        self.taken += (range.len() as u64).saturating_sub(refused);
    }
}

/// How many lines the server left out while it took the others: InfluxDB says `partial write: … dropped=3`.
fn dropped(why: &str) -> Option<u64> {
    let (_, after) = why.split_once("partial write")?.1.rsplit_once("dropped=")?;
    after.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::dropped;

    #[test]
    fn what_a_partial_write_dropped_is_read_from_its_words() {
        // The words of InfluxDB's storage engine, tsdb.PartialWriteError.
        let says = "422, failure writing points to database: partial write: points beyond retention policy dropped=7";
        assert_eq!(dropped(says), Some(7));
        assert_eq!(dropped("unable to parse 'a,b': missing tag value dropped=1"), None);
        assert_eq!(dropped("partial write: dropped=many"), None);
    }
}
