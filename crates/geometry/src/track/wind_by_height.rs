//! The wind by height from the speed over the ground in turns.
//!
//! At one airspeed the tips of the ground velocity lie on a circle about the wind. In each band of height a circle is
//! fitted algebraically as a start, then the most probable wind is found: samples are grouped in short stretches, each
//! with an airspeed of its own that is expected near the gliding or cruising speed, and outliers count less (Huber).
//! The covariance allows for gusts that last: neighbouring residuals that agree carry less news.
//!
//! # Source
//! Start: the "Hyper" fit of Al-Sharadqah & Chernov, *Error analysis for circle fitting algorithms*, Electronic Journal
//! of Statistics 3 (2009). Weights: Huber, *Robust Estimation of a Location Parameter*, Ann. Math. Statist. 35 (1964).

use super::samples::Samples;
use crate::air::{Wind, WindLayer, WindProfile, WindVector, isa_density_ratio};
use crate::aircraft::Aircraft;
use crate::math;
use crate::position::Xy;
use core::ops::Range;

/// Height of a band, metres: the wind within it counts as one.
const BAND_M: f64 = 120.0;
/// Longest stretch with one airspeed, samples.
const STRETCH: usize = 25;
/// Fewest samples a wind is told from.
const FEWEST: usize = 40;
/// What is expected of a wind before anything is seen: none, give or take 10 m/s in each direction. Wide on purpose.
const WIDE: WindPrior = WindPrior { mean: Xy::new(0.0, 0.0), sd_ms: 10.0 };
/// How much the wind of a band differs from that of the whole flight, m/s. Common practice, no source.
const BETWEEN_BANDS_MS: f64 = 2.0;
/// A band is told when the flight in it made its wind at least so much surer than the whole flight did.
const LEAST_GAIN: f64 = 0.75;
/// An estimate less sure than this is not told: a forecast knows as much (RMSE of 10 m wind forecasts, 1.5 to 2.6 m/s).
pub const LEAST_SURE_MS: f64 = 2.5;
/// Residuals beyond so many standard deviations count less (Huber's constant for 95 % efficiency).
const HUBER: f64 = 1.345;
/// What the wind varies within a band and a flight, m/s. Common practice, no source.
const WITHIN_BAND_MS: f64 = 0.3;
/// Smallest standard deviation of the speed over the ground that is believed, m/s.
const FLOOR_MS: f64 = 0.25;

/// What airspeed is expected of a sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AirspeedPrior {
    /// Equivalent airspeed, m/s.
    pub mean_ms: f64,
    /// How much it differs from stretch to stretch, m/s.
    pub sd_ms: f64,
    /// How much all of them may differ from the mean together, m/s: a speed that is always flown too fast looks like
    /// wind when most of the flight goes one way.
    pub shared_sd_ms: f64,
}

impl AirspeedPrior {
    /// Of a glide: near the gliding speed. Common practice, no source: within 6 % from glide to glide, 8 % altogether.
    #[must_use]
    pub fn gliding(aircraft: &Aircraft) -> Self {
        let v = aircraft.straight_speed_ms();
        Self { mean_ms: v, sd_ms: 0.06 * v, shared_sd_ms: 0.08 * v }
    }
    /// Of any flight, powered or not: somewhat above the gliding speed, within a fifth. Common practice, no source.
    #[must_use]
    pub fn flying(aircraft: &Aircraft) -> Self {
        let v = aircraft.straight_speed_ms();
        Self { mean_ms: 1.1 * v, sd_ms: 0.12 * v, shared_sd_ms: 0.17 * v }
    }
}

/// The wind in one band of height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindEstimate {
    /// Mean height of what it was told from, metres above mean sea level.
    pub height_amsl_m: f64,
    /// The wind.
    pub wind: WindVector,
    /// Standard deviation in the worst direction, m/s.
    pub sd_ms: f64,
    /// Samples it was told from.
    pub samples: usize,
}

/// What a track tells about the wind; bands about which it tells nothing are left out.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct WindByHeight {
    /// Estimates, lowest first.
    pub bands: Vec<WindEstimate>,
}

