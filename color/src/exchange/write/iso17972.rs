//! CxF3 (ISO 17972-1), as its schema 3.0 has it.

use std::collections::{HashMap, HashSet};

use quick_xml::escape;

use crate::conditions::Geometry;
use crate::exchange::digits::fraction_text;
use crate::exchange::document::{Reading, SpectraFile, Tag};
use crate::exchange::iso17972::{
    INCREMENTS, NAMESPACE, NO_GEOMETRY, NO_KIND, NO_TIME, OUR_ID, gloss_method, illumination,
    illumination_word, sphere_word,
};
use crate::exchange::packed;
use crate::exchange::stated::{Key, Stated};
use crate::exchange::write::{nanometers, stated, untold, values};

/// First wavelengths that the schema allows for a list of values.
const STARTS: std::ops::RangeInclusive<u16> = 360..=400;

/// Elements of `MeasurementSpec` in the order of the schema, and the values it allows there.
const MEASUREMENT: [(&str, Allowed); 11] = [
    (
        "LuminanceUnitsType",
        Allowed::Words(&["normalized", "fL", "cd/ft2", "cd/m2"]),
    ),
    ("CalibrationStandard", Allowed::Text),
    ("Aperture", Allowed::Text),
    ("Backing", Allowed::Text),
    ("BandpassCorrected", Allowed::Words(&["true", "false"])),
    ("Device/Manufacturer", Allowed::Text),
    ("Device/Model", Allowed::Text),
    ("Device/SerialNumber", Allowed::Text),
    (
        "Device/DeviceClass",
        Allowed::Words(&[
            "DeviceClass_Spot",
            "DeviceClass_Scanning",
            "DeviceClass_Other",
        ]),
    ),
    (
        "Device/DeviceFilter",
        Allowed::Words(&[
            "Filter_None",
            "Filter_UVExcluded",
            "Filter_UVD65",
            "Filter_Partial",
            "Filter_Custom",
        ]),
    ),
    (
        "Device/DeviceIllumination",
        Allowed::Words(&[
            "M0_Incandescent",
            "M1_Daylight",
            "M2_UVExcluded",
            "M3_Polarized",
            "Flash",
            "LED",
            "Ambient",
            "Custom",
        ]),
    ),
];

#[derive(Clone, Copy)]
enum Allowed {
    Text,
    Words(&'static [&'static str]),
}

impl Allowed {
    fn allows(self, value: &str) -> bool {
        match self {
            Self::Text => !value.trim().is_empty() && value.trim() == value,
            Self::Words(words) => words.contains(&value),
        }
    }
}

/// Lines of XML, each element on its own.
#[derive(Default)]
struct Xml {
    text: String,
    depth: usize,
}

impl Xml {
    fn line(&mut self, line: &str) {
        self.text.push_str(&"  ".repeat(self.depth));
        self.text.push_str(line);
        self.text.push('\n');
    }

    fn open(&mut self, element: &str, attributes: &[(&str, &str)]) {
        self.line(&tag(element, attributes, ">"));
        self.depth += 1;
    }

    fn close(&mut self, element: &str) {
        self.depth -= 1;
        self.line(&format!("</{element}>"));
    }

    fn empty(&mut self, element: &str, attributes: &[(&str, &str)]) {
        self.line(&tag(element, attributes, "/>"));
    }

    fn text(&mut self, element: &str, attributes: &[(&str, &str)], text: &str) {
        let start = tag(element, attributes, ">");
        let text = legal(text);
        self.line(&format!("{start}{}</{element}>", escape::escape(&text)));
    }
}

fn tag(element: &str, attributes: &[(&str, &str)], end: &str) -> String {
    let mut tag = format!("<{element}");
    for (name, value) in attributes {
        // A reader would make blanks of line ends and tabs (XML 1.0, 3.3.3).
        let value = escape::escape(legal(value))
            .replace('\n', "&#10;")
            .replace('\t', "&#9;");
        tag.push_str(&format!(" {name}=\"{value}\""));
    }
    tag + end
}

