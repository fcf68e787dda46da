//! Land cover and a surface model as a survey from above would give them: the truth of the area, seen with errors.
//!
//! The errors are those of real products: a class is right as often as published for it (Z. S. Venter et al., Remote
//! Sensing 14 (2022) 4101: trees 81 %, crops 78 %, grass 34 %, built 83 %, water 92 %), wrong in smooth patches and not
//! cell by cell; a surface model has centimetres of noise, sees hedges and trees and neither fences nor wires.

use crate::features::Area;
use crate::noise::{Noise, mix};
use crate::path;
use crate::{SIDE_M, obstacles};
use sparefield_geometry::fields::model::{EdgeKind, HazardKind, HazardShape, Surface};
use sparefield_geometry::grid::{GridFrame, SurfaceKind, Terrain, TerrainAccuracy};
use sparefield_geometry::position::Xy;

/// Side of a cell of the land-cover map, metres.
pub const COVER_CELL_M: f64 = 10.0;
/// Side of a cell of the surface model, metres.
pub const SURFACE_CELL_M: f64 = 4.0;
/// South-west and north-east corner of the surface model: the land around the home strip, local metres.
pub const SURFACE_WINDOW_M: (Xy, Xy) = (Xy::new(10_400.0, 10_200.0), Xy::new(13_500.0, 12_700.0));
/// Heights of the surface model come in steps of this, metres, so that it stays small.
pub const SURFACE_STEP_M: f64 = 0.125;

/// Class numbers as in the ESA WorldCover maps.
pub mod class {
    /// Trees.
    pub const TREES: u8 = 10;
    /// Shrubs.
    pub const SHRUB: u8 = 20;
    /// Grass.
    pub const GRASS: u8 = 30;
    /// Crops.
    pub const CROP: u8 = 40;
    /// Houses, yards, lanes.
    pub const BUILT: u8 = 50;
    /// Bare ground.
    pub const BARE: u8 = 60;
    /// Water.
    pub const WATER: u8 = 80;
    /// Wetland.
    pub const WETLAND: u8 = 90;
}
use class::{BARE, BUILT, CROP, GRASS, SHRUB, TREES, WATER, WETLAND};

/// The grid of the land-cover map, local metres.
#[must_use]
pub fn cover_frame() -> GridFrame {
    let count = (SIDE_M / COVER_CELL_M) as usize;
    let half = COVER_CELL_M / 2.0;
    GridFrame { origin: Xy::new(half, SIDE_M - half), cell_m: COVER_CELL_M, cols: count, rows: count }
}

/// Calls back with the row-major number of every cell whose middle lies inside rings (even–odd).
fn inside(frame: &GridFrame, rings: &[&[Xy]], mut hit: impl FnMut(usize)) {
    let all = || rings.iter().flat_map(|r| r.iter());
    let top = all().fold(f64::NEG_INFINITY, |m, p| m.max(p.y));
    let bottom = all().fold(f64::INFINITY, |m, p| m.min(p.y));
    for row in 0..frame.rows {
        let y = frame.centre(row, 0).y;
        if y > top || y < bottom {
            continue;
        }
        let mut crossings = Vec::new();
        for ring in rings {
            for (i, &p) in ring.iter().enumerate() {
                let q = ring[(i + 1) % ring.len()];
                if (p.y > y) != (q.y > y) {
                    crossings.push(p.x + (q.x - p.x) * (y - p.y) / (q.y - p.y));
                }
            }
        }
        crossings.sort_by(f64::total_cmp);
        for pair in crossings.chunks_exact(2) {
            let first = ((pair[0] - frame.origin.x) / frame.cell_m).ceil().max(0.0) as usize;
            let last = ((pair[1] - frame.origin.x) / frame.cell_m).floor();
            let mut col = first;
            while (col as f64) <= last && col < frame.cols {
                hit(row * frame.cols + col);
                col += 1;
            }
        }
    }
}

/// Calls back with every cell whose middle lies within a distance of a side, and that distance.
fn near(frame: &GridFrame, a: Xy, b: Xy, reach_m: f64, mut hit: impl FnMut(usize, f64)) {
    let (r0, c0) = frame.fractional(Xy::new(a.x.min(b.x) - reach_m, a.y.max(b.y) + reach_m));
    let (r1, c1) = frame.fractional(Xy::new(a.x.max(b.x) + reach_m, a.y.min(b.y) - reach_m));
    let range = |low: f64, high: f64, count: usize| {
        (low.ceil().max(0.0) as usize)..((high.floor() + 1.0).clamp(0.0, count as f64) as usize)
    };
    for row in range(r0, r1, frame.rows) {
        for col in range(c0, c1, frame.cols) {
            let p = frame.centre(row, col);
            let distance = p.distance(path::nearest_on_side(p, a, b));
            if distance <= reach_m {
                hit(row * frame.cols + col, distance);
            }
        }
    }
}

