//! The air over one field as a table by height: looked up at every step of a flown circuit.

use crate::air::{Wind, WindVector, isa_density_ratio};
use crate::fields::approach::wind_above;
use crate::math;
use crate::position::Xy;
use std::sync::Arc;

/// Height between two rows, metres. The log profile of a 10 m/s wind is met to better than 1 cm/s at every height.
pub(super) const STEP_M: f64 = 2.0;

/// Most rows: enough for 8 km; above the top row its wind holds.
const MOST_ROWS: usize = 4_000;

/// How far below the landing end the table reaches, metres: ground on the way may lie lower.
const BELOW_M: f64 = 300.0;

/// The air at the height of one row.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub(super) wind: Xy,
    pub(super) to_true: f64,
    /// Changes up to the next row.
    pub(super) rise: Xy,
    pub(super) thin: f64,
}

/// The air at one height.
#[derive(Clone, Copy, Debug)]
pub(super) struct AirAt {
    /// Where the air goes, m/s.
    pub(super) wind: Xy,
    /// Its change for each metre upwards, 1/s.
    pub(super) shear: Xy,
    /// True airspeed for each equivalent airspeed.
    pub(super) to_true: f64,
    /// Its change for each metre upwards, 1/m.
    pub(super) to_true_slope: f64,
}

/// Wind and density over one field by height above mean sea level.
///
/// The wind near the ground follows that of the field ([`wind_above`]); below 10 m above it the surface wind holds, so
/// that no wind gradient is met in the flare. Between rows everything is linear in height.
#[derive(Clone, Debug)]
pub struct AirColumn {
    base_amsl_m: f64,
    rows: Arc<[Row]>,
    disturbance: Disturbance,
}

/// What is done to every wind of a table: turned and lengthened, then a wind added that is the same at every height.
#[derive(Clone, Copy, Debug)]
struct Disturbance {
    /// Speed factor times cosine and sine of the clockwise turn.
    cos: f64,
    sin: f64,
    added: Xy,
}

impl Disturbance {
    const NONE: Self = Self { cos: 1.0, sin: 0.0, added: Xy::new(0.0, 0.0) };
    fn new(speed_factor: f64, veer_rad: f64, added: Xy) -> Self {
        let (sin, cos) = math::sin_cos(veer_rad);
        Self { cos: cos * speed_factor, sin: sin * speed_factor, added }
    }
    #[inline]
    fn turned(&self, w: Xy) -> Xy {
        Xy::new(w.x * self.cos + w.y * self.sin, w.y * self.cos - w.x * self.sin)
    }
}

impl AirColumn {
    /// The air over ground at a height above sea level, up to `top_amsl_m`.
    #[must_use]
    pub fn new(wind: &Wind, ground_amsl_m: f64, top_amsl_m: f64) -> Self {
        let base = ground_amsl_m - BELOW_M;
        let span = (top_amsl_m - base).max(STEP_M);
        let count = if span.is_finite() { (span / STEP_M).ceil() as usize + 2 } else { 2 };
        let row = |i: usize| {
            let height = base + i as f64 * STEP_M;
            let wind = wind_above(wind, ground_amsl_m, height - ground_amsl_m).xy();
            Row { wind, to_true: 1.0 / isa_density_ratio(height).sqrt(), rise: Xy::default(), thin: 0.0 }
        };
        let mut rows: Vec<Row> = (0..count.min(MOST_ROWS)).map(row).collect();
        for i in 1..rows.len() {
            let next = rows[i];
            rows[i - 1].rise = next.wind - rows[i - 1].wind;
            rows[i - 1].thin = next.to_true - rows[i - 1].to_true;
        }
        Self { base_amsl_m: base, rows: rows.into(), disturbance: Disturbance::NONE }
    }

    /// The air that was looked up, its wind `speed_factor` times as strong and turned clockwise by `veer_rad`.
    #[must_use]
    pub fn disturbed(&self, speed_factor: f64, veer_rad: f64) -> Self {
        self.disturbed_and(speed_factor, veer_rad, Xy::default())
    }

    /// The same, and a wind added that is the same at every height, m/s.
    pub(super) fn disturbed_and(&self, speed_factor: f64, veer_rad: f64, added: Xy) -> Self {
        Self { disturbance: Disturbance::new(speed_factor, veer_rad, added), ..self.clone() }
    }

    /// Height of the lowest row above mean sea level, metres, and the rows, [`STEP_M`] apart, as they were before anything was
    /// done to the wind; at least two.
    pub(super) fn table(&self) -> (f64, &[Row]) {
        (self.base_amsl_m, &self.rows)
    }

    #[inline]
    pub(super) fn at(&self, height_amsl_m: f64) -> AirAt {
        let last = self.rows.len() - 1;
        let at = ((height_amsl_m - self.base_amsl_m) / STEP_M).clamp(0.0, last as f64);
        let low = (at as usize).min(last - 1);
        let Row { wind, to_true, rise, thin } = self.rows[low];
        let t = at - low as f64;
        let per_metre = 1.0 / STEP_M;
        let inside = at > 0.0 && at < last as f64;
        AirAt {
            wind: self.disturbance.turned(wind + rise * t) + self.disturbance.added,
            shear: if inside { self.disturbance.turned(rise * per_metre) } else { Xy::default() },
            to_true: to_true + thin * t,
            to_true_slope: if inside { thin * per_metre } else { 0.0 },
        }
    }

    /// True airspeed for each equivalent airspeed at a height above mean sea level.
    #[must_use]
    pub fn to_true(&self, height_amsl_m: f64) -> f64 {
        self.at(height_amsl_m).to_true
    }

    /// The wind at a height above mean sea level.
    #[must_use]
    pub fn wind_at(&self, height_amsl_m: f64) -> WindVector {
        let Xy { x, y } = self.at(height_amsl_m).wind;
        WindVector { east_ms: x, north_ms: y }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::WindProfile;
    use crate::position::Bearing;

    #[test]
    fn follows_the_wind_and_the_density_it_was_made_from() {
        let wind = Wind::new(
            WindVector::coming_from(Bearing::from_deg(240.0), 10.0),
            WindProfile::OPEN_GRASS,
            Vec::new(),
            120.0,
        );
        let column = AirColumn::new(&wind, 80.0, 900.0);
        for i in 0..400 {
            let agl = f64::from(i) * 2.03;
            let (table, direct) = (column.wind_at(80.0 + agl), wind_above(&wind, 80.0, agl));
            assert!((table.xy() - direct.xy()).norm() < 0.02, "{agl}: {table:?} {direct:?}");
            let thin = 1.0 / isa_density_ratio(80.0 + agl).sqrt();
            assert!((column.at(80.0 + agl).to_true - thin).abs() < 1e-6);
        }
        assert_eq!(column.wind_at(f64::INFINITY), column.wind_at(1e9));
    }

    #[test]
    fn a_veered_wind_comes_from_further_clockwise() {
        let wind = Wind::uniform(WindVector::coming_from(Bearing::from_deg(200.0), 6.0));
        let veered = AirColumn::new(&wind, 0.0, 300.0).disturbed(1.5, 30f64.to_radians()).wind_at(100.0);
        assert!((veered.speed_ms() - 9.0).abs() < 1e-9);
        assert!((veered.from_bearing().unwrap().deg() - 230.0).abs() < 1e-9);
    }
}
