//! Settings, resolved once before a command runs: flag, environment, project file, user file,
//! default, in that order. Each remembers where it came from, for `config explain`.

use std::fmt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::Deserialize;
use spareloop_domain::words::Day;

use crate::fault::Fault;
use crate::fresh;

/// The file looked for in the folder where the program runs.
pub const PROJECT_FILE: &str = "spareloop.toml";

/// Where a setting came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// The command line.
    Flag(&'static str),
    /// An environment variable.
    Environment(&'static str),
    /// A file.
    File(PathBuf),
    /// Nothing said otherwise.
    Default,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag(name) => write!(f, "the flag {name}"),
            Self::Environment(name) => write!(f, "the environment variable {name}"),
            Self::File(path) => write!(f, "the file {}", path.display()),
            Self::Default => f.write_str("the default"),
        }
    }
}

/// A setting and where it came from.
#[derive(Debug, Clone)]
pub struct Set<T> {
    /// What holds.
    pub value: T,
    /// Why.
    pub source: Source,
}

/// All settings.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The stock book's file.
    pub book: Set<PathBuf>,
    /// The day that counts as today.
    pub today: Set<Day>,
    /// How long the server may take to answer.
    pub timeout: Set<Duration>,
    /// How long to wait for another program that writes to the same book.
    pub wait_for_book: Set<Duration>,
    /// The user's file, there or not.
    pub user_file: Option<PathBuf>,
}

