//! What stands on boundaries, from a layer of lines, matched to the sides of fields by nearness.

use super::record::{Columns, Layer, Notes, Record, Shape};
use super::{Placer, columns};
use crate::error::Warning;
use crate::quantity::HeightUnit;
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Field};
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;
use std::collections::{HashMap, HashSet};

/// A line counts for a side that it runs along within this distance, metres: maps of fields and of hedges by different
/// hands differ by about as much (common practice, no source).
const NEAR_M: f64 = 5.0;
/// Lines that meet a side at more than this angle cross it and do not run along it.
const ALONG_RAD: f64 = 30.0 * math::PI / 180.0;
/// A side is compared at points this far apart, metres.
const STEP_M: f64 = 2.0;
/// Something that stands on this share of a side, or on [`LEAST_RUN_M`] of it, counts for the whole side.
const LEAST_SHARE: f64 = 0.1;
const LEAST_RUN_M: f64 = 10.0;
/// "Nothing" must be said of nearly all of a side.
const NOTHING_SHARE: f64 = 0.9;
const CELL_M: f64 = 50.0;
const LONGEST_M: f64 = 200_000.0;

/// A line along which something stands.
#[derive(Clone, Debug, PartialEq)]
pub struct EdgeLine {
    /// Where it stands in its file, for messages.
    pub place: String,
    /// The field that it belongs to; empty when it counts for every field beside it.
    pub field_id: String,
    /// Two or more vertices, in frame metres.
    pub line: Vec<Xy>,
    /// What stands there.
    pub edge: BoundaryEdge,
}

/// Every line of a layer, and how many there are.
pub(super) fn lines(layer: Layer, place: &Placer<'_>, notes: &mut Notes) -> (Vec<EdgeLine>, usize) {
    notes.append(layer.notes);
    let mut out = Vec::new();
    for record in layer.records {
        let label = record.place();
        let Record { shape, mut columns, .. } = record;
        let kind = columns.take_text("kind").map_or(EdgeKind::Unknown, |text| columns::edge_kind(&text, &label, notes));
        let edge = BoundaryEdge { kind, height_m: height(&mut columns, &label, notes) };
        let field_id = columns.take_text("field").or_else(|| columns.take_text("field_id")).unwrap_or_default();
        for shape in shape.flatten() {
            let Shape::Lines(parts) = shape else {
                notes.add("edges that are no lines", &label, "it is no line and was left out");
                continue;
            };
            for part in parts {
                match part.into_iter().map(place).collect::<Option<Vec<Xy>>>() {
                    Some(line) if line.len() > 1 => {
                        out.push(EdgeLine { place: label.clone(), field_id: field_id.clone(), line, edge });
                    }
                    Some(_) => notes.add("edges without length", &label, "it has no length and was left out"),
                    None => notes.add(
                        "edges that cannot be placed",
                        &label,
                        "it has a coordinate that is not a number or lies outside the reference system; it was left out",
                    ),
                }
            }
        }
    }
    let count = out.len();
    (out, count)
}

fn height(columns: &mut Columns, label: &str, notes: &mut Notes) -> Option<f64> {
    for (name, unit) in [("height_m", HeightUnit::M), ("height_ft", HeightUnit::Ft), ("height", HeightUnit::M)] {
        if let Some((_, value)) = columns.take(name) {
            return columns::height_m(&value, unit)
                .map_err(|problem| {
                    notes.add("heights not understood", label, format!("{problem}; its height is unknown"));
                })
                .ok();
        }
    }
    None
}