impl WindByHeight {
    /// Estimates the wind in every band of height.
    ///
    /// `airborne` says of each sample what airspeed is expected, `None` on the ground.
    #[must_use]
    pub fn estimate(samples: &Samples, airborne: impl Fn(usize) -> Option<AirspeedPrior>) -> Self {
        // Stretches by band: where the height leaves the band or the track breaks, a new stretch begins.
        let mut bands: Vec<(i64, Vec<Stretch>)> = Vec::new();
        for part in &samples.parts {
            let mut open: Option<(i64, AirspeedPrior, Stretch)> = None;
            for i in part.clone() {
                let s = &samples.all[i];
                let band = s.height_amsl_m.map(|h| (h / BAND_M).floor() as i64);
                let this = band.zip(airborne(i)).filter(|_| !changes_speed(samples, part, i));
                let goes_on = matches!((&open, this), (Some((b, p, st)), Some((band, prior)))
                    if *b == band && *p == prior && st.ground.len() < STRETCH);
                if !goes_on {
                    close(&mut bands, open.take());
                }
                if let (Some((band, prior)), Some(h)) = (this, s.height_amsl_m) {
                    let to_true = 1.0 / isa_density_ratio(h).sqrt();
                    let (_, _, stretch) = open.get_or_insert_with(|| {
                        (band, prior, Stretch { prior: prior.scaled(to_true), ..Stretch::default() })
                    });
                    stretch.ground.push(s.ground);
                    stretch.height_sum += h;
                }
            }
            close(&mut bands, open.take());
        }
        bands.sort_by_key(|b| b.0);
        // The whole flight first; then each band is expected to have much the same wind.
        let whole: Vec<Stretch> = bands.iter().flat_map(|(_, stretches)| stretches.iter().cloned()).collect();
        let Some(all) = most_probable(&whole, &WIDE) else { return Self::default() };
        let prior = WindPrior { mean: all.wind.xy(), sd_ms: math::hypot(BETWEEN_BANDS_MS, all.sd_ms) };
        Self { bands: bands.iter().filter_map(|(_, stretches)| most_probable(stretches, &prior)).collect() }
    }

    /// The wind at a height: between estimates in proportion, beyond them the nearest; `None` without any.
    #[must_use]
    pub fn at(&self, height_amsl_m: f64) -> Option<WindVector> {
        let above = self.bands.iter().position(|b| b.height_amsl_m >= height_amsl_m);
        let (low, high) = match above {
            None => return self.bands.last().map(|b| b.wind),
            Some(0) => return Some(self.bands[0].wind),
            Some(i) => (self.bands[i - 1], self.bands[i]),
        };
        let t = (height_amsl_m - low.height_amsl_m) / (high.height_amsl_m - low.height_amsl_m);
        let v = low.wind.xy() + (high.wind.xy() - low.wind.xy()) * t;
        Some(WindVector { east_ms: v.x, north_ms: v.y })
    }

    /// A wind that somebody gave, in the place of what a track tells: one entry for each band of height that the samples
    /// pass through. It counts as no surer than the least sure estimate that is told.
    #[must_use]
    pub fn given(wind: &Wind, samples: &Samples) -> Self {
        let heights = || samples.all.iter().filter_map(|s| s.height_amsl_m).filter(|h| h.is_finite());
        let (low, high) = heights().fold((f64::INFINITY, f64::NEG_INFINITY), |b, h| (b.0.min(h), b.1.max(h)));
        if low > high {
            return Self::default();
        }
        let steps = ((high - low) / BAND_M).ceil().clamp(1.0, 200.0) as usize;
        let bands = (0..=steps).map(|k| {
            let height_amsl_m = low + (high - low) * k as f64 / steps as f64;
            WindEstimate { height_amsl_m, wind: wind.at_amsl(height_amsl_m), sd_ms: LEAST_SURE_MS, samples: 0 }
        });
        Self { bands: bands.collect() }
    }

