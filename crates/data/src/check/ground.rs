//! Whether things lie on the terrain, and whether hazards and quiet zones have a shape.

use super::{Finding, FindingKind, Severity, Subject, field_words, hazard_words, zone_words};
use crate::area::{Area, Change, Edit, Swap};
use sparefield_geometry::fields::model::{Field, HazardKind, HazardShape};
use sparefield_geometry::fields::strip::bounds;
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::outline::crossing::check_rings;
use sparefield_geometry::outline::pick::holds;
use sparefield_geometry::outline::place::is_place;
use sparefield_geometry::position::Xy;

/// A field is looked at in at most about this many places along its longer extent.
const PROBES: f64 = 10.0;

pub(super) fn look(area: &Area, found: &mut Vec<Finding>) {
    for field in area.fields.iter() {
        of_field(&area.terrain, field, found);
    }
    hazards(area, found);
    zones(area, found);
}

/// How many of some places lie outside the terrain, and how many on cells without a height. Where there is no terrain,
/// nothing is said of it here: whoever asked says that it was left out.
fn counted(terrain: &Terrain, places: &[Xy]) -> (usize, usize) {
    let frame = &terrain.frame;
    if frame.is_empty() {
        return (0, 0);
    }
    let inside = |p: &Xy| {
        let (row, col) = frame.fractional(*p);
        row >= 0.0 && col >= 0.0 && row <= frame.rows as f64 - 1.0 && col <= frame.cols as f64 - 1.0
    };
    let outside = places.iter().filter(|p| !inside(p)).count();
    let empty = places.iter().filter(|p| inside(p) && terrain.height_at(**p).is_none()).count();
    (outside, empty)
}

/// Corners, and a lattice over the inside.
fn probes(field: &Field, cell_m: f64) -> Vec<Xy> {
    let mut places: Vec<Xy> = field.outer.iter().copied().filter(|p| is_place(*p)).collect();
    if let Some((low, high)) = bounds(&places) {
        let step = ((high.x - low.x).max(high.y - low.y) / PROBES).max(cell_m);
        let (rows, cols) = (((high.y - low.y) / step) as usize, ((high.x - low.x) / step) as usize);
        for row in 0..=rows {
            for col in 0..=cols {
                let p = low + Xy::new((col as f64 + 0.5) * step, (row as f64 + 0.5) * step);
                if holds(field, p) {
                    places.push(p);
                }
            }
        }
    }
    places
}

fn of_field(terrain: &Terrain, field: &Field, found: &mut Vec<Finding>) {
    let places = probes(field, terrain.frame.cell_m);
    let (outside, empty) = counted(terrain, &places);
    let (name, at) = (field_words(field), field.centroid());
    let subject = || Subject::Field(field.id.clone());
    let all = places.len();
    if all > 0 && outside == all {
        let sentence = format!("{name} lies outside the terrain, so nothing can be computed for it");
        let remedy = "open terrain that reaches there, or delete the field";
        found.push(Finding::about(FindingKind::OutsideTerrain, Severity::Wrong, subject(), at, sentence, remedy));
    } else if outside > 0 {
        let sentence = format!("{name} reaches beyond the edge of the terrain");
        let remedy = "open terrain that reaches farther";
        found.push(Finding::about(FindingKind::OutsideTerrain, Severity::Doubtful, subject(), at, sentence, remedy));
    }
    if empty > 0 {
        let share = (empty as f64 / all as f64 * 100.0).ceil();
        let severity = if empty == all { Severity::Wrong } else { Severity::Doubtful };
        let sentence = format!("the terrain has no heights over about {share:.0} % of {name}");
        let remedy = "open terrain without holes there; slope and approach are not known until then";
        found.push(Finding::about(FindingKind::NoHeights, severity, subject(), at, sentence, remedy));
    }
}