/// XML 1.0 has no other control characters than these (2.2).
fn legal(text: &str) -> String {
    let illegal = |c: char| {
        c.is_ascii_control() && !matches!(c, '\t' | '\n' | '\r')
            || matches!(c, '\u{FFFE}' | '\u{FFFF}')
    };
    text.replace(illegal, "\u{FFFD}")
}

pub(super) fn write(file: &SpectraFile) -> String {
    let mut xml = Xml::default();
    xml.line("<?xml version=\"1.0\" encoding=\"UTF-8\"?>");
    for comment in &file.comments {
        // Two hyphens would end the comment.
        let comment = legal(comment).replace("--", "- -");
        xml.line(&format!("<!-- {} -->", comment.trim_end_matches('-')));
    }
    xml.open("CxF", &[("xmlns", NAMESPACE)]);
    information(&mut xml, file);
    xml.open("Resources", &[]);
    xml.open("ObjectCollection", &[]);
    let mut specifications = Specifications::default();
    let mut ids = HashSet::new();
    let mut all = Stated::default();
    for tag in &file.tags {
        all.take(&tag.name, &tag.value, &mut Vec::new());
    }
    for reading in &file.readings {
        object(&mut xml, file, reading, &all, &mut specifications, &mut ids);
    }
    for kept in &file.without_spectrum {
        let mut object = Object::new(&kept.tags, &mut ids);
        let date = object.take("CreationDate", is_time);
        object.open(&mut xml, &kept.name, date.as_deref());
        tags(&mut xml, &object.left);
        xml.close("Object");
    }
    xml.close("ObjectCollection");
    xml.open("ColorSpecificationCollection", &[]);
    for (number, body) in (1..).zip(&specifications.bodies) {
        xml.open("ColorSpecification", &[("Id", &specification_id(number))]);
        xml.text.push_str(body);
        xml.close("ColorSpecification");
    }
    xml.close("ColorSpecificationCollection");
    xml.close("Resources");
    xml.close("CxF");
    xml.text
}

fn information(xml: &mut Xml, file: &SpectraFile) {
    if file.tags.is_empty() {
        return;
    }
    let mut left: Vec<&Tag> = file.tags.iter().collect();
    xml.open("FileInformation", &[]);
    for element in ["Creator", "CreationDate", "Description", "Comment"] {
        let fits = |tag: &&Tag| {
            tag.group.is_empty()
                && tag.name == element
                && Allowed::Text.allows(&tag.value)
                && (element != "CreationDate" || is_time(&tag.value))
        };
        if let Some(place) = left.iter().position(fits) {
            xml.text(element, &[], &left.remove(place).value);
        }
    }
    // The schema has no collections here.
    let (single, grouped): (Vec<&Tag>, Vec<&Tag>) =
        left.into_iter().partition(|tag| tag.group.is_empty());
    for tag in single {
        xml.empty("Tag", &[("Name", &tag.name), ("Value", &tag.value)]);
    }
    if !grouped.is_empty() {
        let packed = packed::pack(&grouped);
        xml.empty("Tag", &[("Name", packed::NAME), ("Value", &packed)]);
    }
    xml.close("FileInformation");
}

/// Specifications written so far, each once.
#[derive(Default)]
struct Specifications {
    numbers: HashMap<String, usize>,
    bodies: Vec<String>,
}

impl Specifications {
    fn id_of(&mut self, body: String) -> String {
        let next = self.bodies.len() + 1;
        let number = *self.numbers.entry(body).or_insert_with_key(|body| {
            self.bodies.push(body.clone());
            next
        });
        specification_id(number)
    }
}

fn specification_id(number: usize) -> String {
    format!("{OUR_ID}specification-{number}")
}

/// An object's attributes, and the tags that found no place yet.
struct Object<'a> {
    id: String,
    kind: String,
    guid: Option<String>,
    left: Vec<&'a Tag>,
}

