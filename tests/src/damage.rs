//! Which bytes of a file are flipped, and with what: a seeded sample with some in every page, or all.

use std::fmt;

/// One byte to damage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Flip {
    /// Where in the file.
    pub at: usize,
    /// What it is combined with by exclusive or; never 0.
    pub with: u8,
}

impl fmt::Display for Flip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "byte {} (page {}) with {:#04x}", self.at, self.at / 4096 + 1, self.with)
    }
}

/// A small generator (splitmix64): the same bytes every time.
struct Seeded(u64);

impl Seeded {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((mixed ^ (mixed >> 31)) % bound as u64).expect("below a usize")
    }
}

/// About `wanted` flips of a file: at least two in every page, half of them where something is
/// written, single bits and whole bytes. With `SPARELOOP_DAMAGE=all`, one for every byte.
pub fn flips(file: &[u8], page: usize, wanted: usize) -> Vec<Flip> {
    let mut seeded = Seeded(20_261_125);
    let with = |at: usize, seeded: &mut Seeded| {
        let with = if seeded.below(3) == 0 { 0xff } else { 1 << seeded.below(8) };
        Flip { at, with }
    };
    if std::env::var("SPARELOOP_DAMAGE").is_ok_and(|value| value == "all") {
        return (0..file.len()).map(|at| with(at, &mut seeded)).collect();
    }
    let pages = file.len().div_ceil(page);
    let each = wanted.div_ceil(pages).max(2);
    let mut flips = Vec::with_capacity(pages * each);
    for first in (0..file.len()).step_by(page) {
        let length = page.min(file.len() - first);
        for number in 0..each {
            let mut at = first + seeded.below(length);
            // The first of every page goes into its head, where the page says what it holds.
            if number == 0 {
                at = first + seeded.below(length.min(if first == 0 { 108 } else { 12 }));
            }
            for _ in 0..64 {
                if number % 2 == 0 || file[at] != 0 {
                    break;
                }
                at = first + seeded.below(length);
            }
            flips.push(with(at, &mut seeded));
        }
    }
    flips
}
