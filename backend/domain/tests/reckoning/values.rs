//! Swap values against a solver of another kind, a published example, `HiGHS`, and their invariants.

use proptest::prelude::*;
use spareloop_domain::dice::Dice;
use spareloop_domain::value::{
    Accepted, Draw, Market, Multiplication, Shares, Want, Worth, over_draws, swap_values,
};

use crate::ask;

/// A market that people could bring together, small enough to try everything.
#[derive(Debug, Clone)]
struct Small {
    multiplications: Vec<f64>,
    supply: Vec<u64>,
    /// Count, and which variety at which worth.
    wants: Vec<(u32, Vec<(usize, f64)>)>,
    shares: (f64, f64),
}

impl Small {
    fn market(&self) -> Market {
        let multiplications: Vec<_> =
            self.multiplications.iter().map(|one| Multiplication::new(*one).unwrap()).collect();
        let wants = self
            .wants
            .iter()
            .map(|(count, accepts)| Want {
                count: *count,
                accepts: accepts
                    .iter()
                    .map(|(variety, worth)| Accepted {
                        variety: *variety,
                        worth: Worth::new(*worth).unwrap(),
                    })
                    .collect(),
            })
            .collect();
        let shares = Shares::new(self.shares.0, self.shares.1).unwrap();
        Market::new(&multiplications, wants, shares).unwrap()
    }

    fn draw(&self) -> Draw {
        Draw::new(self.supply.clone())
    }

    /// W by trying every way to give the units, one wanted unit after the other.
    fn welfare_by_trying(&self, supply: &[u64]) -> f64 {
        let market = self.market();
        let units: Vec<usize> = supply
            .iter()
            .enumerate()
            .flat_map(|(variety, count)| {
                std::iter::repeat_n(variety, usize::try_from(*count).unwrap())
            })
            .collect();
        let mut best = vec![f64::NEG_INFINITY; 1 << units.len()];
        best[0] = 0.0;
        for want in market.wants() {
            for _ in 0..want.count {
                let before = best.clone();
                for (used, gain) in before.iter().enumerate() {
                    for (at, variety) in units.iter().enumerate() {
                        let accepted = want.accepts.iter().find(|one| one.variety == *variety);
                        if let (0, Some(accepted)) = (used >> at & 1, accepted) {
                            let more =
                                gain + market.worth_to(want, *accepted) - market.reserve(*variety);
                            let with = &mut best[used | 1 << at];
                            *with = with.max(more);
                        }
                    }
                }
            }
        }
        best.into_iter().fold(0.0, f64::max)
    }
}

fn small() -> impl Strategy<Value = Small> {
    let worth = prop_oneof![Just(1.0), Just(0.8), Just(0.5), 0.05..2.0];
    (1_usize..5).prop_flat_map(move |varieties| {
        let accepts = prop::collection::btree_map(0..varieties, worth.clone(), 1..=varieties)
            .prop_map(|one| one.into_iter().collect::<Vec<_>>())
            .prop_shuffle();
        (
            prop::collection::vec(prop_oneof![Just(3.0), 0.0..8.0], varieties),
            prop::collection::vec(0_u64..3, varieties),
            prop::collection::vec((0_u32..3, accepts), 0..5),
            prop_oneof![Just((0.5, 1.5)), Just((0.0, 1.0)), (0.0..2.0, 0.0..2.0)],
        )
            .prop_map(|(multiplications, supply, wants, shares)| Small {
                multiplications,
                supply,
                wants,
                shares,
            })
    })
}