impl<'a> Object<'a> {
    fn new(tags: &'a [Tag], ids: &mut HashSet<String>) -> Self {
        let mut object = Self {
            id: String::new(),
            kind: NO_KIND.to_owned(),
            guid: None,
            left: tags.iter().collect(),
        };
        let free = |id: &str| is_id(id) && !id.starts_with(OUR_ID) && !ids.contains(id);
        object.id = object
            .take("Object/Id", free)
            .unwrap_or_else(|| format!("{OUR_ID}object-{}", ids.len() + 1));
        ids.insert(object.id.clone());
        if let Some(kind) = object.take("Object/ObjectType", |kind| kind != NO_KIND) {
            object.kind = kind;
        }
        object.guid = object.take("Object/GUID", |_| true);
        object
    }

    /// Takes the first tag of a name if its value fits where it is to stand.
    fn take(&mut self, name: &str, fits: impl Fn(&str) -> bool) -> Option<String> {
        let place = self
            .left
            .iter()
            .position(|tag| tag.group.is_empty() && tag.name == name)?;
        fits(&self.left[place].value).then(|| self.left.remove(place).value.clone())
    }

    fn open(&self, xml: &mut Xml, name: &str, date: Option<&str>) {
        let mut attributes = vec![
            ("ObjectType", self.kind.as_str()),
            ("Name", name),
            ("Id", &self.id),
        ];
        attributes.extend(self.guid.as_deref().map(|guid| ("GUID", guid)));
        xml.open("Object", &attributes);
        xml.text("CreationDate", &[], date.unwrap_or(NO_TIME));
    }
}

fn object(
    xml: &mut Xml,
    file: &SpectraFile,
    reading: &Reading,
    all: &Stated,
    specifications: &mut Specifications,
    ids: &mut HashSet<String>,
) {
    let known = stated(reading);
    let mut object = Object::new(&reading.tags, ids);
    let wavelengths = nanometers(reading);
    let list = even(&wavelengths);
    let body = specification(&mut object, &known, list, xml.depth + 2);
    let id = specifications.id_of(body);

    let measured = known.details.date.as_deref().filter(|date| is_time(date));
    let created = object.take("CreationDate", is_time);
    object.open(xml, &reading.name, created.as_deref().or(measured));
    if let Some(comment) = object.take("Comment", |text| Allowed::Text.allows(text)) {
        xml.text("Comment", &[], &comment);
    }
    xml.open("ColorValues", &[]);
    let mut attributes = Vec::new();
    let name = object.take("Spectrum/@Name", |_| true);
    attributes.extend(name.as_deref().map(|name| ("Name", name)));
    if created.is_some() {
        attributes.extend(measured.map(|date| ("MeasureDate", date)));
    }
    let values = values(reading, file.scale);
    let fractions = values.iter().map(|text| fraction_text(text, file.scale));
    let start = list.map(|(start, _)| start.to_string());
    if let Some(start) = &start {
        attributes.push(("StartWL", start));
        attributes.push(("ColorSpecification", &id));
        let list = fractions.collect::<Vec<_>>().join(" ");
        xml.text("ReflectanceSpectrum", &attributes, &list);
    } else {
        attributes.push(("ColorSpecification", &id));
        xml.open("CustomSpectrum", &attributes);
        for (nm, value) in wavelengths.iter().zip(fractions) {
            xml.text("SpectralPoint", &[("WL", nm)], &value);
        }
        xml.close("CustomSpectrum");
    }
    xml.close("ColorValues");

    // What is known and has no element of its own: as a tag, before what other tags say.
    let placed = |key: &Key| match key {
        Key::Date => measured.is_some(),
        Key::Readings => false,
        Key::Specular => known.conditions.geometry == Some(Geometry::DiffuseTo8),
        _ => true,
    };
    let mut facts = Vec::new();
    for (key, word) in untold(reading, all) {
        if !placed(&key) {
            facts.push(Tag::new(key.column(), word));
        }
    }
    tags(xml, &facts.iter().chain(object.left).collect::<Vec<_>>());
    let gloss = [Key::Gloss60, Key::Gloss85]
        .into_iter()
        .filter_map(|key| Some((gloss_method(key), known.word(key)?)));
    let gloss: Vec<(&str, String)> = gloss.collect();
    if !gloss.is_empty() {
        xml.open("PhysicalAttributes", &[]);
        for (method, value) in &gloss {
            xml.text("Gloss", &[("Method", method)], value);
        }
        xml.close("PhysicalAttributes");
    }
    xml.close("Object");
}

