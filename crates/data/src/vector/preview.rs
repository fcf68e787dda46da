//! A vector file looked at before anything of it is taken: its layers, columns, and what they probably mean.

use super::guess::{self, Seen};
use super::mapping::{DateOrder, Mapping, Meaning, Purpose};
use super::record::{Layer, Shape, text_of};
use super::source::{self, Format};
use crate::error::{LoadError, LoadErrorKind, Warning};
use crate::frame::{Crs, ToGeographic};
use crate::quantity::HeightUnit;
use sparefield_geometry::fields::model::Surface;
use sparefield_geometry::position::LonLat;
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

/// Values that the guess looks at, and that a value table can hold.
const LOOKED_AT: usize = 200;
/// Sample values of a column.
const SAMPLES: usize = 5;
/// Records shown as they are.
const FIRST: usize = 20;
/// Letters of a value that are shown.
const SHOWN: usize = 80;

/// A vector file in memory, ready to be looked at and read.
#[derive(Clone, Debug)]
pub struct VectorFile {
    pub(crate) path: PathBuf,
    pub(crate) format: Format,
    pub(crate) layers: Vec<Layer>,
}

/// A record as it stands in a file.
#[derive(Clone, Debug, PartialEq)]
pub struct RawRecord {
    /// Counted from 1, records that cannot be read included.
    pub number: usize,
    /// An identifier outside the columns.
    pub id: Option<String>,
    /// `nothing`, `points`, `lines` or `areas`.
    pub kind: &'static str,
    /// Every vertex in the file's own coordinates, rings closed or not as in the file.
    pub vertices: Vec<[f64; 2]>,
    /// Columns as texts.
    pub columns: Vec<(String, String)>,
}

/// What a file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Preview {
    /// The file.
    pub path: PathBuf,
    /// Its format.
    pub format: Format,
    /// Its layers, at least one.
    pub layers: Vec<LayerPreview>,
}

/// What a layer holds.
#[derive(Clone, Debug, PartialEq)]
pub struct LayerPreview {
    /// Its name.
    pub name: String,
    /// Its reference system, or a sentence part that says why it is not known.
    pub crs: Result<String, String>,
    /// Number of records that can be read.
    pub records: usize,
    /// How many records are points.
    pub points: usize,
    /// How many are lines.
    pub lines: usize,
    /// How many are outlines.
    pub areas: usize,
    /// How many have no shape.
    pub without_shape: usize,
    /// Its columns in the order of the file.
    pub columns: Vec<ColumnPreview>,
    /// The first records as texts, in the order of the columns.
    pub first: Vec<Vec<String>>,
    /// What was passed over on reading.
    pub warnings: Vec<Warning>,
    /// How it would be read if nobody says otherwise.
    pub guess: Mapping,
}

/// What a column holds.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnPreview {
    /// Its name in the file.
    pub name: String,
    /// In how many records it has a value.
    pub filled: usize,
    /// A few different values.
    pub samples: Vec<String>,
    /// Its different values where there are no more than 200, most frequent first.
    pub values: Vec<String>,
    /// Whether there are more different values than that.
    pub more_values: bool,
    /// What it probably means.
    pub meaning: Meaning,
}

/// Looks at a file: every layer, its columns, and what they probably mean.
///
/// # Errors
/// When the file cannot be read at all.
pub fn inspect(path: &Path) -> Result<Preview, LoadError> {
    Ok(VectorFile::open(path)?.preview())
}

impl VectorFile {
    /// Reads a file of any format into memory.
    ///
    /// # Errors
    /// When the file cannot be understood at all.
    pub fn open(path: &Path) -> Result<Self, LoadError> {
        Ok(Self { path: path.to_owned(), format: source::recognise(path)?, layers: source::layers(path, None)? })
    }

    /// The file's name.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Every record as it stands in the file, layer by layer, before anything of it is understood.
    #[must_use]
    pub fn raw(&self) -> Vec<(String, Vec<RawRecord>)> {
        let record = |r: &super::record::Record| RawRecord {
            number: r.number,
            id: r.id.clone(),
            kind: main_kind(&r.shape).map_or("nothing", |kind| ["points", "lines", "areas"][usize::from(kind).min(2)]),
            vertices: r.shape.pairs().copied().collect(),
            columns: r.columns.entries().iter().map(|(name, value)| (name.clone(), text_of(value))).collect(),
        };
        self.layers.iter().map(|layer| (layer.name.clone(), layer.records.iter().map(record).collect())).collect()
    }

