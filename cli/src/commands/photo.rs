//! `photo`: pictures beside offers, holds and claims.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use serde_json::json;
use sha2::{Digest, Sha256};
use spareloop_api::client::ActKey;
use spareloop_api::photos::PhotoView;
use spareloop_domain::words::{ClaimId, HoldId, OfferId, PhotoId};

use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::{Answer, table};
use crate::remote::{Session, call_fault};

/// What can be done about photos.
#[derive(Debug, Subcommand)]
pub enum Photo {
    /// Put a photo beside an offer, a hold or a claim. It is made smaller, and where and when it was
    /// taken is not kept; beside a claim it stays on record.
    #[command(after_help = "\
Example: spareloop photo add --offer OFFER shelf-3.jpg
         spareloop photo add --claim CLAIM soft-necks.jpg
Sent again, the same file is put there once.")]
    Add(Add),
    /// The photos beside an offer, a hold or a claim.
    #[command(after_help = "Example: spareloop photo list --hold HOLD")]
    List(Beside),
    /// Save a photo's picture as a file.
    #[command(after_help = "Example: spareloop photo save PHOTO as-it-came.jpg")]
    Save(Save),
    /// Take a photo of your farm back.
    #[command(after_help = "Example: spareloop photo remove PHOTO")]
    Remove(Remove),
}

/// What photos stand beside.
#[derive(Debug, Args)]
#[group(required = true, multiple = false)]
pub struct Beside {
    /// The offer's id; the whole network sees it.
    #[arg(long)]
    offer: Option<OfferId>,
    /// The hold's id; its two farms see it.
    #[arg(long)]
    hold: Option<HoldId>,
    /// The claim's id; its two farms and the coordinator see it.
    #[arg(long)]
    claim: Option<ClaimId>,
}

/// Puts a photo somewhere.
#[derive(Debug, Args)]
pub struct Add {
    #[command(flatten)]
    beside: Beside,
    /// The picture: a JPEG or PNG of at most 16 MB.
    file: PathBuf,
}

/// Saves a picture.
#[derive(Debug, Args)]
pub struct Save {
    /// The photo's id.
    photo: PhotoId,
    /// Where to; nothing that is there is overwritten.
    file: PathBuf,
}

/// Takes a photo back.
#[derive(Debug, Args)]
pub struct Remove {
    /// The photo's id.
    photo: PhotoId,
}

impl Beside {
    fn path(&self) -> String {
        let of = |kind: &str, id: &dyn std::fmt::Display| format!("/{kind}/{id}");
        match (&self.offer, &self.hold, &self.claim) {
            (Some(offer), _, _) => of("offers", offer),
            (_, Some(hold), _) => of("holds", hold),
            (_, _, Some(claim)) => of("claims", claim),
            // One of the three is required.
            (None, None, None) => String::new(),
        }
    }
}

/// Runs it.
pub fn run(command: Photo, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Photo::Add(it) => add(&it, desk),
        Photo::List(it) => list(&it, desk),
        Photo::Save(it) => save(&it, desk),
        Photo::Remove(it) => remove(&it, desk),
    }
}

fn add(it: &Add, desk: &Desk) -> Result<Answer, Fault> {
    let file = std::fs::read(&it.file).map_err(|error| {
        Fault::refused(
            format!("The picture {} can't be read: {error}.", it.file.display()),
            "Check the path.",
        )
    })?;
    let path = it.beside.path();
    if desk.keep == Keep::Rehearsed {
        let would = format!("Would put {} beside {path} (--dry-run).", it.file.display());
        return Ok(Answer::new("photo", would, json!({ "kept": false })));
    }
    // From the file and the place, so that sending it again after a lost answer puts it there once.
    let photo = id_of(&path, &file);
    let key = ActKey(format!("photo-{photo}"));
    let view = Session::open(desk)?
        .call(|client| client.put_photo(&path, &key, photo, file.clone()))
        .map_err(call_fault)?;
    Ok(Answer::new("photo", format!("Put there: {}", line(&view)), json!({ "photo": view })))
}

/// An id made from what it names (RFC 9562, version 8).
fn id_of(path: &str, file: &[u8]) -> PhotoId {
    let digest = Sha256::new().chain_update(path).chain_update(file).finalize();
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&digest[..16]);
    PhotoId::new(uuid::Builder::from_custom_bytes(bytes).into_uuid())
}

fn line(view: &PhotoView) -> String {
    format!("{} ({} x {} pixels) by {}", view.photo, view.width, view.height, view.farm.name)
}

fn list(it: &Beside, desk: &Desk) -> Result<Answer, Fault> {
    let path = it.path();
    let found = Session::open(desk)?.call(|client| client.photos(&path)).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = found
        .iter()
        .map(|view| {
            let at = view.made_at.format("%Y-%m-%d %H:%M UTC").to_string();
            let size = format!("{} x {}", view.width, view.height);
            vec![view.farm.name.clone(), at, size, view.photo.to_string()]
        })
        .collect();
    let text = if rows.is_empty() {
        "There is no photo there.".to_owned()
    } else {
        table(&["farm", "put there", "pixels", "photo"], &rows)
    };
    Ok(Answer::new("photos", text, json!({ "photos": found })))
}

fn save(it: &Save, desk: &Desk) -> Result<Answer, Fault> {
    let picture =
        Session::open(desk)?.call(|client| client.picture(it.photo)).map_err(call_fault)?;
    let shown = it.file.display();
    if desk.keep == Keep::Kept {
        let unwritten = |error: std::io::Error| {
            Fault::refused(format!("{shown} can't be written: {error}."), "Give another name.")
        };
        let mut file = std::fs::File::create_new(&it.file).map_err(unwritten)?;
        std::io::Write::write_all(&mut file, &picture).map_err(unwritten)?;
    }
    let text = format!("{} bytes saved as {shown}.", picture.len());
    Ok(Answer::new("photo", text, json!({ "file": it.file, "bytes": picture.len() })))
}

fn remove(it: &Remove, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        let would = "Would remove the photo (--dry-run).";
        return Ok(Answer::new("photo", would, json!({ "kept": false })));
    }
    let key = ActKey(format!("remove-photo-{}", it.photo));
    Session::open(desk)?.call(|client| client.remove_photo(&key, it.photo)).map_err(call_fault)?;
    Ok(Answer::new("photo", "Removed.", json!({ "photo": it.photo })))
}
