//! The air in store at the keyboard: loggers' files in, what they add up to, weighed samples.

use std::fmt::Write;

use crate::common::{Keyboard, filtered};
use insta::assert_snapshot;

const STOCK: &str = "\
lot,variety,unit,count,stored on,packing,place
A1,Ember Lantern,division,40,2025-11-02,film-wrap,cellar / shelf 2 / tote 10
A2,Moss Anthem,division,12,2025-11-05,vermiculite,cellar / shelf 2 / tote 9
A3,Quiet Comet,division,60,2025-11-05,none,cellar / shelf 1
A4,Barn Owl,clump,5,2025-11-05,none,barn
";

fn stocked() -> Keyboard {
    let farm = Keyboard::of_a_farm();
    let stock = farm.file("stock.csv", STOCK);
    farm.run(&["import", "stock", &stock, "--yes"]).done();
    farm
}

/// Hourly readings from 10 January: 45 °F and 60 %, but two nights of 34 °F.
fn cold_nights() -> String {
    let mut file = "Logger 12 of the cellar\nDate/Time,Temp (°F),RH (%)\n".to_owned();
    for hour in 0..96 {
        let (day, hour) = (10 + hour / 24, hour % 24);
        let cold = matches!(day, 11 | 12) && (3..6).contains(&hour);
        let degrees = if cold { 34.0 } else { 45.0 };
        writeln!(file, "2026-01-{day} {hour:02}:00,{degrees:.1},60").unwrap();
    }
    file
}

fn import<'a>(farm: &Keyboard, file: &'a str, more: &[&'a str]) -> crate::common::Said {
    let words = ["climate", "import", file, "--place", "cellar", "--utc-offset", "-05:00"];
    farm.run(&[&words[..], more].concat())
}

#[test]
fn a_loggers_file_is_previewed_written_and_adds_nothing_twice() {
    let farm = stocked();
    let file = farm.file("cellar.csv", cold_nights());
    let before = farm.run(&["export"]).done();
    let preview = import(&farm, &file, &[]);
    assert_eq!(farm.run(&["export"]).done(), before, "a preview writes nothing");
    let written = import(&farm, &file, &["--yes"]);
    let after = farm.run(&["export"]).done();
    let again = import(&farm, &file, &["--yes"]);
    assert_eq!(farm.run(&["export"]).done(), after);
    let longer = farm.file("longer.csv", cold_nights() + "2026-01-14 00:00,45.0,60\n");
    let more = import(&farm, &longer, &["--yes"]);
    farm.run(&["undo", "--yes"]).done();
    let taken_back = import(&farm, &longer, &["--yes", "--json"]).json();
    assert_eq!(taken_back["preview"]["new"], 1);
    filtered(|| {
        assert_snapshot!("preview", preview.all());
        assert_snapshot!("written", written.all());
        assert_snapshot!("again", again.all());
        assert_snapshot!("longer", more.all());
    });
}

#[test]
fn cold_nights_are_put_beside_what_the_next_looks_found() {
    let farm = stocked();
    let file = farm.file("cellar.csv", cold_nights());
    import(&farm, &file, &["--yes"]).done();
    farm.run(&["check", "add", "A1", "--sound", "31", "--frozen", "9", "--on", "2026-01-15"])
        .done();
    farm.run(&["check", "add", "A2", "--sound", "11", "--rot", "1", "--on", "2026-01-16"]).done();
    let shown = farm.run(&["climate", "show"]);
    let data = farm.run(&["climate", "show", "cellar / shelf 2", "--json"]).json();
    let cellar = &data["loggers"][0];
    assert_eq!(cellar["alarm_nights"].as_array().unwrap().len(), 2);
    assert_eq!(cellar["found_after"][0]["frozen"], 9);
    // 96 hourly readings are 95 hours. Twice 2 hours at 34 °F, and within the hour on either side
    // the part under 40 °F of the way from 45 to 34: 6/11.
    let colder = cellar["hours_below_band"].as_f64().unwrap();
    assert!((colder - (4.0 + 4.0 * 6.0 / 11.0)).abs() < 1e-6, "{colder}");
    assert_eq!(farm.run(&["climate", "show", "attic"]).exit, 0);
    filtered(|| assert_snapshot!("show", shown.all()));
}

