//! Names that last: a file that was synced is found again after a power cut only if its folder was
//! synced too.

use std::io;
use std::path::Path;

/// Makes a file's name durable, as `sync_all` makes its content.
#[cfg(unix)]
pub(super) fn sync_name(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    std::fs::File::open(folder.unwrap_or_else(|| Path::new(".")))?.sync_all()
}

/// Other systems can't sync a folder and don't need it.
#[cfg(not(unix))]
pub(super) fn sync_name(_: &Path) -> io::Result<()> {
    Ok(())
}
