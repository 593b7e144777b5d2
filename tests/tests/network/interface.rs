//! The interface as the real server describes it: every operation says who may call it and means
//! it, and every refusal is a problem document with a code and a hint.

use reqwest::Method;
use reqwest::blocking::{Client, Response};
use serde_json::{Value, json};
use spareloop_api::problem::ProblemCode;
use spareloop_tests::network::Network;

const NO_SUCH_ID: &str = "0198c0de-0000-7000-8000-000000000000";

struct Operation {
    method: Method,
    path: String,
    access: String,
}

struct Yard {
    network: Network,
    url: String,
    http: Client,
    operations: Vec<Operation>,
}

fn yard() -> Yard {
    let network = Network::embedded();
    let (url, http) = (network.server.url.clone(), Client::new());
    let described: Value = http.get(format!("{url}/openapi.json")).send().unwrap().json().unwrap();
    assert_eq!(described["openapi"], "3.1.0");
    let mut operations = Vec::new();
    for (path, item) in described["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let Ok(method) = Method::from_bytes(method.to_uppercase().as_bytes()) else { continue };
            let access = operation["x-access"].as_str();
            let access =
                access.unwrap_or_else(|| panic!("{method} {path} has no policy")).to_owned();
            operations.push(Operation { method, path: path.clone(), access });
        }
    }
    assert!(operations.len() > 25, "the description is whole: {} operations", operations.len());
    Yard { network, url, http, operations }
}

impl Yard {
    fn call(&self, operation: &Operation, token: Option<&str>) -> Response {
        let mut path = operation.path.clone();
        while let (Some(from), Some(to)) = (path.find('{'), path.find('}')) {
            path.replace_range(from..=to, NO_SUCH_ID);
        }
        let mut request =
            self.http.request(operation.method.clone(), format!("{}{path}", self.url));
        if operation.method == Method::POST {
            request = request.json(&json!({})).header("Idempotency-Key", "interface-test-1");
        }
        if let Some(token) = token {
            request = request.bearer_auth(token);
        }
        request.send().unwrap()
    }
}

/// Checks a refusal against RFC 9457 and our own promise of a code and a hint; answers the code.
#[track_caller]
fn problem(response: Response, what: &str) -> ProblemCode {
    let status = response.status().as_u16();
    let kind =
        response.headers().get("content-type").map(|value| value.to_str().unwrap().to_owned());
    let text = response.text().unwrap();
    assert_eq!(kind.as_deref(), Some("application/problem+json"), "{what}: {status} {text}");
    let body: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(body["status"], status, "{what}: {body}");
    for field in ["type", "title", "detail", "code", "hint"] {
        assert!(
            body[field].as_str().is_some_and(|text| !text.is_empty()),
            "{what}: {field}: {body}"
        );
    }
    let code: ProblemCode = serde_json::from_value(body["code"].clone()).unwrap();
    assert_eq!(body["type"], format!("urn:spareloop:problem:{}", code.code()), "{what}");
    assert_eq!(status, code.status(), "{what}: {body}");
    code
}

#[test]
fn nobody_gets_in_without_a_sign_in_or_with_a_made_up_one() {
    let yard = yard();
    let tokens = [None, Some("garbage"), Some("dev_garbage"), Some("a.b.c")];
    for operation in &yard.operations {
        let what = format!("{} {}", operation.method, operation.path);
        for token in tokens {
            let response = yard.call(operation, token);
            let status = response.status().as_u16();
            if operation.access == "anybody" {
                assert!(status < 500, "{what}: {status}");
                if status >= 400 {
                    problem(response, &what);
                }
                continue;
            }
            assert_eq!(status, 401, "{what} with {token:?}");
            assert!(response.headers().contains_key("www-authenticate"), "{what}");
            assert_eq!(problem(response, &what), ProblemCode::SignInNeeded, "{what}");
        }
    }
}

#[test]
fn each_sign_in_opens_its_own_doors_and_no_others() {
    let yard = yard();
    let farm = yard.network.farm("Ashlode");
    let device = farm.device_token().0;
    let token = |login: &str| {
        let body = json!({ "login": login, "password": spareloop_tests::farm::PASSWORD });
        let url = format!("{}/api/v1/sign-in", yard.url);
        let tokens: Value = yard.http.post(url).json(&body).send().unwrap().json().unwrap();
        tokens["access_token"].as_str().unwrap().to_owned()
    };
    let (grower, coordinator) = (token("ashlode"), token("coordinator"));
    for operation in yard.operations.iter().filter(|it| it.access != "anybody") {
        let what = format!("{} {} ({})", operation.method, operation.path, operation.access);
        let (opens, shut): (Vec<&str>, Vec<&str>) = match operation.access.as_str() {
            "device" => (vec![&device], vec![&grower, &coordinator]),
            "grower" => (vec![&grower], vec![&device, &coordinator]),
            "coordinator" => (vec![&coordinator], vec![&device, &grower]),
            "person" => (vec![&grower, &coordinator], vec![&device]),
            other => panic!("{what}: a policy that this test doesn't know: {other}"),
        };
        for token in opens {
            let response = yard.call(operation, Some(token));
            let status = response.status().as_u16();
            assert!(status < 500 && status != 401 && status != 403, "{what}: {status}");
            if status >= 400 {
                problem(response, &what);
            }
        }
        for token in shut {
            let response = yard.call(operation, Some(token));
            assert!(
                matches!(response.status().as_u16(), 401 | 403),
                "{what}: {}",
                response.status()
            );
            problem(response, &what);
        }
    }
}

#[test]
fn what_is_not_there_and_what_is_too_much_are_problems_too() {
    let yard = yard();
    let at = |path: &str| format!("{}{path}", yard.url);
    let sign_in = at("/api/v1/sign-in");
    let post = |body: &'static str| {
        yard.http.post(&sign_in).header("content-type", "application/json").body(body)
    };
    let refused = [
        ("no such address", yard.http.get(at("/api/v1/nowhere")).send(), ProblemCode::NotFound),
        ("no such method", yard.http.delete(&sign_in).send(), ProblemCode::MethodNotAllowed),
        ("no JSON", post("{").send(), ProblemCode::BadRequest),
        (
            "a field too many",
            post(r#"{"login":"a","password":"b","more":1}"#).send(),
            ProblemCode::BadRequest,
        ),
        (
            "the wrong kind of body",
            yard.http.post(&sign_in).body("login=a").send(),
            ProblemCode::BadRequest,
        ),
    ];
    for (what, response, code) in refused {
        assert_eq!(problem(response.unwrap(), what), code, "{what}");
    }
    let much = format!(r#"{{"login":"{}","password":"b"}}"#, "a".repeat(1 << 20));
    let response =
        yard.http.post(&sign_in).header("content-type", "application/json").body(much).send();
    assert_eq!(problem(response.unwrap(), "1 MB"), ProblemCode::TooLarge);
}
