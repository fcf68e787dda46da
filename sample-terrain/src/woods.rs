//! Woods: on steep slopes below the open hilltops, and as copses on the low ground.

use crate::SIDE_M;
use crate::features::{ring_distance, slope_percent};
use crate::noise::Noise;
use crate::path;
use crate::relief::Relief;
use sparefield_geometry::fields::model::{Hazard, HazardKind, HazardShape, ring_area};
use sparefield_geometry::position::Xy;
use std::collections::BTreeMap;

/// Side of a cell of the mask, metres.
const STEP_M: f64 = 50.0;
/// Posts in a row of the mask; the outermost ones are always bare.
const N: usize = (SIDE_M / STEP_M) as usize + 1;

/// What woods keep clear of.
#[derive(Clone, Copy, Debug)]
pub struct Occupied<'a> {
    /// All parcels.
    pub outlines: &'a [Vec<Xy>],
    /// Lanes outside the parcels.
    pub roads: &'a [Vec<Xy>],
    /// Buildings, wires, masts.
    pub hazards: &'a [Hazard],
    /// The river.
    pub river: &'a [Xy],
}

fn post(i: usize) -> Xy {
    Xy::new((i % N) as f64 * STEP_M, (i / N) as f64 * STEP_M)
}

/// Makes every post within `reach_m` of a line bare.
fn clear_line(value: &mut [f64], line: &[Xy], reach_m: f64) {
    for w in line.windows(2) {
        let (low, high) =
            (Xy::new(w[0].x.min(w[1].x), w[0].y.min(w[1].y)), Xy::new(w[0].x.max(w[1].x), w[0].y.max(w[1].y)));
        clear_box(value, low, high, reach_m, |p| p.distance(path::nearest_on_side(p, w[0], w[1])) < reach_m);
    }
}

fn clear_box(value: &mut [f64], low: Xy, high: Xy, reach_m: f64, hit: impl Fn(Xy) -> bool) {
    let at = |v: f64| (v / STEP_M).clamp(0.0, (N - 1) as f64) as usize;
    for r in at(low.y - reach_m)..=at(high.y + reach_m + STEP_M) {
        for c in at(low.x - reach_m)..=at(high.x + reach_m + STEP_M) {
            let i = r * N + c;
            if hit(post(i)) {
                value[i] = -1.0;
            }
        }
    }
}

/// Outlines of woods with their clearings.
#[must_use]
pub fn make(seed: u64, relief: &Relief, occupied: &Occupied) -> Vec<(Vec<Xy>, Vec<Vec<Xy>>)> {
    let value = mask(seed, relief, occupied);
    let rings = contours(&value);
    let (mut outers, mut clearings) = (Vec::new(), Vec::new());
    for ring in rings {
        let ring = simplify(&ring, 9.0);
        let area_ha = ring_area(&ring) / 1e4;
        if ring.len() >= 5 && area_ha > 1.8 {
            outers.push(ring);
        } else if ring.len() >= 5 && area_ha < -2.0 {
            clearings.push(ring);
        }
    }
    let mut woods: Vec<(Vec<Xy>, Vec<Vec<Xy>>)> = outers.into_iter().map(|o| (o, Vec::new())).collect();
    for clearing in clearings {
        let home = woods
            .iter_mut()
            .filter(|(outer, _)| path::inside(clearing[0], outer))
            .min_by(|a, b| ring_area(&a.0).total_cmp(&ring_area(&b.0)));
        if let Some((_, holes)) = home {
            holes.push(clearing);
        }
    }
    woods.retain(is_valid);
    woods
}

/// Whether the outline and its clearings neither cross themselves nor each other.
fn is_valid((outer, holes): &(Vec<Xy>, Vec<Vec<Xy>>)) -> bool {
    use geo::Validation;
    let ring = |r: &Vec<Xy>| geo::LineString::from(r.iter().map(|p| (p.x, p.y)).collect::<Vec<_>>());
    geo::Polygon::new(ring(outer), holes.iter().map(ring).collect()).is_valid()
}

/// Mean steepness over a few hundred metres, percent.
fn broad_slope_percent(relief: &Relief, p: Xy) -> f64 {
    let around = [(0.0, 0.0), (110.0, 0.0), (-110.0, 0.0), (0.0, 110.0), (0.0, -110.0)];
    around.iter().map(|&(x, y)| slope_percent(relief, p + Xy::new(x, y))).sum::<f64>() / 5.0
}

