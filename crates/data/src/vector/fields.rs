//! Records into fields.

use super::Placer;
use super::columns;
use super::facts::take_facts;
use super::record::{Columns, Layer, Notes, Pair, Record, Shape};
use super::ring::{self, Part, Ring, RingFault};
use crate::free_ids::FreeIds;
use serde_json::Value;
use sparefield_geometry::fields::model::{BoundaryEdge, Field};
use sparefield_geometry::position::Xy;

/// Every field of a layer, and how many there are.
pub(crate) fn fields(layer: Layer, place: &Placer<'_>, notes: &mut Notes) -> (Vec<Field>, usize) {
    notes.append(layer.notes);
    let mut fields: Vec<Field> = Vec::with_capacity(layer.records.len());
    let mut ids = FreeIds::default();
    for record in layer.records {
        fields.extend(record_fields(record, place, &mut ids, notes));
    }
    let count = fields.len();
    (fields, count)
}

/// The wanted identifier, or the next free one like it.
pub(crate) fn unique(ids: &mut FreeIds, wanted: &str) -> String {
    ids.take(wanted, |wanted, number| format!("{wanted} ({number})"))
}

fn record_fields(record: Record, place: &Placer<'_>, ids: &mut FreeIds, notes: &mut Notes) -> Vec<Field> {
    let (at, number) = (record.place(), record.number);
    let Record { id, shape, mut columns, .. } = record;
    let given = identifier(id, &mut columns);
    let name = columns.text("name");
    let label = match (&given, name.is_empty()) {
        (_, false) => format!("{at} ({})", columns::shortened(&name)),
        (Some(id), true) => format!("{at} ({})", columns::shortened(id)),
        (None, true) => at,
    };
    let edges = columns.take("edges");
    let shapes = shape.flatten();
    if shapes.is_empty() {
        notes.add("records without a shape", label, "it has no shape and was left out");
        return Vec::new();
    }
    let mut parts = Vec::new();
    let mut polygons = Vec::new();
    for shape in shapes {
        match shape {
            Shape::Polygons(more) => polygons.extend(more),
            Shape::Rings(rings) => polygons.extend(nested(rings, place, &label, notes)),
            _ => notes.add("records that are no areas", &label, "it is a point or a line and no area; it was left out"),
        }
    }
    let several = polygons.len() > 1;
    for polygon in polygons {
        let known = edges.as_ref().filter(|_| !several).map(|(_, value)| value);
        match clean(polygon, known, place, &label, notes) {
            Ok(more) => parts.extend(more),
            Err(fault) => {
                notes.add("outlines that cannot be used", &label, format!("{}; it was left out", fault.words()));
            }
        }
    }
    if parts.is_empty() {
        return Vec::new();
    }
    if several && edges.is_some() {
        notes.add(
            "edges of a field in several parts",
            &label,
            "it has several parts, so its edges belong to no one of them; all its sides count as unknown",
        );
    }
    let facts = take_facts(&mut columns, &label, notes);
    let other = columns.rest();
    let wanted = given.unwrap_or_else(|| format!("field-{number}"));
    if parts.len() > 1 {
        notes.add(
            "fields in several parts",
            &label,
            format!("it has {} separate parts; each became a field, “{wanted}-1” and so on", parts.len()),
        );
    }
    let many = parts.len() > 1;
    parts
        .into_iter()
        .enumerate()
        .map(|(i, part)| {
            let wanted = if many { format!("{wanted}-{}", i + 1) } else { wanted.clone() };
            let id = unique(ids, &wanted);
            if id != wanted {
                notes.add(
                    "identifiers used twice",
                    &label,
                    format!("the identifier “{wanted}” is taken; it became “{id}”"),
                );
            }
            Field {
                id,
                outer: part.outer.points,
                holes: part.holes,
                edges: part.outer.edges,
                other: other.clone(),
                ..facts.clone()
            }
        })
        .collect()
}

/// The identifier of a record: the id member of GeoJSON stands above a column of that name, which is kept among the
/// others when it says something else.
pub(crate) fn identifier(member: Option<String>, columns: &mut Columns) -> Option<String> {
    let column = columns.take("id");
    let Some(member) = member else { return column.map(|(_, value)| columns_text(&value)) };
    if let Some((key, value)) = column.filter(|(_, value)| columns_text(value) != member) {
        columns.put_back(key, value);
    }
    Some(member)
}

fn columns_text(value: &Value) -> String {
    super::record::text_of(value)
}

/// Places a ring in the frame, without its closing vertex.
pub(crate) fn placed(mut ring: Vec<Pair>, place: &Placer<'_>) -> Result<Vec<Xy>, RingFault> {
    ring::open(&mut ring);
    ring.into_iter().map(|pair| place(pair).ok_or(RingFault::NotFinite)).collect()
}

/// Sorts rings without roles into polygons, outer ring first.
pub(crate) fn nested(rings: Vec<Vec<Pair>>, place: &Placer<'_>, label: &str, notes: &mut Notes) -> Vec<Vec<Vec<Pair>>> {
    if rings.len() == 1 {
        return vec![rings];
    }
    // Placed only to compare; a ring that cannot be placed is judged, and reported, alone.
    let on_map: Vec<Vec<Xy>> = rings.iter().map(|r| placed(r.clone(), place).unwrap_or_default()).collect();
    let (groups, odd_direction) = ring::nest(on_map);
    if odd_direction {
        notes.add(
            "rings with the wrong direction",
            label,
            "its rings run the wrong way round; what lies inside another ring was taken as a hole",
        );
    }
    groups
        .into_iter()
        .map(|(outer, holes)| {
            std::iter::once(outer).chain(holes).map(|i| rings.get(i).cloned().unwrap_or_default()).collect()
        })
        .collect()
}

/// One polygon of the file as clean parts in the frame, with what stands on the sides of its outer ring.
pub(crate) fn clean(
    polygon: Vec<Vec<Pair>>,
    edges: Option<&Value>,
    place: &Placer<'_>,
    label: &str,
    notes: &mut Notes,
) -> Result<Vec<Part>, RingFault> {
    let mut rings = polygon.into_iter();
    let outer = placed(rings.next().unwrap_or_default(), place)?;
    let holes = rings.map(|ring| placed(ring, place)).collect::<Result<Vec<_>, _>>()?;
    let edges = edges
        .and_then(|value| columns::edges(value, outer.len(), label, notes))
        .unwrap_or_else(|| vec![BoundaryEdge::UNKNOWN; outer.len()]);
    let cleaned = ring::clean_polygon(Ring { points: outer, edges }, holes)?;
    for repair in cleaned.repairs {
        notes.add("outlines repaired", label, repair);
    }
    Ok(cleaned.parts)
}
