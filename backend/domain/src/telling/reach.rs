//! Which addresses a server may be made to call on a farm's word.
//!
//! Whoever names a webhook makes the server call it. Addresses that lead into the server's own
//! machine or the network around it are refused, or a stranger's word would reach what no stranger
//! can. The lists are IANA's registries of special-purpose addresses (RFC 6890 and its updates);
//! what they don't call globally reachable is refused, and so is whatever carries another address
//! within it. What may not enter: names. They are looked up elsewhere, and every address that a
//! name stands for is checked.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// An address that is not of the open internet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("it leads to an address that is not of the open internet ({what})")]
pub struct NotPublic {
    /// What the address is for.
    pub what: &'static str,
}

/// A block of addresses: its first one, how many bits are fixed, what it is for.
type Block4 = ([u8; 4], u32, &'static str);
type Block6 = ([u16; 8], u32, &'static str);

// IANA IPv4 Special-Purpose Address Registry, and multicast (RFC 5771).
const BLOCKS_4: [Block4; 17] = [
    ([0, 0, 0, 0], 8, "this network"),
    ([10, 0, 0, 0], 8, "private"),
    ([100, 64, 0, 0], 10, "shared by a provider's customers"),
    ([127, 0, 0, 0], 8, "the machine itself"),
    ([169, 254, 0, 0], 16, "link-local"),
    ([172, 16, 0, 0], 12, "private"),
    ([192, 0, 0, 0], 24, "protocol assignments"),
    ([192, 0, 2, 0], 24, "documentation"),
    ([192, 31, 196, 0], 24, "AS112"),
    ([192, 52, 193, 0], 24, "AMT"),
    ([192, 88, 99, 0], 24, "6to4 relay"),
    ([192, 168, 0, 0], 16, "private"),
    ([192, 175, 48, 0], 24, "AS112"),
    ([198, 18, 0, 0], 15, "benchmarking"),
    ([198, 51, 100, 0], 24, "documentation"),
    ([203, 0, 113, 0], 24, "documentation"),
    // Multicast, and all above: reserved and broadcast.
    ([224, 0, 0, 0], 3, "multicast or reserved"),
];

// Of IPv6 only 2000::/3 is given out as global unicast (RFC 4291, IANA's registry of it); these are
// the blocks within it that are something else.
const BLOCKS_6: [Block6; 5] = [
    // Teredo, benchmarking, ORCHID and others, some of them carrying an IPv4 address.
    ([0x2001, 0, 0, 0, 0, 0, 0, 0], 23, "protocol assignments"),
    ([0x2001, 0xdb8, 0, 0, 0, 0, 0, 0], 32, "documentation"),
    ([0x2002, 0, 0, 0, 0, 0, 0, 0], 16, "6to4"),
    ([0x2620, 0x4f, 0x8000, 0, 0, 0, 0, 0], 48, "AS112"),
    ([0x3fff, 0, 0, 0, 0, 0, 0, 0], 20, "documentation"),
];

/// Refuses an address that is not of the open internet.
///
/// ```
/// use spareloop_domain::telling::check_public;
/// # fn main() -> Result<(), std::net::AddrParseError> {
/// assert!(check_public("127.0.0.1".parse()?).is_err());
/// assert!(check_public("9.9.9.9".parse()?).is_ok());
/// # Ok(())
/// # }
/// ```
pub fn check_public(address: IpAddr) -> Result<(), NotPublic> {
    match address {
        IpAddr::V4(address) => check_4(address),
        IpAddr::V6(address) => check_6(address),
    }
}

fn check_4(address: Ipv4Addr) -> Result<(), NotPublic> {
    let bits = u32::from(address);
    let within = |(first, fixed, _): &&Block4| {
        (bits ^ u32::from(Ipv4Addr::from(*first))).leading_zeros() >= *fixed
    };
    match BLOCKS_4.iter().find(within) {
        Some((_, _, what)) => Err(NotPublic { what }),
        None => Ok(()),
    }
}

fn check_6(address: Ipv6Addr) -> Result<(), NotPublic> {
    if address.segments()[0] & 0xe000 != 0x2000 {
        return Err(NotPublic { what: outside(address) });
    }
    let bits = u128::from(address);
    let within = |(first, fixed, _): &&Block6| {
        (bits ^ u128::from(Ipv6Addr::from(*first))).leading_zeros() >= *fixed
    };
    match BLOCKS_6.iter().find(within) {
        Some((_, _, what)) => Err(NotPublic { what }),
        None => Ok(()),
    }
}

fn outside(address: Ipv6Addr) -> &'static str {
    match address.segments() {
        [0, 0, 0, 0, 0, 0, 0, 1] => "the machine itself",
        [0, 0, 0, 0, 0, 0xffff, _, _] => "an IPv4 address within an IPv6 one",
        [0x64, 0xff9b, ..] => "translated to IPv4",
        [first, ..] if first & 0xfe00 == 0xfc00 => "unique local",
        [first, ..] if first & 0xffc0 == 0xfe80 => "link-local",
        [first, ..] if first & 0xff00 == 0xff00 => "multicast",
        _ => "not given out",
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use proptest::prelude::*;

    use super::*;

    fn refused(text: &str) -> bool {
        check_public(text.parse().unwrap()).is_err()
    }

    // First and last address of each block of the IANA IPv4 Special-Purpose Address Registry that is
    // not globally reachable, and their neighbours outside; from memory of the registry.
    #[test]
    fn the_edges_of_every_special_block_of_ipv4_are_where_iana_has_them() {
        for (first, last) in [
            ("0.0.0.0", "0.255.255.255"),
            ("10.0.0.0", "10.255.255.255"),
            ("100.64.0.0", "100.127.255.255"),
            ("127.0.0.0", "127.255.255.255"),
            ("169.254.0.0", "169.254.255.255"),
            ("172.16.0.0", "172.31.255.255"),
            ("192.0.0.0", "192.0.0.255"),
            ("192.0.2.0", "192.0.2.255"),
            ("192.168.0.0", "192.168.255.255"),
            ("198.18.0.0", "198.19.255.255"),
            ("198.51.100.0", "198.51.100.255"),
            ("203.0.113.0", "203.0.113.255"),
            ("224.0.0.0", "255.255.255.255"),
        ] {
            assert!(refused(first) && refused(last), "{first} to {last}");
        }
        for public in [
            "1.0.0.0",
            "9.255.255.255",
            "11.0.0.0",
            "100.63.255.255",
            "100.128.0.0",
            "126.255.255.255",
            "128.0.0.0",
            "169.253.255.255",
            "169.255.0.0",
            "172.15.255.255",
            "172.32.0.0",
            "192.0.1.0",
            "192.0.3.0",
            "192.167.255.255",
            "192.169.0.0",
            "198.17.255.255",
            "198.20.0.0",
            "198.51.101.0",
            "203.0.114.0",
            "223.255.255.255",
        ] {
            assert!(!refused(public), "{public}");
        }
    }

    // The metadata services of hosters answer at these (common practice, no source).
    #[test]
    fn a_hosters_metadata_service_is_out_of_reach() {
        assert!(refused("169.254.169.254") && refused("fd00:ec2::254"));
        assert!(refused("100.100.100.200") && refused("192.0.0.192"));
    }

    // IANA IPv6 Special-Purpose Address Registry; from memory of the registry.
    #[test]
    fn ipv6_is_open_only_where_global_unicast_is_given_out() {
        for private in [
            "::",
            "::1",
            "::ffff:127.0.0.1",
            "::ffff:9.9.9.9",
            "::127.0.0.1",
            "64:ff9b::7f00:1",
            "64:ff9b:1::1",
            "100::1",
            "2001::1",
            "2001:1ff:ffff::",
            "2001:db8::1",
            "2002:7f00:1::1",
            "2620:4f:8000::1",
            "3fff::1",
            "3fff:fff:ffff::",
            "4000::1",
            "5f00::1",
            "fc00::1",
            "fdff::1",
            "fe80::1",
            "febf::1",
            "fec0::1",
            "ff02::1",
        ] {
            assert!(refused(private), "{private}");
        }
        for public in
            ["2000::1", "2001:200::1", "2606:4700::1", "2a00::1", "3ffe::1", "3fff:1000::1"]
        {
            assert!(!refused(public), "{public}");
        }
    }

    proptest! {
        // The standard library's own judgement of some of the blocks, as another opinion.
        #[test]
        fn whatever_the_standard_library_calls_local_is_refused(bits in any::<u32>()) {
            let address = Ipv4Addr::from(bits);
            let local = address.is_private() || address.is_loopback() || address.is_link_local()
                || address.is_multicast() || address.is_broadcast() || address.is_documentation()
                || address.is_unspecified();
            prop_assert!(!local || check_4(address).is_err(), "{address}");
        }

        #[test]
        fn an_ipv4_address_is_never_reached_through_an_ipv6_one(bits in any::<u32>()) {
            let [p, q, r, s] = bits.to_be_bytes();
            let [a, b] = [[p, q], [r, s]].map(u16::from_be_bytes);
            for carrier in [
                Ipv6Addr::new(0, 0, 0, 0, 0, 0xffff, a, b),
                Ipv6Addr::new(0, 0, 0, 0, 0, 0, a, b),
                Ipv6Addr::new(0x64, 0xff9b, 0, 0, 0, 0, a, b),
                Ipv6Addr::new(0x2002, a, b, 0, 0, 0, 0, 1),
                Ipv6Addr::new(0x2001, 0, 1, 2, 3, 4, !a, !b),
            ] {
                prop_assert!(check_6(carrier).is_err(), "{carrier}");
            }
        }
    }
}
