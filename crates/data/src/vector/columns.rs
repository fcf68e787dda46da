//! What single column values mean.

use super::record::{Notes, text_of};
use crate::quantity::{HeightUnit, parse_height_m};
use serde_json::Value;
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Stock};

/// No thing that stands on the ground is higher, metres.
const HIGHEST_M: f64 = 1_000.0;

/// A height column: a number in the unit the column's name states (metres where it states none), or text with a unit.
pub(crate) fn height_m(value: &Value, bare: HeightUnit) -> Result<f64, String> {
    let metres = match value {
        Value::Number(number) => number.as_f64().unwrap_or(f64::NAN) * bare.metres(),
        Value::String(text) => parse_height_m(text, Some(bare)).map_err(|e| e.to_string())?,
        other => return Err(format!("“{}” is not a height", shortened(&other.to_string()))),
    };
    if (0.0..=HIGHEST_M).contains(&metres) {
        Ok(metres)
    } else {
        Err(format!("“{}” is not a height between 0 and {HIGHEST_M} m", shortened(&text_of(value))))
    }
}

/// Whether animals are on the field; `None` when the text says neither.
pub(crate) fn stock(value: &Value) -> Option<Stock> {
    match value {
        Value::Bool(true) => Some(Stock::Present),
        Value::Bool(false) => Some(Stock::None),
        other => match text_of(other).to_lowercase().as_str() {
            "none" | "no" | "false" | "0" | "n" | "f" => Some(Stock::None),
            "present" | "yes" | "true" | "1" | "y" | "t" | "cattle" | "cows" | "sheep" | "horses" | "pigs"
            | "goats" => Some(Stock::Present),
            "unknown" | "?" | "" => Some(Stock::Unknown),
            _ => None,
        },
    }
}

/// What stands on each of `sides` sides; unknown throughout when the list does not match the outline.
pub(crate) fn edges(value: &Value, sides: usize, place: &str, notes: &mut Notes) -> Option<Vec<BoundaryEdge>> {
    // Some programs write a nested array as text.
    let unpacked: Option<Vec<Value>> = value.as_str().and_then(|text| serde_json::from_str(text).ok());
    let Some(list) = value.as_array().or(unpacked.as_ref()) else {
        notes.add("edges not understood", place, "its edges are not a list; all its sides count as unknown");
        return None;
    };
    if list.len() != sides {
        notes.add(
            "edges that do not match the sides",
            place,
            format!("it has {sides} sides but {} edges; all its sides count as unknown", list.len()),
        );
        return None;
    }
    Some(list.iter().map(|item| edge(item, place, notes)).collect())
}

fn edge(item: &Value, place: &str, notes: &mut Notes) -> BoundaryEdge {
    let (kind, height) = match item {
        Value::Null => return BoundaryEdge::UNKNOWN,
        Value::String(text) => (Some(text.as_str()), None),
        Value::Object(map) => {
            let get = |name: &str| map.iter().find(|(k, _)| k.trim().eq_ignore_ascii_case(name)).map(|(_, v)| v);
            let height = [("height_m", HeightUnit::M), ("height", HeightUnit::M), ("height_ft", HeightUnit::Ft)]
                .into_iter()
                .find_map(|(name, unit)| get(name).filter(|v| !v.is_null()).map(|v| (v, unit)));
            (get("kind").and_then(Value::as_str), height)
        }
        _ => {
            notes.add("edges not understood", place, "one of its edges is not understood and counts as unknown");
            return BoundaryEdge::UNKNOWN;
        }
    };
    let kind = kind.map_or(EdgeKind::Unknown, |text| edge_kind(text, place, notes));
    let height_m = height.and_then(|(value, unit)| match height_m(value, unit) {
        Ok(height) => Some(height),
        Err(problem) => {
            notes.add(
                "edge heights not understood",
                place,
                format!("one of its edges: {problem}; its height is unknown"),
            );
            None
        }
    });
    BoundaryEdge { kind, height_m }
}

/// What stands on a side, by name.
pub(crate) fn edge_kind(text: &str, place: &str, notes: &mut Notes) -> EdgeKind {
    if text.trim().is_empty() {
        return EdgeKind::Unknown;
    }
    EdgeKind::from_words(text).unwrap_or_else(|| {
        notes.add(
            "edge kinds not understood",
            place,
            format!("“{}” is no kind of edge; it counts as unknown", shortened(text)),
        );
        EdgeKind::Unknown
    })
}

/// A text from a file, short enough for a message.
pub(crate) fn shortened(text: &str) -> String {
    let mut out: String = text.trim().chars().filter(|c| !c.is_control()).take(40).collect();
    if text.trim().chars().count() > 40 {
        out.push('…');
    }
    out
}