fn mask(seed: u64, relief: &Relief, occupied: &Occupied) -> Vec<f64> {
    let (broad, small) = (Noise::new(seed, 40), Noise::new(seed, 41));
    let mut value: Vec<f64> = (0..N * N)
        .map(|i| {
            let (r, c) = (i / N, i % N);
            if r == 0 || c == 0 || r == N - 1 || c == N - 1 {
                return -1.0;
            }
            let p = post(i);
            let slope = broad_slope_percent(relief, p);
            let height = relief.terrain.height_at(p).unwrap_or(0.0);
            let hanger =
                (slope - 27.0) / 14.0 + 1.7 * broad.octaves(p, 1_300.0, 3) - 0.25 - ((height - 300.0) / 80.0).max(0.0);
            let copse = small.octaves(p, 520.0, 2) * 1.6 - 1.28;
            hanger.max(copse).clamp(-1.0, 1.0)
        })
        .collect();
    for ring in occupied.outlines {
        let low = ring.iter().fold(ring[0], |a, p| Xy::new(a.x.min(p.x), a.y.min(p.y)));
        let high = ring.iter().fold(ring[0], |a, p| Xy::new(a.x.max(p.x), a.y.max(p.y)));
        clear_box(&mut value, low, high, 55.0, |p| path::inside(p, ring) || ring_distance(p, ring) < 55.0);
    }
    for road in occupied.roads {
        clear_line(&mut value, road, 50.0);
    }
    clear_line(&mut value, occupied.river, 55.0);
    for hazard in occupied.hazards {
        match &hazard.shape {
            HazardShape::Line(line) => clear_line(&mut value, line, 45.0),
            HazardShape::Point(p) => clear_box(&mut value, *p, *p, 70.0, |q| q.distance(*p) < 70.0),
            HazardShape::Area { outer, .. } if hazard.kind == HazardKind::Building => {
                clear_box(&mut value, outer[0], outer[0], 110.0, |q| q.distance(outer[0]) < 110.0);
            }
            HazardShape::Area { .. } => {}
        }
    }
    value
}

/// Closed lines of value zero (marching squares), wooded ground to the left: outlines run anticlockwise.
fn contours(value: &[f64]) -> Vec<Vec<Xy>> {
    // Every crossed side of a cell is named by its lower-left post and direction; each starts one piece of contour.
    let mut next: BTreeMap<(usize, bool), (usize, bool)> = BTreeMap::new();
    for r in 0..N - 1 {
        for c in 0..N - 1 {
            let i = r * N + c;
            let (sw, se, ne, nw) = (value[i] > 0.0, value[i + 1] > 0.0, value[i + N + 1] > 0.0, value[i + N] > 0.0);
            let (south, east, north, west) = ((i, true), (i + 1, false), (i + N, true), (i, false));
            // A piece runs from the side where one leaves bare ground on the right to the next crossed side.
            let mut add = |from, to| {
                next.insert(from, to);
            };
            match (sw, se, ne, nw) {
                (true, false, false, false) => add(south, west),
                (false, true, false, false) => add(east, south),
                (false, false, true, false) => add(north, east),
                (false, false, false, true) => add(west, north),
                (true, true, false, false) => add(east, west),
                (false, true, true, false) => add(north, south),
                (false, false, true, true) => add(west, east),
                (true, false, false, true) => add(south, north),
                (false, true, true, true) => add(west, south),
                (true, false, true, true) => add(south, east),
                (true, true, false, true) => add(east, north),
                (true, true, true, false) => add(north, west),
                (true, false, true, false) => {
                    add(south, west);
                    add(north, east);
                }
                (false, true, false, true) => {
                    add(east, south);
                    add(west, north);
                }
                _ => {}
            }
        }
    }
    let place = |(i, eastward): (usize, bool)| {
        let j = if eastward { i + 1 } else { i + N };
        let t = value[i] / (value[i] - value[j]);
        post(i) + (post(j) - post(i)) * t.clamp(0.08, 0.92)
    };
    let mut rings = Vec::new();
    while let Some((&start, _)) = next.first_key_value() {
        let mut ring = Vec::new();
        let mut at = start;
        while let Some(to) = next.remove(&at) {
            ring.push(place(at));
            at = to;
        }
        rings.push(ring);
    }
    rings
}

/// Leaves out vertices that lie within a tolerance of the line without them (Douglas and Peucker 1973).
fn simplify(ring: &[Xy], tolerance_m: f64) -> Vec<Xy> {
    if ring.len() < 6 {
        return ring.to_vec();
    }
    let half = ring.len() / 2;
    let mut keep = vec![false; ring.len()];
    keep[0] = true;
    keep[half] = true;
    let mut todo = vec![(0, half), (half, ring.len())];
    while let Some((a, b)) = todo.pop() {
        let (pa, pb) = (ring[a], ring[b % ring.len()]);
        let worst = (a + 1..b)
            .map(|i| (ring[i].distance(path::nearest_on_side(ring[i], pa, pb)), i))
            .max_by(|x, y| x.0.total_cmp(&y.0));
        if let Some((d, i)) = worst
            && d > tolerance_m
        {
            keep[i] = true;
            todo.push((a, i));
            todo.push((i, b));
        }
    }
    ring.iter().zip(keep).filter(|(_, k)| *k).map(|(&p, _)| p).collect()
}
