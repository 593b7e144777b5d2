//! Setting up, inviting, joining, signing in, devices.

use std::thread;

use crate::common::{House, Network, farm, id, later, network, now, person};
use chrono::TimeDelta;
use spareloop_domain::words::{DeviceId, FarmId, InvitationId, PersonId};
use spareloop_store::devices::Standing;
use spareloop_store::people::{NewFarm, NewInvitation, NewPerson, Role};
use spareloop_store::sign_ins::{EndedWhy, Rotation};
use spareloop_store::{
    CodeFor, Conflict, Missing, Refused, SecretHash, StoreError, Taken, devices, people, sign_ins,
    web_sessions,
};

const GRACE: TimeDelta = TimeDelta::seconds(30);

fn invite(house: &House, network: &Network, code: &str) -> InvitationId {
    let new = NewInvitation {
        id: InvitationId::new(id()),
        for_whom: "a neighbour".parse().unwrap(),
        code: SecretHash::of(code),
        expires_at: later(3600),
    };
    house.write(|tx| people::invite(tx, network.id, network.coordinator, &new, now()));
    new.id
}

fn join(
    house: &House,
    code: &str,
    person: &NewPerson,
    farm: FarmId,
    at: i64,
) -> Result<people::Joined, StoreError> {
    let farm = NewFarm { id: farm, name: "Fennelrigg".parse().unwrap() };
    house.try_write(|tx| people::join(tx, SecretHash::of(code), person, &farm, later(at)))
}

fn used_up<T>(code: CodeFor) -> Result<T, StoreError> {
    Err(Conflict::CodeUsedUp(code).into())
}

