//! A signed-in connection to the server: whose token opens what, how tokens are renewed, how acts
//! are stored before they are sent.

use std::path::PathBuf;

use serde::Serialize;
use serde::de::DeserializeOwned;
use spareloop_api::client::{ActKey, CallError, Client};
use spareloop_api::people::{DeviceView, Refresh, Secret};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::value::network::values_of;
use spareloop_domain::words::DeviceId;

use super::{bearer, call_fault, client, new_key, refuse_other_farm, register, renewal_key};
use crate::book::acts::{self, Act, Ended};
use crate::book::keys::{self, Keys};
use crate::book::link::{self, Link};
use crate::book::{Keep, StockBook, farm, network, values};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;

/// A signed-in connection to the server.
pub struct Session {
    client: Client,
    book: PathBuf,
    keys: Keys,
    /// The link that it goes by.
    pub link: Link,
}

impl Session {
    /// Opens one for the farm at the desk.
    pub fn open(desk: &Desk) -> Result<Self, Fault> {
        let mut file = desk.file()?;
        Self::of(desk, &mut file)
    }

    /// Opens one for an open book.
    pub fn of(desk: &Desk, file: &mut StockBook) -> Result<Self, Fault> {
        let link = file.read(link::find)?.ok_or_else(|| {
            Fault::sign_in(
                "This farm is not connected to a network yet.",
                "Connect it: spareloop farm connect --server URL --invite CODE --login NAME",
            )
        })?;
        let client = client(desk, &link.server)?;
        let book = file.path().to_owned();
        let keys = keys::read(&book)?;
        Ok(Self { client, book, keys, link })
    }

    /// Calls as the signed-in person. A token that no longer holds is renewed once.
    pub fn call<T>(
        &mut self,
        call: impl Fn(&Client) -> Result<T, CallError>,
    ) -> Result<T, CallError> {
        if let Some(access) = &self.keys.access_token {
            match call(&bearer(&self.client, access)) {
                Err(error) if error.code() == Some(ProblemCode::SignInNeeded) => {}
                other => return other,
            }
        }
        self.renew()?;
        let access = self.keys.access_token.clone().unwrap_or(Secret(String::new()));
        call(&bearer(&self.client, &access))
    }

    fn renew(&mut self) -> Result<(), CallError> {
        // Another process on this book may have renewed them meanwhile.
        let current = keys::read(&self.book).unwrap_or_else(|_| self.keys.clone());
        let refresh_token = current.refresh_token.clone().unwrap_or(Secret(String::new()));
        let tokens = self.client.refresh(&Refresh { refresh_token })?;
        self.keys = current;
        self.keys.access_token = Some(tokens.access_token);
        self.keys.refresh_token = Some(tokens.refresh_token);
        keys::write(&self.book, &self.keys)
            .map_err(|fault| CallError::OutOfReach(format!("the sign-in can't be kept: {fault}")))
    }

    /// Calls as this device, whose token opens the ledger's sync.
    pub fn as_device<T>(
        &mut self,
        file: &mut StockBook,
        call: impl Fn(&Client) -> Result<T, CallError>,
    ) -> Result<T, Fault> {
        self.ensure_registered(file)?;
        let token = self.device_token();
        match call(&bearer(&self.client, &token)) {
            Err(error) if error.code() == Some(ProblemCode::SignInNeeded) => {
                self.renew_device_token(file, &token)?;
                call(&bearer(&self.client, &self.device_token())).map_err(call_fault)
            }
            other => other.map_err(call_fault),
        }
    }

    fn device_token(&self) -> Secret {
        self.keys.device_token.clone().unwrap_or(Secret(String::new()))
    }

    /// The device's token no longer holds: another process on this book has a newer one, or the
    /// server was put back from a copy that doesn't know it, and the person's sign-in gives another.
    fn renew_device_token(&mut self, file: &mut StockBook, old: &Secret) -> Result<(), Fault> {
        self.keys = keys::read(&self.book)?;
        if self.keys.device_token.as_ref() != Some(old) && self.opens_for(file)? {
            return Ok(());
        }
        self.register_anew(file)
    }

    /// Makes this device known where it took a new id, or where its token was lost.
    pub fn ensure_registered(&mut self, file: &mut StockBook) -> Result<(), Fault> {
        if self.opens_for(file)? {
            return Ok(());
        }
        // Another process on this book may have seen to it already.
        self.keys = keys::read(&self.book)?;
        if self.opens_for(file)? { Ok(()) } else { self.register_anew(file) }
    }

    fn opens_for(&self, file: &mut StockBook) -> Result<bool, Fault> {
        let device = file.read(farm::device)?.id;
        Ok(self.keys.device == Some(device) && self.keys.device_token.is_some())
    }

    fn register_anew(&mut self, file: &mut StockBook) -> Result<(), Fault> {
        let me = self.call(Client::me).map_err(call_fault)?;
        refuse_other_farm(&me, file.read(farm::get)?.id)?;
        let access = self.keys.access_token.clone().unwrap_or(Secret(String::new()));
        let device = file.read(farm::device)?.id;
        let refused = self.keys.device_token.clone().filter(|_| self.keys.device == Some(device));
        let key = renewal_key(device, refused.as_ref());
        register(&bearer(&self.client, &access), file, &mut self.keys, &key)
    }

