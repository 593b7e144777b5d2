//! Keys and signed statements.

use spareloop_api::attest::{FeedStatement, KeyView, Standing, Stated, StatementView};
use spareloop_domain::attest::{
    CAUTION, Checked, Says, Statement, VerifyError, stated as in_words, tested,
};
use spareloop_store::attest::{StoredKey, StoredStatement};

/// A key.
pub fn key(stored: StoredKey) -> KeyView {
    KeyView { id: stored.record.id(), record: stored.record }
}

/// What a farm states about a lot: what stands first, then what doesn't and why.
pub fn stated(farm: &str, checked: Vec<Checked>) -> Stated {
    let tested = tested(checked.iter().filter_map(|one| one.outcome.as_ref().ok()));
    let mut statements: Vec<StatementView> =
        checked.into_iter().map(|one| statement(farm, one)).collect();
    // The sort keeps the order of those that are alike.
    statements.sort_by_key(|one| one.standing != Standing::Stands);
    Stated {
        tested: tested.code().to_owned(),
        tested_sentence: tested.sentence().to_owned(),
        statements,
        caution: CAUTION.to_owned(),
    }
}

/// One statement, as it stands.
pub fn statement(farm: &str, checked: Checked) -> StatementView {
    let Checked { kept, outcome } = checked;
    let taken_at = kept.taken_at.map(spareloop_domain::attest::Second::moment);
    match outcome {
        Ok(said) => StatementView {
            statement: Some(said.statement),
            kind: kind(&said).to_owned(),
            standing: Standing::Stands,
            sentence: in_words(&said, farm),
            key: Some(said.key),
            taken_at,
            compact: kept.compact,
        },
        Err(refused) => StatementView {
            statement: None,
            kind: "unreadable".to_owned(),
            standing: standing(&refused),
            sentence: format!("A statement of {farm} that no longer counts: {refused}."),
            key: None,
            taken_at,
            compact: kept.compact,
        },
    }
}

const fn kind(said: &Statement) -> &'static str {
    match said.says.kind() {
        Some(kind) => kind.code(),
        None => match said.says {
            Says::Revocation(_) => "revocation",
            _ => "unreadable",
        },
    }
}

const fn standing(refused: &VerifyError) -> Standing {
    match refused {
        VerifyError::Superseded { .. } => Standing::Superseded,
        VerifyError::Revoked { .. } => Standing::TakenBack,
        _ => Standing::DoesNotHold,
    }
}

/// A statement as it travels.
pub fn travelling(stored: StoredStatement) -> FeedStatement {
    FeedStatement {
        farm: stored.farm,
        statement: stored.id,
        lot: stored.lot,
        compact: stored.kept.compact,
        taken_at: stored.taken_at,
    }
}
