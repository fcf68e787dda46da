//! Directions that attract the next corner while an outline is drawn.

use super::place::is_place;
use crate::position::Xy;

/// Why a place is offered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guide {
    /// Straight on from the last side.
    Straight,
    /// At a right angle to the last side.
    RightAngle,
    /// The corner from which the outline closes at a right angle to its first side.
    ClosesSquare,
}

/// A place that a guide offers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guided {
    /// Where.
    pub at: Xy,
    /// Why.
    pub guide: Guide,
    /// How far from the pointer, metres.
    pub distance_m: f64,
}

/// The nearest place within a radius of the pointer that continues an open chain straight on or at a right angle.
///
/// A place that does both, and from which the outline closes at a right angle to its first side, comes before places on
/// one guide only. `None` when the chain has no last side or nothing is near.
#[must_use]
pub fn guided(chain: &[Xy], pointer: Xy, radius_m: f64) -> Option<Guided> {
    let [.., before, last] = chain else { return None };
    if !(chain.iter().chain([&pointer]).all(|p| is_place(*p)) && radius_m >= 0.0) {
        return None;
    }
    let direction = unit(*last - *before)?;
    let across = Xy::new(-direction.y, direction.x);
    let to = pointer - *last;
    let mut offers = Vec::new();
    let mut offer = |at: Xy, guide: Guide| {
        let distance_m = at.distance(pointer);
        if distance_m <= radius_m {
            offers.push(Guided { at, guide, distance_m });
        }
    };
    // Straight back over the last side is no way on.
    let lines = [(direction, to.dot(direction) > 0.0, Guide::Straight), (across, true, Guide::RightAngle)];
    for (along, offered, guide) in lines {
        if !offered {
            continue;
        }
        if chain.len() >= 3
            && let Some(first) = unit(chain[1] - chain[0])
        {
            // On this line, and on the line through the first corner at a right angle to the first side.
            let denominator = along.dot(first);
            let t = (chain[0] - *last).dot(first) / denominator;
            if denominator.abs() > PARALLEL && t.is_finite() {
                offer(*last + along * t, Guide::ClosesSquare);
            }
        }
        offer(*last + along * to.dot(along), guide);
    }
    let one_guide = |g: &Guided| g.guide != Guide::ClosesSquare;
    offers.into_iter().min_by(|a, b| one_guide(a).cmp(&one_guide(b)).then(a.distance_m.total_cmp(&b.distance_m)))
}

/// Two directions whose unit vectors have less than this in common do not meet at a place worth offering (0.6°).
const PARALLEL: f64 = 0.01;

fn unit(v: Xy) -> Option<Xy> {
    let length = v.norm();
    (length > 0.0 && length.is_finite()).then(|| v * (1.0 / length))
}
