//! Lots and sessions by what a sheet calls them.
//!
//! What may not enter: what becomes of a row.

use spareloop_domain::words::{LotId, SessionId};
use uuid::Uuid;

use super::Scratch;
use crate::find;
use crate::import::lasting::{self, label_key};

impl Scratch {
    /// The lot that a key names, if it is there, else the id that it will have: the same on every
    /// device, so that a file imported twice doesn't count its stock twice.
    pub(in crate::import) fn lot_of_key(&self, key: &str) -> Result<LotId, LotId> {
        for salt in 0_u32.. {
            let id = LotId::new(self.lasting_id(key, salt));
            if self.book.lots.contains_key(&id) {
                return Ok(id);
            }
            if !self.codes.contains(&id.code()) {
                return Err(id);
            }
        }
        // Four thousand million codes can't all be taken on one farm.
        Err(LotId::new(self.lasting_id(key, u32::MAX)))
    }

    /// The lot of a row that begins one: by its key, or by its code where the label is that of a
    /// lot in the book, as in a sheet that came out of it.
    pub(in crate::import) fn lot_of_row(
        &self,
        key: &str,
        label: Option<&str>,
    ) -> Result<LotId, LotId> {
        self.lot_of_key(key).or_else(|new| {
            let code = label.map(|label| label.trim().to_uppercase());
            match code.filter(|code| self.codes.contains(code)) {
                Some(code) => {
                    self.book.lots.keys().find(|lot| lot.code() == code).copied().ok_or(new)
                }
                None => Err(new),
            }
        })
    }

    /// A lot as a person names it in a file: by the label it came with, or by its code.
    pub(in crate::import) fn named_lot(&self, label: &str) -> Result<LotId, String> {
        self.lot_of_key(&label_key(label)).or_else(|_| {
            // A sheet of ours names lots by their codes.
            find::lot(&self.book, self.farm.id, label)
                .map(|lot| lot.id)
                .map_err(|fault| format!("no lot has the label or code {label}. {}", fault.hint))
        })
    }

    /// The dividing session that a sheet names on a day.
    pub(in crate::import) fn session_of_key(&self, key: &str) -> SessionId {
        SessionId::new(self.lasting_id(&format!("session:{key}"), 0))
    }

    pub(super) fn lasting_id(&self, key: &str, salt: u32) -> Uuid {
        lasting::id(self.farm.id, key, salt)
    }
}
