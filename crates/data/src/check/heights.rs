//! Heights that nothing of a kind has.

use super::ground::middle;
use super::{CheckOptions, Finding, FindingKind, Severity, Subject, field_words, hazard_words, zone_words};
use crate::area::{Area, Change, Edit, Swap};
use sparefield_geometry::fields::model::{EdgeKind, Field, Hazard, HazardKind};
use sparefield_geometry::outline::SideRef;
use sparefield_geometry::outline::place::ends_of;
use std::ops::RangeInclusive;

/// Heights that what stands on a side may have, metres. Common practice, no source: wide enough for what is rare.
fn plausible_on_side(kind: EdgeKind) -> RangeInclusive<f64> {
    match kind {
        EdgeKind::Nothing => 0.0..=0.3,
        EdgeKind::Hedge => 0.3..=8.0,
        EdgeKind::TreeLine => 2.0..=50.0,
        EdgeKind::Fence => 0.3..=4.0,
        EdgeKind::Wall => 0.2..=8.0,
        EdgeKind::Wires => 3.0..=90.0,
        EdgeKind::Unknown => 0.0..=90.0,
    }
}

/// Heights that hazards may have, metres. Common practice, no source: wide enough for what is rare.
fn plausible_hazard(kind: HazardKind) -> RangeInclusive<f64> {
    match kind {
        HazardKind::Wires => 3.0..=250.0,
        HazardKind::Mast => 3.0..=700.0,
        HazardKind::LoneTree | HazardKind::Wood => 1.0..=60.0,
        HazardKind::Building => 1.5..=400.0,
        HazardKind::Water => 0.0..=1.0,
        HazardKind::Other => 0.0..=700.0,
    }
}

/// Heights below which not to overfly, metres. Common practice, no source.
const PLAUSIBLE_QUIET_M: RangeInclusive<f64> = 15.0..=1_500.0;

/// What a height is against what is plausible.
enum Judged {
    Fine,
    Doubtful,
    /// No height at all: negative, or not a number.
    Wrong,
}

fn judged(height_m: f64, plausible: &RangeInclusive<f64>) -> Judged {
    if !height_m.is_finite() || height_m < 0.0 {
        Judged::Wrong
    } else if plausible.contains(&height_m) {
        Judged::Fine
    } else {
        Judged::Doubtful
    }
}

const MEASURE: &str = "measure it again, or say that nobody measured it";

pub(super) fn look(area: &Area, options: &CheckOptions, found: &mut Vec<Finding>) {
    for field in area.fields.iter() {
        sides(field, options, found);
    }
    for hazard in area.hazards.iter() {
        of_hazard(hazard, options, found);
    }
    for zone in area.quiet_zones.iter() {
        let severity = match judged(zone.below_agl_m, &PLAUSIBLE_QUIET_M) {
            Judged::Fine => continue,
            Judged::Doubtful => Severity::Doubtful,
            Judged::Wrong => Severity::Wrong,
        };
        let at = middle(&sparefield_geometry::fields::model::HazardShape::Line(zone.outer.clone()));
        let height = options.units.format_height(zone.below_agl_m);
        let sentence = format!("{} is not to be overflown below {height}", zone_words(zone));
        let subject = Subject::QuietZone(zone.id.clone());
        let remedy = "give a height above the ground that protects it";
        found.push(Finding::about(FindingKind::Height, severity, subject, at, sentence, remedy));
    }
}

fn sides(field: &std::sync::Arc<Field>, options: &CheckOptions, found: &mut Vec<Finding>) {
    for (side, edge) in field.edges.iter().enumerate() {
        let Some(height_m) = edge.height_m else { continue };
        let severity = match judged(height_m, &plausible_on_side(edge.kind)) {
            Judged::Fine => continue,
            Judged::Doubtful => Severity::Doubtful,
            Judged::Wrong => Severity::Wrong,
        };
        let name = field_words(field);
        let at = ends_of(field, SideRef::outer(side)).map_or(field.centroid(), |(a, b)| (a + b) * 0.5);
        let what = match edge.kind {
            EdgeKind::Unknown => "something unknown",
            known => known.words(),
        };
        let height = options.units.format_height(height_m);
        let sentence = format!("{name}: {what} of {height} on side {}", side + 1);
        let edit = matches!(severity, Severity::Wrong).then(|| {
            let mut after = (**field).clone();
            after.edges[side].height_m = None;
            Edit::new(
                format!("forget the height of a side of {name}"),
                vec![Change::Field(Swap::replace(field, after))],
            )
        });
        let subject = Subject::Field(field.id.clone());
        found.push(Finding::about(FindingKind::Height, severity, subject, at, sentence, MEASURE).with(edit));
    }
}

fn of_hazard(hazard: &std::sync::Arc<Hazard>, options: &CheckOptions, found: &mut Vec<Finding>) {
    let plausible = plausible_hazard(hazard.kind);
    let poles = hazard.pole_heights_m.iter().flatten().copied();
    let heights: Vec<f64> = hazard.height_m.into_iter().chain(poles).collect();
    let wrong = heights.iter().copied().find(|h| matches!(judged(*h, &plausible), Judged::Wrong));
    let doubtful = heights.iter().copied().find(|h| matches!(judged(*h, &plausible), Judged::Doubtful));
    let (height_m, severity) = match (wrong, doubtful) {
        (Some(h), _) => (h, Severity::Wrong),
        (None, Some(h)) => (h, Severity::Doubtful),
        (None, None) => return,
    };
    let name = hazard_words(hazard);
    let sentence = format!("{name} is {} high", options.units.format_height(height_m));
    let edit = (severity == Severity::Wrong).then(|| {
        let sound = |h: &Option<f64>| h.filter(|h| h.is_finite() && *h >= 0.0);
        let mut after = (**hazard).clone();
        after.height_m = sound(&after.height_m);
        for pole in &mut after.pole_heights_m {
            *pole = sound(pole);
        }
        Edit::new(format!("forget a height of {name}"), vec![Change::Hazard(Swap::replace(hazard, after))])
    });
    let subject = Subject::Hazard(hazard.id.clone());
    let at = middle(&hazard.shape);
    found.push(Finding::about(FindingKind::Height, severity, subject, at, sentence, MEASURE).with(edit));
}
