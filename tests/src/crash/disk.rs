//! A disk that keeps what it was told to keep, and of the rest whatever it likes.
//!
//! A file's bytes are durable up to its last sync; a name is durable once its folder was synced.
//! What was written since may have reached the disk in any part: each sector of 512 bytes by
//! itself, names in the order in which they changed (a file system's journal keeps that order).
//! What may not enter: what the bytes mean.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::trace::Did;

/// Bytes that a disk writes at once.
const SECTOR: usize = 512;

/// A file apart from its name.
type File = usize;

/// What has been done to a file since its last sync.
#[derive(Debug, Clone)]
enum Change {
    Wrote(usize, Vec<u8>),
    Cut(usize),
}

#[derive(Debug, Clone, Default)]
struct Content {
    durable: Vec<u8>,
    /// How long it is for those who look now.
    length: usize,
    since: Vec<Change>,
}

#[derive(Debug, Clone)]
enum Naming {
    Set(PathBuf, File),
    Gone(PathBuf),
}

/// What of the changes that weren't synced reaches the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Luck {
    /// Nothing.
    None,
    /// Some of it, by a seed.
    Some(u64),
    /// All of it, as when only the program was killed.
    All,
}

/// The disk under one folder.
#[derive(Debug, Clone, Default)]
pub struct Disk {
    files: Vec<Content>,
    names: BTreeMap<PathBuf, File>,
    durable_names: BTreeMap<PathBuf, File>,
    namings: Vec<Naming>,
}

fn apply(bytes: &mut Vec<u8>, change: &Change) {
    match change {
        Change::Wrote(at, written) => {
            let end = at + written.len();
            if bytes.len() < end {
                bytes.resize(end, 0);
            }
            bytes[*at..end].copy_from_slice(written);
        }
        Change::Cut(length) => bytes.resize(*length, 0),
    }
}

/// The piece of a write that lies in each sector.
fn sectors(at: usize, written: &[u8]) -> Vec<Change> {
    let mut pieces = Vec::new();
    let mut from = 0;
    while from < written.len() {
        let room = SECTOR - (at + from) % SECTOR;
        let to = written.len().min(from + room);
        pieces.push(Change::Wrote(at + from, written[from..to].to_vec()));
        from = to;
    }
    pieces
}

/// The next of a row of numbers that a seed decides (`SplitMix64`: Steele, Lea, Flood, "Fast
/// splittable pseudorandom number generators", OOPSLA 2014).
fn next(seed: &mut u64) -> u64 {
    *seed = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut mixed = *seed;
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    mixed ^ (mixed >> 31)
}

fn heads(seed: &mut u64) -> bool {
    next(seed) & 1 == 0
}

impl Disk {
    /// A disk that durably holds the files of a folder.
    pub fn of(folder: &Path) -> Self {
        let mut disk = Self::default();
        for file in std::fs::read_dir(folder).expect("a folder").flatten() {
            if !file.file_type().is_ok_and(|kind| kind.is_file()) {
                continue;
            }
            let durable = std::fs::read(file.path()).expect("a file");
            let length = durable.len();
            disk.files.push(Content { durable, length, since: Vec::new() });
            let number = disk.files.len() - 1;
            disk.names.insert(file.path(), number);
            disk.durable_names.insert(file.path(), number);
        }
        disk
    }

    fn name(&mut self, path: &Path, file: File) {
        self.names.insert(path.to_owned(), file);
        self.namings.push(Naming::Set(path.to_owned(), file));
    }

    fn unname(&mut self, path: &Path) -> Option<File> {
        let file = self.names.remove(path)?;
        self.namings.push(Naming::Gone(path.to_owned()));
        Some(file)
    }

    fn change(&mut self, path: &Path, change: Change) {
        // A file whose name is gone already can't come back.
        let Some(&file) = self.names.get(path) else { return };
        let content = &mut self.files[file];
        content.length = match &change {
            Change::Wrote(at, bytes) => content.length.max(at + bytes.len()),
            Change::Cut(length) => *length,
        };
        content.since.push(change);
    }

    /// Lets a program do something.
    pub fn see(&mut self, did: &Did) {
        match did {
            Did::Opened { path, emptied } => {
                if !self.names.contains_key(path) {
                    self.files.push(Content::default());
                    self.name(path, self.files.len() - 1);
                } else if *emptied {
                    self.change(path, Change::Cut(0));
                }
            }
            Did::Wrote { path, at, bytes } => {
                let end = self.names.get(path).map_or(0, |&file| self.files[file].length);
                self.change(path, Change::Wrote(at.unwrap_or(end), bytes.clone()));
            }
            Did::Cut { path, length } => self.change(path, Change::Cut(*length)),
            Did::Synced(path) => self.sync(path),
            Did::Renamed(from, to) => {
                if let Some(file) = self.unname(from) {
                    self.name(to, file);
                }
            }
            Did::Linked(from, to) => {
                if let Some(&file) = self.names.get(from) {
                    self.name(to, file);
                }
            }
            Did::Unlinked(path) => drop(self.unname(path)),
            Did::Answered(_) => {}
        }
    }