fn sides(ring: &[Xy]) -> impl Iterator<Item = (Xy, Xy)> + '_ {
    (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()]))
}

/// What really covers each cell, row-major from the north-west.
#[must_use]
pub fn truth(area: &Area, seed: u64) -> Vec<u8> {
    let frame = cover_frame();
    let scrub = Noise::new(seed, 60);
    let mut cells: Vec<u8> = (0..frame.len())
        .map(|i| {
            let p = frame.centre(i / frame.cols, i % frame.cols);
            if scrub.octaves(p, 420.0, 2) > 0.62 { SHRUB } else { GRASS }
        })
        .collect();
    for field in &area.fields {
        let grown = match field.surface {
            Surface::GrazedGrass | Surface::LongGrass | Surface::SoftOrWet => GRASS,
            _ => CROP,
        };
        let rings: Vec<&[Xy]> = std::iter::once(&field.outer[..]).chain(field.holes.iter().map(|h| &h[..])).collect();
        inside(&frame, &rings, |i| cells[i] = grown);
    }
    for field in &area.fields {
        for ((a, b), edge) in sides(&field.outer).zip(&field.edges) {
            if edge.kind == EdgeKind::TreeLine {
                near(&frame, a, b, COVER_CELL_M / 2.0, |i, _| cells[i] = TREES);
            }
        }
    }
    for line in &area.lines {
        let (class, reach_m) = if line.kind == "lane" { (BUILT, 5.0) } else { (WATER, 8.0) };
        for pair in line.line.windows(2) {
            near(&frame, pair[0], pair[1], reach_m, |i, _| cells[i] = class);
        }
    }
    for hazard in &area.hazards {
        match (&hazard.shape, hazard.kind) {
            (HazardShape::Area { outer, holes }, kind) => {
                let class = match kind {
                    HazardKind::Wood => TREES,
                    HazardKind::Water => WATER,
                    _ => BUILT,
                };
                let rings: Vec<&[Xy]> = std::iter::once(&outer[..]).chain(holes.iter().map(|h| &h[..])).collect();
                inside(&frame, &rings, |i| cells[i] = class);
                if class == BUILT {
                    sides(outer).for_each(|(a, b)| near(&frame, a, b, 6.0, |i, _| cells[i] = BUILT));
                }
            }
            (HazardShape::Point(p), HazardKind::LoneTree) => near(&frame, *p, *p, 5.0, |i, _| cells[i] = TREES),
            _ => {}
        }
    }
    cells
}

/// How often a class is mapped as itself, and as what else, in shares of the errors.
fn confusion(class: u8) -> (f64, &'static [(f64, u8)]) {
    match class {
        TREES => (0.81, &[(0.5, GRASS), (1.0, SHRUB)]),
        CROP => (0.78, &[(0.6, GRASS), (0.75, TREES), (0.9, BARE), (1.0, BUILT)]),
        GRASS => (0.34, &[(0.55, CROP), (0.8, SHRUB), (0.92, TREES), (1.0, BARE)]),
        SHRUB => (0.5, &[(0.6, GRASS), (1.0, TREES)]),
        BUILT => (0.83, &[(0.5, GRASS), (0.8, CROP), (1.0, TREES)]),
        WATER => (0.92, &[(0.5, WETLAND), (1.0, GRASS)]),
        _ => (1.0, &[(1.0, GRASS)]),
    }
}

/// The land cover as mapped: the truth with errors in patches, each class wrong as often as published.
#[must_use]
pub fn mapped(truth: &[u8], seed: u64) -> Vec<u8> {
    let frame = cover_frame();
    let (wrong, which) = (Noise::new(seed, 61), Noise::new(seed, 62));
    let mut out = truth.to_vec();
    let doubt: Vec<f32> = (0..frame.len())
        .map(|i| wrong.octaves(frame.centre(i / frame.cols, i % frame.cols), 160.0, 2) as f32)
        .collect();
    for class in [TREES, SHRUB, GRASS, CROP, BUILT, WATER] {
        let (right, instead) = confusion(class);
        let cells: Vec<usize> = (0..truth.len()).filter(|&i| truth[i] == class).collect();
        let mut values: Vec<f32> = cells.iter().map(|&i| doubt[i]).collect();
        let rank = ((right * values.len() as f64) as usize).min(values.len().saturating_sub(1));
        if values.is_empty() {
            continue;
        }
        let (_, &mut limit, _) = values.select_nth_unstable_by(rank, f32::total_cmp);
        for &i in cells.iter().filter(|&&i| doubt[i] >= limit) {
            let p = frame.centre(i / frame.cols, i % frame.cols);
            let throw = (0.5 + 0.9 * which.at(p, 450.0)).clamp(0.0, 0.999);
            out[i] = instead.iter().find(|(upto, _)| throw < *upto).map_or(class, |(_, c)| *c);
        }
    }
    out
}

