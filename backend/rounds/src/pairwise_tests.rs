#![allow(clippy::unwrap_used)]
use super::*;
use proptest::prelude::*;
use spareloop_domain::words::uuid_v7;

fn farm(number: u8) -> FarmId {
    FarmId::new(uuid_v7(u64::from(number), [number; 10]))
}

fn key(name: &str) -> VarietyKey {
    VarietyKey::from(&name.parse::<VarietyName>().unwrap())
}

fn spare(number: u8, of: u8, variety: &str, count: u16) -> Spare {
    Spare {
        offer: OfferId::new(uuid_v7(u64::from(number), [number; 10])),
        farm: farm(of),
        variety: key(variety),
        unit: UnitKind::Division,
        count: count.into(),
        smallest_parcel: 1_u16.into(),
        stated: BTreeSet::new(),
    }
}

fn lack(number: u8, of: u8, varieties: &[&str], count: u16) -> Lack {
    Lack {
        want: WantId::new(uuid_v7(u64::from(number), [number; 10])),
        farm: farm(of),
        varieties: varieties.iter().map(|name| key(name)).collect(),
        unit: UnitKind::Division,
        count: count.into(),
        required: BTreeSet::new(),
        within: None,
    }
}

#[test]
fn two_farms_that_can_help_each_other_stand_first() {
    let offers = [
        spare(1, 1, "Ember Lantern", 8),
        spare(2, 2, "Tin Orchard", 5),
        spare(3, 3, "Ember Lantern", 20),
    ];
    let wants = [lack(1, 2, &["ember  lantern"], 6), lack(2, 1, &["Tin Orchard"], 9)];
    let matches = pairwise(&offers, &wants, &Ways::default());
    assert_eq!(matches.len(), 2);
    assert!(matches[0].is_mutual());
    assert_eq!((matches[0].one, matches[0].other), (farm(1), farm(2)));
    let (other, they_have, they_lack) = matches[0].seen_by(farm(1)).unwrap();
    assert_eq!(other, farm(2));
    assert_eq!(they_have.lines[0].count, 5_u16.into());
    assert_eq!(they_lack.lines[0].count, 6_u16.into());
    assert!(!matches[1].is_mutual());
    assert_eq!(matches[1].seen_by(farm(1)), None);
}

#[test]
fn nobody_is_matched_with_themselves() {
    let offers = [spare(1, 1, "Ember Lantern", 8)];
    assert!(pairwise(&offers, &[lack(1, 1, &["Ember Lantern"], 6)], &Ways::default()).is_empty());
}

#[test]
fn clumps_are_no_answer_to_a_want_of_divisions() {
    let mut clumps = spare(1, 1, "Ember Lantern", 8);
    clumps.unit = UnitKind::Clump;
    assert!(pairwise(&[clumps], &[lack(1, 2, &["Ember Lantern"], 6)], &Ways::default()).is_empty());
}

#[test]
fn what_is_taken_instead_says_so_and_stands_behind() {
    let offers = [spare(1, 1, "Tin Orchard", 8), spare(2, 1, "Ember Lantern", 2)];
    let wants = [lack(1, 2, &["Ember Lantern", "Tin Orchard"], 6)];
    let lines = &pairwise(&offers, &wants, &Ways::default())[0].one_gives.lines;
    assert_eq!(lines[0].meets, Meets::Wanted);
    assert_eq!(lines[1].meets, Meets::Instead);
}

#[test]
fn less_than_the_smallest_parcel_is_no_line() {
    let mut offer = spare(1, 1, "Ember Lantern", 8);
    offer.smallest_parcel = 5_u16.into();
    assert!(pairwise(&[offer], &[lack(1, 2, &["Ember Lantern"], 4)], &Ways::default()).is_empty());
}

#[test]
fn a_statement_missing_is_a_reason_and_no_line() {
    let mut offer = spare(1, 1, "Ember Lantern", 8);
    offer.stated = [FactKind::LookedOver].into();
    let mut want = lack(1, 2, &["Ember Lantern"], 6);
    want.required = [FactKind::LookedOver, FactKind::LaboratoryTest].into();
    let found = pairwise(&[offer.clone()], &[want.clone()], &Ways::default());
    assert!(found[0].one_gives.lines.is_empty() && !found[0].is_mutual());
    let apart = &found[0].one_gives.unstated[0];
    assert_eq!(apart.missing, [FactKind::LaboratoryTest].into());
    assert_eq!(apart.line.count, 6_u16.into());
    offer.stated.insert(FactKind::LaboratoryTest);
    let found = pairwise(&[offer], &[want], &Ways::default());
    assert_eq!((found[0].one_gives.lines.len(), found[0].one_gives.unstated.len()), (1, 0));
}

