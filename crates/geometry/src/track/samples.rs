//! A track as evenly spaced samples with speeds: what every later step looks at.

use super::Track;
use crate::air::WindVector;
use crate::position::Xy;
use core::ops::Range;

/// Spacing of samples, seconds.
pub const STEP_S: f64 = 1.0;
/// Fixes further apart than this are not joined: what happened in between is not known. Seconds.
pub const GAP_S: f64 = 12.0;
/// Nothing that this program is for moves faster over the ground: such a step is a jump of the record. m/s.
const FASTEST_MS: f64 = 150.0;
/// Points whose middle is so far off have one side only, seconds.
const LOPSIDED_S: f64 = 1.2;
/// Fixes further apart than this, and than twice what is usual for the track, leave a hole. Seconds.
const HOLE_S: f64 = 3.5;
/// So far from the fixes beside a hole it has begun, seconds.
const HOLE_RIM_S: f64 = 1.4;
/// Half the time over which place and speed are fitted, seconds.
const PLACE_HALF_S: f64 = 3.5;
/// Half the time over which height and climb are fitted, seconds: receivers are less sure of heights.
const HEIGHT_HALF_S: f64 = 5.5;
/// Fewest fixes a fit is made from; the time is widened until there are so many.
const FEWEST: usize = 4;

/// The flight at one whole second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Seconds since the first fix of the track.
    pub time_s: f64,
    /// Place in the frame.
    pub position: Xy,
    /// Speed over the ground, m/s east and north.
    pub ground: Xy,
    /// Height above mean sea level, metres; `None` where the record has none.
    pub height_amsl_m: Option<f64>,
    /// Rate of climb, m/s.
    pub climb_ms: Option<f64>,
    /// How much engine the recorder noticed, 0 to 1.
    pub engine: Option<f64>,
}

impl Sample {
    /// Speed through the air in a wind, m/s east and north.
    #[must_use]
    pub fn through_air(&self, wind: WindVector) -> Xy {
        self.ground - wind.xy()
    }
}

/// Samples of a track, and which of them belong together without a gap.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Samples {
    /// Every sample in order of time.
    pub all: Vec<Sample>,
    /// Index ranges without a gap, in order; together they are all samples.
    pub parts: Vec<Range<usize>>,
    /// Index ranges within parts where fixes are missing: places between are guesses, and speeds worse.
    pub holes: Vec<Range<usize>>,
}

impl Samples {
    /// Fits place, speed, height and climb at every whole second that the record covers.
    ///
    /// Each is a least-squares parabola through the fixes a few seconds around. Gaps longer than [`GAP_S`], times that
    /// go backwards and jumps faster than anything flies begin a new part. Memory is bounded by some [`GAP_S`] samples
    /// for a fix.
    #[must_use]
    pub fn of(track: &Track) -> Self {
        let mut samples = Self::default();
        let finite = |i: usize| {
            let fix = &track.fixes[i];
            fix.time_s.is_finite() && fix.position.x.is_finite() && fix.position.y.is_finite()
        };
        let usable: Vec<usize> = (0..track.fixes.len()).filter(|&i| finite(i)).collect();
        let mut apart: Vec<f64> =
            usable.windows(2).map(|w| track.fixes[w[1]].time_s - track.fixes[w[0]].time_s).collect();
        apart.sort_by(f64::total_cmp);
        let hole_s = apart.get(apart.len() / 2).map_or(HOLE_S, |usual| HOLE_S.max(2.0 * usual));
        let mut first = 0;
        for end in 1..=usable.len() {
            let goes_on = usable.get(end).is_some_and(|&next| {
                let (a, b) = (&track.fixes[usable[end - 1]], &track.fixes[next]);
                let dt = b.time_s - a.time_s;
                (0.0..=GAP_S).contains(&dt) && a.position.distance(b.position) <= FASTEST_MS * dt.max(STEP_S)
            });
            if !goes_on {
                samples.add_part(track, &usable[first..end], hole_s);
                first = end;
            }
        }
        samples
    }

