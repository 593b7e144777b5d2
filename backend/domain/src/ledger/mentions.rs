//! Which lots and varieties an entry speaks of.
//!
//! The fold needs it to put entries behind the one that makes their lot; histories need it to find
//! what concerns a lot. What may not enter: what an entry does to the book.

use super::body::Body;
use crate::words::{LotId, VarietyId};

impl Body {
    /// The lots that this entry makes.
    pub fn lots_made(&self) -> Vec<LotId> {
        match self {
            Self::Opening(body) => vec![body.lot],
            Self::Lift(body) => vec![body.lot],
            Self::Divide(body) => body.made.iter().map(|made| made.lot).collect(),
            Self::PotUp(body) => vec![body.lot],
            Self::TakeCuttings(body) => vec![body.lot],
            Self::Receive(body) => vec![body.lot],
            _ => Vec::new(),
        }
    }

    /// The lots that must be there for this entry to make sense.
    pub fn lots_needed(&self) -> Vec<LotId> {
        match self {
            Self::Wash(body) => body.lots.clone(),
            Self::Divide(body) => vec![body.from],
            Self::Dry(body) => body.lots.clone(),
            Self::Store(body) => vec![body.lot],
            Self::Move(body) => vec![body.lot],
            Self::Check(body) => vec![body.lot],
            Self::Recount(body) => vec![body.lot],
            Self::Loss(body) => vec![body.lot],
            Self::Stop(body) => vec![body.lot],
            Self::Weigh(body) => vec![body.lot],
            Self::WakeUp(body) => vec![body.lot],
            Self::PotUp(body) => vec![body.from],
            Self::TakeCuttings(body) => vec![body.mother],
            Self::PlantOut(body) => vec![body.lot],
            Self::CameUp(body) => vec![body.lot],
            Self::FieldObservation(body) => body.lot.into_iter().collect(),
            Self::Send(body) => vec![body.lot],
            Self::BenchSession(body) => body.lots.clone(),
            _ => Vec::new(),
        }
    }

    /// Every lot that this entry speaks of, made or needed.
    pub fn lots(&self) -> Vec<LotId> {
        let mut lots = self.lots_needed();
        lots.extend(self.lots_made());
        lots.extend(self.planting_lot());
        if let Self::CloseSeason(body) = self {
            lots.extend(body.carried.iter().map(|carried| carried.lot));
        }
        lots
    }

    /// The lot that was planted where clumps were lifted. The lift doesn't need it: it holds also
    /// where that lot isn't on the book.
    pub const fn planting_lot(&self) -> Option<LotId> {
        match self {
            Self::Lift(body) => body.planted,
            _ => None,
        }
    }

    /// The variety that this entry names by its id, if it names one.
    pub fn variety(&self) -> Option<VarietyId> {
        match self {
            Self::Opening(body) => Some(body.variety),
            Self::Lift(body) => Some(body.variety),
            Self::Yield(body) => Some(body.variety),
            Self::FieldObservation(body) => Some(body.variety),
            Self::Receive(body) => Some(body.variety),
            Self::Coming(body) => Some(body.variety),
            Self::Plan(body) => Some(body.variety),
            Self::VarietyNote(body) => Some(body.variety),
            _ => None,
        }
    }
}