    /// A place in the file on the globe, for choosing a frame: its first coordinates.
    ///
    /// # Errors
    /// When it has none, or its reference system is not known.
    pub fn place(&self, user_crs: Option<&Crs>) -> Result<LonLat, LoadError> {
        let found = self.layers.iter().find_map(|layer| {
            let mut pairs = layer.records.iter().flat_map(|r| r.shape.pairs());
            pairs.find(|[x, y]| x.is_finite() && y.is_finite()).map(|pair| (layer, *pair))
        });
        let Some((layer, [x, y])) = found else {
            let error = LoadError::new(&self.path, LoadErrorKind::NothingHere, "nothing in it has a place", "");
            return Err(error);
        };
        let crs = super::reference_system(layer, user_crs)?;
        let place = ToGeographic::new(&crs).and_then(|to| to.to_lonlat(x, y));
        place.map_err(|e| LoadError::new(&self.path, LoadErrorKind::Crs, e.to_string(), "name another with --crs"))
    }

    /// What the file holds.
    #[must_use]
    pub fn preview(&self) -> Preview {
        let layers = self.layers.iter().map(layer_preview).collect();
        Preview { path: self.path.clone(), format: self.format, layers }
    }
}

struct Gathered {
    name: String,
    filled: usize,
    counts: HashMap<String, usize>,
    order: Vec<String>,
    more: bool,
}

pub(crate) fn layer_preview(layer: &Layer) -> LayerPreview {
    let gathered = gather(layer);
    let seen: Vec<Seen<'_>> = gathered.iter().map(|c| Seen { name: &c.name, values: &c.order }).collect();
    let meanings = guess::meanings(&seen);
    let mapping = guess_mapping(layer, &gathered, &meanings);
    let (mut points, mut lines, mut areas, mut without_shape) = (0, 0, 0, 0);
    for record in &layer.records {
        match main_kind(&record.shape) {
            None => without_shape += 1,
            Some(0) => points += 1,
            Some(1) => lines += 1,
            Some(_) => areas += 1,
        }
    }
    let first = layer
        .records
        .iter()
        .take(FIRST)
        .map(|record| {
            let text = |name: &str| record.columns.entries().iter().find(|(n, _)| n == name).map(|(_, v)| text_of(v));
            gathered.iter().map(|c| shown(&text(&c.name).unwrap_or_default())).collect()
        })
        .collect();
    let columns = gathered
        .into_iter()
        .zip(meanings)
        .map(|(column, meaning)| {
            let mut values = column.order;
            let samples = values.iter().take(SAMPLES).map(|v| shown(v)).collect();
            values.sort_by_key(|v| std::cmp::Reverse(column.counts.get(v).copied().unwrap_or(0)));
            ColumnPreview {
                name: column.name,
                filled: column.filled,
                samples,
                values,
                more_values: column.more,
                meaning,
            }
        })
        .collect();
    LayerPreview {
        name: layer.name.clone(),
        crs: super::reference_system(layer, None).map(|crs| crs.label()).map_err(|e| e.problem),
        records: layer.records.len(),
        points,
        lines,
        areas,
        without_shape,
        columns,
        first,
        warnings: layer.notes.clone().into_warnings(),
        guess: mapping,
    }
}

/// Every column of a layer with its different values.
fn gather(layer: &Layer) -> Vec<Gathered> {
    let mut places: HashMap<&str, usize> = HashMap::new();
    let mut all: Vec<Gathered> = Vec::new();
    for record in &layer.records {
        let mut here = HashSet::new();
        for (name, value) in record.columns.entries() {
            if !here.insert(name.as_str()) {
                continue;
            }
            let at = *places.entry(name.as_str()).or_insert_with(|| {
                all.push(Gathered {
                    name: name.clone(),
                    filled: 0,
                    counts: HashMap::new(),
                    order: Vec::new(),
                    more: false,
                });
                all.len() - 1
            });
            let column = &mut all[at];
            let text = text_of(value);
            if text.is_empty() {
                continue;
            }
            column.filled += 1;
            if let Some(count) = column.counts.get_mut(&text) {
                *count += 1;
            } else if column.order.len() < LOOKED_AT {
                column.order.push(text.clone());
                column.counts.insert(text, 1);
            } else {
                column.more = true;
            }
        }
    }
    all
}

