//! `distance`: where the farm roughly is, and how far the others are.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_api::client::Client;
use spareloop_api::distances::{Degrees, DistancesView, SetWhereabouts};
use spareloop_domain::exchange::Whereabouts;

use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::{Answer, table};
use crate::remote::{NewAct, Session, call_fault};

/// What can be done about distances.
#[derive(Debug, Subcommand)]
pub enum Distance {
    /// How far the network's other farms are.
    #[command(after_help = "Example: spareloop distance show")]
    Show,
    /// Say where the farm roughly is; it is kept to a twentieth of a degree, and other farms are told
    /// distances only.
    #[command(after_help = "Example: spareloop distance from 52.4 -4.05")]
    From(From),
    /// Say no longer where the farm is.
    #[command(after_help = "Example: spareloop distance forget")]
    Forget,
}

/// Says where the farm is.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct From {
    /// In degrees, north of the equator positive.
    latitude: f64,
    /// In degrees, east of Greenwich positive.
    longitude: f64,
}

/// Runs it.
pub fn run(command: Distance, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Distance::Show => {
            let view = Session::open(desk)?.call(Client::distances).map_err(call_fault)?;
            Ok(shown(&view))
        }
        Distance::From(it) => {
            let place = Whereabouts::of_degrees(it.latitude, it.longitude)
                .map_err(|why| Fault::usage(why.to_string(), "Give degrees, as 52.4 -4.05."))?;
            // What the network keeps is all that is sent.
            let (latitude, longitude) = (place.latitude(), place.longitude());
            set(
                Some(Degrees { latitude, longitude }),
                format!("say that the farm is at {place}"),
                desk,
            )
        }
        Distance::Forget => set(None, "say no longer where the farm is".to_owned(), desk),
    }
}

fn set(whereabouts: Option<Degrees>, said: String, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        let would = format!("Would {said} (--dry-run).");
        return Ok(Answer::new("distance", would, json!({ "kept": false })));
    }
    let mut file = desk.file()?;
    let act = NewAct {
        operation: "set-whereabouts",
        path: "/whereabouts".into(),
        body: SetWhereabouts { whereabouts },
        said,
    };
    let view: DistancesView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    Ok(shown(&view))
}

fn shown(view: &DistancesView) -> Answer {
    let own = view.whereabouts.map_or_else(
        || "Your farm has not said where it is, so no distance is known.".to_owned(),
        |at| {
            format!(
                "Your farm is at {:.2} {:.2}; no other farm is shown that.",
                at.latitude, at.longitude
            )
        },
    );
    let rows: Vec<Vec<String>> = view
        .farms
        .iter()
        .map(|one| {
            let far = one.distance_km.map_or_else(|| "not known".to_owned(), |far| far.to_string());
            vec![one.farm.name.clone(), far]
        })
        .collect();
    let text = if rows.is_empty() {
        format!("{own}\nNo other farm has joined yet.")
    } else {
        format!("{own}\n\n{}", table(&["farm", "distance"], &rows))
    };
    Answer::new("distance", text, json!({ "distances": view }))
}