    /// As a wind over ground at a height: the estimates aloft, and below the lowest the profile down to the surface.
    /// `None` without any estimate.
    #[must_use]
    pub fn to_wind(&self, profile: WindProfile, ground_amsl_m: f64) -> Option<Wind> {
        let lowest = self.bands.first()?;
        let ratio = profile.ratio_at(lowest.height_amsl_m - ground_amsl_m).max(1.0);
        let surface = WindVector { east_ms: lowest.wind.east_ms / ratio, north_ms: lowest.wind.north_ms / ratio };
        let aloft = self.bands.iter().map(|b| WindLayer { height_amsl_m: b.height_amsl_m, wind: b.wind }).collect();
        Some(Wind::new(surface, profile, aloft, ground_amsl_m))
    }
}

/// Whether the aircraft speeds up or slows down in straight flight: then it has no one airspeed, and that would look
/// like wind along its track.
fn changes_speed(samples: &Samples, part: &Range<usize>, i: usize) -> bool {
    const REACH: usize = 3;
    let (a, b) = (i.saturating_sub(REACH).max(part.start), (i + REACH).min(part.end - 1));
    let (from, to) = (samples.all[a].ground, samples.all[b].ground);
    let seconds = samples.all[b].time_s - samples.all[a].time_s;
    if seconds <= 0.0 {
        return false;
    }
    let turned = math::atan2(from.cross(to), from.dot(to)).abs() / seconds;
    // Common practice, no source: 0.35 m/s² is more than a steady climb or glide varies, 3° a second is a turn.
    turned < 3f64.to_radians() && ((to.norm() - from.norm()) / seconds).abs() > 0.35
}

impl AirspeedPrior {
    fn scaled(self, k: f64) -> Self {
        Self { mean_ms: self.mean_ms * k, sd_ms: self.sd_ms * k, shared_sd_ms: self.shared_sd_ms * k }
    }
}

/// What is expected of a wind.
#[derive(Clone, Copy, Debug)]
struct WindPrior {
    mean: Xy,
    sd_ms: f64,
}

/// Samples with one airspeed.
#[derive(Clone, Debug)]
struct Stretch {
    prior: AirspeedPrior,
    ground: Vec<Xy>,
    height_sum: f64,
}

impl Default for Stretch {
    fn default() -> Self {
        Self {
            prior: AirspeedPrior { mean_ms: 0.0, sd_ms: 1.0, shared_sd_ms: 0.0 },
            ground: Vec::new(),
            height_sum: 0.0,
        }
    }
}

fn close(bands: &mut Vec<(i64, Vec<Stretch>)>, open: Option<(i64, AirspeedPrior, Stretch)>) {
    let Some((band, _, stretch)) = open.filter(|o| o.2.ground.len() >= 5) else { return };
    match bands.iter_mut().find(|b| b.0 == band) {
        Some((_, list)) => list.push(stretch),
        None => bands.push((band, vec![stretch])),
    }
}

