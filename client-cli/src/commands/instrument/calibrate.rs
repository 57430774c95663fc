//! `instrument calibrate` and `instrument switched-on`.

use std::io::{self, BufRead as _, IsTerminal as _, Write as _};

use formula::id::{CalibrationId, InstrumentStartId};
use formula::wire::v1::{
    Calibration, Instrument as Record, InstrumentDue, InstrumentStart, NewCalibration,
    NewInstrumentStart,
};
use time::{Duration, OffsetDateTime};

use super::{Run, pick, what_was_read};
use crate::conditions;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, say, time_text};
use crate::remote::{Remote, Write, fresh, now};

/// Shown where hands come near the instrument.
const CAUTION: &str = "An instrument is electrical gear with a bright lamp: handle it as its maker's manual says, \
    and do not look into the light.";

/// Say when an instrument was switched on
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan instrument switched-on \"Counter sphere 2\"\n  \
    secondcan instrument switched-on \"Counter sphere 2\" --minutes-ago 40\n\n\
    What you say holds for 16 hours. Where nobody says, the first use of the last 8 hours counts."
)]
pub(crate) struct SwitchedOn {
    /// Name, serial number or id
    instrument: String,
    /// When; now when left out
    #[arg(long, value_name = "TIME", value_parser = conditions::time, conflicts_with = "minutes_ago")]
    at: Option<OffsetDateTime>,
    /// How many minutes ago
    #[arg(long, value_name = "N")]
    minutes_ago: Option<u16>,
}

/// Calibrate an instrument: warm-up, white, then black on the black mat
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan instrument calibrate \"Counter sphere 2\"\n  \
    secondcan instrument calibrate \"Counter sphere 2\" --white --black --temperature 22.5\n\n\
    At a terminal it walks you through; with --white or --black it records what was read already."
)]
pub(crate) struct Calibrate {
    /// Name, serial number or id
    instrument: String,
    /// The white reference was read
    #[arg(long)]
    white: bool,
    /// Black or zero was read, on the black mat
    #[arg(long)]
    black: bool,
    /// Temperature in °C
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    temperature: Option<f32>,
    /// When it was made; now when left out
    #[arg(long, value_name = "TIME", value_parser = conditions::time)]
    made_at: Option<OffsetDateTime>,
}

/// What was read, and at which temperature.
struct WhatWasRead {
    white: bool,
    black: bool,
    temperature_c: Option<f32>,
}

impl SwitchedOn {
    pub(super) fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let record = pick(remote, &self.instrument)?;
        let at = self.at.unwrap_or_else(|| {
            now() - Duration::minutes(i64::from(self.minutes_ago.unwrap_or_default()))
        });
        let start = tell(remote, &record, at)?;
        run.saved(&start, |screen| {
            screen.line(format!(
                "{} is on since {}",
                record.name,
                time_text(start.switched_on_at)
            ));
            warm(screen, &start);
        })
    }
}

fn warm(screen: &mut Screen, start: &InstrumentStart) {
    if let Some(warm_at) = start.state.warm_at
        && start.state.due.contains(&InstrumentDue::NotWarmedUp)
    {
        screen.line(format!("it is warm at {}", time_text(warm_at)));
    }
}

fn tell(remote: &Remote, record: &Record, at: OffsetDateTime) -> Result<InstrumentStart, Failure> {
    let new = NewInstrumentStart {
        id: fresh!(InstrumentStartId),
        switched_on_at: at,
    };
    let write = Write::new(
        "say when an instrument was switched on",
        "POST",
        format!("/instruments/{}/starts", record.id),
        Some(&new),
    )?;
    remote.write(&write)
}

