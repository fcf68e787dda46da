//! The shape of the land: a winding valley between two ridges, carved by running water.
//!
//! The land rises where `uplift` says, and rivers cut it down as the stream-power law says, until both balance;
//! soil creep rounds the slopes. The flood plain of the main river is given, and everything drains towards it.

use crate::noise::Noise;
use crate::path;
use crate::{CELL_M, SIDE_M};
use sparefield_geometry::grid::{GridFrame, SurfaceKind, Terrain, TerrainAccuracy};
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// Width of the extra land around the area that is carved too, so that the area has no artificial rim, metres.
const MARGIN_M: f64 = 4_000.0;
/// Height of the river where it leaves the area, metres above sea.
const RIVER_OUT_M: f64 = 96.0;
/// Fall of the river per metre along the valley.
const RIVER_FALL: f64 = 0.001_3;
/// Height of the highest ground above the flood plain near it, metres.
const RISE_M: f64 = 425.0;
/// Heights are written in steps of this, metres: fine enough for slopes, and small when compressed.
pub const HEIGHT_STEP_M: f64 = 1.0 / 16.0;

/// The middle of the valley, from north to south, in local metres.
const VALLEY: [(f64, f64); 13] = [
    (11_800.0, 26_000.0),
    (12_600.0, 23_500.0),
    (13_300.0, 21_000.0),
    (13_700.0, 18_600.0),
    (12_300.0, 16_400.0),
    (10_500.0, 14_700.0),
    (9_700.0, 12_500.0),
    (10_500.0, 10_300.0),
    (10_300.0, 8_100.0),
    (8_700.0, 6_300.0),
    (7_700.0, 4_200.0),
    (8_300.0, 1_800.0),
    (7_400.0, -6_000.0),
];

/// Crest of a ridge: points (x, y) with a height share, in local metres.
type Ridge = &'static [(f64, f64, f64)];

const WEST_RIDGE: Ridge = &[
    (5_200.0, 25_000.0, 0.7),
    (4_600.0, 20_500.0, 0.85),
    (3_900.0, 17_500.0, 1.0),
    (4_100.0, 14_500.0, 0.9),
    (3_000.0, 11_500.0, 0.75),
    (2_600.0, 8_500.0, 0.95),
    (1_700.0, 5_500.0, 0.8),
    (1_500.0, 1_000.0, 0.6),
    (500.0, -4_000.0, 0.5),
];
const EAST_RIDGE: Ridge = &[
    (19_800.0, 24_500.0, 0.6),
    (18_600.0, 20_000.0, 0.75),
    (17_400.0, 16_800.0, 0.85),
    (16_600.0, 14_000.0, 1.0),
    (17_300.0, 11_000.0, 0.95),
    (16_900.0, 8_600.0, 0.8),
];

/// Middle and radius of the plateau in the south-east.
const PLATEAU: (f64, f64, f64) = (15_600.0, 4_400.0, 3_100.0);
/// Height about which the plateau's top is levelled, metres above sea.
const PLATEAU_TOP_M: f64 = 290.0;

/// Side valleys, from the hills to the main valley: broad and low because little land rises there.
const SIDE_VALLEYS: [&[(f64, f64)]; 6] = [
    &[(4_600.0, 19_300.0), (7_200.0, 18_300.0), (9_600.0, 16_500.0), (10_800.0, 15_000.0)],
    &[(3_300.0, 13_200.0), (5_400.0, 12_600.0), (7_600.0, 11_500.0), (9_900.0, 11_600.0)],
    &[(2_300.0, 7_200.0), (4_100.0, 7_900.0), (6_300.0, 6_700.0), (8_700.0, 6_300.0)],
    &[(17_600.0, 18_200.0), (15_600.0, 17_600.0), (13_700.0, 17_800.0)],
    &[(16_900.0, 12_500.0), (14_700.0, 12_100.0), (12_600.0, 10_700.0), (10_400.0, 10_300.0)],
    &[(17_800.0, 7_900.0), (15_300.0, 8_300.0), (12_900.0, 7_300.0), (10_200.0, 7_800.0)],
];

/// The land and its river.
#[derive(Clone, Debug)]
pub struct Relief {
    /// Heights in local metres: the frame's origin is the centre of the north-west cell.
    pub terrain: Terrain,
    /// Centre line of the river, from north to south, local metres.
    pub river: Vec<Xy>,
    /// Middle of the valley, from north to south, local metres.
    pub valley: Vec<Xy>,
}