fn guess_mapping(layer: &Layer, columns: &[Gathered], meanings: &[Meaning]) -> Mapping {
    let named: Vec<(String, Meaning)> = columns.iter().map(|c| c.name.clone()).zip(meanings.iter().copied()).collect();
    let meaning = |name: &str| named.iter().find(|(n, _)| n == name).map_or(Meaning::Other, |(_, m)| *m);
    let mut mapping = Mapping::plain(layer.name.clone(), guess::purpose(layer, &meaning));
    for (column, meaning) in columns.iter().zip(meanings) {
        match meaning {
            Meaning::Surface => {
                // Only words that are not ours need a table.
                let foreign = column.order.iter().filter(|v| Surface::from_words(v).is_none());
                mapping.surfaces = foreign.filter_map(|v| guess::surface(v).map(|s| (v.clone(), s))).collect();
            }
            Meaning::Height | Meaning::Below => {
                let name = column.name.to_lowercase();
                let feet = ["ft", "feet", "fuss"].iter().any(|unit| name.ends_with(unit));
                mapping.height_unit = if feet { HeightUnit::Ft } else { mapping.height_unit };
            }
            Meaning::Surveyed => mapping.dates = date_order(&column.order),
            _ => {}
        }
    }
    // Columns named as in files of our own need no entry, and keep the units that their names state.
    mapping.columns = named.into_iter().filter(|(name, meaning)| Meaning::of_column(name) != Some(*meaning)).collect();
    mapping.columns.retain(|(name, meaning)| *meaning != Meaning::Other || Meaning::of_column(name).is_some());
    mapping
}

/// The order of dates where one of them shows it: no month has a number above twelve.
fn date_order(values: &[String]) -> DateOrder {
    let (mut day_first, mut month_first) = (false, false);
    for value in values {
        let parts: Vec<u32> = value
            .split([' ', 'T'])
            .next()
            .unwrap_or_default()
            .split(['/', '.', '-'])
            .filter_map(|p| p.parse().ok())
            .collect();
        if let [a, b, year] = parts.as_slice()
            && *year >= 1_000
        {
            day_first |= *a > 12;
            month_first |= *b > 12;
        }
    }
    match (day_first, month_first) {
        (true, false) => DateOrder::DayFirst,
        (false, true) => DateOrder::MonthFirst,
        _ => DateOrder::Unknown,
    }
}

/// 0 for points, 1 for lines, 2 for areas; the largest where there are several.
fn main_kind(shape: &Shape) -> Option<u8> {
    match shape {
        Shape::Nothing => None,
        Shape::Points(_) => Some(0),
        Shape::Lines(_) => Some(1),
        Shape::Polygons(_) | Shape::Rings(_) => Some(2),
        Shape::Several(shapes) => shapes.iter().filter_map(main_kind).max(),
    }
}

fn shown(text: &str) -> String {
    let mut out: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).take(SHOWN).collect();
    if text.chars().nth(SHOWN).is_some() {
        out.push('…');
    }
    out
}

/// What a layer is for, when nobody says so.
pub(crate) fn purpose_of(layer: &Layer) -> Purpose {
    guess::purpose(layer, &|name| Meaning::of_column(name).unwrap_or(Meaning::Other))
}

/// What the records of a layer are, each once; one purpose but for mixed layers.
pub(crate) fn purposes_in(layer: &Layer) -> Vec<Purpose> {
    let purpose = purpose_of(layer);
    if purpose != Purpose::Mixed {
        return vec![purpose];
    }
    let all = layer.records.iter().map(|r| guess::record_purpose(&r.shape, r.columns.entries()));
    let all: HashSet<Purpose> = all.collect();
    Purpose::ALL.into_iter().filter(|p| all.contains(p)).collect()
}
