//! A page of the sheet: as quick among very many offers as among few.

use std::time::{Duration, Instant};

use diesel::sql_types::{BigInt, Text};
use diesel::{Connection as _, RunQueryDsl, SqliteConnection, sql_query};
use spareloop_domain::words::{OfferId, UnitKind};
use spareloop_store::offers::{self, Sought};
use uuid::Uuid;

use crate::Size;
use crate::common::{House, Network, farm, later, lot, network, new_offer, now};
use crate::load::STEM;

const FEW: u32 = 1_000;
const PAGE: u32 = 40;

pub(crate) fn run(size: Size) {
    let few = Sheet::of(FEW);
    let many = Sheet::of(size.sheet);
    let sought = [
        ("everything", Sought::default()),
        ("one variety", Sought { variety: Some("Ember Lantern 7".parse().unwrap()), unit: None }),
        ("one unit kind", Sought { variety: None, unit: Some(UnitKind::Clump) }),
        (
            "both",
            Sought {
                variety: Some("Ember Lantern 10".parse().unwrap()),
                unit: Some(UnitKind::Clump),
            },
        ),
    ];
    for (what, sought) in sought {
        let (long, short) = (many.page(&sought), few.page(&sought));
        println!(
            "board offers {} {what} page {PAGE} median_ms {:.2} of_{FEW} {:.2} ratio {:.2}",
            size.sheet,
            long.as_secs_f64() * 1_000.0,
            short.as_secs_f64() * 1_000.0,
            long.as_secs_f64() / short.as_secs_f64(),
        );
    }
}

struct Sheet {
    house: House,
    network: Network,
    offers: u32,
}

impl Sheet {
    fn of(offers: u32) -> Self {
        let house = House::on_sqlite();
        let network = network(&house, "Invented Loop");
        let mut giver = farm(&house, &network, "Larkhusk");
        let lot = lot(&house, &mut giver, "Ember Lantern", 10);
        let first = new_offer(lot, 5, 1);
        house.write(|tx| offers::make(tx, network.id, giver.id, &first, now()));
        fill(&house, &first.id.to_string(), offers);
        Self { house, network, offers }
    }

    /// How long a page takes that begins a tenth into the sheet, the middle of many times. As many
    /// offers fit on the short sheet's, so that both read as much.
    fn page(&self, sought: &Sought) -> Duration {
        let tenth: Uuid = format!("{STEM}{:012}", self.offers / 10).parse().unwrap();
        let mut times: Vec<Duration> = (0..60)
            .map(|_| {
                let start = Instant::now();
                let page = self.house.read(|tx| {
                    let after = Some(OfferId::new(tenth));
                    offers::board_of(tx, self.network.id, sought, after, PAGE, later(1))
                });
                let took = start.elapsed();
                assert_eq!(page.len(), PAGE as usize, "{sought:?}");
                took
            })
            .collect();
        times.sort_unstable();
        times[times.len() / 2]
    }
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
         variety || ' ' || (number % 20), variety_key || (number % 20), identity, \
         CASE number % 5 WHEN 0 THEN 'clump' ELSE unit END, count, smallest_parcel, conditions, \
         state, made_at FROM offers, numbers WHERE id = ?1",
    )
    .bind::<Text, _>(like)
    .bind::<BigInt, _>(i64::from(many))
    .bind::<Text, _>(STEM)
    .execute(&mut connection)
    .unwrap();
}
