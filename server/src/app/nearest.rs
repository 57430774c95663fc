//! The nearest formulas to a color: an index in memory that follows the change log, searched exactly.

use std::collections::HashMap;
use std::sync::{Arc, PoisonError, RwLock};

use color::{Direction, Lab, PointId, Spectrum};
use formula::id::RevisionId;
use formula::wire::v1::{Basis, LabD65, Measurement, NearestAnswer, NearestRequest};
use tokio::sync::Mutex;

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller, light, measurements};
use crate::store::library::{self, Entry, Ranked};
use crate::store::{Conn, Database, stores};

/// The formulas of the library by color, one a match. It is brought up to the end of the change log before each
/// search, so that a formula recorded a moment ago, on whatever server, is in the answer.
#[derive(Clone, Default)]
pub struct ColorIndex {
    points: Arc<RwLock<Points>>,
    /// One follower at a time; holds the place in the log up to which `points` has come, or none before the start.
    place: Arc<Mutex<Option<i64>>>,
}

#[derive(Default)]
struct Points {
    library: color::Library,
    /// By the library's ordinal.
    entries: Vec<Option<Entry>>,
}

impl Points {
    fn put(&mut self, entry: Entry) -> AppResult<()> {
        let id = PointId(*entry.match_id.as_uuid().as_bytes());
        let fault =
            |error: color::NearestError| AppError::Internal(format!("color index: {error}"));
        let ordinal = if self.library.ordinal(id).is_some() {
            self.library.replace(id, entry.lab).map_err(fault)?
        } else {
            self.library.insert(id, entry.lab).map_err(fault)?
        };
        let place = usize::try_from(ordinal).unwrap_or(usize::MAX);
        if self.entries.len() <= place {
            self.entries.resize(place + 1, None);
        }
        if let Some(slot) = self.entries.get_mut(place) {
            *slot = Some(entry);
        }
        Ok(())
    }

    fn entry(&self, ordinal: u32) -> Option<&Entry> {
        self.entries.get(usize::try_from(ordinal).ok()?)?.as_ref()
    }
}

impl ColorIndex {
    /// Brings the index to the end of the log, in one snapshot of the database.
    async fn follow(&self, db: &Database) -> AppResult<()> {
        let mut place = self.place.lock().await;
        let mut read = db.read().await?;
        let (head, entries) = catch_up(&mut read, *place).await?;
        if !entries.is_empty() {
            let mut points = self.points.write().unwrap_or_else(PoisonError::into_inner);
            for entry in entries {
                points.put(entry)?;
            }
        }
        *place = Some(head);
        Ok(())
    }
}

async fn catch_up(conn: &mut Conn, place: Option<i64>) -> AppResult<(i64, Vec<Entry>)> {
    let Some(since) = place else {
        return Ok((
            library::head(conn).await?,
            library::entries(conn, None).await?,
        ));
    };
    let news = library::news(conn, since).await?;
    if news.matches.is_empty() {
        return Ok((news.head, Vec::new()));
    }
    Ok((
        news.head,
        library::entries(conn, Some(&news.matches)).await?,
    ))
}

