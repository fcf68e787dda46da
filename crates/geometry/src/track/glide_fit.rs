//! The glide curve from recorded glides.
//!
//! sink(V, n) = A·V³ + n²·B/V is linear in A and B. Every steady stretch of a glide gives one point: mean airspeed, mean
//! load factor, and the rate at which energy was lost. The two numbers are found by least squares with weights that
//! leave outliers little say, and their uncertainty from what is left over between stretches, not within them: rising
//! air lasts longer than a sample.
//!
//! # Source
//! Weights: Tukey's biweight with 4.685 standard deviations, Beaton & Tukey, *Technometrics* 16 (1974).

use super::phases::{Flight, PhaseKind};
use crate::air::isa_density_ratio;
use crate::aircraft::{Aircraft, AircraftError, GlideCurve};
use crate::math;
use serde::Serialize;
use thiserror::Error;

/// One steady stretch of a glide.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct GlidePoint {
    /// Seconds since the first fix in its middle.
    pub time_s: f64,
    /// Mean equivalent airspeed, m/s.
    pub speed_ms: f64,
    /// Mean load factor.
    pub load_factor: f64,
    /// Rate at which energy height was lost, at sea-level density, m/s.
    pub sink_ms: f64,
}

/// A glide curve told by flights.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct GlideFit {
    /// A in s²/m² and its standard deviation.
    pub a: (f64, f64),
    /// B in m²/s² and its standard deviation.
    pub b: (f64, f64),
    /// Best-glide speed, m/s, and its standard deviation.
    pub best_speed_ms: (f64, f64),
    /// Best glide ratio and its standard deviation.
    pub best_ratio: (f64, f64),
    /// Stretches it was told from.
    pub points: usize,
    /// Standard deviation of one stretch from the curve, m/s.
    pub scatter_ms: f64,
    /// Covariance of A and B, s²/m² · m²/s².
    pub covariance: f64,
    /// Slowest and fastest stretch, equivalent airspeed, m/s: beyond them the curve is only continued.
    pub flown_ms: (f64, f64),
}

/// Why a curve that was told is not taken for an aircraft.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum GlideDoubt {
    /// Its best glide is known too loosely. Fly more steady glides, at slow and fast speeds, in still air.
    #[error(
        "the glides tell the best ratio only to ±{ratio_percent:.0} % and its speed to ±{speed_percent:.0} %, and more than \
         ±{most:.0} % is too uncertain: fly more steady glides, slow and fast",
        most = 100.0 * MOST_UNCERTAIN
    )]
    TooUncertain {
        /// Standard deviation of the ratio as a share of it, percent.
        ratio_percent: f64,
        /// The same of the speed.
        speed_percent: f64,
    },
    /// Its best glide is slower than the stall or faster than the aircraft may fly, m/s.
    #[error(
        "the curve has its best glide at {best_ms:.1} m/s, outside the {stall_ms:.1} to {max_ms:.1} m/s that the aircraft \
         flies at: it cannot be right"
    )]
    OutsideSpeeds {
        /// Speed of best glide.
        best_ms: f64,
        /// Stall speed.
        stall_ms: f64,
        /// Maximum speed.
        max_ms: f64,
    },
    /// It is no curve that a glider can have.
    #[error("the curve cannot be right: {0}")]
    Impossible(#[from] AircraftError),
}

/// Largest standard deviation of the best glide's ratio or speed with which a curve may be taken for an aircraft, as a
/// share: a tenth of the ratio is a tenth of how far it glides. Common practice, no source.
pub const MOST_UNCERTAIN: f64 = 0.1;

/// Length of a stretch, samples. Numbers of this block: common practice, no source.
const STRETCH: usize = 15;
/// Samples left out at both ends of a glide: power fades in and out there.
const ENDS: usize = 8;
/// Most change of airspeed within a stretch, m/s.
const STEADY_MS: f64 = 3.0;
/// Most change of bank within a stretch, radians.
const STEADY_RAD: f64 = 15.0 * math::PI / 180.0;
/// Fewest stretches a curve is told from.
pub const FEWEST_POINTS: usize = 8;

