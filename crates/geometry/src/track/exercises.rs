//! Practice failures, take-offs, landings, touch-and-goes and circuits in a flight.
//!
//! A practice failure is a glide that begins under power in the air, and ends in a climb away or on the ground. Each is
//! told with a confidence, for the pilot to confirm or correct.

use super::phases::{Flight, PhaseKind};
use super::samples::Parabola;
use crate::math::{self, GRAVITY_MS2};
use crate::position::Xy;
use core::ops::Range;
use serde::{Deserialize, Serialize};

/// How an exercise ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// Power came back and the aircraft flew on.
    GoAround,
    /// It landed.
    Landing,
    /// The record ends or has a gap.
    RecordEnds,
}

impl Ending {
    /// The ending in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::GoAround => "went around",
            Self::Landing => "landed",
            Self::RecordEnds => "the record ends",
        }
    }
}

/// One practice failure: from the engine's stop to the go-around or the landing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Exercise {
    /// Seconds since the first fix at which the engine stopped, most probably.
    pub start_s: f64,
    /// Between which seconds it stopped, nine times in ten; `None` where the user says when.
    #[serde(default)]
    pub start_between_s: Option<(f64, f64)>,
    /// Seconds since the first fix at which power came back or the aircraft touched down.
    pub end_s: f64,
    /// How it ended.
    pub ending: Ending,
    /// How sure it is that this was a practice failure, from 0 to 1; 1 where the user says so.
    pub confidence: f64,
}

/// What happened at a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum EventKind {
    /// Left the ground.
    TakeOff,
    /// Touched down and stayed.
    Landing,
    /// Touched down and flew on at once.
    TouchAndGo,
    /// From a take-off to the next landing near it.
    Circuit,
}

impl EventKind {
    /// The event in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::TakeOff => "take-off",
            Self::Landing => "landing",
            Self::TouchAndGo => "touch-and-go",
            Self::Circuit => "circuit",
        }
    }
}

/// Something that happened in a flight.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Event {
    /// What.
    pub kind: EventKind,
    /// Seconds since the first fix at its beginning.
    pub start_s: f64,
    /// At its end; the same for what has no length.
    pub end_s: f64,
    /// Where it ended.
    pub position: Xy,
    /// How sure, from 0 to 1.
    pub confidence: f64,
}

/// Shortest glide that is an exercise, seconds. Numbers of this block: common practice, no source.
const SHORTEST_S: usize = 12;
/// Least height lost in one, metres.
const LEAST_LOST_M: f64 = 30.0;
/// Least height above ground at its beginning, metres: a closed throttle below is an ordinary landing.
const LEAST_START_AGL_M: f64 = 75.0;
/// Power shorter than this between two glides is a burst to keep the engine warm, not a go-around, seconds.
const BURST_S: usize = 8;
/// How far from a change of phase its exact time is looked for, seconds.
const CHANGE_REACH: usize = 60;
/// A glide that lasts so many times what the height above the ground does in still air, and [`SOARING_S`] more, is soaring.
const SOARING: f64 = 2.0;
const SOARING_S: f64 = 60.0;
/// What a change is never surer than, samples to either side: fits blur it, and engines run down.
const SURE_S: usize = 2;
/// Holes shorter than this hide no change, samples.
const SHORTEST_HOLE: usize = 6;
/// Longest break of the record that a glide is followed across, seconds.
const LONGEST_BREAK_S: f64 = 45.0;
/// Longest rising air that is taken for power between two glides, seconds.
const RISING_AIR_S: usize = 35;
/// What is less likely than this is not told.
const LEAST_CONFIDENCE: f64 = 0.4;
/// Height above ground below which an end counts as a landing when the record goes on slowly or stops, metres.
const LANDED_AGL_M: f64 = 12.0;
/// Longest stay on the ground that is a touch-and-go, seconds.
const TOUCH_S: usize = 40;
/// A landing this near the place of take-off closes a circuit, metres; within [`CIRCUIT_S`].
const CIRCUIT_M: f64 = 1_500.0;
/// Longest circuit, seconds.
const CIRCUIT_S: f64 = 900.0;

impl Flight {
    /// Practice failures in order of time.
    #[must_use]
    pub fn exercises(&self) -> Vec<Exercise> {
        let mut found = Vec::new();
        let mut glides: Vec<(Range<usize>, f64)> = Vec::new();
        for (at, phase) in self.phases.iter().enumerate() {
            if phase.kind != PhaseKind::Gliding {
                continue;
            }
            let joined = glides.last_mut().filter(|(last, _)| {
                let between = last.end..phase.samples.start;
                let burst = at > 0 && self.phases[at - 1].kind == PhaseKind::Powered;
                let goes_on = burst && self.same_part(&between) && self.is_glide_still(&between);
                goes_on || (between.is_empty() && self.glides_across(between.start))
            });
            match joined {
                Some((last, confidence)) => {
                    last.end = phase.samples.end;
                    *confidence = confidence.max(phase.confidence);
                }
                None => glides.push((phase.samples.clone(), phase.confidence)),
            }
        }
        for (i, (glide, confidence)) in glides.iter().enumerate() {
            // Its beginning and end lie between the glide before and the glide after.
            let from = i.checked_sub(1).map_or(0, |b| glides[b].0.end);
            let to = glides.get(i + 1).map_or(self.samples.all.len(), |a| a.0.start);
            found.extend(self.exercise(glide, &(from..to), *confidence));
        }
        found
    }