/// Puts what stands along lines on the sides of fields, and says how many sides got something and what went unused.
///
/// A side is compared every 2 m with the lines within 5 m that run within 30° of its direction. What stands on a tenth
/// of the side, or on 10 m of it, counts for all of it; "nothing" must be said of nine tenths. Where several things
/// stand on one side, or the field already had something there, the worst is kept: wires before everything, then the
/// higher, then what is unknown.
pub fn match_edges(fields: &mut [Field], lines: &[EdgeLine]) -> (usize, Vec<Warning>) {
    let mut notes = Notes::default();
    let index = Index::of(lines, fields, &mut notes);
    let ids: HashSet<String> = fields.iter().map(|f| f.id.clone()).collect();
    let mut used = vec![false; lines.len()];
    for line in lines.iter().filter(|l| !l.field_id.is_empty() && !ids.contains(&l.field_id)) {
        let id = columns::shortened(&line.field_id);
        notes.add(
            "edges of fields that are not there",
            &line.place,
            format!("there is no field “{id}”; it was left out"),
        );
    }
    let mut sides = 0;
    for field in fields.iter_mut() {
        let n = field.outer.len();
        field.edges.resize(n, BoundaryEdge::UNKNOWN);
        for i in 0..n {
            let (a, b) = (field.outer[i], field.outer[(i + 1) % n]);
            let mut found: Option<BoundaryEdge> = None;
            for (line, share) in index.along(lines, a, b) {
                let EdgeLine { field_id, edge, .. } = &lines[line];
                if !(field_id.is_empty() || *field_id == field.id) {
                    continue;
                }
                let enough = if edge.kind == EdgeKind::Nothing {
                    share >= NOTHING_SHARE
                } else {
                    share >= LEAST_SHARE || share * a.distance(b) >= LEAST_RUN_M
                };
                if enough {
                    used[line] = true;
                    found = Some(found.map_or(*edge, |before| worse(before, *edge)));
                }
            }
            if let Some(edge) = found {
                sides += 1;
                let known = field.edges[i] != BoundaryEdge::UNKNOWN;
                field.edges[i] = if known { worse(field.edges[i], edge) } else { edge };
            }
        }
    }
    for (line, _) in lines.iter().zip(&used).filter(|(l, used)| !**used && ids_allow(l, &ids)) {
        notes.add("edges beside no field", &line.place, format!("it runs along no side of a field within {NEAR_M} m"));
    }
    (sides, notes.into_warnings())
}

fn ids_allow(line: &EdgeLine, ids: &HashSet<String>) -> bool {
    line.field_id.is_empty() || ids.contains(&line.field_id)
}

/// The one that is worse to fly over.
fn worse(a: BoundaryEdge, b: BoundaryEdge) -> BoundaryEdge {
    // Heights only for this comparison, where nobody measured: typical ones, from memory.
    let height = |e: &BoundaryEdge| {
        e.height_m.unwrap_or(match e.kind {
            EdgeKind::Nothing => 0.0,
            EdgeKind::Fence | EdgeKind::Wall => 1.5,
            EdgeKind::Hedge => 3.0,
            EdgeKind::Wires => 12.0,
            EdgeKind::TreeLine | EdgeKind::Unknown => 15.0,
        })
    };
    let key = |e: &BoundaryEdge| (e.kind == EdgeKind::Wires, height(e));
    let ((wires_a, height_a), (wires_b, height_b)) = (key(&a), key(&b));
    match wires_a.cmp(&wires_b).then(height_a.total_cmp(&height_b)) {
        std::cmp::Ordering::Less => b,
        _ => a,
    }
}

/// The sides of a ring.
fn sides(ring: &[Xy]) -> impl Iterator<Item = (Xy, Xy)> + '_ {
    ring.iter().enumerate().map(|(i, &a)| (a, ring[(i + 1) % ring.len()]))
}

/// The squares of the grid that a side passes, and those around them; none for a side that is too long.
fn near(a: Xy, b: Xy) -> impl Iterator<Item = (i64, i64)> {
    let length = a.distance(b);
    let steps = (length / (CELL_M / 2.0)).ceil().max(1.0) as usize;
    let of_side = (0..=steps).take_while(move |_| length <= LONGEST_M);
    of_side.flat_map(move |k| {
        let (x, y) = Index::cell(a + (b - a) * (k as f64 / steps as f64));
        (x - 1..=x + 1).flat_map(move |i| (y - 1..=y + 1).map(move |j| (i, j)))
    })
}

/// Segments of lines by the squares of a grid.
struct Index {
    cells: HashMap<(i64, i64), Vec<(usize, usize)>>,
}

impl Index {
    fn cell(p: Xy) -> (i64, i64) {
        ((p.x / CELL_M).floor() as i64, (p.y / CELL_M).floor() as i64)
    }

