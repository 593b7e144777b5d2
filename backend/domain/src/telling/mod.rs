//! By which channels a farm is told things, and when it is tried again.
//!
//! ```text
//! channel   unconfirmed -> open -> ended; what a channel of e-mail brings
//! address   an e-mail address
//! reach     which addresses of the internet a server may be made to call
//! again     after how long a delivery that failed is tried again, and when it is given up
//! agenda    the days that a farm has to mind: looks, holds that lapse, wants that are needed
//! ```
//!
//! What may not enter: sending, sockets, names to be looked up, clocks and dice (times and chance
//! are arguments), what a message says.

mod address;
mod again;
mod agenda;
mod channel;
mod reach;

pub use address::{MailAddress, MailAddressError};
pub use again::{Chance, GIVE_UP_AFTER, Next, next};
pub use agenda::{
    Appointment, Certain, Coming, Lapsing, Needed, Side, Unanswered, When, answer_due, lapsing,
    look_days, needed, swap_day,
};
pub use channel::{ChannelAct, ChannelKind, ChannelState, Refused, Takes};
pub use reach::{NotPublic, check_public};
