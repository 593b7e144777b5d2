//! The description of the interface, and that every operation keeps the policy it declares.

use actix_web::http::Method;
use spareloop_api::access::Access;
use spareloop_api::problem::ProblemCode;
use spareloop_server::auth::policy::operations;

use crate::farm::Farm;
use crate::yard::{Call, Yard, new_id};

#[test]
fn the_description_is_as_it_was() {
    let document = spareloop_server::openapi::document();
    insta::assert_json_snapshot!(document);
}

#[actix_web::test]
async fn every_operation_declares_a_policy_and_keeps_it() {
    let (yard, clara) = Yard::new().await;
    let farm = Farm::new(&yard, &clara, "dora").await;
    let policies = yard.document.policies().unwrap();
    let mut seen = 0;
    for (path, item) in &yard.document.0.paths.paths {
        for (method, operation) in operations(item) {
            let id = operation.operation_id.clone().unwrap_or_default();
            let method = Method::from_bytes(method.as_bytes()).unwrap();
            let access = policies.of(path, &method).expect("a policy");
            seen += 1;
            if access == Access::Anybody {
                continue;
            }
            let call = || Call::new(method.clone(), &filled_in(path));
            let garbage = format!("{}x", clara.token());
            let refused = ProblemCode::SignInNeeded;
            assert_eq!(yard.send(call()).await.code(), refused, "{id} as nobody");
            assert_eq!(yard.send(call().by("garbage")).await.code(), refused, "{id} by garbage");
            assert_eq!(yard.send(call().by(&garbage)).await.code(), refused, "{id} forged");
            assert_eq!(
                yard.send(call().by("dev_garbage")).await.code(),
                refused,
                "{id} by a device"
            );
            for (who, token) in [
                (Access::Coordinator, clara.token()),
                (Access::Grower, farm.token()),
                (Access::Device, farm.device_token.as_str()),
            ] {
                let answer = yard.send(call().by(token)).await;
                let admitted = access == who || (access == Access::Person && who != Access::Device);
                let let_in = !answer.status.is_client_error()
                    || !matches!(
                        answer.code(),
                        ProblemCode::NotAllowed | ProblemCode::SignInNeeded
                    );
                assert_eq!(let_in, admitted, "{id} as {who:?}: {}", answer.text());
            }
        }
    }
    assert!(seen > 30, "only {seen} operations are described");
}

fn filled_in(path: &str) -> String {
    path.split('/')
        .map(|part| if part.starts_with('{') { new_id().to_string() } else { part.to_owned() })
        .collect::<Vec<_>>()
        .join("/")
}

#[actix_web::test]
async fn every_creating_or_moving_post_asks_for_a_key() {
    // These are safe to repeat by themselves: a link and a sign-in work or don't, a refresh has
    // its grace, entries are known by device, place and hash.
    const WITHOUT: [&str; 5] = ["set_up", "sign_in", "refresh", "sign_out", "push_entries"];
    let document = spareloop_server::openapi::document();
    for item in document.paths.paths.values() {
        let Some(post) = &item.post else { continue };
        let id = post.operation_id.clone().unwrap_or_default();
        let text = serde_json::to_string(post).unwrap();
        assert_eq!(text.contains("Idempotency-Key"), !WITHOUT.contains(&id.as_str()), "{id}");
    }
}

#[actix_web::test]
async fn the_description_is_served_outside_of_the_interface() {
    let yard = Yard::empty().await;
    let answer = yard.send(Call::new(Method::GET, "/openapi.json")).await;
    let served: serde_json::Value = answer.ok();
    assert_eq!(served["openapi"], "3.1.0");
    for path in ["/health/live", "/health/ready"] {
        let answer = yard.send(Call::new(Method::GET, path)).await;
        assert_eq!(answer.status.as_u16(), 200);
    }
}
