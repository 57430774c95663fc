//! The nearest colors to a query by CIEDE2000, exactly.
//!
//! A [`Library`] holds points: an id of 16 bytes and a color stored as three `f32`. Order is
//! by (ΔE00, id), ΔE00 being [`de2000`](crate::de2000) of the query and the stored color in
//! `f64`, so that every search over the same points answers the same, ties included. ΔE00
//! breaks the triangle inequality, so nothing here prunes by triangles: a point is skipped
//! only when a proved lower bound of its ΔE00 exceeds the worst answer kept.

mod ranking;
mod scan;

use std::collections::HashMap;

use serde::{Deserialize, Serialize};

use crate::lab::{Lab, LabError};
use ranking::Ranking;

/// Name of a point: 16 bytes that the caller chose, such as those of a UUID. Ties in ΔE00 are
/// ordered by these bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PointId(pub [u8; 16]);

/// A point found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Its ordinal, as [`Library::insert`] gave it.
    pub ordinal: u32,
    /// Its id.
    pub id: PointId,
    /// Its color as stored, rounded to `f32`.
    pub lab: Lab,
    /// ΔE00 from the query.
    pub de2000: f64,
}

/// Why a point was not taken, changed or searched for.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NearestError {
    /// Query or point is no color.
    #[error(transparent)]
    NotAColor(#[from] LabError),
    /// The radius is NaN or negative.
    #[error("radius {value} is no distance; give ΔE00 of 0 or more")]
    Radius {
        /// The radius given.
        value: f64,
    },
    /// The id is there already.
    #[error("point {0:?} is in the library already; replace it instead")]
    Duplicate(PointId),
    /// The id isn't there.
    #[error("point {0:?} is not in the library; insert it first")]
    Missing(PointId),
    /// More than 2³² − 1 points.
    #[error("the library is full; it holds at most {} points", u32::MAX)]
    Full,
}

/// Colors with ids, searched exactly.
///
/// Each point has an ordinal, a small number for the caller's own columns (product, base, …),
/// which filters are asked about. It stays until the point is removed and is then given to a
/// later point.
#[derive(Clone, Debug, Default)]
pub struct Library {
    /// L\*, NaN for a removed point, which no comparison lets through.
    l: Vec<f32>,
    a: Vec<f32>,
    b: Vec<f32>,
    /// C\*ab rounded to `f32`; only bounds use it.
    chroma: Vec<f32>,
    ids: Vec<PointId>,
    ordinals: HashMap<PointId, u32>,
    vacant: Vec<u32>,
}

impl Library {
    /// An empty library.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// An empty library with room for `points`.
    #[must_use]
    pub fn with_capacity(points: usize) -> Self {
        Self {
            l: Vec::with_capacity(points),
            a: Vec::with_capacity(points),
            b: Vec::with_capacity(points),
            chroma: Vec::with_capacity(points),
            ids: Vec::with_capacity(points),
            ordinals: HashMap::with_capacity(points),
            vacant: Vec::new(),
        }
    }

    /// Number of points.
    #[must_use]
    pub fn len(&self) -> usize {
        self.ordinals.len()
    }

    /// Whether there is no point.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.ordinals.is_empty()
    }

    /// The ordinal of an id.
    #[must_use]
    pub fn ordinal(&self, id: PointId) -> Option<u32> {
        self.ordinals.get(&id).copied()
    }

    /// The color of an id as stored.
    #[must_use]
    pub fn lab(&self, id: PointId) -> Option<Lab> {
        self.ordinal(id).map(|ordinal| self.at(ordinal as usize))
    }

    /// Adds a point and gives its ordinal.
    ///
    /// # Errors
    /// [`NearestError::NotAColor`], [`NearestError::Duplicate`], [`NearestError::Full`].
    pub fn insert(&mut self, id: PointId, lab: Lab) -> Result<u32, NearestError> {
        let lab = Lab::new(lab.l, lab.a, lab.b)?;
        if self.ordinals.contains_key(&id) {
            return Err(NearestError::Duplicate(id));
        }
        let ordinal = match self.vacant.pop() {
            Some(ordinal) => ordinal,
            None => {
                let next = u32::try_from(self.ids.len()).map_err(|_| NearestError::Full)?;
                self.ids.push(id);
                for column in [&mut self.l, &mut self.a, &mut self.b, &mut self.chroma] {
                    column.push(f32::NAN);
                }
                next
            }
        };
        self.ids[ordinal as usize] = id;
        self.set(ordinal as usize, lab);
        self.ordinals.insert(id, ordinal);
        Ok(ordinal)
    }

    /// Gives a point another color; its ordinal stays.
    ///
    /// # Errors
    /// [`NearestError::NotAColor`], [`NearestError::Missing`].
    pub fn replace(&mut self, id: PointId, lab: Lab) -> Result<u32, NearestError> {
        let lab = Lab::new(lab.l, lab.a, lab.b)?;
        let ordinal = self.ordinal(id).ok_or(NearestError::Missing(id))?;
        self.set(ordinal as usize, lab);
        Ok(ordinal)
    }

    /// Takes a point out and gives the ordinal it had.
    ///
    /// # Errors
    /// [`NearestError::Missing`].
    pub fn remove(&mut self, id: PointId) -> Result<u32, NearestError> {
        let ordinal = self.ordinals.remove(&id).ok_or(NearestError::Missing(id))?;
        self.l[ordinal as usize] = f32::NAN;
        self.vacant.push(ordinal);
        Ok(ordinal)
    }

    /// The `k` nearest points whose ordinal the filter lets through, ordered by (ΔE00, id);
    /// fewer when there are fewer. The query counts in full `f64`, not rounded.
    ///
    /// # Errors
    /// [`NearestError::NotAColor`] when the query is NaN, infinite or outside what
    /// [`Lab::new`] accepts.
    pub fn nearest(
        &self,
        query: Lab,
        k: usize,
        filter: impl Fn(u32) -> bool,
    ) -> Result<Vec<Hit>, NearestError> {
        self.search(query, Ranking::new(k, f64::INFINITY), filter)
    }

    /// All points within ΔE00 `radius` (inclusive) whose ordinal the filter lets through,
    /// ordered by (ΔE00, id).
    ///
    /// # Errors
    /// [`NearestError::NotAColor`] as in [`Library::nearest`]; [`NearestError::Radius`].
    pub fn within(
        &self,
        query: Lab,
        radius: f64,
        filter: impl Fn(u32) -> bool,
    ) -> Result<Vec<Hit>, NearestError> {
        if radius.is_nan() || radius < 0.0 {
            return Err(NearestError::Radius { value: radius });
        }
        self.search(query, Ranking::new(usize::MAX, radius), filter)
    }

    fn search(
        &self,
        query: Lab,
        mut ranking: Ranking,
        filter: impl Fn(u32) -> bool,
    ) -> Result<Vec<Hit>, NearestError> {
        let query = Lab::new(query.l, query.a, query.b)?;
        self.scan(query, &mut ranking, filter);
        Ok(ranking.into_hits())
    }

    fn at(&self, index: usize) -> Lab {
        let [l, a, b] = [self.l[index], self.a[index], self.b[index]].map(f64::from);
        Lab { l, a, b }
    }

    fn set(&mut self, index: usize, lab: Lab) {
        let [l, a, b] = lab.to_f32();
        (self.l[index], self.a[index], self.b[index]) = (l, a, b);
        self.chroma[index] = lab.stored().chroma() as f32;
    }
}
