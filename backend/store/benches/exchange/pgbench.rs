//! pgbench with the statements that the store sends for one hold: written down by PostgreSQL's own
//! log while the store makes one, so that both sides do the same whatever the store comes to do.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use diesel::connection::SimpleConnection as _;
use diesel::sql_types::Text;
use diesel::{Connection as _, PgConnection, QueryableByName, RunQueryDsl, sql_query};
use spareloop_store::{DatabaseUrl, Store};
use uuid::Uuid;

use crate::common::{House, address};
use crate::load::{Market, OFFERS, STEM, ask_once};

/// As many as the store opens.
pub(crate) const CONNECTIONS: usize = 16;

/// The statements of one hold, for pgbench.
pub(crate) struct Script {
    text: String,
    url: String,
}

#[derive(QueryableByName)]
struct Setting {
    #[diesel(sql_type = Text)]
    setting: String,
}

/// A statement that PostgreSQL wrote down.
struct Written {
    sql: String,
    values: Vec<Option<String>>,
}

impl Script {
    /// Lets the store make one hold and makes a script of what PostgreSQL was asked.
    pub(crate) fn of_a_hold(house: &House, market: &Market) -> Self {
        let (base, name) = house.database().expect("on PostgreSQL");
        let url = address(base, name);
        let mut connection = PgConnection::establish(&url).unwrap();
        let log = log_file(&mut connection);
        let length = std::fs::metadata(&log).unwrap().len();
        connection
            .batch_execute(&format!("ALTER DATABASE {name} SET log_statement = 'all'"))
            .unwrap();
        let watched = House::over(Store::open(&DatabaseUrl::parse(&url).unwrap()).unwrap());
        let act = ask_once(&watched, &market.takers[0], market.offers[0]);
        drop(watched);
        connection.batch_execute(&format!("ALTER DATABASE {name} RESET log_statement")).unwrap();
        let text = std::fs::read(&log).expect("the log of the test cluster");
        let text = String::from_utf8_lossy(&text[usize::try_from(length).unwrap()..]).into_owned();
        let key = act.key.to_string();
        let statements = statements_with(&text, &key);
        assert!(statements.len() > 8, "too few statements: {}", statements.len());
        let known = [market.network.id.to_string(), market.giver.id.to_string()];
        let known = known
            .into_iter()
            .chain([market.takers[0].id.to_string(), market.takers[0].grower.to_string()]);
        let known: Vec<String> = known.collect();
        Self { text: script(&statements, &key, &known, &market.offers[0].to_string()), url }
    }

    /// How many holds a second pgbench makes at so many offers.
    pub(crate) fn run(&self, offers: usize, time: Duration) -> f64 {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("hold.sql");
        let head = format!(
            "\\set o random(0, {})\n\\set h random(1, 9000000000000000000)\n",
            offers as u64 % (OFFERS + 1) - 1
        );
        std::fs::write(&file, head + &self.text).unwrap();
        let seconds = time.as_secs().max(1).to_string();
        let connections = CONNECTIONS.to_string();
        let output = Command::new(program())
            .args(["-n", "-M", "prepared", "-j", "2", "-c", &connections, "-T", &seconds, "-f"])
            .arg(&file)
            .arg(&self.url)
            .output()
            .expect("pgbench runs");
        let told = String::from_utf8_lossy(&output.stdout).into_owned();
        let talk = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{talk}\n{}", self.text);
        let tps = told.lines().find_map(|line| line.strip_prefix("tps = "));
        tps.and_then(|rest| rest.split(' ').next()?.parse().ok()).expect("pgbench tells its pace")
    }
}

/// pgbench of the installation that the test cluster is of.
fn program() -> PathBuf {
    let beside = std::fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten();
    let mut found: Vec<PathBuf> =
        beside.map(|entry| entry.path().join("bin/pgbench")).filter(|path| path.exists()).collect();
    found.sort();
    found.pop().unwrap_or_else(|| PathBuf::from("pgbench"))
}

fn log_file(connection: &mut PgConnection) -> PathBuf {
    let folder: Setting = sql_query("SELECT current_setting('data_directory') AS setting")
        .get_result(connection)
        .unwrap();
    PathBuf::from(folder.setting).join("server.log")
}

/// The statements of the transaction in which a value occurs.
fn statements_with(log: &str, value: &str) -> Vec<Written> {
    let mut transaction: Vec<Written> = Vec::new();
    for line in log.lines() {
        if let Some((_, sql)) = line.split_once("LOG:  statement: ") {
            if sql == "BEGIN" {
                transaction.clear();
            }
            transaction.push(Written { sql: sql.to_owned(), values: Vec::new() });
            let is_it = transaction.iter().any(|it| it.values.iter().flatten().any(|v| v == value));
            if sql == "COMMIT" && is_it {
                return transaction;
            }
        } else if let Some((_, rest)) = line.split_once("LOG:  execute ") {
            let (_, sql) = rest.split_once(": ").unwrap();
            transaction.push(Written { sql: sql.to_owned(), values: Vec::new() });
        } else if let Some((_, list)) = line.split_once("DETAIL:  parameters: ")
            && let Some(last) = transaction.last_mut()
        {
            last.values = values(list);
        }
    }
    panic!("no transaction in the log has {value}");
}

/// Reads `$1 = 'a''b', $2 = NULL`.
fn values(list: &str) -> Vec<Option<String>> {
    let mut found = Vec::new();
    let mut rest = list;
    while let Some((_, value)) = rest.split_once(" = ") {
        let Some(quoted) = value.strip_prefix('\'') else {
            found.push(None);
            rest = value;
            continue;
        };
        let mut text = String::new();
        let mut letters = quoted.char_indices().peekable();
        let mut end = quoted.len();
        while let Some((at, letter)) = letters.next() {
            if letter != '\'' {
                text.push(letter);
            } else if letters.next_if(|(_, next)| *next == '\'').is_some() {
                text.push('\'');
            } else {
                end = at + 1;
                break;
            }
        }
        found.push(Some(text));
        rest = &quoted[end..];
    }
    found
}

/// Puts the values into the statements: what is new with every hold is worked out of `:h`, the offer
/// of `:o`, the rest stays.
fn script(statements: &[Written], key: &str, known: &[String], offer: &str) -> String {
    // The hold's id is the first that is new; others are of messages.
    let mut new: Vec<String> = Vec::new();
    let mut text = String::new();
    for statement in statements {
        let mut sql = statement.sql.clone();
        for (place, value) in statement.values.iter().enumerate().rev() {
            let word = match value {
                None => "NULL".to_owned(),
                Some(value) if value == key => "(md5('k' || :h::text)::uuid::text)".to_owned(),
                Some(value) if value == offer => {
                    format!("('{STEM}' || lpad(:o::text, 12, '0'))")
                }
                Some(value) if !known.contains(value) && value.parse::<Uuid>().is_ok() => {
                    let number = new.iter().position(|one| one == value).unwrap_or_else(|| {
                        new.push(value.clone());
                        new.len() - 1
                    });
                    format!("(md5('{number}-' || :h::text)::uuid::text)")
                }
                // A colon would begin a variable of pgbench's.
                Some(value) => {
                    let plain = value.replace('\\', "\\005C").replace('\'', "''");
                    format!("U&'{}'", plain.replace(':', "\\003A"))
                }
            };
            sql = sql.replace(&format!("${}", place + 1), &word);
        }
        // Writing to a String can't fail.
        let _ = writeln!(text, "{sql};");
    }
    text
}
