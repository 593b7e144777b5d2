//! The farm's append-only ledger.
