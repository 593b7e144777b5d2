//! Photos beside offers, holds and claims, on both databases: who may put one there, who may see it, how
//! many there may be, and what stays on record.

use chrono::TimeDelta;

use crate::common::fair::{Fair, agree, fair, giving, receiving, refused};
use crate::common::{Farm, House, asking, farm, id, later, n, offer};
use spareloop_domain::exchange::photo::{MOST_OF_A_THING, PhotoOf};
use spareloop_domain::exchange::{ClaimKind, Party};
use spareloop_domain::words::{ClaimId, HoldId, PhotoId};
use spareloop_store::claims::{self, NewClaim};
use spareloop_store::photos::{self, NewPhoto, Photo};
use spareloop_store::proposals::Viewer;
use spareloop_store::{Missing, Refused, StoreError, hand_overs, holds, offers};

fn put(house: &House, by: &Farm, of: PhotoOf) -> Result<Photo, StoreError> {
    let picture = vec![0xff, 0xd8, 0, 1, 2];
    let new = NewPhoto { id: PhotoId::new(id()), of, width: 640, height: 480, picture };
    house.try_write(|tx| photos::put(tx, by.network, by.id, &new, later(20)))
}

fn sees(house: &House, fair: &Fair, viewer: Viewer, photo: PhotoId) -> bool {
    let network = fair.network.id;
    match house.try_write(|tx| photos::picture(tx, network, viewer, photo, later(21))) {
        Ok(picture) => picture == [0xff, 0xd8, 0, 1, 2],
        Err(StoreError::Missing(Missing::Photo)) => false,
        Err(other) => panic!("{other}"),
    }
}

fn held(house: &House, fair: &Fair, of: spareloop_domain::words::OfferId) -> HoldId {
    let asked = asking(of, 4);
    house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, later(1)));
    asked.id
}

/// What was handed over and received, and a claim on it.
fn claimed(house: &House, fair: &Fair, hold: HoldId) -> ClaimId {
    let given = giving(4);
    house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, hold, &given, later(2)));
    house.write(|tx| hand_overs::receive(tx, fair.taker.id, given.id, &receiving(4), later(3)));
    let new = NewClaim {
        id: ClaimId::new(id()),
        hand_over: given.id,
        kind: ClaimKind::Condition,
        count: n(2),
        words: String::new(),
    };
    house.write(|tx| claims::make(tx, fair.network.id, fair.taker.id, &new, later(4)));
    new.id
}

on_both! {
    fn a_photo_of_an_offer_is_its_farms_and_the_network_sees_it(house: &House) {
        let fair = fair(house);
        let third = farm(house, &fair.network, "Netherby");
        let of = PhotoOf::Offer(offer(house, &fair.giver, fair.lot, 20, 1));
        assert_eq!(put(house, &fair.taker, of).map(drop), refused(Refused::OnlyBy(Party::Giver)));
        let made = put(house, &fair.giver, of).unwrap();
        assert_eq!((made.width, made.height, made.farm.id), (640, 480, fair.giver.id));
        for viewer in [Viewer::Farm(third.id), Viewer::Coordinator] {
            assert!(sees(house, &fair, viewer, made.id), "{viewer:?}");
        }
        let found = house.read(|tx| {
            photos::list(tx, fair.network.id, Viewer::Farm(third.id), of, later(22))
        });
        assert_eq!(found, std::slice::from_ref(&made));
        let not_theirs = house.try_write(|tx| photos::remove(tx, third.id, made.id));
        assert_eq!(not_theirs, Err(Missing::Photo.into()));
        house.write(|tx| photos::remove(tx, fair.giver.id, made.id));
        assert!(!sees(house, &fair, Viewer::Farm(third.id), made.id));
    }

    fn a_photo_of_what_passed_is_for_the_two_farms_and_one_of_a_claim_for_the_coordinator_too(house: &House) {
        let fair = fair(house);
        let third = farm(house, &fair.network, "Netherby");
        let hold = held(house, &fair, offer(house, &fair.giver, fair.lot, 20, 1));
        let of = PhotoOf::Hold(hold);
        let too_early = put(house, &fair.taker, of).map(drop);
        assert_eq!(too_early, refused(Refused::PhotoOfWhatIsOver), "nothing is agreed yet");
        agree(house, &fair.giver, hold);
        assert_eq!(put(house, &third, of).map(drop), Err(Missing::Hold.into()));
        let packed = put(house, &fair.giver, of).unwrap();
        let claim = PhotoOf::Claim(claimed(house, &fair, hold));
        assert_eq!(put(house, &third, claim).map(drop), Err(Missing::Claim.into()));
        let soft = put(house, &fair.taker, claim).unwrap();
        for farm in [&fair.giver, &fair.taker] {
            assert!(sees(house, &fair, Viewer::Farm(farm.id), packed.id));
            assert!(sees(house, &fair, Viewer::Farm(farm.id), soft.id));
        }
        for photo in [packed.id, soft.id] {
            assert!(!sees(house, &fair, Viewer::Farm(third.id), photo));
        }
        assert!(!sees(house, &fair, Viewer::Coordinator, packed.id));
        assert!(sees(house, &fair, Viewer::Coordinator, soft.id));
        let kept = house.try_write(|tx| photos::remove(tx, fair.taker.id, soft.id));
        assert_eq!(kept, refused(Refused::PhotoOnRecord));
    }

    fn a_farm_puts_no_more_than_a_few_photos_beside_one_thing(house: &House) {
        let fair = fair(house);
        let of = PhotoOf::Offer(offer(house, &fair.giver, fair.lot, 20, 1));
        let made: Vec<_> = (0..MOST_OF_A_THING).map(|_| put(house, &fair.giver, of).unwrap()).collect();
        assert_eq!(put(house, &fair.giver, of).map(drop), refused(Refused::PhotosOfAThing));
        house.write(|tx| photos::remove(tx, fair.giver.id, made[0].id));
        put(house, &fair.giver, of).unwrap();
    }

    fn an_old_photo_goes_once_its_offer_is_over_and_one_of_what_passed_stays(house: &House) {
        let fair = fair(house);
        let id = offer(house, &fair.giver, fair.lot, 20, 1);
        let made = put(house, &fair.giver, PhotoOf::Offer(id)).unwrap();
        let hold = held(house, &fair, id);
        agree(house, &fair.giver, hold);
        let packed = put(house, &fair.giver, PhotoOf::Hold(hold)).unwrap();
        let years = later(20) + TimeDelta::days(800);
        assert_eq!(house.write(|tx| photos::prune(tx, years)), 0, "the offer still stands");

        house.write(|tx| offers::withdraw(tx, fair.giver.network, fair.giver.id, id, later(22)));
        let soon = made.made_at + TimeDelta::days(179);
        assert_eq!(house.write(|tx| photos::prune(tx, soon)), 0);
        assert_eq!(house.write(|tx| photos::prune(tx, soon + TimeDelta::days(2))), 1);
        assert!(!sees(house, &fair, Viewer::Farm(fair.giver.id), made.id));
        assert!(sees(house, &fair, Viewer::Farm(fair.giver.id), packed.id));
    }
}