/// Tags in collections: a new one wherever the group changes.
fn tags(xml: &mut Xml, tags: &[&Tag]) {
    for group in tags.chunk_by(|before, after| before.group == after.group) {
        xml.open("TagCollection", &[("Name", &group[0].group)]);
        for tag in group {
            xml.empty("Tag", &[("Name", &tag.name), ("Value", &tag.value)]);
        }
        xml.close("TagCollection");
    }
}

/// First wavelength and increment, where the schema has a list for them.
fn even(wavelengths: &[String]) -> Option<(u16, u16)> {
    let whole: Option<Vec<u16>> = wavelengths.iter().map(|nm| nm.parse().ok()).collect();
    let whole = whole?;
    let [start, second, ..] = whole[..] else {
        return None;
    };
    let step = second.checked_sub(start)?;
    let evenly = whole
        .windows(2)
        .all(|pair| pair[1].checked_sub(pair[0]) == Some(step));
    (evenly && STARTS.contains(&start) && INCREMENTS.contains(&step)).then_some((start, step))
}

/// The body of a `ColorSpecification`; takes the tags that it has a place for.
fn specification(
    object: &mut Object<'_>,
    known: &Stated,
    list: Option<(u16, u16)>,
    depth: usize,
) -> String {
    let mut xml = Xml {
        depth: depth - 1,
        ..Xml::default()
    };
    xml.open("MeasurementSpec", &[]);
    xml.text("MeasurementType", &[], "Spectrum_Reflectance");
    xml.open("GeometryChoice", &[]);
    geometry(&mut xml, object, known);
    xml.close("GeometryChoice");
    if let Some((start, increment)) = list {
        let (start, increment) = (start.to_string(), increment.to_string());
        let range = [("StartWL", start.as_str()), ("Increment", &increment)];
        xml.empty("WavelengthRange", &range);
    }
    let mut in_device = false;
    for (element, allowed) in MEASUREMENT {
        let path = format!("MeasurementSpec/{element}");
        let fact = match element {
            "Aperture" => known.word(Key::Aperture),
            "Backing" => known.word(Key::Backing),
            "Device/Manufacturer" => known.word(Key::Maker),
            "Device/Model" => known.word(Key::Model),
            "Device/SerialNumber" => known.word(Key::Serial),
            "Device/DeviceIllumination" => known
                .conditions
                .filter
                .map(|filter| illumination_word(filter).to_owned()),
            _ => None,
        };
        // The file's own words first: they say what the fact says, or what was not understood.
        let words = object.take(&path, |value| {
            allowed.allows(value) && agrees(element, value, known)
        });
        let Some(value) = words.or(fact.filter(|value| allowed.allows(value))) else {
            continue;
        };
        let name = element.strip_prefix("Device/");
        if name.is_some() && !in_device {
            xml.open("Device", &[]);
            in_device = true;
        }
        xml.text(name.unwrap_or(element), &[], &value);
    }
    if in_device {
        xml.close("Device");
    }
    xml.close("MeasurementSpec");
    xml.text
}

/// Whether words in the place of a fact are read as that fact, or as nothing where none is known.
fn agrees(element: &str, value: &str, known: &Stated) -> bool {
    match element {
        "Aperture" => reads_as(Key::Aperture, value, known),
        "Backing" => reads_as(Key::Backing, value, known),
        "Device/Manufacturer" => reads_as(Key::Maker, value, known),
        "Device/Model" => reads_as(Key::Model, value, known),
        "Device/SerialNumber" => reads_as(Key::Serial, value, known),
        "Device/DeviceIllumination" => illumination(value) == known.conditions.filter,
        "Device/DeviceFilter" => value != "Filter_UVExcluded" || known.conditions.filter.is_some(),
        _ => true,
    }
}

fn reads_as(key: Key, words: &str, known: &Stated) -> bool {
    let mut read = Stated::default();
    read.take_key(key, words, &mut Vec::new());
    let alone = read.word(key) == known.word(key);
    // Words for a geometry may name the filter or the specular mode beside.
    let beside = |other: &Key| {
        read.word(*other)
            .is_none_or(|word| known.word(*other) == Some(word))
    };
    alone && Key::all().all(|other| beside(&other))
}

