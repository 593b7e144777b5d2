//! Claims on what arrived: made by the taker, answered by the giver, decided by the coordinator.

use spareloop_api::claims::{ClaimView, DecideClaim, MakeClaim};
use spareloop_api::exchange::Reason;
use spareloop_domain::exchange::ClaimAct;
use spareloop_domain::words::{ClaimId, HandOverId};
use spareloop_store::claims::{self, Claim, NewClaim};

use super::rounds::network_of;
use crate::auth::caller::{Coordinator, Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::views::farm;

/// Most claims of a list.
const MOST: u32 = 500;

fn view(claim: Claim) -> ClaimView {
    ClaimView {
        claim: claim.id,
        hand_over: claim.hand_over,
        hold: claim.hold,
        giver: farm(claim.giver),
        taker: farm(claim.taker),
        variety: claim.variety,
        kind: claim.kind,
        count: claim.count,
        words: claim.words,
        state: claim.state.code().to_owned(),
        made_at: claim.made_at,
        answer_by: claim.answer_by,
        answer: claim.answer,
        settled: claim.settled,
        decision: claim.decision,
    }
}

/// The claims of the member's farm, or all of the network for its coordinator.
pub async fn list(house: &House, member: Member) -> Result<Vec<ClaimView>, ServerError> {
    let now = house.now();
    let found = house
        .read(move |tx| claims::claims(tx, member.network, member.viewer(), MOST, now))
        .await?;
    Ok(found.into_iter().map(view).collect())
}

/// One claim.
pub async fn one(house: &House, member: Member, id: ClaimId) -> Result<ClaimView, ServerError> {
    let now = house.now();
    let found =
        house.read(move |tx| claims::claim(tx, member.network, member.viewer(), id, now)).await?;
    Ok(view(found))
}

/// The taker says what is wrong with what arrived.
pub async fn make(
    house: &House,
    grower: Grower,
    key: &Key,
    hand_over: HandOverId,
    request: MakeClaim,
) -> Result<ClaimView, ServerError> {
    let act = key.act(&house.keys, grower.person, "make claim", &(hand_over, &request))?;
    let now = house.now();
    let new = NewClaim {
        id: request.claim,
        hand_over,
        kind: request.kind,
        count: request.count,
        words: request.words,
    };
    house
        .settle(act, move |tx| claims::make(tx, grower.network, grower.farm, &new, now).map(view))
        .await
}

/// One of the two farms grants, disputes or takes back.
pub async fn act(
    house: &House,
    grower: Grower,
    key: &Key,
    id: ClaimId,
    (what, reason): (ClaimAct, Reason),
) -> Result<ClaimView, ServerError> {
    let operation = match what {
        ClaimAct::GrantByGiver => "grant claim",
        ClaimAct::DisputeByGiver => "dispute claim",
        ClaimAct::WithdrawByTaker => "withdraw claim",
        ClaimAct::DecideByCoordinator => return Err(ServerError::not_found()),
    };
    let act = key.act(&house.keys, grower.person, operation, &(id, &reason))?;
    let (who, now) = ((grower.network, grower.farm), house.now());
    house.settle(act, move |tx| claims::act(tx, who, id, what, &reason.why, now).map(view)).await
}

/// The coordinator decides.
pub async fn decide(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    id: ClaimId,
    request: DecideClaim,
) -> Result<ClaimView, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "decide claim", &(id, &request))?;
    let (by, now) = ((network_of(coordinator)?, coordinator.person), house.now());
    house
        .settle(act, move |tx| {
            claims::decide(tx, by, id, (request.count, &request.why), now).map(view)
        })
        .await
}
