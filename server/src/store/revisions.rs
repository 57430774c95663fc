//! Rows of `revision`, `revision_shot` and `drawdown`.

use std::collections::HashMap;

use color::Lab;
use formula::id::{DrawdownId, MatchId, MeasurementId, ProductId, RevisionId, SheenId, StoreId};
use formula::naming::Note;
use formula::quantity::{ShotCount, Shots};
use formula::wire::v1::{
    Basis, Drawdown, LabD65, Measurement, Named, NewDrawdown, NewFormula, Produced, Revision,
    Sheen, ShotShown,
};
use time::OffsetDateTime;
use uuid::Uuid;

use super::read_back::{id, kept};
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

/// Where a new revision hangs.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    /// Its match.
    pub of_match: MatchId,
    /// The revision it corrects.
    pub parent: Option<RevisionId>,
    /// The revision it was taken over from.
    pub reused_from: Option<RevisionId>,
    /// At which store.
    pub store: StoreId,
    /// When.
    pub made_at: OffsetDateTime,
}

/// Adds a revision as the latest of its match, whose row the transaction holds.
///
/// # Errors
/// When the id is taken, or the base, sheen or a colorant does not exist.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    place: Place,
    new: &NewFormula,
) -> StoreResult<()> {
    let predicted = new.predicted_lab.map(|lab| lab.0);
    sqlx::query!(
        "INSERT INTO revision (id, match_id, parent_id, reused_from, number, base_id, sheen_id, size, predicted_l,
             predicted_a, predicted_b, made_by, store_id, made_at)
         VALUES ($1, $2, $3, $4, (SELECT coalesce(max(number), 0) + 1 FROM revision WHERE match_id = $2),
             $5, $6, $7, $8, $9, $10, $11, $12, $13)",
        new.id.as_uuid(),
        place.of_match.as_uuid(),
        place.parent.map(RevisionId::as_uuid),
        place.reused_from.map(RevisionId::as_uuid),
        new.base_id.as_uuid(),
        new.sheen_id.as_uuid(),
        new.size.as_str(),
        predicted.map(|lab| lab.l),
        predicted.map(|lab| lab.a),
        predicted.map(|lab| lab.b),
        caller.person_id.as_uuid(),
        place.store.as_uuid(),
        place.made_at
    )
    .execute(&mut *conn)
    .await?;
    let positions: Vec<i16> = (0..).take(new.shots.len()).collect();
    let colorants: Vec<Uuid> = new
        .shots
        .iter()
        .map(|shot| shot.colorant_id.as_uuid())
        .collect();
    let counts: Vec<i32> = new
        .shots
        .iter()
        .map(|shot| i32::try_from(shot.count.get()).unwrap_or(i32::MAX))
        .collect();
    let units: Vec<String> = new
        .shots
        .iter()
        .map(|shot| shot.unit.as_str().to_owned())
        .collect();
    sqlx::query!(
        "INSERT INTO revision_shot (revision_id, position, colorant_id, count, unit)
         SELECT $1, * FROM unnest($2::smallint[], $3::uuid[], $4::int[], $5::text[])",
        new.id.as_uuid(),
        &positions,
        &colorants,
        &counts,
        &units
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds a drawdown.
///
/// # Errors
/// When the id is taken.
pub async fn insert_drawdown(
    conn: &mut Conn,
    caller: &Caller,
    of_match: MatchId,
    of_revision: RevisionId,
    at_store: StoreId,
    new: &NewDrawdown,
) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO drawdown (id, revision_id, match_id, measurement_id, dry, made_by, store_id, made_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        new.id.as_uuid(),
        of_revision.as_uuid(),
        of_match.as_uuid(),
        new.measurement.id.as_uuid(),
        new.dry,
        caller.person_id.as_uuid(),
        at_store.as_uuid(),
        new.made_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The match and product of a revision that the caller may see.
///
/// # Errors
/// When the database can't be read.
pub async fn place_of(
    conn: &mut Conn,
    caller: &Caller,
    revision: RevisionId,
) -> StoreResult<Option<(MatchId, ProductId)>> {
    let row = sqlx::query!(
        "SELECT m.id, m.product_id FROM revision r JOIN match m ON m.id = r.match_id
         WHERE r.id = $1
           AND ($2::uuid IS NULL OR EXISTS
                (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))",
        revision.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(conn)
    .await?;
    row.map(|row| Ok((id(row.id)?, id(row.product_id)?)))
        .transpose()
}

/// What drawdowns and revisions of one match are shown with.
pub struct Beside<'a> {
    /// The wanted color.
    pub wanted: Lab,
    /// Measurements of the match, by id.
    pub measurements: &'a HashMap<MeasurementId, Measurement>,
    /// Notes of the match, by what they stand beside.
    pub notes: &'a HashMap<Uuid, Note>,
}

/// Ids of the measurements of every drawdown of the match.
///
/// # Errors
/// When the database can't be read.
pub async fn drawdown_measurements(
    conn: &mut Conn,
    _caller: &Caller,
    of_match: MatchId,
) -> StoreResult<Vec<Uuid>> {
    Ok(sqlx::query_scalar!(
        "SELECT measurement_id FROM drawdown WHERE match_id = $1",
        of_match.as_uuid()
    )
    .fetch_all(conn)
    .await?)
}

async fn drawdowns(
    conn: &mut Conn,
    of_match: MatchId,
    beside: &Beside<'_>,
) -> StoreResult<HashMap<RevisionId, Vec<Drawdown>>> {
    let rows = sqlx::query!(
        "SELECT d.id, d.revision_id, d.measurement_id, d.dry, d.made_at, p.id AS person_id, p.display_name,
                s.id AS store_id, s.name AS store_name
         FROM drawdown d JOIN person p ON p.id = d.made_by JOIN store s ON s.id = d.store_id
         WHERE d.match_id = $1 ORDER BY d.received_at DESC, d.id DESC",
        of_match.as_uuid()
    )
    .fetch_all(conn)
    .await?;
    let mut found: HashMap<RevisionId, Vec<Drawdown>> = HashMap::new();
    for row in rows {
        let measurement = beside
            .measurements
            .get(&id(row.measurement_id)?)
            .cloned()
            .ok_or_else(|| StoreError::Fault("a drawdown's measurement has no color".to_owned()))?;
        let revision_id = id(row.revision_id)?;
        let drawdown_id: DrawdownId = id(row.id)?;
        found.entry(revision_id).or_default().push(Drawdown {
            id: drawdown_id,
            revision_id,
            de2000_from_wanted: color::de2000(beside.wanted, measurement.lab.0),
            measurement,
            corrected: None,
            dry: row.dry,
            note: beside.notes.get(&row.id).cloned(),
            made_by: Named {
                id: id(row.person_id)?,
                name: row.display_name,
            },
            store: Named {
                id: id(row.store_id)?,
                name: row.store_name,
            },
            made_at: row.made_at,
        });
    }
    Ok(found)
}

async fn shots(conn: &mut Conn, of_match: MatchId) -> StoreResult<HashMap<Uuid, Vec<ShotShown>>> {
    let rows = sqlx::query!(
        "SELECT s.revision_id, s.colorant_id, s.count, s.unit, c.ci_name, c.pigment
         FROM revision_shot s JOIN revision r ON r.id = s.revision_id JOIN colorant c ON c.id = s.colorant_id
         WHERE r.match_id = $1 ORDER BY s.revision_id, s.position",
        of_match.as_uuid()
    )
    .fetch_all(conn)
    .await?;
    let mut found: HashMap<Uuid, Vec<ShotShown>> = HashMap::new();
    for row in rows {
        let shots = Shots {
            count: stored_count(row.count)?,
            unit: kept(&row.unit)?,
        };
        found.entry(row.revision_id).or_default().push(ShotShown {
            colorant_id: id(row.colorant_id)?,
            colorant: format!("{} {}", row.ci_name, row.pigment),
            count: shots.count,
            unit: shots.unit,
            ml: milliliters(shots),
            lot: None,
        });
    }
    Ok(found)
}

/// A count of shots from its column.
pub(super) fn stored_count(count: i32) -> StoreResult<ShotCount> {
    ShotCount::new(count)
        .map_err(|_| StoreError::Fault("a stored count of shots is refused".to_owned()))
}

/// Milliliters to 0.01, as shown beside shots: `14.79`.
pub(super) fn milliliters(shots: Shots) -> String {
    let hundredths = shots.volume().hundredths_half_even();
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

/// Every revision of a match that the caller has been shown to be allowed to see, the latest first.
///
/// # Errors
/// When the database can't be read.
pub async fn of_match(
    conn: &mut Conn,
    _caller: &Caller,
    of_match: MatchId,
    beside: &Beside<'_>,
) -> StoreResult<Vec<Revision>> {
    let mut drawdowns = drawdowns(conn, of_match, beside).await?;
    let mut shots = shots(conn, of_match).await?;
    let rows = sqlx::query!(
        r#"SELECT r.id, r.number, r.parent_id, r.reused_from, r.size, r.predicted_l, r.predicted_a, r.predicted_b,
                  r.made_at, b.id AS base_id, b.name AS base_name, h.id AS sheen_id, h.word, h.gloss60_min,
                  h.gloss60_max, p.id AS person_id, p.display_name, s.id AS store_id, s.name AS store_name
           FROM revision r JOIN base b ON b.id = r.base_id JOIN sheen h ON h.id = r.sheen_id
           JOIN person p ON p.id = r.made_by JOIN store s ON s.id = r.store_id
           WHERE r.match_id = $1 ORDER BY r.number DESC"#,
        of_match.as_uuid()
    )
    .fetch_all(conn)
    .await?;
    let mut revisions = Vec::with_capacity(rows.len());
    for row in rows {
        let revision_id: RevisionId = id(row.id)?;
        let drawdowns = drawdowns.remove(&revision_id).unwrap_or_default();
        let predicted = match (row.predicted_l, row.predicted_a, row.predicted_b) {
            (Some(l), Some(a), Some(b)) => Some(Lab { l, a, b }),
            _ => None,
        };
        revisions.push(Revision {
            id: revision_id,
            number: row.number,
            parent_id: row.parent_id.map(id).transpose()?,
            reused_from: row.reused_from.map(id).transpose()?,
            base: Named {
                id: id(row.base_id)?,
                name: row.base_name,
            },
            sheen: sheen(row.sheen_id, &row.word, row.gloss60_min, row.gloss60_max)?,
            size: kept(&row.size)?,
            shots: shots.remove(&row.id).unwrap_or_default(),
            produced: produced(&drawdowns, predicted, beside.wanted),
            drawdowns,
            note: beside.notes.get(&row.id).cloned(),
            made_by: Named {
                id: id(row.person_id)?,
                name: row.display_name,
            },
            store: Named {
                id: id(row.store_id)?,
                name: row.store_name,
            },
            made_at: row.made_at,
        });
    }
    Ok(revisions)
}

/// The color that a revision gives: its latest dry drawdown, else the prediction, else what was wanted.
fn produced(latest_first: &[Drawdown], predicted: Option<Lab>, wanted: Lab) -> Produced {
    let measured = latest_first
        .iter()
        .find(|drawdown| drawdown.dry)
        .map(|drawdown| drawdown.measurement.lab);
    match (measured, predicted) {
        (Some(lab), _) => Produced {
            lab,
            basis: Basis::Drawdown,
        },
        (None, Some(lab)) => Produced {
            lab: LabD65(lab),
            basis: Basis::Predicted,
        },
        (None, None) => Produced {
            lab: LabD65(wanted),
            basis: Basis::Wanted,
        },
    }
}

/// A sheen from its columns.
pub(super) fn sheen(sheen_id: Uuid, word: &str, min: i16, max: i16) -> StoreResult<Sheen> {
    let gloss = |units: i16| {
        u8::try_from(units)
            .map_err(|_| StoreError::Fault("a stored gloss is out of range".to_owned()))
    };
    Ok(Sheen {
        id: id::<SheenId>(sheen_id)?,
        word: kept(word)?,
        gloss60_min: gloss(min)?,
        gloss60_max: gloss(max)?,
    })
}
