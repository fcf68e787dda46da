//! Which field an exercise was flown to, through time.
//!
//! Flying towards a field costs no more height than the shortest way needs; flying elsewhere wastes it. The field aimed
//! for is the course of fields that explains the flight with least waste, where every change of mind has a price
//! (Viterbi). The field over which the exercise ends is where the course ends.

use super::options::Needs;
use super::phases::Flight;
use crate::fields::strip::inside_ring;
use crate::math;
use crate::position::Xy;
use core::ops::Range;

/// A field aimed for from some moment on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aim {
    /// First sample.
    pub from: usize,
    /// Index into the candidates.
    pub candidate: usize,
}

/// Waste, in metres, that a change of mind must explain. Numbers of this block: common practice, no source.
const CHANGE_M: f64 = 45.0;
/// Most waste that one second can show, metres: what is more is a jump of the estimate.
const MOST_A_SECOND_M: f64 = 6.0;
/// A field this much out of reach at the beginning was not aimed for, metres.
const OUT_OF_REACH_M: f64 = 60.0;
/// Most fields followed.
const MOST_FIELDS: usize = 40;
/// Price of flying on towards what is out of reach, metres a second for each metre wanting.
const WANTING: f64 = 0.01;

/// The candidate that a flight ends at: on its final or inside its outline; `None` where it ends elsewhere.
#[must_use]
pub fn flown_to(flight: &Flight, needs: &Needs<'_>, last: usize) -> Option<usize> {
    let sample = &flight.samples.all[last];
    let height = sample.height_amsl_m?;
    let track = sample.ground;
    let mut best: Option<(f64, usize)> = None;
    for (i, candidate) in needs.candidates().iter().enumerate() {
        let landing = &candidate.landing;
        let along = landing.along();
        let here = sample.position - landing.aim;
        let (out, aside) = (here.dot(along), here.cross(along).abs());
        let off_track = math::atan2(track.cross(along), track.dot(along)).abs();
        let within = inside_ring(&candidate.outer, sample.position);
        let above = height - landing.aim_amsl_m;
        let on_final = out > -1_500.0
            && out < landing.length_m
            && aside < 40.0 + 0.15 * out.abs()
            && off_track < 0.35
            && above < 250.0;
        if !(on_final || (within && above < 60.0 && off_track < 0.8)) {
            continue;
        }
        // Where the glide would meet the ground tells fields apart that lie behind one another.
        let glide = flight.flying[last].true_airspeed_ms.max(5.0);
        let sink = flight.samples.all[last].climb_ms.map_or(0.2 * glide, |c| (-c).max(0.1 * glide));
        let meets = out + above / sink * track.norm();
        let miss = if within { 0.0 } else { (meets.abs() - 0.5 * landing.length_m).max(0.0) };
        let cost = miss + 2.0 * aside + 200.0 * off_track;
        if best.is_none_or(|b| cost < b.0) {
            best = Some((cost, i));
        }
    }
    best.map(|b| b.1)
}

/// The course of fields aimed for over an exercise, `last` the candidate it ends at where known.
#[must_use]
pub fn aims(flight: &Flight, needs: &Needs<'_>, range: Range<usize>, last: Option<usize>) -> Vec<Aim> {
    let spare = |candidate: usize, i: usize| {
        let s = &flight.samples.all[i];
        let (sin, cos) = math::sin_cos(flight.flying[i].heading_rad);
        needs.spare_m(candidate, s.position, s.height_amsl_m?, Xy::new(sin, cos))
    };
    let mut followed: Vec<(f64, usize)> = (0..needs.candidates().len())
        .filter(|&c| needs.candidates()[c].is_usable() || Some(c) == last)
        .filter_map(|c| Some((spare(c, range.start)?, c)))
        .filter(|&(s, c)| s > -OUT_OF_REACH_M || Some(c) == last)
        .collect();
    followed.sort_by(|a, b| (Some(b.1) == last).cmp(&(Some(a.1) == last)).then(b.0.total_cmp(&a.0)));
    followed.truncate(MOST_FIELDS);
    if let Some(end) = last.filter(|end| !followed.iter().any(|f| f.1 == *end)) {
        followed.push((f64::NEG_INFINITY, end));
    }
    let n = followed.len();
    if n == 0 || range.len() < 2 {
        return Vec::new();
    }
    let mut cost = vec![0.0; n];
    let mut back: Vec<Vec<u16>> = Vec::with_capacity(range.len());
    let mut before: Vec<Option<f64>> = followed.iter().map(|f| spare(f.1, range.start)).collect();
    for i in range.start + 1..range.end {
        let (cheapest, least) =
            cost.iter().copied().enumerate().fold((0, f64::INFINITY), |b, c| if c.1 < b.1 { c } else { b });
        let mut from = vec![0_u16; n];
        let mut next = vec![0.0; n];
        for k in 0..n {
            let now = spare(followed[k].1, i);
            let waste = match (before[k], now) {
                (Some(a), Some(b)) => (a - b).clamp(0.0, MOST_A_SECOND_M) + WANTING * (-b).max(0.0),
                _ => MOST_A_SECOND_M,
            };
            let (prior, came) = if cost[k] <= least + CHANGE_M { (cost[k], k) } else { (least + CHANGE_M, cheapest) };
            next[k] = prior + waste;
            from[k] = came as u16;
            before[k] = now;
        }
        cost = next;
        back.push(from);
    }
    let end = last.and_then(|end| followed.iter().position(|f| f.1 == end));
    let mut state = end.unwrap_or_else(|| (0..n).min_by(|&a, &b| cost[a].total_cmp(&cost[b])).unwrap_or(0));
    let mut course = vec![state; range.len()];
    for k in (0..back.len()).rev() {
        state = usize::from(back[k][state]);
        course[k] = state;
    }
    let mut aims: Vec<Aim> = Vec::new();
    for (k, &state) in course.iter().enumerate() {
        let candidate = followed[state].1;
        if aims.last().is_none_or(|a| a.candidate != candidate) {
            aims.push(Aim { from: range.start + k, candidate });
        }
    }
    aims
}
