//! The JSON door: what it answers and how it refuses.

use rstest::rstest;
use spareloop_domain::compute::{kinds, run};

use crate::ask;

#[test]
fn the_documents_of_the_interface_are_answered_with_its_fields() {
    insta::assert_snapshot!(
        [
            run("sample-size", r#"{"lot_size":200,"level":0.05,"confidence":0.95,"efficacy":1.0}"#),
            run("sample-size", r#"{"lot_size":null,"level":0.05,"confidence":0.95,"efficacy":1}"#),
            run("sample-size", r#"{"lot_size":10,"level":0.05,"confidence":0.95,"efficacy":1.0}"#),
            run("dilution", r#"{"stock_percent":5.25,"target_percent":0.525,"total_litres":10}"#),
        ]
        .map(Result::unwrap)
        .join("\n")
    );
    let air = ask("vapour", r#"{"temperature_c":7.2,"relative_humidity":0.85}"#);
    assert_eq!(air.as_object().unwrap().len(), 3);
    let range = ask("interval", r#"{"successes":81,"trials":263,"confidence":0.95}"#);
    assert_eq!(range["wilson"].as_array().unwrap().len(), 2);
    assert_eq!(range["exact"].as_array().unwrap().len(), 2);
}

#[test]
fn kinds_of_later_are_not_known_yet() {
    assert_eq!(kinds().count(), 9);
    for later in ["trace", ""] {
        assert!(run(later, "{}").unwrap_err().to_string().contains("there is no computation"));
    }
    insta::assert_snapshot!(run("loss-forcast", "{}").unwrap_err());
}

#[test]
fn a_whole_number_may_be_written_with_a_point() {
    let plain =
        run("detection", r#"{"lot_size":60,"affected_units":3,"sample_size":20,"efficacy":1}"#);
    let point = run(
        "detection",
        r#"{"lot_size":60.0,"affected_units":3.0,"sample_size":2e1,"efficacy":1.0}"#,
    );
    assert_eq!(plain.unwrap(), point.unwrap());
}

#[test]
fn a_field_said_twice_is_refused_by_its_name_at_any_depth() {
    for (kind, twice, field) in [
        (
            "vapour",
            r#"{"temperature_c":7,"temperature_c":8,"relative_humidity":0.8}"#,
            "temperature_c",
        ),
        ("loss-forecast", r#"{"units":[{"count":9,"count":8,"days":8}]}"#, "count"),
    ] {
        let refused = run(kind, twice).unwrap_err().to_string();
        assert!(refused.contains(&format!("the field {field:?} stands twice")), "{refused}");
    }
}

#[test]
fn a_byte_order_mark_before_the_document_is_passed_over() {
    let plain = r#"{"temperature_c":7.2,"relative_humidity":0.85}"#;
    assert_eq!(run("vapour", &format!("\u{feff}{plain}")), run("vapour", plain));
}

const LOT: &str = r#""units":[{"count":9,"days":8}],"log_hazard_mean":-7,"log_hazard_sd":0.5"#;
const PLAN: &str =
    r#""emergence":{"alpha":18,"beta":2},"plants_wanted":6,"service_level":0.9,"keep_back":0"#;

#[rstest]
#[case("sample-size", r#"{"level":0.05,"confidence":0.95,"efficacy":1}"#, "lot_size")]
#[case("sample-size", r#"{"lot_size":0,"level":0.05,"confidence":0.95,"efficacy":1}"#, "lot_size")]
#[case("sample-size", r#"{"lot_size":9,"level":1.5,"confidence":0.95,"efficacy":1}"#, "level")]
#[case("sample-size", r#"{"lot_size":9,"level":0.5,"confidence":1,"efficacy":1}"#, "confidence")]
#[case("sample-size", r#"{"lot_size":9,"level":0.5,"confidence":0.9,"efficacy":0}"#, "efficacy")]
#[case("sample-size", r#"{"lot_size":9,"level":"a","confidence":0.9,"efficacy":1}"#, "level")]
#[case("sample-size", r#"{"lot_size":9,"level":1e999,"confidence":0.9}"#, "level")]
#[case(
    "detection",
    r#"{"lot_size":null,"affected_units":1,"sample_size":1,"efficacy":1}"#,
    "lot_size"
)]
#[case(
    "detection",
    r#"{"lot_size":9,"affected_units":10,"sample_size":1,"efficacy":1}"#,
    "affected_units"
)]
#[case(
    "detection",
    r#"{"lot_size":9,"affected_units":1,"sample_size":10,"efficacy":1}"#,
    "sample_size"
)]
#[case("interval", r#"{"successes":3,"trials":2,"confidence":0.9}"#, "successes")]
#[case("interval", r#"{"successes":0,"trials":0,"confidence":0.9}"#, "trials")]
#[case("interval", r#"{"successes":-1,"trials":4,"confidence":0.9}"#, "successes")]
#[case("interval", r#"{"successes":1,"trials":4,"confidence":0.9,"confidance":1}"#, "confidance")]
#[case("vapour", r#"{"temperature_c":7.2,"relative_humidity":85}"#, "relative_humidity")]
#[case("vapour", r#"{"temperature_c":-300,"relative_humidity":0.5}"#, "temperature_c")]
#[case(
    "dilution",
    r#"{"stock_percent":null,"target_percent":1,"total_litres":1}"#,
    "stock_percent"
)]
#[case("dilution", r#"{"stock_percent":5,"target_percent":5,"total_litres":1}"#, "target_percent")]
#[case("dilution", r#"{"stock_percent":5,"target_percent":1,"total_litres":0}"#, "total_litres")]
#[case(
    "loss-forecast",
    r#"{"units":[{"count":1}],"log_hazard_mean":-7,"log_hazard_sd":0.5}"#,
    "units[0].days"
)]
#[case(
    "loss-forecast",
    r#"{"units":[{"count":-1,"days":1}],"log_hazard_mean":-7,"log_hazard_sd":0.5}"#,
    "units[0].count"
)]
#[case(
    "loss-forecast",
    r#"{"units":[{"count":1,"days":1.5}],"log_hazard_mean":-7,"log_hazard_sd":0.5}"#,
    "units[0].days"
)]
#[case(
    "loss-forecast",
    r#"{"units":[{"count":1,"days":1}],"log_hazard_mean":NaN,"log_hazard_sd":0.5}"#,
    "log_hazard_mean"
)]
#[case(
    "loss-forecast",
    r#"{"units":[{"count":1,"days":1}],"log_hazard_mean":-7,"log_hazard_sd":-1}"#,
    "log_hazard_sd"
)]
#[case("loss-forecast", r#"{"units":[{"count":1000000,"days":1},{"count":1,"days":1}],"log_hazard_mean":-7,"log_hazard_sd":1}"#, "units")]
#[case("loss-forecast", r#"{"units":[{"count":500000,"days":1},{"count":500000,"days":9}],"log_hazard_mean":-7,"log_hazard_sd":1}"#, "units")]
#[case("loss-forecast", r"[1, 2]", "object in braces")]
fn a_wrong_field_is_named(#[case] kind: &str, #[case] input: &str, #[case] field: &str) {
    let message = run(kind, input).unwrap_err().to_string();
    assert!(message.contains(field), "{message}");
    assert!(message.contains("nothing was computed"), "{message}");
}

