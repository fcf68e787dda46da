//! Wind that is not known: least heights in many winds about the forecast.
//!
//! The winds are the points of a rule of equal weights, not drawn by chance: speeds are the middles of equal shares of a
//! normal distribution, and directions are spread over them by the golden ratio, so that any number of winds covers both
//! evenly. The same input gives the same winds, and on any number of threads the same bits.
//!
//! # Memory
//! Of all the winds only the greatest heights of every cell are kept, as many as decide about nine in ten (11 of 100, as
//! `f32`), and one count; 4 to 16 maps are worked on at a time.
//!
//! # Source
//! Points a·(i + ½) modulo 1 with an irrational a: Niederreiter, *Random Number Generation and Quasi-Monte Carlo Methods*
//! (1992), chapter 3, from memory.

use super::LeastError;
use super::solve::{Ground, LeastOptions, solved};
use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::circuit::{Uncertainty, normal_score};
use crate::fields::demand::Demand;
use crate::grid::{GridFrame, Terrain};
use crate::math;
use crate::wide::{Wide, wide};
use rayon::prelude::*;
use std::sync::atomic::{AtomicUsize, Ordering};

/// The share of winds that counts as nearly always. Common practice, no source.
pub const NINE_IN_TEN: f64 = 0.9;
/// Maps worked on at the same time, which bounds memory on any number of threads: at least, at most, and the cells of all.
const AT_ONCE: usize = 4;
const MOST_AT_ONCE: usize = 16;
const CELLS_OF_MAPS: usize = 16 << 20;
/// Neighbouring cells whose greatest heights lie together and are brought up to date together.
const TOGETHER: usize = 16;
/// Groups of so many cells that one thread takes in one go, at least.
const GROUPS_OF_THREAD: usize = 256;
/// Winds at most.
pub const MOST_WINDS: usize = 1_000;
/// (√5 − 1) / 2.
const GOLDEN: f64 = 0.618_033_988_749_894_8;

/// How well the wind is known, each as one standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindDoubt {
    /// Of its speed, m/s.
    pub speed_ms: f64,
    /// Of its direction, radians.
    pub direction_rad: f64,
}

impl Default for WindDoubt {
    /// What forecasts are known to be out by; the sources stand with [`Uncertainty`].
    fn default() -> Self {
        let known = Uncertainty::default();
        Self { speed_ms: known.wind_speed_ms, direction_rad: known.wind_direction_rad }
    }
}

/// So many winds about one, all as likely as each other.
///
/// Speed and direction are out independently of each other, the same at every height: all layers turn by one angle and
/// change by one factor, that of the surface wind. About a calm surface wind come winds from all round. A count below 1 or above [`MOST_WINDS`] is taken as that.
#[must_use]
pub fn winds_about(wind: &Wind, doubt: &WindDoubt, count: usize) -> Vec<Wind> {
    let count = count.clamp(1, MOST_WINDS);
    (0..count)
        .map(|i| {
            let middle = i as f64 + 0.5;
            let along = middle / count as f64;
            let around = (middle * GOLDEN).fract();
            let speed = doubt.speed_ms * normal_score(along);
            wind.disturbed(speed, doubt.direction_rad * normal_score(around), math::TAU * around)
        })
        .collect()
}

/// Least heights in many winds.
#[derive(Clone, Debug, PartialEq)]
pub struct ManyWinds {
    /// The terrain's cells.
    pub frame: GridFrame,
    /// How many winds.
    pub winds: usize,
    /// Height above the ground for which winds were counted, metres.
    pub height_agl_m: f64,
    /// Least height that covers each cell in nine winds of ten, metres above mean sea level, rounded up; `NaN` where none
    /// below the ceiling does.
    pub nine_in_ten: Vec<f32>,
    /// In how many winds each cell is covered from the height asked for.
    counts: Vec<u16>,
}

