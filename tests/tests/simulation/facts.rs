//! Every entry that was ever committed, taken down by the simulation at the commit, whatever the
//! rooms under test say of it later.

use std::collections::{BTreeMap, BTreeSet};

use spareloop_domain::ledger::Draft;

use crate::violation::{Held, Invariant, broken};
use crate::witness::Row;

/// What became of a fact.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// It must be everywhere in the end.
    InForce,
    /// Taken back before it was sent.
    Withdrawn,
    /// The only file that held it was put back from an older copy: it may be gone.
    Lost,
}

/// How many places may say it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Copies {
    /// One file held it until it was sent.
    One,
    /// A file that held it was copied, so that two devices may bring it, or one that withdrew it;
    /// or it was noted again, and an old push may bring it at its old place.
    Several,
}

#[derive(Debug, Clone)]
struct Fact {
    on: String,
    kind: String,
    body: String,
    standing: Standing,
    copies: Copies,
}

impl Fact {
    /// Whether the server can keep it.
    fn keepable(&self) -> bool {
        self.kind.len() <= 64
    }
}

/// All facts, by the entry's id.
#[derive(Debug, Default)]
pub struct Facts(BTreeMap<String, Fact>);

impl Facts {
    /// An entry was committed.
    pub fn committed(&mut self, draft: &Draft) {
        let fact = Fact {
            on: draft.on.to_string(),
            kind: draft.body.kind().to_owned(),
            body: draft.body.to_json().to_string(),
            standing: Standing::InForce,
            copies: Copies::One,
        };
        self.0.insert(draft.id.to_string(), fact);
    }

    /// The server wrote a draft itself, under the id of that row.
    pub fn written_by_house(&mut self, draft: &Draft, row: &Row) {
        let id = row.id.clone();
        self.committed(draft);
        if let Some(fact) = self.0.remove(&draft.id.to_string()) {
            self.0.insert(id, fact);
        }
    }

    /// An entry was taken back.
    pub fn withdrawn(&mut self, id: &str) {
        if let Some(fact) = self.0.get_mut(id) {
            fact.standing = Standing::Withdrawn;
        }
    }

    /// A file that holds these was copied, or they were noted again at another place.
    pub fn copied(&mut self, ids: impl IntoIterator<Item = String>) {
        for id in ids {
            if let Some(fact) = self.0.get_mut(&id) {
                fact.copies = Copies::Several;
            }
        }
    }

    /// A file that held `before` holds `after` now, put back from a copy; others hold `elsewhere`.
    /// Answers what is lost by that and what came back.
    pub fn put_back(
        &mut self,
        before: &BTreeSet<String>,
        after: &BTreeSet<String>,
        elsewhere: &BTreeSet<String>,
    ) -> Vec<String> {
        let mut said = Vec::new();
        for id in before {
            let fact = self.0.get_mut(id).filter(|fact| fact.standing == Standing::InForce);
            if let Some(fact) = fact
                && !after.contains(id)
                && !elsewhere.contains(id)
            {
                fact.standing = Standing::Lost;
                said.push(format!("lost {id}"));
            }
        }
        for id in after {
            let fact = self.0.get_mut(id).filter(|fact| fact.standing != Standing::InForce);
            if let Some(fact) = fact {
                fact.standing = Standing::InForce;
                said.push(format!("back {id}"));
            }
        }
        said
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// Holds the ledger that all agree on, and what devices have set aside, against the facts.
    pub fn hold_against(&self, rows: &[Row], parked: &BTreeSet<String>) -> Held {
        let mut by_id: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
        for row in rows {
            by_id.entry(&row.id).or_default().push(row);
        }
        if let Some(id) = by_id.keys().find(|id| !self.0.contains_key(**id)) {
            return broken(Invariant::EntriesEverywhere, format!("nobody committed entry {id}"));
        }
        for (id, fact) in &self.0 {
            let found = by_id.get(id.as_str()).map_or(&[][..], Vec::as_slice);
            fact.hold_against(id, found, parked)?;
        }
        Ok(())
    }
}

impl Fact {
    fn hold_against(&self, id: &str, found: &[&Row], parked: &BTreeSet<String>) -> Held {
        let wrong = |what: &str| {
            broken(
                Invariant::EntriesEverywhere,
                format!("entry {id} ({}, {:?}) {what}", self.kind, self.standing),
            )
        };
        let says_so =
            |row: &&Row| (&row.on_day, &row.kind, &row.body) == (&self.on, &self.kind, &self.body);
        if !found.iter().all(says_so) {
            return wrong("says something else than what was committed");
        }
        if found.len() > 1 && self.copies == Copies::One {
            return wrong("stands in several places");
        }
        match (self.standing, found) {
            (Standing::InForce, []) if self.keepable() => wrong("is missing"),
            (Standing::InForce, []) if !parked.contains(id) => {
                wrong("is neither kept nor set aside")
            }
            (Standing::Withdrawn, [_, ..]) if self.copies == Copies::One => {
                wrong("was taken back and is there")
            }
            _ => Ok(()),
        }
    }
}
