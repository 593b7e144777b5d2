//! The job, step by step. Who swaps what with whom is found in the data, not written here.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use spareloop_api::client::{ActKey, CallError, Client, Token};
use spareloop_api::exchange::{HoldView, MatchView, OfferView, OwedBook};
use spareloop_api::people::{Invite, MakeNetwork, Secret, SetUp};
use spareloop_domain::words::fold_key;

use super::PASS_PHRASE;
use super::cast::CAST;
use super::grower::Grower;
use super::stage::Stage;
use crate::fault::Fault;
use crate::fresh;
use crate::remote::call_fault;

/// What happened, with its figures.
#[derive(Debug, Serialize)]
pub(super) struct Played {
    pub farms: Vec<FarmPart>,
    pub offers: usize,
    pub wants: usize,
    pub mutual: Vec<String>,
    pub swap: Swap,
    pub cut: CutStory,
    pub owed: OwedBook,
}

impl Played {
    /// The growers' sign-ins.
    pub(super) fn logins(&self) -> Vec<&str> {
        self.farms.iter().map(|farm| farm.login.as_str()).collect()
    }
}

/// One farm's winter.
#[derive(Debug, Serialize)]
pub(super) struct FarmPart {
    pub name: &'static str,
    pub login: String,
    pub entries: u64,
    pub in_store: u64,
    pub expected: f64,
    pub low: u64,
    pub high: u64,
    pub spare: Vec<(String, u64)>,
    pub short: Vec<(String, u64)>,
    pub sentence: String,
}

/// One line of `spareloop forecast --json`.
#[derive(Debug, Clone, Deserialize)]
struct Kind {
    variety: String,
    unit: String,
    in_store: u64,
    expected: f64,
    low: u64,
    high: u64,
    spare: Option<u64>,
    short: Option<u64>,
    sentence: String,
    lots: Vec<KindLot>,
}

#[derive(Debug, Clone, Deserialize)]
struct KindLot {
    code: String,
    in_store: u64,
}

/// Two parcels that passed between two farms.
#[derive(Debug, Serialize)]
pub(super) struct Swap {
    pub parcels: Vec<HoldView>,
    pub history: String,
    pub hygiene: String,
    pub log: Vec<(String, String)>,
}

/// A loss after two holds.
#[derive(Debug, Serialize)]
pub(super) struct CutStory {
    pub giver: &'static str,
    pub variety: String,
    pub lot: String,
    pub in_store: u64,
    pub lost: u64,
    pub before: Vec<HoldView>,
    pub after: Vec<HoldView>,
    pub told: Vec<(String, String)>,
}

struct Winter {
    growers: Vec<Grower>,
    kinds: Vec<Vec<Kind>>,
}

/// Plays it all.
pub(super) fn play(stage: &Stage) -> Result<Played, Fault> {
    let coordinator = coordinate(stage)?;
    let mut winter = Winter { growers: Vec::new(), kinds: Vec::new() };
    let mut farms = Vec::new();
    for part in CAST {
        let grower = Grower::begin(stage, part)?;
        grower.connect(stage, &invite(&coordinator, part.name)?)?;
        winter.growers.push(grower);
    }
    // What all farms noted is taken together, and each hears of it at its next sync.
    stage.take_together()?;
    for grower in &winter.growers {
        grower.run(&["sync"])?;
        let kinds: Vec<Kind> = grower.ask(&["forecast"], "kinds")?;
        farms.push(farm_part(grower, &kinds)?);
        winter.kinds.push(kinds);
    }
    let (offers, wants) = winter.publish()?;
    let matches = winter.matches()?;
    let mutual = told_pairs(&matches);
    let swap = winter.swap(&matches)?;
    let cut = winter.lose_after_holds()?;
    let owed = read(&winter.growers[0], &["owed"])?;
    Ok(Played { farms, offers, wants, mutual, swap, cut, owed })
}

fn key() -> Result<ActKey, Fault> {
    Ok(ActKey(fresh::uuid()?.to_string()))
}

/// The one-time link makes the coordinator; the coordinator makes the network.
fn coordinate(stage: &Stage) -> Result<Client, Fault> {
    let client = Client::new(&stage.url).map_err(call_fault)?;
    let tokens = client
        .set_up(&SetUp {
            token: Secret(stage.set_up_token.clone()),
            login: "coordinator".to_owned(),
            display_name: "The coordinator".to_owned(),
            password: Secret(PASS_PHRASE.to_owned()),
        })
        .map_err(call_fault)?;
    let coordinator = client.with(Token::Bearer(tokens.access_token));
    let name = "The invented valley".to_owned();
    coordinator.make_network(&key()?, &MakeNetwork { name }).map_err(call_fault)?;
    Ok(coordinator)
}

fn invite(coordinator: &Client, name: &str) -> Result<String, Fault> {
    let made: Result<_, CallError> =
        coordinator.invite(&key()?, &Invite { for_whom: name.to_owned() });
    made.map(|invitation| invitation.code.0).map_err(call_fault)
}

