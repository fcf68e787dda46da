//! Gusts near the ground: vertical, and along the flight.
//!
//! Low-altitude scales of MIL-F-8785C (1980), height h in feet: σ_w = 0.1·W₂₀ with the wind W₂₀ at 20 ft,
//! σ_u = σ_w/(0.177 + 0.000823·h)^0.4, L_w = h, L_u = h/(0.177 + 0.000823·h)^1.2, from 10 ft up; above 1 000 ft as at
//! 1 000 ft. Each gust is a first-order process. The Dryden spectrum along the flight is one, with the time L_u/V; that of
//! vertical gusts has half as much slow power for its length, so its time is L_w/2V here: slow power is what displaces a
//! glider. A step draws the gust at its end and its mean over the step together, exactly, whatever the step's length
//! (Gillespie, *Exact numerical simulation of the Ornstein–Uhlenbeck process*, Phys. Rev. E 54, 1996).
#![expect(clippy::inline_always, reason = "vectors stay in registers only where everything is one function")]

use super::lanes::{Each, LANES, Which};
use super::random::{SCORE_TABLE, Scores, Stream};
use crate::math;
use core::f64::consts::FRAC_1_SQRT_2;
use std::sync::LazyLock;

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
    steps: &'static [Steps; STEPS + 1],
    scores: &'static Scores,
}

impl Scales {
    /// For a wind at 20 ft above ground, m/s.
    pub(super) fn new(wind_20_ft_ms: f64) -> Self {
        let rows = core::array::from_fn(|i| {
            let ft = (i as f64 * ROW_FT).max(10.0);
            let base = 0.177 + 0.000_823 * ft;
            Row { along_ratio: 1.0 / math::pow(base, 0.4), along_m: ft / math::pow(base, 1.2) * FT_M, up_m: ft * FT_M }
        });
        Self { rows, up_sd_ms: 0.1 * wind_20_ft_ms, steps: &STEP_TABLE, scores: &SCORE_TABLE }
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
    #[cfg_attr(not(test), expect(dead_code, reason = "who flies the plan alone meets no gusts"))]
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
        let (up, up_mean) = Steps::tabled(dt / scale.up_s).drawn(self.up, a, b);
        let (a, b) = self.stream.normals();
        let (along, along_mean) = Steps::tabled(dt / scale.along_s).drawn(self.along, a, b);
        let change = along - self.along;
        (self.up, self.along) = (up, along);
        GustStep {
            up: scale.up_sd * up_mean,
            along: scale.along_sd * along_mean,
            along_change: scale.along_sd * change,
        }
    }
}

/// The gusts of flights side by side.
#[derive(Clone, Debug)]
pub(super) struct EachGusts<'a> {
    scales: &'a Scales,
    streams: [Stream; LANES],
    up: Each,
    along: Each,
}

/// Gusts over one step, as [`GustStep`].
#[derive(Clone, Copy, Debug)]
pub(super) struct EachGustStep {
    pub(super) up: Each,
    pub(super) along: Each,
    pub(super) along_change: Each,
}

impl<'a> EachGusts<'a> {
    pub(super) fn new(scales: &'a Scales, mut streams: [Stream; LANES]) -> Self {
        let (mut up, mut along) = (Each::of(0.0), Each::of(0.0));
        for (l, stream) in streams.iter_mut().enumerate() {
            (up.0[l], along.0[l]) = stream.normals();
        }
        Self { scales, streams, up, along }
    }

    /// As [`Gusts::step`]; the streams of those that do not step stay where they are.
    #[inline(always)]
    pub(super) fn step(&mut self, which: Which, height_m: Each, true_ms: Each, dt: Each) -> EachGustStep {
        let sd = self.scales.up_sd_ms;
        if sd == 0.0 {
            let none = Each::of(0.0);
            return EachGustStep { up: none, along: none, along_change: none };
        }
        let at = (height_m * (1.0 / (FT_M * ROW_FT))).max(Each::of(0.0)).min(Each::of((ROWS - 1) as f64)) + 0.5;
        let (rows, _) = at.row_and_rest(ROWS - 1);
        let rows = rows.map(|i| self.scales.rows[i]);
        let [mut up_a, mut up_b, mut along_a, mut along_b] = [Each::of(0.0); 4];
        for l in 0..LANES {
            (up_a.0[l], up_b.0[l]) = self.streams[l].normals_if(self.scales.scores, which.0[l]);
            (along_a.0[l], along_b.0[l]) = self.streams[l].normals_if(self.scales.scores, which.0[l]);
        }
        let steps = self.scales.steps;
        let k = dt * true_ms * 2.0 / Each(rows.map(|r| r.up_m));
        let (up, up_mean) = EachSteps::tabled(steps, k).drawn(self.up, up_a, up_b);
        let k = dt * true_ms / Each(rows.map(|r| r.along_m));
        let (along, along_mean) = EachSteps::tabled(steps, k).drawn(self.along, along_a, along_b);
        let along_sd = Each(rows.map(|r| r.along_ratio)) * sd;
        let change = along - self.along;
        self.up.keep(which, up);
        self.along.keep(which, along);
        EachGustStep { up: up_mean * sd, along: along_sd * along_mean, along_change: along_sd * change }
    }
}

/// As [`Steps`], of flights side by side.
#[derive(Clone, Copy, Debug)]
struct EachSteps {
    kept: Each,
    mean: Each,
    end_sd: Each,
    shared: Each,
    own: Each,
}

