//! What every vector format comes down to before it means anything: records of shapes and columns.

use crate::error::Warning;
use serde_json::Value;
use std::collections::HashMap;
use std::path::PathBuf;

/// A coordinate pair in the file's reference system: east or longitude, north or latitude.
pub(crate) type Pair = [f64; 2];

/// A shape in the file's own coordinates; rings are as in the file, closed or not.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Shape {
    /// The record has none.
    Nothing,
    Points(Vec<Pair>),
    Lines(Vec<Vec<Pair>>),
    /// Polygons, each with its outer ring first.
    Polygons(Vec<Vec<Vec<Pair>>>),
    /// Rings of which nobody says which are holes.
    Rings(Vec<Vec<Pair>>),
    Several(Vec<Shape>),
}

impl Shape {
    /// Takes collections apart.
    pub(crate) fn flatten(self) -> Vec<Shape> {
        match self {
            Self::Nothing => Vec::new(),
            Self::Several(shapes) => shapes.into_iter().flat_map(Self::flatten).collect(),
            other => vec![other],
        }
    }
    pub(crate) fn pairs(&self) -> Box<dyn Iterator<Item = &Pair> + '_> {
        match self {
            Self::Nothing => Box::new(std::iter::empty()),
            Self::Points(points) => Box::new(points.iter()),
            Self::Lines(parts) | Self::Rings(parts) => Box::new(parts.iter().flatten()),
            Self::Polygons(polygons) => Box::new(polygons.iter().flatten().flatten()),
            Self::Several(shapes) => Box::new(shapes.iter().flat_map(Self::pairs)),
        }
    }
}

/// One record of a layer.
#[derive(Clone, Debug)]
pub(crate) struct Record {
    /// Counted from 1, gaps included, so that people find it again.
    pub(crate) number: usize,
    /// An identifier outside the columns.
    pub(crate) id: Option<String>,
    pub(crate) shape: Shape,
    pub(crate) columns: Columns,
}

impl Record {
    pub(crate) fn place(&self) -> String {
        format!("record {}", self.number)
    }
}

/// The reference system a file states.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum StatedCrs {
    /// Longitude and latitude because the format says so where nothing is stated.
    LonLatByFormat,
    /// By name or code.
    Named(String),
    /// By well-known text.
    Wkt(String),
    /// Nothing is stated, and the format has no default.
    Missing(&'static str),
}

/// A file read, before its columns mean anything.
#[derive(Clone, Debug)]
pub(crate) struct Layer {
    pub(crate) path: PathBuf,
    /// The layer's name; the file's where it has none of its own.
    pub(crate) name: String,
    pub(crate) format: &'static str,
    pub(crate) crs: StatedCrs,
    pub(crate) records: Vec<Record>,
    pub(crate) notes: Notes,
}

/// Warnings, so gathered that 20 000 records with one fault do not make 20 000 lines.
#[derive(Clone, Debug, Default)]
pub(crate) struct Notes {
    warnings: Vec<Warning>,
    counts: HashMap<&'static str, usize>,
    order: Vec<&'static str>,
}

impl Notes {
    /// How many warnings of one kind are shown one by one.
    pub(crate) const SHOWN: usize = 20;

    /// Adds a warning of a kind; `kind` completes "… and 7 more records …".
    pub(crate) fn add(&mut self, kind: &'static str, place: impl Into<String>, message: impl Into<String>) {
        let count = self.counts.entry(kind).or_insert(0);
        if *count == 0 {
            self.order.push(kind);
        }
        *count += 1;
        if *count <= Self::SHOWN {
            self.warnings.push(Warning { place: place.into(), message: message.into() });
        }
    }

    pub(crate) fn append(&mut self, other: Self) {
        for warning in other.warnings {
            self.warnings.push(warning);
        }
        for kind in other.order {
            let more = other.counts.get(kind).copied().unwrap_or(0);
            if !self.counts.contains_key(kind) {
                self.order.push(kind);
            }
            *self.counts.entry(kind).or_insert(0) += more;
        }
    }

    pub(crate) fn into_warnings(self) -> Vec<Warning> {
        let mut warnings = self.warnings;
        for kind in self.order {
            let count = self.counts.get(kind).copied().unwrap_or(0);
            if count > Self::SHOWN {
                warnings.push(Warning {
                    place: String::new(),
                    message: format!("and {} more like these: {kind}", count - Self::SHOWN),
                });
            }
        }
        warnings
    }
}

/// A record's columns, each taken at most once.
#[derive(Clone, Debug, Default)]
pub(crate) struct Columns {
    entries: Vec<(String, Value)>,
}

impl Columns {
    pub(crate) fn new(entries: Vec<(String, Value)>) -> Self {
        Self { entries }
    }
    /// Every column with its value, in the order of the file.
    pub(crate) fn entries(&self) -> &[(String, Value)] {
        &self.entries
    }
    pub(crate) fn into_entries(self) -> Vec<(String, Value)> {
        self.entries
    }
    /// Takes a column out by name; case does not matter, and an empty value counts as none.
    pub(crate) fn take(&mut self, name: &str) -> Option<(String, Value)> {
        let at = self.entries.iter().position(|(key, _)| key.trim().eq_ignore_ascii_case(name))?;
        let (key, value) = self.entries.remove(at);
        let empty = match &value {
            Value::Null => true,
            Value::String(text) => text.trim().is_empty(),
            _ => false,
        };
        (!empty).then_some((key, value))
    }
    /// Takes a column out as text.
    pub(crate) fn take_text(&mut self, name: &str) -> Option<String> {
        self.take(name).map(|(_, value)| text_of(&value))
    }
    /// A column as text, without taking it; empty where there is none.
    pub(crate) fn text(&self, name: &str) -> String {
        let found = self.entries.iter().find(|(key, _)| key.trim().eq_ignore_ascii_case(name));
        found.map(|(_, value)| text_of(value)).unwrap_or_default()
    }
    /// Puts a column back that turned out not to be understood.
    pub(crate) fn put_back(&mut self, key: String, value: Value) {
        self.entries.push((key, value));
    }
    /// What was not taken, as text; empty values are left out.
    pub(crate) fn rest(self) -> Vec<(String, String)> {
        self.entries
            .into_iter()
            .map(|(key, value)| {
                let text = text_of(&value);
                (key, text)
            })
            .filter(|(_, text)| !text.is_empty())
            .collect()
    }
}

/// A value as text: strings as they are, whole numbers without a point, structures as JSON.
pub(crate) fn text_of(value: &Value) -> String {
    match value {
        Value::String(text) => text.trim().to_owned(),
        Value::Null => String::new(),
        Value::Number(number) => match number.as_f64() {
            Some(v) if v.fract() == 0.0 && v.abs() < 1e15 => format!("{v:.0}"),
            _ => number.to_string(),
        },
        other => other.to_string(),
    }
}
