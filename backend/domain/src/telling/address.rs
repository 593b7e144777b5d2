//! An address of e-mail, as far as its shape tells anything.
//!
//! What may not enter: whether anybody reads what is sent there. Only a confirmed link says that.

use std::fmt;
use std::str::FromStr;

/// Most octets of the part before the @ (RFC 5321, 4.5.3.1.1).
const MOST_BEFORE: usize = 64;
/// Most octets of the whole (RFC 5321, 4.5.3.1.3: a path of 256 with its angle brackets).
const MOST: usize = 254;
/// Most octets of one label of a domain (RFC 1035, 2.3.4).
const MOST_LABEL: usize = 63;

/// An address of e-mail. The domain is in small letters; what stands before the @ is its host's to
/// read and is kept as it was written.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct MailAddress(String);

/// A text that is no address of e-mail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("an address of e-mail is written as name@farm.example, with plain letters")]
pub struct MailAddressError;

impl MailAddress {
    /// As written in a letter.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for MailAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for MailAddress {
    type Err = MailAddressError;
    fn from_str(text: &str) -> Result<Self, MailAddressError> {
        let text = text.trim();
        let (name, domain) = text.rsplit_once('@').ok_or(MailAddressError)?;
        if text.len() > MOST || !is_name(name) || !is_domain(domain) {
            return Err(MailAddressError);
        }
        Ok(Self(format!("{name}@{}", domain.to_ascii_lowercase())))
    }
}

/// A dot-atom (RFC 5322, 3.2.3); quoted names are nobody's in practice and are refused.
fn is_name(name: &str) -> bool {
    let atom = |byte: u8| byte.is_ascii_alphanumeric() || b"!#$%&'*+-/=?^_`{|}~".contains(&byte);
    name.len() <= MOST_BEFORE
        && name.split('.').all(|part| !part.is_empty() && part.bytes().all(atom))
}

/// Two labels or more; an address of the network in brackets is refused.
fn is_domain(domain: &str) -> bool {
    let label = |label: &str| {
        (1..=MOST_LABEL).contains(&label.len())
            && !label.starts_with('-')
            && !label.ends_with('-')
            && label.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
    };
    domain.contains('.') && domain.split('.').all(label)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn read(text: &str) -> Result<String, MailAddressError> {
        text.parse::<MailAddress>().map(|address| address.to_string())
    }

    // Cases after RFC 5321, 4.5.3.1 (lengths) and RFC 5322, 3.2.3 (dot-atom).
    #[test]
    fn an_address_is_taken_as_the_standards_write_it() {
        assert_eq!(read(" Ada.K+loop@Farm.Example "), Ok("Ada.K+loop@farm.example".to_owned()));
        assert!(read(&format!("{}@farm.example", "a".repeat(64))).is_ok());
        assert!(read("o'neil@x-y.example").is_ok());
    }

    #[test]
    fn what_could_carry_another_header_or_another_address_is_refused() {
        let long = format!("{}@farm.example", "a".repeat(65));
        let longer = format!("a@{}.example", "b".repeat(250));
        for wrong in [
            "",
            "ada",
            "@farm.example",
            "ada@",
            "ada@farm",
            "a@b@c .example",
            "ada@[127.0.0.1]",
            "ada@farm.example\nBcc: x@y.example",
            "ada@farm.example, x@y.example",
            "a..b@c.example",
            ".a@c.example",
            "<ada@farm.example>",
            "ada@-farm.example",
            "ada@farm..example",
            "\"a b\"@c.example",
            "ä@c.example",
            &long,
            &longer,
        ] {
            assert_eq!(read(wrong), Err(MailAddressError), "{wrong:?}");
        }
    }
}