impl ManyWinds {
    /// The share of winds in which a cell is covered from the height asked for, 0 to 1; `None` beyond the cells.
    #[must_use]
    pub fn share_at_cell(&self, row: usize, col: usize) -> Option<f64> {
        if row >= self.frame.rows || col >= self.frame.cols {
            return None;
        }
        Some(f64::from(self.counts[row * self.frame.cols + col]) / self.winds as f64)
    }
    /// The share of winds by cell, `NaN` where the ground is not known.
    #[must_use]
    pub fn shares(&self, terrain: &Terrain) -> Vec<f32> {
        let share = |(count, ground): (&u16, &f32)| {
            if ground.is_nan() { f32::NAN } else { f32::from(*count) / self.winds as f32 }
        };
        self.counts.iter().zip(&terrain.heights_m).map(share).collect()
    }
    /// Number of cells with known ground, and of those covered in nine winds of ten from a height above the ground.
    #[must_use]
    pub fn covered(&self, terrain: &Terrain, height_agl_m: f64) -> (usize, usize) {
        let mut counts = (0, 0);
        for (least, ground) in self.nine_in_ten.iter().zip(&terrain.heights_m) {
            if ground.is_finite() {
                counts.0 += 1;
                counts.1 += usize::from(f64::from(*least) <= f64::from(*ground) + height_agl_m);
            }
        }
        counts
    }
    /// Mean share of winds over the cells with known ground; `None` without any.
    #[must_use]
    pub fn mean_share(&self, terrain: &Terrain) -> Option<f64> {
        let known = self.counts.iter().zip(&terrain.heights_m).filter(|(_, ground)| ground.is_finite());
        let (cells, sum) = known.fold((0_u64, 0_u64), |(n, sum), (count, _)| (n + 1, sum + u64::from(*count)));
        (cells > 0).then(|| sum as f64 / (cells as f64 * self.winds as f64))
    }
}

/// Least heights in all of `winds`, and in how many of them each place is covered from a height above the ground.
///
/// `asks` tells what the fields ask in a wind; `None` says that the aircraft cannot fly in it, and then it covers nothing.
/// `progress` hears the share done.
///
/// # Errors
/// As [`super::least_heights`]; stopped also without any wind.
#[allow(clippy::too_many_arguments, reason = "what a map is made from, and the two ways to talk back")]
pub fn many_winds(
    terrain: &Terrain,
    aircraft: &Aircraft,
    winds: &[Wind],
    asks: &(dyn Fn(&Wind) -> Option<Vec<Demand>> + Sync),
    options: &LeastOptions,
    height_agl_m: f64,
    progress: &(dyn Fn(f32) + Sync),
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<ManyWinds, LeastError> {
    if winds.is_empty() || winds.len() > MOST_WINDS {
        return Err(LeastError::Stopped);
    }
    let needed = options.fields_needed;
    // The height that is enough in nine of ten is the greatest but so many.
    let enough = (NINE_IN_TEN * winds.len() as f64).ceil() as usize;
    let kept = winds.len() - enough + 1;
    let cells = terrain.frame.len();
    let ground = Ground::new(terrain);
    let at_once = (CELLS_OF_MAPS / cells.max(1)).clamp(AT_ONCE, MOST_AT_ONCE);
    let mut greatest = vec![f32::NEG_INFINITY; cells.div_ceil(TOGETHER) * TOGETHER * kept];
    let mut counts = vec![0_u16; cells];
    let done = AtomicUsize::new(0);
    for part in winds.chunks(at_once) {
        let rasters = part
            .par_iter()
            .map(|wind| {
                let raster = match asks(wind) {
                    None => None,
                    Some(demands) => {
                        let found = solved(&ground, aircraft, wind, &demands, options, &|_| {}, &|| stopped())?;
                        Some(found.raster(needed))
                    }
                };
                progress((done.fetch_add(1, Ordering::Relaxed) + 1) as f32 / winds.len() as f32);
                Ok(raster)
            })
            .collect::<Result<Vec<Option<Vec<f32>>>, LeastError>>()?;
        if stopped() {
            return Err(LeastError::Stopped);
        }
        let parts = greatest.par_chunks_mut(TOGETHER * kept).zip(counts.par_chunks_mut(TOGETHER));
        parts.enumerate().with_min_len(GROUPS_OF_THREAD).for_each(|(number, (greatest, counts))| {
            let first = number * TOGETHER;
            let mut asked_amsl_m = [f64::NAN; TOGETHER];
            for (asked, ground) in asked_amsl_m.iter_mut().zip(&terrain.heights_m[first..]) {
                *asked = f64::from(*ground) + height_agl_m;
            }
            for raster in &rasters {
                let raster = raster.as_ref().map_or(&[][..], |raster| &raster[first..]);
                let least = raster.first_chunk().copied().unwrap_or_else(|| {
                    let mut least = [f32::NAN; TOGETHER];
                    least[..raster.len()].copy_from_slice(raster);
                    least
                });
                // In which order they come makes no difference.
                wide(OneMore { greatest, counts, least: &least, asked_amsl_m: &asked_amsl_m });
            }
        });
    }
    let nine_in_ten = (0..cells).map(|cell| {
        let least = greatest[cell / TOGETHER * TOGETHER * kept + (kept - 1) * TOGETHER + cell % TOGETHER];
        if least.is_finite() { least } else { f32::NAN }
    });
    let nine_in_ten = nine_in_ten.collect();
    Ok(ManyWinds { frame: terrain.frame, winds: winds.len(), height_agl_m, nine_in_ten, counts })
}

/// Brings neighbouring cells up to date with what they need in one more wind.
struct OneMore<'a> {
    greatest: &'a mut [f32],
    counts: &'a mut [u16],
    least: &'a [f32; TOGETHER],
    /// The height asked for over each, metres above mean sea level.
    asked_amsl_m: &'a [f64; TOGETHER],
}