#[test]
fn water_under_the_film_is_a_warning_and_dry_air_outside_it_is_none() {
    let farm = stocked();
    let mut file = "time;Temperatur;Feuchte\n".to_owned();
    for hour in 0..48 {
        writeln!(file, "{}.01.2026 {:02}:00;7,5;99,0", 10 + hour / 24, hour % 24).unwrap();
    }
    let file = farm.file("tote.csv", file);
    let words = [
        "climate",
        "import",
        &file,
        "--place",
        "cellar / shelf 2 / tote 10",
        "--sensor",
        "inside-tote",
        "--utc-offset",
        "+01:00",
        "--degrees",
        "celsius",
        "--map",
        "Temperatur=temperature",
        "--map",
        "Feuchte=humidity",
        "--yes",
    ];
    farm.run(&words).done();
    let shown = farm.run(&["climate", "show", "cellar / shelf 2 / tote 10"]).done();
    assert!(shown.contains("WARNING: water stands under the film for 47 hours"), "{shown}");
    // The columns are remembered, as for every import.
    let words = [
        "climate",
        "import",
        &file,
        "--place",
        "barn",
        "--utc-offset",
        "Z",
        "--degrees",
        "celsius",
    ];
    assert_eq!(farm.run(&words).exit, 5, "only the writing is asked about");
}

#[test]
fn what_a_file_does_not_say_is_asked_about() {
    let farm = stocked();
    let bare =
        farm.file("bare.csv", "time,temperature\n2026-01-12 01:00,45\n2026-01-12 02:00,45\n");
    let degrees = farm.run(&["climate", "import", &bare, "--place", "cellar", "--utc-offset", "Z"]);
    let offset =
        farm.run(&["climate", "import", &bare, "--place", "cellar", "--degrees", "fahrenheit"]);
    let autumn = farm.file(
        "autumn.csv",
        "time,temp c\n2025-11-02 00:30,8\n2025-11-02 01:00,8\n2025-11-02 01:30,8\n2025-11-02 01:00,9\n\
         2025-11-02 01:30,9\n2025-11-02 02:00,9\n",
    );
    let clock =
        farm.run(&["climate", "import", &autumn, "--place", "cellar", "--utc-offset", "-04:00"]);
    let words = ["climate", "import", &autumn, "--place", "cellar", "--utc-offset", "-04:00"];
    let followed = farm.run(&[&words[..], &["--clock", "followed", "--yes"]].concat());
    let fixed = farm.run(&[&words[..], &["--clock", "fixed", "--place", "barn"]].concat());
    assert_eq!([degrees.exit, offset.exit, clock.exit, followed.exit], [5, 5, 5, 0]);
    assert_eq!(fixed.exit, 2, "a place is given once");
    let fixed = [
        &["climate", "import", &autumn, "--place", "barn"][..],
        &["--utc-offset", "-04:00", "--clock", "fixed"],
    ];
    let fixed = farm.run(&fixed.concat());
    assert_eq!(fixed.exit, 3, "two readings for one moment: {}", fixed.out);
    let said = farm.file("said.csv", "time,temp (C)\n2026-01-12T01:00Z,7\n");
    let against =
        farm.run(&["climate", "import", &said, "--place", "cellar", "--degrees", "fahrenheit"]);
    assert_eq!(against.exit, 3);
    filtered(|| {
        assert_snapshot!("asks_degrees", degrees.all());
        assert_snapshot!("asks_offset", offset.all());
        assert_snapshot!("asks_clock", clock.all());
        assert_snapshot!("clock_followed", followed.all());
        assert_snapshot!("clock_fixed", fixed.all());
        assert_snapshot!("degrees_disagree", against.all());
    });
}

