//! A sync: fetch, then send, by the plan of `domain`, in bounded batches. It can stop anywhere and
//! go on later; the cursor moves only together with what it covers.

mod chains;

use spareloop_api::client::Client;
use spareloop_api::problem::ProblemCode;
use spareloop_api::sync::{MOST_ENTRIES, Page, Push, Pushed, RefusedEntry, Summary};
use spareloop_domain::ledger::Seq;
use spareloop_domain::ledger::sync::{
    BatchLimits, Epoch, Head, Heads, Mine, Plan, Position, Range, ServerLife, Theirs, plan,
};
use spareloop_domain::words::DeviceId;

use chains::{Kept, displace, keep_one};

use crate::book::entries::{self, count};
use crate::book::link::{self, Link};
use crate::book::{BookError, Keep, StockBook, acts, error_sentence, farm};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::fresh;
use crate::remote::Session;

/// What one push carries at most.
const BATCH: BatchLimits = BatchLimits { entries: MOST_ENTRIES, bytes: 1024 * 1024 };
/// Rounds after which a sync gives up being finished and leaves the rest to the next.
const MOST_ROUNDS: u32 = 6;

/// What a sync did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Done {
    /// Entries that the server newly holds.
    pub sent: u64,
    /// Entries that this device newly holds.
    pub fetched: u64,
    /// What had to be said besides: a fork, a restored server.
    pub said: Vec<String>,
    /// Entries that the server refused, in words.
    pub refused: Vec<String>,
    /// Acts that were waiting and are done now.
    pub acts_done: Vec<String>,
    /// Acts that were waiting and are refused, in words.
    pub acts_refused: Vec<String>,
}

/// Syncs an open book.
pub fn run(desk: &Desk, file: &mut StockBook) -> Result<Done, Fault> {
    let mut courier = Courier { session: Session::of(desk, file)?, file, done: Done::default() };
    for _ in 0..MOST_ROUNDS {
        if courier.round()? == Round::Quiet {
            courier.note_end()?;
            courier.send_acts()?;
            courier.session.learn_promised(courier.file)?;
            return Ok(courier.done);
        }
    }
    courier.done.said.push("There is more to do than one sync does: give it again.".to_owned());
    Ok(courier.done)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Round {
    /// Both sides hold the same.
    Quiet,
    /// Something moved: look again.
    Moved,
}

struct Courier<'a> {
    session: Session,
    file: &'a mut StockBook,
    done: Done,
}

