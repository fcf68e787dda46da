//! Tests of the reach as a whole, and the scenes they share.

mod analytic;
mod invariants;
mod least;
mod least_many;
mod obstacles;
mod reflown;

use super::{AircraftState, Reach, ReachOptions, forward_reach};
use crate::air::{Wind, WindProfile, WindVector};
use crate::aircraft::{Aircraft, GlideSpeed};
use crate::grid::{GridFrame, Terrain, TerrainAccuracy};
use crate::position::{Bearing, Xy};

/// Seeded hash of a lattice point to 0…1 (SplitMix64, Steele, Lea & Flood 2014).
fn hash01(seed: u64, x: i64, y: i64) -> f64 {
    let mut z = seed
        .wrapping_add((x as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15))
        .wrapping_add((y as u64).wrapping_mul(0xd1b5_4a32_d192_ed03));
    for _ in 0..2 {
        z = z.wrapping_add(0x9e37_79b9_7f4a_7c15);
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
    }
    (z >> 11) as f64 / (1u64 << 53) as f64
}

/// Numbers in 0…1 from a seed.
pub(super) struct Dice(pub(super) u64, pub(super) i64);
impl Dice {
    fn roll(&mut self) -> f64 {
        self.1 += 1;
        hash01(self.0, self.1, 0)
    }
    pub(super) fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.roll()
    }
}

/// Value noise summed over octaves: rough ground between 0 and about `relief_m`.
pub(super) fn fractal(seed: u64, size: usize, cell_m: f64, relief_m: f64, longest_cells: f64) -> Terrain {
    let noise = |octave: u64, x: f64, y: f64| {
        let (x0, y0) = (x.floor(), y.floor());
        let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
        let (u, v) = (smooth(x - x0), smooth(y - y0));
        let at = |i: i64, j: i64| hash01(seed.wrapping_add(octave * 7919), x0 as i64 + i, y0 as i64 + j);
        let (a, b) = (at(0, 0) + u * (at(1, 0) - at(0, 0)), at(0, 1) + u * (at(1, 1) - at(0, 1)));
        a + v * (b - a)
    };
    terrain_of(size, size, cell_m, |r, c| {
        let (mut sum, mut amplitude, mut wave) = (0.0, 0.5, longest_cells);
        for octave in 0..9 {
            sum += amplitude * noise(octave, c as f64 / wave, r as f64 / wave);
            amplitude *= 0.5;
            wave *= 0.5;
        }
        relief_m * sum
    })
}

fn terrain_of(rows: usize, cols: usize, cell_m: f64, height: impl Fn(usize, usize) -> f64) -> Terrain {
    let frame = GridFrame { origin: Xy::new(400_000.0, 5_500_000.0), cell_m, cols, rows };
    let heights_m = (0..rows * cols).map(|i| height(i / cols, i % cols) as f32).collect();
    Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
}

fn flat(size: usize, cell_m: f64, height: f64) -> Terrain {
    terrain_of(size, size, cell_m, |_, _| height)
}

fn centre(terrain: &Terrain) -> Xy {
    terrain.frame.centre(terrain.frame.rows / 2, terrain.frame.cols / 2)
}

pub(super) fn options(clearance_m: f64) -> ReachOptions {
    ReachOptions { clearance_m, reaction_time_s: 4.0, bend_turns: true }
}

fn at(position: Xy, height_amsl_m: f64, heading_deg: Option<f64>) -> AircraftState {
    AircraftState { position, height_amsl_m, heading: heading_deg.map(Bearing::from_deg) }
}

pub(super) fn wind(east_ms: f64, north_ms: f64) -> Wind {
    Wind::uniform(WindVector { east_ms, north_ms })
}

pub(super) fn log_wind(east_ms: f64, north_ms: f64, ground: f64) -> Wind {
    Wind::new(WindVector { east_ms, north_ms }, WindProfile::OPEN_GRASS, Vec::new(), ground)
}

fn held(speed_ms: f64) -> Aircraft {
    Aircraft { glide_speed: GlideSpeed::Held(speed_ms), ..Aircraft::example_flexwing() }
}

fn reach(terrain: &Terrain, aircraft: &Aircraft, wind: &Wind, state: &AircraftState, clearance: f64) -> Reach {
    forward_reach(terrain, aircraft, wind, state, &options(clearance), &|| false).unwrap()
}
