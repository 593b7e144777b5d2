//! What programs did to the files of one folder, in order, read from strace's log.
//!
//! Only what [`super::disk`] must know of: bytes written where, cut, synced; names that came, went
//! and changed. The log's strings are hexadecimal throughout (`-xx`), descriptors carry their paths
//! (`-y`).

use std::path::{Path, PathBuf};

/// The calls that are recorded.
pub const CALLS: &str = "openat,write,pwrite64,ftruncate,fsync,fdatasync,rename,unlink,link,linkat,\
                         mkdir,sendto,sendmsg,writev";

/// One thing done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Did {
    /// A name was opened with leave to make it, and to empty it.
    Opened {
        /// Which.
        path: PathBuf,
        /// Whether its content went.
        emptied: bool,
    },
    /// Bytes went to a place of a file, or to its end.
    Wrote {
        /// Which file.
        path: PathBuf,
        /// Where; at the end unless told.
        at: Option<usize>,
        /// What.
        bytes: Vec<u8>,
    },
    /// A file got a length.
    Cut {
        /// Which file.
        path: PathBuf,
        /// How long.
        length: usize,
    },
    /// A file's content, or a folder's names, were told to be durable.
    Synced(PathBuf),
    /// A name became another one.
    Renamed(PathBuf, PathBuf),
    /// A name came to stand beside another one for the same file.
    Linked(PathBuf, PathBuf),
    /// A name went.
    Unlinked(PathBuf),
    /// A server answered that it stored so many entries.
    Answered(usize),
}

/// Reads a log of a program that ran in `folder`; what lies outside of it is left out.
pub fn read(log: &str, folder: &Path) -> Vec<Did> {
    let mut begun = std::collections::BTreeMap::new();
    let mut all = Vec::new();
    for line in log.lines() {
        let Some((thread, call)) = line.split_once(' ') else { continue };
        let call = call.trim_start();
        // A call during which another thread's is shown is written in two halves.
        if let Some(first) = call.strip_suffix("<unfinished ...>") {
            begun.insert(thread.to_owned(), first.to_owned());
            continue;
        }
        let whole = match call.split_once(" resumed>") {
            Some((_, rest)) => match begun.remove(thread) {
                Some(first) => first + rest,
                None => continue,
            },
            None => call.to_owned(),
        };
        let did = understood(&whole).map(|did| within(did, folder));
        all.extend(did.filter(|did| concerns(did, folder)));
    }
    all
}

/// With names that were given from the folder on written in full.
fn within(did: Did, folder: &Path) -> Did {
    match did {
        Did::Opened { path, emptied } => Did::Opened { path: folder.join(path), emptied },
        Did::Renamed(from, to) => Did::Renamed(folder.join(from), folder.join(to)),
        Did::Linked(from, to) => Did::Linked(folder.join(from), folder.join(to)),
        Did::Unlinked(path) => Did::Unlinked(folder.join(path)),
        // Descriptors carry whole paths.
        other => other,
    }
}

fn concerns(did: &Did, folder: &Path) -> bool {
    match did {
        Did::Opened { path, .. }
        | Did::Wrote { path, .. }
        | Did::Cut { path, .. }
        | Did::Synced(path)
        | Did::Renamed(path, _)
        | Did::Linked(path, _)
        | Did::Unlinked(path) => path.starts_with(folder),
        Did::Answered(_) => true,
    }
}