impl Courier<'_> {
    fn round(&mut self) -> Result<Round, Fault> {
        let theirs = theirs(self.session.as_device(self.file, Client::ledger_summary)?);
        let plan = self.plan(&theirs)?;
        if plan.server == ServerLife::Restored {
            self.begin_again(&theirs)?;
        }
        if let Some(after) = plan.fetch_after {
            self.fetch(after, &theirs.epoch)?;
            return Ok(Round::Moved);
        }
        if let Some(device) = plan.forked.first() {
            // A fork shows at its exact place in the feed, so the feed is read from the start once.
            self.read_feed_again(*device, &theirs.epoch)?;
            return Ok(Round::Moved);
        }
        if plan.to_send.is_empty() {
            return Ok(Round::Quiet);
        }
        for range in plan.to_send {
            self.send(range)?;
        }
        Ok(Round::Moved)
    }

    fn plan(&mut self, theirs: &Theirs) -> Result<Plan, Fault> {
        let planned = self.file.read(|connection| {
            let link = link::find(connection)?;
            let mine = Mine {
                farm: farm::get(connection)?.id,
                epoch: link.as_ref().and_then(|link| link.epoch.clone()).map(Epoch),
                fetched: Position(link.map_or(0, |link| link.cursor)),
                heads: heads(connection)?,
            };
            let asked: Vec<(DeviceId, Seq)> =
                theirs.heads.iter().map(|(device, head)| (*device, head.seq)).collect();
            let mut known = std::collections::BTreeMap::new();
            for (device, seq) in asked {
                if let Some(entry) = entries::at_place(connection, device, seq)? {
                    known.insert((device, seq), entry.hash);
                }
            }
            Ok::<_, BookError>(plan(&mine, theirs, |device, seq| {
                known.get(&(device, seq)).copied()
            }))
        })?;
        planned.map_err(|error| {
            Fault::refused(
                error_sentence(&error.to_string()),
                "Sign in with this farm's name: spareloop farm connect",
            )
            .keeping("Nothing was sent; everything noted here is kept.")
        })
    }

    /// The server was restored from an older copy: its feed is read from the start, and what it
    /// lacks is sent again.
    fn begin_again(&mut self, theirs: &Theirs) -> Result<(), Fault> {
        self.done.said.push(
            "The server was put back from an older copy; what it lacks is sent again.".to_owned(),
        );
        self.rewind(&theirs.epoch)
    }

    fn rewind(&mut self, epoch: &Epoch) -> Result<(), Fault> {
        self.file.write(Keep::Kept, |connection| {
            entries::forget_positions(connection)?;
            change_link(connection, |link| {
                link.cursor = 0;
                link.epoch = Some(epoch.0.clone());
            })
        })?;
        Ok(())
    }

    fn read_feed_again(&mut self, device: DeviceId, epoch: &Epoch) -> Result<(), Fault> {
        self.rewind(epoch)?;
        self.fetch(Position(0), epoch)?;
        let summary = theirs(self.session.as_device(self.file, Client::ledger_summary)?);
        let still = self.plan(&summary)?;
        if still.forked.contains(&device) {
            return Err(Fault::failed(
                format!("The chain of device {device} differs from the server's and its feed doesn't show where."),
                "Run: spareloop doctor, and show it to the one who runs the server.",
            )
            .keeping("Everything noted here is kept."));
        }
        Ok(())
    }

    fn fetch(&mut self, after: Position, epoch: &Epoch) -> Result<(), Fault> {
        let mut after = after.0;
        loop {
            let page = self
                .session
                .as_device(self.file, |client| client.pull_entries(after, MOST_ENTRIES))?;
            if page.epoch != epoch.0 {
                // Restored between two pages: the next round sees it.
                return Ok(());
            }
            let more = page.more;
            let Some(last) = page.entries.last().map(|entry| entry.position) else { return Ok(()) };
            self.keep(page)?;
            after = last;
            if !more {
                return Ok(());
            }
        }
    }

    /// Keeps a page and moves the cursor in one transaction.
    fn keep(&mut self, page: Page) -> Result<(), Fault> {
        let kept = self.file.write(Keep::Kept, |connection| {
            let mut kept = Kept::default();
            let mut last = 0;
            for positioned in &page.entries {
                keep_one(connection, positioned, &mut kept)?;
                last = positioned.position;
            }
            change_link(connection, |link| {
                link.cursor = last;
                link.epoch = Some(page.epoch.clone());
            })?;
            Ok::<_, Fault>(kept)
        })?;
        self.done.fetched += kept.new;
        self.done.said.extend(kept.said);
        Ok(())
    }

    fn send(&mut self, range: Range) -> Result<(), Fault> {
        let mut first = range.first.get();
        while first <= range.last.get() {
            let until = range.last.get().min(first + MOST_ENTRIES as u64 - 1);
            let mut batch = self
                .file
                .read(|connection| entries::of_device(connection, range.device, first, until))?;
            let sizes = batch.iter().map(|entry| entry.body.to_string().len() + 512);
            batch.truncate(BATCH.fit(sizes));
            let Some(last) = batch.last().map(|entry| entry.seq) else { return Ok(()) };
            // Noted before it is sent: from now on these are struck out, not withdrawn.
            self.file
                .write(Keep::Kept, |connection| farm::mark_sent(connection, range.device, last))?;
            let push = Push { entries: batch };
            let pushed = self.session.as_device(self.file, |client| client.push_entries(&push))?;
            self.done.sent += pushed.stored;
            if self.refused(pushed)? == Round::Moved {
                return Ok(());
            }
            first = last.get() + 1;
        }
        Ok(())
    }

    /// Sets refused entries aside; what stands behind them in their chain is appended again.
    fn refused(&mut self, pushed: Pushed) -> Result<Round, Fault> {
        let Some(refused) = pushed.refused.into_iter().next() else { return Ok(Round::Quiet) };
        match refused.code {
            // The next round reads the feed and sees where.
            ProblemCode::Fork | ProblemCode::Gap => Ok(Round::Moved),
            ProblemCode::WrongFarm => Err(Fault::refused(
                error_sentence(&refused.detail),
                "Check which farm this device belongs to: spareloop farm show",
            )
            .keeping("Everything noted here is kept.")),
            _ => self.park(&refused).map(|()| Round::Moved),
        }
    }

    fn park(&mut self, refused: &RefusedEntry) -> Result<(), Fault> {
        let said = self.file.write(Keep::Kept, |connection| {
            let wall = fresh::wall_millis();
            let Some(entry) = entries::at_place(connection, refused.device, refused.seq)? else {
                return Ok(None);
            };
            entries::park(connection, &entry, refused.code.code(), &refused.detail, wall)?;
            let behind = displace(connection, refused.device, refused.seq.next(), "stood behind a refused entry")?;
            Ok::<_, Fault>(Some(format!(
                "An entry of {} ({}) was refused: {} It is set aside; {behind} behind it go on under a new device id.",
                entry.on, entry.kind, error_sentence(&refused.detail)
            )))
        })?;
        self.done.refused.extend(said);
        Ok(())
    }

    fn note_end(&mut self) -> Result<(), Fault> {
        self.file.write(Keep::Kept, |connection| {
            change_link(connection, |link| link.synced_at = Some(fresh::wall_millis()))
        })?;
        Ok(())
    }

    /// Acts that no answer came for are sent again, unchanged.
    fn send_acts(&mut self) -> Result<(), Fault> {
        for act in self.file.read(acts::waiting)? {
            match self.session.send(self.file, &act) {
                Ok(_) => self.done.acts_done.push(act.said.clone()),
                Err(fault) if matches!(fault.exit, Exit::Away | Exit::SignIn) => return Err(fault),
                Err(fault) => self.done.acts_refused.push(format!("{}: {}", act.said, fault.what)),
            }
        }
        Ok(())
    }
}

fn theirs(summary: Summary) -> Theirs {
    Theirs {
        farm: summary.farm,
        epoch: Epoch(summary.epoch),
        newest: Position(summary.position),
        heads: summary
            .heads
            .into_iter()
            .map(|head| (head.device, Head { seq: head.seq, hash: head.hash }))
            .collect(),
    }
}

fn heads(connection: &mut diesel::SqliteConnection) -> Result<Heads, BookError> {
    let heads = entries::heads(connection)?;
    Ok(heads.into_iter().map(|(device, seq, hash)| (device, Head { seq, hash })).collect())
}

fn change_link(
    connection: &mut diesel::SqliteConnection,
    change: impl FnOnce(&mut Link),
) -> Result<(), BookError> {
    if let Some(mut link) = link::find(connection)? {
        change(&mut link);
        link::put(connection, &link)?;
    }
    Ok(())
}

/// How many entries the server hasn't shown yet, of all.
pub fn unsent(file: &mut StockBook) -> Result<(u64, u64), Fault> {
    Ok(file.read(|connection| {
        Ok::<_, BookError>((entries::count_unsent(connection)?, count(connection)?))
    })?)
}
