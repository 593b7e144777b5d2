//! Three farms, each of which has what the next one lacks, and a loop proposed to them.

use spareloop_domain::exchange::ProposalKind;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::round::Rules;
use spareloop_domain::words::{LotId, NetworkId, OfferId, ProposalId, RoundId, WantId};
use spareloop_store::proposals::{self, NewLine, NewProposal, Proposal, Viewer};
use spareloop_store::rounds::{self, Came, NewRound, Taken, Written};
use spareloop_store::wants;

use super::{Farm, House, Network, farm, id, later, lot, n, new_want, now, offer};

pub const NAMES: [&str; 3] = ["Ember Lantern", "Dusk Ferry", "Tin Orchard"];

pub struct Ring {
    pub network: Network,
    pub farms: Vec<Farm>,
    pub lots: Vec<LotId>,
    pub offers: Vec<OfferId>,
    pub wants: Vec<WantId>,
}

/// Each farm offers 10 of 20 units of a variety of its own, and wants 6 of what the one before offers.
pub fn ring(house: &House) -> Ring {
    ring_of(house, "")
}

/// The same, as one of several of a house's network: names end in `mark`.
pub fn ring_of(house: &House, mark: &str) -> Ring {
    let network = house.network();
    let mut farms: Vec<Farm> = ["Larkhusk", "Marrowby", "Nettlecombe"]
        .map(|name| farm(house, &network, &format!("{name}{mark}")))
        .into_iter()
        .collect();
    let lots: Vec<LotId> =
        farms.iter_mut().zip(NAMES).map(|(farm, name)| lot(house, farm, name, 20)).collect();
    let offers: Vec<OfferId> =
        farms.iter().zip(&lots).map(|(farm, lot)| offer(house, farm, *lot, 10, 2)).collect();
    let wants = (0..3)
        .map(|at| {
            let taker = &farms[(at + 1) % 3];
            let new = new_want(NAMES[at], 6);
            house.write(|tx| wants::make(tx, taker.network, taker.id, &new, now()));
            new.id
        })
        .collect();
    Ring { network, farms, lots, offers, wants }
}

impl Ring {
    /// From each farm `units` to the next, at 1.2 each.
    pub fn lines(&self, units: u16) -> Vec<NewLine> {
        (0..3)
            .map(|at| NewLine {
                offer: self.offers[at],
                want: self.wants[at],
                giver: self.farms[at].id,
                taker: self.farms[(at + 1) % 3].id,
                count: n(units),
                unit_value: Tenths(12),
                worth: 120,
            })
            .collect()
    }

    pub fn begun(&self, house: &House, rules: &Rules, at: i64) -> RoundId {
        let new = NewRound {
            id: RoundId::new(id()),
            by: Some(self.network.coordinator),
            rules: rules.clone(),
            frozen: "{}".to_owned(),
        };
        house.write(|tx| rounds::begin(tx, self.network.id, &new, later(at)));
        new.id
    }

    /// A round that proposed these lines to all three farms; answers the proposal.
    pub fn proposed(
        &self,
        house: &House,
        rules: &Rules,
        kind: ProposalKind,
        lines: Vec<NewLine>,
    ) -> Proposal {
        let round = self.begun(house, rules, 2);
        let taken = house.write(|tx| rounds::take(tx, later(3))).expect("a round waits");
        assert_eq!(taken.id, round);
        let farms = self.farms.iter().map(|farm| farm.id).collect();
        let came = Came::Answer {
            answer: "{}".to_owned(),
            said: "worth it".to_owned(),
            proposals: vec![NewProposal { kind, farms, lines }],
        };
        assert_eq!(put(house, &taken, &came, 4), Written::Here);
        let viewer = Viewer::Coordinator;
        house.read(|tx| proposals::of_round(tx, self.network.id, viewer, round, later(4))).remove(0)
    }

    pub fn loop_of(&self, house: &House, units: u16) -> Proposal {
        self.proposed(house, &Rules::usual_loops(), ProposalKind::Loop, self.lines(units))
    }
}

pub fn put(house: &House, taken: &Taken, came: &Came, at: i64) -> Written {
    house.write(|tx| rounds::put(tx, taken, came, later(at)))
}

pub fn seen(house: &House, network: NetworkId, id: ProposalId, at: i64) -> Proposal {
    house.read(|tx| proposals::proposal(tx, network, Viewer::Coordinator, id, later(at)))
}
