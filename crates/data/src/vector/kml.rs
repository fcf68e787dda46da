//! KML and KMZ into records: every folder that holds placemarks is a layer.
//!
//! Source: OGC 12-007r2, *OGC KML 2.3*, 2015 (and 07-147r2, KML 2.2, for what files in use have). Heights in
//! coordinates are ignored, network links are not followed.

use super::record::{Columns, Layer, Notes, Pair, Record, Shape, StatedCrs};
use super::source::{MOST_RECORDS, too_many_records};
use super::xml::{self, Attributes, Visitor};
use crate::error::{LoadError, LoadErrorKind};
use serde_json::Value;
use std::io::{Cursor, Read as _};
use std::path::Path;

/// The most that is unpacked from an archive, bytes.
const LARGEST_UNPACKED: u64 = 256 << 20;
/// No text of coordinates packs better than this; a bomb does.
const BEST_RATIO: u64 = 200;
/// Below this size nobody minds a high ratio, bytes.
const SMALL: u64 = 4 << 20;
/// Columns of one placemark.
const MOST_COLUMNS: usize = 1_000;
/// Folders that become layers of their own; what lies in others joins the last.
const MOST_LAYERS: usize = 256;
/// Files in one archive.
const MOST_ENTRIES: usize = 10_000;

/// The KML document of a KMZ archive.
pub(crate) struct Unpacked {
    pub(crate) text: Vec<u8>,
    name: String,
    documents: usize,
}

/// Unpacks a KMZ archive: the first KML document in it, `doc.kml` before others. Nothing is written to the disk.
pub(crate) fn unpack(path: &Path, bytes: &[u8]) -> Result<Unpacked, LoadError> {
    let error = |kind, problem: String| LoadError::new(path, kind, problem, "save the file again as KML");
    let corrupt =
        |e: &dyn std::fmt::Display| error(LoadErrorKind::Corrupt, format!("its archive cannot be read ({e})"));
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|e| corrupt(&e))?;
    if archive.len() > MOST_ENTRIES {
        return Err(error(LoadErrorKind::TooLarge, format!("its archive holds {} files", archive.len())));
    }
    let inside = |name: &str| {
        !name.starts_with(['/', '\\']) && !name.contains(':') && name.split(['/', '\\']).all(|part| part != "..")
    };
    let mut names: Vec<String> =
        archive.file_names().filter_map(Result::ok).map(std::borrow::Cow::into_owned).collect();
    names.retain(|n| n.to_lowercase().ends_with(".kml") && !n.starts_with("__MACOSX/"));
    if let Some(outside) = names.iter().find(|n| !inside(n)) {
        let name = super::columns::shortened(outside);
        return Err(error(LoadErrorKind::Corrupt, format!("“{name}” in its archive leads out of the archive")));
    }
    let chosen = names.iter().find(|n| n.eq_ignore_ascii_case("doc.kml")).or(names.first()).cloned();
    let Some(chosen) = chosen else {
        return Err(error(LoadErrorKind::Unsupported, "there is no .kml file in its archive".into()));
    };
    let place = super::columns::shortened(&chosen);
    let entry = archive.by_name(&chosen).map_err(|e| corrupt(&e))?;
    let packed = entry.compressed_size().max(1);
    let mut text = Vec::new();
    // The stated size may lie; what is read is counted.
    let most = LARGEST_UNPACKED.min((packed.saturating_mul(BEST_RATIO)).max(SMALL));
    entry.take(most + 1).read_to_end(&mut text).map_err(|e| corrupt(&e).at(place.clone()))?;
    if text.len() as u64 > most {
        let problem = format!("it unpacks to more than {} MB, far more than its size explains", most >> 20);
        return Err(error(LoadErrorKind::TooLarge, problem).at(place));
    }
    Ok(Unpacked { text, name: place, documents: names.len() })
}

/// Reads a KMZ archive.
pub(crate) fn read_archive(path: &Path, bytes: &[u8]) -> Result<Vec<Layer>, LoadError> {
    let Unpacked { text, name: place, documents } = unpack(path, bytes)?;
    let mut layers = read(path, &text)?;
    for layer in &mut layers {
        layer.format = "KMZ";
        if documents > 1 {
            let problem = format!("its archive holds {documents} KML documents; only “{place}” was read");
            layer.notes.add("further documents", "", problem);
        }
    }
    Ok(layers)
}

/// Reads a KML document; a bad placemark costs that placemark.
pub(crate) fn read(path: &Path, bytes: &[u8]) -> Result<Vec<Layer>, LoadError> {
    let text = xml::decode(path, bytes)?;
    if text.trim().is_empty() {
        let error = LoadError::new(path, LoadErrorKind::Empty, "the file is empty", "name a KML file");
        return Err(error);
    }
    let mut document = Document::default();
    xml::walk(path, &text, &mut document)?;
    Ok(document.into_layers(path))
}

