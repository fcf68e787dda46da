//! Records into hazards and quiet zones. What cannot be read exactly is kept larger, not left out, where possible.

use super::fields::{clean, identifier, nested, placed};
use super::record::{Columns, Layer, Notes, Pair, Record, Shape, text_of};
use super::ring::RingFault;
use super::{Hazards, Placer, columns, facts};
use crate::quantity::HeightUnit;
use geo::{ConvexHull, Coord, LineString, MultiPoint, Point};
use sparefield_geometry::fields::model::{Hazard, HazardKind, HazardShape, QuietKind, QuietZone, ring_area};
use sparefield_geometry::position::Xy;

/// Height above ground below which a quiet zone is not to be overflown when its record does not say, metres.
///
/// From memory: 500 ft is the usual least distance from people and buildings.
const QUIET_BELOW_M: f64 = 500.0 * 0.304_8;

/// Every hazard and quiet zone of a layer, and how many there are.
pub(crate) fn hazards(layer: Layer, place: &Placer<'_>, notes: &mut Notes) -> (Hazards, usize) {
    notes.append(layer.notes);
    let mut all = Hazards::default();
    for record in layer.records {
        add_record(record, place, &mut all, notes);
    }
    let count = all.hazards.len() + all.quiet_zones.len();
    (all, count)
}

