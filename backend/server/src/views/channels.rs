//! Channels as their farm sees them.

use spareloop_api::channels::ChannelView;
use spareloop_store::channels::{Channel, Standing, Target};

/// A channel, and how what is brought over it stands.
pub fn channel(channel: Channel, standing: Standing) -> ChannelView {
    let kind = channel.target.kind();
    let (target, takes) = match channel.target {
        Target::Mail { address, takes } => (Some(address.to_string()), Some(takes)),
        Target::Webhook { url, .. } => (Some(url), None),
        Target::Feed | Target::Calendar => (None, None),
    };
    let (ended_at, ended_why) = channel.ended.unzip();
    ChannelView {
        channel: channel.id,
        kind,
        target,
        takes,
        state: channel.state,
        made_at: channel.made_at,
        ended_at,
        ended_why: ended_why.map(|why| why.to_string()),
        waiting: standing.waiting,
        given_up: standing.given_up,
        delivered_at: standing.delivered_at,
        trouble: standing.trouble,
    }
}