/// Steady stretches of the glides of a flight; none where the wind is not known, since airspeed is not then.
#[must_use]
pub fn glide_points(flight: &Flight) -> Vec<GlidePoint> {
    if flight.wind.bands.is_empty() {
        return Vec::new();
    }
    let mut points = Vec::new();
    for phase in flight.phases.iter().filter(|p| p.kind == PhaseKind::Gliding) {
        let inner = phase.samples.start + ENDS..phase.samples.end.saturating_sub(ENDS);
        for from in inner.clone().step_by(STRETCH) {
            let stretch = from..from + STRETCH;
            if stretch.end > inner.end {
                break;
            }
            let flying = &flight.flying[stretch.clone()];
            let span = |f: &dyn Fn(usize) -> f64| {
                let (lo, hi) =
                    (0..STRETCH).map(f).fold((f64::INFINITY, f64::NEG_INFINITY), |b, v| (b.0.min(v), b.1.max(v)));
                hi - lo
            };
            let unsteady = span(&|i| flying[i].airspeed_ms) > STEADY_MS || span(&|i| flying[i].bank_rad) > STEADY_RAD;
            let low = flying.iter().any(|f| f.height_agl_m.is_some_and(|h| h < 20.0));
            // Energy over the stretch as a whole: its two ends.
            let energy = |i: usize| {
                let v = flight.flying[i].true_airspeed_ms;
                flight.samples.all[i].height_amsl_m.map(|h| h + v * v / (2.0 * math::GRAVITY_MS2))
            };
            let Some((first, last)) = energy(stretch.start).zip(energy(stretch.end - 1)) else { continue };
            let seconds = flight.samples.all[stretch.end - 1].time_s - flight.samples.all[stretch.start].time_s;
            if unsteady || low || seconds < 0.8 * STRETCH as f64 {
                continue;
            }
            let n = STRETCH as f64;
            let middle = &flight.samples.all[from + STRETCH / 2];
            let to_true = 1.0 / isa_density_ratio(middle.height_amsl_m.unwrap_or(0.0)).sqrt();
            points.push(GlidePoint {
                time_s: middle.time_s,
                speed_ms: flying.iter().map(|f| f.airspeed_ms).sum::<f64>() / n,
                load_factor: flying.iter().map(|f| 1.0 / math::cos(f.bank_rad)).sum::<f64>() / n,
                sink_ms: (first - last) / seconds / to_true,
            });
        }
    }
    points
}

/// The curve through points of one or several flights; `None` where they are too few, at one speed only, or lie on no
/// glide curve.
#[must_use]
pub fn fit(points: &[GlidePoint]) -> Option<GlideFit> {
    if points.len() < FEWEST_POINTS {
        return None;
    }
    let terms = |p: &GlidePoint| (p.speed_ms * p.speed_ms * p.speed_ms, p.load_factor * p.load_factor / p.speed_ms);
    let mut weights = vec![1.0; points.len()];
    let (mut a, mut b) = (0.0, 0.0);
    let mut scatter = 0.0;
    let mut cov = (0.0, 0.0, 0.0);
    for _ in 0..20 {
        let (mut s33, mut s31, mut s11, mut y3, mut y1) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (p, w) in points.iter().zip(&weights) {
            let (x, q) = terms(p);
            s33 += w * x * x;
            s31 += w * x * q;
            s11 += w * q * q;
            y3 += w * x * p.sink_ms;
            y1 += w * q * p.sink_ms;
        }
        let det = s33 * s11 - s31 * s31;
        // Points at one speed tell the sink there and nothing about the curve.
        if det.is_nan() || det <= 1e-4 * s33 * s11 {
            return None;
        }
        (a, b) = ((y3 * s11 - y1 * s31) / det, (s33 * y1 - s31 * y3) / det);
        let off = |p: &GlidePoint| {
            let (x, q) = terms(p);
            p.sink_ms - a * x - b * q
        };
        let mut sizes: Vec<f64> = points.iter().map(|p| off(p).abs()).collect();
        sizes.sort_by(f64::total_cmp);
        scatter = (1.4826 * sizes[sizes.len() / 2]).max(1e-6);
        for (w, p) in weights.iter_mut().zip(points) {
            let u = off(p) / (4.685 * scatter);
            *w = if u.abs() < 1.0 { (1.0 - u * u) * (1.0 - u * u) } else { 0.0 };
        }
        let used: f64 = weights.iter().sum();
        let left: f64 = points.iter().zip(&weights).map(|(p, w)| w * off(p) * off(p)).sum();
        let variance = left / (used - 2.0).max(1.0);
        cov = (variance * s11 / det, -variance * s31 / det, variance * s33 / det);
    }
    if !(a > 0.0 && b > 0.0) {
        return None;
    }
    // V = (B/A)^¼ and E = 1/(2√(AB)), with errors carried over to first order.
    let speed = math::pow(b / a, 0.25);
    let ratio = 1.0 / (2.0 * (a * b).sqrt());
    let carried = |da: f64, db: f64| (da * da * cov.0 + 2.0 * da * db * cov.1 + db * db * cov.2).max(0.0).sqrt();
    Some(GlideFit {
        a: (a, cov.0.max(0.0).sqrt()),
        b: (b, cov.2.max(0.0).sqrt()),
        best_speed_ms: (speed, carried(-0.25 * speed / a, 0.25 * speed / b)),
        best_ratio: (ratio, carried(-0.5 * ratio / a, -0.5 * ratio / b)),
        points: points.len(),
        scatter_ms: scatter,
        covariance: cov.1,
        flown_ms: points
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), p| (lo.min(p.speed_ms), hi.max(p.speed_ms))),
    })
}