#[derive(Default)]
struct Document {
    /// Names of the open elements.
    open: Vec<String>,
    text: String,
    folders: Vec<Folder>,
    /// Layers in order of their first placemark.
    layers: Vec<Gathered>,
    placemark: Option<Placemark>,
    count: usize,
    links: usize,
}

struct Folder {
    name: String,
    layer: Option<usize>,
}

#[derive(Default)]
struct Gathered {
    /// Names of the folders around it, outermost first.
    names: Vec<String>,
    records: Vec<Record>,
    notes: Notes,
    count: usize,
}

#[derive(Default)]
struct Placemark {
    id: Option<String>,
    columns: Vec<(String, Value)>,
    /// Name of the `Data` element that is open.
    data: Option<String>,
    /// Shapes so far: one list for each `MultiGeometry` that is open, and the outermost.
    shapes: Vec<Vec<Shape>>,
    polygon: Option<Polygon>,
    track: Vec<Pair>,
    problem: Option<String>,
}

#[derive(Default)]
struct Polygon {
    outer: Vec<Pair>,
    holes: Vec<Vec<Pair>>,
}

impl Visitor for Document {
    fn open(&mut self, path: &Path, name: &str, attributes: &Attributes<'_>) -> Result<(), LoadError> {
        if self.open.is_empty() && name != "kml" {
            let problem = format!("its root is <{}> and not <kml>", super::columns::shortened(name));
            return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, "name a KML file"));
        }
        match name {
            "Folder" | "Document" => self.folders.push(Folder { name: String::new(), layer: None }),
            "NetworkLink" => self.links += 1,
            "Placemark" => {
                self.count += 1;
                if self.count > MOST_RECORDS {
                    return Err(too_many_records(path));
                }
                let id = attributes.get("id");
                self.placemark = Some(Placemark { id, shapes: vec![Vec::new()], ..Placemark::default() });
            }
            _ => {
                if let Some(placemark) = &mut self.placemark {
                    match name {
                        "MultiGeometry" | "MultiTrack" => placemark.shapes.push(Vec::new()),
                        "Polygon" => placemark.polygon = Some(Polygon::default()),
                        "Track" => placemark.track.clear(),
                        "Data" | "SimpleData" => placemark.data = attributes.get("name"),
                        _ => {}
                    }
                }
            }
        }
        // Markup that was not escaped stays part of a description's text.
        if !self.open.iter().any(|n| n == "description") {
            self.text.clear();
        }
        self.open.push(name.to_owned());
        Ok(())
    }

    fn close(&mut self, name: &str) {
        self.open.pop();
        let parent = self.open.last().map_or("", String::as_str);
        if self.open.iter().any(|n| n == "description") {
            return;
        }
        match (name, parent) {
            ("Folder" | "Document", _) => {
                if let Some(folder) = self.folders.pop()
                    && let Some(layer) = folder.layer
                {
                    let names = self.folders.iter().map(|f| f.name.clone()).chain([folder.name]).collect();
                    self.layers[layer].names = names;
                }
            }
            ("name", "Folder" | "Document") => {
                if let Some(folder) = self.folders.last_mut() {
                    self.text.trim().clone_into(&mut folder.name);
                }
            }
            ("Placemark", _) => self.finish_placemark(),
            _ => {
                if let Some(placemark) = &mut self.placemark {
                    placemark.close(name, parent, &self.text);
                }
            }
        }
        self.text.clear();
    }

    fn text(&mut self) -> &mut String {
        &mut self.text
    }
}

impl Document {
    fn finish_placemark(&mut self) {
        let Some(mut placemark) = self.placemark.take() else { return };
        let known = self.folders.last().and_then(|f| f.layer);
        let index = known.unwrap_or_else(|| {
            if self.layers.len() < MOST_LAYERS {
                self.layers.push(Gathered::default());
            }
            self.layers.len() - 1
        });
        if let Some(folder) = self.folders.last_mut() {
            folder.layer = Some(index);
        }
        let Some(layer) = self.layers.get_mut(index) else { return };
        layer.count += 1;
        let number = layer.count;
        if let Some(problem) = placemark.problem {
            let message = format!("{problem}; it was left out");
            layer.notes.add("placemarks that cannot be read", format!("record {number}"), message);
            return;
        }
        let mut shapes: Vec<Shape> = placemark.shapes.drain(..).flatten().collect();
        let shape = match shapes.len() {
            0 => Shape::Nothing,
            1 => shapes.swap_remove(0),
            _ => Shape::Several(shapes),
        };
        // An id in the data is the maker's; the attribute is often only a serial number of the program.
        let own = placemark.columns.iter().any(|(name, value)| {
            name.trim().eq_ignore_ascii_case("id") && value.as_str().is_some_and(|v| !v.trim().is_empty())
        });
        let id = placemark.id.filter(|id| !own && !id.trim().is_empty());
        layer.records.push(Record { number, id, shape, columns: Columns::new(placemark.columns) });
    }