    /// The index of what lies near the fields: of long lines far off, every square would take memory for nothing.
    fn of(lines: &[EdgeLine], fields: &[Field], notes: &mut Notes) -> Self {
        let wanted: HashSet<(i64, i64)> =
            fields.iter().flat_map(|f| sides(&f.outer).flat_map(|(a, b)| near(a, b))).collect();
        let mut cells: HashMap<(i64, i64), Vec<(usize, usize)>> = HashMap::new();
        for (l, line) in lines.iter().enumerate() {
            let length: f64 = line.line.windows(2).map(|s| s[0].distance(s[1])).sum();
            if !(length.is_finite() && length <= LONGEST_M) {
                notes.add("edges that are too long", &line.place, "it is longer than 200 km and was left out");
                continue;
            }
            for (s, segment) in line.line.windows(2).enumerate() {
                let steps = (segment[0].distance(segment[1]) / (CELL_M / 2.0)).ceil().max(1.0) as usize;
                let mut last = None;
                for k in 0..=steps {
                    let cell = Self::cell(segment[0] + (segment[1] - segment[0]) * (k as f64 / steps as f64));
                    if last != Some(cell) && wanted.contains(&cell) {
                        cells.entry(cell).or_default().push((l, s));
                        last = Some(cell);
                    }
                }
            }
        }
        Self { cells }
    }

