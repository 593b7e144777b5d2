//! A sync as a state machine: what to ask the server next, given what it answered and what the book
//! holds. No HTTP, no clock, no randomness; every write is one transaction of the book.
//!
//! ```text
//! summary -> (restored or forked? read the feed from its start) -> pages -> pushes -> finished
//! ```
//!
//! It can be dropped at any point: a new courier goes on from the book. An answer that doesn't fit
//! what was asked, or what the book holds by now (another program works on it too), changes
//! nothing: the courier asks for the summary again.

use spareloop_api::sync::{BATCH, Page, Pushed, Summary};
use spareloop_domain::ledger::Entry;
use spareloop_domain::ledger::sync::{
    BatchLimits, Epoch, Head, MOST_ENTRY_BYTES, Mine, Plan, Position, ServerLife, Theirs, plan,
};
use spareloop_domain::planted::{self, Bug};

use super::Done;
use super::inbox::{PageKept, keep_page, rewind};
use super::outbox::{self, Sent};
use crate::book::{BookError, Keep, StockBook, entries, error_sentence, farm, link};
use crate::fault::Fault;
use crate::fresh::Fresh;

/// Summaries after which a sync gives up being finished and leaves the rest to the next.
const MOST_SUMMARIES: u32 = 24;

/// What the courier wants to hear from the server next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ask {
    /// What it holds.
    Summary,
    /// A page of its feed.
    Pull {
        /// Behind this position.
        after: Position,
        /// Most entries.
        limit: usize,
    },
    /// To take these entries.
    Push(Vec<Entry>),
}

/// What the server answered.
#[derive(Debug, Clone)]
pub enum Heard {
    /// What it holds.
    Summary(Summary),
    /// A page of its feed.
    Page(Page),
    /// How far a push got.
    Pushed(Pushed),
}

/// How it goes on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Next {
    /// Ask the server this.
    Ask(Ask),
    /// Nothing is left to do, or as much as one sync does is done.
    Finished(Done),
}

/// The question that an answer is awaited to.
#[derive(Debug)]
enum Asked {
    Nothing,
    /// What it holds; the book had been read up to there.
    Summary {
        fetched: Position,
    },
    Page {
        after: Position,
    },
    Push(Vec<Sent>),
}

/// How far looking for a fork has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Search {
    NotNeeded,
    /// The feed was read again from its start, where every fork shows at its exact place.
    ReadAgain,
}

/// Whether the view of the server was just asked for, or follows from answers since.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum View {
    /// The book had been read up to there when it was asked for.
    Fresh {
        fetched: Position,
    },
    Followed,
}

/// One sync under way.
#[derive(Debug)]
pub struct Courier {
    asked: Asked,
    summaries: u32,
    theirs: Option<Theirs>,
    search: Search,
    batch: BatchLimits,
    done: Done,
}

impl Default for Courier {
    fn default() -> Self {
        Self::new()
    }
}

impl Courier {
    /// A sync that has not begun.
    pub const fn new() -> Self {
        Self {
            asked: Asked::Nothing,
            summaries: 0,
            theirs: None,
            search: Search::NotNeeded,
            batch: BATCH,
            done: Done::new(),
        }
    }

    /// Sends no more at once than that, and no more than the server takes.
    #[must_use]
    pub fn in_batches_of(mut self, limits: BatchLimits) -> Self {
        self.batch = BatchLimits {
            entries: limits.entries.min(BATCH.entries),
            bytes: limits.bytes.min(BATCH.bytes),
        };
        self
    }

    /// What was done so far.
    pub const fn so_far(&self) -> &Done {
        &self.done
    }

