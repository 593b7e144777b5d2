//! Names of varieties and the advice on them.

use spareloop_domain::words::{NameAdvice, VarietyName};

use crate::rows;

/// The name in a row: what follows the genus, unquoted as a grower would type it.
fn name(input: &str) -> VarietyName {
    input.trim_start_matches("Dahlia ").parse().unwrap()
}

#[test]
fn advice_agrees_with_the_code_where_the_name_alone_can_tell() {
    let mut checked = 0;
    for row in rows("cultivar_name_rules.csv") {
        if row[2].starts_with("Latin form") {
            // Allowed or not by its year of publication, which a name doesn't carry.
            continue;
        }
        let advice = name(&row[0]).advice();
        assert_eq!(advice.is_empty(), &row[1] == "1", "{row:?}: {advice:?}");
        checked += 1;
    }
    assert_eq!(checked, 7);
}

#[test]
fn advice_says_what_is_wrong() {
    assert_eq!(name("cv. 'Lantern Row'").advice(), [NameAdvice::Cv]);
    let small = ["lantern", "row"].map(|word| NameAdvice::Capital(word.to_owned()));
    assert_eq!(name("lantern row").advice(), small);
    assert_eq!(name("A@B").advice(), [NameAdvice::Mark('@')]);
    assert_eq!(name("Abcdefghijklmnopqrstuvwxyzabcde").advice(), [NameAdvice::Long(31)]);
    assert_eq!(name("Hurrah!!").advice(), [NameAdvice::Exclamations]);
    assert_eq!(name("Of the Hill").advice(), []);
    assert_eq!(name("of the Hill").advice(), [NameAdvice::Capital("of".to_owned())]);
    assert_eq!(
        NameAdvice::Cv.to_string(),
        "leave out \"cv.\": the single quotes say that it is a cultivar"
    );
}
