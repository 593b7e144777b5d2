//! Keys and signed statements as the server keeps them, on both databases.

use crate::common::fair::{Fair, fair, refused};
use crate::common::{Farm, House, asking, id, later, lot, n, new_want, now, offer};
use spareloop_domain::attest::{
    FactKind, KeyError, KeyRecord, LookedOver, Says, Second, SigningKey, Statement, VERSION,
    VerifyError, sign,
};
use spareloop_domain::words::{Look, LotId, NetworkId, StatementId};
use spareloop_store::attest::{self, NewKey, StoredKey, StoredStatement};
use spareloop_store::wants::{self, NewWant};
use spareloop_store::{Missing, Refused, StoreError, holds};

fn key(number: u8) -> SigningKey {
    SigningKey::from_bytes([number; 32])
}

fn new_key(farm: &Farm, signing: &SigningKey) -> NewKey {
    let made_at = Second::of(now());
    NewKey {
        key: signing.public(),
        made_at,
        introduction: signing.introduce(&signing.public(), farm.id, made_at),
        vouched: None,
    }
}

fn known(house: &House, farm: &Farm, signing: &SigningKey) -> StoredKey {
    let new = new_key(farm, signing);
    house.write(|tx| attest::make_key_known(tx, farm.network, farm.id, &new, now()))
}

fn looked_over(farm: &Farm, lot: LotId, signing: &SigningKey, at: i64) -> String {
    let statement = Statement {
        v: VERSION,
        statement: StatementId::new(id()),
        farm: farm.id,
        lot,
        key: signing.public().id(),
        issued_at: Second::of(later(at)),
        supersedes: None,
        says: Says::LookedOver(LookedOver {
            on: crate::common::day("2026-01-09"),
            look: Look::Unpacked,
            looked: n(40),
            of: n(40),
            with_signs: n(0),
            signs: String::new(),
        }),
    };
    sign(statement, signing).unwrap()
}

fn keep(
    house: &House,
    farm: &Farm,
    lot: LotId,
    compact: &str,
    at: i64,
) -> Result<StoredStatement, StoreError> {
    house.try_write(|tx| attest::keep(tx, farm.network, farm.id, lot, compact, later(at)))
}

fn records(house: &House, reader: &Farm, of: &Farm) -> Vec<KeyRecord> {
    let keys = house.read(|tx| attest::keys_of_farm(tx, reader.network, of.id));
    keys.into_iter().map(|key| key.record).collect()
}

fn kinds(house: &House, Fair { giver, lot, .. }: &Fair, at: i64) -> Vec<FactKind> {
    let standing = house.read(|tx| attest::standing(tx, giver.network, giver.id, *lot, later(at)));
    standing.iter().filter_map(|one| one.says.kind()).collect()
}