    /// The lines along a side, each with the share of the side that it covers, in the order of the lines.
    fn along(&self, lines: &[EdgeLine], a: Xy, b: Xy) -> Vec<(usize, f64)> {
        let length = a.distance(b);
        let Some(direction) = (b - a).bearing() else { return Vec::new() };
        if length > LONGEST_M {
            return Vec::new();
        }
        // Segments near the side that run along it, each once.
        let mut near: Vec<(usize, usize)> =
            near(a, b).filter_map(|cell| self.cells.get(&cell)).flatten().copied().collect();
        near.sort_unstable();
        near.dedup();
        near.retain(|&(l, s)| {
            let turn = (lines[l].line[s + 1] - lines[l].line[s]).bearing().map(|other| direction.turn_to(other).abs());
            turn.is_some_and(|turn| turn <= ALONG_RAD || turn >= math::PI - ALONG_RAD)
        });
        let samples = (length / STEP_M).ceil().max(4.0) as usize;
        let mut shares: Vec<(usize, f64)> = Vec::new();
        for of_line in near.chunk_by(|p, q| p.0 == q.0) {
            let covered = (0..samples)
                .filter(|k| {
                    let p = a + (b - a) * ((*k as f64 + 0.5) / samples as f64);
                    of_line.iter().any(|&(l, s)| {
                        super::ring::distance_to_side(p, lines[l].line[s], lines[l].line[s + 1]) <= NEAR_M
                    })
                })
                .count();
            if let Some(&(line, _)) = of_line.first().filter(|_| covered > 0) {
                shares.push((line, covered as f64 / samples as f64));
            }
        }
        shares
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_geometry::fields::model::{Stock, Surface};

    fn square(id: &str, x: f64) -> Field {
        Field {
            id: id.into(),
            name: String::new(),
            outer: vec![Xy::new(x, 0.0), Xy::new(x + 200.0, 0.0), Xy::new(x + 200.0, 200.0), Xy::new(x, 200.0)],
            holes: Vec::new(),
            edges: vec![BoundaryEdge::UNKNOWN; 4],
            surface: Surface::Unknown,
            stock: Stock::Unknown,
            surveyed: None,
            notes: String::new(),
            other: Vec::new(),
            ..Field::default()
        }
    }

    fn line(points: &[(f64, f64)], kind: EdgeKind, height_m: Option<f64>) -> EdgeLine {
        EdgeLine {
            place: "record 1".into(),
            field_id: String::new(),
            line: points.iter().map(|&(x, y)| Xy::new(x, y)).collect(),
            edge: BoundaryEdge { kind, height_m },
        }
    }

    fn kinds(field: &Field) -> Vec<EdgeKind> {
        field.edges.iter().map(|e| e.kind).collect()
    }

    #[test]
    fn a_hedge_between_two_fields_stands_on_both() {
        let mut fields = [square("a", 0.0), square("b", 203.0)];
        let (sides, warnings) =
            match_edges(&mut fields, &[line(&[(201.0, -20.0), (202.0, 220.0)], EdgeKind::Hedge, Some(2.0))]);
        assert_eq!((sides, warnings), (2, vec![]));
        assert_eq!(kinds(&fields[0]), [EdgeKind::Unknown, EdgeKind::Hedge, EdgeKind::Unknown, EdgeKind::Unknown]);
        assert_eq!(kinds(&fields[1]), [EdgeKind::Unknown, EdgeKind::Unknown, EdgeKind::Unknown, EdgeKind::Hedge]);
    }

    #[test]
    fn a_line_across_or_beside_is_not_on_a_side() {
        let mut fields = [square("a", 0.0)];
        let lines = [
            line(&[(100.0, -50.0), (100.0, 250.0)], EdgeKind::Wires, None),
            line(&[(0.0, -7.0), (200.0, -7.0)], EdgeKind::Hedge, None),
        ];
        let (sides, warnings) = match_edges(&mut fields, &lines);
        assert_eq!(sides, 0);
        assert_eq!(warnings.len(), 2);
        assert!(warnings[0].message.contains("no side of a field"));
    }

    #[test]
    fn the_worst_on_a_side_is_kept() {
        let south = |kind, height| line(&[(0.0, 0.0), (200.0, 0.0)], kind, height);
        for (lines, expected) in [
            (vec![south(EdgeKind::Fence, Some(1.0)), south(EdgeKind::TreeLine, Some(12.0))], EdgeKind::TreeLine),
            (vec![south(EdgeKind::Wires, Some(8.0)), south(EdgeKind::TreeLine, Some(12.0))], EdgeKind::Wires),
            (vec![south(EdgeKind::Nothing, None), south(EdgeKind::Fence, None)], EdgeKind::Fence),
            // Trees on a short part of the side.
            (
                vec![south(EdgeKind::Nothing, None), line(&[(50.0, 1.0), (65.0, 1.0)], EdgeKind::TreeLine, None)],
                EdgeKind::TreeLine,
            ),
            // Nothing, said of half the side, says nothing.
            (vec![line(&[(0.0, 0.0), (100.0, 0.0)], EdgeKind::Nothing, None)], EdgeKind::Unknown),
        ] {
            let mut fields = [square("a", 0.0)];
            match_edges(&mut fields, &lines);
            assert_eq!(fields[0].edges[0].kind, expected, "{lines:?}");
        }
        let mut fields = [square("a", 0.0)];
        fields[0].edges[0] = BoundaryEdge { kind: EdgeKind::TreeLine, height_m: Some(20.0) };
        match_edges(&mut fields, &[south(EdgeKind::Nothing, None)]);
        assert_eq!(fields[0].edges[0].kind, EdgeKind::TreeLine, "a line never takes away what was known");
    }

    #[test]
    fn a_line_may_be_tied_to_one_field() {
        let mut fields = [square("a", 0.0), square("b", 203.0)];
        let between =
            |id: &str| EdgeLine { field_id: id.into(), ..line(&[(201.0, 0.0), (201.0, 200.0)], EdgeKind::Wall, None) };
        let (sides, warnings) = match_edges(&mut fields, &[between("b"), between("c")]);
        assert_eq!(sides, 1);
        assert_eq!(fields[1].edges[3].kind, EdgeKind::Wall);
        assert_eq!(fields[0].edges[1].kind, EdgeKind::Unknown);
        assert!(warnings[0].message.contains("there is no field “c”"), "{warnings:?}");
    }

    #[test]
    fn lines_of_any_length_are_taken_in_or_told_about() {
        let mut fields = [square("a", 0.0)];
        let (_, warnings) = match_edges(&mut fields, &[line(&[(-1e9, 0.0), (1e9, 0.0)], EdgeKind::Hedge, None)]);
        assert!(warnings[0].message.contains("200 km"));
        let (sides, _) = match_edges(&mut fields, &[line(&[(-50_000.0, 0.0), (50_000.0, 0.0)], EdgeKind::Hedge, None)]);
        assert_eq!(sides, 1);
    }
}
