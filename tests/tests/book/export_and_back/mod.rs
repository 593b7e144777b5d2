//! Everything out, and back in equal: the whole book, and tables that spreadsheet programs and our
//! own import read. The real binary at the keyboard.

mod book;
mod log;
mod tables;

use std::path::Path;

use serde_json::Value;
use spareloop_tests::farm::Device;

const STOCK: &str = "\
lot,variety,unit,count,stored on,packing,place,origin
A1,Ember Lantern,division,40,2025-11-02,film-wrap,cellar / shelf 2 / tote 7,own lifting
A2,Moss Anthem,division,12,2025-11-05,vermiculite,\"cellar / shelf 1, left\",\"the \"\"low\"\" bed\"
A3,Ember Lantern,clump,5,2025-11-05,none,barn,own lifting
";

const CHECKS: &str = "\
lot,date,look,inspected,sound,doubtful,rot,dried out,sprouted
A1,2025-11-20,through the wrap,40,39,0,1,0,
A1,2026-01-10,unpacked,39,36,1,2,0,3
A2,2026-01-10,unpacked,5,4,0,0,1,
";

/// A farm with stock and checks by label, a plan, a loss and a slip that was struck out.
fn farm_in(folder: &Path) -> Device {
    let farm = Device::of_a_farm(folder, "Ashlode");
    for (kind, sheet) in [("stock", STOCK), ("checks", CHECKS)] {
        let file = farm.file(&format!("{kind}-in.csv"), sheet);
        farm.run(&["import", kind, &file, "--yes"]).done();
    }
    farm.run(&["plan", "set", "Ember Lantern", "--plants", "20", "--keep-back", "4"]).done();
    farm.lose("A1", 2);
    let slip = farm.run(&["lot", "lose", "A2", "--count", "1", "--cause", "rot", "--json"]).json();
    farm.run(&["variety", "add", "Tin Orchard"]).done();
    let slip = slip["noted"][0]["entry"].as_str().unwrap().to_owned();
    farm.run(&["undo", &slip, "--why", "wrong tote"]).done();
    farm
}

/// What a farm sees, but for the device it is seen on.
fn seen(device: &Device) -> [Value; 4] {
    [&["forecast", "--lots"][..], &["lot", "list"], &["plan", "list"], &["variety", "list"]]
        .map(|words| device.run(&[words, &["--json"]].concat()).json())
}

fn path(folder: &Path, name: &str) -> String {
    folder.join(name).to_str().unwrap().to_owned()
}
