//! The invented looks: drawn from the model itself, seeded, eight a lot.

use spareloop_domain::dice::Dice;
use spareloop_domain::fit::{LossData, LossLook};

pub(crate) const GROUPS: [&str; 3] = ["variety", "packing", "farm"];
/// Levels of each group, and the standard deviations of their effects.
const LEVELS: [u32; 3] = [60, 5, 80];
pub(crate) const SD: [f64; 3] = [0.5, 0.3, 0.3];
pub(crate) const LOT_SD: f64 = 0.5;
pub(crate) const LOG_HAZARD: f64 = -7.3;
const LOOKS: u32 = 8;

/// A look at a lot.
pub(crate) struct LookAt {
    pub(crate) lot: u32,
    pub(crate) look: LossLook,
}

/// Looks at all lots, lot by lot.
pub(crate) struct Invented {
    /// Each lot's level of each group.
    pub(crate) levels: Vec<[u32; 3]>,
    pub(crate) looks: Vec<LookAt>,
    /// What is left of each lot after its last look.
    pub(crate) in_store: Vec<u32>,
}

impl Invented {
    pub(crate) fn of_lots(lots: u32) -> Self {
        let mut dice = Dice::new(4);
        let mut effects = |group: usize| -> Vec<f64> {
            (0..LEVELS[group]).map(|_| SD[group] * dice.normal()).collect()
        };
        let effects = [effects(0), effects(1), effects(2)];
        let mut all = Self { levels: Vec::new(), looks: Vec::new(), in_store: Vec::new() };
        for lot in 0..lots {
            let levels = LEVELS.map(|levels| dice.below(levels));
            let shared: f64 = (0..3).map(|group| effects[group][levels[group] as usize]).sum();
            let rate = (LOG_HAZARD + shared + LOT_SD * dice.normal()).exp();
            let mut inspected = 10 + dice.below(51);
            for _ in 0..LOOKS {
                let days = 7 + 7 * dice.below(3);
                let lost = dice.of(inspected, -(-rate * f64::from(days)).exp_m1());
                all.looks.push(LookAt { lot, look: LossLook { days, inspected, lost } });
                inspected -= lost;
            }
            all.levels.push(levels);
            all.in_store.push(inspected);
        }
        all
    }

    /// How many levels of a group occur.
    pub(crate) fn count(&self, group: usize) -> usize {
        let seen: std::collections::BTreeSet<u32> =
            self.levels.iter().map(|levels| levels[group]).collect();
        seen.len()
    }

    /// The labels of a lot, as in a ledger.
    pub(crate) fn labels(&self, lot: u32) -> [String; 3] {
        let [variety, packing, farm] = self.levels[lot as usize];
        [format!("v{variety}"), format!("p{packing}"), format!("f{farm}")]
    }

    pub(crate) fn data(&self) -> LossData {
        let mut data = LossData::new(GROUPS.map(str::to_owned).to_vec());
        for LookAt { lot, look } in &self.looks {
            let [variety, packing, farm] = &self.labels(*lot);
            data.add(&format!("l{lot}"), &[variety, packing, farm], *look)
                .expect("invented looks agree with one another");
        }
        data
    }

    /// The looks as another program reads them.
    pub(crate) fn table(&self) -> String {
        let heading = "lot,variety,packing,farm,days,inspected,lost\n".to_owned();
        let row = |LookAt { lot, look }: &LookAt| {
            let LossLook { days, inspected, lost } = look;
            format!("l{lot},{},{days},{inspected},{lost}\n", self.labels(*lot).join(","))
        };
        let rows = self.looks.iter().map(row);
        std::iter::once(heading).chain(rows).collect::<Vec<_>>().concat()
    }
}
