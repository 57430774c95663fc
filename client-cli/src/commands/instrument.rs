//! `instrument …`.

mod calibrate;
mod correct;
mod tile;
mod verify;

use formula::id::{AcceptanceId, InstrumentId, MeasurementId};
use formula::naming::{InstrumentModel, InstrumentName, Note, SerialNumber};
use formula::wire::v1::{
    Calibration as CalibrationRecord, Geometry, Instrument as Record, InstrumentEdit, Measurement,
    NewAcceptance, NewInstrument, StartBasis, WhiteCertificate,
};
use time::Date;
use time::macros::format_description;

use super::{InUse, ListOptions, Run, own_store};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh};
use crate::word::word;

/// `instrument`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Instrument {
    /// All instruments, or those of a store
    #[command(after_help = "Example:\n  secondcan instrument list --store \"North Quay\"")]
    List {
        /// Only at this store
        #[arg(long, value_name = "STORE")]
        store: Option<String>,
        #[command(flatten)]
        list: ListOptions,
    },
    /// Register an instrument
    #[command(
        after_help = "Example:\n  secondcan instrument add \"Counter sphere 2\" --model \"Sphere, 31 bands\" \\\n      \
        --serial S-20417 --geometry d:8 --aperture 12 --aperture 6"
    )]
    Add(Add),
    /// Change an instrument; what is not named stays
    #[command(after_help = "Example:\n  secondcan instrument edit \"Counter sphere 2\" --retire")]
    Edit(Edit),
    /// One instrument, and what is due at it
    #[command(after_help = "Example:\n  secondcan instrument show \"Counter sphere 2\"")]
    Show {
        /// Name, serial number or id
        instrument: String,
    },
    SwitchedOn(calibrate::SwitchedOn),
    Calibrate(calibrate::Calibrate),
    /// Calibrations of an instrument
    #[command(after_help = "Example:\n  secondcan instrument calibrations \"Counter sphere 2\"")]
    Calibrations {
        /// Name, serial number or id
        instrument: String,
        #[command(flatten)]
        list: ListOptions,
    },
    /// Verification tiles
    #[command(subcommand)]
    Tile(tile::Tile),
    Verify(verify::Verify),
    Drift(verify::Drift),
    /// Corrections of one instrument to another, for comparisons
    #[command(subcommand)]
    Correct(correct::Correct),
    Accept(Accept),
}

/// `instrument add`.
#[derive(Debug, clap::Args)]
pub(crate) struct Add {
    /// What the store calls it
    name: InstrumentName,
    /// Model, in the maker's words
    #[arg(long)]
    model: InstrumentModel,
    /// Serial number
    #[arg(long)]
    serial: SerialNumber,
    /// Geometry (CIE 15)
    #[arg(long, value_parser = word::<Geometry>())]
    geometry: Geometry,
    /// An aperture in mm; repeat for more
    #[arg(long = "aperture", required = true, value_name = "MM")]
    apertures: Vec<f32>,
    /// Where it stands; your own store when left out
    #[arg(long, value_name = "STORE")]
    store: Option<String>,
    #[command(flatten)]
    care: Care,
}

/// `instrument edit`.
#[derive(Debug, clap::Args)]
pub(crate) struct Edit {
    /// Name, serial number or id
    instrument: String,
    /// New name
    #[arg(long)]
    name: Option<InstrumentName>,
    /// Where it stands now
    #[arg(long, value_name = "STORE")]
    store: Option<String>,
    #[command(flatten)]
    care: Care,
    #[command(flatten)]
    in_use: InUse,
}

/// The white tile and what the maker asks for.
#[derive(Debug, clap::Args)]
struct Care {
    /// Serial number of the white tile
    #[arg(long, value_name = "SERIAL")]
    white_serial: Option<SerialNumber>,
    /// Day of the white tile's certificate, such as 2026-01-31
    #[arg(long, value_name = "DAY", value_parser = day, requires = "white_serial")]
    white_certified: Option<Date>,
    /// Last day on which that certificate holds
    #[arg(long, value_name = "DAY", value_parser = day, requires = "white_serial")]
    white_expires: Option<Date>,
    /// Hours from one calibration to the next, when the maker asks for fewer than 168
    #[arg(long, value_name = "HOURS")]
    calibration_hours: Option<u16>,
    /// Minutes that it takes to warm up, when it is not 30
    #[arg(long, value_name = "MINUTES")]
    warm_up_minutes: Option<u16>,
}

