//! Setting up, signing in, staying signed in, and what is refused there.

use actix_web::http::{Method, StatusCode};
use chrono::TimeDelta;
use serde_json::{Value, json};
use spareloop_api::people::{InvitationMade, InvitationView, Role, Tokens};
use spareloop_api::problem::ProblemCode;

use crate::yard::{Call, PASSWORD, Person, Yard};

fn refresh(tokens: &Tokens) -> Call {
    Call::post("/refresh", &json!({"refresh_token": tokens.refresh_token.0}))
}

fn sign_in(login: &str, password: &str) -> Call {
    Call::post("/sign-in", &json!({"login": login, "password": password}))
}

#[actix_web::test]
async fn the_set_up_link_makes_one_coordinator_and_then_works_no_more() {
    let (yard, clara) = Yard::new().await;
    assert_eq!(clara.me.role, Role::Coordinator);
    assert_eq!(clara.me.network.unwrap().name, "Invented Fen Loop");
    let again = json!({"token": Yard::set_up_token(), "login": "mallory", "display_name": "M",
        "password": PASSWORD});
    assert_eq!(yard.send(Call::post("/set-up", &again)).await.code(), ProblemCode::CodeUsedUp);
}

#[actix_web::test]
async fn a_wrong_password_and_a_wrong_name_are_told_in_the_same_words() {
    let (yard, _) = Yard::new().await;
    let wrong = yard.send(sign_in("clara", "not the password at all")).await;
    let nobody = yard.send(sign_in("nobody here", PASSWORD)).await;
    assert_eq!(wrong.code(), ProblemCode::WrongSignIn);
    assert_eq!(wrong.text(), nobody.text());
    let right: Tokens = yard.send(sign_in("CLARA", PASSWORD)).await.ok();
    assert_eq!(yard.me(&right).await.login, "clara");
}

#[actix_web::test]
async fn after_too_many_tries_at_one_name_even_the_right_password_waits() {
    let (yard, _) = Yard::new().await;
    for _ in 0..10 {
        yard.send(sign_in("clara", "not the password at all")).await;
    }
    let answer = yard.send(sign_in("clara", PASSWORD)).await;
    assert_eq!(answer.code(), ProblemCode::TooMany);
    let wait: u64 = answer.header("retry-after").unwrap().parse().unwrap();
    assert!((1..=31).contains(&wait), "{wait}");
    // Another name is not held up by it.
    assert_eq!(yard.send(sign_in("dora", PASSWORD)).await.code(), ProblemCode::WrongSignIn);
}

#[actix_web::test]
async fn a_refresh_token_gives_the_next_pair_and_its_lost_answer_the_same_again() {
    let (yard, clara) = Yard::new().await;
    let second: Tokens = yard.send(refresh(&clara.tokens)).await.ok();
    yard.wait(TimeDelta::seconds(20));
    let repeated: Tokens = yard.send(refresh(&clara.tokens)).await.ok();
    assert_eq!(second.refresh_token, repeated.refresh_token);
    yard.me(&repeated).await;
}

#[actix_web::test]
async fn a_refresh_token_used_twice_later_on_ends_every_token_of_that_sign_in() {
    let (yard, clara) = Yard::new().await;
    let other: Tokens = yard.send(sign_in("clara", PASSWORD)).await.ok();
    let second: Tokens = yard.send(refresh(&clara.tokens)).await.ok();
    yard.wait(TimeDelta::seconds(31));
    assert_eq!(yard.send(refresh(&clara.tokens)).await.code(), ProblemCode::SignInEnded);
    assert_eq!(yard.send(refresh(&second)).await.code(), ProblemCode::SignInNeeded);
    let with = |tokens: &Tokens| Call::get("/me").by(&tokens.access_token.0);
    assert_eq!(yard.send(with(&second)).await.code(), ProblemCode::SignInNeeded);
    assert_eq!(yard.send(with(&other)).await.status, StatusCode::OK);
}

