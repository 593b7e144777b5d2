//! `farm`: begin its book; connect it to a network; join from a second device; its devices; by which
//! channels it is told things.

use std::path::PathBuf;

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_domain::words::{Day, DeviceId, FarmId};

use crate::book::copies;
use crate::book::farm::{self, Farm as FarmRow};
use crate::book::{BookError, Keep, StockBook, entries, link};
use crate::commands::tell;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::{self, Password};

/// What can be done about the farm.
#[derive(Debug, Subcommand)]
pub enum Farm {
    /// Begin the farm's book on this device. Needs no server.
    #[command(after_help = "\
Example: spareloop farm init --name 'Heron Hill' --device 'house laptop' --planting 2027-05-10
Asks four questions where a flag doesn't answer them; none needs an account or a network.")]
    Init(Init),
    /// Show the farm, this device and the connection.
    #[command(after_help = "Example: spareloop farm show")]
    Show,
    /// Join a network by invitation and make this device known to its server.
    #[command(after_help = "\
Example: spareloop farm connect --server https://loop.example --invite CODE --login ada
The password is asked for, or read from --password-file or SPARELOOP_PASSWORD; never from the
command line. Give the command again without --invite to sign in anew.
A coordinator who keeps the book of a farm on paper, with its consent:
  spareloop farm connect --server https://loop.example --login clara --on-paper \\
    --consent-by 'Ada Fen' --consent-how 'a signed note, kept in the binder'")]
    Connect(Connect),
    /// Make this device another one of a farm that is connected already, and fetch its book.
    #[command(after_help = "\
Examples:
  spareloop farm join --server https://loop.example --login ada --device 'bench phone'
  spareloop farm join --server https://loop.example --login clara --on-paper 'Fen End'")]
    Join(Join),
    /// List the farm's devices, or shut a lost one out; its entries stay.
    #[command(after_help = "\
Examples:
  spareloop farm devices
  spareloop farm devices --shut-out DEVICE")]
    Devices(Devices),
    /// By which channels the farm is told things: e-mail, a webhook, a feed, a calendar.
    #[command(subcommand)]
    Tell(tell::Tell),
}

/// Begins the farm's book.
#[derive(Debug, Args)]
pub struct Init {
    /// The farm's name.
    #[arg(long)]
    name: Option<String>,
    /// What this device is called.
    #[arg(long)]
    device: Option<String>,
    /// The usual planting day.
    #[arg(long, value_name = "DAY")]
    planting: Option<Day>,
    /// How sure to be that enough plants come up, strictly between 0 and 1.
    #[arg(long, value_name = "SHARE")]
    how_sure: Option<f64>,
}

/// How to sign in.
#[derive(Debug, Args)]
pub struct SignInArgs {
    /// The network's server.
    #[arg(long, value_name = "URL")]
    server: Option<String>,
    /// The name to sign in with.
    #[arg(long)]
    login: Option<String>,
    /// A file whose first line is the password.
    #[arg(long, value_name = "FILE")]
    password_file: Option<PathBuf>,
}

/// Joins a network.
#[derive(Debug, Args)]
pub struct Connect {
    #[command(flatten)]
    sign_in: SignInArgs,
    /// The invitation's code.
    #[arg(long, value_name = "CODE")]
    invite: Option<String>,
    /// What people call you.
    #[arg(long)]
    display_name: Option<String>,
    /// This farm keeps its books on paper: you act for it as the network's coordinator, with its consent.
    #[arg(long, conflicts_with = "invite")]
    on_paper: bool,
    /// Who consented for the farm, where it is new in the network.
    #[arg(long, value_name = "NAME", requires = "consent_how", requires = "on_paper")]
    consent_by: Option<String>,
    /// How: by a signed note, at a meeting, on the telephone.
    #[arg(long, value_name = "WORDS", requires = "consent_by")]
    consent_how: Option<String>,
    /// On which day; today unless told.
    #[arg(long, value_name = "DAY", requires = "consent_by")]
    consent_on: Option<Day>,
}

impl Connect {
    fn how(self, login: &str, desk: &Desk) -> remote::Entering {
        let consent = self
            .consent_by
            .zip(self.consent_how)
            .map(|(by, how)| Box::new(remote::Consent { by, how, on: desk.day(self.consent_on) }));
        match self.invite {
            Some(code) => {
                let display_name = self.display_name.unwrap_or_else(|| login.to_owned());
                remote::Entering::ByInvitation { code, display_name }
            }
            None if self.on_paper => remote::Entering::OnPaper(consent),
            None => remote::Entering::ByPassword,
        }
    }
}

/// Joins a farm from another device.
#[derive(Debug, Args)]
pub struct Join {
    #[command(flatten)]
    sign_in: SignInArgs,
    /// What this device is called.
    #[arg(long)]
    device: Option<String>,
    /// A farm that keeps its books on paper, for which you act as the network's coordinator: its id, or
    /// how its name begins.
    #[arg(long, value_name = "FARM")]
    on_paper: Option<String>,
}