impl Care {
    fn certificate(&self) -> Option<WhiteCertificate> {
        self.white_serial.clone().map(|serial| WhiteCertificate {
            serial,
            certified_on: self.white_certified,
            expires_on: self.white_expires,
        })
    }
}

fn day(text: &str) -> Result<Date, String> {
    Date::parse(text, format_description!("[year]-[month]-[day]"))
        .map_err(|error| format!("day {text:?} can't be read ({error}); write it like 2026-01-31"))
}

/// Accept a reading made while something was due at its instrument
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  secondcan instrument accept 019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57 \\\n      \
        --note \"agrees with the chip read last week\"\n\n\
        `match show` gives the id beside the caution. Managers of the store and the color lead may accept."
)]
pub(crate) struct Accept {
    /// Id of the measurement
    measurement: MeasurementId,
    /// Why
    #[arg(long)]
    note: Option<Note>,
}

impl Instrument {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::List { store, list } => {
                let store = store
                    .map(|typed| reference::store(&remote, &typed))
                    .transpose()?;
                let path = PathQuery::new("/instruments")
                    .with_some("store_id", store.map(|store| store.id));
                let page = list.page::<Record>(&remote, path)?;
                run.listed(&page, "no instruments yet", |items| {
                    let mut table =
                        Table::new(&["name", "model", "serial", "geometry", "state", "due", "id"]);
                    for item in items {
                        table.row([
                            item.name.to_string(),
                            item.model.to_string(),
                            item.serial.to_string(),
                            geometry(item.geometry).to_owned(),
                            if item.retired { "retired" } else { "in use" }.to_owned(),
                            due_text(item),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::Add(add) => {
                let new = NewInstrument {
                    id: fresh!(InstrumentId),
                    store_id: own_store(&remote, add.store.as_deref())?.id,
                    name: add.name,
                    model: add.model,
                    serial: add.serial,
                    geometry: add.geometry,
                    apertures_mm: add.apertures,
                    white_certificate: add.care.certificate(),
                    calibration_hours: add.care.calibration_hours,
                    warm_up_minutes: add.care.warm_up_minutes,
                };
                let write =
                    Write::new("register an instrument", "POST", "/instruments", Some(&new))?;
                save(run, &remote, &write)
            }
            Self::Edit(edit) => {
                let record = pick(&remote, &edit.instrument)?;
                let store = edit
                    .store
                    .map(|typed| reference::store(&remote, &typed))
                    .transpose()?;
                let change = InstrumentEdit {
                    name: edit.name,
                    store_id: store.map(|store| store.id),
                    white_certificate: edit.care.certificate(),
                    calibration_hours: edit.care.calibration_hours,
                    warm_up_minutes: edit.care.warm_up_minutes,
                    retired: edit.in_use.change(),
                };
                let write = Write::new(
                    "change an instrument",
                    "PATCH",
                    format!("/instruments/{}", record.id),
                    Some(&change),
                )?
                .on_version(record.version);
                save(run, &remote, &write)
            }
            Self::Show { instrument } => {
                let record = pick(&remote, &instrument)?;
                run.output().show(&record, |screen| draw(screen, &record))?;
                Ok(Exit::Done)
            }
            Self::SwitchedOn(command) => command.run(run, &remote),
            Self::Calibrate(command) => command.run(run, &remote),
            Self::Calibrations { instrument, list } => {
                calibrations(run, &remote, &instrument, &list)
            }
            Self::Tile(command) => command.run(run, &remote),
            Self::Verify(command) => command.run(run, &remote),
            Self::Drift(command) => command.run(run, &remote),
            Self::Correct(command) => command.run(run, &remote),
            Self::Accept(command) => command.run(run, &remote),
        }
    }
}

impl Accept {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let new = NewAcceptance {
            id: fresh!(AcceptanceId),
            note: self.note,
        };
        let write = Write::new(
            "accept a reading",
            "POST",
            format!("/measurements/{}/accept", self.measurement),
            Some(&new),
        )?;
        let saved: Measurement = remote.write(&write)?;
        run.saved(&saved, |screen| {
            let due: Vec<&str> = saved.instrument_due.iter().map(|due| due.words()).collect();
            screen.line(format!("accepted, though {} then", due.join(", ")));
        })
    }
}

fn calibrations(
    run: &Run,
    remote: &Remote,
    instrument: &str,
    list: &ListOptions,
) -> Result<Exit, Failure> {
    let record = pick(remote, instrument)?;
    let path = format!("/instruments/{}/calibrations", record.id);
    let page = list.page::<CalibrationRecord>(remote, path)?;
    run.listed(&page, "no calibrations yet", |items| {
        let mut table = Table::new(&["made", "by", "read", ">°C"]);
        for item in items {
            table.row([
                time_text(item.made_at),
                item.made_by.name.clone(),
                what_was_read(item).to_owned(),
                item.temperature_c
                    .map_or(String::new(), |celsius| format!("{celsius:.1}")),
            ]);
        }
        table
    })
}

fn pick(remote: &Remote, typed: &str) -> Result<Record, Failure> {
    let all = remote.all::<Record>("/instruments")?;
    reference::pick("instrument", typed, &all).cloned()
}

fn save(run: &Run, remote: &Remote, write: &Write) -> Result<Exit, Failure> {
    let saved: Record = remote.write(write)?;
    run.saved(&saved, |screen| draw(screen, &saved))
}

const fn geometry(geometry: Geometry) -> &'static str {
    match geometry {
        Geometry::Deg45To0 => "45:0",
        Geometry::Annular45To0 => "45a:0",
        Geometry::DiffuseTo8 => "d:8",
    }
}

const fn what_was_read(calibration: &CalibrationRecord) -> &'static str {
    match (calibration.white_read, calibration.black_read) {
        (true, true) => "white and black",
        (true, false) => "white",
        (false, true) => "black",
        (false, false) => "nothing",
    }
}

fn draw(screen: &mut Screen, instrument: &Record) {
    screen.bold(&instrument.name);
    screen.pair("model", &instrument.model);
    screen.pair("serial", &instrument.serial);
    screen.pair("geometry", geometry(instrument.geometry));
    let apertures: Vec<String> = instrument
        .apertures_mm
        .iter()
        .map(|mm| format!("{mm} mm"))
        .collect();
    screen.pair("apertures", apertures.join(", "));
    screen.pair(
        "state",
        if instrument.retired {
            "retired"
        } else {
            "in use"
        },
    );
    screen.pair("id", instrument.id.to_string());
    if let Some(white) = &instrument.white_certificate {
        let expires = white.expires_on.map_or("no end stated".to_owned(), |day| {
            format!("holds until {day}")
        });
        screen.pair("white tile", format!("{}, {expires}", white.serial));
    }
    let state = &instrument.state;
    let at = |read: Option<time::OffsetDateTime>| read.map_or("never".to_owned(), time_text);
    screen.pair("white read", at(state.white_read_at));
    screen.pair("black read", at(state.black_read_at));
    if let Some(due) = state.calibration_due_at {
        screen.pair("next due", time_text(due));
    }
    screen.pair("on since", on_since(instrument));
    for due in &state.due {
        screen.warn(format!("{}: {}", due.words(), due.remedy()));
    }
}

/// Since when it is on, and how that is known.
fn on_since(instrument: &Record) -> String {
    let state = &instrument.state;
    match (state.switched_on_at, state.switched_on_basis) {
        (Some(on), Some(StartBasis::Told)) => time_text(on),
        (Some(on), _) => format!(
            "{} by its first use today; nobody said when it was switched on",
            time_text(on)
        ),
        (None, _) => "not known".to_owned(),
    }
}

fn due_text(instrument: &Record) -> String {
    let due: Vec<&str> = instrument.state.due.iter().map(|due| due.words()).collect();
    due.join(", ")
}