#[rstest]
#[case(r#"{"lots":[{LOT}],PLAN}"#, None)]
#[case(r#"{"lots":[{LOT}],PLAN,"shared_sd":0.5}"#, None)]
#[case(r#"{"lots":[{LOT}],PLAN,"shared_sd":-1}"#, Some("shared_sd"))]
#[case(
    r#"{"lots":[{LOT}],PLAN,"sharedsd":1}"#,
    Some("sharedsd: there is no such field here, did you mean shared_sd?")
)]
#[case(r#"{"lots":[],PLAN}"#, None)]
#[case(r#"{"lots":[{LOT},3],PLAN}"#, Some("lots[1]"))]
#[case(
    r#"{"lots":[{LOT}],"plants_wanted":6,"service_level":0.9,"keep_back":0}"#,
    Some("emergence")
)]
#[case(r#"{"lots":[{LOT}],"emergence":{"alpha":0,"beta":2},"plants_wanted":6,"service_level":0.9,"keep_back":0}"#, Some("emergence.alpha"))]
#[case(r#"{"lots":[{LOT}],"emergence":{"alpha":1,"beta":2},"plants_wanted":6,"service_level":1,"keep_back":0}"#, Some("service_level"))]
#[case(r#"{"lots":[{LOT}],"emergence":{"alpha":1,"beta":2},"plants_wanted":6,"service_level":0.9,"keep_back":-1}"#, Some("keep_back"))]
#[case(r#"{"lots":[{LOT}],"emergence":{"alpha":1,"beta":2},"plants_wanted":"6","service_level":0.9,"keep_back":1}"#, Some("plants_wanted"))]
fn a_spare_question_is_read_strictly(#[case] input: &str, #[case] field: Option<&str>) {
    let answer = run("spare", &input.replace("LOT", LOT).replace("PLAN", PLAN));
    match field {
        None => assert!(answer.is_ok(), "{answer:?}"),
        Some(field) => {
            let message = answer.unwrap_err().to_string();
            assert!(message.contains(field), "{message}");
        }
    }
}

