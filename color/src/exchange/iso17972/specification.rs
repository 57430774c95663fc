//! A `ColorSpecification`: how color values were measured.

use crate::conditions::{Filter, Geometry, Specular};
use crate::exchange::ExchangeError;
use crate::exchange::budget::Budget;
use crate::exchange::document::Tag;
use crate::exchange::iso17972::{NO_GEOMETRY, OUR_ID};
use crate::exchange::stated::{Key, Stated};
use crate::exchange::table::{brief, note};
use crate::exchange::xml::Node;

/// What a specification says of the spectra that refer to it.
#[derive(Default)]
pub(super) struct Specification {
    pub(super) stated: Stated,
    pub(super) tags: Vec<Tag>,
    /// First wavelength, as written.
    pub(super) start: Option<String>,
    /// Increment, as written.
    pub(super) increment: Option<String>,
    /// Whether it says that reflectance was measured.
    pub(super) is_reflectance: bool,
}

pub(super) fn read(
    id: &str,
    node: &Node,
    budget: &mut Budget,
    assumed: &mut Vec<String>,
) -> Result<Specification, ExchangeError> {
    let mut found = Specification::default();
    if let Some(measured) = node.child("MeasurementSpec") {
        found.is_reflectance =
            measured.child_text("MeasurementType") == Some("Spectrum_Reflectance");
        if let Some(range) = measured.child("WavelengthRange") {
            found.start = range.attribute("StartWL").map(str::to_owned);
            found.increment = range.attribute("Increment").map(str::to_owned);
        }
        measurement(id, measured, &mut found.stated, assumed);
    }
    if let Some(physical) = node.child("PhysicalAttributes") {
        gloss(physical, &mut found.stated, assumed);
    }
    for child in &node.children {
        let path = match child.name.as_str() {
            "MeasurementSpec" | "TristimulusSpec" => child.name.clone(),
            _ => format!("ColorSpecification/{}", child.name),
        };
        let told = |part: &Node| is_told_gloss(part, &found.stated);
        child.flatten_without(&path, &told, &mut found.tags, budget)?;
    }
    let stated = &found.stated;
    found.tags.retain(|tag| !is_told(tag, stated));
    if !id.starts_with(OUR_ID) {
        found.tags.push(Tag::new("ColorSpecification/Id", id));
    }
    Ok(found)
}

/// The element of a fact, below `MeasurementSpec`.
const PLACES: [(Key, &str); 5] = [
    (Key::Aperture, "Aperture"),
    (Key::Backing, "Backing"),
    (Key::Maker, "Device/Manufacturer"),
    (Key::Model, "Device/Model"),
    (Key::Serial, "Device/SerialNumber"),
];

/// Whether a tag says nothing that is not known of the reading, in the words of our own files.
fn is_told(tag: &Tag, stated: &Stated) -> bool {
    let Some(place) = tag.name.strip_prefix("MeasurementSpec/") else {
        return false;
    };
    if let Some((key, _)) = PLACES.iter().find(|(_, known)| *known == place) {
        return stated.word(*key).as_ref() == Some(&tag.value);
    }
    let value = tag.value.as_str();
    match place {
        "WavelengthRange/@StartWL" | "WavelengthRange/@Increment" => true,
        "MeasurementType" => value == "Spectrum_Reflectance",
        "GeometryChoice/UnknownGeometry" => {
            value == NO_GEOMETRY || stated.word(Key::Geometry).as_deref() == Some(value)
        }
        "GeometryChoice/SphereGeometry" => sphere(value).is_some(),
        "GeometryChoice/SingleAngle/SingleAngleConfiguration" => match stated.conditions.geometry {
            Some(Geometry::Deg45To0) => value == "Uniplanar",
            Some(Geometry::Annular45To0) => value == "Annular",
            _ => false,
        },
        "GeometryChoice/SingleAngle/IlluminationAngle" => {
            value == "45" && stated.conditions.geometry.is_some()
        }
        "GeometryChoice/SingleAngle/MeasurementAngle" => {
            value == "0" && stated.conditions.geometry.is_some()
        }
        "Device/DeviceIllumination" => {
            illumination(value).is_some() && illumination(value) == stated.conditions.filter
        }
        _ => false,
    }
}

/// The word of the schema for a specular mode.
pub(in crate::exchange) fn sphere_word(specular: Specular) -> &'static str {
    match specular {
        Specular::Included => "Specular_Included",
        Specular::Excluded => "Specular_Excluded",
    }
}

fn sphere(word: &str) -> Option<Specular> {
    [Specular::Included, Specular::Excluded]
        .into_iter()
        .find(|specular| sphere_word(*specular) == word)
}

/// The word of the schema for a filter.
pub(in crate::exchange) fn illumination_word(filter: Filter) -> &'static str {
    match filter {
        Filter::M0 => "M0_Incandescent",
        Filter::M1 => "M1_Daylight",
        Filter::M2 => "M2_UVExcluded",
        Filter::M3 => "M3_Polarized",
    }
}