fn read<T: serde::de::DeserializeOwned>(grower: &Grower, words: &[&str]) -> Result<T, Fault> {
    let answer = grower.run(words)?;
    serde_json::from_value(answer).map_err(|error| {
        Fault::failed(
            format!("{}: {} answered something unexpected: {error}.", grower.name, words.join(" ")),
            "This is a fault of the program: report it.",
        )
    })
}

fn farm_part(grower: &Grower, kinds: &[Kind]) -> Result<FarmPart, Fault> {
    let log: Vec<serde_json::Value> = grower.ask(&["log", "--all"], "entries")?;
    let named = |pick: &dyn Fn(&Kind) -> Option<u64>| -> Vec<(String, u64)> {
        kinds
            .iter()
            .filter_map(|kind| pick(kind).filter(|n| *n > 0).map(|n| (kind.variety.clone(), n)))
            .collect()
    };
    let most = kinds.iter().max_by_key(|kind| kind.in_store);
    Ok(FarmPart {
        name: grower.name,
        login: grower.login.clone(),
        entries: log.len() as u64,
        in_store: kinds.iter().map(|kind| kind.in_store).sum(),
        // Looks are summed in the order of ids, which every run makes anew: the last digits are theirs.
        expected: (100.0 * kinds.iter().map(|kind| kind.expected).sum::<f64>()).round() / 100.0,
        low: kinds.iter().map(|kind| kind.low).sum(),
        high: kinds.iter().map(|kind| kind.high).sum(),
        spare: named(&|kind| kind.spare),
        short: named(&|kind| kind.short),
        sentence: most
            .map(|kind| format!("{}: {}", kind.variety, kind.sentence))
            .unwrap_or_default(),
    })
}

/// Pairs of farms where each has what the other lacks, in words.
fn told_pairs(matches: &[Vec<MatchView>]) -> Vec<String> {
    matches
        .iter()
        .zip(CAST)
        .flat_map(|(theirs, part)| {
            theirs
                .iter()
                .filter(|it| {
                    !it.they_have.is_empty()
                        && !it.they_lack.is_empty()
                        && part.name < it.farm.name.as_str()
                })
                .map(|it| format!("{} and {}", part.name, it.farm.name))
        })
        .collect()
}

impl Winter {
    fn grower(&self, name: &str) -> Result<&Grower, Fault> {
        self.growers.iter().find(|grower| grower.name == name).ok_or_else(|| {
            Fault::failed(format!("No farm {name} plays here."), "Report it: the story is wrong.")
        })
    }

    /// Every farm offers what is spare and asks for what is short.
    fn publish(&self) -> Result<(usize, usize), Fault> {
        let (mut offers, mut wants) = (0, 0);
        for (grower, kinds) in self.growers.iter().zip(&self.kinds) {
            for kind in kinds {
                let lot = kind.lots.iter().max_by_key(|lot| lot.in_store);
                if let (Some(spare @ 3..), Some(lot)) = (kind.spare, lot) {
                    let count = spare.min(lot.in_store).to_string();
                    grower.run(&["offer", "make", &lot.code, "--count", &count, "--least", "2"])?;
                    offers += 1;
                }
                if let Some(short @ 1..) = kind.short {
                    let count = short.to_string();
                    let words =
                        ["want", "make", &kind.variety, "--count", &count, "--unit", &kind.unit];
                    grower.run(&words)?;
                    wants += 1;
                }
            }
        }
        Ok((offers, wants))
    }

    fn matches(&self) -> Result<Vec<Vec<MatchView>>, Fault> {
        self.growers.iter().map(|grower| grower.ask(&["match"], "matches")).collect()
    }

    /// The two farms that can do most for each other pass one parcel each way.
    fn swap(&self, matches: &[Vec<MatchView>]) -> Result<Swap, Fault> {
        let most = |it: &MatchView| {
            let sum = |lines: &[spareloop_api::exchange::MatchLine]| {
                lines.iter().map(|line| line.count.get()).max().unwrap_or(0)
            };
            sum(&it.they_have).min(sum(&it.they_lack))
        };
        let (grower, other) = self
            .growers
            .iter()
            .zip(matches)
            .flat_map(|(grower, theirs)| theirs.iter().map(move |it| (grower, it)))
            .max_by_key(|(_, it)| most(it))
            .filter(|(_, it)| most(it) >= 3)
            .ok_or_else(|| {
                Fault::failed("No two farms can help each other.", "Report it: the story is wrong.")
            })?;
        let other_grower = self.grower(&other.farm.name)?;
        let count = most(other).min(6);
        let have = other.they_have.iter().max_by_key(|line| line.count);
        let lack = other.they_lack.iter().max_by_key(|line| line.count);
        let (Some(have), Some(lack)) = (have, lack) else {
            return Err(Fault::failed("A match without parcel lines.", "Report it."));
        };
        // One of the six breaks on the way, so that the receipt differs from what was given.
        let to_here = pass(other_grower, grower, have, count, count - 1)?;
        let to_there = pass(grower, other_grower, lack, count, count)?;
        let offer: OfferView = grower
            .ask::<Vec<OfferView>>(&["offer", "list"], "offers")?
            .into_iter()
            .find(|offer| offer.offer == have.offer)
            .ok_or_else(|| Fault::failed("The offer is gone from the sheet.", "Report it."))?;
        let mut log = Vec::new();
        for farm in [grower, other_grower] {
            farm.run(&["sync"])?;
            let entries: Vec<serde_json::Value> = farm.ask(&["log", "--all"], "entries")?;
            log.extend(
                entries
                    .iter()
                    .filter(|entry| entry["kind"] == "send" || entry["kind"] == "receive")
                    .filter_map(|entry| entry["says"].as_str())
                    .map(|says| (farm.name.to_owned(), says.to_owned())),
            );
        }
        Ok(Swap {
            parcels: vec![to_here, to_there],
            history: offer.history.sentence,
            hygiene: offer.hygiene.sentence,
            log,
        })
    }

