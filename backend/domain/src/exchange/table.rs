//! Every state against every act, as a Markdown table: the docs show it and a test walks it.
//!
//! What may not enter: rules. It only asks the transition functions.

use std::fmt::{Display, Write};

use super::{
    Answer, AnswerAct, ClaimAct, ClaimState, HandOverAct, HandOverState, HoldAct, HoldState,
    OfferAct, OfferState, ParcelAct, ParcelState, Party, PaymentAct, PaymentState, ProposalAct,
    ProposalState, QuestionAct, QuestionState, Refused, RoundAct, RoundState, TurnAct, TurnState,
    WantAct, WantState,
};

/// All tables.
pub fn tables() -> String {
    let mut text = String::new();
    let offer = table("Offer", OfferState::ALL, OfferAct::ALL, OfferAct::by, OfferState::after);
    let want = table("Want", WantState::ALL, WantAct::ALL, WantAct::by, WantState::after);
    let hold = table("Hold", HoldState::ALL, HoldAct::ALL, HoldAct::by, HoldState::after);
    let hand_over = table(
        "Hand-over",
        HandOverState::ALL,
        HandOverAct::ALL,
        HandOverAct::by,
        HandOverState::after,
    );
    let parcel =
        table("Parcel", ParcelState::ALL, ParcelAct::ALL, ParcelAct::by, ParcelState::after);
    let claim = table("Claim", ClaimState::ALL, ClaimAct::ALL, ClaimAct::by, ClaimState::after);
    let payment =
        table("Payment", PaymentState::ALL, PaymentAct::ALL, PaymentAct::by, PaymentState::after);
    let question = table(
        "Question to the giver: own need or the promise",
        QuestionState::ALL,
        QuestionAct::ALL,
        QuestionAct::by,
        QuestionState::after,
    );
    let turn = table(
        "Turn in the line for an offer",
        TurnState::ALL,
        TurnAct::ALL,
        TurnAct::by,
        TurnState::after,
    );
    let round = table("Round", RoundState::ALL, RoundAct::ALL, RoundAct::by, RoundState::after);
    let proposal = table(
        "Proposal",
        ProposalState::ALL,
        ProposalAct::ALL,
        ProposalAct::by,
        ProposalState::after,
    );
    let answer = table(
        "A farm's answer to a proposal",
        Answer::ALL,
        AnswerAct::ALL,
        AnswerAct::by,
        Answer::after,
    );
    for table in [
        offer, want, hold, hand_over, parcel, claim, payment, question, turn, round, proposal,
        answer,
    ] {
        text.push_str(&table);
    }
    text
}

fn table<S: Copy + Display, A: Copy + Display>(
    title: &str,
    states: &[S],
    acts: &[A],
    by: impl Fn(A) -> Party,
    after: impl Fn(S, A) -> Result<S, Refused>,
) -> String {
    let mut text = format!("### {title}\n\n| to be | who |");
    // Writing to a string does not fail.
    for state in states {
        let _ = write!(text, " {state} |");
    }
    text.push_str("\n|---|---|");
    text.push_str(&"---|".repeat(states.len()));
    text.push('\n');
    for act in acts {
        let _ = write!(text, "| {act} | {} |", by(*act));
        for state in states {
            let _ = match after(*state, *act) {
                Ok(next) => write!(text, " **{next}** |"),
                Err(refused) => write!(text, " no: {} |", refused.why),
            };
        }
        text.push('\n');
    }
    text.push('\n');
    text
}

#[cfg(test)]
mod tests {
    #![allow(clippy::expect_used)]
    use super::*;

    const HEAD: &str = "\
# States of an exchange

Made from the code (`backend/domain/src/exchange/table.rs`): every state against every act, where it
leads, or why it is refused. A test fails where this page says otherwise.

";

    #[test]
    fn every_pair_of_state_and_act_is_allowed_or_refused_with_a_reason_and_the_docs_say_so() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/STATES.md");
        let made = format!("{HEAD}{}", tables()).trim_end().to_owned() + "\n";
        if std::env::var_os("SPARELOOP_WRITE_STATES").is_some() {
            std::fs::write(path, &made).expect("the page can be written");
        }
        let page = std::fs::read_to_string(path).unwrap_or_default();
        assert!(page == made, "STATES.md is not as made: SPARELOOP_WRITE_STATES=1 writes it anew");
    }

    #[test]
    fn what_has_ended_never_begins_again() {
        for state in
            HoldState::ALL.iter().filter(|state| !state.is_live() && !state.has_changed_hands())
        {
            assert!(HoldAct::ALL.iter().all(|act| state.after(*act).is_err()), "{state}");
        }
    }

    #[test]
    fn stock_that_changed_hands_is_never_cut_released_or_let_lapse() {
        for state in [HoldState::HandedOver, HoldState::Received] {
            for act in HoldAct::ALL.iter().filter(|act| **act != HoldAct::ReceiveByTaker) {
                assert!(state.after(*act).is_err(), "{state} {act}");
            }
        }
    }

    #[test]
    fn a_refusal_says_what_is_so_and_what_to_do() {
        let refused = HoldState::Lapsed.after(HoldAct::AgreeByGiver).err();
        let text = refused.as_ref().map(ToString::to_string);
        assert_eq!(
            text.as_deref(),
            Some("this hold is lapsed, so it can't be agreed by the giver: it has ended")
        );
        assert!(refused.is_some_and(|refused| !refused.hint().is_empty()));
    }

    #[test]
    fn codes_are_read_back() {
        for state in HoldState::ALL {
            assert_eq!(state.code().parse(), Ok(*state));
        }
        for state in OfferState::ALL {
            assert_eq!(state.code().parse(), Ok(*state));
        }
    }
}