/// Lists devices.
#[derive(Debug, Args)]
pub struct Devices {
    /// The id of a device to shut out.
    #[arg(long, value_name = "DEVICE")]
    shut_out: Option<DeviceId>,
}

/// Runs it.
pub fn run(command: Farm, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Farm::Init(it) => init(it, desk),
        Farm::Show => show(desk),
        Farm::Connect(it) => connect(it, desk),
        Farm::Join(it) => join(it, desk),
        Farm::Devices(it) => devices(&it, desk),
        Farm::Tell(it) => tell::run(it, desk),
    }
}

fn name_fault(what: &str) -> Fault {
    Fault::refused(format!("{what} has 1 to 80 characters."), "Give it another name.")
}

pub(crate) fn checked_name(what: &str, text: &str) -> Result<String, Fault> {
    let text = text.trim();
    let fits = (1..=80).contains(&text.chars().count()) && !text.chars().any(char::is_control);
    if fits { Ok(text.to_owned()) } else { Err(name_fault(what)) }
}

fn init(it: Init, desk: &Desk) -> Result<Answer, Fault> {
    let settings = &desk.settings;
    let path = &settings.book.value;
    if path.exists() {
        let mut file = desk.file()?;
        if let Some(farm) = file.read(farm::find)? {
            return Err(Fault::refused(
                format!("{} holds the book of {} already.", path.display(), farm.name),
                "To see it: spareloop farm show   (another book: --book FILE)",
            ));
        }
    } else if copies::are_beside(path) {
        desk.ask.consent(&format!(
            "A stock book that was at {} is gone, and copies of it lie beside it (spareloop backup list). Begin a new one all the same?",
            path.display()
        ))?;
    }
    let name = desk.ask.text(it.name, "What is the farm called?", "--name")?;
    let name = checked_name("A farm's name", &name)?;
    let device = desk.ask.text_or(it.device, "What is this device called?", "this device")?;
    let device = checked_name("A device's name", &device)?;
    let planting = match it.planting {
        Some(day) => Some(day),
        None => asked_day(desk)?,
    };
    let how_sure = how_sure(it.how_sure, desk)?;
    let farm = FarmRow { id: FarmId::new(fresh::uuid()?), name, service_level: how_sure, planting };
    if desk.keep == Keep::Kept {
        begin_book(desk, &farm, &device)?;
    }
    let text = format!(
        "{} has a stock book at {}.\nNext: spareloop import stock FILE, or spareloop variety add NAME and spareloop lot lift.",
        farm.name,
        path.display()
    );
    Ok(Answer::new("farm", text, json!({ "farm": farm.id, "name": farm.name, "book": path })))
}

fn how_sure(given: Option<f64>, desk: &Desk) -> Result<f64, Fault> {
    let question = "How sure to be that enough plants come up? (0.9: 9 springs in 10)";
    let text = desk.ask.text_or(given.map(|share| share.to_string()), question, "0.9")?;
    let share = text.trim().replace(',', ".").parse::<f64>().ok();
    share.filter(|share| *share > 0.0 && *share < 1.0).ok_or_else(|| {
        Fault::refused(
            format!("How sure to be is {text}, and it must be a number strictly between 0 and 1."),
            "Give --how-sure 0.9 for 9 springs in 10.",
        )
    })
}

fn asked_day(desk: &Desk) -> Result<Option<Day>, Fault> {
    let text =
        desk.ask.text_or(None, "When do you usually plant? (YYYY-MM-DD, empty: later)", "")?;
    if text.trim().is_empty() {
        return Ok(None);
    }
    text.parse().map(Some).map_err(|error: spareloop_domain::words::DayError| {
        Fault::refused(format!("{error}."), "Give it with --planting YYYY-MM-DD.")
    })
}

/// Makes the file and writes the farm and this device into it, if it has none yet.
fn begin_book(desk: &Desk, farm: &FarmRow, device: &str) -> Result<StockBook, Fault> {
    let settings = &desk.settings;
    let mut file = StockBook::open_or_create(&settings.book.value, settings.wait_for_book.value)?;
    file.write(Keep::Kept, |connection| {
        if let Some(there) = farm::find(connection)? {
            return Err(Fault::refused(
                format!("The book of {} is there already.", there.name),
                "To see it: spareloop farm show",
            ));
        }
        farm::put(connection, farm)?;
        let id = DeviceId::new(fresh::uuid()?);
        farm::become_device(connection, id, device, fresh::wall_millis())?;
        Ok(())
    })?;
    Ok(file)
}