fn geometry(xml: &mut Xml, object: &mut Object<'_>, known: &Stated) {
    let conditions = known.conditions;
    let single = match (conditions.geometry, conditions.specular) {
        (Some(Geometry::Deg45To0), _) => "Uniplanar",
        (Some(Geometry::Annular45To0), _) => "Annular",
        (Some(Geometry::DiffuseTo8), Some(specular)) => {
            xml.text("SphereGeometry", &[], sphere_word(specular));
            return;
        }
        (geometry, _) => {
            let word = geometry.map(|geometry| geometry.to_string());
            let path = "MeasurementSpec/GeometryChoice/UnknownGeometry";
            let words = object.take(path, |text| {
                Allowed::Text.allows(text) && reads_as(Key::Geometry, text, known)
            });
            let text = words.or(word).unwrap_or_else(|| NO_GEOMETRY.to_owned());
            xml.text("UnknownGeometry", &[], &text);
            return;
        }
    };
    xml.open("SingleAngle", &[]);
    xml.text("SingleAngleConfiguration", &[], single);
    xml.text("IlluminationAngle", &[], "45");
    xml.text("MeasurementAngle", &[], "0");
    xml.close("SingleAngle");
}

/// An `NCName` of the letters that need no second thought.
fn is_id(text: &str) -> bool {
    let mut chars = text.chars();
    chars
        .next()
        .is_some_and(|c| c.is_ascii_alphabetic() || c == '_')
        && chars.all(|c| c.is_ascii_alphanumeric() || "._-".contains(c))
}

/// An `xs:dateTime` of a year from 1 to 9999, other than the one that stands for none.
fn is_time(text: &str) -> bool {
    let number = |text: &str, digits: usize, range: std::ops::RangeInclusive<u32>| {
        text.len() == digits
            && text.bytes().all(|b| b.is_ascii_digit())
            && text.parse().is_ok_and(|value| range.contains(&value))
    };
    let Some((date, time)) = text.split_once('T') else {
        return false;
    };
    let date: Vec<&str> = date.split('-').collect();
    let [year, month, day] = date[..] else {
        return false;
    };
    let (clock, zone) = match time.find(['Z', '+', '-']) {
        Some(at) => time.split_at(at),
        None => (time, ""),
    };
    let (clock, fraction) = clock.split_once('.').unwrap_or((clock, "0"));
    let clock: Vec<&str> = clock.split(':').collect();
    let [hour, minute, second] = clock[..] else {
        return false;
    };
    let zone_fits = match zone {
        "" | "Z" => true,
        _ => zone[1..]
            .split_once(':')
            .is_some_and(|(hours, minutes)| number(hours, 2, 0..=13) && number(minutes, 2, 0..=59)),
    };
    let days = match month {
        "02" => 28,
        "04" | "06" | "09" | "11" => 30,
        _ => 31,
    };
    text != NO_TIME
        && number(year, 4, 1..=9999)
        && number(month, 2, 1..=12)
        && number(day, 2, 1..=days)
        && number(hour, 2, 0..=23)
        && number(minute, 2, 0..=59)
        && number(second, 2, 0..=59)
        && !fraction.is_empty()
        && fraction.bytes().all(|b| b.is_ascii_digit())
        && zone_fits
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_as_the_schema_has_them() {
        for good in [
            "2026-03-14T09:30:00Z",
            "2026-03-14T09:30:00",
            "2026-03-14T09:30:00.25-05:00",
        ] {
            assert!(is_time(good), "{good}");
        }
        for bad in [
            "",
            "2026-03-14",
            "14.3.2026",
            "2026-02-31T09:30:00Z",
            "2026-03-14T24:30:00Z",
            "2026-03-14T09:30:00.Z",
            "2026-03-14T09:30:00+5",
            "2026-03-14T09:30:00é",
            NO_TIME,
        ] {
            assert!(!is_time(bad), "{bad}");
        }
    }
}
