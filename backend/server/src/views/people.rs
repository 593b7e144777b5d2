//! People, networks, invitations, devices.

use spareloop_api::people::{
    DeviceView, FarmOnPaperView, FarmView, InvitationView, Me, NetworkView, Role,
};
use spareloop_domain::words::{FarmId, NetworkId};
use spareloop_store::{Named, devices, people};
use uuid::Uuid;

use crate::auth::caller::Person;

/// Who the caller is.
pub fn me(me: people::Me) -> Me {
    Me {
        person: me.person,
        role: role(me.role),
        login: me.login,
        display_name: me.display_name,
        network: me.network.map(network),
        farm: me.farm.map(farm),
    }
}

/// A person as the policies know them.
pub fn person(me: &people::Me, acts_for: Option<FarmId>, family: Option<Uuid>) -> Person {
    Person {
        id: me.person,
        role: role(me.role),
        network: me.network.as_ref().map(|network| network.id),
        farm: me.farm.as_ref().map(|farm| farm.id),
        acts_for,
        family,
    }
}

const fn role(role: people::Role) -> Role {
    match role {
        people::Role::Coordinator => Role::Coordinator,
        people::Role::Grower => Role::Grower,
    }
}

/// A network.
pub fn network(named: Named<NetworkId>) -> NetworkView {
    NetworkView { id: named.id, name: named.name }
}

/// A farm.
pub fn farm(named: Named<FarmId>) -> FarmView {
    FarmView { id: named.id, name: named.name }
}

/// A farm on paper.
pub fn farm_on_paper(found: people::on_paper::FarmOnPaper) -> FarmOnPaperView {
    FarmOnPaperView {
        farm: farm(found.farm),
        consent_by: found.consent.by,
        consent_how: found.consent.how,
        consent_on: found.consent.on,
        ended_at: found.ended_at,
        sign_ins: found.sign_ins,
    }
}

/// An invitation.
pub fn invitation(invitation: people::Invitation) -> InvitationView {
    InvitationView {
        id: invitation.id,
        for_whom: invitation.for_whom,
        expires_at: invitation.expires_at,
        used_at: invitation.used_at,
    }
}

/// A device.
pub fn device(device: devices::Device) -> DeviceView {
    DeviceView {
        device: device.id,
        name: device.name,
        registered_at: device.registered_at,
        shut_out_at: device.shut_out_at,
    }
}