impl App {
    /// The nearest formulas to a color, by CIEDE2000 under D65 and the 10° observer, equal distances in order of id.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn nearest(&self, caller: &Caller, ask: NearestRequest) -> AppResult<NearestAnswer> {
        require(caller, Act::Nearest)?;
        let spectrum = spectrum_asked(&ask)?;
        let query = color_asked(&ask, spectrum.as_ref())?;
        let conditions = ask.conditions();
        if !(1..=200).contains(&ask.limit) {
            return Err(AppError::invalid(
                "limit",
                format!("{} is not 1 to 200", ask.limit),
                "ask for fewer formulas",
            ));
        }
        self.index.follow(&self.db).await?;
        let points = Arc::clone(&self.index.points);
        // A scan takes milliseconds at a hundred thousand formulas: too long for the threads that answer requests.
        let searched = tokio::task::spawn_blocking(move || search(&points, query, &ask)).await;
        let (found, examined) = searched
            .map_err(|fault| AppError::Internal(format!("the search ended early: {fault}")))??;
        let mut read = self.db.read().await?;
        let limits = library::verdict_limits(&mut read).await?;
        let lights = match caller.store_id {
            Some(store) => stores::lights_of(&mut read, caller, store).await?,
            None => Vec::new(),
        };
        let rests_on = rests_on(&mut read, caller, &found).await?;
        let mut ranked = Vec::with_capacity(found.len());
        for (entry, de2000) in found {
            let verdict = limits.judge(de2000);
            let measured = rests_on.get(&entry.revision_id);
            let shop_light = match (&spectrum, measured) {
                (None, _) => light::unjudged("a color was asked for, not a spectrum"),
                (Some(asked), Some(measured)) if entry.basis == Basis::Drawdown => {
                    let drawdown = light::spectrum(measured)?;
                    light::judge(asked, &drawdown, &lights, verdict, limits)
                }
                _ => light::unjudged("the formula was never drawn down and measured dry"),
            };
            let mut warnings = match (conditions, measured) {
                (Some(asked), Some(measured)) if entry.basis != Basis::Predicted => {
                    light::unlike(asked, measured.read.conditions())
                }
                _ => Vec::new(),
            };
            if entry.basis != Basis::Predicted {
                warnings.extend(measured.into_iter().flat_map(measurements::cautions));
            }
            ranked.push(Ranked {
                de2000,
                verdict,
                direction: Direction::between(query, entry.lab).to_string(),
                shop_light,
                warnings,
                entry,
            });
        }
        let results = library::beside(&mut read, ranked).await?;
        Ok(NearestAnswer {
            query: LabD65(query),
            results,
            examined,
        })
    }
}

/// The measurement that the color of each formula rests on: its latest dry drawdown, else the sample.
async fn rests_on(
    conn: &mut Conn,
    caller: &Caller,
    found: &[(Entry, f64)],
) -> AppResult<HashMap<RevisionId, Measurement>> {
    let revisions: Vec<RevisionId> = found.iter().map(|(entry, _)| entry.revision_id).collect();
    let ids = library::rests_on(conn, &revisions).await?;
    let measured: Vec<_> = ids.iter().map(|(_, id)| id.as_uuid()).collect();
    let mut loaded = crate::store::measurements::load(conn, caller, &measured).await?;
    Ok(ids
        .into_iter()
        .filter_map(|(revision, id)| Some((revision, loaded.remove(&id)?)))
        .collect())
}

fn spectrum_asked(ask: &NearestRequest) -> AppResult<Option<Spectrum>> {
    ask.spectrum
        .as_ref()
        .map(|spectrum| measurements::spectrum("spectrum", spectrum, false))
        .transpose()
}

fn color_asked(ask: &NearestRequest, spectrum: Option<&Spectrum>) -> AppResult<Lab> {
    match (&ask.lab, spectrum) {
        (Some(lab), None) => Ok(lab.0),
        (None, Some(spectrum)) => Ok(measurements::lab(spectrum)),
        _ => Err(AppError::invalid(
            "lab",
            "one of `lab` and `spectrum` is needed, not both",
            "send one of the two",
        )),
    }
}

fn search(
    points: &RwLock<Points>,
    query: Lab,
    ask: &NearestRequest,
) -> AppResult<(Vec<(Entry, f64)>, u64)> {
    let points = points.read().unwrap_or_else(PoisonError::into_inner);
    let passes = |entry: &Entry| {
        ask.product_id
            .is_none_or(|product| entry.product == product)
            && ask.base_id.is_none_or(|base| entry.base == base)
            && ask.sheen.is_none_or(|sheen| entry.sheen == sheen)
            && ask.store_id.is_none_or(|store| entry.store == store)
            && (!ask.verified_only || entry.basis == Basis::Drawdown)
    };
    let examined = points
        .entries
        .iter()
        .flatten()
        .filter(|entry| passes(entry))
        .count();
    let hits = points
        .library
        .nearest(query, usize::from(ask.limit), |ordinal| {
            points.entry(ordinal).is_some_and(passes)
        })
        .map_err(|error| AppError::invalid("lab", error.to_string(), "give a measured color"))?;
    let found = hits
        .iter()
        .filter_map(|hit| {
            // The color that was ranked is the one that is shown: as the index keeps it.
            points.entry(hit.ordinal).map(|entry| {
                (
                    Entry {
                        lab: hit.lab,
                        ..entry.clone()
                    },
                    hit.de2000,
                )
            })
        })
        .collect();
    Ok((found, u64::try_from(examined).unwrap_or(u64::MAX)))
}
