//! What is wrong or doubtful about the outlines of a whole area.

use super::OutlineError;
use super::index::OutlineIndex;
use super::measure::interior_angle;
use super::place::{CornerRef, check_places, ends_of, rings, side_at};
use super::shared::shared_between;
use super::validity::faults;
use crate::fields::model::{Field, ring_area};
use crate::fields::strip::{Scratch, StripSpace, bounds};
use crate::position::Xy;
use core::borrow::Borrow;
use geo::{Area, BooleanOps, Coord, LineString, Polygon};
use rayon::prelude::*;

/// Gaps and overlaps narrower than this, metres, are drawing accuracy and not reported.
const DRAWN_EXACTLY_M: f64 = 0.05;

/// From where on outlines are doubtful.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FindingOptions {
    /// Width of the narrowest strip in use, metres; a field into which none fits at any heading is a sliver.
    pub strip_width_m: f64,
    /// Neighbours nearer than this, metres, were probably meant to touch.
    pub gap_m: f64,
    /// Overlaps are reported when they take more than this share of the smaller field.
    pub overlap_share: f64,
    /// Two fields are duplicates when they share more than this of the larger one.
    pub duplicate_share: f64,
    /// A corner sharper than this is a spike, radians.
    pub spike_rad: f64,
}

impl Default for FindingOptions {
    /// A strip of 20 m, the example aircraft's; the other limits are common practice, no source.
    fn default() -> Self {
        let spike_rad = 3.0_f64.to_radians();
        Self { strip_width_m: 20.0, gap_m: 2.0, overlap_share: 0.01, duplicate_share: 0.9, spike_rad }
    }
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum FindingKind {
    /// The outline is not sound.
    Fault(OutlineError),
    /// A corner as sharp as a needle, outwards or inwards.
    Spike {
        /// The corner.
        corner: CornerRef,
        /// The angle between its two sides, radians.
        angle_rad: f64,
    },
    /// No strip of the width in use fits at any heading, unless shorter than it is wide.
    Sliver {
        /// Width of the rectangle with the same area and perimeter, metres.
        width_m: f64,
    },
    /// Two fields are nearly the same.
    Duplicate {
        /// The share of the larger one that both have.
        share: f64,
    },
    /// Two fields lie on each other in part.
    Overlap {
        /// How much they share, m².
        area_m2: f64,
        /// That as a share of the smaller one.
        share: f64,
    },
    /// Two neighbours leave a narrow gap.
    Gap {
        /// Its largest width, metres.
        width_m: f64,
        /// Its length, metres.
        length_m: f64,
    },
}

impl FindingKind {
    /// The finding in words, without the names of the fields.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Fault(fault) => fault.to_string(),
            Self::Spike { angle_rad, .. } => {
                format!("a corner is as sharp as {:.1}°; delete it if it is a slip", angle_rad.to_degrees())
            }
            Self::Sliver { width_m } => format!("no landing strip fits in; it is about {width_m:.0} m wide"),
            Self::Duplicate { share } => {
                format!("drawn twice: the two have {:.0} % in common", (share * 100.0).floor())
            }
            Self::Overlap { area_m2, share } => {
                format!("the two lie on each other over {area_m2:.0} m², {:.0} % of the smaller", share * 100.0)
            }
            Self::Gap { width_m, length_m } => {
                format!("a gap of up to {width_m:.2} m is left between the two over {length_m:.0} m")
            }
        }
    }
}

/// Something wrong or doubtful.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Indices of the one or two fields it is about, in order.
    pub fields: Vec<usize>,
    /// Their identifiers.
    pub ids: Vec<String>,
    /// Where to look. May be no place when the fault is that a coordinate is none.
    pub at: Xy,
    /// What it is.
    pub kind: FindingKind,
}

/// Everything wrong or doubtful about the outlines of an area, ordered by field.
///
/// Fields with a coordinate that is no place, or a ring of fewer than three corners, are compared with no other.
#[must_use]
pub fn findings<F: Borrow<Field> + Sync>(fields: &[F], options: &FindingOptions) -> Vec<Finding> {
    let alone: Vec<Vec<Finding>> = fields
        .par_iter()
        .enumerate()
        .map_init(Scratch::default, |scratch, (i, field)| of_one(i, field.borrow(), options, scratch))
        .collect();
    let hopeless = |i: usize| {
        alone[i]
            .iter()
            .any(|f| matches!(f.kind, FindingKind::Fault(OutlineError::NotAPlace | OutlineError::TooFewCorners { .. })))
    };
    let index = OutlineIndex::new(fields.iter().map(Borrow::borrow).collect::<Vec<&Field>>(), Vec::new());
    let together: Vec<Vec<Finding>> = (0..fields.len())
        .into_par_iter()
        .map(|i| {
            let mut found = Vec::new();
            let first = fields[i].borrow();
            let Some((low, high)) = bounds(&first.outer).filter(|_| !hopeless(i)) else { return found };
            let room = Xy::new(options.gap_m.max(0.0), options.gap_m.max(0.0));
            for j in index.fields_near(low - room, high + room) {
                if j > i && !hopeless(j) {
                    of_two((i, first), (j, fields[j].borrow()), options, &mut found);
                }
            }
            found
        })
        .collect();
    alone.into_iter().zip(together).flat_map(|(a, b)| a.into_iter().chain(b)).collect()
}

