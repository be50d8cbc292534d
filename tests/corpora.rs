//! The fuzzers' corpora, and a few thousand inputs made out of them, through every target on the stable toolchain.
//! `cargo fuzz` (`tests/fuzz/README.md`) looks further; what it finds joins the corpus.

use std::fs;
use std::panic::catch_unwind;
use std::path::Path;

#[path = "fuzz/fuzz_targets/common.rs"]
mod targets;

/// Inputs that are made out of each one of a corpus: `BASINWARD_MUTANTS`, else this many.
const MUTANTS: u32 = 150;

/// A generator of xorshift type (Marsaglia 2003, <https://doi.org/10.18637/jss.v008.i14>).
struct Chance(u64);

impl Chance {
    fn below(&mut self, count: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % count.max(1) as u64) as usize
    }
}

/// Bytes that decoders look out for.
const TELLING: [&[u8]; 14] = [
    b"\xff", b"\x00", b"{", b"}", b"[", b"]", b"\"", b",", b"1e999", b"-", b"\\u0000", b"\x9f", b"\xbf",
    b"\xfb",
];

/// One of `all`, changed in a few places: bytes changed, left out, doubled or put in, or the end of another one.
fn mutant(all: &[Vec<u8>], of: usize, chance: &mut Chance) -> Vec<u8> {
    let mut bytes = all[of].clone();
    for _ in 0..=chance.below(4) {
        let at = chance.below(bytes.len() + 1);
        let to = at + chance.below(bytes.len() - at + 1).min(8);
        match chance.below(6) {
            0 if at < bytes.len() => bytes[at] ^= 1 << chance.below(8),
            1 => drop(bytes.drain(at..to)),
            2 => {
                let piece = bytes[at..to].repeat(1 + chance.below(3));
                bytes.splice(at..at, piece);
            }
            3 => drop(bytes.splice(at..to, TELLING[chance.below(TELLING.len())].iter().copied())),
            4 => {
                let other = &all[chance.below(all.len())];
                bytes.truncate(at);
                bytes.extend_from_slice(&other[chance.below(other.len() + 1)..]);
            }
            _ => bytes.truncate(at.max(1)),
        }
    }
    bytes
}

#[test]
fn every_target_stands_its_corpus_and_what_is_made_out_of_it() {
    let corpora = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    let mutants =
        std::env::var("BASINWARD_MUTANTS").ok().and_then(|text| text.parse().ok()).unwrap_or(MUTANTS);
    for (name, target) in targets::TARGETS {
        let folder =
            fs::read_dir(corpora.join(name)).unwrap_or_else(|error| panic!("no corpus {name}: {error}"));
        let mut files: Vec<_> = folder.map(|entry| entry.expect("it can be read").path()).collect();
        files.sort();
        assert!(files.len() >= 8, "{name} has {} inputs", files.len());
        let all: Vec<Vec<u8>> = files.iter().map(|file| fs::read(file).expect("it can be read")).collect();
        for (of, file) in files.iter().enumerate() {
            let stands = catch_unwind(|| target(&all[of])).is_ok();
            assert!(stands, "{name} does not stand {}", file.display());
            let mut chance = Chance(0x9e37_79b9_7f4a_7c15 + of as u64);
            for _ in 0..mutants {
                let bytes = mutant(&all, of, &mut chance);
                let stands = catch_unwind(|| target(&bytes)).is_ok();
                assert!(
                    stands,
                    "{name} does not stand {:?}, made out of {}",
                    bytes.escape_ascii().to_string(),
                    file.display()
                );
            }
        }
    }
}
