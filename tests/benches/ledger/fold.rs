//! Folding, verifying and snapshots against parsing the same JSON.

use spareloop_domain::ledger::generate::{Dice, seasons};
use spareloop_domain::ledger::{Entry, Folding, Snapshot, fold};
use spareloop_domain::words::{DeviceId, FarmId};

use crate::{Size, line, timed};

pub(crate) fn run(size: Size) {
    let mut dice = Dice::new(7);
    let (farm, device) = (FarmId::new(dice.id()), DeviceId::new(dice.id()));
    let entries = seasons(7, farm, &[device], size.entries);
    let lines: Vec<String> =
        entries.iter().map(|entry| serde_json::to_string(entry).unwrap()).collect();
    let (parsed, json) = timed(|| {
        lines.iter().map(|line| serde_json::from_str(line).unwrap()).collect::<Vec<Entry>>()
    });
    assert_eq!(parsed, entries);
    let (book, folded) = timed(|| fold(&entries));
    let ((), verified) = timed(|| entries.iter().for_each(|entry| entry.verify().unwrap()));
    println!(
        "\nfold ({} entries, {} lots; baseline: parsing the same JSON)",
        entries.len(),
        book.lots.len()
    );
    line("parsing the JSON of every entry", json, json);
    line("folding every entry", folded, json);
    line("verifying every entry's hash", verified, json);

    let mut folding = Folding::from_nothing(&entries);
    let newest = *folding.pauses().last().expect("a long ledger has pauses");
    let taken = folding.pause_after(newest).expect("nothing stands on both sides");
    let behind = entries.len() as u64 - taken.cover().entries;
    let (sealed, sealing) = timed(|| taken.seal().unwrap());
    let (_, opening) = timed(|| Snapshot::open(&sealed).unwrap());
    line("writing a snapshot of it", sealing, json);
    line("reading the snapshot, its sum checked", opening, json);
    println!("  the snapshot has {} kB and {behind} entries behind it", sealed.state.len() / 1024);
}