/// `name(arguments) = result`; a call that failed, or never came back, did nothing.
fn understood(call: &str) -> Option<Did> {
    let (name, rest) = call.split_once('(')?;
    let (arguments, result) = rest.rsplit_once(" = ")?;
    let result: usize = result.split([' ', '<']).next()?.parse().ok()?;
    // The half before an interruption ends in a space.
    let arguments = arguments.trim_end().strip_suffix(')')?.trim_end();
    match name {
        "openat" => {
            let flags = arguments.rsplit_once("\", ").map_or("", |(_, flags)| flags);
            let emptied = flags.contains("O_TRUNC");
            let path = quoted(arguments).next().map(to_path)?;
            flags.contains("O_CREAT").then_some(Did::Opened { path, emptied })
        }
        "write" => {
            let bytes = quoted(arguments).next()?;
            Some(Did::Wrote { path: descriptor(arguments)?, at: None, bytes })
        }
        "pwrite64" => {
            let bytes = quoted(arguments).next()?;
            let at = arguments.rsplit_once(", ")?.1.parse().ok()?;
            Some(Did::Wrote { path: descriptor(arguments)?, at: Some(at), bytes })
        }
        "ftruncate" => {
            let length = arguments.rsplit_once(", ")?.1.parse().ok()?;
            Some(Did::Cut { path: descriptor(arguments)?, length })
        }
        "fsync" | "fdatasync" => Some(Did::Synced(descriptor(arguments)?)),
        "unlink" => Some(Did::Unlinked(quoted(arguments).next().map(to_path)?)),
        "rename" | "link" | "linkat" => {
            let mut both = quoted(arguments).map(to_path);
            let (from, to) = (both.next()?, both.next()?);
            Some(if name == "rename" { Did::Renamed(from, to) } else { Did::Linked(from, to) })
        }
        "sendto" | "sendmsg" | "writev" => {
            let bytes: Vec<u8> = quoted(arguments).flatten().take(result).collect();
            let text = String::from_utf8_lossy(&bytes);
            let number = text.split_once("\"stored\":")?.1;
            let number = number.split(|c: char| !c.is_ascii_digit()).next()?;
            Some(Did::Answered(number.parse().ok()?))
        }
        _ => None,
    }
}

fn to_path(bytes: Vec<u8>) -> PathBuf {
    String::from_utf8_lossy(&bytes).into_owned().into()
}

/// The path behind the first descriptor: `4</home/ada/book.sqlite>`.
fn descriptor(arguments: &str) -> Option<PathBuf> {
    let (_, rest) = arguments.split_once('<')?;
    let (path, _) = rest.split_once('>')?;
    Some(to_path(unescaped(path)))
}

/// Every string of the arguments.
fn quoted(arguments: &str) -> impl Iterator<Item = Vec<u8>> {
    // With every byte in hexadecimal no quote stands inside of a string.
    arguments.split('"').skip(1).step_by(2).map(unescaped)
}

fn unescaped(text: &str) -> Vec<u8> {
    if !text.starts_with("\\x") {
        return text.as_bytes().to_vec();
    }
    text.split("\\x")
        .skip(1)
        .filter_map(|pair| u8::from_str_radix(pair.get(..2)?, 16).ok())
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn hex(text: &str) -> String {
        text.bytes().fold(String::new(), |all, byte| all + &format!("\\x{byte:02x}"))
    }

    #[test]
    fn what_a_program_did_is_read_with_its_path_its_place_and_its_bytes() {
        let (book, letter) = (hex("/farm/book"), hex("/home/letter"));
        let (make, empty) = ("O_RDWR|O_CREAT, 0644", "O_WRONLY|O_CREAT|O_TRUNC, 0600");
        let log = format!(
            "7 openat(AT_FDCWD<{root}>, \"{book}\", {make}) = 3<{book}>\n\
             7 openat(AT_FDCWD<{root}>, \"{keys}\", {empty}) = 4<{keys}>\n\
             7 pwrite64(3<{book}>, \"{ab}\", 2, 4096 <unfinished ...>\n\
             8 write(1<{letter}>, \"{ab}\", 2) = 2\n\
             7 <... pwrite64 resumed>) = 2\n\
             7 ftruncate(3<{book}>, 10) = 0\n\
             7 fsync(3<{book}>) = 0\n\
             7 fsync(3<{book}>) = -1 EIO (Input/output error)\n\
             7 rename(\"{keys}\", \"{book}\") = 0\n\
             7 unlink(\"{near}\") = 0\n\
             9 sendto(5<socket:[1]>, \"{answer}\", 12, 0, NULL, 0) = 12\n\
             7 fsync(3<{book}>) = ?\n",
            root = hex("/"),
            keys = hex("/farm/keys"),
            near = hex("book"),
            ab = hex("ab"),
            answer = hex("{\"stored\":12}")
        );
        let book = PathBuf::from("/farm/book");
        let keys = PathBuf::from("/farm/keys");
        let expected = [
            Did::Opened { path: book.clone(), emptied: false },
            Did::Opened { path: keys.clone(), emptied: true },
            Did::Wrote { path: book.clone(), at: Some(4096), bytes: b"ab".to_vec() },
            Did::Cut { path: book.clone(), length: 10 },
            Did::Synced(book.clone()),
            Did::Renamed(keys, book.clone()),
            Did::Unlinked(book),
            Did::Answered(12),
        ];
        assert_eq!(read(&log, Path::new("/farm")), expected);
    }
}
