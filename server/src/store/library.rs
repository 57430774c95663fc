//! What the color search keeps in memory of every match, and what changed since it looked last. No caller here: the
//! index is the server's own and names no customer; who may ask is decided before it is asked.

use color::Lab;
use formula::id::{BaseId, MatchId, MeasurementId, ProductId, RevisionId, StoreId};
use formula::sheen::SheenWord;
use formula::wire::v1::{Basis, LabD65, Named, NearestHit, ShopLight};
use uuid::Uuid;

use super::read_back::{id, kept};
use super::{Conn, StoreError, StoreResult};

/// A match's formula that counts, as the color search needs it.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The match.
    pub match_id: MatchId,
    /// Its revision that counts.
    pub revision_id: RevisionId,
    /// The color that ranks.
    pub lab: Lab,
    /// What it rests on.
    pub basis: Basis,
    /// Its product.
    pub product: ProductId,
    /// Its base.
    pub base: BaseId,
    /// Its sheen.
    pub sheen: SheenWord,
    /// The store that made it.
    pub store: StoreId,
}

/// What changed in the log after a place in it.
#[derive(Debug, Clone)]
pub struct News {
    /// The log's end, seen in the same snapshot.
    pub head: i64,
    /// Matches touched, each once.
    pub matches: Vec<Uuid>,
}

/// The log's end, and the matches that rows after `since` touch: one statement, one snapshot.
///
/// # Errors
/// When the database can't be read.
pub async fn news(conn: &mut Conn, since: i64) -> StoreResult<News> {
    let row = sqlx::query!(
        r#"WITH news AS MATERIALIZED (SELECT seq, kind, entity_id FROM change_log WHERE seq > $1)
           SELECT coalesce((SELECT max(seq) FROM news), $1) AS "head!",
                  ARRAY(SELECT entity_id FROM news WHERE kind = 'match'
                        UNION SELECT r.match_id FROM news JOIN revision r ON r.id = entity_id WHERE kind = 'revision'
                        UNION SELECT d.match_id FROM news JOIN drawdown d ON d.id = entity_id WHERE kind = 'drawdown')
                  AS "matches!""#,
        since
    )
    .fetch_one(conn)
    .await?;
    Ok(News {
        head: row.head,
        matches: row.matches,
    })
}

/// The log's end.
///
/// # Errors
/// When the database can't be read.
pub async fn head(conn: &mut Conn) -> StoreResult<i64> {
    Ok(
        sqlx::query_scalar!(r#"SELECT coalesce(max(seq), 0) AS "head!" FROM change_log"#)
            .fetch_one(conn)
            .await?,
    )
}

/// The entries of these matches, or of all; a match without a formula has none.
///
/// # Errors
/// When the database can't be read.
pub async fn entries(conn: &mut Conn, only: Option<&[Uuid]>) -> StoreResult<Vec<Entry>> {
    let rows = sqlx::query!(
        r#"SELECT m.id, r.id AS revision_id, m.product_id, r.base_id, h.word, r.store_id,
                  w.l AS wanted_l, w.a AS wanted_a, w.b AS wanted_b,
                  r.predicted_l, r.predicted_a, r.predicted_b,
                  x.l AS "drawn_l?", x.a AS "drawn_a?", x.b AS "drawn_b?"
           FROM match m
           JOIN LATERAL (SELECT v.* FROM revision v WHERE v.match_id = m.id
                         ORDER BY v.id = m.picked_revision_id DESC NULLS LAST, v.number DESC LIMIT 1) r ON true
           JOIN sheen h ON h.id = r.sheen_id
           JOIN measurement_color w ON w.measurement_id = m.sample_id AND w.light = 'D65' AND w.observer = 10
           LEFT JOIN LATERAL (SELECT k.l, k.a, k.b FROM drawdown d
                              JOIN measurement_color k
                                ON k.measurement_id = d.measurement_id AND k.light = 'D65' AND k.observer = 10
                              WHERE d.revision_id = r.id AND d.dry
                              ORDER BY d.received_at DESC, d.id DESC LIMIT 1) x ON true
           WHERE $1::uuid[] IS NULL OR m.id = ANY ($1)"#,
        only
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            let drawn = lab(row.drawn_l, row.drawn_a, row.drawn_b);
            let predicted = lab(row.predicted_l, row.predicted_a, row.predicted_b);
            let wanted = Lab {
                l: row.wanted_l,
                a: row.wanted_a,
                b: row.wanted_b,
            };
            let (lab, basis) = match (drawn, predicted) {
                (Some(lab), _) => (lab, Basis::Drawdown),
                (None, Some(lab)) => (lab, Basis::Predicted),
                (None, None) => (wanted, Basis::Wanted),
            };
            Ok(Entry {
                match_id: id(row.id)?,
                revision_id: id(row.revision_id)?,
                lab,
                basis,
                product: id(row.product_id)?,
                base: id(row.base_id)?,
                sheen: kept(&row.word)?,
                store: id(row.store_id)?,
            })
        })
        .collect()
}

