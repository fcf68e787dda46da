//! The home strip in its field.

use super::{CheckOptions, Finding, FindingKind, Severity, Subject, field_words};
use crate::area::{Area, Change, Edit, Home, Swap};
use sparefield_geometry::fields::model::Field;
use sparefield_geometry::outline::pick::holds;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Lengths nearer than this are the same, metres.
const SAME_LENGTH_M: f64 = 2.0;

pub(super) fn look(area: &Area, options: &CheckOptions, found: &mut Vec<Finding>) {
    let Some(home) = &area.home else { return };
    let about = |kind, severity, sentence: String, remedy: &str| {
        Finding::about(kind, severity, Subject::Home, home.position, sentence, remedy)
    };
    let field = area.fields.iter().find(|f| f.id == home.field_id);
    let Some(field) = field.filter(|f| holds(f, home.position)) else {
        let sentence = match field {
            Some(field) => format!("the home strip {} lies outside its field {}", home.name, field_words(field)),
            None => format!("the field of the home strip {} is not in the area", home.name),
        };
        let around = area.fields.iter().find(|f| holds(f, home.position));
        let edit = around.map(|field| {
            let after = Home { field_id: field.id.clone(), ..home.clone() };
            let swap = Swap { before: Some(Arc::new(home.clone())), after: Some(Arc::new(after)) };
            Edit::new(format!("put the home strip into {}", field_words(field)), vec![Change::Home(swap)])
        });
        let remedy = "draw the field round the strip, or name the field it lies in";
        found.push(about(FindingKind::HomeOutside, Severity::Wrong, sentence, remedy).with(edit));
        return;
    };
    let (name, units) = (field_words(field), options.units);
    if !(home.runway_length_m.is_finite() && home.runway_length_m > 0.0) {
        let sentence = format!("the home strip {} has no length", home.name);
        found.push(about(FindingKind::HomeLength, Severity::Wrong, sentence, "say how long it is"));
        return;
    }
    let Some(along) = direction(area, home) else { return };
    let room_m = room(field, home.position, along);
    if room_m + SAME_LENGTH_M < home.runway_length_m {
        let sentence = format!(
            "the home strip {} is {} long, but {name} has room for {} there",
            home.name,
            units.format_length(home.runway_length_m),
            units.format_length_at_least(room_m)
        );
        let remedy = "measure the strip again, or draw the field longer";
        found.push(about(FindingKind::HomeLength, Severity::Wrong, sentence, remedy));
    } else if let Some(end) = home.ends.iter().find(|end| !near(field, end.threshold)) {
        let sentence = format!("end {} of the home strip lies outside {name}", end.name);
        found.push(about(FindingKind::HomeOutside, Severity::Doubtful, sentence, "move the end, or the boundary"));
    }
}

/// Whether a place lies in a field or next to its boundary.
fn near(field: &Field, p: Xy) -> bool {
    let around = [Xy::new(SAME_LENGTH_M, 0.0), Xy::new(0.0, SAME_LENGTH_M)];
    holds(field, p) || around.iter().any(|d| holds(field, p + *d) || holds(field, p - *d))
}

/// Direction of the strip on the grid, where its ends say so.
fn direction(area: &Area, home: &Home) -> Option<Xy> {
    let between = match home.ends.as_slice() {
        [a, b, ..] => (b.threshold - a.threshold).bearing(),
        _ => None,
    };
    let told = home.ends.first().map(|e| area.to_grid(e.heading_true, home.position));
    between.or(told).map(sparefield_geometry::position::Bearing::unit)
}

/// Length of the straight run through a place of a field, up to the boundary on both sides, metres.
fn room(field: &Field, at: Xy, along: Xy) -> f64 {
    let (mut ahead, mut behind) = (f64::INFINITY, f64::INFINITY);
    for ring in std::iter::once(&field.outer).chain(&field.holes) {
        for (i, &a) in ring.iter().enumerate() {
            let side = ring[(i + 1) % ring.len()] - a;
            let cross = along.cross(side);
            if cross.abs() <= f64::EPSILON * side.norm() {
                continue;
            }
            let (t, share) = ((a - at).cross(side) / cross, (a - at).cross(along) / cross);
            if (0.0..=1.0).contains(&share) {
                if t >= 0.0 {
                    ahead = ahead.min(t);
                } else {
                    behind = behind.min(-t);
                }
            }
        }
    }
    ahead + behind
}