#[test]
fn faults_of_a_logger_are_told_row_by_row_and_the_rest_can_be_kept() {
    let farm = stocked();
    let mut file = "timestamp,temp_c,rh\n".to_owned();
    for (row, temperature) in
        ["7.5", "-999", "Err", "", "7.6", "1e9", "=1+1", "\u{0}", "7.7", "7.7"].iter().enumerate()
    {
        writeln!(file, "2026-01-12T{row:02}:00Z,{temperature},85").unwrap();
    }
    file.push_str("soon,7.5,85\n2026-01-12T09:00Z,7.9,85\n2026-01-12T08:30Z,7.9,850\n");
    let file = file.replace('\u{0}', "nil");
    let file = farm.file("faults.csv", file);
    let words = ["climate", "import", &file, "--place", "cellar"];
    let stopped = farm.run(&words);
    let kept = farm.run(&[&words[..], &["--leave-out-wrong", "--yes"]].concat());
    assert_eq!([stopped.exit, kept.exit], [3, 0]);
    let binary = farm.file("binary.csv", b"\x00\x01\x02\xff".as_slice());
    assert_eq!(farm.run(&["climate", "import", &binary, "--place", "cellar"]).exit, 3);
    filtered(|| {
        assert_snapshot!("faults", stopped.all());
        assert_snapshot!("faults_left_out", kept.all());
    });
}

#[test]
fn a_season_of_readings_makes_entries_of_bounded_size() {
    let farm = stocked();
    let mut file = "timestamp,temp_c,rh\n".to_owned();
    // A reading every 2 minutes from 1 November on, 100,000 in all.
    for at in 0..100_000_u64 {
        let degrees = 7.0 + (at % 40) as f64 / 20.0;
        writeln!(file, "{},{degrees:.2},85", 1_761_955_200 + at * 120).unwrap();
    }
    let file = farm.file("season.csv", file);
    let words = ["climate", "import", &file, "--place", "cellar", "--json"];
    let written = farm.run(&[&words[..], &["--yes"]].concat()).json();
    assert_eq!(
        (written["preview"]["new"].as_u64(), written["written"].as_u64()),
        (Some(100_000), Some(100))
    );
    let longest = farm.run(&["export"]).done().lines().map(str::len).max().unwrap();
    assert!(longest < 256 * 1024, "{longest}");
    let again = farm.run(&words).json();
    assert_eq!(again["preview"]["skipped"], 100_000);
    let shown = farm.run(&["climate", "show", "--json"]).json();
    assert_eq!(shown["loggers"][0]["readings"], 100_000);
}

#[test]
fn weight_loss_is_claimed_from_own_weighings_or_not_at_all() {
    let farm = stocked();
    let mut file = "timestamp,temp_c,rh\n".to_owned();
    // 15 °C and 50 %: the air lacks 0.8525 kPa (FAO-56, example 3: 1.705 kPa at 15 °C).
    for hour in 0..(60 * 24) {
        writeln!(file, "{},15,50", 1_763_596_800_u64 + hour * 3600).unwrap();
    }
    let file = farm.file("dry.csv", file);
    farm.run(&["climate", "import", &file, "--place", "cellar", "--yes"]).done();
    let weigh = |sample: &str, grams: &str, on: &str| {
        farm.run(&["climate", "weigh", "A3", "--sample", sample, "--grams", grams, "--on", on])
    };
    let first = weigh("bag 1", "1000", "2025-11-25");
    weigh("bag 2", "500", "2025-11-25").done();
    weigh("bag 1", "980", "2025-12-05").done();
    weigh("bag 2", "490.2", "2025-12-05").done();
    let early = farm.run(&["climate", "show"]).done();
    assert!(early.contains("nothing is claimed"), "{early}");
    weigh("bag 1", "960.4", "2025-12-15").done();
    weigh("bag 2", "480.1", "2025-12-15").done();
    let shown = farm.run(&["climate", "show", "--json"]).json();
    let rate = shown["weight_loss"][0]["per_kpa_day"].as_f64().unwrap();
    // By hand: about 2 % in 10 days of 0.8525 kPa each, 0.02/8.525.
    assert!((rate - 0.02 / 8.525).abs() < 2e-5, "{rate}");
    let late = farm.run(&["climate", "show"]);
    assert_eq!(weigh("bag 1", "0", "2025-12-16").exit, 3);
    filtered(|| {
        assert_snapshot!("weighed", first.all());
        assert_snapshot!("weight_loss", late.all());
    });
}
