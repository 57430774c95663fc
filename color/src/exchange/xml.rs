//! An XML document as a tree, within limits: no document type, no entities beside XML's own, so
//! deep and no deeper, and no more memory than the file's size allows.

use std::collections::HashMap;

use quick_xml::escape::resolve_predefined_entity;
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

use crate::exchange::ExchangeError;
use crate::exchange::budget::Budget;
use crate::exchange::document::Tag;
use crate::exchange::table::brief;

/// Deepest nesting read. Measurement files have ten; what others put beside may have more.
const MAX_DEPTH: usize = 40;

/// An element.
pub(super) struct Node {
    /// Without the root's prefix.
    pub(super) name: String,
    pub(super) attributes: Vec<(String, String)>,
    /// Its own text, with that between its children.
    pub(super) text: String,
    pub(super) children: Vec<Node>,
    /// Line where it begins, from 1.
    pub(super) line: u64,
}

impl Node {
    pub(super) fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes
            .iter()
            .find_map(|(key, value)| (key == name).then_some(value.as_str()))
    }

    pub(super) fn child(&self, name: &str) -> Option<&Self> {
        self.children.iter().find(|child| child.name == name)
    }

    /// The text of a child, trimmed.
    pub(super) fn child_text(&self, name: &str) -> Option<&str> {
        self.child(name).map(|child| child.text.trim())
    }

    /// Everything in it as tags named by their path below `path`.
    pub(super) fn flatten(
        &self,
        path: &str,
        tags: &mut Vec<Tag>,
        budget: &mut Budget,
    ) -> Result<(), ExchangeError> {
        self.flatten_without(path, &|_| false, tags, budget)
    }

    /// The same without some of its children.
    pub(super) fn flatten_without(
        &self,
        path: &str,
        dropped: &dyn Fn(&Self) -> bool,
        tags: &mut Vec<Tag>,
        budget: &mut Budget,
    ) -> Result<(), ExchangeError> {
        let mut keep = |name: String, value: &str| {
            budget.texts(&[name.len(), value.len(), 0])?;
            tags.push(Tag::new(name, value));
            Ok(())
        };
        for (key, value) in &self.attributes {
            keep(format!("{path}/@{key}"), value)?;
        }
        let text = self.text.trim();
        if !text.is_empty() || self.children.is_empty() && self.attributes.is_empty() {
            keep(path.to_owned(), text)?;
        }
        let mut seen: HashMap<&str, usize> = HashMap::new();
        for child in self.children.iter().filter(|child| !dropped(child)) {
            let count = seen.entry(&child.name).or_default();
            *count += 1;
            let place = match count {
                1 => format!("{path}/{}", child.name),
                _ => format!("{path}/{}[{count}]", child.name),
            };
            child.flatten(&place, tags, budget)?;
        }
        Ok(())
    }
}

