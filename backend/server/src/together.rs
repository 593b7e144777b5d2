//! The farms' records of losses, emergence and yields taken together, network by network, so that each
//! farm can be told what all the others saw.
//!
//! Any replica may do it, and two at once write the same. What may not enter: what may be shown to
//! whom (`domain` says that), and requests: it takes seconds.

use chrono::{DateTime, Utc};
use spareloop_domain::belief::NetworkFit;
use spareloop_domain::words::{Day, FarmId};
use spareloop_store::Store;
use spareloop_store::network_summaries::{self, Timetable};

use crate::error::ServerError;

/// Which networks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Networks {
    /// Those whose turn it is.
    Due(Timetable),
    /// All of them.
    All,
}

/// Takes them together; answers how many networks.
pub fn take(store: &Store, which: Networks, now: DateTime<Utc>) -> Result<usize, ServerError> {
    let networks = store.read(|tx| match which {
        Networks::Due(timetable) => network_summaries::due(tx, timetable, now),
        Networks::All => network_summaries::all_networks(tx),
    })?;
    let made = Day::new(now.date_naive())
        .map_err(|error| ServerError::broken(format!("the server's clock: {error}")))?;
    for network in &networks {
        let read = store.read(|tx| network_summaries::records(tx, *network))?;
        let (farms, records): (Vec<FarmId>, Vec<_>) = read.farms.into_iter().unzip();
        let fitted = NetworkFit::of(records)
            .map_err(|error| ServerError::broken(format!("a network's records: {error}")))?;
        let told: Vec<_> = farms
            .into_iter()
            .enumerate()
            .map(|(at, farm)| (farm, fitted.told_to(at, made).ok()))
            .collect();
        store.write(|tx| network_summaries::put(tx, *network, &told, read.entries, now))?;
    }
    Ok(networks.len())
}