    fn same_part(&self, range: &Range<usize>) -> bool {
        self.samples.parts.iter().any(|p| p.contains(&range.start) && p.end >= range.end)
    }

    /// Whether what looks like power between two glides is a burst, or rising air: short, without a climb, and with
    /// less than level flight takes.
    fn is_glide_still(&self, between: &Range<usize>) -> bool {
        let climbs = between.clone().any(|i| self.samples.all[i].climb_ms.is_some_and(|c| c > 1.0));
        let weak = self.mean_engine(between.clone()).is_none_or(|r| r < 0.8 * self.glide_sink_ms);
        !climbs && (between.len() < BURST_S || (weak && between.len() < RISING_AIR_S))
    }

    /// Where a glide that is there when the record goes on after a break began meanwhile: the last sample before the
    /// break, and the time, by as much power as makes up the energy on the other side.
    fn hidden_by_break(&self, glide: usize, part: &Range<usize>, not_before: usize) -> Option<(usize, f64)> {
        let before = part.start.checked_sub(1).filter(|&b| glide == part.start && b >= not_before)?;
        // A little away from the break: speeds beside it are told from one side only.
        let (last, next) = (before.saturating_sub(3), (part.start + 3).min(part.end - 1));
        let (a, b) = (&self.samples.all[last], &self.samples.all[next]);
        let seconds = b.time_s - a.time_s;
        if seconds > LONGEST_BREAK_S || self.phase_at(before) != Some(PhaseKind::Powered) {
            return None;
        }
        let kinetic = |i: usize| self.flying[i].true_airspeed_ms * self.flying[i].true_airspeed_ms;
        let energy = b.height_amsl_m? - a.height_amsl_m? + (kinetic(next) - kinetic(last)) / (2.0 * GRAVITY_MS2);
        let mean = energy / seconds + self.glide_sink_ms;
        let under_power = self.mean_engine(before.saturating_sub(8)..before + 1)?;
        let gliding = self.mean_engine(part.start..(part.start + 8).min(part.end))?;
        let share = (mean - gliding) / (under_power - gliding).max(0.3 * self.glide_sink_ms);
        let broken = (self.samples.all[before].time_s, self.samples.all[part.start].time_s);
        Some((before, (a.time_s + seconds * share.clamp(0.0, 1.0)).clamp(broken.0, broken.1)))
    }

    /// Whether the record breaks before a sample, not for long, and as much energy was lost meanwhile as in a glide.
    fn glides_across(&self, at: usize) -> bool {
        let Some(before) = at.checked_sub(1).filter(|_| at < self.samples.all.len()) else { return false };
        let seconds = self.samples.all[at].time_s - self.samples.all[before].time_s;
        if !(0.0..=LONGEST_BREAK_S).contains(&seconds) {
            return false;
        }
        let energy = |i: usize| {
            let v = self.flying[i].true_airspeed_ms;
            self.samples.all[i].height_amsl_m.map(|h| h + v * v / (2.0 * GRAVITY_MS2))
        };
        energy(before).zip(energy(at)).is_some_and(|(a, b)| {
            let engine = (b - a) / seconds + self.glide_sink_ms;
            (engine - self.idle_ms).abs() < 0.45 * self.glide_sink_ms
        })
    }