#[actix_web::test]
async fn an_access_token_works_for_fifteen_minutes_and_a_sign_in_for_thirty_days() {
    let (yard, clara) = Yard::new().await;
    yard.wait(TimeDelta::minutes(16));
    let with = |token: &str| Call::get("/me").by(token);
    assert_eq!(yard.send(with(clara.token())).await.code(), ProblemCode::SignInNeeded);
    yard.wait(TimeDelta::days(29));
    let next: Tokens = yard.send(refresh(&clara.tokens)).await.ok();
    yard.wait(TimeDelta::days(1));
    assert_eq!(yard.send(refresh(&next)).await.code(), ProblemCode::SignInNeeded);
}

#[actix_web::test]
async fn signing_out_ends_the_tokens() {
    let (yard, clara) = Yard::new().await;
    let out = json!({"refresh_token": clara.tokens.refresh_token.0});
    assert_eq!(yard.send(Call::post("/sign-out", &out)).await.status, StatusCode::NO_CONTENT);
    assert_eq!(yard.send(refresh(&clara.tokens)).await.code(), ProblemCode::SignInNeeded);
    assert_eq!(
        yard.send(Call::get("/me").by(clara.token())).await.code(),
        ProblemCode::SignInNeeded
    );
}

#[actix_web::test]
async fn an_invitation_works_once_and_a_withdrawn_or_old_one_not_at_all() {
    let (yard, clara) = Yard::new().await;
    let join = |code: &str, login: &str| {
        let body = json!({"code": code, "login": login, "display_name": login,
            "password": PASSWORD, "farm_name": "Invented Dyke"});
        Call::post("/join", &body).once()
    };
    let first = yard.invite(&clara).await;
    let lower = first.code.0.to_lowercase().replace('-', " ");
    let _: Tokens = yard.send(join(&lower, "dora")).await.ok();
    assert_eq!(yard.send(join(&first.code.0, "emil")).await.code(), ProblemCode::CodeUsedUp);
    let second = yard.invite(&clara).await;
    let withdrawn = Call::delete(&format!("/invitations/{}", second.id)).by(clara.token());
    assert_eq!(yard.send(withdrawn).await.status, StatusCode::NO_CONTENT);
    assert_eq!(yard.send(join(&second.code.0, "emil")).await.code(), ProblemCode::CodeUsedUp);
    let third = yard.invite(&clara).await;
    yard.wait(TimeDelta::days(15));
    assert_eq!(yard.send(join(&third.code.0, "emil")).await.code(), ProblemCode::CodeUsedUp);
}

#[actix_web::test]
async fn a_repeated_invitation_or_joining_gives_the_same_code_and_person_again() {
    let (yard, clara) = Yard::new().await;
    let invite = || {
        Call::post("/invitations", &json!({"for_whom": "dora"}))
            .key("key-of-the-test")
            .by(clara.token())
    };
    let first: InvitationMade = yard.send(invite()).await.ok();
    let second: InvitationMade = yard.send(invite()).await.ok();
    assert_eq!((first.id, first.code.0.clone()), (second.id, second.code.0));
    let list: Vec<InvitationView> =
        yard.send(Call::get("/invitations").by(clara.token())).await.ok();
    assert_eq!(list.len(), 1);
    let join = || {
        let body = json!({"code": first.code.0, "login": "dora", "display_name": "Dora",
            "password": PASSWORD, "farm_name": "Invented Dyke"});
        Call::post("/join", &body).key("key-of-the-joining")
    };
    let one: Tokens = yard.send(join()).await.ok();
    let two: Tokens = yard.send(join()).await.ok();
    assert_eq!(yard.me(&one).await.person, yard.me(&two).await.person);
}