fn add_record(record: Record, place: &Placer<'_>, all: &mut Hazards, notes: &mut Notes) {
    let at = record.place();
    let Record { id, shape, mut columns, .. } = record;
    let id = identifier(id, &mut columns).unwrap_or_default();
    let name = columns.take_text("name").unwrap_or_default();
    let known_as = if name.is_empty() { &id } else { &name };
    let label = if known_as.is_empty() { at } else { format!("{at} ({})", columns::shortened(known_as)) };
    let below = height_column(&mut columns, "below_agl", &label, notes);
    let kind = columns.take("kind");
    let kind_text = kind.as_ref().map(|(_, value)| text_of(value).to_lowercase().replace(['-', '_'], " "));
    let quiet = matches!(kind_text.as_deref(), Some("quiet zone" | "quiet" | "quiet area"));
    let shapes = shapes(shape, place, &label, notes);
    if shapes.is_empty() {
        return;
    }
    if quiet || below != Column::Absent {
        let below_agl_m = if let Column::Height(m) = below {
            m
        } else {
            notes.add(
                "quiet zones without a height",
                &label,
                "it does not say below which height it is not to be overflown (column below_agl_m); 500 ft were taken",
            );
            QUIET_BELOW_M
        };
        let protects = columns.take_text("protects").and_then(|t| QuietKind::from_words(&t)).unwrap_or_default();
        for shape in shapes {
            if let HazardShape::Area { outer, .. } = shape {
                all.quiet_zones.push(QuietZone {
                    id: id.clone(),
                    kind: protects,
                    name: name.clone(),
                    outer,
                    below_agl_m,
                });
            } else {
                notes.add("quiet zones that are no areas", &label, "it is a quiet zone but no area; it was left out");
            }
        }
        return;
    }
    let kind = if let (Some((key, value)), Some(text)) = (kind, kind_text) {
        HazardKind::from_words(&text).unwrap_or_else(|| {
            if text.trim() == "other" {
                return HazardKind::Other;
            }
            let text = columns::shortened(&text_of(&value));
            notes.add(
                "hazard kinds not understood",
                &label,
                format!("“{text}” is no kind of hazard; it counts as other"),
            );
            columns.put_back(key, value);
            HazardKind::Other
        })
    } else {
        notes.add("hazards without a kind", &label, "it has no kind; it counts as other");
        HazardKind::Other
    };
    let height_m = match height_column(&mut columns, "height", &label, notes) {
        Column::Height(m) => Some(m),
        Column::Absent | Column::NotUnderstood => None,
    };
    let pole_heights_m = pole_column(&mut columns, &shapes, &label, notes);
    let other = columns.rest();
    all.hazards.extend(shapes.into_iter().map(|shape| Hazard {
        id: id.clone(),
        kind,
        shape,
        height_m,
        pole_heights_m: pole_heights_m.clone(),
        name: name.clone(),
        other: other.clone(),
    }));
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Column {
    Absent,
    NotUnderstood,
    Height(f64),
}

/// The column `stem_m`, `stem_ft` or `stem`; the bare name is in metres unless the value has its unit.
fn height_column(columns: &mut Columns, stem: &str, label: &str, notes: &mut Notes) -> Column {
    let names = [
        (format!("{stem}_m"), HeightUnit::M),
        (format!("{stem}_ft"), HeightUnit::Ft),
        (stem.to_owned(), HeightUnit::M),
        // Shapefiles have room for ten letters.
        (format!("{}_m", stem.trim_end_matches("_agl")), HeightUnit::M),
    ];
    for (name, unit) in names {
        if let Some((key, value)) = columns.take(&name) {
            if key.trim().eq_ignore_ascii_case(stem) && value.is_number() {
                notes.add(
                    "heights without a unit",
                    label,
                    format!("the unit of its {stem} is not stated; metres were taken"),
                );
            }
            return match columns::height_m(&value, unit) {
                Ok(height) => Column::Height(height),
                Err(problem) => {
                    notes.add("heights not understood", label, format!("{problem}; its height is unknown"));
                    columns.put_back(key, value);
                    Column::NotUnderstood
                }
            };
        }
    }
    Column::Absent
}

/// The heights of a line's poles, when there is one for each of its vertices.
fn pole_column(columns: &mut Columns, shapes: &[HazardShape], label: &str, notes: &mut Notes) -> Vec<Option<f64>> {
    let names = ["pole_heights_m", "pole_heigh"];
    let Some((key, value)) = names.into_iter().find_map(|name| columns.take(name)) else { return Vec::new() };
    let problem = match (facts::pole_heights(&value), shapes) {
        (Ok(heights), [HazardShape::Line(line)]) if line.len() == heights.len() => return heights,
        (Ok(heights), [HazardShape::Line(line)]) => {
            format!("it has {} vertices but {} heights of poles", line.len(), heights.len())
        }
        (Ok(_), _) => "it has heights of poles but is not one line".to_owned(),
        (Err(problem), _) => problem,
    };
    notes.add("heights of poles not understood", label, format!("{problem}; the heights of its poles are unknown"));
    columns.put_back(key, value);
    Vec::new()
}

fn shapes(shape: Shape, place: &Placer<'_>, label: &str, notes: &mut Notes) -> Vec<HazardShape> {
    let flat = shape.flatten();
    if flat.is_empty() {
        notes.add("records without a shape", label, "it has no shape and was left out");
    }
    let mut out = Vec::new();
    for shape in flat {
        match shape {
            Shape::Points(points) => {
                for pair in points {
                    match place(pair) {
                        Some(at) => out.push(HazardShape::Point(at)),
                        None => not_placed(label, notes),
                    }
                }
            }
            Shape::Lines(lines) => {
                for line in lines {
                    match line.into_iter().map(place).collect::<Option<Vec<Xy>>>() {
                        Some(line) => out.extend(line_shape(line)),
                        None => not_placed(label, notes),
                    }
                }
            }
            Shape::Polygons(polygons) => out.extend(polygons.into_iter().flat_map(|p| area(p, place, label, notes))),
            Shape::Rings(rings) => {
                for polygon in nested(rings, place, label, notes) {
                    out.extend(area(polygon, place, label, notes));
                }
            }
            Shape::Nothing | Shape::Several(_) => {}
        }
    }
    out
}

fn not_placed(label: &str, notes: &mut Notes) {
    notes.add(
        "hazards that cannot be placed",
        label,
        "it has a coordinate that is not a number or lies outside the reference system; that part was left out",
    );
}

/// A line, or a point where all its vertices are one.
fn line_shape(mut line: Vec<Xy>) -> Option<HazardShape> {
    line.dedup();
    match line.as_slice() {
        [] => None,
        [one] => Some(HazardShape::Point(*one)),
        _ => Some(HazardShape::Line(line)),
    }
}

fn area(polygon: Vec<Vec<Pair>>, place: &Placer<'_>, label: &str, notes: &mut Notes) -> Vec<HazardShape> {
    let outline = polygon.first().cloned().unwrap_or_default();
    let fault = match clean(polygon, None, place, label, notes) {
        Ok(parts) => {
            return parts
                .into_iter()
                .map(|part| HazardShape::Area { outer: part.outer.points, holes: part.holes })
                .collect();
        }
        Err(fault) => fault,
    };
    let Ok(points) = placed(outline, place) else {
        not_placed(label, notes);
        return Vec::new();
    };
    // Leaving a hazard out would be the optimistic reading; its hull holds whatever was meant.
    let unclear = matches!(
        fault,
        RingFault::Crossing(_) | RingFault::Tangled | RingFault::TooMany(_) | RingFault::TooManyHoles(_)
    );
    if let Some(outer) = hull(&points).filter(|_| unclear) {
        notes.add(
            "outlines of hazards that cannot be read",
            label,
            format!("{}; the hull around it was taken", fault.words()),
        );
        return vec![HazardShape::Area { outer, holes: Vec::new() }];
    }
    match (fault, hull(&points)) {
        (RingFault::Tiny(_), Some(outer)) if ring_area(&outer) > 0.0 => {
            vec![HazardShape::Area { outer, holes: Vec::new() }]
        }
        (RingFault::Tiny(_) | RingFault::TooFew, _) => {
            notes.add(
                "areas of hazards without area",
                label,
                "it is an area without area; its outline was taken as a line",
            );
            line_shape(points).into_iter().collect()
        }
        (fault, _) => {
            notes.add("outlines that cannot be used", label, format!("{}; it was left out", fault.words()));
            Vec::new()
        }
    }
}

/// The convex hull, anticlockwise and open; `None` without area.
fn hull(points: &[Xy]) -> Option<Vec<Xy>> {
    let cloud: MultiPoint<f64> = points.iter().map(|p| Point::new(p.x, p.y)).collect();
    let (exterior, _): (LineString<f64>, _) = cloud.convex_hull().into_inner();
    let mut ring: Vec<Xy> = exterior.0.iter().map(|Coord { x, y }| Xy::new(*x, *y)).collect();
    super::ring::open(&mut ring);
    if ring_area(&ring) < 0.0 {
        ring.reverse();
    }
    (ring.len() >= 3).then_some(ring)
}