    fn add_part(&mut self, track: &Track, fixes: &[usize], hole_s: f64) {
        let time = |i: usize| track.fixes[fixes[i]].time_s;
        let Some(last) = fixes.len().checked_sub(1).filter(|&l| l + 1 >= FEWEST) else { return };
        let begin = self.all.len();
        let (mut t, mut low) = (time(0).ceil(), 0);
        while t <= time(last) {
            while low < last && time(low + 1) <= t {
                low += 1;
            }
            let place = around(&time, last, low, t, PLACE_HALF_S);
            let mut east = Parabola::default();
            let mut north = Parabola::default();
            for i in place {
                let fix = &track.fixes[fixes[i]];
                east.add(fix.time_s - t, fix.position.x - track.fixes[fixes[low]].position.x);
                north.add(fix.time_s - t, fix.position.y - track.fixes[fixes[low]].position.y);
            }
            let mut height = Parabola::default();
            let mut with_height = 0;
            for i in around(&time, last, low, t, HEIGHT_HALF_S) {
                let fix = &track.fixes[fixes[i]];
                if let Some(h) = fix.height_amsl_m.filter(|h| h.is_finite()) {
                    height.add(fix.time_s - t, h);
                    with_height += 1;
                }
            }
            if let (Some((x, vx)), Some((y, vy))) = (east.steady_at_zero(), north.steady_at_zero()) {
                let up = if with_height >= 3 { height.at_zero() } else { None };
                self.all.push(Sample {
                    time_s: t,
                    position: track.fixes[fixes[low]].position + Xy::new(x, y),
                    ground: Xy::new(vx, vy),
                    height_amsl_m: up.map(|u| u.0),
                    climb_ms: up.map(|u| u.1),
                    engine: track.fixes[fixes[low]].engine.filter(|e| e.is_finite()),
                });
            }
            t += STEP_S;
        }
        if self.all.len() > begin {
            self.parts.push(begin..self.all.len());
            for i in 0..last {
                if time(i + 1) - time(i) > hole_s {
                    let after = |t: f64| begin + self.all[begin..].partition_point(|s| s.time_s < t);
                    let hole = after(time(i) + HOLE_RIM_S)..after(time(i + 1) - HOLE_RIM_S);
                    self.holes.extend((!hole.is_empty()).then_some(hole));
                }
            }
        }
    }

    /// Index of the sample at or before a time, the first where there is none.
    #[must_use]
    pub fn index_at(&self, time_s: f64) -> usize {
        self.all.partition_point(|s| s.time_s <= time_s).saturating_sub(1)
    }

    /// The part that a sample belongs to.
    #[must_use]
    pub fn part_of(&self, index: usize) -> Range<usize> {
        self.parts.iter().find(|p| p.contains(&index)).cloned().unwrap_or(index..index)
    }
}

/// The fixes within a time around `t`, widened until there are enough.
fn around(time: &impl Fn(usize) -> f64, last: usize, low: usize, t: f64, half_s: f64) -> Range<usize> {
    let (mut a, mut b) = (low, low);
    while a > 0 && time(a - 1) >= t - half_s {
        a -= 1;
    }
    while b < last && time(b + 1) <= t + half_s {
        b += 1;
    }
    while b - a + 1 < FEWEST && (a > 0 || b < last) {
        let before = if a > 0 { t - time(a - 1) } else { f64::INFINITY };
        let after = if b < last { time(b + 1) - t } else { f64::INFINITY };
        if before <= after {
            a -= 1;
        } else {
            b += 1;
        }
    }
    a..b + 1
}

/// Least-squares parabola through points given one by one.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Parabola {
    s: [f64; 5],
    y: [f64; 3],
}