    /// Two farms hold parts of one offer, both agreed; then rot is found.
    fn lose_after_holds(&self) -> Result<CutStory, Fault> {
        let sheet: Vec<OfferView> = self.growers[0].ask(&["offer", "list"], "offers")?;
        let mut wanting: BTreeMap<String, Vec<&Grower>> = BTreeMap::new();
        for (grower, kinds) in self.growers.iter().zip(&self.kinds) {
            for kind in kinds.iter().filter(|kind| kind.short.unwrap_or(0) >= 4) {
                wanting.entry(fold_key(&kind.variety)).or_default().push(grower);
            }
        }
        let (offer, takers) = sheet
            .iter()
            .filter(|offer| offer.free.get() >= 8 && offer.free == offer.count)
            .filter_map(|offer| {
                let takers = wanting.get(&fold_key(&offer.variety))?;
                (takers.len() >= 2).then(|| (offer, [takers[0], takers[1]]))
            })
            .max_by_key(|(offer, _)| offer.free)
            .ok_or_else(|| {
                Fault::failed("No offer is wanted by two farms.", "Report it: the story is wrong.")
            })?;
        let giver = self.grower(&offer.farm.name)?;
        let half = offer.free.get() / 2;
        let mut before = Vec::new();
        for taker in takers {
            let (id, count) = (offer.offer.to_string(), half.to_string());
            let words = ["hold", "ask", &id, "--count", &count, "--value", "1.0"];
            let hold: HoldView = taker.ask(&words, "hold")?;
            before.push(giver.ask(&["hold", "agree", &hold.hold.to_string()], "hold")?);
        }
        // A night of rot leaves room for the first promise and a few of the second.
        let left = half + 3;
        let in_store = u64::from(offer.history.in_store.get());
        let lost = in_store - u64::from(left);
        let rot = lost.to_string();
        let (inspected, sound) = (in_store.to_string(), left.to_string());
        let words = ["check", "add", &offer.lot_code, "--inspected", &inspected, "--sound", &sound];
        giver.run(&[&words[..], &["--rot", &rot]].concat())?;
        giver.run(&["sync"])?;
        let mut told = Vec::new();
        for farm in [giver, takers[0], takers[1]] {
            let messages: Vec<spareloop_api::exchange::MessageView> =
                farm.ask(&["messages"], "messages")?;
            told.extend(
                messages
                    .into_iter()
                    .filter(|it| it.text.contains("cut"))
                    .map(|it| (farm.name.to_owned(), it.text)),
            );
        }
        let holds: Vec<HoldView> = giver.ask(&["hold", "list"], "holds")?;
        let after = holds.into_iter().filter(|hold| hold.offer == offer.offer).collect();
        Ok(CutStory {
            giver: giver.name,
            variety: offer.variety.clone(),
            lot: offer.lot_code.clone(),
            in_store,
            lost,
            before,
            after,
            told,
        })
    }
}

/// One parcel, from asking to the receipt.
fn pass(
    giver: &Grower,
    taker: &Grower,
    line: &spareloop_api::exchange::MatchLine,
    given: u32,
    received: u32,
) -> Result<HoldView, Fault> {
    let (offer, want) = (line.offer.to_string(), line.want.to_string());
    let (given, received) = (given.to_string(), received.to_string());
    let words = ["hold", "ask", &offer, "--count", &given, "--want", &want, "--value", "1.0"];
    let hold: HoldView = taker.ask(&words, "hold")?;
    let id = hold.hold.to_string();
    giver.run(&["hold", "agree", &id])?;
    let words = ["handover", "give", &id, "--given", &given, "--condition", "firm, in shavings"];
    let handed: HoldView = giver.ask(&words, "hold")?;
    let hand_over = handed.hand_over.map(|it| it.hand_over.to_string()).unwrap_or_default();
    taker.ask(&["handover", "receive", &hand_over, "--received", &received], "hold")
}
