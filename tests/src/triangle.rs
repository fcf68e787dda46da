//! Height lost in a wind, from the wind triangle as it stands in its source.

use sparefield_geometry::math;
use sparefield_geometry::position::Xy;

/// Sink in m/s at an airspeed, for a parabolic polar with its best glide at `best_ms` and `ratio` to one.
///
/// # Source
/// Parabolic drag polar (Anderson, *Introduction to Flight*, ch. 6) in the form sink/least drag sink:
/// w(V) = (V_b/2E)·((V/V_b)³ + V_b/V).
#[must_use]
pub fn sink_ms(best_ms: f64, ratio: f64, speed_ms: f64) -> f64 {
    let v = speed_ms / best_ms;
    best_ms / (2.0 * ratio) * (v * v * v + 1.0 / v)
}

/// Ground speed on a course; `None` where the wind does not let it be flown.
///
/// `towards` is where the air goes, m/s.
///
/// # Source
/// E. Williams, *Aviation Formulary*, "Wind triangles": SWC = (WS/TAS)·sin(WD − CRS),
/// GS = TAS·√(1 − SWC²) − WS·cos(WD − CRS), with the wind direction WD it comes from.
#[must_use]
pub fn ground_speed_ms(tas_ms: f64, towards: Xy, course: Xy) -> Option<f64> {
    let ws = (towards.x * towards.x + towards.y * towards.y).sqrt();
    let wd = math::atan2(-towards.x, -towards.y);
    let crs = math::atan2(course.x, course.y);
    let swc = ws / tas_ms * math::sin(wd - crs);
    if swc.abs() > 1.0 {
        return None;
    }
    let gs = tas_ms * (1.0 - swc * swc).sqrt() - ws * math::cos(wd - crs);
    (gs > 0.0).then_some(gs)
}

/// Density ratio of the ICAO standard atmosphere in the troposphere.
///
/// # Source
/// ICAO Doc 7488 with its exponent g₀M/(R·β) − 1 = 4.255 88.
#[must_use]
pub fn density_ratio(height_m: f64) -> f64 {
    math::pow(1.0 - height_m / 44_330.77, 4.255_88)
}

/// A glider for the formulas here: where its best glide lies, and between which equivalent airspeeds it is flown.
#[derive(Clone, Copy, Debug)]
pub struct Glider {
    /// Equivalent airspeed of best glide, m/s.
    pub best_ms: f64,
    /// Best glide ratio.
    pub ratio: f64,
    /// Slowest and fastest equivalent airspeed, m/s; the same for a held speed.
    pub speeds_ms: (f64, f64),
}

impl Glider {
    /// Height lost over a displacement in steady air of one density, `None` where it cannot be flown.
    ///
    /// Over the speeds the least is taken, by golden section (the loss has one minimum over the speeds).
    #[must_use]
    pub fn loss_m(&self, d: Xy, towards: Xy, density_ratio: f64) -> Option<f64> {
        let distance = (d.x * d.x + d.y * d.y).sqrt();
        if distance == 0.0 {
            return Some(0.0);
        }
        let to_true = 1.0 / density_ratio.sqrt();
        let at = |eas: f64| {
            ground_speed_ms(eas * to_true, towards, d)
                .map_or(f64::INFINITY, |gs| sink_ms(self.best_ms, self.ratio, eas) * to_true * distance / gs)
        };
        let (mut low, mut high) = self.speeds_ms;
        let mut least = at(low).min(at(high));
        let golden = (5f64.sqrt() - 1.0) / 2.0;
        let (mut a, mut b) = (high - golden * (high - low), low + golden * (high - low));
        let (mut fa, mut fb) = (at(a), at(b));
        while high - low > 1e-7 {
            least = least.min(fa).min(fb);
            // Too slow to be flown at all means: faster.
            if fa < fb {
                (high, b, fb) = (b, a, fa);
                a = high - golden * (high - low);
                fa = at(a);
            } else {
                (low, a, fa) = (a, b, fb);
                b = low + golden * (high - low);
                fb = at(b);
            }
        }
        least.is_finite().then_some(least)
    }
}