#[test]
fn between_regions_a_rule_asks_for_statements_or_lets_nothing_pass() {
    use spareloop_domain::exchange::movement::{Region, Rule};
    let (north, islands): (Region, Region) =
        ("North shore".parse().unwrap(), "Islands".parse().unwrap());
    let way = (north.key(), islands.key());
    let regions = [(farm(1), north), (farm(2), islands)].into();
    let movements = Movements { regions, ..Movements::default() };
    let mut ways = Ways { movements, ..Ways::default() };
    let there = || ([spare(1, 1, "Ember Lantern", 8)], [lack(1, 2, &["Ember Lantern"], 6)]);
    let (offers, wants) = there();
    assert_eq!(pairwise(&offers, &wants, &ways)[0].one_gives.lines.len(), 1);
    let required = [FactKind::MovementPapers].into();
    let note = String::new();
    ways.movements.rules.insert(way.clone(), Rule::Asks { required, note: note.clone() });
    let found = pairwise(&offers, &wants, &ways);
    assert_eq!(found[0].one_gives.unstated[0].missing, [FactKind::MovementPapers].into());
    ways.movements.rules.insert(way, Rule::NotHere { note });
    assert!(pairwise(&offers, &wants, &ways).is_empty());
    let back = ([spare(2, 2, "Ember Lantern", 8)], [lack(2, 1, &["Ember Lantern"], 6)]);
    assert_eq!(pairwise(&back.0, &back.1, &ways).len(), 1, "a rule holds one way");
}

#[test]
fn a_want_takes_only_what_is_known_to_lie_within_its_greatest_distance() {
    use spareloop_domain::exchange::Whereabouts;
    let at = |latitude| Whereabouts::of_degrees(latitude, 4.0).unwrap();
    let mut ways = Ways::default();
    ways.places.0.insert(farm(1), at(52.0));
    ways.places.0.insert(farm(2), at(52.5));
    let offers = [spare(1, 1, "Ember Lantern", 8), spare(2, 3, "Ember Lantern", 8)];
    let mut want = lack(1, 2, &["Ember Lantern"], 6);
    let farms = |want: &Lack| -> Vec<FarmId> {
        pairwise(&offers, std::slice::from_ref(want), &ways)
            .iter()
            .map(|found| if found.one == farm(2) { found.other } else { found.one })
            .collect()
    };
    assert_eq!(farms(&want), [farm(1), farm(3)], "no distance is set");
    want.within = Some(56.try_into().unwrap());
    assert_eq!(farms(&want), [farm(1)], "nobody knows where the third farm is");
    want.within = Some(55.try_into().unwrap());
    assert!(farms(&want).is_empty(), "half a degree is 56 km");
}

const NAMES: [&str; 3] = ["Ember Lantern", "Tin Orchard", "Moth Harbour"];

fn any_offers() -> impl Strategy<Value = Vec<Spare>> {
    let one = (0_u8..4, 0_usize..3, 0_u16..5, 1_u16..4, any::<bool>());
    prop::collection::vec(one, 0..12).prop_map(|rows| {
        let made = rows.into_iter().zip(0..).map(|((of, name, count, least, clump), id)| {
            let mut offer = spare(id, of, NAMES[name], count);
            offer.smallest_parcel = least.into();
            offer.unit = if clump { UnitKind::Clump } else { UnitKind::Division };
            offer
        });
        made.collect()
    })
}

fn any_wants() -> impl Strategy<Value = Vec<Lack>> {
    let varieties = prop::collection::vec(0_usize..3, 1..4);
    let one = (0_u8..4, varieties, 0_u16..5, any::<bool>());
    prop::collection::vec(one, 0..12).prop_map(|rows| {
        let made = rows.into_iter().zip(0..).map(|((of, names, count, clump), id)| {
            let names: Vec<&str> = names.into_iter().map(|name| NAMES[name]).collect();
            let mut want = lack(id, of, &names, count);
            want.unit = if clump { UnitKind::Clump } else { UnitKind::Division };
            want
        });
        made.collect()
    })
}

proptest! {
    #[test]
    fn every_possible_line_is_there_once_and_no_other(
        offers in any_offers(), wants in any_wants(),
    ) {
        let mut expected = Vec::new();
        for offer in &offers {
            for want in &wants {
                let count = offer.count.min(want.count);
                let fits = offer.farm != want.farm
                    && offer.unit == want.unit
                    && want.varieties.contains(&offer.variety)
                    && count >= offer.smallest_parcel;
                if fits {
                    expected.push((offer.farm, want.farm, offer.offer, want.want, count));
                }
            }
        }
        let matches = pairwise(&offers, &wants, &Ways::default());
        let mut found = Vec::new();
        for pair in &matches {
            prop_assert!(pair.one < pair.other);
            for line in &pair.one_gives.lines {
                found.push((pair.one, pair.other, line.offer, line.want, line.count));
            }
            for line in &pair.other_gives.lines {
                found.push((pair.other, pair.one, line.offer, line.want, line.count));
            }
        }
        expected.sort();
        found.sort();
        prop_assert_eq!(found, expected);
        let mutual: Vec<bool> = matches.iter().map(Match::is_mutual).collect();
        prop_assert!(mutual.is_sorted_by(|first, second| first >= second));
    }

    #[test]
    fn the_order_of_offers_and_wants_changes_nothing(
        offers in any_offers(), wants in any_wants(),
    ) {
        let (mut back, mut forth) = (offers.clone(), wants.clone());
        back.reverse();
        forth.reverse();
        prop_assert_eq!(pairwise(&offers, &wants, &Ways::default()), pairwise(&back, &forth, &Ways::default()));
    }
}
