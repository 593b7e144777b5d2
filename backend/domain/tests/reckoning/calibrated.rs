//! The promise of a forecast: 8 in 10 within the likely range, and a better score than what needs no
//! model. `SPARELOOP_CALIBRATION_LOTS` and `SPARELOOP_CALIBRATION_WINTERS` make the trial larger.

use spareloop_domain::calibration::{Report, Scores, Trial, Winter, report};

fn from_environment(name: &str, otherwise: u32) -> u32 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

fn winters(winter: Winter, seeds: u64) -> Vec<Report> {
    let lots = from_environment("SPARELOOP_CALIBRATION_LOTS", 2000);
    (1..=seeds).map(|seed| report(Trial::of_lots(lots, seed), winter).unwrap()).collect()
}

fn mean(of: &[Report], part: impl Fn(&Report) -> f64) -> f64 {
    of.iter().map(part).sum::<f64>() / of.len() as f64
}

/// How far the smallest and the largest lie apart, of several winters or several draws.
fn spread(of: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    (of.clone().fold(f64::INFINITY, f64::min), of.fold(0.0, f64::max))
}

fn print(winter: Winter, what: &str, reports: &[Report], scores: impl Fn(&Report) -> Scores) {
    let within = mean(reports, |one| scores(one).within);
    let winters = spread(reports.iter().map(|one| scores(one).within));
    let draws = spread(reports.iter().flat_map(|one| <[f64; 2]>::from(scores(one).within_by_draw)));
    println!(
        "calibration: {}: {what}: {} forecasts, PIT within 0.1 to 0.9: {:.1} % ({:+.1} off; winters {:.1} \
         to {:.1}, with every draw {:.1} to {:.1}), covered {:.1} %, median width {:.0}, score {:.3} (raw \
         rate {:.3}, network mean {:.3})",
        winter.words(),
        reports.iter().map(|one| scores(one).forecasts).sum::<usize>(),
        100.0 * within,
        100.0 * (within - 0.8),
        100.0 * winters.0,
        100.0 * winters.1,
        100.0 * draws.0,
        100.0 * draws.1,
        100.0 * mean(reports, |one| scores(one).covered),
        mean(reports, |one| scores(one).width),
        mean(reports, |one| scores(one).score),
        mean(reports, |one| scores(one).score_raw),
        mean(reports, |one| scores(one).score_network),
    );
}

#[test]
fn where_the_model_holds_eight_in_ten_end_within_the_likely_range() {
    let seeds = u64::from(from_environment("SPARELOOP_CALIBRATION_WINTERS", 3));
    let reports = winters(Winter::AsTheModel, seeds);
    print(Winter::AsTheModel, "lots", &reports, |one| one.lots);
    print(Winter::AsTheModel, "variety totals", &reports, |one| one.varieties);
    for scores in [|one: &Report| one.lots, |one: &Report| one.varieties] {
        let within = mean(&reports, |one| scores(one).within);
        assert!((0.77..=0.83).contains(&within), "{within}");
        for report in &reports {
            let Scores { within, within_by_draw: (least, most), .. } = scores(report);
            assert!(least <= within && within <= most, "{report:?}");
        }
        // Whole numbers make the plain share higher, never lower.
        assert!(mean(&reports, |one| scores(one).covered) >= within);
        let score = mean(&reports, |one| scores(one).score);
        assert!(score < mean(&reports, |one| scores(one).score_raw));
        assert!(score < mean(&reports, |one| scores(one).score_network));
    }
}

#[test]
fn where_a_winter_breaks_the_model_the_report_says_how_far_off_it_is() {
    for winter in &Winter::ALL[1..] {
        let reports = winters(*winter, 1);
        print(*winter, "lots", &reports, |one| one.lots);
        print(*winter, "variety totals", &reports, |one| one.varieties);
        let within = reports[0].varieties.within;
        match winter {
            // Both strike lots together, later than any check could tell.
            Winter::RotSpreads | Winter::FreezeNight => assert!(within < 0.7, "{within}"),
            // A misread check is mostly mended by the next one.
            Winter::MisreadChecks => assert!((0.7..0.9).contains(&within), "{within}"),
            Winter::AsTheModel => unreachable!("left out above"),
        }
    }
}

#[test]
fn a_seed_decides_everything() {
    let once = || report(Trial::of_lots(100, 9), Winter::RotSpreads).unwrap();
    assert_eq!(once(), once());
}