/// What is wrong with a shape, in words; the rings of areas, the vertices of lines.
fn shape_fault(shape: &HazardShape) -> Option<String> {
    let places: Vec<Xy> = match shape {
        HazardShape::Point(at) => vec![*at],
        HazardShape::Line(line) => line.clone(),
        HazardShape::Area { outer, holes } => outer.iter().chain(holes.iter().flatten()).copied().collect(),
    };
    if !places.iter().all(|p| is_place(*p)) {
        return Some("has a coordinate that is not a place".to_owned());
    }
    match shape {
        HazardShape::Line(line) if line.len() < 2 => Some(format!("is a line of {} places", line.len())),
        HazardShape::Point(_) | HazardShape::Line(_) => None,
        HazardShape::Area { outer, .. } if outer.len() < 3 => Some(format!("is an area of {} corners", outer.len())),
        HazardShape::Area { outer, holes } => check_rings(outer, holes).err().map(|e| {
            let text = e.to_string();
            format!("has an unsound shape: {}", text.split("; ").next().unwrap_or(&text))
        }),
    }
}

/// The middle of what can be shown of a shape.
pub(super) fn middle(shape: &HazardShape) -> Xy {
    let points: &[Xy] = match shape {
        HazardShape::Point(at) => std::slice::from_ref(at),
        HazardShape::Line(points) | HazardShape::Area { outer: points, .. } => points,
    };
    let places: Vec<Xy> = points.iter().copied().filter(|p| is_place(*p)).collect();
    bounds(&places).map_or(Xy::new(f64::NAN, f64::NAN), |(low, high)| (low + high) * 0.5)
}

fn hazards(area: &Area, found: &mut Vec<Finding>) {
    for hazard in area.hazards.iter() {
        let (name, at) = (hazard_words(hazard), middle(&hazard.shape));
        let about = |kind, severity, sentence: String, remedy: &str| {
            Finding::about(kind, severity, Subject::Hazard(hazard.id.clone()), at, sentence, remedy)
        };
        if let Some(fault) = shape_fault(&hazard.shape) {
            let remedy = "draw it again; until then it may be passed over";
            found.push(about(FindingKind::Shape, Severity::Wrong, format!("{name} {fault}"), remedy));
            continue;
        }
        let poles = hazard.pole_heights_m.len();
        let places = match &hazard.shape {
            HazardShape::Line(line) => line.len(),
            _ => 0,
        };
        if poles > 0 && poles != places {
            let mut after = (**hazard).clone();
            after.pole_heights_m.clear();
            let words = format!("forget the pole heights of {name}");
            let edit = Edit::new(words, vec![Change::Hazard(Swap::replace(hazard, after))]);
            let sentence = format!("{name} has heights for {poles} poles but {places} poles");
            let remedy = "say the height of each pole again";
            found.push(about(FindingKind::Shape, Severity::Wrong, sentence, remedy).with(Some(edit)));
        }
        if hazard.kind == HazardKind::Wires && !matches!(hazard.shape, HazardShape::Line(_)) {
            let sentence = format!("{name} are no line, so only the place that is drawn counts");
            found.push(about(FindingKind::Shape, Severity::Doubtful, sentence, "draw the line from pole to pole"));
        }
        let (outside, _) = counted(&area.terrain, &[at]);
        if outside > 0 {
            let sentence = format!("{name} lies outside the terrain and counts for nothing");
            let remedy = "open terrain that reaches there, or delete it";
            found.push(about(FindingKind::OutsideTerrain, Severity::Doubtful, sentence, remedy));
        }
    }
}

fn zones(area: &Area, found: &mut Vec<Finding>) {
    for zone in area.quiet_zones.iter() {
        let shape = HazardShape::Area { outer: zone.outer.clone(), holes: Vec::new() };
        let (name, at) = (zone_words(zone), middle(&shape));
        let about = |kind, severity, sentence: String, remedy: &str| {
            Finding::about(kind, severity, Subject::QuietZone(zone.id.clone()), at, sentence, remedy)
        };
        if let Some(fault) = shape_fault(&shape) {
            let remedy = "draw it again; until then it may be passed over";
            found.push(about(FindingKind::Shape, Severity::Wrong, format!("{name} {fault}"), remedy));
            continue;
        }
        let (outside, _) = counted(&area.terrain, &[at]);
        if outside > 0 {
            let sentence = format!("{name} lies outside the terrain and counts for nothing");
            let remedy = "open terrain that reaches there, or delete it";
            found.push(about(FindingKind::OutsideTerrain, Severity::Doubtful, sentence, remedy));
        }
    }
}
