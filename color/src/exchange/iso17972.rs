//! CxF3 (ISO 17972-1): XML of objects, their color values, and specifications of how these were
//! measured. Schema version 3.0.

mod specification;

pub(super) use specification::{gloss_method, illumination, illumination_word, sphere_word};

use std::collections::HashMap;

use crate::exchange::budget::Budget;
use crate::exchange::digits::number;
use crate::exchange::document::{Tag, WithoutSpectrum};
use crate::exchange::packed;
use crate::exchange::stated::{Key, Stated};
use crate::exchange::table::{
    Cell, RawFile, RawSample, RawTable, brief, named, note, note_unnamed,
};
use crate::exchange::xml::{self, Node};
use crate::exchange::{ExchangeError, FileFormat, Scale};

use specification::Specification;

/// Namespace of the schema.
pub(super) const NAMESPACE: &str = "http://colorexchangeformat.com/CxF3-core";
/// What our files say where the schema wants a time and none is known.
pub(super) const NO_TIME: &str = "0001-01-01T00:00:00Z";
/// What our files say where the schema wants a geometry and none is known.
pub(super) const NO_GEOMETRY: &str = "not stated";
/// What our files say where the schema wants a kind of object and none is known.
pub(super) const NO_KIND: &str = "unknown";
/// Begins the ids that our files make up.
pub(super) const OUR_ID: &str = "secondcan-";
/// Increments in nm that the schema allows.
pub(super) const INCREMENTS: [u16; 5] = [1, 2, 5, 10, 20];

pub(super) fn is_one(text: &str) -> bool {
    text.trim_start().starts_with('<')
}

pub(super) fn read(
    text: &str,
    budget: &mut Budget,
    assumed: &mut Vec<String>,
) -> Result<RawFile, ExchangeError> {
    let (root, comments) = xml::parse(text, budget)?;
    if root.name != "CxF" {
        return Err(ExchangeError::NotCxf {
            root: brief(&root.name),
        });
    }
    let mut file = Taken {
        budget,
        assumed,
        tags: Vec::new(),
        tables: Vec::new(),
        without: Vec::new(),
        certain: false,
        unnamed: 0,
        count: 0,
    };
    file.root(&root)?;
    if file.tables.is_empty() {
        return Err(no_spectra(&file.without));
    }
    note_unnamed(file.unnamed, file.assumed);
    if !file.without.is_empty() {
        let names: Vec<&str> = file.without.iter().map(|kept| kept.name.as_str()).collect();
        let said = format!(
            "{} object(s) have no reflectance spectrum; they were kept but not used: {}",
            names.len(),
            brief(&names.join(", "))
        );
        note(file.assumed, said);
    }
    Ok(RawFile {
        format: FileFormat::Iso17972,
        // The schema: reflectance is scaled such that 100 % equals 1.0.
        scale: file.certain.then_some(Scale::Fraction),
        tables: file.tables,
        without_spectrum: file.without,
        tags: file.tags,
        comments,
    })
}

fn no_spectra(without: &[WithoutSpectrum]) -> ExchangeError {
    let mut kinds: Vec<&str> = without
        .iter()
        .flat_map(|kept| kept.holds.split(", "))
        .filter(|kind| !kind.is_empty())
        .collect();
    kinds.sort_unstable();
    kinds.dedup();
    let holds = match (kinds.is_empty(), without.len()) {
        (true, 0) => "no object at all".to_owned(),
        (true, count) => format!("{count} object(s) without color"),
        (false, count) => format!("{count} object(s) with {}", brief(&kinds.join(", "))),
    };
    ExchangeError::NoSpectra { holds }
}

/// What was taken of a file so far.
struct Taken<'a> {
    budget: &'a mut Budget,
    assumed: &'a mut Vec<String>,
    tags: Vec<Tag>,
    tables: Vec<RawTable>,
    without: Vec<WithoutSpectrum>,
    /// Whether the standard says that the values are fractions.
    certain: bool,
    unnamed: usize,
    count: usize,
}