/// Random value from −1 to 1 for a cell, nearly normal (sum of four even ones), with a standard deviation of 0.29.
fn grain(seed: u64, i: usize) -> f64 {
    let bits = mix(seed ^ mix(i as u64 ^ 0x51DE));
    (0..4).map(|k| f64::from((bits >> (16 * k)) as u16) / 65_535.0).sum::<f64>() / 2.0 - 1.0
}

/// The surface model: ground, what grows and stands on it, and noise.
#[must_use]
pub fn surface(area: &Area, truth: &[u8], seed: u64) -> Terrain {
    let (low, high) = SURFACE_WINDOW_M;
    let half = SURFACE_CELL_M / 2.0;
    let frame = GridFrame {
        origin: Xy::new(low.x + half, high.y - half),
        cell_m: SURFACE_CELL_M,
        cols: ((high.x - low.x) / SURFACE_CELL_M) as usize,
        rows: ((high.y - low.y) / SURFACE_CELL_M) as usize,
    };
    let cover = cover_frame();
    let (texture, bias) = (Noise::new(seed, 63), Noise::new(seed, 64));
    // Crowns are uneven: 70 to 100 % of the height.
    let crown = |i: usize| 0.85 + 0.15 * texture.at(frame.centre(i / frame.cols, i % frame.cols), 9.0).clamp(-1.0, 1.0);
    let mut standing = vec![0.0f64; frame.len()];
    for (i, height) in standing.iter_mut().enumerate() {
        let p = frame.centre(i / frame.cols, i % frame.cols);
        if let Some((r, c)) = cover.cell_of(p)
            && truth[r * cover.cols + c] == SHRUB
        {
            *height = 1.6 * crown(i);
        }
    }
    for field in &area.fields {
        let grown = match field.surface {
            Surface::TallCrop => 0.9,
            Surface::LongGrass => 0.35,
            Surface::ShortCrop => 0.15,
            _ => 0.05,
        };
        inside(&frame, &[&field.outer[..]], |i| standing[i] = grown);
    }
    let mut raise = |i: usize, height: f64| standing[i] = standing[i].max(height);
    for field in &area.fields {
        for ((a, b), edge) in sides(&field.outer).zip(&field.edges) {
            match edge.kind {
                // A cell shows a hedge that reaches into it; the first return comes from its top.
                EdgeKind::Hedge => near(&frame, a, b, half + 0.7, |i, _| raise(i, edge.height_m.unwrap_or(2.2))),
                EdgeKind::TreeLine => {
                    near(&frame, a, b, half + 2.5, |i, _| raise(i, edge.height_m.unwrap_or(13.0) * crown(i)));
                }
                EdgeKind::Wall => near(&frame, a, b, half, |i, _| raise(i, 0.6)),
                _ => {}
            }
        }
    }
    for hazard in &area.hazards {
        let height = hazard.height_m.unwrap_or(hazard.kind.assumed_height_m());
        match (&hazard.shape, hazard.kind) {
            (HazardShape::Area { outer, holes }, HazardKind::Wood | HazardKind::Building) => {
                let rings: Vec<&[Xy]> = std::iter::once(&outer[..]).chain(holes.iter().map(|h| &h[..])).collect();
                let even = hazard.kind == HazardKind::Building;
                inside(&frame, &rings, |i| raise(i, if even { height } else { height * crown(i) }));
            }
            (HazardShape::Point(p), HazardKind::LoneTree) => {
                near(&frame, *p, *p, obstacles::CROWN_M, |i, d| {
                    raise(i, height * (1.0 - 0.4 * d / obstacles::CROWN_M));
                });
            }
            _ => {}
        }
    }
    let heights_m = standing
        .iter()
        .enumerate()
        .map(|(i, standing)| {
            let p = frame.centre(i / frame.cols, i % frame.cols);
            let ground = area.relief.terrain.height_at(p).unwrap_or(f64::NAN);
            let error = 0.35 * grain(seed, i) + 0.1 * bias.at(p, 300.0);
            (((ground + standing + error) / SURFACE_STEP_M).round() * SURFACE_STEP_M) as f32
        })
        .collect();
    Terrain { frame, heights_m, accuracy: TerrainAccuracy { point_to_point_m: 0.2, kind: SurfaceKind::SurfaceModel } }
}