    fn into_layers(mut self, path: &Path) -> Vec<Layer> {
        let stem = path.file_stem().map_or_else(|| "KML".to_owned(), |s| s.to_string_lossy().into_owned());
        if self.layers.is_empty() {
            self.layers.push(Gathered::default());
        }
        let mut used = std::collections::HashSet::new();
        let mut layers = Vec::with_capacity(self.layers.len());
        for (i, gathered) in self.layers.into_iter().enumerate() {
            let named: Vec<&String> = gathered.names.iter().filter(|n| !n.is_empty()).collect();
            let own = gathered.names.last().filter(|n| !n.is_empty()).map_or(stem.as_str(), |n| n.as_str());
            let path_name = named.iter().map(|n| n.as_str()).collect::<Vec<_>>().join(" / ");
            let name = [own.to_owned(), path_name, format!("{own} ({})", i + 1)]
                .into_iter()
                .find(|n| !n.is_empty() && used.insert(n.clone()))
                .unwrap_or_else(|| own.to_owned());
            let mut notes = gathered.notes;
            if i == 0 && self.links > 0 {
                let message = format!("it has {} links to other files, which are not followed", self.links);
                notes.add("links", "", message);
            }
            layers.push(Layer {
                path: path.to_owned(),
                name,
                format: "KML",
                crs: StatedCrs::LonLatByFormat,
                records: gathered.records,
                notes,
            });
        }
        layers
    }
}

impl Placemark {
    fn close(&mut self, name: &str, parent: &str, text: &str) {
        match (name, parent) {
            ("name" | "description" | "address" | "phoneNumber", "Placemark") => self.put(name, text),
            ("value", "Data") | ("SimpleData", _) => {
                if let Some(name) = self.data.take() {
                    self.put(&name, text);
                }
            }
            ("Data", _) => self.data = None,
            ("when", "TimeStamp") => self.put("when", text),
            ("coordinates", _) => match pairs(text) {
                Ok(pairs) => self.coordinates(parent, pairs),
                Err(problem) => self.problem = Some(problem),
            },
            ("Polygon", _) => {
                if let Some(Polygon { outer, holes }) = self.polygon.take()
                    && !outer.is_empty()
                {
                    self.add(Shape::Polygons(vec![std::iter::once(outer).chain(holes).collect()]));
                }
            }
            ("coord", "Track") => match pairs(&text.split_whitespace().take(2).collect::<Vec<_>>().join(",")) {
                Ok(mut one) => self.track.append(&mut one),
                Err(problem) => self.problem = Some(problem),
            },
            ("Track", _) => {
                let track = std::mem::take(&mut self.track);
                if !track.is_empty() {
                    self.add(Shape::Lines(vec![track]));
                }
            }
            ("MultiGeometry" | "MultiTrack", _) if self.shapes.len() > 1 => {
                let inner = self.shapes.pop().unwrap_or_default();
                self.add(Shape::Several(inner));
            }
            _ => {}
        }
    }

    /// Coordinates of a point, a line or a ring; `parent` is the element around them.
    fn coordinates(&mut self, parent: &str, pairs: Vec<Pair>) {
        if pairs.is_empty() {
            return;
        }
        match (parent, &mut self.polygon) {
            ("Point", _) => self.add(Shape::Points(pairs)),
            ("LinearRing", Some(polygon)) if polygon.outer.is_empty() => polygon.outer = pairs,
            ("LinearRing", Some(polygon)) => polygon.holes.push(pairs),
            ("LinearRing", None) => self.add(Shape::Polygons(vec![vec![pairs]])),
            ("LineString", _) => self.add(Shape::Lines(vec![pairs])),
            _ => {}
        }
    }

    fn add(&mut self, shape: Shape) {
        if let Some(shapes) = self.shapes.last_mut() {
            shapes.push(shape);
        }
    }

    fn put(&mut self, name: &str, text: &str) {
        if self.columns.len() < MOST_COLUMNS {
            self.columns.push((name.trim().to_owned(), Value::String(text.trim().to_owned())));
        }
    }
}

/// Longitude and latitude of tuples such as `-2.30,51.50,120`; spaces round commas, which some programs write, are
/// taken for none.
fn pairs(text: &str) -> Result<Vec<Pair>, String> {
    let blank = |b: Option<&u8>| b.is_some_and(u8::is_ascii_whitespace);
    let bytes = text.as_bytes();
    let spaced = bytes.windows(2).any(|w| (w[0] == b',' && blank(w.get(1))) || (w[1] == b',' && blank(w.first())));
    let joined = if spaced { text.split(',').map(str::trim).collect::<Vec<_>>().join(",") } else { String::new() };
    let text = if spaced { joined.as_str() } else { text };
    let mut out = Vec::new();
    for tuple in text.split_whitespace() {
        let cannot = || format!("its coordinates cannot be read (“{}”)", super::columns::shortened(tuple));
        let mut numbers = tuple.split(',');
        let mut number = || numbers.next().and_then(|text| text.parse::<f64>().ok()).ok_or_else(cannot);
        out.push([number()?, number()?]);
        // A height may follow, and nothing else: more numbers are tuples that ran together.
        if numbers.count() > 1 {
            return Err(cannot());
        }
    }
    Ok(out)
}
