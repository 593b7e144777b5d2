//! Set-up, sign-in, networks, invitations, devices.

use spareloop_domain::words::{DeviceId, FarmId};

use super::call::{ActKey, CallError, Client};
use crate::exchange::Reason;
use crate::people::{
    DeviceRegistered, DeviceView, FarmOnPaperView, InvitationMade, InvitationView, Invite, Join,
    MakeFarmOnPaper, MakeNetwork, Me, NetworkView, Refresh, RegisterDevice, SetUp, SignIn, Tokens,
};

impl Client {
    /// The one-time link makes the first coordinator.
    pub fn set_up(&self, request: &SetUp) -> Result<Tokens, CallError> {
        self.post("/set-up", request)
    }
    /// Signs in.
    pub fn sign_in(&self, request: &SignIn) -> Result<Tokens, CallError> {
        self.post("/sign-in", request)
    }
    /// The old refresh token for new tokens.
    pub fn refresh(&self, request: &Refresh) -> Result<Tokens, CallError> {
        self.post("/refresh", request)
    }
    /// Ends the sign-in that the refresh token belongs to.
    pub fn sign_out(&self, request: &Refresh) -> Result<(), CallError> {
        self.post_silent("/sign-out", request)
    }
    /// Who the caller is.
    pub fn me(&self) -> Result<Me, CallError> {
        self.get("/me", &[])
    }
    /// Makes the coordinator's network.
    pub fn make_network(
        &self,
        key: &ActKey,
        request: &MakeNetwork,
    ) -> Result<NetworkView, CallError> {
        self.act("/networks", key, request)
    }
    /// Notes a farm that keeps its books on paper, with its consent.
    pub fn make_farm_on_paper(
        &self,
        key: &ActKey,
        request: &MakeFarmOnPaper,
    ) -> Result<FarmOnPaperView, CallError> {
        self.act("/farms-on-paper", key, request)
    }
    /// The network's farms on paper.
    pub fn farms_on_paper(&self) -> Result<Vec<FarmOnPaperView>, CallError> {
        self.get("/farms-on-paper", &[])
    }
    /// Notes that a farm on paper took its consent back.
    pub fn end_consent(
        &self,
        key: &ActKey,
        farm: FarmId,
        request: &Reason,
    ) -> Result<Vec<FarmOnPaperView>, CallError> {
        self.act(&format!("/farms-on-paper/{farm}/end"), key, request)
    }
    /// Invites a farm.
    pub fn invite(&self, key: &ActKey, request: &Invite) -> Result<InvitationMade, CallError> {
        self.act("/invitations", key, request)
    }
    /// Invitations of the coordinator's network.
    pub fn invitations(&self) -> Result<Vec<InvitationView>, CallError> {
        self.get("/invitations", &[])
    }
    /// Joins by invitation.
    pub fn join(&self, key: &ActKey, request: &Join) -> Result<Tokens, CallError> {
        self.act("/join", key, request)
    }
    /// Makes a device known.
    pub fn register_device(
        &self,
        key: &ActKey,
        request: &RegisterDevice,
    ) -> Result<DeviceRegistered, CallError> {
        self.act("/devices", key, request)
    }
    /// Devices of the caller's farm.
    pub fn devices(&self) -> Result<Vec<DeviceView>, CallError> {
        self.get("/devices", &[])
    }
    /// Shuts a device out; its entries stay.
    pub fn shut_out(&self, key: &ActKey, device: DeviceId) -> Result<DeviceView, CallError> {
        self.act(&format!("/devices/{device}/shut-out"), key, &serde_json::json!({}))
    }
}