const MARKET: &str = r#""varieties":[{"id":"a","multiplication":3},{"id":"b","multiplication":2}]"#;
const WANT: &str = r#""wants":[{"id":"w","count":2,"accepts":[{"variety":"a","worth":1},{"variety":"b","worth":0.8}]}]"#;

#[rstest]
#[case(r#"{MARKET,WANT,"supply":[{"variety":"a","count":1},{"variety":"a","count":2}]}"#, None)]
#[case(r#"{MARKET,WANT,"supply":[],"reserve_share":0,"want_share":2}"#, None)]
#[case(r#"{MARKET,WANT,"supply_draws":[[{"variety":"a","count":1}],[]]}"#, None)]
#[case(r#"{MARKET,"wants":[],"supply":[]}"#, None)]
#[case(r#"{"varieties":[],"wants":[],"supply":[]}"#, None)]
#[case(r"{MARKET,WANT}", Some("supply"))]
#[case(r#"{MARKET,"supply":[]}"#, Some("wants"))]
#[case(r#"{WANT,"supply":[]}"#, Some("varieties"))]
#[case(r#"{MARKET,WANT,"supply":[{"variety":"c","count":1}]}"#, Some("supply[0].variety"))]
#[case(r#"{MARKET,WANT,"supply":[{"variety":"a","count":-1}]}"#, Some("supply[0].count"))]
#[case(r#"{MARKET,WANT,"supply":[{"variety":"a","count":1.5}]}"#, Some("supply[0].count"))]
#[case(r#"{MARKET,WANT,"supply":[],"supply_draws":[]}"#, Some("supply_draws"))]
#[case(
    r#"{MARKET,WANT,"supply_draws":[[],[{"variety":"c","count":1}]]}"#,
    Some("supply_draws[1][0].variety")
)]
#[case(r#"{MARKET,WANT,"supply_draws":[3]}"#, Some("supply_draws[0]"))]
#[case(
    r#"{MARKET,WANT,"supply":[{"variety":"c","count":1}],"supply_draws":[[]]}"#,
    Some("supply[0].variety")
)]
#[case(r#"{MARKET,WANT,"supply":[],"reserve_share":-0.1}"#, Some("reserve_share"))]
#[case(r#"{MARKET,WANT,"supply":[],"want_share":"1"}"#, Some("want_share"))]
#[case(r#"{MARKET,WANT,"supply":[],"wantshare":1}"#, Some("wantshare"))]
#[case(
    r#"{"varieties":[{"id":"a","multiplication":-1}],"wants":[],"supply":[]}"#,
    Some("varieties[0].multiplication")
)]
#[case(
    r#"{"varieties":[{"id":"a","multiplication":1},{"id":"a","multiplication":1}],"wants":[],"supply":[]}"#,
    Some("varieties[1].id")
)]
#[case(
    r#"{MARKET,"supply":[],"wants":[{"id":"w","count":1,"accepts":[]}]}"#,
    Some("wants[0].accepts")
)]
#[case(
    r#"{MARKET,"supply":[],"wants":[{"id":"w","count":1,"accepts":[{"variety":"c","worth":1}]}]}"#,
    Some("wants[0].accepts[0].variety")
)]
#[case(
    r#"{MARKET,"supply":[],"wants":[{"id":"w","count":1,"accepts":[{"variety":"a","worth":1},{"variety":"a","worth":0.5}]}]}"#,
    Some("wants[0].accepts[1].variety")
)]
#[case(
    r#"{MARKET,"supply":[],"wants":[{"id":"w","count":1,"accepts":[{"variety":"a","worth":0}]}]}"#,
    Some("wants[0].accepts[0].worth")
)]
#[case(
    r#"{MARKET,"supply":[],"wants":[{"id":"w","count":1,"accepts":[{"variety":"a","worth":1e308}]}],"want_share":9}"#,
    Some("wants[0].accepts[0].worth")
)]
#[case(
    r#"{MARKET,"supply":[],"wants":[{"id":"w","count":-1,"accepts":[{"variety":"a","worth":1}]}]}"#,
    Some("wants[0].count")
)]
#[case(
    r#"{MARKET,"supply":[],"wants":[{"id":"w","count":1,"accepts":[{"variety":"a","worth":1}]},{"id":"w","count":1,"accepts":[{"variety":"a","worth":1}]}]}"#,
    Some("wants[1].id")
)]
fn a_market_is_read_strictly(#[case] input: &str, #[case] field: Option<&str>) {
    let answer = run("loop-values", &input.replace("MARKET", MARKET).replace("WANT", WANT));
    match field {
        None => assert!(answer.is_ok(), "{answer:?}"),
        Some(field) => {
            let message = answer.unwrap_err().to_string();
            assert!(message.starts_with(&format!("{field}: ")), "{message}");
        }
    }
}
