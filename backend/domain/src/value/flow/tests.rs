//! The prices prove the allocation, whatever was settled before.

use proptest::prelude::*;

use super::*;

/// All that the head of the room promises once everything is settled.
fn proved(flow: &Flow) -> Result<(), TestCaseError> {
    let mut moved = [vec![0; flow.varieties.number()], vec![0; flow.wants.number()]];
    for variety in (0_u32..).take(flow.varieties.number()) {
        for pair in flow.varieties.of(variety) {
            let price = flow.varieties.price[variety as usize] + flow.wants.price[pair.to as usize];
            let units = flow.moved[pair.at as usize];
            prop_assert!(price >= pair.gain && units >= 0);
            prop_assert!(units == 0 || price == pair.gain);
            moved[0][variety as usize] += units;
            moved[1][pair.to as usize] += units;
        }
    }
    for (nodes, moved) in [&flow.varieties, &flow.wants].into_iter().zip(moved) {
        for (node, moved) in (0_u32..).zip(moved) {
            let at = node as usize;
            prop_assert!(nodes.price[at] >= 0 && nodes.free[at] >= 0);
            prop_assert_eq!(nodes.free[at] + moved, nodes.count[at]);
            prop_assert!(!nodes.unsettled(node));
        }
    }
    let worth = |nodes: &Nodes| -> i128 {
        nodes.count.iter().zip(&nodes.price).map(|(c, p)| i128::from(*c) * i128::from(*p)).sum()
    };
    prop_assert_eq!(worth(&flow.varieties) + worth(&flow.wants), flow.welfare());
    Ok(())
}

/// Few different gains make many ties, many make few.
fn gains() -> impl Strategy<Value = Vec<Gain>> {
    (1_i64..40).prop_flat_map(|most| {
        prop::collection::btree_map((0_u32..6, 0_u32..8), 1..=most, 0..30).prop_map(|pairs| {
            let gain = |((variety, want), units)| Gain { variety, want, units };
            pairs.into_iter().map(gain).collect()
        })
    })
}

proptest! {
    #[test]
    fn prices_prove_every_allocation_in_a_row_of_changes(
        gains in gains(),
        rows in prop::collection::vec(
            (prop::collection::vec(0_i64..9, 6), prop::collection::vec(0_i64..9, 8)),
            1..6,
        ),
    ) {
        let mut flow = Flow::new(6, 8, &gains);
        for (supply, wanted) in rows {
            flow.settle(supply.clone(), wanted.clone());
            proved(&flow)?;
            let mut anew = Flow::new(6, 8, &gains);
            anew.settle(supply.clone(), wanted.clone());
            prop_assert_eq!(flow.welfare(), anew.welfare());
            prop_assert_eq!(flow.marginals(), anew.marginals());
            for (at, marginal) in flow.marginals().into_iter().enumerate() {
                let mut other = supply.clone();
                other[at] += 1;
                anew.settle(other.clone(), wanted.clone());
                prop_assert_eq!(anew.welfare() - flow.welfare(), i128::from(marginal.more));
                if let Some(less) = marginal.less {
                    other[at] -= 2;
                    anew.settle(other, wanted.clone());
                    prop_assert_eq!(flow.welfare() - anew.welfare(), i128::from(less));
                }
            }
        }
    }
}
