//! Copies: made while the server runs, put back while it doesn't.

use spareloop_server::keep::{self, KeepError, Lock};
use spareloop_store::{DatabaseUrl, Store, ledger};

use crate::farm::Farm;
use crate::yard::Yard;

#[actix_web::test]
async fn a_copy_put_back_has_a_new_epoch_and_house_devices_and_the_old_file_is_kept() {
    let (yard, clara) = Yard::new().await;
    let mut farm = Farm::new(&yard, &clara, "dora").await;
    farm.stores(&yard, "Ember Lantern", 40).await;
    let (live, copy) = (yard.folder().join("yard.sqlite"), yard.folder().join("copy.sqlite"));
    let url = DatabaseUrl::Sqlite(live.clone());
    let store = Store::open(&url).unwrap();
    store.backup_to(&copy).unwrap();
    let (epoch, member) = (store.epoch().unwrap(), clara.me.network.clone().unwrap().id);
    let house = store.read(|tx| spareloop_store::people::farm(tx, member, farm.id())).unwrap();
    farm.stores(&yard, "Later", 3).await;
    drop((store, yard.house.clone()));

    let told = keep::restore(&url, &copy, yard.now()).unwrap();
    assert!(told.contains("kept in"), "{told}");
    let restored = Store::open(&url).unwrap();
    assert_ne!(restored.epoch().unwrap(), epoch);
    let after = restored.read(|tx| spareloop_store::people::farm(tx, member, farm.id())).unwrap();
    assert_ne!(after.house_device, house.house_device);
    let entries = restored.read(|tx| ledger::all_entries(tx, farm.id())).unwrap();
    assert_eq!(entries.len(), 3);
    let aside = std::fs::read_dir(yard.folder()).unwrap().filter_map(|file| {
        file.unwrap().file_name().into_string().ok().filter(|name| name.contains("replaced"))
    });
    assert!(aside.count() >= 1);
}

#[actix_web::test]
async fn a_copy_is_not_put_in_place_under_a_running_server_nor_a_damaged_one_at_all() {
    let (yard, _) = Yard::new().await;
    let (live, copy) = (yard.folder().join("yard.sqlite"), yard.folder().join("copy.sqlite"));
    let url = DatabaseUrl::Sqlite(live.clone());
    Store::open(&url).unwrap().backup_to(&copy).unwrap();
    let lock = Lock::take(&live).unwrap();
    assert!(matches!(keep::restore(&url, &copy, yard.now()), Err(KeepError::InUse(_))));
    assert!(matches!(Lock::take(&live), Err(KeepError::InUse(_))));
    drop(lock);
    let mut bytes = std::fs::read(&copy).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + 8192].fill(0x5a);
    std::fs::write(&copy, bytes).unwrap();
    let before = std::fs::read(&live).unwrap();
    assert!(matches!(keep::restore(&url, &copy, yard.now()), Err(KeepError::Damaged { .. })));
    assert_eq!(std::fs::read(&live).unwrap(), before);
}
