//! Farms on paper: made with their consent, acted for, and out of reach once the consent ends. On both
//! databases.

use crate::common::fair::refused;
use crate::common::{House, day, farm, id, later, network, now};
use spareloop_domain::words::FarmId;
use spareloop_store::people::on_paper::{self, Consent};
use spareloop_store::people::{NewFarm, Role};
use spareloop_store::{Conflict, Missing, Refused, StoreError, Taken};

fn consent() -> Consent {
    Consent { by: "Ada Fen".to_owned(), how: "a signed note".to_owned(), on: day("2026-01-05") }
}

fn make(
    house: &House,
    network: &crate::common::Network,
    name: &str,
    consent: &Consent,
) -> Result<FarmId, StoreError> {
    let new = NewFarm { id: FarmId::new(id()), name: name.parse().unwrap() };
    let by = (network.id, network.coordinator);
    house.try_write(|tx| on_paper::make(tx, by, &new, consent, now())).map(|farm| farm.id)
}

on_both! {
    fn a_farm_on_paper_says_so_by_its_name_and_its_consent_is_on_record(house: &House) {
        let network = network(house, "Invented Loop");
        let farm = make(house, &network, "Fen End", &consent()).unwrap();
        let found = house.read(|tx| on_paper::list(tx, network.id)).remove(0);
        assert_eq!((found.farm.id, found.farm.name.as_str()), (farm, "Fen End (on paper)"));
        assert_eq!((found.consent, found.ended_at, found.sign_ins), (consent(), None, 0));
        let again = make(house, &network, "fen  end", &consent());
        assert_eq!(again, Err(Conflict::AlreadyTaken(Taken::FarmName).into()));
    }

    fn nothing_is_noted_without_a_consent_that_somebody_gave(house: &House) {
        let network = network(house, "Invented Loop");
        let nobody = Consent { by: " ".to_owned(), ..consent() };
        assert_eq!(make(house, &network, "Fen End", &nobody), refused(Refused::ConsentOfNobody));
        let anyhow = Consent { how: String::new(), ..consent() };
        assert_eq!(make(house, &network, "Fen End", &anyhow), refused(Refused::ConsentOfNobody));
        let to_come = Consent { on: day("2026-02-01"), ..consent() };
        assert_eq!(make(house, &network, "Fen End", &to_come), refused(Refused::ConsentToCome));
        assert_eq!(house.read(|tx| on_paper::list(tx, network.id)), []);
    }

    fn the_coordinator_is_its_grower_and_nothing_more_until_the_consent_ends(house: &House) {
        let network = network(house, "Invented Loop");
        let paper = make(house, &network, "Fen End", &consent()).unwrap();
        let me = || house.read(|tx| on_paper::me_for(tx, network.coordinator, Some(paper)));
        house.write(|tx| on_paper::begin(tx, network.coordinator, paper, later(1)));
        let acting = me().unwrap();
        assert_eq!((acting.role, acting.farm.unwrap().id), (Role::Grower, paper));
        let own = house.read(|tx| on_paper::me_for(tx, network.coordinator, None)).unwrap();
        assert_eq!((own.role, own.farm), (Role::Coordinator, None));
        assert_eq!(house.read(|tx| on_paper::list(tx, network.id))[0].sign_ins, 1);

        house.write(|tx| on_paper::end_consent(tx, network.id, paper, "moved away", later(2)));
        assert_eq!(me(), None, "every sign-in for it has ended");
        let late = house.try_write(|tx| on_paper::begin(tx, network.coordinator, paper, later(3)));
        assert_eq!(late, Err(Missing::Farm.into()));
        let again = house.try_write(|tx| on_paper::end_consent(tx, network.id, paper, "", later(4)));
        assert_eq!(again, Err(Missing::Farm.into()));
    }

    fn nobody_acts_for_a_farm_with_people_of_its_own_and_growers_act_for_nobody_else(house: &House) {
        let network = network(house, "Invented Loop");
        let own = farm(house, &network, "Larkhusk");
        let paper = make(house, &network, "Fen End", &consent()).unwrap();
        let for_others = house.try_write(|tx| on_paper::begin(tx, network.coordinator, own.id, later(1)));
        assert_eq!(for_others, Err(Missing::Farm.into()));
        let by_grower = house.try_write(|tx| on_paper::begin(tx, own.grower, paper, later(1)));
        assert_eq!(by_grower, Err(Refused::NotACoordinator.into()));
    }
}
