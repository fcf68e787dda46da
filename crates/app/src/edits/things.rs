//! Edits of hazards and quiet zones.

use super::{Made, Refused, hazard, quiet_zone};
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_geometry::fields::model::{Hazard, HazardKind, HazardShape, QuietKind, QuietZone, ring_area};
use sparefield_geometry::outline::crossing::check_rings;
use sparefield_geometry::position::Xy;

/// Height below which a new quiet zone is not to be overflown, metres. From memory: 500 ft is the usual least distance
/// from people and buildings.
pub const QUIET_BELOW_M: f64 = 152.4;

/// A new hazard from what was drawn: one place is a point, of wires and lines a line, of the rest an outline.
///
/// # Errors
/// When an outline crosses itself.
pub fn draw_hazard(area: &Area, kind: HazardKind, drawn: &[Xy]) -> Made {
    let shape = match (kind, drawn) {
        (_, []) => return Err(Refused::because("Nothing was drawn.")),
        (_, [at]) if kind != HazardKind::Wires => HazardShape::Point(*at),
        (HazardKind::Wires, [_]) => return Err(Refused::because("Wires need at least two poles.")),
        (HazardKind::Wires, line) => HazardShape::Line(line.to_vec()),
        (_, outline) => HazardShape::Area { outer: ring(outline)?, holes: Vec::new() },
    };
    let new = Hazard::new(area.free_id("hazard"), kind, shape);
    Ok(Edit::new(format!("draw {}", with_article(kind)), vec![Change::Hazard(Swap::add(new))]))
}

/// A new quiet zone from the corners drawn.
///
/// # Errors
/// When its outline crosses itself.
pub fn draw_quiet_zone(area: &Area, kind: QuietKind, drawn: &[Xy]) -> Made {
    let zone = QuietZone {
        id: area.free_id("quiet"),
        kind,
        name: String::new(),
        outer: ring(drawn)?,
        below_agl_m: QUIET_BELOW_M,
    };
    Ok(Edit::new("draw a quiet zone", vec![Change::QuietZone(Swap::add(zone))]))
}

fn ring(drawn: &[Xy]) -> Result<Vec<Xy>, Refused> {
    check_rings(drawn, &[])?;
    let mut outer = drawn.to_vec();
    if ring_area(&outer) < 0.0 {
        outer.reverse();
    }
    Ok(outer)
}

fn with_article(kind: HazardKind) -> String {
    match kind {
        HazardKind::Wires | HazardKind::Water => kind.words().to_owned(),
        HazardKind::Other => "another hazard".to_owned(),
        _ => format!("a {}", kind.words()),
    }
}

/// A hazard changed.
///
/// # Errors
/// When it is no longer there.
pub fn change_hazard(area: &Area, id: &str, change: impl FnOnce(&mut Hazard)) -> Made {
    let before = hazard(area, id)?;
    let mut after = before.as_ref().clone();
    change(&mut after);
    let words = format!("change {}", label(before));
    Ok(Edit::new(words, one(before, after, Change::Hazard)))
}

/// A quiet zone changed.
///
/// # Errors
/// When it is no longer there.
pub fn change_quiet_zone(area: &Area, id: &str, change: impl FnOnce(&mut QuietZone)) -> Made {
    let before = quiet_zone(area, id)?;
    let mut after = before.as_ref().clone();
    change(&mut after);
    Ok(Edit::new("change a quiet zone", one(before, after, Change::QuietZone)))
}

fn one<T: PartialEq>(before: &std::sync::Arc<T>, after: T, change: impl Fn(Swap<T>) -> Change) -> Vec<Change> {
    if before.as_ref() == &after { Vec::new() } else { vec![change(Swap::replace(before, after))] }
}

/// One vertex of a hazard moved.
///
/// # Errors
/// When there is no such vertex, or an outline would cross itself.
pub fn move_hazard_vertex(area: &Area, id: &str, vertex: usize, to: Xy) -> Made {
    let before = hazard(area, id)?;
    let mut after = before.as_ref().clone();
    let missing = || Refused::because("There is no such corner any more.");
    match &mut after.shape {
        HazardShape::Point(at) => *at = to,
        HazardShape::Line(line) => *line.get_mut(vertex).ok_or_else(missing)? = to,
        HazardShape::Area { outer, holes } => {
            *outer.get_mut(vertex).ok_or_else(missing)? = to;
            check_rings(outer, holes)?;
        }
    }
    Ok(Edit::new(format!("move {}", label(before)), one(before, after, Change::Hazard)))
}

/// One corner of a quiet zone moved.
///
/// # Errors
/// When there is no such corner, or the outline would cross itself.
pub fn move_zone_corner(area: &Area, id: &str, vertex: usize, to: Xy) -> Made {
    let before = quiet_zone(area, id)?;
    let mut after = before.as_ref().clone();
    *after.outer.get_mut(vertex).ok_or_else(|| Refused::because("There is no such corner any more."))? = to;
    check_rings(&after.outer, &[])?;
    Ok(Edit::new("move a corner of a quiet zone", one(before, after, Change::QuietZone)))
}

/// A hazard taken away.
///
/// # Errors
/// When it is no longer there.
pub fn delete_hazard(area: &Area, id: &str) -> Made {
    let old = hazard(area, id)?;
    Ok(Edit::new(format!("delete {}", label(old)), vec![Change::Hazard(Swap::remove(old))]))
}

/// A quiet zone taken away.
///
/// # Errors
/// When it is no longer there.
pub fn delete_quiet_zone(area: &Area, id: &str) -> Made {
    let old = quiet_zone(area, id)?;
    Ok(Edit::new("delete a quiet zone", vec![Change::QuietZone(Swap::remove(old))]))
}

fn label(hazard: &Hazard) -> String {
    if hazard.name.is_empty() { with_article(hazard.kind) } else { hazard.name.clone() }
}

/// The vertices of a hazard that can be moved by hand.
#[must_use]
pub fn vertices(hazard: &Hazard) -> &[Xy] {
    match &hazard.shape {
        HazardShape::Point(at) => std::slice::from_ref(at),
        HazardShape::Line(line) => line,
        HazardShape::Area { outer, .. } => outer,
    }
}
