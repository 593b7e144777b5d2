//! The first sync of all entries, there and back, against copying the rows with the sqlite3 shell.

use std::process::Command;

use spareloop_tests::network::Network;

use crate::filled::fill;
use crate::{Size, line, timed};

pub(crate) fn run(size: Size) {
    let network = Network::embedded();
    let house = network.farm("Ashlode");
    let entries = fill(&house, size.entries, 1);
    let copy = network.folder().join("copy.sqlite");
    let (shell, copied) = timed(|| {
        let script = format!(
            "PRAGMA synchronous = FULL; PRAGMA journal_mode = WAL; ATTACH '{}' AS book; \
             CREATE TABLE entries AS SELECT * FROM book.entries;",
            house.book().display()
        );
        Command::new("sqlite3").arg(&copy).arg(script).output()
    });
    let Ok(shell) = shell else {
        println!("\nfirst sync: left out, because the sqlite3 shell is not installed");
        return;
    };
    assert!(shell.status.success(), "{}", String::from_utf8_lossy(&shell.stderr));
    let (sent, sending) = timed(|| house.sync());
    assert_eq!(sent["sent"].as_u64(), Some(entries as u64), "{sent}");
    let (bench, fetching) = timed(|| network.another_device("Ashlode", "phone"));
    println!(
        "\nfirst sync ({entries} entries over loopback; baseline: the sqlite3 shell copying the rows)"
    );
    line("copying the rows with the sqlite3 shell", copied, copied);
    line("sending them all to the server", sending, copied);
    line("another device joining and fetching them all", fetching, copied);
    assert_eq!(
        bench.run(&["lot", "list", "--json"]).json(),
        house.run(&["lot", "list", "--json"]).json(),
    );
}
