//! What a measurement file held beside the numbers.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Backing, Geometry, Specular};
use crate::reading::FileText;
use crate::wire_form::closed_enum;

closed_enum! {
    /// Light that fell on the sample: ultraviolet and polarizing filters (ISO 13655).
    pub enum Filter, what: "filter" {
        /// Ultraviolet not controlled.
        M0 => "M0",
        /// D50 with ultraviolet.
        M1 => "M1",
        /// Ultraviolet cut.
        M2 => "M2",
        /// Polarized.
        M3 => "M3",
    }
}

closed_enum! {
    /// Format of a measurement file.
    pub enum FileFormat, what: "format of a measurement file" {
        /// Delimited text, a row for each sample.
        CsvWide => "csv_wide",
        /// Delimited text, a row for each wavelength.
        CsvLong => "csv_long",
        /// Keywords and tables (ISO 28178, CGATS.17).
        Iso28178 => "iso28178",
        /// XML (ISO 17972-1, CxF3).
        Iso17972 => "iso17972",
    }
}

/// A named text of a file: a keyword, a column, a tag.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FileTag {
    /// The collection it stands in, when there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub group: Option<FileText>,
    /// Name.
    pub name: FileText,
    /// Value.
    pub value: FileText,
}

/// The file that a measurement was read from, as far as it says more than the measurement does. It may hold names, and
/// is kept where it can be erased.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MeasurementFile {
    /// Its format.
    pub format: FileFormat,
    /// The sample's name in it.
    pub sample: FileText,
    /// Who made the instrument, in its words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maker: Option<FileText>,
    /// The instrument's model, in its words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<FileText>,
    /// The instrument's serial number, in its words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<FileText>,
    /// When it was read, in its words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<FileText>,
    /// Its keywords, columns and tags.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 500)]
    pub tags: Vec<FileTag>,
    /// What it left open and how it was read, as sentences.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    pub assumed: Vec<FileText>,
}

impl MeasurementFile {
    /// Most tags kept.
    pub const MOST_TAGS: usize = 500;
    /// Most sentences kept.
    pub const MOST_ASSUMED: usize = 100;
}

impl From<color::Filter> for Filter {
    fn from(filter: color::Filter) -> Self {
        match filter {
            color::Filter::M0 => Self::M0,
            color::Filter::M1 => Self::M1,
            color::Filter::M2 => Self::M2,
            color::Filter::M3 => Self::M3,
        }
    }
}

impl From<Filter> for color::Filter {
    fn from(filter: Filter) -> Self {
        match filter {
            Filter::M0 => Self::M0,
            Filter::M1 => Self::M1,
            Filter::M2 => Self::M2,
            Filter::M3 => Self::M3,
        }
    }
}

impl From<color::Geometry> for Geometry {
    fn from(geometry: color::Geometry) -> Self {
        match geometry {
            color::Geometry::Deg45To0 => Self::Deg45To0,
            color::Geometry::Annular45To0 => Self::Annular45To0,
            color::Geometry::DiffuseTo8 => Self::DiffuseTo8,
        }
    }
}

impl From<color::Specular> for Specular {
    fn from(specular: color::Specular) -> Self {
        match specular {
            color::Specular::Included => Self::Included,
            color::Specular::Excluded => Self::Excluded,
        }
    }
}

impl From<color::Backing> for Backing {
    fn from(backing: color::Backing) -> Self {
        match backing {
            color::Backing::Black => Self::Black,
            color::Backing::White => Self::White,
            color::Backing::Sample => Self::Sample,
        }
    }
}

impl From<color::exchange::FileFormat> for FileFormat {
    fn from(format: color::exchange::FileFormat) -> Self {
        match format {
            color::exchange::FileFormat::CsvWide => Self::CsvWide,
            color::exchange::FileFormat::CsvLong => Self::CsvLong,
            color::exchange::FileFormat::Iso28178 => Self::Iso28178,
            color::exchange::FileFormat::Iso17972 => Self::Iso17972,
        }
    }
}
