//! Things of an area as rows: which columns they have, and how a row is read that another program may have changed.

use super::blob;
use crate::area::{Home, Lane, LaneKind, Proposal, RunwayEnd, Start};
use crate::quantity::{format_day, parse_day};
use rusqlite::Row;
use rusqlite::types::{Value, ValueRef};
use sparefield_geometry::fields::model::{BoundaryEdge, Day, EdgeKind, Field, Hazard, HazardShape, QuietZone};
use sparefield_geometry::position::{Bearing, Xy};

/// A column and its value.
pub(super) type Column = (&'static str, Value);

/// Something that is one row of one table.
pub(super) trait Stored {
    /// The table.
    const TABLE: &'static str;
    /// Where it is.
    fn shape(&self) -> HazardShape;
    /// Its columns beside geometry.
    fn columns(&self) -> Vec<Column>;
    /// Its field, where it has what belongs to a field: months, photographs.
    fn field(&self) -> Option<&Field> {
        None
    }
}

fn text(value: &str) -> Value {
    Value::Text(value.to_owned())
}

fn number(value: Option<f64>) -> Value {
    value.map_or(Value::Null, Value::Real)
}

fn day(value: Option<Day>) -> Value {
    // A day outside the calendar cannot be written as one.
    value.map(format_day).filter(|d| parse_day(d).is_ok()).map_or(Value::Null, Value::Text)
}

/// Pairs and lists of words as JSON; nothing for none.
fn list<T: serde::Serialize>(all: &[T]) -> Value {
    if all.is_empty() { Value::Null } else { serde_json::to_string(all).map_or(Value::Null, Value::Text) }
}

/// An area of one outline.
pub(super) fn area(outer: &[Xy], holes: &[Vec<Xy>]) -> HazardShape {
    HazardShape::Area { outer: outer.to_vec(), holes: holes.to_vec() }
}

impl Stored for Field {
    const TABLE: &'static str = "fields";
    fn shape(&self) -> HazardShape {
        area(&self.outer, &self.holes)
    }
    fn columns(&self) -> Vec<Column> {
        vec![
            ("id", text(&self.id)),
            ("name", text(&self.name)),
            ("surface", text(self.surface.words())),
            ("stock", text(self.stock.words())),
            ("surveyed", day(self.surveyed)),
            ("stock_seen", day(self.stock_seen)),
            ("notes", text(&self.notes)),
            ("crop", text(&self.calendar.crop)),
            ("crop_year", self.calendar.year.map_or(Value::Null, |y| Value::Integer(y.into()))),
            ("hazard_remarks", text(&self.remarks.hazards)),
            ("access", text(&self.remarks.access)),
            ("permission", text(&self.remarks.permission)),
            ("other", list(&self.other)),
        ]
    }
    fn field(&self) -> Option<&Field> {
        Some(self)
    }
}

impl Stored for Proposal {
    const TABLE: &'static str = "proposals";
    fn shape(&self) -> HazardShape {
        self.field.shape()
    }
    fn columns(&self) -> Vec<Column> {
        let mut columns = self.field.columns();
        columns.extend([
            ("edges", text(&edges_text(&self.field.edges))),
            ("score", number(Some(self.score))),
            ("strip_length_m", number(Some(self.strip_length_m))),
            ("checked", list(&self.checked)),
            ("not_checked", list(&self.not_checked)),
            ("refused", Value::Integer(self.refused.into())),
        ]);
        columns
    }
    fn field(&self) -> Option<&Field> {
        Some(&self.field)
    }
}

impl Stored for Hazard {
    const TABLE: &'static str = "hazards";
    fn shape(&self) -> HazardShape {
        self.shape.clone()
    }
    fn columns(&self) -> Vec<Column> {
        vec![
            ("id", text(&self.id)),
            ("kind", text(self.kind.words())),
            ("height_m", number(self.height_m)),
            ("pole_heights_m", if self.pole_heights_m.is_empty() { Value::Null } else { text(&poles_text(self)) }),
            ("name", text(&self.name)),
            ("other", list(&self.other)),
        ]
    }
}

impl Stored for QuietZone {
    const TABLE: &'static str = "quiet_zones";
    fn shape(&self) -> HazardShape {
        area(&self.outer, &[])
    }
    fn columns(&self) -> Vec<Column> {
        vec![
            ("id", text(&self.id)),
            ("kind", text(self.kind.words())),
            ("name", text(&self.name)),
            ("below_agl_m", number(Some(self.below_agl_m))),
        ]
    }
}

impl Stored for Lane {
    const TABLE: &'static str = "lanes";
    fn shape(&self) -> HazardShape {
        HazardShape::Line(self.line.clone())
    }
    fn columns(&self) -> Vec<Column> {
        let kind = if self.kind == LaneKind::River { "river" } else { "lane" };
        vec![("kind", text(kind)), ("name", text(&self.name))]
    }
}

impl Stored for Home {
    const TABLE: &'static str = "home";
    fn shape(&self) -> HazardShape {
        HazardShape::Point(self.position)
    }
    fn columns(&self) -> Vec<Column> {
        vec![
            ("name", text(&self.name)),
            ("field_id", text(&self.field_id)),
            ("elevation_amsl_m", number(Some(self.elevation_amsl_m))),
            ("runway_length_m", number(Some(self.runway_length_m))),
            ("runway_width_m", number(Some(self.runway_width_m))),
        ]
    }
}

impl Stored for RunwayEnd {
    const TABLE: &'static str = "runway_ends";
    fn shape(&self) -> HazardShape {
        HazardShape::Point(self.threshold)
    }
    fn columns(&self) -> Vec<Column> {
        vec![
            ("name", text(&self.name)),
            ("heading_true_rad", number(Some(self.heading_true.rad()))),
            ("elevation_amsl_m", number(Some(self.elevation_amsl_m))),
        ]
    }
}

impl Stored for Start {
    const TABLE: &'static str = "start_state";
    fn shape(&self) -> HazardShape {
        HazardShape::Point(self.position)
    }
    fn columns(&self) -> Vec<Column> {
        vec![
            ("height_agl_m", number(Some(self.height_agl_m))),
            ("heading_true_rad", number(Some(self.heading_true.rad()))),
            ("wind_from_true_rad", number(self.wind.from.map(Bearing::rad))),
            ("wind_speed_ms", number(Some(self.wind.speed_ms))),
            ("wind_gust_ms", number(self.wind.gust_ms)),
        ]
    }
}

/// Sides in one line that people can read and edit: `hedge 2.5; unknown; fence`.
pub(super) fn edges_text(edges: &[BoundaryEdge]) -> String {
    let one = |e: &BoundaryEdge| {
        e.height_m.map_or_else(|| e.kind.words().to_owned(), |height| format!("{} {height:?}", e.kind.words()))
    };
    edges.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// Sides from one line; `None` where a part is not understood.
pub(super) fn edges_of(text: &str) -> Option<Vec<BoundaryEdge>> {
    let one = |part: &str| {
        if let Some(kind) = EdgeKind::from_words(part) {
            return Some(BoundaryEdge { kind, height_m: None });
        }
        let (kind, height) = part.trim().rsplit_once(' ')?;
        let height_m = height.parse().ok().filter(|h| is_height(*h))?;
        Some(BoundaryEdge { kind: EdgeKind::from_words(kind)?, height_m: Some(height_m) })
    };
    if text.trim().is_empty() { Some(Vec::new()) } else { text.split(';').map(one).collect() }
}

/// Heights of poles in one line: `9.5; ; 12`, where nothing stands for a pole that nobody measured.
fn poles_text(hazard: &Hazard) -> String {
    let one = |h: &Option<f64>| h.map_or_else(String::new, |height| format!("{height:?}"));
    hazard.pole_heights_m.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// Heights of poles from one line; `None` where a part is not understood.
pub(super) fn poles_of(text: &str) -> Option<Vec<Option<f64>>> {
    let one = |part: &str| match part.trim() {
        "" => Some(None),
        height => height.parse().ok().filter(|h| is_height(*h)).map(Some),
    };
    text.split(';').map(one).collect()
}

/// Whether a number can be a height above ground, metres. However high, it was written by a person.
pub(super) fn is_height(metres: f64) -> bool {
    metres.is_finite() && metres >= 0.0
}

/// A name as SQL has it.
pub(super) fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}

/// A text of a row, whatever type another program gave it; empty for nothing.
pub(super) fn get_text(row: &Row<'_>, column: &str) -> rusqlite::Result<String> {
    Ok(match row.get_ref(column)? {
        ValueRef::Null | ValueRef::Blob(_) => String::new(),
        ValueRef::Integer(i) => i.to_string(),
        ValueRef::Real(r) => r.to_string(),
        ValueRef::Text(bytes) => String::from_utf8_lossy(bytes).into_owned(),
    })
}

/// A number of a row, `None` for nothing and for what is no number.
pub(super) fn get_number(row: &Row<'_>, column: &str) -> rusqlite::Result<Option<f64>> {
    let value = match row.get_ref(column)? {
        ValueRef::Null | ValueRef::Blob(_) => None,
        ValueRef::Integer(i) => Some(i as f64),
        ValueRef::Real(r) => Some(r),
        ValueRef::Text(bytes) => std::str::from_utf8(bytes).ok().and_then(|t| t.trim().parse().ok()),
    };
    Ok(value.filter(|v: &f64| v.is_finite()))
}

/// The shapes of a row's geometry, or what is wrong with it.
pub(super) fn get_shapes(row: &Row<'_>) -> rusqlite::Result<Result<Vec<HazardShape>, String>> {
    Ok(match row.get_ref("geom")? {
        ValueRef::Blob(bytes) => blob::decode(bytes).and_then(finite),
        ValueRef::Null => Ok(Vec::new()),
        _ => Err("its geometry is no geometry".to_owned()),
    })
}

fn finite(shapes: Vec<HazardShape>) -> Result<Vec<HazardShape>, String> {
    let all = |points: &[Xy]| points.iter().all(|p| p.x.is_finite() && p.y.is_finite());
    let good = shapes.iter().all(|shape| match shape {
        HazardShape::Point(p) => all(std::slice::from_ref(p)),
        HazardShape::Line(line) => all(line),
        HazardShape::Area { outer, holes } => all(outer) && holes.iter().all(|h| all(h)),
    });
    if good { Ok(shapes) } else { Err("its geometry has a coordinate that is not a number".to_owned()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sides_in_one_line_come_back() {
        let edges = [
            BoundaryEdge { kind: EdgeKind::TreeLine, height_m: Some(0.1 + 0.2) },
            BoundaryEdge::UNKNOWN,
            BoundaryEdge { kind: EdgeKind::Nothing, height_m: Some(0.0) },
        ];
        assert_eq!(edges_text(&edges[1..]), "unknown; nothing 0.0");
        assert_eq!(edges_of(&edges_text(&edges)).as_deref(), Some(&edges[..]));
        assert_eq!(edges_of(""), Some(Vec::new()));
        for bad in ["hedge high", "2", "hedge NaN", "hedge; ;fence"] {
            assert_eq!(edges_of(bad), None, "{bad}");
        }
    }

    #[test]
    fn pole_heights_in_one_line_come_back() {
        let mut wires = Hazard::new("w", sparefield_geometry::fields::model::HazardKind::Wires, area(&[], &[]));
        wires.pole_heights_m = vec![None, Some(9.25), None];
        assert_eq!(poles_text(&wires), "; 9.25; ");
        assert_eq!(poles_of(&poles_text(&wires)), Some(wires.pole_heights_m));
        assert_eq!(poles_of("9; tall"), None);
    }
}
