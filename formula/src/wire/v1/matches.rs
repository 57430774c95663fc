//! Measurements, matches, revisions and drawdowns.

use color::{Ends, Grid, Spectrum, SpectrumError, Wavelengths};
use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{ArrayBuilder, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::{
    CorrectedFigure, Filter, FoundBy, InstrumentDue, Job, MeasurementFile, Named, SeenUnder, Sheen,
};
use crate::id::{
    AcceptanceId, BaseId, ColorantId, CustomerId, DraftId, DrawdownId, InstrumentId, JobId,
    MatchId, MeasurementId, PersonId, ProductId, RevisionId, SheenId, StoreId,
};
use crate::label::LabelCode;
use crate::naming::Note;
use crate::quantity::{CanSize, ShotCount, ShotUnit};
use crate::reading::AsRead;
use crate::wire_form::closed_enum;

/// CIELAB under D65 and the 10° observer: `[L*, a*, b*]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LabD65(pub color::Lab);

impl PartialSchema for LabD65 {
    fn schema() -> RefOr<Schema> {
        ArrayBuilder::new()
            .description(Some(
                "CIELAB under D65 and the 10° observer: `[L*, a*, b*]`",
            ))
            .items(f64::schema())
            .min_items(Some(3))
            .max_items(Some(3))
            .into()
    }
}

impl ToSchema for LabD65 {}

closed_enum! {
    /// Where light comes from and where it is looked at (CIE 15).
    pub enum Geometry, what: "geometry" {
        /// 45° directional.
        Deg45To0 => "45:0",
        /// 45° annular.
        Annular45To0 => "45a:0",
        /// Sphere.
        DiffuseTo8 => "d:8",
    }
}

/// Whether a sphere instrument caught the mirror reflection.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Specular {
    /// Caught.
    Included,
    /// Let out.
    Excluded,
}

/// What lay behind the sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Backing {
    /// Matte black.
    Black,
    /// White.
    White,
    /// More of the same sample.
    Sample,
}

/// The unit of the values in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReadAs {
    /// 0 to 1.
    Fraction,
    /// 0 to 100.
    Percent,
}

/// Reflectance as fractions: at `start_nm`, `start_nm + step_nm`, …, or at each of `wavelengths_nm`, which stands in
/// place of the two where the step is not one whole number of nanometers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SpectrumValues {
    /// First wavelength, nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 200, maximum = 440)]
    pub start_nm: Option<u16>,
    /// Step, nm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 20)]
    pub step_nm: Option<u16>,
    /// Wavelengths, nm, rising.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_items = 2, max_items = 901)]
    pub wavelengths_nm: Option<Vec<f64>>,
    /// Reflectance at each wavelength.
    #[schema(min_items = 2, max_items = 901)]
    pub values: Vec<f64>,
}

impl SpectrumValues {
    /// At an even step in nm.
    #[must_use]
    pub fn even(start_nm: u16, step_nm: u16, values: Vec<f64>) -> Self {
        Self {
            start_nm: Some(start_nm),
            step_nm: Some(step_nm),
            wavelengths_nm: None,
            values,
        }
    }

    /// The spectrum, checked.
    ///
    /// # Errors
    /// [`SpectrumError`] with the wavelength, the value and the remedy.
    pub fn checked(&self, ends: Ends) -> Result<Spectrum, SpectrumError> {
        let listed = self.wavelengths_nm.as_deref();
        let wavelengths =
            Wavelengths::written(self.start_nm, self.step_nm, listed, self.values.len())?;
        Spectrum::at(wavelengths, self.values.clone(), ends)
    }
}

impl From<&Spectrum> for SpectrumValues {
    fn from(spectrum: &Spectrum) -> Self {
        let wavelengths = spectrum.wavelengths();
        let even = wavelengths.even();
        Self {
            start_nm: even.map(Grid::start_nm),
            step_nm: even.map(Grid::step_nm),
            wavelengths_nm: even.is_none().then(|| wavelengths.iter().collect()),
            values: spectrum.values().to_vec(),
        }
    }
}

