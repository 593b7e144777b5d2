//! Problems as RFC 9457 tells them, with stable codes and a hint each.

use serde::{Deserialize, Serialize};
use utoipa::openapi::schema::Type;
use utoipa::openapi::{ObjectBuilder, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

macro_rules! codes {
    ($($(#[$doc:meta])* $name:ident = $code:literal, $status:literal, $title:literal, $hint:literal;)+) => {
        /// Why a request was refused. The code never changes its meaning.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
        pub enum ProblemCode {
            $($(#[$doc])* #[serde(rename = $code)] $name,)+
            /// A code of a newer server.
            #[serde(other)]
            Unknown,
        }

        impl ProblemCode {
            /// Every code that this version gives.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// The stable code.
            pub const fn code(self) -> &'static str {
                match self { $(Self::$name => $code,)+ Self::Unknown => "unknown" }
            }
            /// The HTTP status.
            pub const fn status(self) -> u16 {
                match self { $(Self::$name => $status,)+ Self::Unknown => 500 }
            }
            /// What it is, in a few words.
            pub const fn title(self) -> &'static str {
                match self { $(Self::$name => $title,)+ Self::Unknown => "A problem that this version doesn't know" }
            }
            /// What to do next.
            pub const fn hint(self) -> &'static str {
                match self { $(Self::$name => $hint,)+ Self::Unknown => "Update the client, then try again." }
            }
        }
    };
}

codes! {
    /// The request can't be read or a field is wrong.
    BadRequest = "bad-request", 400, "The request can't be read", "Correct the field that the detail names and send it again.";
    /// A field is readable and refused by a rule.
    Refused = "refused", 422, "That is refused", "Read the detail, correct it and send it again; nothing was changed.";
    /// No sign-in, or one that no longer holds.
    SignInNeeded = "sign-in-needed", 401, "Sign-in needed", "Sign in again; what is on this device is kept.";
    /// Name or password wrong.
    WrongSignIn = "wrong-sign-in", 401, "Name or password is wrong", "Check both and try again. A coordinator can send a new invitation.";
    /// A refresh token was used twice.
    SignInEnded = "sign-in-ended", 401, "This sign-in was ended", "A sign-in token was used twice, so all of its tokens were ended. Sign in again.";
    /// A device was shut out.
    DeviceShutOut = "device-shut-out", 401, "This device was shut out", "Its entries are kept here. Connect it again with a sign-in if it is yours.";
    /// Signed in, but not for that.
    NotAllowed = "not-allowed", 403, "Not for this sign-in", "Ask the coordinator of your network.";
    /// Not there, or not yours to see: the two look the same.
    NotFound = "not-found", 404, "Nothing here by that name", "Check the address or the id.";
    /// The method isn't for this address.
    MethodNotAllowed = "method-not-allowed", 405, "Not that way", "Look into the interface's description at /openapi.json.";
    /// An invitation, set-up link or reset is used up, withdrawn or too old.
    CodeUsedUp = "code-used-up", 410, "That code no longer works", "Ask for a new one; each works once and for a limited time.";
    /// A name that must be single is taken.
    AlreadyTaken = "already-taken", 409, "That is taken already", "Choose another.";
    /// Not enough is free.
    NotEnoughFree = "not-enough-free", 409, "Not that many are free", "Ask for what is free, or wait: freed stock goes back on the sheet.";
    /// A farm would be owed or owe more than the coordinator allows it.
    BeyondLimit = "beyond-limit", 409, "A farm would get too far from even", "Take fewer, let the other farm give something first, or ask the coordinator for a higher limit.";
    /// A round of the network is under way.
    RoundUnderWay = "round-under-way", 409, "A round is under way", "Wait until it has proposed; a network has one at a time.";
    /// The state of the thing doesn't allow the act.
    NotInThatState = "not-in-that-state", 409, "It is past that", "Look at it again: somebody has acted since.";
    /// The entry's place in the chain is taken by another.
    Fork = "fork", 409, "Two different entries claim one place (fork)", "This device was restored from an old copy or cloned. Nothing is lost: the client takes a new device id and sends again what the server lacks.";
    /// Entries are missing before this one.
    Gap = "gap", 409, "Entries are missing before this one", "Send from the place that the server names.";
    /// An entry's bytes don't match its hash or its chain.
    BrokenChain = "broken-chain", 422, "An entry doesn't match its hash or chain", "It was changed after it was made. It is parked on the device; run doctor.";
    /// An entry belongs to another farm.
    WrongFarm = "wrong-farm", 422, "That entry is another farm's", "Nothing was stored. Check which farm this device belongs to.";
    /// An entry's device is registered nowhere.
    DeviceUnknown = "device-unknown", 422, "That entry's device is not known here", "Nothing of it was stored. Ask the one who runs the server; the entry is parked on the device that brought it.";
    /// An idempotency key came again with another body.
    KeyReused = "key-reused", 422, "That key was used for another request", "Make a new Idempotency-Key for a new act.";
    /// The same key is being worked on right now.
    StillWorking = "still-working", 409, "The first of these requests is still being worked on", "Wait a moment and send it again unchanged.";
    /// The key is missing.
    KeyMissing = "key-missing", 400, "An Idempotency-Key header is needed", "Send one, 8 to 64 letters, digits or hyphens, made once per act.";
    /// Too large.
    TooLarge = "too-large", 413, "That is too large", "Send it in smaller pieces.";
    /// Too often.
    TooMany = "too-many", 429, "Too many tries", "Wait as long as Retry-After says, then try again.";
    /// Something broke on our side.
    Broken = "broken", 500, "Something broke on the server", "Nothing you sent was half done. Try again later; the server's log has the details.";
    /// The database is out of reach or busy.
    Unavailable = "unavailable", 503, "The server can't reach its book right now", "Keep on working: the client keeps everything. Try again in a while.";
}

// By hand: the derive doesn't read a `rename` that comes out of a macro, and would describe the names of
// the variants, which are never sent.
impl PartialSchema for ProblemCode {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .description(Some("Why a request was refused. The code never changes its meaning."))
            .enum_values(Some(Self::ALL.iter().map(|code| code.code())))
            .into()
    }
}

impl ToSchema for ProblemCode {}

/// A problem document (RFC 9457), `application/problem+json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Problem {
    /// `urn:spareloop:problem:` and the code.
    #[serde(rename = "type")]
    pub kind: String,
    /// What it is, in a few words.
    pub title: String,
    /// The HTTP status.
    pub status: u16,
    /// What happened this time.
    pub detail: String,
    /// The stable code.
    pub code: ProblemCode,
    /// What to do next.
    pub hint: String,
}

impl Problem {
    /// The problem of a code, with what happened this time.
    pub fn new(code: ProblemCode, detail: impl Into<String>) -> Self {
        Self {
            kind: format!("urn:spareloop:problem:{}", code.code()),
            title: code.title().to_owned(),
            status: code.status(),
            detail: detail.into(),
            code,
            hint: code.hint().to_owned(),
        }
    }
}