fn near(one: f64, other: f64) -> bool {
    (one - other).abs() < 1e-9
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn values_are_what_the_definition_says_when_everything_is_tried(of in small()) {
        let market = of.market();
        let got = swap_values(&market, &of.draw());
        let welfare = of.welfare_by_trying(&of.supply);
        prop_assert!(near(got.welfare, welfare), "{got:?} {welfare}");
        for (variety, value) in got.values.iter().enumerate() {
            let with = |units: u64| {
                let mut supply = of.supply.clone();
                supply[variety] = units;
                of.welfare_by_trying(&supply)
            };
            let (reserve, count) = (market.reserve(variety), of.supply[variety]);
            let low = reserve + with(count + 1) - welfare;
            let high = if count > 0 {
                reserve + welfare - with(count - 1)
            } else {
                let worths = market.wants().iter().flat_map(|want| {
                    want.accepts
                        .iter()
                        .filter(|one| one.variety == variety)
                        .map(|one| market.worth_to(want, *one))
                });
                worths.fold(low, f64::max)
            };
            prop_assert!(near(value.low, low), "{variety}: {value:?}, low {low}");
            prop_assert!(near(value.high, high), "{variety}: {value:?}, high {high}");
            prop_assert!(value.low <= value.value && value.value <= value.high);
            prop_assert!(near(value.value, f64::midpoint(low, high)));
        }
    }

    #[test]
    fn at_fair_prices_owners_and_wants_share_the_whole_gain(of in small()) {
        let market = of.market();
        let got = swap_values(&market, &of.draw());
        // The core: any of the three price lists shares out W, and nobody could do better apart.
        for price in [|low, _| low, |_, high| high, f64::midpoint] {
            let prices: Vec<f64> =
                got.values.iter().map(|one| price(one.low, one.high)).collect();
            let owners = prices.iter().enumerate().map(|(variety, price)| {
                of.supply[variety] as f64 * (price - market.reserve(variety))
            });
            let wants = market.wants().iter().map(|want| {
                let surplus = want
                    .accepts
                    .iter()
                    .map(|one| market.worth_to(want, *one) - prices[one.variety]);
                f64::from(want.count) * surplus.fold(0.0, f64::max)
            });
            let shared = owners.sum::<f64>() + wants.sum::<f64>();
            prop_assert!(near(shared, got.welfare), "{shared} {got:?}");
        }
    }

    #[test]
    fn a_network_twice_as_large_has_the_same_values(of in small(), times in 2_u32..1000) {
        let mut larger = of.clone();
        larger.supply.iter_mut().for_each(|count| *count *= u64::from(times));
        larger.wants.iter_mut().for_each(|(count, _)| *count *= times);
        let (got, scaled) = (
            swap_values(&of.market(), &of.draw()),
            swap_values(&larger.market(), &larger.draw()),
        );
        prop_assert_eq!(got.values, scaled.values);
        prop_assert!((got.welfare * f64::from(times) - scaled.welfare).abs() < 1e-6);
    }

    #[test]
    fn the_order_in_which_things_are_said_changes_nothing(of in small(), seed in any::<u64>()) {
        let mut dice = Dice::new(seed);
        let mut order: Vec<usize> = (0..of.supply.len()).collect();
        shuffle(&mut order, &mut dice);
        let mut told = Small {
            multiplications: order.iter().map(|at| of.multiplications[*at]).collect(),
            supply: order.iter().map(|at| of.supply[*at]).collect(),
            ..of.clone()
        };
        for (_, accepts) in &mut told.wants {
            for (variety, _) in accepts.iter_mut() {
                *variety = order.iter().position(|at| at == variety).unwrap();
            }
            // The first choice stays first.
            shuffle(&mut accepts[1..], &mut dice);
        }
        shuffle(&mut told.wants, &mut dice);
        let (got, other) =
            (swap_values(&of.market(), &of.draw()), swap_values(&told.market(), &told.draw()));
        prop_assert_eq!(got.welfare.to_bits(), other.welfare.to_bits());
        for (at, from) in order.iter().enumerate() {
            prop_assert_eq!(other.values[at], got.values[*from]);
        }
    }

    #[test]
    fn one_want_more_lowers_no_value_and_one_unit_more_raises_none(
        of in small(),
        count in 1_u32..3,
        seed in any::<u64>(),
    ) {
        let before = swap_values(&of.market(), &of.draw()).values;
        let mut dice = Dice::new(seed);
        let varieties = u32::try_from(of.supply.len()).unwrap();
        let first = dice.below(varieties) as usize;
        let mut wanted = of.clone();
        wanted.wants.push((count, vec![(first, 1.0)]));
        if varieties > 1 {
            let second = (first + 1) % of.supply.len();
            wanted.wants.last_mut().unwrap().1.push((second, 0.7));
        }
        for (one, more) in before.iter().zip(swap_values(&wanted.market(), &of.draw()).values) {
            prop_assert!(more.low >= one.low - 1e-9 && more.high >= one.high - 1e-9);
        }
        let mut offered = of.clone();
        offered.supply[first] += u64::from(count);
        for (one, more) in before.iter().zip(swap_values(&of.market(), &offered.draw()).values) {
            prop_assert!(more.low <= one.low + 1e-9 && more.high <= one.high + 1e-9);
        }
    }

    /// Each draw begins from the last one's allocation; that must not show.
    #[test]
    fn draws_one_after_the_other_are_as_if_each_stood_alone(
        of in small(),
        supplies in prop::collection::vec(prop::collection::vec(0_u64..4, 5), 1..8),
        lapsed in prop::collection::vec(prop::collection::btree_set(0_usize..5, 0..4), 8),
    ) {
        let market = of.market();
        let draws: Vec<Draw> = supplies
            .iter()
            .zip(lapsed)
            .map(|(supply, lapsed)| Draw::new(supply.clone()).with_lapsed(lapsed))
            .collect();
        let got = over_draws(&market, draws.clone()).unwrap();
        let alone: Vec<_> = draws.iter().map(|draw| swap_values(&market, draw)).collect();
        let mean = |of: &dyn Fn(&spareloop_domain::value::Valuation) -> f64| {
            alone.iter().map(of).sum::<f64>() / alone.len() as f64
        };
        prop_assert!(near(got.welfare, mean(&|one| one.welfare)));
        for (at, value) in got.values.iter().enumerate() {
            prop_assert!(near(value.low, mean(&|one| one.values[at].low)), "{at} {value:?}");
            prop_assert!(near(value.high, mean(&|one| one.values[at].high)));
            prop_assert!(near(value.value, mean(&|one| one.values[at].value)));
            let short = mean(&|one| f64::from(one.values[at].low > market.reserve(at) + 1e-9));
            prop_assert!(near(value.chance_short, short));
            for (level, stated) in [(0.1, value.p10), (0.9, value.p90)] {
                let at_or_below = |x: f64| mean(&|one| f64::from(one.values[at].value <= x));
                prop_assert!(at_or_below(stated) >= level);
                let smaller = alone.iter().map(|one| one.values[at].value).filter(|x| *x < stated);
                prop_assert!(smaller.into_iter().all(|x| at_or_below(x) < level));
            }
        }
    }
}

