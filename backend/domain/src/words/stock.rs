//! Kinds of unit, causes of loss, reasons, looks and purposes.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::Count;

macro_rules! word {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $code:literal, $people:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $code)] $variant,)+
        }

        impl $name {
            /// Every one, in the order that people are shown.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The word as stored, sent and typed.
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)+ }
            }
        }

        impl fmt::Display for $name {
            /// The words for people.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(match self { $(Self::$variant => $people,)+ })
            }
        }

        impl FromStr for $name {
            type Err = UnknownWord;
            /// Reads a code or the words for people, whatever the case; spaces and hyphens are one.
            fn from_str(text: &str) -> Result<Self, UnknownWord> {
                let wanted = plain(text);
                Self::ALL
                    .iter()
                    .copied()
                    .find(|word| plain(word.code()) == wanted || plain(&word.to_string()) == wanted)
                    .ok_or_else(|| UnknownWord {
                        given: text.to_owned(),
                        known: Self::ALL.iter().map(|word| word.code()).collect(),
                    })
            }
        }
    };
}
pub(crate) use word;

/// A word that is not one of those we know.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{given:?} is not one of: {}", known.join(", "))]
pub struct UnknownWord {
    /// What was given.
    pub given: String,
    /// What would have been understood.
    pub known: Vec<&'static str>,
}

pub(crate) fn plain(text: &str) -> String {
    text.trim().to_lowercase().replace(['_', ' '], "-")
}

word! {
    /// What one unit of a lot is. Kinds are never added together.
    UnitKind {
        /// All roots of one plant on one stem, as lifted.
        Clump = "clump", "clump";
        /// A piece with body, unbroken neck and crown.
        Division = "division", "division";
        /// A small tuber grown in a pot.
        PotTuber = "pot-tuber", "pot tuber";
        /// A plant started from a tuber, in leaf.
        StartedPlant = "started-plant", "started plant";
        /// A cutting that has rooted.
        RootedCutting = "rooted-cutting", "rooted cutting";
    }
}

impl UnitKind {
    /// The word for several.
    pub fn plural(self) -> String {
        format!("{self}s")
    }

    /// A count with its word: "1 clump", "4 divisions".
    pub fn counted(self, count: Count) -> String {
        if count.get() == 1 { format!("1 {self}") } else { format!("{count} {}", self.plural()) }
    }
}

word! {
    /// Why units left the stock dead or gone.
    LossCause {
        /// Rotted in store.
        Rot = "rot", "rot";
        /// Shrivelled beyond saving.
        DriedOut = "dried-out", "dried out";
        /// Frozen.
        Frozen = "frozen", "frozen";
        /// Eaten in store.
        Gnawed = "gnawed", "gnawed";
        /// Broken in handling.
        Broken = "broken", "broken in handling";
        /// Taken out for disease; opens a stop for suspicious growth.
        Culled = "culled", "culled for disease";
        /// Not found again.
        Mislaid = "mislaid", "mislaid";
        /// Given up on as blind, after waking up.
        Blind = "blind", "given up on as blind";
        /// Anything else.
        Other = "other", "other";
    }
}

impl LossCause {
    /// Whether this is decay in store, the only loss that feeds the forecast's hazard.
    pub const fn is_decay(self) -> bool {
        matches!(self, Self::Rot | Self::DriedOut | Self::Frozen | Self::Gnawed)
    }
}

word! {
    /// Why a piece was not kept at the dividing bench.
    DiscardReason {
        /// No eye and no crown to carry one.
        NoEye = "no-eye", "no eye";
        /// Neck broken.
        BrokenNeck = "broken-neck", "broken neck";
        /// Rotten.
        Rot = "rot", "rot";
        /// Shrivelled.
        DriedOut = "dried-out", "dried out";
        /// Too small to keep.
        TooSmall = "too-small", "too small";
        /// Gall or other suspicious growth.
        Suspicious = "suspicious", "suspicious growth";
        /// Anything else.
        Other = "other", "other";
    }
}

word! {
    /// How a lot was looked at. The two are different looks and recorded apart.
    Look {
        /// Through the film or the tote's side.
        ThroughWrap = "through-wrap", "through the wrap";
        /// Taken out and turned over.
        Unpacked = "unpacked", "unpacked";
    }
}

word! {
    /// What a sending or a hold is for.
    Purpose {
        /// For other stock, now or later.
        Swap = "swap", "swap";
        /// For money, which is recorded and never handled.
        Sale = "sale", "sale";
        /// For nothing; skips the owed book.
        Gift = "gift", "gift";
        /// For a club's table.
        Club = "club", "club";
        /// Back to where it came from.
        Return = "return", "return";
    }
}
