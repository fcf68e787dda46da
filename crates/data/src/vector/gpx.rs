//! GPX 1.0 and 1.1 into records: waypoints, routes and tracks, each a layer.
//!
//! A track or route that comes back to where it began is an outline: somebody walked round a field.
//!
//! Source: Topografix, *GPX 1.1 Schema Documentation*, 2004, and *GPX 1.0 Developer's Manual*, 2002.

use super::record::{Columns, Layer, Notes, Pair, Record, Shape, StatedCrs};
use super::source::{MOST_RECORDS, too_many_records};
use super::xml::{self, Attributes, Visitor};
use super::{guess, ring};
use crate::error::{LoadError, LoadErrorKind};
use serde_json::Value;
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;
use std::collections::HashMap;
use std::path::Path;

/// Metres in one degree of latitude (from memory: a sixtieth of it is a nautical mile of 1 852 m).
const DEGREE_M: f64 = 60.0 * 1_852.0;
/// A receiver carried round a field comes back to its start within this distance (common practice, no source).
const CLOSED_M: f64 = 30.0;
/// … and has gone at least this many times as far as the gap.
const CLOSED_SHARE: f64 = 10.0;

/// Reads a GPX document.
pub(crate) fn read(path: &Path, bytes: &[u8]) -> Result<Vec<Layer>, LoadError> {
    let text = xml::decode(path, bytes)?;
    if text.trim().is_empty() {
        return Err(LoadError::new(path, LoadErrorKind::Empty, "the file is empty", "name a GPX file"));
    }
    let mut document = Document::default();
    xml::walk(path, &text, &mut document)?;
    let layer = |name: &str, kind: Kind| Layer {
        path: path.to_owned(),
        name: name.to_owned(),
        format: "GPX",
        crs: StatedCrs::LonLatByFormat,
        records: kind.records,
        notes: kind.notes,
    };
    let [mut waypoints, routes, tracks] = document.kinds;
    drop_labels(&mut waypoints, [&routes, &tracks]);
    let all = [layer("waypoints", waypoints), layer("routes", routes), layer("tracks", tracks)];
    let some: Vec<Layer> =
        all.iter().filter(|l| !l.records.is_empty() || !l.notes.clone().into_warnings().is_empty()).cloned().collect();
    Ok(if some.is_empty() { all.into_iter().take(1).collect() } else { some })
}

#[derive(Default)]
struct Kind {
    records: Vec<Record>,
    notes: Notes,
    count: usize,
}

#[derive(Default)]
struct Document {
    open: Vec<String>,
    text: String,
    /// Waypoints, routes, tracks.
    kinds: [Kind; 3],
    thing: Option<Thing>,
    points: usize,
}

#[derive(Default)]
struct Thing {
    kind: usize,
    columns: Vec<(String, Value)>,
    parts: Vec<Vec<Pair>>,
    problem: Option<String>,
}

impl Visitor for Document {
    fn open(&mut self, path: &Path, name: &str, attributes: &Attributes<'_>) -> Result<(), LoadError> {
        if self.open.is_empty() && name != "gpx" {
            let problem = format!("its root is <{}> and not <gpx>", super::columns::shortened(name));
            return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, "name a GPX file"));
        }
        let kind = match (name, self.open.len()) {
            ("wpt", 1) => Some(0),
            ("rte", 1) => Some(1),
            ("trk", 1) => Some(2),
            _ => None,
        };
        if let Some(kind) = kind {
            self.thing = Some(Thing { kind, ..Thing::default() });
        }
        if let Some(thing) = &mut self.thing {
            if name == "trkseg" || name == "rte" || name == "wpt" {
                thing.parts.push(Vec::new());
            }
            if matches!(name, "wpt" | "rtept" | "trkpt") {
                self.points += 1;
                if self.points > MOST_RECORDS * 4 {
                    return Err(too_many_records(path));
                }
                let number = |key: &str| attributes.get(key).and_then(|text| text.trim().parse::<f64>().ok());
                match (number("lon"), number("lat"), thing.parts.last_mut()) {
                    (Some(lon), Some(lat), Some(part)) => part.push([lon, lat]),
                    _ => thing.problem = Some("it has a point without a longitude and latitude".to_owned()),
                }
            }
        }
        self.text.clear();
        self.open.push(name.to_owned());
        Ok(())
    }

    fn close(&mut self, name: &str) {
        self.open.pop();
        // Only what stands directly in the waypoint, route or track is said of it.
        if let Some(thing) = &mut self.thing {
            if self.open.len() == 2
                && matches!(name, "name" | "desc" | "cmt" | "type" | "sym" | "ele" | "time" | "src" | "number" | "url")
            {
                let text = self.text.trim();
                if !text.is_empty() {
                    thing.columns.push((name.to_owned(), Value::String(text.to_owned())));
                }
            }
            if self.open.len() == 1
                && let Some(thing) = self.thing.take()
            {
                self.finish(thing);
            }
        }
        self.text.clear();
    }

    fn text(&mut self) -> &mut String {
        &mut self.text
    }
}

