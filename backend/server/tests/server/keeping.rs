//! Copies: made while the server runs, put back while it doesn't.

use chrono::{DateTime, TimeDelta, Utc};
use spareloop_server::keep::{KeepError, Keeper, Lock, Present};
use spareloop_store::copies::{self, Turn};
use spareloop_store::{DatabaseUrl, Store, ledger};

use crate::farm::Farm;
use crate::pages_job::Loop;
use crate::yard::Yard;

fn restore(
    url: &DatabaseUrl,
    copy: &std::path::Path,
    now: DateTime<Utc>,
) -> Result<String, KeepError> {
    let keeper = Keeper { url: url.clone(), programs: None };
    keeper.restore(copy, Present::Refused, copy, now)
}

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

    let told = restore(&url, &copy, yard.now()).unwrap();
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
    assert!(matches!(restore(&url, &copy, yard.now()), Err(KeepError::InUse(_))));
    assert!(matches!(Lock::take(&live), Err(KeepError::InUse(_))));
    drop(lock);
    let mut bytes = std::fs::read(&copy).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + 8192].fill(0x5a);
    std::fs::write(&copy, bytes).unwrap();
    let before = std::fs::read(&live).unwrap();
    assert!(matches!(restore(&url, &copy, yard.now()), Err(KeepError::Damaged { .. })));
    assert_eq!(std::fs::read(&live).unwrap(), before);
}

#[actix_web::test]
async fn the_coordinator_sees_how_the_nightly_copy_went() {
    let mut it = Loop::new().await;
    let page = it.clara.open(&it.yard, "/network").await;
    assert!(!page.text().contains("copy"), "a server that makes none says nothing of any");
    let (day, now) = ("2026-11-25".parse().unwrap(), it.yard.now());
    let url = DatabaseUrl::Sqlite(it.yard.folder().join("yard.sqlite"));
    let store = Store::open(&url).unwrap();
    assert_eq!(store.write(|tx| copies::take(tx, day, now)).unwrap(), Turn::Ours);
    assert_eq!(store.write(|tx| copies::take(tx, day, now)).unwrap(), Turn::NotNow);
    it.clara.open(&it.yard, "/network").await.must_say("is being made since");
    store.write(|tx| copies::end(tx, day, Err("the disk is full"), now)).unwrap();
    let page = it.clara.open(&it.yard, "/network").await;
    page.must_say("The nightly copy failed").must_say("the disk is full");
    // It is tried again, and a server that went down over it is not waited for.
    let (soon, later) = (now + TimeDelta::minutes(29), now + TimeDelta::minutes(31));
    assert_eq!(store.write(|tx| copies::take(tx, day, soon)).unwrap(), Turn::NotNow);
    assert_eq!(store.write(|tx| copies::take(tx, day, later)).unwrap(), Turn::Ours);
    let much_later = later + TimeDelta::hours(4);
    assert_eq!(store.write(|tx| copies::take(tx, day, much_later)).unwrap(), Turn::Ours);
    store.write(|tx| copies::end(tx, day, Ok("2 farms"), much_later)).unwrap();
    it.clara.open(&it.yard, "/network").await.must_say("was made and read through: 2 farms");
    // A day before one that is done needs none.
    let day_before = "2026-11-24".parse().unwrap();
    assert_eq!(store.write(|tx| copies::take(tx, day_before, now)).unwrap(), Turn::NotNow);
}