    fn exercise(&self, glide: &Range<usize>, between: &Range<usize>, confidence: f64) -> Option<Exercise> {
        let first = self.samples.part_of(glide.start);
        let part = self.samples.part_of(glide.end - 1);
        let until = glide.end.min(first.end);
        let (onset, bounds) = self.change(glide.start, &(first.start.max(between.start)..until), true);
        let onset = onset.clamp(first.start, until - 1);
        let agl = |i: usize| self.flying[i].height_agl_m;
        let height = |i: usize| self.samples.all[i].height_amsl_m;
        let hidden = self.hidden_by_break(glide.start, &first, between.start);
        let (onset, onset_s, bounds) = match hidden {
            Some((before, at_s)) => (before, at_s, (before, bounds.1.max(onset))),
            None => (onset, self.samples.all[onset].time_s, bounds),
        };
        let lost = height(onset)? - height(glide.end - 1)?;
        let start_agl = agl(onset);
        let too_low = start_agl.is_some_and(|h| h < LEAST_START_AGL_M);
        if glide.end - onset < SHORTEST_S || lost < LEAST_LOST_M || too_low {
            return None;
        }
        // Held up by rising air for so long it is soaring, not an exercise.
        let seconds = self.samples.all[glide.end - 1].time_s - onset_s;
        let still_air_s = start_agl.map_or(f64::INFINITY, |h| h / self.glide_sink_ms.max(0.1));
        if seconds > SOARING * still_air_s + SOARING_S {
            return None;
        }
        let next = self.phase_at(glide.end).filter(|_| glide.end < part.end);
        let low = (glide.end.saturating_sub(10).max(onset)..(glide.end + 10).min(part.end))
            .filter_map(agl)
            .fold(f64::INFINITY, f64::min);
        let (ending, end) = match next {
            Some(PhaseKind::OnGround) => (Ending::Landing, self.touchdown(glide, &part)),
            Some(_) => (
                Ending::GoAround,
                self.change(glide.end, &(onset.max(part.start)..part.end.min(between.end)), false)
                    .0
                    .clamp(onset + 1, part.end - 1),
            ),
            None if low < LANDED_AGL_M => (Ending::Landing, glide.end - 1),
            None => (Ending::RecordEnds, glide.end - 1),
        };
        let confidence = self.confidence(glide, onset, end, ending, low, confidence);
        let time = |i: usize| self.samples.all[i].time_s;
        (confidence >= LEAST_CONFIDENCE).then(|| Exercise {
            start_s: onset_s,
            start_between_s: Some((time(bounds.0.min(onset)), time(bounds.1.max(onset)))),
            end_s: time(end),
            ending,
            confidence,
        })
    }

    /// What speaks for a practice failure beside the energy of the glide: how much fell away at its beginning, how low
    /// it went, and whether full power followed. Log odds; the weights were set on simulated flights other than those
    /// they are tested on.
    fn confidence(
        &self,
        glide: &Range<usize>,
        onset: usize,
        end: usize,
        ending: Ending,
        low_agl_m: f64,
        phase: f64,
    ) -> f64 {
        let part = self.samples.part_of(onset);
        let sink = self.glide_sink_ms.max(0.1);
        let last = self.samples.part_of(end);
        let mean = |from: usize, to: usize| self.mean_engine(from.max(part.start)..to.min(last.end));
        let mut odds = math::ln(phase / (1.0 - phase).max(1e-3)).min(3.0) - 1.0;
        if let (Some(before), Some(after)) =
            (mean(onset.saturating_sub(13), onset.saturating_sub(3)), mean(onset + 4, onset + 16))
        {
            odds += (2.0 * ((before - after) / sink - 0.65) / 0.25).clamp(-3.0, 2.0);
        }
        if let Some(level) = mean(onset + 4, end.saturating_sub(3).max(onset + 5)) {
            odds -= (((level - self.idle_ms) / sink - 0.15) / 0.1).clamp(0.0, 4.0);
        }
        if ending == Ending::GoAround {
            let climb = mean(end + 4, end + 16).map_or(0.0, |r| r / sink - 1.25);
            odds += (climb / 0.25).clamp(-1.5, 1.5);
        }
        if low_agl_m.is_finite() {
            odds += ((180.0 - low_agl_m) / 40.0).clamp(-2.0, 1.5);
        }
        if glide.end - glide.start < 25 {
            odds -= 1.0;
        }
        if self.wind.bands.is_empty() {
            odds -= 1.0;
        }
        (1.0 / (1.0 + math::exp(-odds))).clamp(0.01, 0.99)
    }

    fn mean_engine(&self, range: Range<usize>) -> Option<f64> {
        let rates: Vec<f64> = range.filter_map(|i| self.flying[i].engine_ms).collect();
        (rates.len() >= 3).then(|| rates.iter().sum::<f64>() / rates.len() as f64)
    }

    /// Where the change into a glide, or out of it, most probably is, near where the course has it, and between which
    /// samples it is nine times in ten.
    fn change(&self, at: usize, within: &Range<usize>, into_glide: bool) -> (usize, (usize, usize)) {
        let part = self.samples.part_of(at.min(within.end - 1));
        let from = at.saturating_sub(CHANGE_REACH).max(within.start).max(part.start);
        let range = from..(at + CHANGE_REACH).min(within.end).min(part.end).max(from);
        let local = range.start - part.start..range.end - part.start;
        let shares = self.with_course(&part, |c| c.change(&self.states[part.clone()], &local, into_glide));
        let mut best = (0.0, at);
        let (mut sum, mut low, mut high) = (0.0, None, None);
        for (i, share) in range.zip(&shares) {
            if *share > best.0 {
                best = (*share, i);
            }
            sum += share;
            if low.is_none() && sum >= 0.05 {
                low = Some(i);
            }
            if high.is_none() && sum >= 0.95 {
                high = Some(i);
            }
        }
        // A ramp is half through one sample before its middle.
        let sample = |i: usize| i.saturating_sub(1).max(within.start);
        let (mut low, mut high) = (low.unwrap_or(at), high.unwrap_or(at));
        if let Some(i) = self.in_hole(best.1) {
            best.1 = i;
            (low, high) = (low.min(i.saturating_sub(SURE_S)), high.max(i + SURE_S));
        }
        (sample(best.1), (sample(low.saturating_sub(SURE_S)), (high + SURE_S).min(within.end - 1)))
    }

