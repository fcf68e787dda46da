//! Terrain, wind and aircraft that benchmarks of reach share.

use sparefield_geometry::air::{Wind, WindProfile, WindVector};
use sparefield_geometry::aircraft::{Aircraft, GlideCurve};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{Bearing, Xy};

/// Seeded value noise over octaves (hash: SplitMix64 finaliser).
pub(crate) fn fractal(seed: u64, size: usize, cell_m: f64, relief_m: f64) -> Terrain {
    let hash = |octave: u64, x: i64, y: i64| {
        let mut z = seed ^ octave.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        z = z.wrapping_add((x as u64).wrapping_mul(0xbf58_476d_1ce4_e5b9))
            ^ (y as u64).wrapping_mul(0x94d0_49bb_1331_11eb);
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    };
    let frame = GridFrame { origin: Xy::new(0.0, 0.0), cell_m, cols: size, rows: size };
    let mut heights_m = vec![0.0f32; size * size];
    let (mut wave, mut amplitude) = (size as f64 / 2.0, relief_m / 2.0);
    for octave in 0..10 {
        for (i, h) in heights_m.iter_mut().enumerate() {
            let (x, y) = ((i % size) as f64 / wave, (i / size) as f64 / wave);
            let (u, v) =
                (x.fract() * x.fract() * (3.0 - 2.0 * x.fract()), y.fract() * y.fract() * (3.0 - 2.0 * y.fract()));
            let at = |dx, dy| hash(octave, x as i64 + dx, y as i64 + dy);
            let (a, b) = (at(0, 0) + u * (at(1, 0) - at(0, 0)), at(0, 1) + u * (at(1, 1) - at(0, 1)));
            *h += (amplitude * (a + v * (b - a))) as f32;
        }
        wave *= 0.5;
        amplitude *= 0.5;
    }
    Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
}

pub(crate) fn eight_ms(profile: WindProfile) -> Wind {
    let wind = WindVector::coming_from(Bearing::from_deg(240.0), 8.0);
    Wind::new(wind, profile, Vec::new(), 0.0)
}

/// The reference aircraft of the published comparisons: 8 : 1 at 18 m/s.
pub(crate) fn reference() -> Aircraft {
    Aircraft {
        glide: GlideCurve::from_best_glide(18.0, 8.0).unwrap_or(Aircraft::example_flexwing().glide),
        min_glide_speed_ms: 13.5,
        max_speed_ms: 28.0,
        ..Aircraft::example_flexwing()
    }
}
