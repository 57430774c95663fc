//! `instrument …`.

use formula::id::{CalibrationId, InstrumentId};
use formula::naming::{InstrumentModel, InstrumentName, SerialNumber};
use formula::wire::v1::{
    Calibration as CalibrationRecord, Geometry, Instrument as Record, InstrumentEdit,
    NewCalibration, NewInstrument,
};
use time::OffsetDateTime;

use super::{InUse, ListOptions, Run, own_store};
use crate::conditions;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh, now};
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
    /// Calibrations
    #[command(subcommand)]
    Calibration(Calibration),
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
    in_use: InUse,
}

/// `instrument calibration`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Calibration {
    /// Record a calibration
    #[command(
        after_help = "Example:\n  secondcan instrument calibration add \"Counter sphere 2\" --white --black --temperature 22.5"
    )]
    Add(AddCalibration),
    /// Calibrations of an instrument, the latest first
    #[command(
        after_help = "Example:\n  secondcan instrument calibration list \"Counter sphere 2\""
    )]
    List {
        /// Name, serial number or id
        instrument: String,
        #[command(flatten)]
        list: ListOptions,
    },
}

/// `instrument calibration add`.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("read").required(true).multiple(true).args(["white", "black"]))]
pub(crate) struct AddCalibration {
    /// Name, serial number or id
    instrument: String,
    /// The white reference was read
    #[arg(long)]
    white: bool,
    /// Black or zero was read
    #[arg(long)]
    black: bool,
    /// Temperature in °C
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    temperature: Option<f32>,
    /// When it was made; now when left out
    #[arg(long, value_name = "TIME", value_parser = conditions::time)]
    made_at: Option<OffsetDateTime>,
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
                        Table::new(&["name", "model", "serial", "geometry", "state", "id"]);
                    for item in items {
                        table.row([
                            item.name.to_string(),
                            item.model.to_string(),
                            item.serial.to_string(),
                            geometry(item.geometry).to_owned(),
                            if item.retired { "retired" } else { "in use" }.to_owned(),
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
                    white_certificate: None,
                    calibration_hours: None,
                    warm_up_minutes: None,
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
                    white_certificate: None,
                    calibration_hours: None,
                    warm_up_minutes: None,
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
            Self::Calibration(command) => command.run(run, &remote),
        }
    }
}

impl Calibration {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        match self {
            Self::Add(add) => {
                let record = pick(remote, &add.instrument)?;
                let new = NewCalibration {
                    id: fresh!(CalibrationId),
                    made_at: add.made_at.unwrap_or_else(now),
                    white_read: add.white,
                    black_read: add.black,
                    temperature_c: add.temperature,
                };
                let write = Write::new(
                    "record a calibration",
                    "POST",
                    format!("/instruments/{}/calibrations", record.id),
                    Some(&new),
                )?;
                let saved: CalibrationRecord = remote.write(&write)?;
                run.saved(&saved, |screen| {
                    screen.line(format!("calibration of {} recorded", record.name));
                    screen.pair("read", what_was_read(&saved));
                    screen.pair("made", time_text(saved.made_at));
                })
            }
            Self::List { instrument, list } => {
                let record = pick(remote, &instrument)?;
                let page = list.page::<CalibrationRecord>(
                    remote,
                    format!("/instruments/{}/calibrations", record.id),
                )?;
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
        }
    }
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
}