/// What the command line says about settings.
#[derive(Debug, Clone, Default)]
pub struct Flags {
    /// `--book`.
    pub book: Option<PathBuf>,
    /// `--timeout`, in seconds.
    pub timeout: Option<u64>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileSettings {
    book: Option<PathBuf>,
    timeout_seconds: Option<u64>,
    wait_for_book_seconds: Option<u64>,
}

impl Settings {
    /// Resolves everything. `environment` answers a variable's value, so that tests can give one.
    pub fn resolve(
        flags: &Flags,
        environment: &dyn Fn(&str) -> Option<String>,
    ) -> Result<Self, Fault> {
        let folders = directories::ProjectDirs::from("", "", "spareloop");
        let user_file = folders.as_ref().map(|dirs| dirs.config_dir().join("config.toml"));
        let mut files = vec![PathBuf::from(PROJECT_FILE)];
        files.extend(user_file.clone());
        let files: Vec<(PathBuf, FileSettings)> = files
            .into_iter()
            .map(|path| read_file(&path).map(|found| found.map(|file| (path, file))))
            .filter_map(Result::transpose)
            .collect::<Result<_, _>>()?;
        let from_file = |pick: &dyn Fn(&FileSettings) -> Option<PathBuf>| {
            files.iter().find_map(|(path, file)| {
                pick(file).map(|value| Set { value, source: Source::File(path.clone()) })
            })
        };
        let seconds_in_file = |pick: &dyn Fn(&FileSettings) -> Option<u64>| {
            files.iter().find_map(|(path, file)| {
                pick(file).map(|value| Set { value, source: Source::File(path.clone()) })
            })
        };
        let book = flags
            .book
            .clone()
            .map(|value| Set { value, source: Source::Flag("--book") })
            .or_else(|| from_environment(environment, "SPARELOOP_BOOK").map(PathBuf::from_set))
            .or_else(|| from_file(&|file| file.book.clone()))
            .or_else(|| {
                folders.as_ref().map(|dirs| Set {
                    value: dirs.data_dir().join("book.sqlite"),
                    source: Source::Default,
                })
            })
            .ok_or_else(|| {
                Fault::usage(
                    "No home folder was found for the stock book.",
                    "Say where it is with --book FILE.",
                )
            })?;
        let timeout = seconds(
            flags.timeout.map(|value| Set { value, source: Source::Flag("--timeout") }),
            from_environment(environment, "SPARELOOP_TIMEOUT"),
            seconds_in_file(&|file| file.timeout_seconds),
            30,
        )?;
        let wait_for_book = seconds(
            None,
            from_environment(environment, "SPARELOOP_WAIT_FOR_BOOK"),
            seconds_in_file(&|file| file.wait_for_book_seconds),
            5,
        )?;
        let today = today(environment)?;
        Ok(Self { book, today, timeout, wait_for_book, user_file })
    }
}

trait FromSet {
    fn from_set(set: Set<String>) -> Set<PathBuf>;
}

impl FromSet for PathBuf {
    fn from_set(set: Set<String>) -> Set<PathBuf> {
        Set { value: Self::from(set.value), source: set.source }
    }
}

fn from_environment(
    environment: &dyn Fn(&str) -> Option<String>,
    name: &'static str,
) -> Option<Set<String>> {
    environment(name)
        .filter(|value| !value.is_empty())
        .map(|value| Set { value, source: Source::Environment(name) })
}

fn seconds(
    flag: Option<Set<u64>>,
    environment: Option<Set<String>>,
    file: Option<Set<u64>>,
    default: u64,
) -> Result<Set<Duration>, Fault> {
    let environment = environment
        .map(|set| {
            set.value.parse().map(|value| Set { value, source: set.source.clone() }).map_err(|_| {
                Fault::usage(
                    format!("{:?} is not a number of seconds ({}).", set.value, set.source),
                    "Give whole seconds, as 30.",
                )
            })
        })
        .transpose()?;
    let set =
        flag.or(environment).or(file).unwrap_or(Set { value: default, source: Source::Default });
    Ok(Set { value: Duration::from_secs(set.value.clamp(1, 3600)), source: set.source })
}

fn today(environment: &dyn Fn(&str) -> Option<String>) -> Result<Set<Day>, Fault> {
    let hint = "Write it as YYYY-MM-DD, or unset it to use this machine's date.";
    match from_environment(environment, "SPARELOOP_TODAY") {
        Some(set) => set
            .value
            .parse()
            .map(|value| Set { value, source: set.source })
            .map_err(|error| Fault::usage(format!("SPARELOOP_TODAY: {error}."), hint)),
        None => fresh::local_today()
            .map(|value| Set { value, source: Source::Default })
            .map_err(|error| Fault::failed(format!("This machine's date: {error}."), hint)),
    }
}

fn read_file(path: &Path) -> Result<Option<FileSettings>, Fault> {
    let text = match std::fs::read_to_string(path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => {
            return Err(Fault::failed(
                format!("The settings in {} can't be read: {error}.", path.display()),
                "Make the file readable, or move it away.",
            ));
        }
    };
    toml::from_str(&text).map(Some).map_err(|error| {
        Fault::usage(
            format!("The settings in {} can't be understood: {}", path.display(), error.message()),
            "It may hold: book, timeout_seconds, wait_for_book_seconds.",
        )
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn resolved(flag: Option<&str>, variable: Option<&str>) -> Settings {
        let flags = Flags { book: flag.map(PathBuf::from), timeout: None };
        let environment = |name: &str| match name {
            "SPARELOOP_BOOK" => variable.map(ToOwned::to_owned),
            "SPARELOOP_TODAY" => Some("2026-03-20".to_owned()),
            _ => None,
        };
        Settings::resolve(&flags, &environment).unwrap()
    }

    #[test]
    fn a_flag_wins_over_the_environment_and_that_over_the_default() {
        let both = resolved(Some("a.sqlite"), Some("b.sqlite"));
        assert_eq!(
            (both.book.value, both.book.source),
            ("a.sqlite".into(), Source::Flag("--book"))
        );
        let variable = resolved(None, Some("b.sqlite"));
        assert_eq!(variable.book.source, Source::Environment("SPARELOOP_BOOK"));
        assert_eq!(resolved(None, Some("")).book.source, Source::Default);
    }

    #[test]
    fn a_day_or_a_time_that_is_none_is_wrong_usage() {
        for (name, value) in [("SPARELOOP_TODAY", "soon"), ("SPARELOOP_TIMEOUT", "long")] {
            let environment = |asked: &str| (asked == name).then(|| value.to_owned());
            let fault = Settings::resolve(&Flags::default(), &environment).unwrap_err();
            assert_eq!(fault.exit, crate::fault::Exit::Usage);
        }
    }
}