/// A measurement to be kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewMeasurement {
    /// Id made by the caller.
    pub id: MeasurementId,
    /// The spectrum, in fractions.
    pub spectrum: SpectrumValues,
    /// The values as the file had them, digit by digit; empty when the values were typed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 901)]
    pub as_read: Vec<AsRead>,
    /// The unit of `as_read`.
    pub read_as: ReadAs,
    /// Whether a missing end was extended by the end value, on request.
    #[serde(default)]
    pub ends_extended: bool,
    /// Geometry, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub geometry: Option<Geometry>,
    /// Specular mode, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub specular: Option<Specular>,
    /// Aperture in mm, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.5, maximum = 100.0)]
    pub aperture_mm: Option<f32>,
    /// Backing, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backing: Option<Backing>,
    /// Filter, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub filter: Option<Filter>,
    /// How many readings were averaged.
    #[schema(minimum = 1, maximum = 1000)]
    pub readings: u16,
    /// Each of them, in fractions at the same wavelengths; empty when they are not known one by one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 50)]
    pub each: Vec<Vec<f64>>,
    /// Gloss at 60°, in gloss units (ISO 2813).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 200.0)]
    pub gloss60: Option<f32>,
    /// Gloss at 85°, in gloss units.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 200.0)]
    pub gloss85: Option<f32>,
    /// The instrument, when registered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument_id: Option<InstrumentId>,
    /// Temperature in °C, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -40.0, maximum = 80.0)]
    pub temperature_c: Option<f32>,
    /// When it was read, when known.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "time::serde::rfc3339::option"
    )]
    pub measured_at: Option<OffsetDateTime>,
    /// What its file held beside; not shown to contractors.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<MeasurementFile>,
}

/// A measurement as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Measurement {
    /// What was measured, with its conditions.
    pub read: NewMeasurement,
    /// CIELAB, D65, 10°.
    pub lab: LabD65,
    /// How CIELAB was computed.
    pub method: String,
    /// How far the readings lie apart, where each is known; D65, 10°.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub spread: Option<color::Spread>,
    /// Gloss levels (Master Painters Institute), where gloss was read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub gloss_level: Option<color::gloss::GlossAnswer>,
    /// What was due at the instrument when it was read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub instrument_due: Vec<InstrumentDue>,
    /// Who accepted it all the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accepted: Option<Acceptance>,
    /// What to know before relying on it, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
}

/// A reading at which something was due is to be accepted as it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewAcceptance {
    /// Id made by the caller.
    pub id: AcceptanceId,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
}

/// Who accepted a reading at which something was due.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Acceptance {
    /// Its id.
    pub id: AcceptanceId,
    /// Who.
    pub by: Named<PersonId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub at: OffsetDateTime,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
}

/// A colorant amount of a formula.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShotLine {
    /// The colorant.
    pub colorant_id: ColorantId,
    /// How many.
    pub count: ShotCount,
    /// Of what.
    pub unit: ShotUnit,
}

/// A colorant amount as shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ShotShown {
    /// The colorant.
    pub colorant_id: ColorantId,
    /// Colour Index generic name and pigment, such as `PY42 yellow oxide`.
    pub colorant: String,
    /// How many.
    pub count: ShotCount,
    /// Of what.
    pub unit: ShotUnit,
    /// The same in milliliters, to 0.01.
    pub ml: String,
    /// Lot, for a tint.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
}

/// A formula as given: which base, sheen and can size, and how much of what.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewFormula {
    /// Id of the revision, made by the caller.
    pub id: RevisionId,
    /// The base.
    pub base_id: BaseId,
    /// The sheen it was made in.
    pub sheen_id: SheenId,
    /// The can size that the amounts are for.
    pub size: CanSize,
    /// The colorants, each once; none is an untinted base.
    #[schema(max_items = 16)]
    pub shots: Vec<ShotLine>,
    /// Color predicted for it, when something predicted one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub predicted_lab: Option<LabD65>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
}

/// The formula is taken over from another match.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reuse {
    /// Id of the new match's first revision, made by the caller.
    pub id: RevisionId,
    /// The revision it is taken from.
    pub reused_from: RevisionId,
}

/// A match to be recorded: a customer's wanted color, with a formula, a reused one, or none yet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewMatch {
    /// Id made by the caller; the label code follows from it.
    pub id: MatchId,
    /// Whose it is.
    pub customer_id: CustomerId,
    /// What for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job_id: Option<JobId>,
    /// In which product.
    pub product_id: ProductId,
    /// In which sheen.
    pub sheen_id: SheenId,
    /// The sample as measured.
    pub sample: NewMeasurement,
    /// The formula found; not together with `reuse`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub formula: Option<NewFormula>,
    /// The formula taken over; not together with `formula`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reuse: Option<Reuse>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// When it was made.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
    /// The draft it was made from; it is removed in the same step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub draft_id: Option<DraftId>,
}

/// A new formula of a match; the earlier ones stay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewRevision {
    /// The formula.
    pub formula: NewFormula,
    /// The revision it corrects; none for the first formula of a match.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parent_id: Option<RevisionId>,
    /// When it was made.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
}

