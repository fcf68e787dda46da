//! What the columns of somebody else's file mean: which is the name, which the surface, and in which words and units.

use super::record::{Columns, Record, text_of};
use crate::frame::Crs;
use crate::quantity::HeightUnit;
use serde_json::{Value, json};
use sparefield_geometry::fields::model::Surface;

/// What a column says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Meaning {
    /// Identifier.
    Id,
    /// Name.
    Name,
    /// What grows there.
    Surface,
    /// Whether animals are there.
    Stock,
    /// The day it was last looked at.
    Surveyed,
    /// Remarks.
    Notes,
    /// What stands on each side, as a list.
    Edges,
    /// What a hazard or a boundary is.
    Kind,
    /// How high it stands above the ground.
    Height,
    /// Below which height above the ground a quiet zone is not to be overflown.
    Below,
    /// Whom a quiet zone protects.
    Protects,
    /// The identifier of the field that a boundary belongs to.
    Field,
    /// Nothing that is used here; kept as it is.
    Other,
    /// Not wanted; left out.
    LeftOut,
}

impl Meaning {
    /// Every meaning.
    pub const ALL: [Self; 14] = [
        Self::Id,
        Self::Name,
        Self::Surface,
        Self::Stock,
        Self::Surveyed,
        Self::Notes,
        Self::Edges,
        Self::Kind,
        Self::Height,
        Self::Below,
        Self::Protects,
        Self::Field,
        Self::Other,
        Self::LeftOut,
    ];
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Id => "identifier",
            Self::Name => "name",
            Self::Surface => "surface",
            Self::Stock => "stock",
            Self::Surveyed => "surveyed",
            Self::Notes => "notes",
            Self::Edges => "edges",
            Self::Kind => "kind",
            Self::Height => "height",
            Self::Below => "not to be overflown below",
            Self::Protects => "protects",
            Self::Field => "field it belongs to",
            Self::Other => "kept as it is",
            Self::LeftOut => "left out",
        }
    }
    /// The meaning that a person types: its words or a short form of them.
    #[must_use]
    pub fn from_words(text: &str) -> Option<Self> {
        let plain = text.trim().to_lowercase().replace(['-', '_'], " ");
        Self::ALL.into_iter().find(|m| m.words() == plain).or(match plain.as_str() {
            "id" => Some(Self::Id),
            "below" | "below agl" => Some(Self::Below),
            "field" => Some(Self::Field),
            "keep" | "other" => Some(Self::Other),
            "leave out" | "none" => Some(Self::LeftOut),
            _ => None,
        })
    }
    /// The column's name in files of our own; `None` for what is not read.
    pub(crate) fn column(self, unit: HeightUnit) -> Option<&'static str> {
        Some(match (self, unit) {
            (Self::Id, _) => "id",
            (Self::Name, _) => "name",
            (Self::Surface, _) => "surface",
            (Self::Stock, _) => "stock",
            (Self::Surveyed, _) => "surveyed",
            (Self::Notes, _) => "notes",
            (Self::Edges, _) => "edges",
            (Self::Kind, _) => "kind",
            (Self::Height, HeightUnit::M) => "height_m",
            (Self::Height, HeightUnit::Ft) => "height_ft",
            (Self::Below, HeightUnit::M) => "below_agl_m",
            (Self::Below, HeightUnit::Ft) => "below_agl_ft",
            (Self::Protects, _) => "protects",
            (Self::Field, _) => "field",
            (Self::Other | Self::LeftOut, _) => return None,
        })
    }
    /// The meaning of a column that is named as in files of our own.
    pub(crate) fn of_column(name: &str) -> Option<Self> {
        let name = name.trim().to_ascii_lowercase();
        Some(match name.as_str() {
            "id" => Self::Id,
            "name" => Self::Name,
            "surface" => Self::Surface,
            "stock" => Self::Stock,
            "surveyed" => Self::Surveyed,
            "notes" => Self::Notes,
            "edges" => Self::Edges,
            "kind" => Self::Kind,
            "height_m" | "height" | "height_ft" => Self::Height,
            "below_agl_m" | "below_agl" | "below_agl_ft" | "below_m" => Self::Below,
            "protects" => Self::Protects,
            "field" | "field_id" => Self::Field,
            _ => return None,
        })
    }
}

/// What the records of a layer are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Purpose {
    /// Fields.
    Fields,
    /// Hazards and quiet zones.
    Hazards,
    /// Lines along the sides of fields.
    Edges,
    /// Of everything something; each record is told by its shape and columns.
    Mixed,
    /// Nothing that is wanted.
    Nothing,
}

impl Purpose {
    /// Every purpose.
    pub const ALL: [Self; 5] = [Self::Fields, Self::Hazards, Self::Edges, Self::Mixed, Self::Nothing];
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Fields => "fields",
            Self::Hazards => "hazards and quiet zones",
            Self::Edges => "boundary edges",
            Self::Mixed => "mixed",
            Self::Nothing => "not taken",
        }
    }
}

