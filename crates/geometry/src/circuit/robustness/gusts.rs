//! Gusts near the ground: vertical, and along the flight.
//!
//! Low-altitude scales of MIL-F-8785C (1980), height h in feet: σ_w = 0.1·W₂₀ with the wind W₂₀ at 20 ft,
//! σ_u = σ_w/(0.177 + 0.000823·h)^0.4, L_w = h, L_u = h/(0.177 + 0.000823·h)^1.2, from 10 ft up; above 1 000 ft as at
//! 1 000 ft. Each gust is a first-order process. The Dryden spectrum along the flight is one, with the time L_u/V; that of
//! vertical gusts has half as much slow power for its length, so its time is L_w/2V here: slow power is what displaces a
//! glider. A step draws the gust at its end and its mean over the step together, exactly, whatever the step's length
//! (Gillespie, *Exact numerical simulation of the Ornstein–Uhlenbeck process*, Phys. Rev. E 54, 1996).

use super::random::Stream;
use crate::math;

const FT_M: f64 = 0.304_8;

/// Feet between two rows of the table.
const ROW_FT: f64 = 10.0;
const ROWS: usize = 101;

#[derive(Clone, Copy, Debug, Default)]
struct Row {
    /// Deviation along the flight for each m/s of vertical deviation.
    along_ratio: f64,
    along_m: f64,
    up_m: f64,
}

/// Scales by height.
#[derive(Clone, Debug)]
pub(super) struct Scales {
    rows: [Row; ROWS],
    /// Deviation of vertical gusts, m/s.
    up_sd_ms: f64,
}

impl Scales {
    /// For a wind at 20 ft above ground, m/s.
    pub(super) fn new(wind_20_ft_ms: f64) -> Self {
        let rows = core::array::from_fn(|i| {
            let ft = (i as f64 * ROW_FT).max(10.0);
            let base = 0.177 + 0.000_823 * ft;
            Row { along_ratio: 1.0 / math::pow(base, 0.4), along_m: ft / math::pow(base, 1.2) * FT_M, up_m: ft * FT_M }
        });
        Self { rows, up_sd_ms: 0.1 * wind_20_ft_ms }
    }

    /// Deviations of vertical gusts and gusts along the flight, m/s, and their times, seconds, at a height above ground
    /// and a true airspeed.
    pub(super) fn at(&self, height_m: f64, true_ms: f64) -> Scale {
        let i = ((height_m / (FT_M * ROW_FT)).clamp(0.0, (ROWS - 1) as f64) + 0.5) as usize;
        let row = &self.rows[i];
        Scale {
            up_sd: self.up_sd_ms,
            along_sd: self.up_sd_ms * row.along_ratio,
            up_s: 0.5 * row.up_m / true_ms,
            along_s: row.along_m / true_ms,
        }
    }
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    pub(super) up_sd: f64,
    pub(super) along_sd: f64,
    pub(super) up_s: f64,
    pub(super) along_s: f64,
}

/// The gusts of one flight.
#[derive(Clone, Debug)]
pub(super) struct Gusts<'a> {
    scales: &'a Scales,
    stream: Stream,
    /// Present gusts in their own deviations.
    up: f64,
    along: f64,
}

/// Gusts over one step, m/s.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct GustStep {
    /// Mean upward gust.
    pub(super) up: f64,
    /// Mean gust along the flight, from behind positive.
    pub(super) along: f64,
    /// Its change over the step.
    pub(super) along_change: f64,
}

impl<'a> Gusts<'a> {
    pub(super) fn new(scales: &'a Scales, mut stream: Stream) -> Self {
        let (up, along) = stream.normals();
        Self { scales, stream, up, along }
    }

    pub(super) fn step(&mut self, height_m: f64, true_ms: f64, dt: f64) -> GustStep {
        if self.scales.up_sd_ms == 0.0 {
            return GustStep::default();
        }
        let scale = self.scales.at(height_m, true_ms);
        let (a, b) = self.stream.normals();
        let (up, up_mean) = drawn(self.up, dt / scale.up_s, a, b);
        let (a, b) = self.stream.normals();
        let (along, along_mean) = drawn(self.along, dt / scale.along_s, a, b);
        let change = along - self.along;
        (self.up, self.along) = (up, along);
        GustStep {
            up: scale.up_sd * up_mean,
            along: scale.along_sd * along_mean,
            along_change: scale.along_sd * change,
        }
    }
}

/// The value after `k` correlation times of a process of unit deviation, and its mean on the way, from two normal numbers.
pub(super) fn drawn(from: f64, k: f64, a: f64, b: f64) -> (f64, f64) {
    let kept = math::exp(-k);
    let lost = 1.0 - kept;
    let end_sd = (1.0 - kept * kept).sqrt();
    let end = from * kept + end_sd * a;
    if k < 1e-3 {
        return (end, 0.5 * (from + end));
    }
    let mean = from * lost / k;
    let var = (2.0 * k - 3.0 + 4.0 * kept - kept * kept) / (k * k);
    let shared = if end_sd > 0.0 { lost * lost / (k * end_sd) } else { 0.0 };
    (end, mean + shared * a + (var - shared * shared).max(0.0).sqrt() * b)
}