/// A symmetric 2 × 2 matrix.
#[derive(Clone, Copy, Debug, Default)]
struct Square {
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Square {
    fn add_outer(&mut self, v: Xy, k: f64) {
        self.xx += k * v.x * v.x;
        self.xy += k * v.x * v.y;
        self.yy += k * v.y * v.y;
    }
    fn solved(self, v: Xy) -> Xy {
        let det = self.xx * self.yy - self.xy * self.xy;
        Xy::new((self.yy * v.x - self.xy * v.y) / det, (self.xx * v.y - self.xy * v.x) / det)
    }
    /// Standard deviation in the worst direction when this is the information and the pulls are as they are.
    fn sandwich_sd(self, pulls: Self) -> f64 {
        let a = self.solved(Xy::new(pulls.xx, pulls.xy));
        let b = self.solved(Xy::new(pulls.xy, pulls.yy));
        let (c, d) = (self.solved(Xy::new(a.x, b.x)), self.solved(Xy::new(a.y, b.y)));
        let mean = 0.5 * (c.x + d.y);
        (mean + math::hypot(0.5 * (c.x - d.y), c.y)).max(0.0).sqrt()
    }
    /// Standard deviation in the worst direction when this is the information.
    fn worst_sd(self) -> f64 {
        let mean = 0.5 * (self.xx + self.yy);
        let off = math::hypot(0.5 * (self.xx - self.yy), self.xy);
        1.0 / (mean - off).max(1e-12).sqrt()
    }
}

/// The most probable wind of a band and how sure it is; `None` where it says no more than was expected anyway.
fn most_probable(stretches: &[Stretch], prior: &WindPrior) -> Option<WindEstimate> {
    let samples: usize = stretches.iter().map(|s| s.ground.len()).sum();
    if samples < FEWEST {
        return None;
    }
    let everything = || stretches.iter().flat_map(|s| s.ground.iter().copied());
    // Where the circle is no start, as in straight flight, the search starts from what is expected.
    let start = hyper_centre(everything()).filter(|c| c.norm() < 25.0).unwrap_or_default();
    let candidates = [start, prior.mean].map(|start| refined(stretches, start, prior));
    let (best, other) = (&candidates[0], &candidates[1]);
    let found = if best.cost <= other.cost { best } else { other };
    let sd_ms = math::hypot(found.sd_ms, WITHIN_BAND_MS);
    let finite = found.wind.x.is_finite() && found.wind.y.is_finite() && sd_ms.is_finite();
    // A wind as strong as the airspeed is a run along the ground or a car, not a flight.
    let slowest = stretches.iter().map(|s| s.prior.mean_ms).fold(f64::INFINITY, f64::min);
    let flown = found.wind.norm() < 0.9 * slowest;
    (finite && flown && sd_ms <= LEAST_SURE_MS.min(LEAST_GAIN * prior.sd_ms)).then(|| WindEstimate {
        height_amsl_m: stretches.iter().map(|s| s.height_sum).sum::<f64>() / samples as f64,
        wind: WindVector { east_ms: found.wind.x, north_ms: found.wind.y },
        sd_ms,
        samples,
    })
}

struct Refined {
    wind: Xy,
    sd_ms: f64,
    cost: f64,
}

/// Gauss–Newton on the wind and on what all airspeeds differ together, every stretch's own airspeed eliminated.
fn refined(stretches: &[Stretch], start: Xy, wanted: &WindPrior) -> Refined {
    let mut wind = start;
    let mut noise = 1.0;
    let mut lasting = 1.0;
    // What all airspeeds differ from what was expected, in standard deviations.
    let mut shared = 0.0;
    let mut information = Square::default();
    let mut cost = f64::INFINITY;
    // How the stretches pull in different directions.
    let mut pulls = Square::default();
    for _ in 0..12 {
        pulls = Square::default();
        let scale = noise * noise * lasting;
        let sure = 1.0 / (wanted.sd_ms * wanted.sd_ms);
        let off = wanted.mean - wind;
        let mut gradient = off * sure;
        information = Square { xx: sure, xy: 0.0, yy: sure };
        cost = 0.5 * off.dot(off) * sure;
        let total: usize = stretches.iter().map(|s| s.ground.len()).sum();
        cost += total as f64 * math::ln(noise) / lasting;
        cost += 0.5 * shared * shared;
        // Information about the shared difference, what it has in common with the wind, and its pull.
        let (mut about, mut common, mut pull_shared) = (1.0, Xy::default(), -shared);
        let mut residuals = Vec::new();
        let (mut same, mut lagged) = (0.0, 0.0);
        for stretch in stretches {
            let airspeeds: Vec<f64> = stretch.ground.iter().map(|g| (*g - wind).norm()).collect();
            let prior = 1.0 / (stretch.prior.sd_ms * stretch.prior.sd_ms);
            let per_shared = stretch.prior.shared_sd_ms;
            let expected = stretch.prior.mean_ms + per_shared * shared;
            // The stretch's airspeed, with the weights that it gives.
            let mut airspeed = expected;
            let mut weights = vec![1.0; airspeeds.len()];
            for _ in 0..3 {
                let sum: f64 = weights.iter().sum::<f64>() / scale + prior;
                let top: f64 = weights.iter().zip(&airspeeds).map(|(w, s)| w * s).sum::<f64>() / scale;
                airspeed = (top + prior * expected) / sum;
                for (w, s) in weights.iter_mut().zip(&airspeeds) {
                    let off = (s - airspeed).abs() / noise;
                    *w = if off <= HUBER { 1.0 } else { HUBER / off };
                }
            }
            let mut pull = Xy::default();
            let (mut own, mut cross, mut push) = (prior, Xy::default(), prior * (expected - airspeed));
            cost += 0.5 * prior * (airspeed - expected) * (airspeed - expected);
            let mut before: Option<f64> = None;
            for ((g, s), w) in stretch.ground.iter().zip(&airspeeds).zip(&weights) {
                let unit = (*g - wind) * (1.0 / s.max(1e-6));
                let off = s - airspeed;
                let k = w / scale;
                information.add_outer(unit, k);
                pull = pull + unit * (k * off);
                own += k;
                cross = cross + unit * k;
                push += k * off;
                cost += 0.5 * k * off * off;
                residuals.push(off.abs());
                same += off * off;
                lagged += before.map_or(0.0, |b| b * off);
                before = Some(off);
            }
            // Eliminating the airspeed takes from the information what could as well be airspeed.
            information.add_outer(cross, -1.0 / own);
            pull = pull - cross * (push / own);
            about += prior * per_shared * per_shared * (1.0 - prior / own);
            common = common + cross * (prior * per_shared / own);
            pull_shared += prior * per_shared * (airspeed - expected + push / own);
            gradient = gradient + pull;
            pulls.add_outer(pull, 1.0);
        }
        information.add_outer(common, -1.0 / about);
        gradient = gradient - common * (pull_shared / about);
        let step = information.solved(gradient);
        if step.x.is_finite() && step.y.is_finite() {
            let limit = (5.0 / step.norm().max(1e-9)).min(1.0);
            wind = wind + step * limit;
            shared += ((pull_shared - common.dot(step)) / about).clamp(-1.0, 1.0) * limit;
        }
        residuals.sort_by(f64::total_cmp);
        // Median of the absolute residuals times 1.4826: the standard deviation of a normal distribution.
        noise = (1.4826 * residuals[residuals.len() / 2]).max(FLOOR_MS);
        let rho = if same > 0.0 { (lagged / same).clamp(0.0, 0.95) } else { 0.0 };
        // Information in an AR(1) series: (1 − ρ)/(1 + ρ) of independent samples (Box & Jenkins, Time Series Analysis).
        lasting = (1.0 + rho) / (1.0 - rho);
    }
    // Stretches that disagree more than their scatter says make the wind less sure (White, *A heteroskedasticity-consistent
    // covariance matrix estimator*, Econometrica 48, 1980, by stretch); two of them cannot tell. Gusts outlast stretches:
    // the factor 1.4 was set on simulated flights other than those it is tested on.
    let count = stretches.len() as f64;
    let unsure = if count < 3.0 { 2.0 } else { 1.4 * (count / (count - 2.0)).sqrt() };
    let sd_ms = information.worst_sd().max(information.sandwich_sd(pulls)) * unsure;
    Refined { wind, sd_ms, cost }
}

/// Centre of the circle through points by the Hyper fit; `None` where they do not lie on one.
fn hyper_centre(points: impl Iterator<Item = Xy> + Clone) -> Option<Xy> {
    let n = points.clone().count() as f64;
    if n < 3.0 {
        return None;
    }
    let mean = points.clone().fold(Xy::default(), |a, p| a + p) * (1.0 / n);
    let (mut xx, mut yy, mut xy, mut xz, mut yz, mut zz) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for p in points {
        let d = p - mean;
        let z = d.dot(d);
        xx += d.x * d.x;
        yy += d.y * d.y;
        xy += d.x * d.y;
        xz += d.x * z;
        yz += d.y * z;
        zz += z * z;
    }
    for m in [&mut xx, &mut yy, &mut xy, &mut xz, &mut yz, &mut zz] {
        *m /= n;
    }
    let z = xx + yy;
    let cov = xx * yy - xy * xy;
    let var = zz - z * z;
    let a2 = 4.0 * cov - 3.0 * z * z - zz;
    let a1 = var * z + 4.0 * cov * z - xz * xz - yz * yz;
    let a0 = xz * (xz * yy - yz * xy) + yz * (yz * xx - xz * xy) - var * cov;
    let mut root = 0.0;
    let mut value = a0;
    for _ in 0..60 {
        let slope = a1 + root * (2.0 * a2 + 16.0 * root * root);
        let next = root - value / slope;
        if !next.is_finite() || next == root {
            break;
        }
        let there = a0 + next * (a1 + next * (a2 + 4.0 * next * next));
        if there.abs() >= value.abs() {
            break;
        }
        root = next;
        value = there;
    }
    let det = root * root - root * z + cov;
    let centre = Xy::new((xz * (yy - root) - yz * xy) / det / 2.0, (yz * (xx - root) - xz * xy) / det / 2.0);
    (centre.x.is_finite() && centre.y.is_finite()).then(|| centre + mean)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::position::Bearing;
    use crate::track::samples::Sample;

    const KNOT_MS: f64 = 1_852.0 / 3_600.0;

    #[test]
    fn three_published_ground_speeds_give_the_published_wind() {
        // D. Gray, "Using GPS to accurately establish TAS" (1998): 140 kt on 192°, 112 on 283°, 120 on 20° are 130.0 kt
        // of airspeed in a wind of 20.6 kt from 314.8°.
        let legs = [(140.0, 192.0), (112.0, 283.0), (120.0, 20.0)];
        let tips = legs.map(|(kt, deg)| Bearing::from_deg(deg).unit() * kt);
        let centre = hyper_centre(tips.iter().copied()).unwrap();
        let wind = WindVector { east_ms: centre.x * KNOT_MS, north_ms: centre.y * KNOT_MS };
        assert!((wind.speed_ms() / KNOT_MS - 20.6).abs() < 0.1);
        assert!((wind.from_bearing().unwrap().deg() - 314.8).abs() < 0.1);
        assert!(((tips[0] - centre).norm() - 130.0).abs() < 0.1);
    }

    fn circling(wind: Xy, turns: f64, noise: impl Fn(usize) -> Xy) -> Samples {
        let n = 120;
        let all = (0..n)
            .map(|i| {
                let angle = math::TAU * turns * i as f64 / n as f64;
                Sample {
                    time_s: i as f64,
                    position: Xy::default(),
                    ground: Bearing::from_rad(angle).unit() * 22.0 + wind + noise(i),
                    height_amsl_m: Some(300.0),
                    climb_ms: Some(0.0),
                    engine: None,
                }
            })
            .collect();
        Samples { all, parts: core::iter::once(0..n).collect(), ..Samples::default() }
    }

    const PRIOR: AirspeedPrior = AirspeedPrior { mean_ms: 22.0, sd_ms: 3.0, shared_sd_ms: 2.0 };

    #[test]
    fn two_circles_give_the_wind_and_straight_flight_gives_none() {
        let wind = Xy::new(6.0, -3.0);
        let found = WindByHeight::estimate(&circling(wind, 2.0, |_| Xy::default()), |_| Some(PRIOR));
        let told = found.bands[0];
        assert!(told.wind.xy().distance(wind) < 0.05, "{told:?}");
        let straight = WindByHeight::estimate(&circling(wind, 0.0, |_| Xy::default()), |_| Some(PRIOR));
        assert!(straight.bands.is_empty(), "{straight:?}");
        assert!(WindByHeight::estimate(&circling(wind, 2.0, |_| Xy::default()), |_| None).bands.is_empty());
    }

    #[test]
    fn a_few_wild_speeds_do_not_move_the_wind() {
        let wind = Xy::new(-4.0, 5.0);
        let wild = |i: usize| if i % 17 == 3 { Xy::new(15.0, -9.0) } else { Xy::default() };
        let found = WindByHeight::estimate(&circling(wind, 2.0, wild), |_| Some(PRIOR));
        assert!(found.bands[0].wind.xy().distance(wind) < 0.4, "{found:?}");
    }
}
