//! Lanes between the blocks of farmland, laid where the going is easy.

use crate::SIDE_M;
use crate::features::{ring_distance, slope_percent};
use crate::noise::Noise;
use crate::parcels::Mesh;
use crate::path;
use crate::relief::Relief;
use sparefield_geometry::position::Xy;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Side of a cell of the search, metres.
const STEP_M: f64 = 50.0;
/// Cells in a row.
const N: usize = (SIDE_M / STEP_M) as usize;

/// The ends to join: (block, end of its first lane) or a place on the rim of the area.
enum End {
    Lane(usize, bool),
    Rim(f64, f64),
}

/// Pairs of ends. The first is the road from the home block to the village, over the bridge.
const JOINS: [(End, End); 10] = [
    (End::Lane(0, false), End::Lane(1, true)),
    (End::Lane(1, true), End::Lane(2, true)),
    (End::Lane(1, false), End::Lane(3, false)),
    (End::Lane(0, true), End::Rim(19_975.0, 13_100.0)),
    (End::Lane(0, false), End::Lane(5, false)),
    (End::Lane(5, true), End::Lane(4, false)),
    (End::Lane(3, true), End::Rim(10_500.0, 19_975.0)),
    (End::Lane(2, false), End::Rim(6_600.0, 25.0)),
    (End::Lane(1, false), End::Rim(25.0, 14_300.0)),
    (End::Lane(4, true), End::Rim(19_975.0, 3_200.0)),
];

fn cell(p: Xy) -> usize {
    let at = |v: f64| ((v / STEP_M) as usize).min(N - 1);
    at(p.y) * N + at(p.x)
}

fn centre(i: usize) -> Xy {
    Xy::new(((i % N) as f64 + 0.5) * STEP_M, ((i / N) as f64 + 0.5) * STEP_M)
}