impl Parabola {
    pub(super) fn add(&mut self, t: f64, value: f64) {
        let (t2, t3) = (t * t, t * t * t);
        for (sum, power) in self.s.iter_mut().zip([1.0, t, t2, t3, t2 * t2]) {
            *sum += power;
        }
        for (sum, power) in self.y.iter_mut().zip([1.0, t, t2]) {
            *sum += power * value;
        }
    }
    /// Value and slope at zero; those of a line where the points do not bend it, `None` where there is no line either.
    pub(super) fn at_zero(&self) -> Option<(f64, f64)> {
        self.parabola_at_zero().or_else(|| self.line_at_zero())
    }
    /// The same, the slope from a line where the points lie on one side: a parabola's slope at its end is mostly noise.
    fn steady_at_zero(&self) -> Option<(f64, f64)> {
        let [s0, s1, ..] = self.s;
        let (value, slope) = self.at_zero()?;
        if (s1 / s0).abs() < LOPSIDED_S { Some((value, slope)) } else { self.line_at_zero().map(|l| (value, l.1)) }
    }
    fn parabola_at_zero(&self) -> Option<(f64, f64)> {
        let [s0, s1, s2, s3, s4] = self.s;
        let [y0, y1, y2] = self.y;
        let (c00, c01, c02) = (s2 * s4 - s3 * s3, s2 * s3 - s1 * s4, s1 * s3 - s2 * s2);
        let det = s0 * c00 + s1 * c01 + s2 * c02;
        if det > 1e-6 * (s0 * s2 * s4).abs() {
            let value = (y0 * c00 + y1 * c01 + y2 * c02) / det;
            let slope = (y0 * c01 + y1 * (s0 * s4 - s2 * s2) + y2 * (s1 * s2 - s0 * s3)) / det;
            return Some((value, slope));
        }
        None
    }
    /// Value at zero and slope of the least-squares line; `None` where the points make none.
    pub(super) fn line_at_zero(&self) -> Option<(f64, f64)> {
        let ([s0, s1, s2, ..], [y0, y1, _]) = (self.s, self.y);
        let det = s0 * s2 - s1 * s1;
        (det > 1e-9).then(|| ((s2 * y0 - s1 * y1) / det, (s0 * y1 - s1 * y0) / det))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::track::Fix;

    fn fix(time_s: f64, x: f64, h: f64) -> Fix {
        Fix { time_s, position: Xy::new(x, 2.0 * x), height_amsl_m: Some(h), engine: None }
    }

    #[test]
    fn a_straight_climb_comes_back_exactly_whatever_the_rate() {
        for step in [0.2, 1.0, 2.5, 5.0] {
            let fixes = (0..60).map(|i| f64::from(i) * step).map(|t| fix(t, 20.0 * t, 100.0 + 2.0 * t)).collect();
            let samples = Samples::of(&Track { fixes });
            assert_eq!(samples.parts.len(), 1);
            for s in &samples.all {
                assert!((s.ground.x - 20.0).abs() < 1e-6 && (s.ground.y - 40.0).abs() < 1e-6, "{s:?}");
                assert!((s.climb_ms.unwrap() - 2.0).abs() < 1e-6);
                assert!((s.position.x - 20.0 * s.time_s).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn gaps_and_jumps_begin_new_parts_and_nonsense_is_left_out() {
        let mut fixes: Vec<Fix> = (0..30).map(f64::from).map(|t| fix(t, 20.0 * t, 100.0)).collect();
        fixes.extend((60..90).map(f64::from).map(|t| fix(t, 20.0 * t, 100.0)));
        fixes.extend((90..120).map(f64::from).map(|t| fix(t, 1e6 + t, 100.0)));
        fixes.push(fix(f64::NAN, 0.0, 0.0));
        fixes.push(fix(1e9, 0.0, 0.0));
        let samples = Samples::of(&Track { fixes });
        assert_eq!(samples.parts.len(), 3);
        assert!(samples.all.len() <= 90);
        assert!(Samples::of(&Track::default()).all.is_empty());
    }
}