    /// Takes in the answer to the last question (none at the first call) and says what comes next.
    pub fn next(
        &mut self,
        book: &mut StockBook,
        heard: Option<Heard>,
        fresh: &mut dyn Fresh,
    ) -> Result<Next, Fault> {
        match (std::mem::replace(&mut self.asked, Asked::Nothing), heard) {
            (Asked::Summary { fetched }, Some(Heard::Summary(summary))) => {
                self.done.promised_mark = Some(summary.promised.clone());
                self.done.market_mark.clone_from(&summary.market);
                self.done.network_mark.clone_from(&summary.network);
                self.done.newest_statement = summary.statements;
                self.theirs = Some(theirs(summary));
                self.decide(book, View::Fresh { fetched }, fresh)
            }
            (Asked::Page { after }, Some(Heard::Page(page))) => {
                self.take_page(book, after, page, fresh)
            }
            (Asked::Push(sent), Some(Heard::Pushed(pushed))) => {
                self.take_pushed(book, &sent, pushed, fresh)
            }
            _ => self.ask_summary(book, fresh),
        }
    }

    fn ask_summary(&mut self, book: &mut StockBook, fresh: &mut dyn Fresh) -> Result<Next, Fault> {
        if self.summaries == MOST_SUMMARIES {
            let more = "There is more to do than one sync does: give it again.";
            self.done.said.push(more.to_owned());
            return self.finish(book, fresh);
        }
        self.summaries += 1;
        let link = book.read(link::find)?;
        self.asked = Asked::Summary { fetched: Position(link.map_or(0, |link| link.cursor)) };
        Ok(Next::Ask(Ask::Summary))
    }

    fn ask_page(&mut self, after: Position) -> Next {
        self.asked = Asked::Page { after };
        Next::Ask(Ask::Pull { after, limit: BATCH.entries })
    }

    fn finish(&mut self, book: &mut StockBook, fresh: &mut dyn Fresh) -> Result<Next, Fault> {
        let now = fresh.wall_millis();
        book.write(Keep::Kept, |connection| {
            link::change(connection, |link| link.synced_at = Some(now))
        })?;
        Ok(Next::Finished(std::mem::take(&mut self.done)))
    }

    fn decide(
        &mut self,
        book: &mut StockBook,
        view: View,
        fresh: &mut dyn Fresh,
    ) -> Result<Next, Fault> {
        let Some(theirs) = self.theirs.clone() else { return self.ask_summary(book, fresh) };
        let Some(plan) = plan_of(book, &theirs, view)? else {
            return self.ask_summary(book, fresh);
        };
        if plan.server == ServerLife::Restored {
            let restored =
                "The server was put back from an older copy; what it lacks is sent again.";
            self.done.said.push(restored.to_owned());
            rewind(book, &theirs.epoch)?;
        }
        if let Some(after) = plan.fetch_after {
            return Ok(self.ask_page(after));
        }
        if let Some(device) = plan.forked.first() {
            if self.search == Search::ReadAgain {
                return Err(Fault::failed(
                    format!("The chain of device {device} differs from the server's and its feed doesn't show where."),
                    "Run: spareloop doctor, and show it to the one who runs the server.",
                )
                .keeping("Everything noted here is kept."));
            }
            return self.read_again(book, &theirs.epoch);
        }
        let batch = outbox::next_batch(book, &plan.to_send, self.batch)?;
        if let Some(large) = batch.first().filter(|entry| entry.size() > MOST_ENTRY_BYTES) {
            self.done.refused.extend(outbox::settle(book, &outbox::too_large(large), fresh)?);
            return self.ask_summary(book, fresh);
        }
        if batch.is_empty() {
            return self.finish(book, fresh);
        }
        self.asked = Asked::Push(batch.iter().map(Sent::of).collect());
        Ok(Next::Ask(Ask::Push(batch)))
    }

    /// A fork shows at its exact place in the feed, so the feed is read from its start once.
    fn read_again(&mut self, book: &mut StockBook, epoch: &Epoch) -> Result<Next, Fault> {
        self.search = Search::ReadAgain;
        rewind(book, epoch)?;
        Ok(self.ask_page(Position::default()))
    }