impl GlideFit {
    /// The curve, `None` where best glide is outside what a glide curve may be.
    #[must_use]
    pub fn curve(&self) -> Option<GlideCurve> {
        GlideCurve::from_best_glide(self.best_speed_ms.0, self.best_ratio.0).ok()
    }

    /// Sink rate of a straight glide at an equivalent airspeed (m/s), and its standard deviation, m/s.
    #[must_use]
    pub fn sink_ms(&self, speed_ms: f64) -> (f64, f64) {
        let (x, q) = (speed_ms * speed_ms * speed_ms, 1.0 / speed_ms);
        let variance = x * x * self.a.1 * self.a.1 + 2.0 * x * q * self.covariance + q * q * self.b.1 * self.b.1;
        (self.a.0 * x + self.b.0 * q, variance.max(0.0).sqrt())
    }

    /// An aircraft as it was, with this curve and another name.
    ///
    /// # Errors
    /// Where the curve is too uncertain, or one that this aircraft cannot have.
    pub fn adopted(&self, aircraft: &Aircraft, name: String) -> Result<Aircraft, GlideDoubt> {
        let share = |p: (f64, f64)| if p.0 > 0.0 && p.1.is_finite() { p.1 / p.0 } else { f64::INFINITY };
        let (ratio, speed) = (share(self.best_ratio), share(self.best_speed_ms));
        if ratio > MOST_UNCERTAIN || speed > MOST_UNCERTAIN {
            return Err(GlideDoubt::TooUncertain { ratio_percent: 100.0 * ratio, speed_percent: 100.0 * speed });
        }
        let (best_ms, stall_ms, max_ms) = (self.best_speed_ms.0, aircraft.stall_speed_ms, aircraft.max_speed_ms);
        if !(stall_ms..=max_ms).contains(&best_ms) {
            return Err(GlideDoubt::OutsideSpeeds { best_ms, stall_ms, max_ms });
        }
        let glide = GlideCurve::from_best_glide(best_ms, self.best_ratio.0)?;
        let new = Aircraft { name, glide, ..aircraft.clone() };
        new.validate()?;
        Ok(new)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(curve: &GlideCurve, off: impl Fn(usize) -> f64) -> Vec<GlidePoint> {
        (0..40)
            .map(|i| {
                let speed_ms = 19.0 + 0.3 * i as f64;
                let load_factor = if i % 3 == 0 { 1.15 } else { 1.0 };
                let sink_ms = curve.sink_ms(speed_ms, load_factor) + off(i);
                GlidePoint { time_s: i as f64, speed_ms, load_factor, sink_ms }
            })
            .collect()
    }

    #[test]
    fn points_on_a_curve_give_the_curve_and_a_few_wild_ones_do_not_move_it() {
        let curve = GlideCurve::from_best_glide(22.0, 6.5).unwrap();
        let told = fit(&points(&curve, |_| 0.0)).unwrap();
        assert!((told.best_speed_ms.0 - 22.0).abs() < 1e-6 && (told.best_ratio.0 - 6.5).abs() < 1e-6, "{told:?}");
        let wild = |i: usize| if i % 9 == 4 { 2.5 } else { 0.1 * (i as f64 * 12.9).rem_euclid(1.0) - 0.05 };
        let told = fit(&points(&curve, wild)).unwrap();
        assert!((told.best_ratio.0 - 6.5).abs() < 3.0 * told.best_ratio.1 + 0.1, "{told:?}");
    }

    #[test]
    fn one_speed_or_few_points_tell_nothing() {
        let curve = GlideCurve::from_best_glide(22.0, 6.5).unwrap();
        assert!(fit(&points(&curve, |_| 0.0)[..5]).is_none());
        let same: Vec<_> =
            points(&curve, |_| 0.0).iter().map(|p| GlidePoint { speed_ms: 22.0, load_factor: 1.0, ..*p }).collect();
        assert!(fit(&same).is_none());
    }

    #[test]
    fn the_sink_of_the_curve_is_as_sure_as_many_fits_agree() {
        let curve = GlideCurve::from_best_glide(22.0, 6.5).unwrap();
        // A hundred fits to the same curve with other scatter; xorshift, uniform, standard deviation 0.1 m/s.
        let mut state = 88_172_645_463_325_252_u64;
        let mut next = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            ((state >> 11) as f64 / (1u64 << 53) as f64 - 0.5) * 0.1 * 12f64.sqrt()
        };
        let fits: Vec<GlideFit> = (0..100)
            .map(|_| {
                let scatter: Vec<f64> = (0..40).map(|_| next()).collect();
                fit(&points(&curve, |i| scatter[i])).unwrap()
            })
            .collect();
        for speed in [19.0, 24.0, 30.0] {
            let n = fits.len() as f64;
            let mean = fits.iter().map(|f| f.sink_ms(speed).0).sum::<f64>() / n;
            let told = fits.iter().map(|f| f.sink_ms(speed).1).sum::<f64>() / n;
            let found = (fits.iter().map(|f| (f.sink_ms(speed).0 - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
            assert!((mean - curve.sink_ms(speed, 1.0)).abs() < 0.02, "{speed}: {mean}");
            // A hundred values tell their spread to some 7 %.
            assert!((0.6..1.6).contains(&(told / found)), "{speed}: {told} against {found}");
        }
    }

    #[test]
    fn a_curve_is_taken_only_where_it_is_sure_and_possible() {
        let aircraft = Aircraft::example_flexwing();
        let curve = GlideCurve::from_best_glide(22.0, 6.5).unwrap();
        let told = fit(&points(&curve, |_| 0.0)).unwrap();
        let taken = told.adopted(&aircraft, "Mine".into()).unwrap();
        assert!((taken.glide.best_glide_ratio() - 6.5).abs() < 1e-6);
        assert_eq!(Aircraft { name: aircraft.name.clone(), glide: aircraft.glide, ..taken }, aircraft);
        let unsure = GlideFit { best_ratio: (6.5, 0.7), ..told };
        assert!(matches!(unsure.adopted(&aircraft, String::new()), Err(GlideDoubt::TooUncertain { .. })));
        let unsure = GlideFit { best_speed_ms: (22.0, f64::NAN), ..told };
        assert!(matches!(unsure.adopted(&aircraft, String::new()), Err(GlideDoubt::TooUncertain { .. })));
        let slow = GlideFit { best_speed_ms: (12.0, 0.1), ..told };
        assert!(matches!(slow.adopted(&aircraft, String::new()), Err(GlideDoubt::OutsideSpeeds { .. })));
        let steep = GlideFit { best_ratio: (0.5, 0.01), ..told };
        assert!(matches!(steep.adopted(&aircraft, String::new()), Err(GlideDoubt::Impossible(_))));
    }
}