/// The root and the comments of a document.
pub(super) fn parse(text: &str, budget: &mut Budget) -> Result<(Node, Vec<String>), ExchangeError> {
    let mut reader = Reader::from_str(text);
    reader.config_mut().expand_empty_elements = true;
    let mut place = Place {
        text: text.as_bytes(),
        counted: 0,
        line: 1,
    };
    let (mut open, mut root, mut comments) = (Vec::<Node>::new(), None, Vec::new());
    let mut prefix = String::new();
    loop {
        let before = reader.buffer_position();
        let event = reader.read_event().map_err(|error| {
            let line = place.line_at(reader.error_position());
            broken(line, &open, &error)
        })?;
        let line = place.line_at(before);
        let stray = |what: &str| ExchangeError::Xml {
            line,
            reason: format!("{what} outside the root element"),
        };
        match event {
            Event::Start(start) => {
                if open.is_empty() && root.is_some() {
                    return Err(stray("a second element"));
                }
                if open.len() == MAX_DEPTH {
                    let most = MAX_DEPTH;
                    return Err(ExchangeError::TooDeep { line, most });
                }
                if open.is_empty()
                    && let Some((before, _)) = start.name().0.split_once(':')
                {
                    prefix = format!("{before}:");
                }
                open.push(element(&start, &prefix, line, budget)?);
            }
            Event::End(_) => {
                if let Some(node) = open.pop() {
                    match open.last_mut() {
                        Some(parent) => parent.children.push(node),
                        None => root = Some(node),
                    }
                }
            }
            Event::Text(_) | Event::CData(_) | Event::GeneralRef(_) => {
                let piece = match &event {
                    Event::Text(text) => text.xml10_content().into_owned(),
                    Event::CData(text) => text.xml10_content().into_owned(),
                    Event::GeneralRef(reference) => match reference.resolve_char_ref() {
                        Ok(Some(c)) => c.to_string(),
                        Ok(None) => {
                            let name = reference.xml10_content();
                            resolve_predefined_entity(&name)
                                .ok_or_else(|| ExchangeError::Entity {
                                    line,
                                    name: brief(&name),
                                })?
                                .to_owned()
                        }
                        Err(error) => return Err(broken(line, &open, &error)),
                    },
                    _ => String::new(),
                };
                match open.last_mut() {
                    Some(node) => {
                        budget.spend(piece.len())?;
                        node.text.push_str(&piece);
                    }
                    None if piece.trim().is_empty() => {}
                    None => return Err(stray("text")),
                }
            }
            Event::Comment(comment) => {
                let comment = comment.xml10_content();
                budget.texts(&[comment.len()])?;
                comments.push(comment.trim().to_owned());
            }
            Event::DocType(_) => return Err(ExchangeError::Doctype { line }),
            Event::Decl(_) | Event::PI(_) | Event::Empty(_) => {}
            Event::Eof => break,
        }
    }
    if let Some(node) = open.last() {
        return Err(truncated(node));
    }
    let root = root.ok_or(ExchangeError::Xml {
        line: 1,
        reason: "it has no element".to_owned(),
    })?;
    Ok((root, comments))
}

fn element(
    start: &BytesStart<'_>,
    prefix: &str,
    line: u64,
    budget: &mut Budget,
) -> Result<Node, ExchangeError> {
    let written = start.name().0;
    let name = written.strip_prefix(prefix).unwrap_or(written).to_owned();
    budget.spend(size_of::<Node>())?;
    budget.texts(&[name.len()])?;
    let mut attributes = Vec::new();
    for attribute in start.attributes() {
        let broken = |reason: String| ExchangeError::Xml { line, reason };
        let attribute =
            attribute.map_err(|error| broken(format!("<{}>: {error}", brief(&name))))?;
        let key = attribute.key.0;
        let value = attribute
            .normalized_value(XmlVersion::Implicit1_0)
            .map_err(|error| broken(format!("attribute {}: {error}", brief(key))))?;
        budget.texts(&[key.len(), value.len()])?;
        attributes.push((key.to_owned(), value.into_owned()));
    }
    Ok(Node {
        name,
        attributes,
        text: String::new(),
        children: Vec::new(),
        line,
    })
}

/// Words for what the parser found; a file that ends within an element was cut off.
fn broken(line: u64, open: &[Node], error: &quick_xml::Error) -> ExchangeError {
    match (error, open.last()) {
        (quick_xml::Error::Syntax(_), Some(node)) => truncated(node),
        _ => ExchangeError::Xml {
            line,
            reason: brief(&error.to_string()),
        },
    }
}

fn truncated(node: &Node) -> ExchangeError {
    ExchangeError::Truncated {
        line: node.line,
        within: format!("<{}>", brief(&node.name)),
    }
}

/// Lines, counted once from the beginning to the end.
struct Place<'a> {
    text: &'a [u8],
    counted: usize,
    line: u64,
}

impl Place<'_> {
    /// The line of an offset that is not before the last one asked for.
    fn line_at(&mut self, offset: u64) -> u64 {
        let offset = usize::try_from(offset).unwrap_or(usize::MAX);
        if let Some(passed) = self.text.get(self.counted..offset.min(self.text.len())) {
            self.line += passed.iter().filter(|byte| **byte == b'\n').count() as u64;
            self.counted += passed.len();
        }
        self.line
    }
}
