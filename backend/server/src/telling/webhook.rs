//! Signed calls: a `POST` of JSON that its receiver can check.
//!
//! `Spareloop-Signature: v1=` and, in hexadecimal, HMAC-SHA-256 (RFC 2104) under the webhook's secret
//! over the text of `Spareloop-Timestamp`, a full stop, and the body as it came. A receiver refuses
//! what doesn't match and what is older than five minutes, and takes a `Spareloop-Delivery` that it
//! has seen before for done. Redirects are not followed; 2xx is an answer, 410 ends the channel.
//! What may not enter: when to try again.

use std::fmt::Write;
use std::time::Duration;

use chrono::{DateTime, Utc};
use hmac::{Hmac, KeyInit, Mac};
use reqwest::redirect::Policy;
use reqwest::{Client, StatusCode};
use serde_json::json;
use sha2::Sha256;
use spareloop_store::channels::{Failure, Taken};
use spareloop_store::messages::Message;

use super::Telling;
use super::reach::{self, OutOfReach};

/// How long a receiver has to answer. It should note what came and work on it later.
const PATIENCE: Duration = Duration::from_secs(10);

/// Why a call failed, in words for the farm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failed {
    /// Whether it is worth another try.
    pub failure: Failure,
    /// What went wrong.
    pub said: String,
}

impl Failed {
    /// It may go better later.
    pub fn for_now(said: impl Into<String>) -> Self {
        Self { failure: Failure::ForNow, said: said.into() }
    }
}

/// The body of a call.
pub fn body(taken: &Taken, message: &Message) -> String {
    json!({
        "delivery": taken.id,
        "message": message.id,
        "farm": taken.farm.id,
        "farm_name": taken.farm.name,
        "network": taken.network,
        "at": message.at,
        "text": message.text,
        "hold": message.hold,
    })
    .to_string()
}

/// What a call is signed with: 64 hexadecimal digits.
pub fn signature(secret: &str, timestamp: i64, body: &str) -> String {
    let mut text = String::new();
    for byte in mac(secret.as_bytes(), &[timestamp.to_string().as_bytes(), b".", body.as_bytes()]) {
        // Writing to a string does not fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// HMAC-SHA-256 under a key of any length.
fn mac(key: &[u8], parts: &[&[u8]]) -> [u8; 32] {
    // RFC 2104: a key is filled up to the hash's block of 64 bytes with zeros, a longer one hashed.
    let mut block = [0; 64];
    if key.len() > block.len() {
        use sha2::Digest;
        block[..32].copy_from_slice(&Sha256::digest(key));
    } else {
        block[..key.len()].copy_from_slice(key);
    }
    let mut mac = Hmac::<Sha256>::new(&block.into());
    for part in parts {
        mac.update(part);
    }
    mac.finalize().into_bytes().into()
}

/// Calls a webhook.
pub async fn call(
    telling: &Telling,
    url: &str,
    secret: &str,
    taken: &Taken,
    message: &Message,
    now: DateTime<Utc>,
) -> Result<(), Failed> {
    let reached = reach::read(url, telling.targets).map_err(refused)?;
    let addresses =
        reach::addresses(&reached, telling.targets, &telling.lookup).await.map_err(refused)?;
    let mut client = Client::builder()
        .redirect(Policy::none())
        // A proxy would look the name up again.
        .no_proxy()
        .timeout(PATIENCE)
        .user_agent(concat!("spareloop/", env!("CARGO_PKG_VERSION")));
    if let Some(host) = reached.host_str() {
        client = client.resolve_to_addrs(host, &addresses);
    }
    let client = client.build().map_err(|error| unreached(&error))?;
    let (body, timestamp) = (body(taken, message), now.timestamp());
    let answer = client
        .post(reached)
        .header("Content-Type", "application/json")
        .header("Spareloop-Delivery", taken.id.to_string())
        .header("Spareloop-Timestamp", timestamp)
        .header("Spareloop-Signature", format!("v1={}", signature(secret, timestamp, &body)))
        .body(body)
        .send()
        .await
        .map_err(|error| unreached(&error))?;
    judged(answer.status())
}

fn judged(status: StatusCode) -> Result<(), Failed> {
    match status {
        answered if answered.is_success() => Ok(()),
        StatusCode::GONE => Err(Failed {
            failure: Failure::Gone,
            said: "the webhook answered 410: it is gone".to_owned(),
        }),
        led_on if led_on.is_redirection() => Err(Failed::for_now(format!(
            "the webhook answered {}: redirects are not followed",
            led_on.as_u16()
        ))),
        other => Err(Failed::for_now(format!("the webhook answered {}", other.as_u16()))),
    }
}

fn refused(why: OutOfReach) -> Failed {
    // A name may be given another address; what was called stays so until then.
    Failed::for_now(why.to_string())
}

/// Without the library's own words, which hold the address.
fn unreached(error: &reqwest::Error) -> Failed {
    Failed::for_now(if error.is_timeout() {
        "the webhook did not answer in time"
    } else if error.is_connect() {
        "the webhook can't be reached, or its certificate is not vouched for"
    } else {
        "the call of the webhook broke off"
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hexadecimal(bytes: &[u8]) -> String {
        bytes.iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}"))
    }

    // RFC 4231, 4.2 to 4.8 (without 4.6, which is truncated); the values are the standard's.
    #[test]
    fn hmac_is_as_rfc_4231_has_it() {
        let long: &[u8] = b"Test Using Larger Than Block-Size Key - Hash Key First";
        let longer: &[u8] = b"This is a test using a larger than block-size key and a larger than \
            block-size data. The key needs to be hashed before being used by the HMAC algorithm.";
        let counted: Vec<u8> = (1..=25).collect();
        let cases: [(&[u8], &[u8], &str); 6] = [
            (
                &[0x0b; 20],
                b"Hi There",
                "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
            ),
            (
                b"Jefe",
                b"what do ya want for nothing?",
                "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
            ),
            (
                &[0xaa; 20],
                &[0xdd; 50],
                "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
            ),
            (
                &counted,
                &[0xcd; 50],
                "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b",
            ),
            (
                &[0xaa; 131],
                long,
                "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
            ),
            (
                &[0xaa; 131],
                longer,
                "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
            ),
        ];
        for (key, data, expected) in cases {
            assert_eq!(hexadecimal(&mac(key, &[data])), expected);
            let (left, right) = data.split_at(data.len() / 2);
            assert_eq!(hexadecimal(&mac(key, &[left, right])), expected);
        }
    }

    #[test]
    fn another_time_body_or_secret_gives_another_signature() {
        let of = |secret, time, body| signature(secret, time, body);
        let one = of("s", 1, "{}");
        for other in [of("t", 1, "{}"), of("s", 2, "{}"), of("s", 1, "{ }")] {
            assert_ne!(one, other);
        }
        assert_eq!(one.len(), 64);
    }

    #[test]
    fn what_an_answer_means_is_told_by_its_status() {
        let failure = |status: u16| {
            judged(StatusCode::from_u16(status).unwrap_or_default()).err().map(|it| it.failure)
        };
        assert_eq!([200, 202, 204].map(failure), [None; 3]);
        assert_eq!(failure(410), Some(Failure::Gone));
        for status in [301, 302, 307, 308, 400, 404, 429, 500, 503] {
            assert_eq!(failure(status), Some(Failure::ForNow), "{status}");
        }
    }
}