impl EachSteps {
    #[inline(always)]
    fn tabled(table: &[Steps; STEPS + 1], k: Each) -> Self {
        let (rows, t) = ((k / (k + 1.0)).sqrt() * STEPS as f64).row_and_rest(STEPS - 1);
        let (low, high) = (rows.map(|i| &table[i]), rows.map(|i| &table[i + 1]));
        let mix = |of: fn(&Steps) -> f64| {
            let from = Each(low.map(of));
            from + (Each(high.map(of)) - from) * t
        };
        let (kept, mean) = (mix(|s| s.kept), mix(|s| s.mean));
        let end_sd = (1.0 - kept * kept).sqrt();
        let mixed =
            Self { kept, mean, end_sd, shared: mean * mean * k / end_sd.max(Each::of(LEAST_SD)), own: mix(|s| s.own) };
        let many = k.is_at_least(Each::of(MANY));
        if many.any() { mixed.over_many(many, k) } else { mixed }
    }

    /// Over many correlation times nothing is left of the value at the beginning.
    #[cold]
    fn over_many(self, many: Which, k: Each) -> Self {
        let (none, mean) = (Each::of(0.0), 1.0 / k);
        Self {
            kept: none.where_else(many, self.kept),
            mean: mean.where_else(many, self.mean),
            end_sd: Each::of(1.0).where_else(many, self.end_sd),
            shared: mean.where_else(many, self.shared),
            own: ((2.0 * k - 4.0).sqrt() / k).where_else(many, self.own),
        }
    }

    #[inline(always)]
    fn drawn(&self, from: Each, a: Each, b: Each) -> (Each, Each) {
        (from * self.kept + self.end_sd * a, from * self.mean + self.shared * a + self.own * b)
    }
}

/// How a process of unit deviation goes on over a step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Steps {
    /// What is left of the value at the beginning, at the end and in the mean on the way.
    kept: f64,
    mean: f64,
    /// What one normal number adds at the end and in the mean, and what another adds in the mean alone.
    end_sd: f64,
    shared: f64,
    own: f64,
}

/// Deviation below which a step is none, so that nothing is divided by zero.
const LEAST_SD: f64 = 1e-9;

/// So many correlation times are many: the mean's own part is no longer smooth enough for the table.
const MANY: f64 = 20.0;

/// Intervals of the table, even in the square root of k/(1 + k): all that is tabled is smooth in that.
const STEPS: usize = 512;

static STEP_TABLE: LazyLock<[Steps; STEPS + 1]> = LazyLock::new(|| {
    core::array::from_fn(|i| {
        let x = (i as f64 / STEPS as f64).min(1.0 - 1e-9);
        Steps::over(x * x / (1.0 - x * x))
    })
});

impl Steps {
    /// Over `k` correlation times, exactly.
    pub(super) fn over(k: f64) -> Self {
        let kept = math::exp(-k);
        let lost = 1.0 - kept;
        let end_sd = (1.0 - kept * kept).sqrt();
        if k < 1e-3 {
            // The differences below would lose their digits; these are their first terms.
            let (mean, root) = (0.5 * (1.0 + kept), k.sqrt());
            return Self { kept, mean, end_sd, shared: root * FRAC_1_SQRT_2, own: root / 6.0_f64.sqrt() };
        }
        let var = (2.0 * k - 3.0 + 4.0 * kept - kept * kept) / (k * k);
        let shared = lost * lost / (k * end_sd);
        Self { kept, mean: lost / k, end_sd, shared, own: (var - shared * shared).max(0.0).sqrt() }
    }

    /// The same from a table, to within 1e-4.
    fn tabled(k: f64) -> Self {
        if !(k < MANY) {
            return Self::over(k);
        }
        let x = (k / (1.0 + k)).sqrt() * STEPS as f64;
        let at = (x as usize).min(STEPS - 1);
        let t = x - at as f64;
        let (a, b) = (STEP_TABLE[at], STEP_TABLE[at + 1]);
        let mix = |a: f64, b: f64| a + (b - a) * t;
        let (kept, mean) = (mix(a.kept, b.kept), mix(a.mean, b.mean));
        let end_sd = (1.0 - kept * kept).sqrt();
        Self { kept, mean, end_sd, shared: mean * mean * k / end_sd.max(LEAST_SD), own: mix(a.own, b.own) }
    }

    /// The value at the end and its mean on the way, from the value at the beginning and two normal numbers.
    pub(super) fn drawn(&self, from: f64, a: f64, b: f64) -> (f64, f64) {
        (from * self.kept + self.end_sd * a, from * self.mean + self.shared * a + self.own * b)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_says_what_the_formulas_say() {
        for i in 0..20_000 {
            let k = 1e-4 * 1.000_7_f64.powi(i);
            let (table, exact) = (Steps::tabled(k), Steps::over(k));
            let pairs = [
                (table.kept, exact.kept),
                (table.mean, exact.mean),
                (table.end_sd, exact.end_sd),
                (table.shared, exact.shared),
                (table.own, exact.own),
            ];
            assert!(pairs.iter().all(|(t, e)| (t - e).abs() < 1e-4), "{k}: {table:?} {exact:?}");
        }
    }

    #[test]
    fn side_by_side_they_are_what_they_are_alone() {
        let mut k = 1e-4;
        while k < 5_000.0 {
            let each: Each = Each(core::array::from_fn(|l| k * (1.0 + 0.3 * l as f64)));
            let found = EachSteps::tabled(&STEP_TABLE, each);
            for l in 0..LANES {
                let s = Steps::tabled(each.0[l]);
                let alone = [s.kept, s.mean, s.end_sd, s.shared, s.own];
                let side = [found.kept, found.mean, found.end_sd, found.shared, found.own].map(|e| e.0[l]);
                let off = alone.iter().zip(side).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
                assert!(off < 1e-8, "{}: {alone:?} {side:?}", each.0[l]);
            }
            k *= 1.01;
        }
    }
}