/// A drawdown to be recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewDrawdown {
    /// Id made by the caller.
    pub id: DrawdownId,
    /// What was measured.
    pub measurement: NewMeasurement,
    /// Whether it was dry; a wet one proves nothing.
    pub dry: bool,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// When it was made.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
}

/// A drawdown as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Drawdown {
    /// Its id.
    pub id: DrawdownId,
    /// The revision it shows.
    pub revision_id: RevisionId,
    /// What was measured.
    pub measurement: Measurement,
    /// Whether it was dry.
    pub dry: bool,
    /// CIEDE2000 from the wanted color, D65, 10°.
    pub de2000_from_wanted: f64,
    /// The same after correction, when sample and drawdown were read on two instruments between
    /// which a correction is in force.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub corrected: Option<CorrectedFigure>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// Who made it.
    pub made_by: Named<PersonId>,
    /// At which store.
    pub store: Named<StoreId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
}

/// What the produced color of a formula rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// A dry drawdown was measured.
    Drawdown,
    /// A prediction.
    Predicted,
    /// The wanted color: never drawn down, not verified.
    Wanted,
}

/// The color that a formula gives, as far as known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Produced {
    /// CIELAB, D65, 10°.
    pub lab: LabD65,
    /// What it rests on.
    pub basis: Basis,
}

/// A revision as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Revision {
    /// Its id.
    pub id: RevisionId,
    /// Running number within the match.
    pub number: i32,
    /// The revision it corrects.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parent_id: Option<RevisionId>,
    /// The revision it was taken over from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reused_from: Option<RevisionId>,
    /// The base.
    pub base: Named<BaseId>,
    /// The sheen.
    pub sheen: Sheen,
    /// The can size that the amounts are for.
    pub size: CanSize,
    /// The colorants.
    pub shots: Vec<ShotShown>,
    /// The color it gives.
    pub produced: Produced,
    /// Its drawdowns, the latest first.
    pub drawdowns: Vec<Drawdown>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// Who made it.
    pub made_by: Named<PersonId>,
    /// At which store.
    pub store: Named<StoreId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
}

/// A match, opened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Match {
    /// Its id.
    pub id: MatchId,
    /// What the label on the can says.
    pub label_code: LabelCode,
    /// Whose it is.
    pub customer: Named<CustomerId>,
    /// What for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<Job>,
    /// In which product.
    pub product: Named<ProductId>,
    /// In which sheen.
    pub sheen: Sheen,
    /// The sample as measured.
    pub sample: Measurement,
    /// The revision that counts: picked by a person, else the latest in server order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub current_revision_id: Option<RevisionId>,
    /// Whether a person picked it.
    pub picked: bool,
    /// Whether two revisions correct the same one, so that a person should pick.
    pub forked: bool,
    /// All revisions, the latest first.
    pub revisions: Vec<Revision>,
    /// Wanted and produced under the lights of the caller's store; of an opened match only.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lights: Vec<SeenUnder>,
    /// Why figures that compare the two are to be taken with care, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// How many cans were tinted.
    pub tints: i64,
    /// How many of them were marked bad.
    pub bad_tints: i64,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// Who recorded it.
    pub made_by: Named<PersonId>,
    /// At which store.
    pub store: Named<StoreId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
    /// For `If-Match`.
    pub version: i32,
}

/// A match found, not yet opened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MatchHit {
    /// Its id.
    pub id: MatchId,
    /// What the label on the can says.
    pub label_code: LabelCode,
    /// Whose it is.
    pub customer: Named<CustomerId>,
    /// What for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    /// In which product.
    pub product: Named<ProductId>,
    /// In which sheen.
    pub sheen: crate::sheen::SheenWord,
    /// At which store it was made.
    pub store: Named<StoreId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
    /// The wanted color.
    pub wanted: LabD65,
    /// The revision that counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub current_revision_id: Option<RevisionId>,
    /// Whether that revision was drawn down and measured dry.
    pub verified: bool,
    /// How many cans were tinted.
    pub tints: i64,
    /// How many of them were marked bad.
    pub bad_tints: i64,
    /// What fitted.
    pub found_by: FoundBy,
}

/// The match goes to another customer or job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MatchMove {
    /// Whose it is from now on.
    pub customer_id: CustomerId,
    /// What for; absent: no job.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job_id: Option<JobId>,
}

/// A person picks the revision that counts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RevisionPick {
    /// The one; absent: the latest in server order again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision_id: Option<RevisionId>,
}