/// How a date such as 3/4/2026 is meant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum DateOrder {
    /// Nobody said: a date that can be read in two ways is not understood.
    #[default]
    Unknown,
    /// Day, month, year.
    DayFirst,
    /// Month, day, year.
    MonthFirst,
}

/// How one layer is read.
#[derive(Clone, Debug, PartialEq)]
pub struct Mapping {
    /// The layer.
    pub layer: String,
    /// What its records are.
    pub purpose: Purpose,
    /// What its columns mean. One that is not in the list means what its name says in files of our own, or is kept.
    pub columns: Vec<(String, Meaning)>,
    /// Which surface a text of the surface column stands for.
    pub surfaces: Vec<(String, Surface)>,
    /// The unit of heights that state none.
    pub height_unit: HeightUnit,
    /// How dates are meant.
    pub dates: DateOrder,
    /// The reference system by the user's word; it wins over what the file states.
    pub crs: Option<Crs>,
}

impl Mapping {
    /// A layer whose columns are named as in files of our own.
    #[must_use]
    pub fn plain(layer: impl Into<String>, purpose: Purpose) -> Self {
        Self {
            layer: layer.into(),
            purpose,
            columns: Vec::new(),
            surfaces: Vec::new(),
            height_unit: HeightUnit::M,
            dates: DateOrder::Unknown,
            crs: None,
        }
    }

    /// What a column means.
    #[must_use]
    pub fn meaning(&self, column: &str) -> Meaning {
        if let Some((_, meaning)) = self.columns.iter().find(|(name, _)| name == column) {
            return *meaning;
        }
        let own = Meaning::of_column(column);
        // Another column was named for it: this one only looks like it.
        own.filter(|m| !self.columns.iter().any(|(_, named)| named == m)).unwrap_or(Meaning::Other)
    }

    /// Says what a column means; a meaning that only one column can have is taken from the one that had it.
    pub fn set(&mut self, column: &str, meaning: Meaning) {
        if !matches!(meaning, Meaning::Other | Meaning::LeftOut) {
            for (_, other) in self.columns.iter_mut().filter(|(name, m)| name != column && *m == meaning) {
                *other = Meaning::Other;
            }
        }
        match self.columns.iter_mut().find(|(name, _)| name == column) {
            Some((_, old)) => *old = meaning,
            None => self.columns.push((column.to_owned(), meaning)),
        }
    }

    /// Says which surface a text stands for.
    pub fn set_surface(&mut self, text: &str, surface: Surface) {
        match self.surfaces.iter_mut().find(|(known, _)| known == text) {
            Some((_, old)) => *old = surface,
            None => self.surfaces.push((text.to_owned(), surface)),
        }
    }

    /// The record with its columns named as in files of our own.
    pub(crate) fn apply(&self, record: &mut Record) {
        let mut named = Vec::new();
        for (name, value) in std::mem::take(&mut record.columns).into_entries() {
            let meaning = self.meaning(&name);
            let Some(column) = meaning.column(self.height_unit) else {
                if meaning == Meaning::Other {
                    // Kept, but not taken for what it is not.
                    let kept = if Meaning::of_column(&name).is_some() { format!("{name} (of the file)") } else { name };
                    named.push((kept, value));
                }
                continue;
            };
            let listed = self.columns.iter().any(|(listed, _)| *listed == name);
            // A height in feet stays one, whatever the unit for bare numbers is.
            let column = if listed { column.to_owned() } else { name.clone() };
            match meaning {
                Meaning::Surface => {
                    let text = text_of(&value);
                    let known = self.surfaces.iter().find(|(known, _)| known.trim() == text);
                    match known {
                        Some((_, surface)) => {
                            named.push((column, json!(surface.words())));
                            // The source's own word says more than ours.
                            if Surface::from_words(&text).is_none() {
                                named.push((format!("{name} (of the file)"), value));
                            }
                        }
                        None => named.push((column, value)),
                    }
                }
                Meaning::Surveyed => named.push((column, self.dated(value))),
                _ => named.push((column, value)),
            }
        }
        record.columns = Columns::new(named);
    }

    /// A date of known order, year first.
    fn dated(&self, value: Value) -> Value {
        let text = text_of(&value);
        let day = text.split([' ', 'T']).next().unwrap_or_default();
        let parts: Vec<&str> = day.split(['/', '.', '-']).collect();
        let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
        match (parts.as_slice(), self.dates) {
            ([a, b, year], DateOrder::DayFirst | DateOrder::MonthFirst)
                if year.len() == 4 && digits(a) && digits(b) && digits(year) =>
            {
                let (day, month) = if self.dates == DateOrder::DayFirst { (a, b) } else { (b, a) };
                json!(format!("{year}-{month:0>2}-{day:0>2}"))
            }
            _ => value,
        }
    }
}