    fn sync(&mut self, path: &Path) {
        if let Some(&file) = self.names.get(path) {
            let content = &mut self.files[file];
            for change in std::mem::take(&mut content.since) {
                apply(&mut content.durable, &change);
            }
            return;
        }
        // No file's name: the folder's.
        for naming in std::mem::take(&mut self.namings) {
            carry_out(&mut self.durable_names, &naming);
        }
    }

    /// What is found after the power is back, by name.
    pub fn after_a_power_cut(&self, luck: Luck) -> BTreeMap<PathBuf, Vec<u8>> {
        let mut seed = match luck {
            Luck::Some(seed) => seed,
            Luck::None | Luck::All => 0,
        };
        let kept = match luck {
            Luck::None => 0,
            Luck::All => self.namings.len(),
            // The remainder is below a length, which fits.
            Luck::Some(_) => {
                usize::try_from(next(&mut seed) % (self.namings.len() as u64 + 1)).unwrap_or(0)
            }
        };
        let mut names = self.durable_names.clone();
        for naming in &self.namings[..kept] {
            carry_out(&mut names, naming);
        }
        names
            .into_iter()
            .map(|(name, file)| (name, self.files[file].survivors(luck, &mut seed)))
            .collect()
    }
}

fn carry_out(names: &mut BTreeMap<PathBuf, File>, naming: &Naming) {
    match naming {
        Naming::Set(path, file) => {
            names.insert(path.clone(), *file);
        }
        Naming::Gone(path) => {
            names.remove(path);
        }
    }
}

impl Content {
    fn survivors(&self, luck: Luck, seed: &mut u64) -> Vec<u8> {
        let mut bytes = self.durable.clone();
        for change in &self.since {
            match (luck, change) {
                (Luck::None, _) => {}
                (Luck::All, _) => apply(&mut bytes, change),
                (Luck::Some(_), Change::Cut(_)) => {
                    if heads(seed) {
                        apply(&mut bytes, change);
                    }
                }
                (Luck::Some(_), Change::Wrote(at, written)) => {
                    for piece in sectors(*at, written) {
                        if heads(seed) {
                            apply(&mut bytes, &piece);
                        }
                    }
                }
            }
        }
        bytes
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn wrote(path: &str, at: usize, bytes: &[u8]) -> Did {
        Did::Wrote { path: path.into(), at: Some(at), bytes: bytes.to_vec() }
    }

    fn opened(path: &str) -> Did {
        Did::Opened { path: path.into(), emptied: false }
    }

    #[test]
    fn what_was_synced_is_kept_and_what_was_not_may_be_gone() {
        let mut disk = Disk::default();
        let folder = Did::Synced("/farm".into());
        for did in [opened("/farm/book"), wrote("/farm/book", 0, b"kept"), folder] {
            disk.see(&did);
        }
        let book = PathBuf::from("/farm/book");
        assert_eq!(disk.after_a_power_cut(Luck::None)[&book], b"", "its name is kept, no more");
        disk.see(&Did::Synced(book.clone()));
        disk.see(&wrote("/farm/book", 4, b" and lost"));
        assert_eq!(disk.after_a_power_cut(Luck::None)[&book], b"kept");
        assert_eq!(disk.after_a_power_cut(Luck::All)[&book], b"kept and lost");
    }

    #[test]
    fn a_name_that_was_not_synced_may_be_the_old_one() {
        let mut disk = Disk::default();
        let (keys, new) = (PathBuf::from("/farm/keys"), PathBuf::from("/farm/keys.new"));
        for did in [opened("/farm/keys"), opened("/farm/keys.new"), Did::Synced("/farm".into())] {
            disk.see(&did);
        }
        disk.see(&wrote("/farm/keys.new", 0, b"new"));
        disk.see(&Did::Synced(new.clone()));
        disk.see(&Did::Renamed(new.clone(), keys.clone()));
        let before = disk.after_a_power_cut(Luck::None);
        assert_eq!((before[&keys].as_slice(), before[&new].as_slice()), (&b""[..], &b"new"[..]));
        disk.see(&Did::Synced("/farm".into()));
        let after = disk.after_a_power_cut(Luck::None);
        assert_eq!(after, BTreeMap::from([(keys, b"new".to_vec())]));
    }

    #[test]
    fn a_page_may_be_torn_at_a_sector_and_the_same_seed_tears_it_alike() {
        let mut disk = Disk::default();
        let page = [7; 8 * SECTOR];
        for did in
            [opened("/farm/book"), Did::Synced("/farm".into()), wrote("/farm/book", 0, &page)]
        {
            disk.see(&did);
        }
        let torn = |seed| {
            disk.after_a_power_cut(Luck::Some(seed)).remove(Path::new("/farm/book")).unwrap()
        };
        assert!((0..8).all(|seed| torn(seed) == torn(seed)));
        assert!((0..8).any(|seed| torn(seed).contains(&0) && torn(seed).contains(&7)));
        let edges = torn(1);
        assert!(edges.chunks(SECTOR).all(|sector| sector.iter().all(|byte| *byte == sector[0])));
    }
}