fn show(desk: &Desk) -> Result<Answer, Fault> {
    let mut file = desk.file()?;
    let (farm, device, link, all, unsent) = file.read(|connection| {
        Ok::<_, BookError>((
            farm::get(connection)?,
            farm::device(connection)?,
            link::find(connection)?,
            entries::count(connection)?,
            entries::count_unsent(connection)?,
        ))
    })?;
    let connection = link.as_ref().map_or_else(
        || "not connected to a network".to_owned(),
        |link| {
            let network =
                link.network.as_ref().map(|name| format!(" ({name})")).unwrap_or_default();
            format!(
                "connected to {}{network} as {}; {unsent} not yet sent",
                link.server, link.login
            )
        },
    );
    let planting = farm.planting.map_or_else(|| "not set".to_owned(), |day| day.to_string());
    let text = format!(
        "{}: {all} entries, {connection}.\n\nfarm      {}\ndevice    {} ({})\nplanting  {planting}\nhow sure  {}\nbook      {}",
        farm.name,
        farm.id,
        device.name,
        device.id,
        farm.service_level,
        desk.settings.book.value.display()
    );
    Ok(Answer::new(
        "farm",
        text,
        json!({
            "farm": farm.id,
            "name": farm.name,
            "device": device.id,
            "device_name": device.name,
            "planting": farm.planting,
            "service_level": farm.service_level,
            "server": link.as_ref().map(|link| &link.server),
            "network": link.as_ref().and_then(|link| link.network.as_ref()),
            "entries": all,
            "unsent": unsent,
            "book": desk.settings.book.value,
        }),
    ))
}

impl SignInArgs {
    fn server(&self, desk: &Desk, known: Option<&str>) -> Result<String, Fault> {
        let given = self.server.clone().or_else(|| known.map(ToOwned::to_owned));
        let text = desk.ask.text(given, "What is the server's address?", "--server URL")?;
        remote::checked_address(&text)
    }

    fn login(&self, desk: &Desk, known: Option<&str>) -> Result<String, Fault> {
        let given = self.login.clone().or_else(|| known.map(ToOwned::to_owned));
        desk.ask.text(given, "Which name do you sign in with?", "--login")
    }

    fn password(&self, desk: &Desk) -> Result<Password, Fault> {
        remote::password(desk, self.password_file.as_deref())
    }
}

fn connect(it: Connect, desk: &Desk) -> Result<Answer, Fault> {
    let mut file = desk.file()?;
    let link = file.read(link::find)?;
    let server = it.sign_in.server(desk, link.as_ref().map(|link| link.server.as_str()))?;
    let login = it.sign_in.login(desk, link.as_ref().map(|link| link.login.as_str()))?;
    let password = it.sign_in.password(desk)?;
    let how = it.how(&login, desk);
    let done = remote::connect(desk, &mut file, &server, &login, &password, how)?;
    let network =
        done.network.as_ref().map_or_else(|| "a network".to_owned(), |name| format!("'{name}'"));
    let text = format!(
        "{} is connected to {network} at {server} as {login}.\nNext: spareloop sync",
        done.farm
    );
    Ok(Answer::new(
        "connected",
        text,
        json!({ "farm": done.farm_id, "name": done.farm, "network": done.network, "server": server }),
    ))
}

fn join(it: Join, desk: &Desk) -> Result<Answer, Fault> {
    let server = it.sign_in.server(desk, None)?;
    let login = it.sign_in.login(desk, None)?;
    let device = desk.ask.text_or(it.device, "What is this device called?", "another device")?;
    let device = checked_name("A device's name", &device)?;
    let password = it.sign_in.password(desk)?;
    let (farm, how) = match &it.on_paper {
        None => (remote::farm_of(desk, &server, &login, &password)?, remote::Entering::ByPassword),
        Some(named) => (
            remote::farm_on_paper(desk, &server, &login, &password, named)?,
            remote::Entering::OnPaper(None),
        ),
    };
    let row = FarmRow { id: farm.id, name: farm.name, service_level: 0.9, planting: None };
    let mut file = begin_book(desk, &row, &device)?;
    let done = remote::connect(desk, &mut file, &server, &login, &password, how)?;
    let fetched = crate::sync::run(desk, &mut file)?;
    let text = format!(
        "This device keeps the book of {} now: {} entries fetched.\nNext: spareloop status",
        done.farm, fetched.fetched
    );
    Ok(Answer::new(
        "joined",
        text,
        json!({ "farm": done.farm_id, "name": done.farm, "fetched": fetched.fetched }),
    ))
}

fn devices(it: &Devices, desk: &Desk) -> Result<Answer, Fault> {
    let mut session = remote::Session::open(desk)?;
    if let Some(device) = it.shut_out {
        desk.ask.consent("Shut that device out? Its entries stay.")?;
        if desk.keep == Keep::Kept {
            session.shut_out(device)?;
        }
        return Ok(Answer::new(
            "device",
            format!("Device {device} is shut out; its entries stay."),
            json!({ "device": device }),
        ));
    }
    let devices = session.devices()?;
    let rows: Vec<Vec<String>> = devices
        .iter()
        .map(|device| {
            let shut = device.shut_out_at.map(|at| format!("shut out {}", at.date_naive()));
            vec![device.device.to_string(), device.name.clone(), shut.unwrap_or_default()]
        })
        .collect();
    Ok(Answer::new("devices", table(&["device", "name", ""], &rows), json!({ "devices": devices })))
}
