//! Invented rounds whose best is known: solved by `HiGHS` 1.16 on the compact model (a column a loop and
//! move), a library from a registry; see data/README.md.

use crate::common::{read, solved};
use spareloop_rounds::check::check;
use spareloop_rounds::verify::certified_thousandths;
use spareloop_rounds::words;

fn round(name: &str) -> spareloop_rounds::input::RoundInput {
    let path = format!("{}/tests/data/{name}.json", env!("CARGO_MANIFEST_DIR"));
    read(&std::fs::read_to_string(path).expect("the data is there"))
}

/// A short search only: what it finds is right, and near what is known to be best.
#[test]
fn a_short_search_comes_near_the_best_known() {
    for (name, best) in [("loops-6-16-1", 42_680), ("loops-12-30-1", 99_905)] {
        let mut round = round(name);
        round.work = Some(2);
        let answer = solved(&round);
        assert_eq!(check(&round, &answer.swaps), Ok(i128::from(answer.objective)), "{name}");
        assert!(answer.objective * 100 >= best * 92, "{name}: {} of {best}", answer.objective);
        assert!(answer.bound >= best as f64, "{name}: the bound {} is below {best}", answer.bound);
        let (prices, stated) = answer.certificate.expect("a certificate");
        assert_eq!(certified_thousandths(&round, &prices), Ok(stated), "{name}");
    }
}

#[test]
fn what_stands_is_gone_on_from() {
    let mut round = round("loops-12-30-1");
    round.work = Some(2);
    let first = solved(&round);
    let stop = std::sync::atomic::AtomicBool::new(false);
    let outside = spareloop_rounds::solve::Outside {
        clock: &crate::common::Still,
        stop: &stop,
        hears: &|_| {},
    };
    // One want less; hardly any work; nearly as good, and as closely proved.
    let gone = round.wants[3].id.clone();
    round.pairs.retain(|pair| pair.want != 3);
    round.work = Some(1);
    let prices = &first.certificate.as_ref().unwrap().0;
    let second = spareloop_rounds::solve::solve(&round, Some((&first.swaps, prices)), &outside);
    assert_eq!(check(&round, &second.swaps), Ok(i128::from(second.objective)));
    assert!(second.objective * 10 >= first.objective * 9, "{gone}: {}", second.objective);
    assert!(second.bound <= first.bound * 1.02, "{} {}", second.bound, first.bound);
}

#[test]
fn a_proposal_is_said_in_words() {
    let mut round = round("loops-6-16-1");
    round.work = Some(1);
    let answer = solved(&round);
    let proposals = words::proposals(&round, &answer.swaps);
    assert!(!proposals.is_empty());
    for line in &proposals {
        assert!(
            line.contains("you give") && line.contains("; worth ") && line.ends_with("2 parcels"),
            "{line}"
        );
    }
    let open = words::open_wants(&round, &answer.swaps);
    assert!(open.iter().all(|line| line.contains("stays open for")), "{open:?}");
}
