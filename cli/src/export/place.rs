//! Where an export goes: standard output, or a file that is whole or not there at all.
//!
//! A file is written beside its place as `NAME.partial`, made durable, and then renamed. One that is
//! there is replaced only if that was agreed to. What may not enter: what is written.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::book::BookError;
use crate::fault::Fault;

/// Whether a file that is there may be replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Replace {
    /// It may not.
    Never,
    /// It may (`--replace`).
    Agreed,
}

/// Where an export goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Target {
    /// Standard output.
    Stdout,
    /// A file.
    File(PathBuf),
}

/// Why an export stopped.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The place that is written to.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// The book that is read.
    #[error(transparent)]
    Book(#[from] BookError),
    /// Anything that has its words already.
    #[error("{0}")]
    Fault(Fault),
}

impl From<diesel::result::Error> for WriteError {
    fn from(error: diesel::result::Error) -> Self {
        Self::Book(error.into())
    }
}

impl Target {
    /// `-` is standard output.
    pub fn of(path: Option<&Path>) -> Self {
        match path {
            None => Self::Stdout,
            Some(path) if path == Path::new("-") => Self::Stdout,
            Some(path) => Self::File(path.to_owned()),
        }
    }

    /// Refuses a place that can't be written, before any work is done for it.
    pub fn check(&self, replace: Replace) -> Result<(), Fault> {
        let Self::File(path) = self else { return Ok(()) };
        if path.file_name().is_none() {
            return Err(Fault::refused(
                format!("{} names no file.", path.display()),
                "Say what the file is to be called, as stock.csv.",
            ));
        }
        let folder = folder_of(path);
        if !folder.is_dir() {
            return Err(Fault::refused(
                format!("There is no folder {}.", folder.display()),
                "Make the folder first, or choose another one. Nothing was written.",
            ));
        }
        match fs::symlink_metadata(path) {
            Ok(there) if !there.is_file() => Err(Fault::refused(
                format!("{} is there and is no plain file.", path.display()),
                "Choose another name; - is standard output. Nothing was written.",
            )),
            Ok(_) if replace == Replace::Never => Err(Fault::refused(
                format!("{} is there already.", path.display()),
                "Choose another name, or give --replace. It was left as it is.",
            )),
            _ => Ok(()),
        }
    }

    /// Writes: whole, or nothing under that name. Answers `None` if whoever reads standard output
    /// stopped reading, which is the reader's choice.
    pub fn write<T>(
        &self,
        replace: Replace,
        work: impl FnOnce(&mut dyn Write) -> Result<T, WriteError>,
    ) -> Result<Option<T>, Fault> {
        self.check(replace)?;
        match self {
            Self::Stdout => {
                let mut out = BufWriter::new(io::stdout().lock());
                let written = work(&mut out).and_then(|value| {
                    out.flush()?;
                    Ok(value)
                });
                match written {
                    Err(WriteError::Io(error)) if error.kind() == io::ErrorKind::BrokenPipe => {
                        Ok(None)
                    }
                    other => other.map(Some).map_err(|error| fault(error, Path::new("-"))),
                }
            }
            Self::File(path) => {
                let partial = partial_of(path);
                let written = write_beside(path, &partial, work);
                if written.is_err() {
                    // Best effort: what is left of it is named so that nobody takes it for whole.
                    drop(fs::remove_file(&partial));
                }
                written.map(Some).map_err(|error| fault(error, path))
            }
        }
    }
}

fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

fn partial_of(path: &Path) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".partial");
    path.with_file_name(name)
}

fn write_beside<T>(
    path: &Path,
    partial: &Path,
    work: impl FnOnce(&mut dyn Write) -> Result<T, WriteError>,
) -> Result<T, WriteError> {
    let mut out = BufWriter::new(File::create(partial)?);
    let value = work(&mut out)?;
    let file = out.into_inner().map_err(io::IntoInnerError::into_error)?;
    file.sync_all()?;
    fs::rename(partial, path)?;
    // The new name is durable only with its folder. Not every file system can sync one.
    if let Ok(folder) = File::open(folder_of(path)) {
        drop(folder.sync_all());
    }
    Ok(value)
}

fn fault(error: WriteError, path: &Path) -> Fault {
    let error = match error {
        WriteError::Io(error) => error,
        WriteError::Book(error) => return error.into(),
        WriteError::Fault(fault) => return fault,
    };
    let (what, hint) = match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => {
            (
                "there is no room left".to_owned(),
                "Make room, or write to another disk, and give the command again.",
            )
        }
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => (
            "that may not be written".to_owned(),
            "Choose a folder that you may write to, and give the command again.",
        ),
        _ => (error.to_string(), "Check the path and the disk, and give the command again."),
    };
    let name = if path == Path::new("-") {
        "Standard output".to_owned()
    } else {
        path.display().to_string()
    };
    Fault::failed(format!("{name} can't be written: {what}."), hint)
        .keeping("The stock book is as it was, and no half-written file bears that name.")
}