on_both! {
    fn a_key_is_made_known_once_by_who_has_its_secret_half(house: &House) {
        let fair = fair(house);
        let first = known(house, &fair.giver, &key(1));
        assert_eq!(known(house, &fair.giver, &key(1)), first, "again changes nothing");
        let claimed = new_key(&fair.giver, &key(1));
        let claim = house.try_write(|tx| {
            attest::make_key_known(tx, fair.network.id, fair.taker.id, &claimed, now())
        });
        assert_eq!(claim, refused(KeyError::OfAnother));
        // What the two farms of the network read, and another network doesn't.
        assert_eq!(records(house, &fair.taker, &fair.giver), std::slice::from_ref(&first.record));
        let elsewhere = NetworkId::new(id());
        let foreign = house.read(|tx| attest::keys_of_farm(tx, elsewhere, fair.giver.id));
        assert_eq!(foreign, []);
        let theirs = first.record.id();
        let not_theirs = house.try_write(|tx| {
            attest::withdraw_key(tx, fair.network.id, fair.taker.id, &theirs, now())
        });
        assert_eq!(not_theirs, Err(Missing::Key.into()));
    }

    fn a_statement_is_kept_for_its_own_lot_and_no_other(house: &House) {
        let mut fair = fair(house);
        known(house, &fair.giver, &key(1));
        let text = looked_over(&fair.giver, fair.lot, &key(1), 0);
        let kept = keep(house, &fair.giver, fair.lot, &text, 1).unwrap();
        assert_eq!(keep(house, &fair.giver, fair.lot, &text, 9).unwrap(), kept);
        assert_eq!(kinds(house, &fair, 10), [FactKind::LookedOver]);

        let other = lot(house, &mut fair.giver, "Tin Orchard", 5);
        let again = keep(house, &fair.giver, other, &text, 2);
        assert_eq!(again, refused(VerifyError::ShownAgain { about: fair.lot }));
        let new = looked_over(&fair.giver, fair.lot, &key(1), 0);
        let wrong = keep(house, &fair.giver, other, &new, 2);
        assert_eq!(wrong, refused(VerifyError::WrongLot { about: fair.lot }));
        let nowhere = keep(house, &fair.giver, LotId::new(id()), &text, 2);
        assert_eq!(nowhere, Err(Missing::Lot.into()));
        let theirs = keep(house, &fair.taker, fair.lot, &text, 2);
        assert_eq!(theirs, Err(Missing::Lot.into()), "only the lot's farm states anything of it");
        let unknown = looked_over(&fair.giver, fair.lot, &key(7), 0);
        let unknown = keep(house, &fair.giver, fair.lot, &unknown, 2);
        assert_eq!(unknown, refused(VerifyError::UnknownKey(key(7).public().id())));
    }

    fn a_withdrawn_key_signs_nothing_more_whatever_date_a_text_bears(house: &House) {
        let fair = fair(house);
        let id = known(house, &fair.giver, &key(1)).record.id();
        let before = looked_over(&fair.giver, fair.lot, &key(1), 0);
        keep(house, &fair.giver, fair.lot, &before, 1).unwrap();
        let withdrawn = house.write(|tx| {
            attest::withdraw_key(tx, fair.network.id, fair.giver.id, &id, later(60))
        });
        let at = withdrawn.record.withdrawn_at.unwrap();
        let again = house.write(|tx| {
            attest::withdraw_key(tx, fair.network.id, fair.giver.id, &id, later(90))
        });
        assert_eq!(again, withdrawn);
        assert_eq!(kinds(house, &fair, 100), [FactKind::LookedOver], "what it signed before holds");
        let dated_back = looked_over(&fair.giver, fair.lot, &key(1), 0);
        let late = keep(house, &fair.giver, fair.lot, &dated_back, 61);
        assert_eq!(late, refused(VerifyError::KeyWithdrawn(at)));
    }

    fn what_is_new_is_fetched_page_by_page_and_withdrawals_come_again(house: &House) {
        let fair = fair(house);
        let first = known(house, &fair.giver, &key(1)).record.id();
        known(house, &fair.taker, &key(2));
        for at in 0..3 {
            let text = looked_over(&fair.giver, fair.lot, &key(1), at);
            keep(house, &fair.giver, fair.lot, &text, at).unwrap();
        }
        let feed = |after, limit| {
            house.read(|tx| attest::feed(tx, fair.network.id, after, limit))
        };
        let (mut after, mut keys, mut statements) = (0, 0, 0);
        loop {
            let page = feed(after, 2);
            assert!(page.keys.len() + page.statements.len() <= 2);
            (keys, statements) = (keys + page.keys.len(), statements + page.statements.len());
            after = page.position;
            if page.position == page.newest {
                break;
            }
        }
        assert_eq!((keys, statements, after), (2, 3, 5));
        house.write(|tx| attest::withdraw_key(tx, fair.network.id, fair.giver.id, &first, later(9)));
        let news = feed(after, 100);
        assert_eq!((news.keys.len(), news.statements.len(), news.position), (1, 0, 6));
        assert!(news.keys[0].record.withdrawn_at.is_some());
        let elsewhere = NetworkId::new(id());
        let foreign = house.store().read(|tx| attest::feed(tx, elsewhere, 0, 100));
        assert_eq!(foreign, Err(Missing::Network.into()));
        let foreign = house.read(|tx| attest::of_lot(tx, elsewhere, fair.lot));
        assert_eq!(foreign, []);
    }

    fn a_hold_for_a_want_needs_the_statements_that_the_want_asks_for(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 1);
        let want = NewWant { required: [FactKind::LookedOver].into(), ..new_want("Ember Lantern", 4) };
        let made = house
            .write(|tx| wants::make(tx, fair.network.id, fair.taker.id, &want, now()));
        assert_eq!(made.required, want.required);
        let mut asked = asking(offer, 4);
        asked.want = Some(want.id);
        let ask = || house.try_write(|tx| {
            holds::ask(tx, fair.network.id, fair.taker.id, &asked, later(5))
        });
        let missing = want.required.clone();
        assert_eq!(ask().map(drop), refused(Refused::StatementsMissing { missing }));
        known(house, &fair.giver, &key(1));
        let text = looked_over(&fair.giver, fair.lot, &key(1), 0);
        keep(house, &fair.giver, fair.lot, &text, 1).unwrap();
        assert_eq!(ask().unwrap().count, n(4));
    }
}
