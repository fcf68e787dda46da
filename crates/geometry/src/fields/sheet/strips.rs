//! The few strips that a sheet shows, and where they lie on the ground.

use super::super::circuit_height::landing_from_start_m;
use super::super::model::Hazard;
use super::super::rank::Place;
use super::super::verdict::StripVerdict;
use super::{ApproachProfile, Landing, RoseBar, Setting, SheetInput, SlopeProfile};
use crate::math;
use crate::position::{Bearing, Xy};
use std::collections::BTreeMap;

/// Most strips that a sheet shows.
pub const MOST_STRIPS: usize = 4;

/// Strips that lie closer in direction than this are shown as one, degrees. Common practice, no source.
pub const APART_DEG: f64 = 20.0;

/// A strip, both ways.
#[derive(Clone, Debug, PartialEq)]
pub struct StripSheet {
    /// Which strip of the study.
    pub strip_index: usize,
    /// In how many directions of the rose this strip, or one nearly in line with it, is the best.
    pub best_in: usize,
    /// Landed on along its heading, then against it.
    pub ways: [Way; 2],
}

/// A strip landed on from one end.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    /// How it is judged in the sheet's wind.
    pub landing: Landing,
    /// Where it lies.
    pub placing: Placing,
    /// The ground along it.
    pub slope: SlopeProfile,
    /// What stands before it.
    pub approach: ApproachProfile,
}

/// Where a strip and its parts lie, in frame metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placing {
    /// Corners anticlockwise, the right one of the landing end first.
    pub corners: [Xy; 4],
    /// Where the landing end is moved to by what stands before it, on the centre line.
    pub displaced: Xy,
    /// How far along the strip the needed length begins, metres: the aiming point.
    pub aiming_m: f64,
    /// The aiming point.
    pub aiming: Xy,
    /// How far along the strip the needed length ends, metres; beyond the strip where it is too short.
    pub stop_m: f64,
}

impl Placing {
    pub(super) fn new(strip: &StripVerdict, centre: Xy) -> Self {
        let along = strip.heading.unit();
        let right = Xy::new(along.y, -along.x) * (strip.width_m / 2.0);
        let taken = strip.displacement_m.min(strip.length_m);
        let middle = (centre - strip.start).dot(along);
        let aiming_m = landing_from_start_m(middle, strip.length_m, taken, strip.needed_length_m);
        Self {
            corners: [strip.start + right, strip.end + right, strip.end - right, strip.start - right],
            displaced: strip.start + along * taken,
            aiming_m,
            aiming: strip.start + along * aiming_m,
            stop_m: aiming_m + strip.needed_length_m,
        }
    }
}

/// The strips shown: the best in this wind, those best in most directions, and the longest.
pub(super) fn strips(
    input: &SheetInput<'_>,
    place: &Place<'_>,
    near: &[&Hazard],
    rose: &[RoseBar],
    best: Option<&Landing>,
) -> Vec<StripSheet> {
    let setting = Setting { input, place, near };
    let chosen = choose(place, rose, best);
    let ways = |index: usize| {
        let study = place.study.strips.get(index)?;
        let way = |end| place.one(study, end).map(|judged| setting.way(&judged));
        Some([way(0)?, way(1)?])
    };
    chosen
        .into_iter()
        .filter_map(|(strip_index, best_in)| Some(StripSheet { strip_index, best_in, ways: ways(strip_index)? }))
        .collect()
}

fn choose(place: &Place<'_>, rose: &[RoseBar], best: Option<&Landing>) -> Vec<(usize, usize)> {
    let strips = &place.study.strips;
    let mut wins: BTreeMap<usize, usize> = BTreeMap::new();
    for landing in rose.iter().filter_map(|bar| bar.landing.as_ref()) {
        *wins.entry(landing.strip_index).or_default() += 1;
    }
    let mut order: Vec<(usize, usize)> = wins.iter().map(|(&i, &n)| (i, n)).collect();
    order.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
    let first = best.map(|b| b.strip_index);
    // The longest comes second, so that it is never crowded out: where it does not serve, one wants to see why.
    let longest = (!strips.is_empty()).then_some(0);
    let heading = |i: usize| strips.get(i).map(|s| s.strip.heading);
    let mut kept: Vec<usize> = Vec::new();
    for index in first.into_iter().chain(longest).chain(order.into_iter().map(|o| o.0)) {
        let in_line = kept.iter().any(|&k| between(heading(k), heading(index)) < APART_DEG.to_radians());
        if !in_line && kept.len() < MOST_STRIPS {
            kept.push(index);
        }
    }
    let mut best_in = vec![0; kept.len()];
    for (index, count) in wins {
        let nearest = (0..kept.len()).min_by(|&a, &b| {
            let off = |k: usize| between(heading(kept[k]), heading(index));
            off(a).total_cmp(&off(b))
        });
        if let Some(k) = nearest.filter(|&k| between(heading(kept[k]), heading(index)) < APART_DEG.to_radians()) {
            best_in[k] += count;
        }
    }
    kept.into_iter().zip(best_in).collect()
}

/// The angle between two strips landed on from either end, radians up to a right angle; 0 where one is unknown.
fn between(a: Option<Bearing>, b: Option<Bearing>) -> f64 {
    let (Some(a), Some(b)) = (a, b) else { return 0.0 };
    let turn = a.turn_to(b).abs();
    turn.min(math::PI - turn)
}