    /// Where in a hole without rates a change was, by the energy on either side: as much of it under the one level as
    /// makes up the mean. `None` where there is no hole, or the two sides have much the same level.
    fn in_hole(&self, at: usize) -> Option<usize> {
        let (hole, mean) = self.bridges.iter().find(|b| b.0.len() >= SHORTEST_HOLE && b.0.contains(&at))?;
        let before = self.mean_engine(hole.start.saturating_sub(5)..hole.start)?;
        let after = self.mean_engine(hole.end..(hole.end + 5).min(self.flying.len()))?;
        if (before - after).abs() < 0.4 * self.glide_sink_ms {
            return None;
        }
        let share = ((mean - after) / (before - after)).clamp(0.0, 1.0);
        Some(hole.start + (share * hole.len() as f64).round() as usize)
    }

    /// Where a glide that ends on the ground meets it: the descent carried on down to where the aircraft then rolled.
    fn touchdown(&self, glide: &Range<usize>, part: &Range<usize>) -> usize {
        let agl = |i: usize| self.flying[i].height_agl_m;
        let mut rolling: Vec<f64> =
            (glide.end + 4..(glide.end + 16).min(part.end)).filter_map(agl).filter(|h| *h < LANDED_AGL_M).collect();
        rolling.sort_by(f64::total_cmp);
        let Some(&settled) = rolling.get(rolling.len() / 2) else { return glide.end.min(part.end - 1) };
        let mut line = Parabola::default();
        let (mut count, mut nearest) = (0, glide.end);
        let zero = self.samples.all[glide.end.min(part.end - 1)].time_s;
        for i in glide.end.saturating_sub(25).max(glide.start)..(glide.end + 4).min(part.end) {
            if let Some(h) = agl(i).filter(|h| (8.0..45.0).contains(&(h - settled))) {
                line.add(self.samples.all[i].time_s - zero, h - settled);
                count += 1;
                nearest = i;
            }
        }
        let Some((height, slope)) = line.line_at_zero().filter(|l| count >= 4 && l.1 < -0.3) else {
            return glide.end.min(part.end - 1);
        };
        let touch = self.samples.index_at(zero - height / slope);
        touch.clamp(nearest, (glide.end + 12).min(part.end - 1))
    }

    /// Take-offs, landings, touch-and-goes and circuits in order of time.
    #[must_use]
    pub fn events(&self) -> Vec<Event> {
        let mut events = Vec::new();
        let mut took_off: Option<(f64, Xy)> = None;
        for (i, phase) in self.phases.iter().enumerate() {
            if phase.kind != PhaseKind::OnGround {
                continue;
            }
            let part = self.samples.part_of(phase.samples.start);
            let before = i.checked_sub(1).map(|j| &self.phases[j]).filter(|p| part.contains(&p.samples.start));
            let after = self.phases.get(i + 1).filter(|p| part.contains(&p.samples.start));
            let (first, last) = (&self.samples.all[phase.samples.start], &self.samples.all[phase.samples.end - 1]);
            if before.is_some() {
                let touched = after.is_some() && phase.samples.len() < TOUCH_S;
                let kind = if touched { EventKind::TouchAndGo } else { EventKind::Landing };
                if let Some((time, place)) = took_off {
                    let near = place.distance(first.position) < CIRCUIT_M && first.time_s - time < CIRCUIT_S;
                    if near {
                        events.push(Event {
                            kind: EventKind::Circuit,
                            start_s: time,
                            end_s: first.time_s,
                            position: first.position,
                            confidence: phase.confidence,
                        });
                    }
                }
                events.push(Event {
                    kind,
                    start_s: first.time_s,
                    end_s: first.time_s,
                    position: first.position,
                    confidence: phase.confidence,
                });
            }
            if after.is_some() {
                took_off = Some((last.time_s, last.position));
                if before.is_none() || phase.samples.len() >= TOUCH_S {
                    events.push(Event {
                        kind: EventKind::TakeOff,
                        start_s: last.time_s,
                        end_s: last.time_s,
                        position: last.position,
                        confidence: phase.confidence,
                    });
                }
            }
        }
        events
    }
}
