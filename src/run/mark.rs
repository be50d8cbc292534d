//! What stands in the place of a memory that could not be used, until its system has learnt anew: as far as everything
//! was told already. So whatever breaks learning off, what came since is concluded once.

use flate2::Crc;

use crate::model::EventTime;

/// No engine writes snapshots of this version, so that every program sees that it is none.
const NO_SNAPSHOT: [u8; 2] = [0, 0];

/// The mark for what was told until `told`.
pub(super) fn write(told: EventTime) -> Vec<u8> {
    let told = told.millis().to_le_bytes();
    [&NO_SNAPSHOT[..], &told, &checksum(told)].concat()
}

/// What a mark says; none if `state` is something else.
pub(super) fn read(state: &[u8]) -> Option<EventTime> {
    let (&told, sum) = state.strip_prefix(&NO_SNAPSHOT)?.split_first_chunk()?;
    (sum == checksum(told)).then(|| EventTime::from_millis(i64::from_le_bytes(told)))
}

fn checksum(told: [u8; 8]) -> [u8; 4] {
    let mut crc = Crc::new();
    crc.update(&told);
    crc.sum().to_le_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_says_what_was_written_and_nothing_else_is_one() {
        let told = EventTime::from_secs(1_772_352_900);
        let mark = write(told);
        assert_eq!(read(&mark), Some(told));
        for at in 0..mark.len() {
            let mut damaged = mark.clone();
            damaged[at] ^= 4;
            assert_eq!(read(&damaged), None, "byte {at}");
            assert_eq!(read(&mark[..at]), None);
        }
    }
}