/// Half width of the flood plain at a place, metres.
fn flood_half_width(p: Xy, noise: Noise) -> f64 {
    let wide = 430.0 + 200.0 * noise.at(Xy::new(0.0, p.y), 4_500.0);
    wide.clamp(260.0, 650.0)
}

fn smooth_step(low: f64, high: f64, x: f64) -> f64 {
    let t = ((x - low) / (high - low)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

fn bump(distance_m: f64, width_m: f64) -> f64 {
    math::exp(-(distance_m / width_m) * (distance_m / width_m))
}

/// Largest contribution of a ridge's crest at a place.
fn ridge_share(p: Xy, ridge: Ridge, width_m: f64) -> f64 {
    let mut best = 0.0_f64;
    for pair in ridge.windows(2) {
        let (a, b) = (Xy::new(pair[0].0, pair[0].1), Xy::new(pair[1].0, pair[1].1));
        let along = b - a;
        let t = ((p - a).dot(along) / along.dot(along)).clamp(0.0, 1.0);
        let share = pair[0].2 + (pair[1].2 - pair[0].2) * t;
        best = best.max(share * bump(p.distance(a + along * t), width_m));
    }
    best
}

/// Everything that does not depend on the grid.
struct Plan {
    warp: Noise,
    rolling: Noise,
    hardness: Noise,
    width: Noise,
    fine: Noise,
    valley: Vec<Xy>,
    river: Vec<Xy>,
    valley_length_m: f64,
}

impl Plan {
    fn new(seed: u64) -> Self {
        let control: Vec<Xy> = VALLEY.iter().map(|&(x, y)| Xy::new(x, y)).collect();
        let valley = path::resample(&path::spline(&control, 40), 25.0);
        let wander = Noise::new(seed, 15);
        let mut river = Vec::new();
        for i in 0..valley.len() {
            let side = path::left_normal(&valley, i);
            let along_m = i as f64 * 25.0;
            let swing =
                wander.at(Xy::new(along_m, 0.0), 700.0) * 290.0 + wander.at(Xy::new(along_m, 900.0), 250.0) * 40.0;
            river.push(valley[i] + side * swing);
        }
        let river = path::resample(&path::chaikin(&path::chaikin(&river, false), false), 20.0);
        let valley_length_m = path::length(&valley);
        Self {
            warp: Noise::new(seed, 10),
            rolling: Noise::new(seed, 11),
            hardness: Noise::new(seed, 12),
            width: Noise::new(seed, 13),
            fine: Noise::new(seed, 14),
            valley,
            river,
            valley_length_m,
        }
    }

    /// How fast the land rises at a place, as a share of the fastest.
    fn uplift(&self, p: Xy) -> f64 {
        let q =
            p + Xy::new(self.warp.octaves(p, 3_600.0, 3), self.warp.octaves(p + Xy::new(7e4, 3e4), 3_600.0, 3)) * 900.0;
        let ridges = ridge_share(q, WEST_RIDGE, 2_900.0).max(ridge_share(q, EAST_RIDGE, 2_800.0));
        let away = q.distance(Xy::new(PLATEAU.0, PLATEAU.1));
        let plateau = 0.8 * (1.0 - smooth_step(0.55 * PLATEAU.2, 1.25 * PLATEAU.2, away));
        let rolling = 0.14 + 0.09 * self.rolling.octaves(p, 3_200.0, 3);
        let mut nearest = f64::INFINITY;
        for valley in SIDE_VALLEYS {
            let line: Vec<Xy> = valley.iter().map(|&(x, y)| Xy::new(x, y)).collect();
            nearest = nearest.min(path::distance(q, &line));
        }
        (rolling.max(0.03) + ridges.max(plateau)) * (1.0 - 0.8 * bump(nearest, 750.0))
    }

    /// How easily the ground is cut; low on the plateau's cap of hard rock.
    fn softness(&self, p: Xy) -> f64 {
        1.0 + 0.45 * self.hardness.octaves(p, 1_500.0, 3)
    }

    /// Height of the river's flood plain at a distance along the valley, metres above sea.
    fn river_height(&self, along_m: f64) -> f64 {
        let below_out_m = 6_000.0;
        RIVER_OUT_M + (self.valley_length_m - below_out_m - along_m) * RIVER_FALL
    }
}

/// A square grid of the carved land, including the margin.
struct Land {
    n: usize,
    cell_m: f64,
    heights: Vec<f64>,
}

impl Land {
    fn centre(&self, i: usize) -> Xy {
        let (row, col) = (i / self.n, i % self.n);
        Xy::new((col as f64 + 0.5) * self.cell_m - MARGIN_M, SIDE_M + MARGIN_M - (row as f64 + 0.5) * self.cell_m)
    }
}

/// Distance to the middle of the valley and distance along it, for cells near it (infinite elsewhere).
fn near_valley(land: &Land, plan: &Plan, reach_m: f64) -> Vec<(f64, f64)> {
    let mut found = vec![(f64::INFINITY, 0.0); land.n * land.n];
    let n = land.n as f64;
    for (k, &v) in plan.valley.iter().enumerate() {
        let col = (v.x + MARGIN_M) / land.cell_m - 0.5;
        let row = (SIDE_M + MARGIN_M - v.y) / land.cell_m - 0.5;
        let span = reach_m / land.cell_m;
        let (r0, r1) = ((row - span).max(0.0) as usize, (row + span).min(n - 1.0).max(0.0) as usize);
        let (c0, c1) = ((col - span).max(0.0) as usize, (col + span).min(n - 1.0).max(0.0) as usize);
        for r in r0..=r1 {
            for c in c0..=c1 {
                let i = r * land.n + c;
                let d = land.centre(i).distance(v);
                if d < found[i].0 {
                    found[i] = (d, k as f64 * 25.0);
                }
            }
        }
    }
    found
}

#[derive(PartialEq)]
struct Wet {
    height: f64,
    cell: usize,
}
impl Eq for Wet {}
impl PartialOrd for Wet {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Wet {
    fn cmp(&self, other: &Self) -> Ordering {
        other.height.total_cmp(&self.height).then(other.cell.cmp(&self.cell))
    }
}

/// The eight neighbours as (row step, column step, distance in cells).
const AROUND: [(isize, isize, f64); 8] = [
    (-1, 0, 1.0),
    (0, -1, 1.0),
    (0, 1, 1.0),
    (1, 0, 1.0),
    (-1, -1, core::f64::consts::SQRT_2),
    (-1, 1, core::f64::consts::SQRT_2),
    (1, -1, core::f64::consts::SQRT_2),
    (1, 1, core::f64::consts::SQRT_2),
];

/// Cells from low to high with hollows filled, and where the water of each goes.
///
/// Source: R. Barnes, C. Lehman, D. Mulla, "Priority-flood", Computers & Geosciences 62 (2014).
fn drainage(land: &Land, fixed: &[Option<f64>]) -> (Vec<usize>, Vec<(usize, f64)>, Vec<f64>) {
    let n = land.n;
    let mut filled = vec![f64::NAN; n * n];
    let mut order = Vec::with_capacity(n * n);
    let mut heap = BinaryHeap::new();
    for i in 0..n * n {
        if fixed[i].is_some() {
            filled[i] = land.heights[i];
            heap.push(Wet { height: filled[i], cell: i });
        }
    }
    let neighbours = |i: usize| {
        let (r, c) = ((i / n) as isize, (i % n) as isize);
        AROUND.iter().filter_map(move |&(dr, dc, d)| {
            let (r, c) = (r + dr, c + dc);
            let inside = r >= 0 && c >= 0 && r < n as isize && c < n as isize;
            inside.then(|| (r as usize * n + c as usize, d))
        })
    };
    while let Some(Wet { height, cell }) = heap.pop() {
        order.push(cell);
        for (j, _) in neighbours(cell) {
            if filled[j].is_nan() {
                filled[j] = land.heights[j].max(height + 1e-4);
                heap.push(Wet { height: filled[j], cell: j });
            }
        }
    }
    let mut goes_to: Vec<(usize, f64)> = (0..n * n).map(|i| (i, 1.0)).collect();
    for i in 0..n * n {
        if fixed[i].is_some() {
            continue;
        }
        let mut steepest = 0.0;
        for (j, d) in neighbours(i) {
            let slope = (filled[i] - filled[j]) / d;
            if slope > steepest {
                steepest = slope;
                goes_to[i] = (j, d);
            }
        }
    }
    (order, goes_to, filled)
}

/// One balance step of uplift against cutting (implicit, so that long steps stay stable).
///
/// Source: J. Braun, S. D. Willett, Geomorphology 180–181 (2013), the linear case of the stream-power law.
fn carve(land: &mut Land, fixed: &[Option<f64>], uplift: &[f64], softness: &[f64], step: f64) {
    let (order, goes_to, filled) = drainage(land, fixed);
    let mut area_km2 = vec![land.cell_m * land.cell_m / 1e6; land.n * land.n];
    for &i in order.iter().rev() {
        let j = goes_to[i].0;
        if j != i {
            area_km2[j] += area_km2[i];
        }
    }
    for &i in &order {
        if fixed[i].is_some() {
            continue;
        }
        let (j, d) = goes_to[i];
        let cut = softness[i] * math::pow(area_km2[i], 0.46) * step / (d * land.cell_m / 100.0);
        let risen = land.heights[i].max(filled[i].min(land.heights[j] + 0.5)) + uplift[i] * step;
        land.heights[i] = (risen + cut * land.heights[j]) / (1.0 + cut);
    }
}

/// Soil creep: each free cell moves towards the mean of its neighbours.
fn creep(land: &mut Land, fixed: &[Option<f64>], strength: f64) {
    let n = land.n;
    let old = land.heights.clone();
    for r in 1..n - 1 {
        for c in 1..n - 1 {
            let i = r * n + c;
            if fixed[i].is_none() {
                let straight = old[i - 1] + old[i + 1] + old[i - n] + old[i + n];
                let diagonal = old[i - n - 1] + old[i - n + 1] + old[i + n - 1] + old[i + n + 1];
                land.heights[i] += strength * ((straight * 2.0 + diagonal) / 12.0 - old[i]);
            }
        }
    }
}

/// The same land on a finer or coarser grid (bicubic, Catmull–Rom).
fn resample(land: &Land, cell_m: f64) -> Land {
    let n = ((SIDE_M + 2.0 * MARGIN_M) / cell_m).round() as usize;
    let mut out = Land { n, cell_m, heights: vec![0.0; n * n] };
    let old = land.n as isize;
    let weights = |t: f64| {
        [
            ((-0.5 * t + 1.0) * t - 0.5) * t,
            (1.5 * t - 2.5) * t * t + 1.0,
            ((-1.5 * t + 2.0) * t + 0.5) * t,
            (0.5 * t - 0.5) * t * t,
        ]
    };
    for r in 0..n {
        let y = (r as f64 + 0.5) * cell_m / land.cell_m - 0.5;
        let wy = weights(y - y.floor());
        for c in 0..n {
            let x = (c as f64 + 0.5) * cell_m / land.cell_m - 0.5;
            let wx = weights(x - x.floor());
            let mut sum = 0.0;
            for (a, wa) in wy.iter().enumerate() {
                let rr = (y.floor() as isize + a as isize - 1).clamp(0, old - 1) as usize;
                for (b, wb) in wx.iter().enumerate() {
                    let cc = (x.floor() as isize + b as isize - 1).clamp(0, old - 1) as usize;
                    sum += wa * wb * land.heights[rr * land.n + cc];
                }
            }
            out.heights[r * n + c] = sum;
        }
    }
    out
}

/// Heights that do not move: the flood plain, and the outer rim.
fn given_heights(land: &Land, plan: &Plan) -> Vec<Option<f64>> {
    let near = near_valley(land, plan, 800.0);
    let n = land.n;
    (0..n * n)
        .map(|i| {
            let p = land.centre(i);
            let (d, along_m) = near[i];
            let half = flood_half_width(p, plan.width);
            if d < half {
                let across = d / half;
                return Some(plan.river_height(along_m) + 3.0 * across * across);
            }
            let (r, c) = (i / n, i % n);
            let rim = r == 0 || c == 0 || r == n - 1 || c == n - 1;
            rim.then(|| 150.0 + 0.001_5 * p.y.max(0.0) + 25.0 * plan.rolling.at(p, 6_000.0))
        })
        .collect()
}

/// Makes the land from a seed.
#[must_use]
pub fn make(seed: u64) -> Relief {
    let plan = Plan::new(seed);
    let start = Noise::new(seed, 16);
    let coarse = ((SIDE_M + 2.0 * MARGIN_M) / 100.0).round() as usize;
    let mut land = Land { n: coarse, cell_m: 100.0, heights: vec![0.0; coarse * coarse] };
    for i in 0..land.heights.len() {
        let p = land.centre(i);
        land.heights[i] = 150.0 + 260.0 * plan.uplift(p) + 30.0 * start.octaves(p, 2_000.0, 5);
    }
    let mut scale = 1.0;
    for (cell_m, rounds, creep_rounds) in [(100.0, 60, 3), (50.0, 12, 7)] {
        if cell_m < land.cell_m {
            land = resample(&land, cell_m);
        }
        let fixed = given_heights(&land, &plan);
        let places: Vec<Xy> = (0..land.heights.len()).map(|i| land.centre(i)).collect();
        let softness: Vec<f64> = places.iter().map(|&p| plan.softness(p).max(0.25)).collect();
        let uplift: Vec<f64> = places.iter().map(|&p| plan.uplift(p)).collect();
        for (h, f) in land.heights.iter_mut().zip(&fixed) {
            *h = f.unwrap_or(*h);
        }
        for round in 0..rounds {
            let lifted: Vec<f64> = uplift.iter().map(|u| u * scale).collect();
            carve(&mut land, &fixed, &lifted, &softness, 12.0);
            for _ in 0..creep_rounds {
                creep(&mut land, &fixed, 0.9);
            }
            if cell_m > 60.0 && round % 5 == 4 {
                // The law is linear in the uplift, so its strength follows from the height that is wanted.
                let top = land.heights.iter().copied().fold(0.0, f64::max);
                scale *= (RISE_M / (top - RIVER_OUT_M - 20.0)).clamp(0.5, 2.0);
            }
        }
    }
    let fine = resample(&land, CELL_M);
    finish(fine, plan)
}

/// Rounds the tops: the higher the ground, the more it is pressed down.
fn round_summits(height: f64) -> f64 {
    let over = (height - 340.0).max(0.0);
    height.min(340.0) + 330.0 * over / (330.0 + over)
}

/// Presses what stands above the plateau's level down towards it.
fn level_plateau(height: f64, p: Xy) -> f64 {
    let within = 1.0 - smooth_step(0.9 * PLATEAU.2, 1.4 * PLATEAU.2, p.distance(Xy::new(PLATEAU.0, PLATEAU.1)));
    let over = height - (PLATEAU_TOP_M - 45.0);
    if over <= 0.0 {
        return height;
    }
    let pressed = PLATEAU_TOP_M - 45.0 + 70.0 * over / (70.0 + over);
    height + (pressed - height) * within
}

/// Rounds slopes, adds small unevenness and the river's bed, cuts the margin off, and rounds heights.
fn finish(mut land: Land, plan: Plan) -> Relief {
    let none = vec![None; land.heights.len()];
    for _ in 0..4 {
        creep(&mut land, &none, 0.9);
    }
    let near = near_valley(&land, &plan, 900.0);
    let side = (SIDE_M / CELL_M).round() as usize;
    let skip = (MARGIN_M / CELL_M).round() as usize;
    let mut bed = vec![f64::INFINITY; land.heights.len()];
    for &v in &plan.river {
        let col = ((v.x + MARGIN_M) / CELL_M - 0.5).round() as isize;
        let row = ((SIDE_M + MARGIN_M - v.y) / CELL_M - 0.5).round() as isize;
        for r in row - 2..=row + 2 {
            for c in col - 2..=col + 2 {
                if r >= 0 && c >= 0 && r < land.n as isize && c < land.n as isize {
                    let i = r as usize * land.n + c as usize;
                    bed[i] = bed[i].min(land.centre(i).distance(v));
                }
            }
        }
    }
    let mut heights_m = Vec::with_capacity(side * side);
    for r in 0..side {
        for c in 0..side {
            let i = (r + skip) * land.n + c + skip;
            let p = land.centre(i);
            let on_plain = 1.0 - smooth_step(300.0, 700.0, near[i].0);
            let uneven = plan.fine.octaves(p, 420.0, 3) * (1.6 - 1.35 * on_plain);
            let cut = 2.2 * (1.0 - smooth_step(10.0, 40.0, bed[i]));
            let top = round_summits(level_plateau(land.heights[i], p));
            let height = top + uneven - cut;
            heights_m.push(((height / HEIGHT_STEP_M).round() * HEIGHT_STEP_M) as f32);
        }
    }
    let frame =
        GridFrame { origin: Xy::new(CELL_M / 2.0, SIDE_M - CELL_M / 2.0), cell_m: CELL_M, cols: side, rows: side };
    let accuracy = TerrainAccuracy { point_to_point_m: 0.1, kind: SurfaceKind::BareGround };
    Relief { terrain: Terrain { frame, heights_m, accuracy }, river: plan.river, valley: plan.valley }
}