on_both! {
    fn the_set_up_link_makes_one_coordinator_and_no_second(house: &House) {
        let (link, older) = (SecretHash::of("link"), SecretHash::of("older link"));
        assert!(!house.read(people::somebody_is_set_up));
        house.write(|tx| people::put_set_up_token(tx, older, now()));
        house.write(|tx| people::put_set_up_token(tx, link, now()));
        assert!(house.read(people::set_up_token_exists));
        let first = person("Ada");
        let used = house.try_write(|tx| people::use_set_up_token(tx, older, &first, now()));
        assert_eq!(used, used_up(CodeFor::SetUp), "a newer link makes the older void");
        house.write(|tx| people::use_set_up_token(tx, link, &first, now()));
        let second = person("Bea");
        let again = house.try_write(|tx| people::use_set_up_token(tx, link, &second, now()));
        assert_eq!(again, used_up(CodeFor::SetUp));
        let new_link = house.try_write(|tx| people::put_set_up_token(tx, link, now()));
        assert_eq!(new_link, Err(Conflict::AlreadySetUp.into()));
        let me = house.read(|tx| people::me(tx, first.id)).unwrap();
        assert_eq!((me.role, me.network, me.farm), (Role::Coordinator, None, None));
    }

    fn a_coordinator_makes_one_network(house: &House) {
        let made = network(house, "Invented Loop");
        let again = house.try_write(|tx| {
            people::make_network(tx, made.coordinator, &"Another".parse().unwrap(), now())
        });
        assert_eq!(again, Err(Conflict::HasNetwork.into()));
        let me = house.read(|tx| people::me(tx, made.coordinator)).unwrap();
        assert_eq!(me.network.unwrap().name, "Invented Loop");
        let grower = farm(house, &made, "Larkhusk").grower;
        let refused = house.try_write(|tx| {
            people::make_network(tx, grower, &"Another".parse().unwrap(), now())
        });
        assert_eq!(refused, Err(Refused::NotACoordinator.into()));
    }

    fn a_farm_joins_with_its_grower_and_its_house_device(house: &House) {
        let network = network(house, "Invented Loop");
        invite(house, &network, "code");
        let (grower, farm) = (person("Cleo"), FarmId::new(id()));
        let joined = join(house, "code", &grower, farm, 1).unwrap();
        assert_eq!(joined.network, network.id);
        let me = house.read(|tx| people::me(tx, grower.id)).unwrap();
        assert_eq!(me.role, Role::Grower);
        assert_eq!(me.farm.unwrap().id, farm);
        let seen = house.read(|tx| people::farm(tx, network.id, farm));
        assert_eq!((seen.name.as_str(), seen.house_device), ("Fennelrigg", joined.house_device));
        assert_eq!(house.read(|tx| people::farms(tx, network.id)), vec![seen]);
        assert_eq!(house.read(|tx| devices::list(tx, farm)), vec![], "the house device is ours");
        let listed = house.read(|tx| people::invitations(tx, network.id));
        assert_eq!(listed.iter().map(|one| one.used_at).collect::<Vec<_>>(), vec![Some(later(1))]);
    }

    fn an_invitation_works_once_in_time_and_not_when_withdrawn(house: &House) {
        let network = network(house, "Invented Loop");
        let used = used_up(CodeFor::Joining);
        assert_eq!(join(house, "never given", &person("a"), FarmId::new(id()), 1), used);
        invite(house, &network, "late");
        assert_eq!(join(house, "late", &person("b"), FarmId::new(id()), 3600), used);
        let withdrawn = invite(house, &network, "withdrawn");
        house.write(|tx| people::withdraw_invitation(tx, network.id, withdrawn, now()));
        assert_eq!(join(house, "withdrawn", &person("c"), FarmId::new(id()), 1), used);
        let once = invite(house, &network, "once");
        join(house, "once", &person("d"), FarmId::new(id()), 1).unwrap();
        assert_eq!(join(house, "once", &person("e"), FarmId::new(id()), 1), used);
        let too_late =
            house.try_write(|tx| people::withdraw_invitation(tx, network.id, once, now()));
        assert_eq!(too_late, Err(Missing::Invitation.into()));
        let elsewhere = spareloop_domain::words::NetworkId::new(id());
        let open = invite(house, &network, "open");
        let foreign = house.try_write(|tx| people::withdraw_invitation(tx, elsewhere, open, now()));
        assert_eq!(foreign, Err(Missing::Invitation.into()));
    }

    fn two_farms_of_a_network_have_no_names_that_look_alike_and_the_code_stays_good(house: &House) {
        let network = network(house, "Invented Loop");
        invite(house, &network, "one");
        invite(house, &network, "two");
        join(house, "one", &person("d"), FarmId::new(id()), 1).unwrap();
        let like = |name: &str| {
            let farm = NewFarm { id: FarmId::new(id()), name: name.parse().unwrap() };
            house.try_write(|tx| people::join(tx, SecretHash::of("two"), &person("e"), &farm, later(1)))
        };
        for name in ["Fennelrigg", "fennel-rigg", "FENNEL RIGG "] {
            assert_eq!(like(name), Err(Conflict::AlreadyTaken(Taken::FarmName).into()), "{name}");
        }
        like("Fennelrigg Top").unwrap();
    }

    fn of_eight_farms_with_one_code_exactly_one_joins(house: &House) {
        let network = network(house, "Invented Loop");
        invite(house, &network, "code");
        let outcomes: Vec<_> = thread::scope(|scope| {
            let threads: Vec<_> = (0..8)
                .map(|n| {
                    scope.spawn(move || {
                        join(house, "code", &person(&format!("grower {n}")), FarmId::new(id()), 1)
                    })
                })
                .collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        assert_eq!(outcomes.iter().filter(|outcome| outcome.is_ok()).count(), 1);
        assert_eq!(house.read(|tx| people::farms(tx, network.id)).len(), 1);
    }

    fn a_login_is_single_whatever_its_case_and_a_farm_id_too(house: &House) {
        let network = network(house, "Invented Loop");
        let there = farm(house, &network, "Étienne Lark");
        invite(house, &network, "code");
        let same_login = join(house, "code", &person("etienne lark"), FarmId::new(id()), 1);
        assert_eq!(same_login, Err(Conflict::AlreadyTaken(Taken::Login).into()));
        let same_farm = join(house, "code", &person("Ottilie"), there.id, 1);
        assert_eq!(same_farm, Err(Conflict::AlreadyTaken(Taken::Farm).into()));
        join(house, "code", &person("Ottilie"), FarmId::new(id()), 1).unwrap();
        let found = house
            .read(|tx| people::person_by_login(tx, &"ETIENNE  lark".parse().unwrap()))
            .unwrap();
        assert_eq!((found.id, found.farm), (there.grower, Some(there.id)));
    }

    fn a_password_hash_is_replaced_for_that_person_alone(house: &House) {
        let network = network(house, "Invented Loop");
        house.write(|tx| people::update_password_hash(tx, network.coordinator, "$argon2id$new"));
        let person = house.read(|tx| people::person(tx, network.coordinator)).unwrap();
        assert_eq!(person.password_hash, "$argon2id$new");
        assert!(!format!("{person:?}").contains("argon2id"), "a hash never reaches a log");
        let nobody = PersonId::new(id());
        let missing = house.try_write(|tx| people::update_password_hash(tx, nobody, "x"));
        assert_eq!(missing, Err(Missing::Person.into()));
        assert_eq!(house.read(|tx| people::me(tx, nobody)), None);
    }

    fn a_refresh_token_takes_the_next_number_and_a_lost_reply_the_same_again(house: &House) {
        let who = network(house, "Invented Loop").coordinator;
        let family = house.write(|tx| sign_ins::start(tx, who, None, later(86400), now()));
        let rotate = |presented, at| {
            house.write(|tx| sign_ins::rotate(tx, family.id, presented, later(at), GRACE))
        };
        assert_eq!(rotate(1, 10), Rotation::Next(2));
        assert_eq!(rotate(1, 40), Rotation::SameSuccessor(2), "the reply may have been lost");
        assert_eq!(rotate(2, 50), Rotation::Next(3));
        assert_eq!(rotate(1, 51), Rotation::ReuseEnded, "two back is never a lost reply");
        assert_eq!(rotate(3, 52), Rotation::Ended);
        let state = house.read(|tx| sign_ins::state(tx, family.id)).unwrap();
        assert_eq!((state.person, state.ended_at), (who, Some(later(51))));
    }

    fn an_old_refresh_token_ends_its_family_after_the_grace(house: &House) {
        let who = network(house, "Invented Loop").coordinator;
        let family = house.write(|tx| sign_ins::start(tx, who, None, later(1000), now()));
        let other = house.write(|tx| sign_ins::start(tx, who, None, later(1000), now()));
        let rotate = |family: &sign_ins::Family, presented, at| {
            let id = family.id;
            house.write(|tx| sign_ins::rotate(tx, id, presented, later(at), GRACE))
        };
        assert_eq!(rotate(&family, 1, 10), Rotation::Next(2));
        assert_eq!(rotate(&family, 1, 41), Rotation::ReuseEnded);
        assert_eq!(rotate(&family, 2, 42), Rotation::Ended);
        assert_eq!(rotate(&other, 1, 43), Rotation::Next(2), "another sign-in goes on");
        assert_eq!(rotate(&other, 2, 1000), Rotation::Expired);
        assert_eq!(rotate(&other, 9, 50), Rotation::Ended, "a number never given here");
        house.write(|tx| sign_ins::end(tx, other.id, EndedWhy::SignedOut, later(60)));
        assert_eq!(rotate(&other, 2, 61), Rotation::Ended);
        assert_eq!(house.write(|tx| sign_ins::prune(tx, later(1000))), 2);
    }

    fn of_eight_refreshes_with_one_token_one_takes_the_next_and_the_rest_the_same(house: &House) {
        let who = network(house, "Invented Loop").coordinator;
        let family = house.write(|tx| sign_ins::start(tx, who, None, later(1000), now()));
        let outcomes: Vec<_> = thread::scope(|scope| {
            let threads: Vec<_> = (0..8)
                .map(|_| {
                    scope.spawn(|| {
                        house.write(|tx| sign_ins::rotate(tx, family.id, 1, later(1), GRACE))
                    })
                })
                .collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        let next = outcomes.iter().filter(|one| **one == Rotation::Next(2)).count();
        let same = outcomes.iter().filter(|one| **one == Rotation::SameSuccessor(2)).count();
        assert_eq!((next, same), (1, 7));
    }

    fn a_page_session_holds_until_its_time_or_its_end(house: &House) {
        let person = network(house, "Invented Loop").coordinator;
        let (token, csrf) = (SecretHash::of("cookie"), SecretHash::of("form"));
        let expires_at = later(100);
        let new = web_sessions::NewSession { token, person, acts_for: None, csrf, expires_at };
        house.write(|tx| web_sessions::start(tx, &new, now()));
        let found = house.read(|tx| web_sessions::find(tx, token, later(99))).unwrap();
        assert_eq!((found.person, found.csrf), (person, csrf));
        assert_eq!(house.read(|tx| web_sessions::find(tx, token, later(100))), None);
        assert_eq!(house.read(|tx| web_sessions::find(tx, csrf, later(1))), None);
        house.write(|tx| web_sessions::end(tx, token));
        assert_eq!(house.read(|tx| web_sessions::find(tx, token, later(1))), None);
        house.write(|tx| web_sessions::start(tx, &new, now()));
        assert_eq!(house.write(|tx| web_sessions::prune(tx, later(100))), 1);
    }

    fn a_device_is_known_by_its_token_and_belongs_to_one_farm(house: &House) {
        let network = network(house, "Invented Loop");
        let (here, there) = (farm(house, &network, "Larkhusk"), farm(house, &network, "Marrowby"));
        let device = DeviceId::new(id());
        let (old, new) = (SecretHash::of("old"), SecretHash::of("new"));
        let register = |farm, device, token| {
            house.try_write(|tx| {
                devices::register(tx, farm, device, &"laptop".parse().unwrap(), token, now())
            })
        };
        register(here.id, device, old).unwrap();
        let known = house.read(|tx| devices::by_token_hash(tx, old)).unwrap();
        assert_eq!((known.device, known.farm, known.network), (device, here.id, network.id));
        assert_eq!(known.standing, Standing::Welcome);
        register(here.id, device, new).unwrap();
        assert_eq!(house.read(|tx| devices::by_token_hash(tx, old)), None);
        let taken = Err(Conflict::AlreadyTaken(Taken::Device).into());
        assert_eq!(register(there.id, device, old), taken);
        assert_eq!(register(there.id, here.house_device, old), taken);
        assert_eq!(register(here.id, here.house_device, old), taken, "the house device is ours");
        assert_eq!(house.read(|tx| devices::list(tx, here.id)).len(), 1);
        assert_eq!(house.read(|tx| devices::list(tx, there.id)), vec![]);
    }

    fn a_lost_device_is_shut_out_by_its_own_farm_and_comes_back_with_a_new_token(house: &House) {
        let network = network(house, "Invented Loop");
        let (here, there) = (farm(house, &network, "Larkhusk"), farm(house, &network, "Marrowby"));
        let (device, token) = (DeviceId::new(id()), SecretHash::of("token"));
        let register = |token| {
            house.write(|tx| {
                devices::register(tx, here.id, device, &"phone".parse().unwrap(), token, now())
            });
        };
        register(token);
        let foreign = house.try_write(|tx| devices::shut_out(tx, there.id, device, later(1)));
        assert_eq!(foreign, Err(Missing::Device.into()));
        house.write(|tx| devices::shut_out(tx, here.id, device, later(1)));
        house.write(|tx| devices::shut_out(tx, here.id, device, later(2)));
        let listed = house.read(|tx| devices::list(tx, here.id));
        assert_eq!(listed[0].shut_out_at, Some(later(1)));
        let known = house.read(|tx| devices::by_token_hash(tx, token)).unwrap();
        assert_eq!(known.standing, Standing::ShutOut);
        register(SecretHash::of("another"));
        let back = house.read(|tx| devices::by_token_hash(tx, SecretHash::of("another"))).unwrap();
        assert_eq!(back.standing, Standing::Welcome);
    }
}