    /// The farm's devices.
    pub fn devices(&mut self) -> Result<Vec<DeviceView>, Fault> {
        self.call(Client::devices).map_err(call_fault)
    }

    /// Shuts a device out.
    pub fn shut_out(&mut self, device: DeviceId) -> Result<(), Fault> {
        let key = new_key()?;
        self.call(|client| client.shut_out(&key, device)).map(drop).map_err(call_fault)
    }

    /// Learns what is promised of the farm's lots. What was known before stays where the server
    /// doesn't answer: this is news, and nothing waits for it.
    ///
    /// `mark` is what the server's summary said before; unchanged in a later one, nobody asks again.
    pub fn learn_promised(
        &mut self,
        file: &mut StockBook,
        mark: Option<&str>,
    ) -> Result<(), Fault> {
        let Ok(stock) = self.call(Client::stock) else { return Ok(()) };
        let lots = stock.lines.iter().flat_map(|line| &line.lots);
        let by_lot = lots.map(|lot| (lot.lot, lot.promised)).collect();
        Ok(file.write(Keep::Kept, |connection| {
            link::put_promised(connection, &by_lot)?;
            link::change(connection, |link| link.promised_mark = mark.map(ToOwned::to_owned))
        })?)
    }

    /// Learns the network's market, and notes what its values are now. What was known before stays
    /// where the server doesn't answer: this is news, and nothing waits for it.
    pub fn learn_values(&mut self, file: &mut StockBook) -> Result<(), Fault> {
        let Ok(view) = self.call(Client::values) else { return Ok(()) };
        // A market that this version can't reckon with is kept by one that can.
        let Ok(told) = values_of(&view.market) else { return Ok(()) };
        Ok(file.write(Keep::Kept, |connection| {
            values::put(connection, &view.mark, &view.market, &told)
        })?)
    }

    /// Learns what the network's other farms saw. What was known before stays where the server doesn't
    /// answer: this is news, and nothing waits for it. `mark` is what the server's summary said.
    pub fn learn_network(&mut self, file: &mut StockBook, mark: Option<&str>) -> Result<(), Fault> {
        if mark.is_none() {
            return Ok(file.write(Keep::Kept, |connection| network::put(connection, None))?);
        }
        let Ok(view) = self.call(Client::network_summary) else { return Ok(()) };
        let told = view.mark.zip(view.summary.as_ref().and_then(|told| told.text().ok()));
        Ok(file.write(Keep::Kept, |connection| {
            let told = told.as_ref().map(|(mark, text)| (mark.as_str(), text.as_str()));
            network::put(connection, told)
        })?)
    }

    /// Does something on the network: stored first, then sent, then its end noted. While the server
    /// is away it waits here, and the next sync sends it unchanged.
    pub fn act<T: DeserializeOwned>(
        &mut self,
        file: &mut StockBook,
        act: NewAct<'_, impl Serialize>,
    ) -> Result<T, Fault> {
        let body = serde_json::to_value(&act.body).map_err(|error| odd_answer(&error))?;
        let act = Act {
            id: fresh::uuid()?,
            operation: act.operation.to_owned(),
            path: act.path,
            body,
            said: act.said,
        };
        file.write(Keep::Kept, |connection| acts::put(connection, &act, fresh::wall_millis()))?;
        let answer = self.send(file, &act).map_err(|fault| waiting(fault, &act.said))?;
        self.learn_promised(file, None)?;
        serde_json::from_value(answer).map_err(|error| odd_answer(&error))
    }

    /// Sends a stored act and notes how it ended, if it did.
    pub fn send(&mut self, file: &mut StockBook, act: &Act) -> Result<serde_json::Value, Fault> {
        let key = ActKey(act.id.to_string());
        let called = self.call(|client| client.act_as_stored(&act.path, &key, &act.body));
        let (ended, text) = match &called {
            Ok(answer) => (Ended::Done, answer.to_string()),
            Err(CallError::Refused { problem, .. }) if ends(problem.status) => {
                (Ended::Refused, problem.detail.clone())
            }
            Err(_) => return called.map_err(call_fault),
        };
        file.write(Keep::Kept, |connection| acts::end(connection, act.id, ended, &text))?;
        called.map_err(call_fault)
    }
}

/// Whether a refusal is the end of an act, or only says "not now".
const fn ends(status: u16) -> bool {
    matches!(status, 400..=499) && !matches!(status, 401 | 408 | 429)
}

fn waiting(fault: Fault, said: &str) -> Fault {
    use crate::fault::Exit;
    if matches!(fault.exit, Exit::Away | Exit::SignIn) {
        fault.keeping(format!("Kept here to be sent by the next sync: {said}."))
    } else {
        fault
    }
}

fn odd_answer(error: &serde_json::Error) -> Fault {
    Fault::failed(
        format!("The server's answer can't be understood: {error}."),
        "The act itself was done. Update the client, then look again.",
    )
}

/// Something to be done on the network.
pub struct NewAct<'a, B> {
    /// The operation, as `ask-hold`.
    pub operation: &'a str,
    /// The address below `/api/v1`.
    pub path: String,
    /// What is sent.
    pub body: B,
    /// What it is, in words.
    pub said: String,
}
