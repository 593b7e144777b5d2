//! Against the standards' own vectors.

use super::*;

fn vector(name: &str) -> String {
    let table = include_str!("../../../tests/data/eddsa_vectors.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
    let row = reader.records().map(Result::unwrap).find(|row| &row[0] == name).unwrap();
    row[1].to_owned()
}

fn hex(text: &str) -> Vec<u8> {
    (0..text.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap())
        .collect()
}

/// RFC 8032, section 7.1, tests 1 and 2.
#[test]
fn keys_and_signatures_are_those_of_the_standard() {
    use ed25519_dalek::Signer;
    for test in ["rfc8032_test1", "rfc8032_test2"] {
        let secret: [u8; 32] = hex(&vector(&format!("{test}_secret"))).try_into().unwrap();
        let key = SigningKey::from_bytes(secret);
        let public = hex(&vector(&format!("{test}_public")));
        assert_eq!(key.public().inner().as_bytes().as_slice(), public, "{test}");
        let message = hex(&vector(&format!("{test}_msg_hex")));
        let signature = key.inner().sign(&message);
        assert_eq!(signature.to_bytes().as_slice(), hex(&vector(&format!("{test}_sig"))), "{test}");
        assert!(key.public().inner().verify_strict(&message, &signature).is_ok());
    }
}

/// RFC 8037, appendices A.1 to A.4, and two texts derived from A.4 that must not pass.
#[test]
fn the_signed_text_of_the_standard_holds_and_its_forgeries_do_not() {
    let key: PublicKey = vector("rfc8037_A1_x_b64url").parse().unwrap();
    assert_eq!(key.id().as_str(), vector("rfc8037_A3_jwk_thumbprint"));
    let secret = SigningKey::from_secret(&vector("rfc8037_A1_d_b64url")).unwrap();
    assert_eq!(secret.public(), key);
    assert_eq!(secret.secret(), vector("rfc8037_A1_d_b64url"));
    let text = vector("rfc8037_A4_compact");
    let read = Compact::read(&text).unwrap();
    assert_eq!(read.key(), None);
    assert_eq!(read.verified(&key).unwrap(), vector("rfc8037_A4_payload").as_bytes());

    let flipped = format!("{}.{}", vector("rfc8037_A4_signing_input"), {
        let negative = vector("negative_bitflip_sig");
        negative.rsplit('.').next().unwrap().to_owned()
    });
    assert_eq!(Compact::read(&flipped).unwrap().verified(&key), Err(JwsError::Signature));
    assert!(matches!(Compact::read(&vector("negative_alg_none")), Err(JwsError::Header(_))));
}

/// The name of RFC 9864 is read like that of RFC 8037.
#[test]
fn both_names_of_the_algorithm_are_read() {
    use base64::Engine as _;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD as B64;
    use ed25519_dalek::Signer;
    let signed = format!("{}.{}", B64.encode(r#"{"alg":"Ed25519"}"#), B64.encode("words"));
    let signature = key(1).inner().sign(signed.as_bytes()).to_bytes();
    let text = format!("{signed}.{}", B64.encode(signature));
    assert_eq!(Compact::read(&text).unwrap().verified(&key(1).public()), Ok(&b"words"[..]));
}

/// Points of small order: for each, a signature can be made without any secret. Their encodings are
/// from memory (the identity, the points of order 2 and 4).
#[test]
fn keys_that_anybody_can_sign_for_are_refused() {
    use base64::Engine as _;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD as B64;
    let mut identity = [0; 32];
    identity[0] = 1;
    let mut order_two = [0xff; 32];
    (order_two[0], order_two[31]) = (0xec, 0x7f);
    for weak in [identity, order_two, [0; 32]] {
        assert_eq!(B64.encode(weak).parse::<PublicKey>(), Err(KeyError::Weak), "{weak:?}");
    }
}

/// S + L instead of S satisfies the same equation; L, the group's order, is RFC 8032's.
#[test]
fn a_second_signature_made_from_the_first_is_refused() {
    use base64::Engine as _;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD as B64;
    let order = hex("edd3f55c1a631258d69cf7a2def9de1400000000000000000000000000000010");
    let text = sign(stating(1, hour(1), looked_over()), &key(1)).unwrap();
    let (signed, signature) = text.rsplit_once('.').unwrap();
    let mut bytes = B64.decode(signature).unwrap();
    let mut carry = 0_u16;
    for (byte, add) in bytes[32..].iter_mut().zip(order) {
        let sum = u16::from(*byte) + u16::from(add) + carry;
        *byte = sum.to_le_bytes()[0];
        carry = sum >> 8;
    }
    assert_eq!(carry, 0, "S + L has to fit, or this shows nothing");
    let second = Kept { compact: format!("{signed}.{}", B64.encode(bytes)), taken_at: None };
    let refused = verify(&second, &shown(), &[known(1, farm(1))], &[]);
    assert_eq!(refused, Err(VerifyError::Signed(JwsError::Signature)));
}