impl Document {
    fn finish(&mut self, mut thing: Thing) {
        let Some(kind) = self.kinds.get_mut(thing.kind) else { return };
        kind.count += 1;
        let number = kind.count;
        if let Some(problem) = thing.problem {
            let message = format!("{problem}; it was left out");
            kind.notes.add("points without a place", format!("record {number}"), message);
            return;
        }
        thing.parts.retain(|part| !part.is_empty());
        let shape = if thing.kind == 0 {
            Shape::Points(thing.parts.concat())
        } else {
            let (closed, open): (Vec<_>, Vec<_>) = thing.parts.into_iter().partition(|part| is_closed(part));
            let mut shapes = Vec::new();
            if !closed.is_empty() {
                shapes.push(Shape::Polygons(closed.into_iter().map(|ring| vec![ring]).collect()));
            }
            if !open.is_empty() {
                shapes.push(Shape::Lines(open));
            }
            match shapes.len() {
                0 => Shape::Nothing,
                1 => shapes.swap_remove(0),
                _ => Shape::Several(shapes),
            }
        };
        kind.records.push(Record { number, id: None, shape, columns: Columns::new(told(thing.columns)) });
    }
}

/// Drops waypoints that stand inside an outline of the same name: they say where it is to receivers that know nothing but
/// waypoints, and are nothing that stands there.
fn drop_labels(waypoints: &mut Kind, outlines: [&Kind; 2]) {
    let name = |record: &Record| record.columns.text("name");
    let mut rings: HashMap<String, Vec<Vec<Xy>>> = HashMap::new();
    for record in outlines.into_iter().flat_map(|kind| &kind.records) {
        for shape in record.shape.clone().flatten() {
            if let Shape::Polygons(polygons) = shape {
                let outer = polygons.into_iter().filter_map(|rings| rings.into_iter().next());
                let ring = outer.map(|ring| ring.into_iter().map(|[x, y]| Xy::new(x, y)).collect());
                rings.entry(name(record)).or_default().extend(ring);
            }
        }
    }
    let before = waypoints.records.len();
    waypoints.records.retain(|record| {
        let name = name(record);
        let inside = |ring: &Vec<Xy>| record.shape.pairs().all(|[x, y]| ring::contains(ring, Xy::new(*x, *y)));
        name.is_empty() || !rings.get(&name).is_some_and(|rings| rings.iter().any(inside))
    });
    let dropped = before - waypoints.records.len();
    if dropped > 0 {
        let message = format!("{dropped} of its waypoints name an outline around them and were left out");
        waypoints.notes.add("waypoints that name an outline", "", message);
    }
}

/// The columns of a thing. What it is stands in its type where other formats have a column of that name: a wood that
/// somebody walked round is no field.
fn told(mut columns: Vec<(String, Value)>) -> Vec<(String, Value)> {
    for (name, value) in &mut columns {
        if name == "type" && value.as_str().is_some_and(guess::is_kind) {
            "kind".clone_into(name);
        }
    }
    columns
}

/// Whether a line comes back to where it began, in degrees of longitude and latitude.
fn is_closed(line: &[Pair]) -> bool {
    let (Some(first), Some(last)) = (line.first(), line.last()) else { return false };
    if line.len() < 4 {
        return false;
    }
    let metres = |a: &Pair, b: &Pair| {
        let east = (b[0] - a[0]) * math::cos(a[1].to_radians());
        math::hypot(east, b[1] - a[1]) * DEGREE_M
    };
    let gap = metres(first, last);
    let way: f64 = line.windows(2).map(|w| metres(&w[0], &w[1])).sum();
    gap == 0.0 || (gap <= CLOSED_M && gap * CLOSED_SHARE <= way)
}
