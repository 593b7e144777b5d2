//! The book's file under hardship: two programs, a full disk, no permission, a damaged copy.

use std::collections::BTreeSet;
use std::time::Duration;

use crate::common::{Keyboard, filtered, said};
use insta::assert_snapshot;
use spareloop_cli::book::{BookError, Keep, StockBook, backup, farm};

#[test]
fn without_a_book_every_command_says_how_to_begin_one() {
    let nobody = Keyboard::new();
    let answer = nobody.run(&["status"]);
    filtered(|| assert_snapshot!("no_book", answer.all()));
    assert!(!nobody.book().exists());
}

#[test]
fn eight_programs_on_one_book_never_take_the_same_place() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 1000, "2025-11-02");
    let running: Vec<_> = (0..8)
        .map(|_| {
            farm.spareloop()
                .args(["lot", "lose", &lot, "--count", "1", "--cause", "rot"])
                .stdout(std::process::Stdio::null())
                .spawn()
                .unwrap()
        })
        .collect();
    for mut child in running {
        assert!(child.wait().unwrap().success());
    }
    let copied = backup::verify(&farm.book(), Duration::from_secs(5)).unwrap();
    assert_eq!(copied.entries, 10);
    let ids: BTreeSet<String> =
        farm.run(&["export"]).done().lines().map(ToOwned::to_owned).collect();
    assert_eq!(ids.len(), 10);
    let shown = farm.run(&["lot", "show", &lot, "--json"]).json();
    assert_eq!(shown["lot"]["in_store"], 992);
}

#[test]
fn a_book_that_another_program_writes_to_is_waited_for_and_then_said_so() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let mut file = StockBook::open(&farm.book(), Duration::from_secs(5)).unwrap();
    let answer = file
        .write(Keep::Kept, |connection| {
            farm::get(connection)?;
            let mut command = farm.spareloop();
            command.env("SPARELOOP_WAIT_FOR_BOOK", "1");
            command.args(["lot", "lose", &lot, "--count", "1", "--cause", "rot"]);
            Ok::<_, BookError>(said(&mut command, ""))
        })
        .unwrap();
    filtered(|| assert_snapshot!("busy", answer.all()));
    farm.run(&["lot", "lose", &lot, "--count", "1", "--cause", "rot"]).done();
}

#[test]
fn a_full_disk_loses_nothing_and_is_said() {
    let farm = Keyboard::of_a_farm();
    farm.lot("Ember Lantern", 40, "2025-11-02");
    let before = farm.run(&["export"]).done();
    let rows: Vec<String> = (0..3000).map(|row| format!("Moss Anthem,5,L{row}")).collect();
    let rows = rows.join("\n");
    let file = farm.file("stock.csv", format!("variety,count,lot\n{rows}"));
    // A limit on the size of files stands in for a full disk: writes beyond it fail.
    let script = format!(
        "trap '' XFSZ; ulimit -f 800; exec {} import stock {file} --yes",
        env!("CARGO_BIN_EXE_spareloop")
    );
    let answer = said(farm.command("/bin/sh").args(["-c", &script]), "");
    filtered(|| assert_snapshot!("full_disk", answer.all()));
    assert_eq!(farm.run(&["export"]).done(), before, "all or nothing");
    farm.run(&["import", "stock", &file, "--yes"]).done();
}

#[test]
fn a_backup_is_verified_and_comes_back_and_carries_no_sign_in() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let copy = farm.folder().join("copy.sqlite");
    let copy = copy.to_str().unwrap();
    let made = farm.run(&["backup", "make", copy]);
    let twice = farm.run(&["backup", "make", copy]);
    let at_copy = farm.run(&["export"]).done();
    farm.run(&["lot", "lose", &lot, "--count", "1", "--cause", "rot"]).done();
    let asked = farm.run(&["backup", "restore", copy]);
    let restored = farm.run(&["backup", "restore", copy, "--yes"]);
    assert_eq!(farm.run(&["export"]).done(), at_copy);
    let mut settings = insta::Settings::clone_current();
    settings.add_filter(r"before-\d+", "before-[time]");
    settings.bind(|| {
        filtered(|| {
            assert_snapshot!("backup_made", made.all());
            assert_snapshot!("backup_twice", twice.all());
            assert_snapshot!("restore_asks", asked.all());
            assert_snapshot!("restored", restored.all());
        });
    });
}

