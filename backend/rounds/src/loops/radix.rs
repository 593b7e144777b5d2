//! Keys of ways to pass on units of a group: which ways leave the same and are worth the same.
//!
//! What may not enter: gains.

use super::contents::{Left, index};
use crate::instance::{Instance, MoveKind};

/// Which counts of a group several of its moves share, and where they stand in a key: lowest the
/// value, then what was used of each shared count.
pub(super) struct Radix {
    digits: Vec<Digit>,
    /// Keys of nothing used yet are below this.
    pub(super) base: u64,
    /// All keys are below this.
    pub(super) end: u64,
}

struct Digit {
    number: u32,
    /// 0 for an offer, 1 for a want.
    side: u8,
    unit: u64,
    values: u64,
    /// The place of the last move that needs it.
    last: usize,
}

impl Radix {
    pub(super) fn new(of: &Instance, group: &[u32], left: &Left) -> Self {
        let most = |kind: &MoveKind| {
            left.offers[kind.offer as usize].min(left.wants[kind.want as usize]).max(0)
        };
        let kinds: Vec<MoveKind> = group.iter().map(|&it| of.moves[it as usize]).collect();
        let value: u64 =
            kinds.iter().map(|it| index(most(it)) as u64 * index(it.value) as u64).sum();
        let base = value + 1;
        let (mut digits, mut unit) = (Vec::new(), base);
        for side in 0..2_u8 {
            let number_of = |kind: &MoveKind| if side == 0 { kind.offer } else { kind.want };
            for (first, kind) in kinds.iter().enumerate() {
                let number = number_of(kind);
                let last = kinds.iter().rposition(|it| number_of(it) == number).unwrap_or(first);
                if last == first || kinds[..first].iter().any(|it| number_of(it) == number) {
                    continue;
                }
                let count = if side == 0 {
                    left.offers[number as usize]
                } else {
                    left.wants[number as usize]
                };
                let together: i32 =
                    kinds.iter().filter(|it| number_of(it) == number).map(most).sum();
                if together <= count {
                    // There is enough for all of them: nothing to keep account of.
                    continue;
                }
                let values = index(count) as u64 + 1;
                digits.push(Digit { number, side, unit, values, last });
                unit = unit.saturating_mul(values);
            }
        }
        Self { digits, base, end: unit }
    }

    pub(super) fn used(&self, key: u64, number: u32, side: u8) -> i32 {
        let digit = self.digits.iter().find(|it| it.number == number && it.side == side);
        digit.map_or(0, |it| ((key / it.unit) % it.values) as i32)
    }

    /// What stays of a key once the move at place `at` was made, and what each of its units adds; what no
    /// later move shares is forgotten.
    pub(super) fn after(&self, key: u64, kind: MoveKind, at: usize) -> (u64, u64) {
        let (mut kept, mut per_unit) = (key, index(kind.value) as u64);
        for it in &self.digits {
            let mine = it.number == if it.side == 0 { kind.offer } else { kind.want };
            if mine && it.last == at {
                kept -= ((key / it.unit) % it.values) * it.unit;
            } else if mine {
                per_unit += it.unit;
            }
        }
        (kept, per_unit)
    }
}