impl Calibrate {
    pub(super) fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let record = pick(remote, &self.instrument)?;
        let read = if self.white || self.black {
            WhatWasRead {
                white: self.white,
                black: self.black,
                temperature_c: self.temperature,
            }
        } else if io::stdin().is_terminal() {
            walk(remote, &record, self.temperature)?
        } else {
            return Err(Failure::bad("stdin", "there is no terminal to ask at")
                .remedy("say what was read with --white and --black"));
        };
        let new = NewCalibration {
            id: fresh!(CalibrationId),
            made_at: self.made_at.unwrap_or_else(now),
            white_read: read.white,
            black_read: read.black,
            temperature_c: read.temperature_c,
        };
        let write = Write::new(
            "record a calibration",
            "POST",
            format!("/instruments/{}/calibrations", record.id),
            Some(&new),
        )?;
        let saved: Calibration = remote.write(&write)?;
        run.saved(&saved, |screen| {
            screen.line(format!("calibration of {} recorded", record.name));
            screen.pair("read", what_was_read(&saved));
            screen.pair("made", time_text(saved.made_at));
            if !saved.black_read {
                screen.warn("black was not read: dark samples may read too light or too dark");
            }
        })
    }
}

/// Warm-up, white, black, in this order. Nothing is recorded when the person stops.
fn walk(
    remote: &Remote,
    record: &Record,
    temperature_c: Option<f32>,
) -> Result<WhatWasRead, Failure> {
    say(CAUTION);
    if record.state.due.contains(&InstrumentDue::NotWarmedUp) {
        let minutes = number(&format!(
            "How many minutes ago was {} switched on? (Enter: not known) ",
            record.name
        ))?;
        let ago = |minutes: f32| Duration::seconds_f32(minutes.max(0.0) * 60.0);
        let told = minutes
            .map(|minutes| tell(remote, record, now() - ago(minutes)))
            .transpose()?;
        let state = told.as_ref().map_or(&record.state, |start| &start.state);
        if state.due.contains(&InstrumentDue::NotWarmedUp) {
            let warm_at = state.warm_at.map_or("not known".to_owned(), time_text);
            say(&format!(
                "It takes {} minutes to warm up; warm at: {warm_at}.",
                record.warm_up_minutes
            ));
            go_on("Calibrate now all the same? (yes/no) ")?;
        }
    }
    let white = record
        .white_certificate
        .as_ref()
        .map_or(String::new(), |white| format!(" {}", white.serial));
    say(&format!(
        "Wipe the white tile{white} as its maker says, put the instrument on it, read white."
    ));
    go_on("Did the instrument take the white reading? (yes/no) ")?;
    say(
        "Now put it on the black mat, or on its black trap if the maker gives one, and read black.",
    );
    let black = yes("Did the instrument take the black reading? (yes/no) ")?;
    let temperature_c = match temperature_c {
        Some(celsius) => Some(celsius),
        None => number("Temperature in °C? (Enter: not known) ")?,
    };
    Ok(WhatWasRead {
        white: true,
        black,
        temperature_c,
    })
}

fn ask(question: &str) -> Result<String, Failure> {
    let mut stderr = io::stderr().lock();
    let _ = write!(stderr, "{question}").and_then(|()| stderr.flush());
    let mut line = String::new();
    let count = io::stdin()
        .lock()
        .read_line(&mut line)
        .map_err(|error| Failure::machine("reading the answer", &error))?;
    if count == 0 {
        return Err(stopped());
    }
    Ok(line.trim().to_lowercase())
}

fn yes(question: &str) -> Result<bool, Failure> {
    loop {
        match ask(question)?.as_str() {
            "y" | "yes" => return Ok(true),
            "n" | "no" => return Ok(false),
            _ => say("Type yes or no."),
        }
    }
}

fn go_on(question: &str) -> Result<(), Failure> {
    if yes(question)? {
        Ok(())
    } else {
        Err(stopped())
    }
}

fn stopped() -> Failure {
    Failure::bad("calibration", "stopped; nothing was recorded of it")
        .remedy("run the command again when the instrument is ready")
}

fn number(question: &str) -> Result<Option<f32>, Failure> {
    loop {
        let answer = ask(question)?;
        if answer.is_empty() {
            return Ok(None);
        }
        match answer.replace(',', ".").parse::<f32>() {
            Ok(number) if number.is_finite() && number.abs() < 100_000.0 => {
                return Ok(Some(number));
            }
            _ => say("Type a number, or nothing."),
        }
    }
}