impl Taken<'_> {
    fn root(&mut self, root: &Node) -> Result<(), ExchangeError> {
        for (name, value) in &root.attributes {
            let ours = name == "xmlns" || name.strip_prefix("xmlns:").is_some();
            if ours && value == NAMESPACE {
                continue;
            }
            self.budget.texts(&[name.len(), value.len()])?;
            self.tags.push(Tag::new(format!("@{name}"), value));
        }
        if root
            .attributes
            .iter()
            .all(|(name, value)| !name.starts_with("xmlns") || value != NAMESPACE)
        {
            let said =
                format!("the XML does not name the namespace {NAMESPACE}; it was read as CxF");
            note(self.assumed, said);
        }
        let mut others = HashMap::new();
        let mut objects = Vec::new();
        let mut specifications = HashMap::new();
        for part in &root.children {
            match part.name.as_str() {
                "FileInformation" => self.information(part)?,
                "Resources" => {
                    for collection in &part.children {
                        match collection.name.as_str() {
                            "ObjectCollection" => objects.extend(&collection.children),
                            "ColorSpecificationCollection" => {
                                for node in &collection.children {
                                    let id = node.attribute("Id").unwrap_or_default();
                                    specifications.entry(id).or_insert(node);
                                }
                            }
                            _ => self.keep(collection, &mut others)?,
                        }
                    }
                }
                _ => self.keep(part, &mut others)?,
            }
        }
        let mut read = HashMap::new();
        for node in objects {
            self.object(node, &specifications, &mut read)?;
        }
        // Specifications that no spectrum refers to belong to other color values.
        let mut left: Vec<(&&str, &&Node)> = specifications
            .iter()
            .filter(|(id, _)| !read.contains_key(**id))
            .collect();
        left.sort_unstable_by_key(|(_, node)| node.line);
        for (id, node) in left {
            for child in &node.children {
                let path = format!("ColorSpecification/{id}/{}", child.name);
                child.flatten(&path, &mut self.tags, self.budget)?;
            }
        }
        Ok(())
    }

    /// Keeps an element of the file as tags, and counts it among its like.
    fn keep(
        &mut self,
        node: &Node,
        seen: &mut HashMap<String, usize>,
    ) -> Result<(), ExchangeError> {
        let count = seen.entry(node.name.clone()).or_default();
        *count += 1;
        if node.children.is_empty() && node.attributes.is_empty() && node.text.trim().is_empty() {
            return Ok(());
        }
        let path = match count {
            1 => node.name.clone(),
            _ => format!("{}[{count}]", node.name),
        };
        node.flatten(&path, &mut self.tags, self.budget)
    }

    fn information(&mut self, part: &Node) -> Result<(), ExchangeError> {
        for child in &part.children {
            match child.name.as_str() {
                "Tag" => {
                    let tag = self.tag(child, "")?;
                    match packed::unpack(&tag.name, &tag.value) {
                        Some(tags) => self.tags.extend(tags),
                        None => self.tags.push(tag),
                    }
                }
                _ => child.flatten(&child.name, &mut self.tags, self.budget)?,
            }
        }
        Ok(())
    }

    fn tag(&mut self, node: &Node, group: &str) -> Result<Tag, ExchangeError> {
        let name = node.attribute("Name").unwrap_or_default();
        let value = node.attribute("Value").unwrap_or_default();
        self.budget.texts(&[group.len(), name.len(), value.len()])?;
        Ok(Tag {
            group: group.to_owned(),
            ..Tag::new(name, value)
        })
    }

    fn object<'a>(
        &mut self,
        node: &Node,
        specifications: &HashMap<&'a str, &'a Node>,
        read: &mut HashMap<&'a str, Specification>,
    ) -> Result<(), ExchangeError> {
        let mut object = Object::default();
        for (name, value) in &node.attributes {
            let made_up = match name.as_str() {
                "Name" => true,
                "Id" => value.starts_with(OUR_ID),
                "ObjectType" => value == NO_KIND,
                _ => false,
            };
            if !made_up {
                self.budget.texts(&[name.len(), value.len(), 8])?;
                object.tags.push(Tag::new(format!("Object/{name}"), value));
            }
        }
        let mut spectra = Vec::new();
        let mut others = HashMap::new();
        for part in &node.children {
            match part.name.as_str() {
                "CreationDate" => {
                    let date = part.text.trim();
                    object.date = (date != NO_TIME && !date.is_empty()).then(|| date.to_owned());
                }
                "TagCollection" => {
                    let group = part.attribute("Name").unwrap_or_default();
                    for child in &part.children {
                        let tag = self.tag(child, group)?;
                        object.tags.push(tag);
                    }
                }
                "ColorValues" => {
                    let mut seen: HashMap<&str, usize> = HashMap::new();
                    for value in &part.children {
                        if is_reflectance(value, specifications) {
                            spectra.push(value);
                            continue;
                        }
                        object.holds.push(value.name.clone());
                        let count = seen.entry(&value.name).or_default();
                        *count += 1;
                        let path = match count {
                            1 => format!("ColorValues/{}", value.name),
                            _ => format!("ColorValues/{}[{count}]", value.name),
                        };
                        value.flatten(&path, &mut object.tags, self.budget)?;
                    }
                }
                "PhysicalAttributes" => {
                    specification::gloss(part, &mut object.stated, self.assumed);
                    let told = |child: &Node| specification::is_told_gloss(child, &object.stated);
                    part.flatten_without(&part.name, &told, &mut object.tags, self.budget)?;
                }
                _ => {
                    if part.name == "DeviceColorValues" {
                        object
                            .holds
                            .extend(part.children.iter().map(|c| c.name.clone()));
                    }
                    let count: &mut usize = others.entry(part.name.as_str()).or_default();
                    *count += 1;
                    let path = match count {
                        1 => part.name.clone(),
                        _ => format!("{}[{count}]", part.name),
                    };
                    part.flatten(&path, &mut object.tags, self.budget)?;
                }
            }
        }
        let written = node.attribute("Name").unwrap_or_default().trim().to_owned();
        if spectra.is_empty() {
            let mut tags = object.tags;
            tags.extend(object.date.map(|date| Tag::new("CreationDate", date)));
            object.holds.dedup();
            self.without.push(WithoutSpectrum {
                name: written,
                line: node.line,
                holds: object.holds.join(", "),
                tags,
            });
            return Ok(());
        }
        for (number, spectrum) in (1..).zip(&spectra) {
            self.count += 1;
            self.unnamed += usize::from(written.is_empty());
            let mut name = named(&written, self.count);
            if number > 1 {
                name = format!("{name} ({number})");
            }
            self.spectrum(name, spectrum, &object, specifications, read)?;
        }
        Ok(())
    }

    fn spectrum<'a>(
        &mut self,
        name: String,
        node: &Node,
        object: &Object,
        specifications: &HashMap<&'a str, &'a Node>,
        read: &mut HashMap<&'a str, Specification>,
    ) -> Result<(), ExchangeError> {
        let asked = node.attribute("ColorSpecification").unwrap_or_default();
        let nothing = Specification::default();
        let specification = match specifications.get_key_value(asked) {
            Some((id, _)) if read.contains_key(id) => &read[id],
            Some((id, found)) => {
                let new = specification::read(id, found, self.budget, self.assumed)?;
                read.entry(id).or_insert(new)
            }
            None => {
                let said = format!(
                    "{} refers to ColorSpecification {:?}, which the file does not have; how it \
                     was measured is not known",
                    brief(&name),
                    brief(asked)
                );
                note(self.assumed, said);
                &nothing
            }
        };
        let mut stated = specification.stated.clone();
        stated.fill(&object.stated);
        let mut tags = Vec::new();
        // What the object and the specification hold is kept with each of their spectra.
        for tag in object.tags.iter().chain(&specification.tags) {
            self.budget
                .texts(&[tag.group.len(), tag.name.len(), tag.value.len()])?;
            tags.push(tag.clone());
        }
        let mut date = object.date.clone();
        for (key, value) in &node.attributes {
            match key.as_str() {
                "MeasureDate" => {
                    let of_object = date.replace(value.clone());
                    tags.extend(of_object.map(|date| Tag::new("CreationDate", date)));
                }
                "StartWL" => {}
                "ColorSpecification" if specifications.contains_key(asked) => {}
                _ => {
                    self.budget.texts(&[key.len(), value.len(), 20])?;
                    tags.push(Tag::new(format!("Spectrum/@{key}"), value));
                }
            }
        }
        if let Some(date) = date {
            stated.take_key(Key::Date, &date, self.assumed);
        }
        let is_list = node.name == "ReflectanceSpectrum";
        self.certain |= is_list || specification.is_reflectance;
        let (wavelengths, cells) = if is_list {
            self.list(node, &name, specification)?
        } else {
            self.points(node, &name, specification)?
        };
        let sample = RawSample {
            name,
            line: node.line,
            cells,
            stated,
            tags,
        };
        let same = |table: &&mut RawTable| {
            let texts = table.wavelengths.iter().map(|cell| &cell.text);
            texts.eq(wavelengths.iter().map(|cell| &cell.text))
        };
        match self.tables.last_mut().filter(same) {
            Some(table) => table.samples.push(sample),
            None => self.tables.push(RawTable {
                wavelengths,
                samples: vec![sample],
            }),
        }
        Ok(())
    }

    /// The values of a `ReflectanceSpectrum` and the wavelengths that go with them.
    fn list(
        &mut self,
        node: &Node,
        name: &str,
        specification: &Specification,
    ) -> Result<(Vec<Cell>, Vec<Cell>), ExchangeError> {
        let line = node.line;
        let mut cells = Vec::new();
        for text in node.text.split_whitespace() {
            self.budget.spend(100 + text.len())?;
            cells.push(Cell {
                line,
                text: text.to_owned(),
            });
        }
        let missing = |missing: &str| ExchangeError::NoRange {
            line,
            name: brief(name),
            count: cells.len(),
            missing: missing.to_owned(),
        };
        let nanometers = |text: &str| {
            number(text)
                .map(|(nm, _)| nm)
                .ok_or_else(|| ExchangeError::Wavelength {
                    line,
                    text: brief(text),
                })
        };
        let start = node
            .attribute("StartWL")
            .or(specification.start.as_deref())
            .ok_or_else(|| missing("StartWL"))?;
        let start = nanometers(start)?;
        let increment = match &specification.increment {
            Some(text) => nanometers(text)?,
            None => {
                let step =
                    only_increment(start, cells.len()).ok_or_else(|| missing("Increment"))?;
                note(
                    self.assumed,
                    format!(
                        "{} has {} values and no Increment; {step} nm was taken, the only one \
                         of the standard's increments that fits",
                        brief(name),
                        cells.len()
                    ),
                );
                f64::from(step)
            }
        };
        let wavelength = |index: usize| Cell {
            line,
            text: (start + increment * index as f64).to_string(),
        };
        Ok(((0..cells.len()).map(wavelength).collect(), cells))
    }

    /// The points of a `CustomSpectrum`, sorted by wavelength.
    fn points(
        &mut self,
        node: &Node,
        name: &str,
        specification: &Specification,
    ) -> Result<(Vec<Cell>, Vec<Cell>), ExchangeError> {
        if !specification.is_reflectance {
            note(
                self.assumed,
                format!(
                    "{} is a CustomSpectrum that does not state what was measured; it was read \
                     as reflectance",
                    brief(name)
                ),
            );
        }
        let mut points = Vec::new();
        for point in node.children.iter().filter(|c| c.name == "SpectralPoint") {
            let line = point.line;
            let wavelength = point.attribute("WL").unwrap_or_default();
            let nm = number(wavelength)
                .map(|(nm, _)| nm)
                .filter(|nm| nm.is_finite());
            let nm = nm.ok_or_else(|| ExchangeError::Wavelength {
                line,
                text: brief(wavelength),
            })?;
            let cell = |text: &str| Cell {
                line,
                text: text.to_owned(),
            };
            self.budget.spend(200 + wavelength.len())?;
            points.push((nm, cell(&nm.to_string()), cell(point.text.trim())));
        }
        if !points.is_sorted_by(|before, after| before.0 <= after.0) {
            points.sort_by(|before, after| before.0.total_cmp(&after.0));
            note(
                self.assumed,
                format!("the points of {} were sorted by wavelength", brief(name)),
            );
        }
        Ok(points.into_iter().map(|(_, nm, value)| (nm, value)).unzip())
    }
}