    fn take_page(
        &mut self,
        book: &mut StockBook,
        after: Position,
        page: Page,
        fresh: &mut dyn Fresh,
    ) -> Result<Next, Fault> {
        let epoch = Epoch(page.epoch.clone());
        let kept = match &self.theirs {
            Some(theirs) if theirs.epoch == epoch => keep_page(book, after, &page, fresh)?,
            _ => PageKept::Stale,
        };
        match kept {
            PageKept::Stale => self.ask_summary(book, fresh),
            PageKept::Misfit(misfit) if self.search == Search::ReadAgain => Err(misfit.fault()),
            PageKept::Misfit(_) => self.read_again(book, &epoch),
            PageKept::Kept(kept) => {
                self.done.fetched += kept.new;
                self.done.said.extend(kept.said);
                if let Some(theirs) = &mut self.theirs {
                    theirs.newest = theirs.newest.max(kept.last);
                    for positioned in &page.entries {
                        follow(theirs, &positioned.entry);
                    }
                }
                if page.more {
                    return Ok(self.ask_page(kept.last));
                }
                self.decide(book, View::Followed, fresh)
            }
        }
    }

    fn take_pushed(
        &mut self,
        book: &mut StockBook,
        sent: &[Sent],
        pushed: Pushed,
        fresh: &mut dyn Fresh,
    ) -> Result<Next, Fault> {
        let Some(theirs) = &mut self.theirs else { return self.ask_summary(book, fresh) };
        if pushed.epoch != theirs.epoch.0 || !outbox::answers(&pushed, sent) {
            return self.ask_summary(book, fresh);
        }
        self.done.sent += pushed.stored;
        for refused in &pushed.refused {
            self.done.refused.extend(outbox::settle(book, refused, fresh)?);
        }
        if !pushed.refused.is_empty() {
            return self.ask_summary(book, fresh);
        }
        for head in &pushed.heads {
            theirs.heads.insert(head.device, Head { seq: head.seq, hash: head.hash });
        }
        theirs.newest = theirs.newest.max(Position(pushed.position));
        outbox::note_stored(book, sent, &pushed)?;
        self.decide(book, View::Followed, fresh)
    }
}

fn theirs(summary: Summary) -> Theirs {
    let heads = summary.heads.into_iter();
    Theirs {
        farm: summary.farm,
        epoch: Epoch(summary.epoch),
        newest: Position(summary.position),
        heads: heads.map(|head| (head.device, Head { seq: head.seq, hash: head.hash })).collect(),
    }
}

/// What a page shows of the server's chains.
fn follow(theirs: &mut Theirs, entry: &Entry) {
    let head = Head { seq: entry.seq, hash: entry.hash };
    let known = theirs.heads.entry(entry.device).or_insert(head);
    if known.seq < head.seq {
        *known = head;
    }
}

/// The plan of the two sides as they are now; `None` where the view of the server is out of date.
fn plan_of(book: &mut StockBook, theirs: &Theirs, view: View) -> Result<Option<Plan>, Fault> {
    let planned = book.read(|connection| {
        let link = link::find(connection)?;
        let epoch = link.as_ref().and_then(|link| link.epoch.clone()).map(Epoch);
        if view == View::Followed && epoch.as_ref().is_some_and(|epoch| *epoch != theirs.epoch) {
            return Ok(None);
        }
        let cursor = Position(link.map_or(0, |link| link.cursor));
        let fetched = match view {
            // Only what was read before the question can be ahead of the answer.
            View::Fresh { fetched } if fetched > theirs.newest => fetched,
            _ => cursor.min(theirs.newest),
        };
        let mut heads = entries::heads(connection)?;
        if planted::is(Bug::OwnChainOnly) {
            let own = farm::device(connection)?.id;
            heads.retain(|device, _| *device == own);
        }
        let mine = Mine { farm: farm::get(connection)?.id, epoch, fetched, heads };
        let mut known = std::collections::BTreeMap::new();
        for (device, head) in &theirs.heads {
            if let Some(hash) = entries::hash_at(connection, *device, head.seq)? {
                known.insert((*device, head.seq), hash);
            }
        }
        let plan = plan(&mine, theirs, |device, seq| known.get(&(device, seq)).copied());
        Ok::<_, BookError>(Some(plan))
    })?;
    planned.transpose().map_err(|error| {
        Fault::refused(
            error_sentence(&error.to_string()),
            "Sign in with this farm's name: spareloop farm connect",
        )
        .keeping("Nothing was sent; everything noted here is kept.")
    })
}