fn lab(l: Option<f64>, a: Option<f64>, b: Option<f64>) -> Option<Lab> {
    Some(Lab {
        l: l?,
        a: a?,
        b: b?,
    })
}

/// A formula found by color, still without what is shown beside it.
#[derive(Debug, Clone)]
pub struct Ranked {
    /// The formula.
    pub entry: Entry,
    /// CIEDE2000 from the color asked for.
    pub de2000: f64,
    /// How near that is.
    pub verdict: color::Verdict,
    /// How it differs, in words.
    pub direction: String,
    /// Whether it parts under the store's lights.
    pub shop_light: ShopLight,
    /// Why the difference is to be taken with care.
    pub warnings: Vec<String>,
}

/// The measurement that the color of each formula rests on: its latest dry drawdown, else the sample of its match.
///
/// # Errors
/// When the database can't be read.
pub async fn rests_on(
    conn: &mut Conn,
    revisions: &[RevisionId],
) -> StoreResult<Vec<(RevisionId, MeasurementId)>> {
    let ids: Vec<Uuid> = revisions.iter().map(|id| id.as_uuid()).collect();
    let rows = sqlx::query!(
        r#"SELECT r.id, coalesce(x.measurement_id, m.sample_id) AS "measurement_id!"
           FROM revision r JOIN match m ON m.id = r.match_id
           LEFT JOIN LATERAL (SELECT d.measurement_id FROM drawdown d WHERE d.revision_id = r.id AND d.dry
                              ORDER BY d.received_at DESC, d.id DESC LIMIT 1) x ON true
           WHERE r.id = ANY ($1)"#,
        &ids
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| Ok((id(row.id)?, id(row.measurement_id)?)))
        .collect()
}

/// What is shown beside formulas found, in the order given. It names who made a formula, never whose it is.
///
/// # Errors
/// When the database can't be read.
pub async fn beside(conn: &mut Conn, ranked: Vec<Ranked>) -> StoreResult<Vec<NearestHit>> {
    let ids: Vec<Uuid> = ranked
        .iter()
        .map(|found| found.entry.revision_id.as_uuid())
        .collect();
    let rows = sqlx::query!(
        r#"SELECT r.id, m.label_code, d.name AS product_name, b.name AS base_name, r.size, r.made_at,
                  p.id AS person_id, p.display_name, s.name AS store_name,
                  (SELECT count(*) FROM tint t WHERE t.revision_id = r.id) AS "tints!",
                  (SELECT count(*) FROM tint t JOIN tint_fault f ON f.tint_id = t.id WHERE t.revision_id = r.id)
                      AS "bad_tints!"
           FROM revision r JOIN match m ON m.id = r.match_id JOIN product d ON d.id = m.product_id
           JOIN base b ON b.id = r.base_id JOIN person p ON p.id = r.made_by JOIN store s ON s.id = r.store_id
           WHERE r.id = ANY ($1)"#,
        &ids
    )
    .fetch_all(conn)
    .await?;
    let mut rows: std::collections::HashMap<Uuid, _> =
        rows.into_iter().map(|row| (row.id, row)).collect();
    ranked
        .into_iter()
        .map(|found| {
            let entry = found.entry;
            let row = rows.remove(&entry.revision_id.as_uuid()).ok_or_else(|| {
                StoreError::Fault("a revision in the index is not in the database".to_owned())
            })?;
            Ok(NearestHit {
                match_id: entry.match_id,
                revision_id: entry.revision_id,
                label_code: kept(&row.label_code)?,
                lab: LabD65(entry.lab),
                basis: entry.basis,
                verified: entry.basis == Basis::Drawdown,
                de2000: found.de2000,
                verdict: found.verdict,
                verdict_phrase: found.verdict.phrase().to_owned(),
                direction: found.direction,
                shop_light: found.shop_light,
                warnings: found.warnings,
                product: Named {
                    id: entry.product,
                    name: row.product_name,
                },
                base: Named {
                    id: entry.base,
                    name: row.base_name,
                },
                sheen: entry.sheen,
                size: kept(&row.size)?,
                made_by: Named {
                    id: id(row.person_id)?,
                    name: row.display_name,
                },
                store: Named {
                    id: entry.store,
                    name: row.store_name,
                },
                made_at: row.made_at,
                tints: row.tints,
                bad_tints: row.bad_tints,
            })
        })
        .collect()
}

/// The verdict limits in force.
///
/// # Errors
/// When the database can't be read.
pub async fn verdict_limits(conn: &mut Conn) -> StoreResult<color::VerdictLimits> {
    let row = sqlx::query!("SELECT indistinguishable, accepted, ask FROM verdict_limits")
        .fetch_one(conn)
        .await?;
    color::VerdictLimits::new(row.indistinguishable, row.accepted, row.ask)
        .map_err(|_| StoreError::Fault("the stored verdict limits are refused".to_owned()))
}
