//! What a sync with nothing new costs: by the number of devices, not by the length of the ledger.

use spareloop_tests::farm::Device;
use spareloop_tests::network::{Network, invite};

use crate::Size;
use crate::filled::fill;
use crate::proxy::Proxy;

/// Bytes that one more device may add: its id, its place and a hash, in JSON.
const OF_A_DEVICE: u64 = 400;

pub(crate) fn run(size: Size) {
    let network = Network::embedded();
    let proxy = Proxy::before(network.server.address());
    println!("\na sync with nothing new");
    let small: Vec<u64> =
        [1, 2, 5, 20].iter().map(|devices| quiet(&network, &proxy, 1_000, *devices)).collect();
    quiet(&network, &proxy, size.entries / 2, 1);
    for (devices, bytes) in [1, 2, 5, 20].iter().zip(&small) {
        let most = small[0] + (devices - 1) * OF_A_DEVICE;
        assert!(*bytes <= most, "{bytes} bytes for {devices} devices, at most {most}");
    }
}

/// The bytes of the second sync.
fn quiet(network: &Network, proxy: &Proxy, entries: usize, devices: usize) -> u64 {
    let name = format!("Farm{entries}x{devices}");
    let device = Device::of_a_farm(&network.folder().join(&name), &name);
    let code = invite(&network.coordinator, &name);
    let login = name.to_lowercase();
    let words = ["farm", "connect", "--server", &proxy.url, "--invite", &code];
    device.run(&[&words[..], &["--login", &login, "--display-name", &name]].concat()).done();
    fill(&device, entries, devices);
    device.sync();
    device.sync();
    proxy.count();
    let said = device.sync();
    assert_eq!((&said["sent"], &said["fetched"]), (&0.into(), &0.into()), "{said}");
    let bytes = proxy.count();
    println!("  {entries:>7} entries, {devices:>2} devices: {bytes:>6} bytes");
    bytes
}