#[test]
fn a_copy_with_one_changed_entry_is_refused() {
    let farm = Keyboard::of_a_farm();
    farm.lot("Ember Lantern", 40, "2025-11-02");
    let copy = farm.folder().join("copy.sqlite");
    farm.run(&["backup", "make", copy.to_str().unwrap()]).done();
    let bytes = std::fs::read(&copy).unwrap();
    let at = bytes.windows(10).position(|window| window == b"\"count\":40").unwrap();
    let mut changed = bytes.clone();
    changed[at + 8] = b'9';
    let path = farm.file("changed.sqlite", &changed);
    let answer = farm.run(&["backup", "restore", &path, "--yes"]);
    filtered(|| assert_snapshot!("changed_copy", answer.all()));
    let short = farm.file("short.sqlite", &bytes[..bytes.len() / 2]);
    assert_eq!(farm.run(&["backup", "restore", &short, "--yes"]).exit, 3);
    let no_book = farm.file("no.sqlite", "nothing of the kind");
    assert_eq!(farm.run(&["backup", "restore", &no_book, "--yes"]).exit, 3);
    farm.run(&["status"]).done();
}

#[cfg(unix)]
#[test]
fn secrets_lie_beside_the_book_for_the_owners_eyes_only() {
    use std::os::unix::fs::PermissionsExt;

    use spareloop_api::people::Secret;
    use spareloop_cli::book::keys::{self, Keys};

    let farm = Keyboard::of_a_farm();
    let held = Keys { device_token: Some(Secret("dev_canary".into())), ..Keys::default() };
    keys::write(&farm.book(), &held).unwrap();
    let path = keys::path_beside(&farm.book());
    assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    assert_eq!(keys::read(&farm.book()).unwrap(), held);
    let doctor = farm.run(&["doctor", "--offline"]);
    assert!(!doctor.all().contains("dev_canary"));
    let copy = farm.folder().join("copy.sqlite");
    farm.run(&["backup", "make", copy.to_str().unwrap()]).done();
    let bytes = std::fs::read(copy).unwrap();
    assert!(!bytes.windows(10).any(|window| window == b"dev_canary"));
}

#[test]
fn a_book_that_is_gone_leads_to_its_copies_and_no_other_is_begun_unasked() {
    let farm = Keyboard::of_a_farm();
    farm.lot("Ember Lantern", 40, "2025-11-02");
    farm.run(&["backup", "make"]).done();
    std::fs::remove_file(farm.book()).unwrap();
    let gone = farm.run(&["status"]);
    assert_eq!(gone.exit, 1);
    assert!(gone.err.contains("is gone") && gone.err.contains("backup restore"), "{}", gone.err);
    let begin = ["farm", "init", "--name", "Test Holm", "--device", "lap"];
    let asked = farm.run(&begin);
    assert_eq!(asked.exit, 5, "{}", asked.all());
    assert!(asked.err.contains("copies") && !farm.book().exists(), "{}", asked.err);
    let copies = farm.run(&["backup", "list", "--json"]).json();
    let copy = copies["copies"][0]["file"].as_str().unwrap().to_owned();
    farm.run(&["backup", "restore", &copy]).done();
    assert!(farm.run(&["status"]).done().contains("40 divisions"));
    std::fs::remove_file(farm.book()).unwrap();
    farm.run(&[&begin[..], &["--yes"]].concat()).done();
    assert!(farm.run(&["status"]).done().contains("nothing in store"));
}

#[test]
fn a_copy_for_a_stick_that_is_not_there_is_refused_and_makes_no_folder() {
    let farm = Keyboard::of_a_farm();
    let stick = farm.folder().join("stick");
    let copy = stick.join("book.sqlite");
    let words = ["backup", "make", copy.to_str().unwrap()];
    let refused = farm.run(&words);
    assert_eq!(refused.exit, 3);
    assert!(refused.err.contains("There is no folder"), "{}", refused.err);
    assert!(!stick.exists());
    std::fs::create_dir(&stick).unwrap();
    farm.run(&words).done();
    let nowhere = farm.run(&["backup", "restore", "copy.sqlite", "--yes"]);
    assert!(!nowhere.err.contains("Copy.sqlite"), "a name stays as it is: {}", nowhere.err);
}