pub(in crate::exchange) fn illumination(word: &str) -> Option<Filter> {
    [Filter::M0, Filter::M1, Filter::M2, Filter::M3]
        .into_iter()
        .find(|filter| illumination_word(*filter) == word)
}

fn measurement(id: &str, spec: &Node, stated: &mut Stated, assumed: &mut Vec<String>) {
    let choice = spec
        .child("GeometryChoice")
        .and_then(|choice| choice.children.first());
    if let Some(choice) = choice {
        geometry(id, choice, stated, assumed);
    }
    let device = spec.child("Device");
    for (key, place) in PLACES {
        let text = match place.strip_prefix("Device/") {
            Some(name) => device.and_then(|device| device.child_text(name)),
            None => spec.child_text(place),
        };
        if let Some(text) = text.filter(|text| !text.is_empty()) {
            stated.take_key(key, text, assumed);
        }
    }
    let Some(device) = device else {
        return;
    };
    let known = &mut stated.conditions.filter;
    *known = device
        .child_text("DeviceIllumination")
        .and_then(illumination);
    if known.is_none() && device.child_text("DeviceFilter") == Some("Filter_UVExcluded") {
        *known = Some(Filter::M2);
        note(
            assumed,
            "DeviceFilter Filter_UVExcluded was taken as M2 (ISO 13655)".to_owned(),
        );
    }
}

fn geometry(id: &str, choice: &Node, stated: &mut Stated, assumed: &mut Vec<String>) {
    let conditions = &mut stated.conditions;
    let text = choice.text.trim();
    let mut not_known = |what: &str| {
        note(
            assumed,
            format!(
                "the geometry of ColorSpecification {:?} ({}) is none that is known here; it was \
                 kept as it stands",
                brief(id),
                brief(what)
            ),
        );
    };
    match choice.name.as_str() {
        "SphereGeometry" => match sphere(text) {
            Some(specular) => {
                conditions.geometry = Some(Geometry::DiffuseTo8);
                conditions.specular = Some(specular);
                note(
                    assumed,
                    "SphereGeometry was taken as d:8; the file does not state the angle".to_owned(),
                );
            }
            None => not_known(text),
        },
        "SingleAngle" => {
            let angle = |name: &str| {
                let text = choice.child_text(name).unwrap_or_default();
                text.parse::<f64>().unwrap_or(f64::NAN)
            };
            let annular = match choice.child_text("SingleAngleConfiguration") {
                Some("Annular") => Geometry::Annular45To0,
                _ => Geometry::Deg45To0,
            };
            let (light, eye) = (angle("IlluminationAngle"), angle("MeasurementAngle"));
            if (light, eye) == (45.0, 0.0) {
                conditions.geometry = Some(annular);
            } else if (light, eye) == (0.0, 45.0) {
                conditions.geometry = Some(annular);
                note(
                    assumed,
                    format!(
                        "geometry 0:45 was taken as {annular}: light and eye change places and the \
                         reading stays (Helmholtz reciprocity)"
                    ),
                );
            } else {
                not_known(&format!("{light}:{eye}"));
            }
        }
        "UnknownGeometry" if text == NO_GEOMETRY => {}
        "UnknownGeometry" => {
            stated.take_key(Key::Geometry, text, assumed);
        }
        other => not_known(&format!("{other} {text}")),
    }
}

/// The method of a gloss in our files.
pub(in crate::exchange) fn gloss_method(key: Key) -> &'static str {
    match key {
        Key::Gloss85 => "85°",
        _ => "60°",
    }
}

/// Whether an element is a gloss that is known, in the words of our own files.
pub(super) fn is_told_gloss(node: &Node, stated: &Stated) -> bool {
    let method = node.attribute("Method");
    node.name == "Gloss"
        && [Key::Gloss60, Key::Gloss85].into_iter().any(|key| {
            method == Some(gloss_method(key)) && stated.word(key).as_ref() == Some(&node.text)
        })
}

/// Gloss of `PhysicalAttributes`, where its method names the angle.
pub(super) fn gloss(physical: &Node, stated: &mut Stated, assumed: &mut Vec<String>) {
    for gloss in physical.children.iter().filter(|c| c.name == "Gloss") {
        let method = gloss.attribute("Method").unwrap_or_default();
        let mut angles = method
            .split(|c: char| !c.is_ascii_digit())
            .filter_map(|digits| match digits {
                "60" => Some(Key::Gloss60),
                "85" => Some(Key::Gloss85),
                _ => None,
            });
        match (angles.next(), angles.next()) {
            (Some(key), None) => {
                stated.take_key(key, gloss.text.trim(), assumed);
            }
            _ => note(
                assumed,
                "a gloss without its angle (60° or 85°) was kept but not used".to_owned(),
            ),
        }
    }
}