fn shuffle<T>(of: &mut [T], dice: &mut Dice) {
    for at in (1..of.len()).rev() {
        let other = dice.below(u32::try_from(at).unwrap() + 1) as usize;
        of.swap(at, other);
    }
}

/// Three houses and three buyers: L. S. Shapley and M. Shubik, The assignment game I: the core, Int.
/// J. Game Theory 1 (1971) 111; the matrix and its optimum of 16 from memory, the prices by hand.
#[test]
fn the_worked_example_of_shapley_and_shubik_comes_out() {
    let answer = ask(
        "loop-values",
        r#"{"varieties":[{"id":"a","multiplication":2},{"id":"b","multiplication":2},
                         {"id":"c","multiplication":2}],
            "supply":[{"variety":"a","count":1},{"variety":"b","count":1},{"variety":"c","count":1}],
            "wants":[{"id":"1","count":1,"accepts":[{"variety":"a","worth":5},
                      {"variety":"b","worth":8},{"variety":"c","worth":2}]},
                     {"id":"2","count":1,"accepts":[{"variety":"a","worth":7},
                      {"variety":"b","worth":9},{"variety":"c","worth":6}]},
                     {"id":"3","count":1,"accepts":[{"variety":"a","worth":2},
                      {"variety":"b","worth":3}]}],
            "reserve_share":0,"want_share":1}"#,
    );
    assert_eq!(
        answer,
        serde_json::json!({
            "values": [
                {"variety": "a", "rebuild": 1.0, "low": 1.0, "high": 2.0, "value": 1.5},
                {"variety": "b", "rebuild": 1.0, "low": 3.0, "high": 5.0, "value": 4.0},
                {"variety": "c", "rebuild": 1.0, "low": 0.0, "high": 1.0, "value": 0.5},
            ],
            "welfare": 16.0,
        })
    );
}

/// `tests/data/loop_values/`: invented networks; low, high and welfare by `HiGHS` (scipy's linprog),
/// each variety's by two programs of its own. `make.py` there made them.
#[test]
fn values_of_invented_networks_agree_with_a_general_solver() {
    let mut checked = 0;
    for network in ["scarce", "even", "plenty", "alike", "draws"] {
        let path = format!("{}/tests/data/loop_values/{network}.json", env!("CARGO_MANIFEST_DIR"));
        let case: serde_json::Value =
            serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
        let answer = ask("loop-values", &case["input"].to_string());
        let near = |got: &serde_json::Value, wanted: &serde_json::Value| {
            let (got, wanted) = (got.as_f64().unwrap(), wanted.as_f64().unwrap());
            (got - wanted).abs() <= 1e-7 * wanted.abs().max(1.0)
        };
        let wanted = &case["highs"];
        assert!(near(&answer["welfare"], &wanted["welfare"]), "{network}");
        let pairs = answer["values"].as_array().unwrap().iter();
        for (got, wanted) in pairs.zip(wanted["values"].as_array().unwrap()) {
            for (field, wanted) in wanted.as_object().unwrap() {
                assert!(
                    got[field] == *wanted || near(&got[field], wanted),
                    "{network}: {field} of {got}, HiGHS {wanted}"
                );
                checked += 1;
            }
        }
    }
    assert!(checked > 500, "{checked}");
}