impl Wide for OneMore<'_> {
    type Out = ();

    #[inline(always)]
    fn work(self) {
        for ((count, least), asked) in self.counts.iter_mut().zip(self.least).zip(self.asked_amsl_m) {
            *count += u16::from(f64::from(*least) <= *asked);
        }
        let mut values = *self.least;
        for value in &mut values {
            *value = if value.is_nan() { f32::INFINITY } else { *value };
        }
        insert(self.greatest, values);
    }
}

/// Keeps the greatest values of neighbouring cells: the greatest of each, then the next of each, and so on.
#[inline(always)]
fn insert(greatest: &mut [f32], mut values: [f32; TOGETHER]) {
    let (kept, _) = greatest.as_chunks_mut::<TOGETHER>();
    // Most are smaller than all that are kept.
    let Some(last) = kept.last() else { return };
    let greater: u32 = values.iter().zip(last).map(|(value, last)| u32::from(value > last)).sum();
    if greater == 0 {
        return;
    }
    for kept in kept {
        // Without a branch: what is smaller goes down the list.
        for (kept, value) in kept.iter_mut().zip(&mut values) {
            let is_greater = *value > *kept;
            (*kept, *value) = if is_greater { (*value, *kept) } else { (*kept, *value) };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::WindVector;

    #[test]
    fn winds_have_the_mean_and_the_spread_asked_for() {
        let wind = Wind::uniform(WindVector { east_ms: 0.0, north_ms: -8.0 });
        let doubt = WindDoubt { speed_ms: 1.5, direction_rad: 0.4 };
        let members = winds_about(&wind, &doubt, 200);
        let n = members.len() as f64;
        let speeds: Vec<f64> = members.iter().map(|w| w.surface.speed_ms()).collect();
        let mean = speeds.iter().sum::<f64>() / n;
        let variance = speeds.iter().map(|s| (s - mean) * (s - mean)).sum::<f64>() / n;
        assert!((mean - 8.0).abs() < 0.01 && (variance.sqrt() - 1.5).abs() < 0.03, "{mean} {variance}");
        // From north: the bearing it comes from is the turn itself.
        let turns: Vec<f64> = members.iter().map(|w| math::wrap_pi(w.surface.from_bearing().unwrap().rad())).collect();
        let (mean, square) = (turns.iter().sum::<f64>() / n, turns.iter().map(|t| t * t).sum::<f64>() / n);
        assert!(mean.abs() < 0.01 && (square.sqrt() - 0.4).abs() < 0.02, "{mean} {square}");
        // Independent of each other.
        let both = speeds.iter().zip(&turns).map(|(s, t)| (s - 8.0) * t).sum::<f64>() / n;
        assert!((both / (1.5 * 0.4)).abs() < 0.05, "{both}");
    }

    #[test]
    fn about_a_calm_wind_come_winds_from_all_round() {
        let calm = Wind::uniform(WindVector::CALM);
        let members = winds_about(&calm, &WindDoubt::default(), 40);
        let quarter = |w: &Wind| {
            (w.surface.from_bearing().map_or(0.0, crate::position::Bearing::rad) / (math::TAU / 4.0)) as usize
        };
        for q in 0..4 {
            assert!(members.iter().filter(|w| quarter(w) == q).count() >= 7, "quarter {q}");
        }
    }

    #[test]
    fn the_greatest_are_kept_whatever_the_order() {
        for values in [[3.0, 9.0, 1.0, 7.0], [9.0, 7.0, 3.0, 1.0], [1.0, 3.0, 7.0, 9.0]] {
            let mut own = [f32::NEG_INFINITY; 3 * TOGETHER];
            for value in values {
                insert(&mut own, core::array::from_fn(|cell| value + cell as f32));
            }
            for cell in 0..TOGETHER {
                let kept = [own[cell], own[TOGETHER + cell], own[2 * TOGETHER + cell]];
                assert_eq!(kept, [9.0, 7.0, 3.0].map(|kept| kept + cell as f32));
            }
        }
    }
}