/// What an object gives to each of its spectra.
#[derive(Default)]
struct Object {
    tags: Vec<Tag>,
    stated: Stated,
    date: Option<String>,
    /// Names of its other color values.
    holds: Vec<String>,
}

/// Whether color values are a spectrum of reflectance, or may be.
fn is_reflectance(node: &Node, specifications: &HashMap<&str, &Node>) -> bool {
    match node.name.as_str() {
        "ReflectanceSpectrum" => true,
        "CustomSpectrum" => {
            let specification = node
                .attribute("ColorSpecification")
                .and_then(|id| specifications.get(id));
            let kind = specification
                .and_then(|found| found.child("MeasurementSpec"))
                .and_then(|spec| spec.child_text("MeasurementType"));
            matches!(
                kind,
                None | Some("Spectrum_Reflectance" | "Spectrum_Custom" | "")
            )
        }
        _ => false,
    }
}

/// The one increment of the schema with which so many values end where instruments end.
fn only_increment(start: f64, count: usize) -> Option<u16> {
    let end = |step: u16| start + f64::from(step) * count.saturating_sub(1) as f64;
    let mut fitting = INCREMENTS
        .into_iter()
        .filter(|step| (680.0..=850.0).contains(&end(*step)));
    fitting.next().filter(|_| fitting.next().is_none())
}