fn of_one(i: usize, field: &Field, options: &FindingOptions, scratch: &mut Scratch) -> Vec<Finding> {
    let finding = |at: Xy, kind| Finding { fields: vec![i], ids: vec![field.id.clone()], at, kind };
    let faults = faults(field);
    let mut found: Vec<Finding> = faults
        .iter()
        .map(|fault| {
            let at = match fault {
                OutlineError::Crosses(crossing) => crossing.at,
                OutlineError::ShortSide { side, .. } => ends_of(field, *side).map_or(field.centroid(), |e| e.0),
                OutlineError::HoleOutside { hole } => field.holes[*hole][0],
                OutlineError::HolesOverlap { inner, .. } => field.holes[*inner][0],
                _ => field.centroid(),
            };
            finding(at, FindingKind::Fault(fault.clone()))
        })
        .collect();
    if faults.iter().any(|f| matches!(f, OutlineError::NotAPlace | OutlineError::TooFewCorners { .. })) {
        return found;
    }
    for (ring, points) in rings(field) {
        let (n, area) = (points.len(), ring_area(points));
        for k in 0..n {
            let Some(inside) = interior_angle(points[(k + n - 1) % n], points[k], points[(k + 1) % n], area) else {
                continue;
            };
            let angle_rad = inside.min(crate::math::TAU - inside);
            if angle_rad < options.spike_rad {
                let corner = CornerRef { ring, corner: k };
                found.push(finding(points[k], FindingKind::Spike { corner, angle_rad }));
            }
        }
    }
    let width_m = mean_width(field);
    // The search over all headings takes its time, and a field this wide has room for a strip.
    if width_m < options.strip_width_m
        && StripSpace::new(&field.outer, &field.holes, &[])
            .and_then(|space| space.best(options.strip_width_m, scratch))
            // Straight across a narrow field there is a run that is wider than long.
            .is_none_or(|strip| strip.length_m < strip.width_m)
    {
        found.push(finding(field.centroid(), FindingKind::Sliver { width_m }));
    }
    found
}

/// Width of the rectangle with the field's area and the perimeter of its outer ring; for shapes rounder than any
/// rectangle that of the square with its area. Exact for rectangles.
fn mean_width(field: &Field) -> f64 {
    let ring = &field.outer;
    let half: f64 = (0..ring.len()).map(|i| side_at(ring, i)).map(|(a, b)| a.distance(b)).sum::<f64>() / 2.0;
    let area = field.area_m2().max(0.0);
    // Width w and length l with w + l = half and w·l = area; in a form that does not cancel for long shapes.
    let rest = half * half - 4.0 * area;
    if rest < 0.0 { area.sqrt() } else { 2.0 * area / (half + rest.sqrt()).max(f64::MIN_POSITIVE) }
}

fn of_two(
    (i, first): (usize, &Field),
    (j, second): (usize, &Field),
    options: &FindingOptions,
    found: &mut Vec<Finding>,
) {
    let finding =
        |at: Xy, kind| Finding { fields: vec![i, j], ids: vec![first.id.clone(), second.id.clone()], at, kind };
    let (smaller, larger) = {
        let (a, b) = (first.area_m2(), second.area_m2());
        (a.min(b), a.max(b))
    };
    if let Some((area_m2, at)) = overlap(first, second) {
        let (of_smaller, of_larger) = (area_m2 / smaller, area_m2 / larger);
        if of_larger > options.duplicate_share {
            found.push(finding(at, FindingKind::Duplicate { share: of_larger }));
        } else if of_smaller > options.overlap_share {
            found.push(finding(at, FindingKind::Overlap { area_m2, share: of_smaller }));
        }
    }
    let mut stretches = Vec::new();
    shared_between((i, first), (j, second), options.gap_m, &mut stretches);
    stretches.retain(|s| s.gap_m > DRAWN_EXACTLY_M && s.gap_m < options.gap_m);
    if let Some(longest) = stretches.iter().max_by(|s, t| s.length_m.total_cmp(&t.length_m)) {
        let (a, b) = side_at(&first.outer, longest.first.1);
        let at = a + (b - a) * ((longest.on_first.0 + longest.on_first.1) / 2.0);
        let width_m = stretches.iter().map(|s| s.gap_m).fold(0.0, f64::max);
        let length_m = stretches.iter().map(|s| s.length_m).sum();
        found.push(finding(at, FindingKind::Gap { width_m, length_m }));
    }
}

/// How much two fields share, m², and a place in the largest shared piece; `None` when they share nothing worth looking
/// at, or a coordinate is no place.
#[must_use]
pub fn overlap(first: &Field, second: &Field) -> Option<(f64, Xy)> {
    // The overlay library panics on what is no number.
    check_places(rings(first).chain(rings(second)).flat_map(|(_, ring)| ring)).ok()?;
    let ((low, high), (l, h)) = (bounds(&first.outer)?, bounds(&second.outer)?);
    let (from, to) = (Xy::new(low.x.max(l.x), low.y.max(l.y)), Xy::new(high.x.min(h.x), high.y.min(h.y)));
    let apart = to.x - from.x <= DRAWN_EXACTLY_M || to.y - from.y <= DRAWN_EXACTLY_M;
    if apart {
        return None;
    }
    // Near the origin the library's grid is finest.
    let origin = (from + to) * 0.5;
    let both = polygon(first, origin).intersection(&polygon(second, origin));
    let largest = both.0.iter().max_by(|p, q| p.unsigned_area().total_cmp(&q.unsigned_area()))?;
    let corners = &largest.exterior().0;
    let sum = corners.iter().fold(Xy::default(), |s, c| s + Xy::new(c.x, c.y));
    Some((both.unsigned_area(), origin + sum * (1.0 / corners.len().max(1) as f64)))
}

fn polygon(field: &Field, origin: Xy) -> Polygon<f64> {
    let line = |ring: &Vec<Xy>| -> LineString<f64> {
        ring.iter().map(|p| Coord { x: p.x - origin.x, y: p.y - origin.y }).collect()
    };
    Polygon::new(line(&field.outer), field.holes.iter().map(line).collect())
}