/// Lanes between the blocks, local metres.
#[must_use]
pub fn between_blocks(seed: u64, relief: &Relief, mesh: &Mesh, outlines: &[Vec<Xy>]) -> Vec<Vec<Xy>> {
    let whim = Noise::new(seed, 50);
    let mut cost: Vec<u32> = (0..N * N)
        .map(|i| {
            let (r, c) = (i / N, i % N);
            if r < 2 || c < 2 || r > N - 3 || c > N - 3 {
                return 6_000;
            }
            let slope = slope_percent(relief, centre(i));
            // Old ways bend for reasons long forgotten.
            let bend = (1.0 + 0.9 * whim.octaves(centre(i), 900.0, 2)).max(0.15);
            ((100.0 + 4.0 * slope * slope) * bend) as u32
        })
        .collect();
    for p in path::resample(&relief.river, 25.0) {
        for i in 0..9 {
            let q = p + Xy::new(f64::from(i % 3 - 1), f64::from(i / 3 - 1)) * STEP_M;
            if q.x > 0.0 && q.y > 0.0 && q.x < SIDE_M && q.y < SIDE_M {
                cost[cell(q)] = 2_500;
            }
        }
    }
    for ring in outlines {
        let low = ring.iter().fold(ring[0], |a, p| Xy::new(a.x.min(p.x), a.y.min(p.y)));
        let high = ring.iter().fold(ring[0], |a, p| Xy::new(a.x.max(p.x), a.y.max(p.y)));
        let (c0, r0) = (((low.x / STEP_M) as usize).saturating_sub(1), ((low.y / STEP_M) as usize).saturating_sub(1));
        for r in r0..=((high.y / STEP_M) as usize + 1).min(N - 1) {
            for c in c0..=((high.x / STEP_M) as usize + 1).min(N - 1) {
                let p = centre(r * N + c);
                if path::inside(p, ring) || ring_distance(p, ring) < 42.0 {
                    cost[r * N + c] = u32::MAX;
                }
            }
        }
    }
    let place = |end: &End| match *end {
        End::Rim(x, y) => Some((Xy::new(x, y), Xy::new(x, y))),
        End::Lane(block, last) => {
            let lane = &mesh.lanes.iter().find(|(b, _)| *b == block)?.1;
            let (tip, before) = if last { (lane[lane.len() - 1], lane[lane.len() - 2]) } else { (lane[0], lane[1]) };
            let way = (tip - before) * (1.0 / tip.distance(before).max(1.0));
            Some((tip, tip + way * 75.0))
        }
    };
    let mut roads: Vec<Vec<Xy>> = Vec::new();
    for (from, to) in &JOINS {
        let (Some((tip_a, a)), Some((tip_b, b))) = (place(from), place(to)) else { continue };
        let Some(way) = cheapest(&cost, cell(a), cell(b)) else { continue };
        // Later lanes follow the ones already there where they can.
        for &i in &way {
            if cost[i] != u32::MAX {
                cost[i] = cost[i].min(20);
            }
        }
        let mut line = vec![tip_a];
        line.extend(way.iter().map(|&i| centre(i)));
        line.push(tip_b);
        roads.push(line);
    }
    // A stretch already covered by an earlier lane is not drawn twice.
    let mut seen = std::collections::BTreeSet::new();
    let mut out = Vec::new();
    for (k, road) in roads.iter().enumerate() {
        let mut run: Vec<Xy> = Vec::new();
        for &p in road {
            let key = ((p.x * 10.0) as i64, (p.y * 10.0) as i64);
            run.push(p);
            if k > 0 && seen.contains(&key) {
                if run.len() > 2 {
                    out.push(run);
                }
                run = vec![p];
            }
            seen.insert(key);
        }
        if run.len() > 1 {
            out.push(run);
        }
    }
    let mut smooth: Vec<Vec<Xy>> = Vec::new();
    for line in out {
        let last = line.len() - 1;
        let thin: Vec<Xy> =
            line.iter().enumerate().filter(|(i, _)| i % 3 == 0 || *i == last).map(|(_, &p)| p).collect();
        let mut bent = path::chaikin(&path::chaikin(&thin, false), false);
        // Smoothing has moved the lane that this one leaves or meets: join it where it is now.
        let known = || smooth.iter().chain(mesh.lanes.iter().map(|(_, lane)| lane)).flatten();
        let end = bent.len() - 1;
        for i in [0, end] {
            let here = bent[i];
            if let Some(&there) = known().min_by(|a, b| a.distance(here).total_cmp(&b.distance(here)))
                && there.distance(here) < 90.0
            {
                bent[i] = there;
            }
        }
        smooth.push(bent);
    }
    smooth
}

/// Dijkstra's search over the eight neighbours of each cell.
fn cheapest(cost: &[u32], from: usize, to: usize) -> Option<Vec<usize>> {
    let mut best = vec![u64::MAX; N * N];
    let mut came = vec![usize::MAX; N * N];
    let mut heap = BinaryHeap::new();
    best[from] = 0;
    heap.push(Reverse((0_u64, from)));
    while let Some(Reverse((so_far, i))) = heap.pop() {
        if i == to {
            break;
        }
        if so_far > best[i] {
            continue;
        }
        let (r, c) = (i / N, i % N);
        for dr in 0..3 {
            for dc in 0..3 {
                let (r, c) = ((r + dr).wrapping_sub(1), (c + dc).wrapping_sub(1));
                if r >= N || c >= N || (dr == 1 && dc == 1) {
                    continue;
                }
                let j = r * N + c;
                if cost[j] == u32::MAX && j != to {
                    continue;
                }
                let length = if dr == 1 || dc == 1 { 100 } else { 141 };
                let step = if cost[j] == u32::MAX { 100 } else { u64::from(cost[j]) };
                let total = so_far + step * length;
                if total < best[j] {
                    best[j] = total;
                    came[j] = i;
                    heap.push(Reverse((total, j)));
                }
            }
        }
    }
    let mut way = vec![to];
    while let Some(&last) = way.last() {
        if last == from {
            way.reverse();
            return Some(way);
        }
        let before = came[last];
        if before == usize::MAX {
            return None;
        }
        way.push(before);
    }
    None
}