#[actix_web::test]
async fn a_key_is_needed_and_another_body_under_it_is_refused() {
    let (yard, clara) = Yard::new().await;
    let invite =
        |name: &str| Call::post("/invitations", &json!({"for_whom": name})).by(clara.token());
    assert_eq!(yard.send(invite("dora")).await.code(), ProblemCode::KeyMissing);
    assert_eq!(yard.send(invite("dora").key("short")).await.code(), ProblemCode::KeyMissing);
    let _: InvitationMade = yard.send(invite("dora").key("key-of-the-test")).await.ok();
    let reused = yard.send(invite("emil").key("key-of-the-test")).await;
    assert_eq!(reused.code(), ProblemCode::KeyReused);
}

#[actix_web::test]
async fn a_short_or_common_password_and_a_taken_name_are_refused_by_name() {
    let (yard, clara) = Yard::new().await;
    let code = yard.invite(&clara).await.code.0;
    let join = |login: &str, password: &str| {
        let body = json!({"code": code, "login": login, "display_name": "D",
            "password": password, "farm_name": "Invented Dyke"});
        Call::post("/join", &body).once()
    };
    let refused = |problem: spareloop_api::problem::Problem, word: &str| {
        assert_eq!(problem.code, ProblemCode::Refused);
        assert!(problem.detail.contains(word), "{}", problem.detail);
    };
    refused(yard.send(join("dora", "too short")).await.problem(), "15 characters");
    refused(yard.send(join("dora", "passwordpassword")).await.problem(), "tried first");
    refused(yard.send(join("dora", "on invented dyke since")).await.problem(), "farm's name");
    let taken = yard.send(join("Clara", PASSWORD)).await;
    assert_eq!(taken.code(), ProblemCode::AlreadyTaken);
    // The code was not used up by any of it.
    let _: Tokens = yard.send(join("dora", PASSWORD)).await.ok();
}

#[actix_web::test]
async fn a_coordinator_makes_one_network_and_a_grower_none() {
    let (yard, clara) = Yard::new().await;
    let make = |person: &Person| {
        Call::post("/networks", &json!({"name": "Another"})).once().by(person.token())
    };
    assert_eq!(yard.send(make(&clara)).await.code(), ProblemCode::NotInThatState);
    let dora = yard.join(&clara, "dora").await;
    assert_eq!(yard.send(make(&dora)).await.code(), ProblemCode::NotAllowed);
}

#[actix_web::test]
async fn what_can_not_be_read_is_a_problem_with_a_code_whatever_is_wrong_with_it() {
    let (yard, clara) = Yard::new().await;
    let post = |body: &str, kind: &str| {
        Call::new(Method::POST, "/api/v1/sign-in").raw(kind, body.to_owned())
    };
    let code = |answer: crate::yard::Answer| answer.code();
    assert_eq!(code(yard.send(post("{", "application/json")).await), ProblemCode::BadRequest);
    assert_eq!(code(yard.send(post("a=b", "text/plain")).await), ProblemCode::BadRequest);
    let unknown: Value = json!({"login": "a", "password": "b", "admin": true});
    let answer = yard.send(Call::post("/sign-in", &unknown)).await;
    assert!(answer.problem().detail.contains("admin"), "{}", answer.text());
    let huge = format!("{{\"login\": \"{}\"}}", "a".repeat(300 * 1024));
    assert_eq!(code(yard.send(post(&huge, "application/json")).await), ProblemCode::TooLarge);
    let put = Call::new(Method::PUT, "/api/v1/sign-in");
    let answer = yard.send(put).await;
    assert_eq!(
        (answer.code(), answer.header("allow")),
        (ProblemCode::MethodNotAllowed, Some("POST"))
    );
    assert_eq!(code(yard.send(Call::get("/nowhere")).await), ProblemCode::NotFound);
    let not_an_id = Call::delete("/invitations/7").by(clara.token());
    assert_eq!(code(yard.send(not_an_id).await), ProblemCode::NotFound);
}

#[actix_web::test]
async fn a_dozen_farms_join_from_one_house_on_one_evening() {
    let (yard, clara) = Yard::new().await;
    for number in 0..12 {
        let farm = yard.join(&clara, &format!("grower {number}")).await;
        assert_eq!(farm.me.role, Role::Grower);
    }
}
