//! Pseudo-random numbers for invented winters and ledgers: a seed decides everything.
//!
//! What may not enter: anything that must not be guessed; ids and secrets come from outside.

use uuid::Uuid;

use crate::words::{Count, uuid_v7};

/// A small generator of pseudo-random numbers (`SplitMix64`, Steele et al. 2014; from memory).
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    /// Begins from a seed.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number.
    pub const fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number below `bound`, or 0 if `bound` is 0.
    pub fn below(&mut self, bound: u32) -> u32 {
        let bound = u64::from(bound.max(1));
        u32::try_from(self.roll() % bound).unwrap_or(0)
    }

    /// One of several.
    pub fn pick<'a, T>(&mut self, of: &'a [T]) -> Option<&'a T> {
        let length = u32::try_from(of.len()).unwrap_or(u32::MAX);
        of.get(self.below(length) as usize)
    }

    /// A version 7 UUID.
    pub fn id(&mut self) -> Uuid {
        let mut random = [0; 10];
        for half in random.chunks_mut(5) {
            half.copy_from_slice(&self.roll().to_be_bytes()[..5]);
        }
        uuid_v7(1_760_000_000_000, random)
    }

    /// A count below `bound`.
    pub fn count(&mut self, bound: u32) -> Count {
        Count::new(i64::from(self.below(bound))).unwrap_or_default()
    }

    /// Whether something of `percent` chance happens.
    pub fn happens(&mut self, percent: u32) -> bool {
        self.below(100) < percent
    }

    /// A share, from 0 to just below 1.
    #[allow(clippy::cast_precision_loss)] // 53 bits are what an f64 holds
    pub const fn share(&mut self) -> f64 {
        (self.roll() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A standard normal number (Box and Muller, Ann. Math. Stat. 29 (1958) 610).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.share()).cos()
    }

    /// How many of `units` come through, each with the same chance.
    pub fn of(&mut self, units: u32, chance: f64) -> u32 {
        // At most `units` of them.
        u32::try_from((0..units).filter(|_| self.share() < chance).count()).unwrap_or(units)
    }
}
