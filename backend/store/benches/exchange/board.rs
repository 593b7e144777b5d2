//! A page of the sheet: as quick among very many offers as among few.

use std::time::{Duration, Instant};

use diesel::sql_types::{BigInt, Text};
use diesel::{Connection as _, RunQueryDsl, SqliteConnection, sql_query};
use spareloop_domain::words::OfferId;
use spareloop_store::offers;
use uuid::Uuid;

use crate::Size;
use crate::common::{House, farm, later, lot, network, new_offer, now};
use crate::load::STEM;

const FEW: u32 = 1_000;
const PAGE: u32 = 100;

pub(crate) fn run(size: Size) {
    let few = page(FEW);
    let many = page(size.sheet);
    println!(
        "board offers {} page {PAGE} median_ms {:.2} of_{FEW} {:.2} ratio {:.2}",
        size.sheet,
        many.as_secs_f64() * 1_000.0,
        few.as_secs_f64() * 1_000.0,
        many.as_secs_f64() / few.as_secs_f64(),
    );
}

/// How long a page in the middle of a sheet of so many offers takes, the middle of many times.
fn page(offers_there: u32) -> Duration {
    let house = House::on_sqlite();
    let network = network(&house, "Invented Loop");
    let mut giver = farm(&house, &network, "Larkhusk");
    let lot = lot(&house, &mut giver, "Ember Lantern", 10);
    let first = new_offer(lot, 5, 1);
    house.write(|tx| offers::make(tx, network.id, giver.id, &first, now()));
    fill(&house, &first.id.to_string(), offers_there);
    let middle: Uuid = format!("{STEM}{:012}", offers_there / 2).parse().unwrap();
    let mut times: Vec<Duration> = (0..60)
        .map(|_| {
            let start = Instant::now();
            let page = house.read(|tx| {
                offers::board(tx, network.id, Some(OfferId::new(middle)), PAGE, later(1))
            });
            assert_eq!(page.len(), PAGE as usize);
            start.elapsed()
        })
        .collect();
    times.sort_unstable();
    times[times.len() / 2]
}

/// As many copies of an offer, by one statement, since making each takes its farm's book.
fn fill(house: &House, like: &str, many: u32) {
    let file = house.url.file().unwrap().to_str().unwrap();
    let mut connection = SqliteConnection::establish(file).unwrap();
    sql_query(
        "WITH RECURSIVE numbers (number) AS \
         (SELECT 0 UNION ALL SELECT number + 1 FROM numbers WHERE number + 1 < ?2) \
         INSERT INTO offers (id, network, farm, lot, variety, variety_key, identity, unit, count, \
         smallest_parcel, conditions, state, made_at) \
         SELECT ?3 || substr('000000000000' || number, -12), network, farm, lot, \
         variety || ' ' || number % 300, variety_key || ' ' || number % 300, identity, \
         CASE number % 5 WHEN 0 THEN 'clump' ELSE unit END, count, smallest_parcel, conditions, \
         state, made_at FROM offers, numbers WHERE id = ?1",
    )
    .bind::<Text, _>(like)
    .bind::<BigInt, _>(i64::from(many))
    .bind::<Text, _>(STEM)
    .execute(&mut connection)
    .unwrap();
}
