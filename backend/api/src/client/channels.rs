//! Channels by which the farm is told things.

use spareloop_domain::words::ChannelId;

use super::call::{ActKey, CallError, Client};
use crate::channels::{AddChannel, ChangeChannel, ChannelMade, ChannelView, Channels};

impl Client {
    /// The farm's channels, and whether the server sends letters.
    pub fn channels(&self) -> Result<Channels, CallError> {
        self.get("/channels", &[])
    }
    /// Adds a channel; what opens it is in the answer and nowhere else.
    pub fn add_channel(
        &self,
        key: &ActKey,
        request: &AddChannel,
    ) -> Result<ChannelMade, CallError> {
        self.act("/channels", key, request)
    }
    /// Changes what a channel of e-mail brings.
    pub fn change_channel(
        &self,
        key: &ActKey,
        channel: ChannelId,
        request: &ChangeChannel,
    ) -> Result<ChannelView, CallError> {
        self.act(&format!("/channels/{channel}/change"), key, request)
    }
    /// Gives a channel a new secret; the old one stops working.
    pub fn remake_channel(
        &self,
        key: &ActKey,
        channel: ChannelId,
    ) -> Result<ChannelMade, CallError> {
        self.act(&format!("/channels/{channel}/remake"), key, &serde_json::json!({}))
    }
    /// Ends a channel.
    pub fn end_channel(&self, key: &ActKey, channel: ChannelId) -> Result<ChannelView, CallError> {
        self.act(&format!("/channels/{channel}/end"), key, &serde_json::json!({}))
    }
}
