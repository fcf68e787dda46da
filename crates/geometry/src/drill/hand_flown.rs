//! A failure that the pilot flew by hand, held against the strip chosen and the best that was to be had.
//!
//! Choices are judged as in any drill: what was in reach when each was made. The way is the pilot's own, so how it
//! ended, its margins and its base leg are measured on the track.

use super::result::{ByHand, DrillResult, Outcome};
use super::score::{OUTLINE_M, Occasion, Offered};
use super::trial::{Choice, Flown, Moment, Trial};
use crate::circuit::{HandEnd, HandFlight, Landing, Motion, Start, Touchdown};
use crate::position::Xy;

/// Ground track within this much of square to the landing direction is base leg, as the sine of the angle off: 30°.
/// Common practice, no source.
const NEARLY_SQUARE: f64 = 0.5;

/// A base leg lasts at least so long, seconds; shorter is a corner. Common practice, no source.
const LEAST_LEG_S: f64 = 3.0;

/// A flight by hand that has ended.
#[derive(Clone, Debug, PartialEq)]
pub struct HandFlown {
    /// The first touch of the ground, where there was one.
    pub touchdown: Option<Touchdown>,
    /// How it ended.
    pub end: HandEnd,
    /// Everything flown and run, from the engine's stop on.
    pub track: Vec<Motion>,
}

impl HandFlown {
    /// What a flight came to; `None` while it is under way.
    #[must_use]
    pub fn of(flight: &HandFlight) -> Option<Self> {
        Some(Self { touchdown: flight.touchdown().copied(), end: flight.end()?, track: flight.track() })
    }

    /// When it touched down, seconds since the engine stopped; never is infinite.
    fn down_s(&self) -> f64 {
        self.touchdown.map_or(f64::INFINITY, |t| t.at.time_s)
    }

    fn measured(&self) -> ByHand {
        let until = self.down_s();
        let flown = || self.track.iter().filter(move |m| m.time_s <= until);
        ByHand {
            touchdown_sink_ms: self.touchdown.map(|t| t.sink_ms),
            touchdown_bank_rad: self.touchdown.map(|t| t.at.bank_rad),
            steepest_bank_rad: flown()
                .fold(0.0, |most, m| if m.bank_rad.abs() > most { m.bank_rad.abs() } else { most }),
            slowest_ms: flown().fold(f64::INFINITY, |least, m| least.min(m.level_speed_ms)),
            fastest_ms: flown().fold(0.0, |most, m| most.max(m.level_speed_ms)),
        }
    }
}

/// A strip as it was landed on: its landing end, the direction, and what of it can be used.
struct Run {
    start: Xy,
    along: Xy,
    usable_from_m: f64,
    length_m: f64,
    width_m: f64,
}

impl Run {
    /// The strip chosen, turned round where the pilot came from the other end: what stands under that approach is not
    /// known here, and the flight itself struck it or did not.
    fn of(landing: &Landing, over_ground_ms: Xy) -> Self {
        let along = landing.heading.unit();
        let start = landing.aim - along * landing.aim_from_start_m;
        let (length_m, width_m) = (landing.length_m, landing.width_m);
        if over_ground_ms.dot(along) < 0.0 {
            let start = start + along * length_m;
            return Self { start, along: along * -1.0, usable_from_m: 0.0, length_m, width_m };
        }
        Self { start, along, usable_from_m: landing.displacement_m, length_m, width_m }
    }
    fn along_m(&self, p: Xy) -> f64 {
        (p - self.start).dot(self.along)
    }
    /// How far beside the strip a place is, metres; below zero within it.
    fn beside_m(&self, p: Xy) -> f64 {
        (p - self.start).cross(self.along).abs() - self.width_m / 2.0
    }

    /// Mean distance of the last base leg from the strip's landing end, metres; `None` where none was flown.
    fn base_leg_m(&self, track: &[Motion], until_s: f64) -> Option<f64> {
        let mut last = None;
        let (mut seconds, mut sum) = (0.0, 0.0);
        for pair in track.windows(2).take_while(|pair| pair[1].time_s <= until_s) {
            let (moved, passed) = (pair[1].position - pair[0].position, pair[1].time_s - pair[0].time_s);
            let before_m = -self.along_m((pair[0].position + pair[1].position) * 0.5);
            let is_base = moved.dot(self.along).abs() <= NEARLY_SQUARE * moved.norm() && before_m > 0.0;
            if is_base && passed > 0.0 {
                seconds += passed;
                sum += before_m * passed;
                if seconds >= LEAST_LEG_S {
                    last = Some(sum / seconds);
                }
            } else {
                (seconds, sum) = (0.0, 0.0);
            }
        }
        last
    }
}

impl Trial<'_> {
    /// The failure, to be flown by hand in the wind that blows, over short dry grass.
    #[must_use]
    pub fn by_hand(&self) -> HandFlight {
        HandFlight::new(self.aircraft, self.wind, &self.surroundings, &self.beginning(), 1.0)
    }

    /// Scores a drill flown by hand. Gives what was flown, too, with the circuit that each choice could have had from
    /// where it was made.
    #[must_use]
    pub fn score_by_hand(
        &self,
        occasion: &Occasion<'_>,
        choices: &[Choice],
        hand: &HandFlown,
        offered: &Offered<'_>,
    ) -> (DrillResult, Flown) {
        let flown = self.chosen_by_hand(choices, hand);
        let result = self.score(occasion, choices, &flown, offered);
        let on = hand.touchdown.zip(choices.last());
        let run = on.map(|(touch, last)| (touch, Run::of(&last.offer.landing, touch.over_ground_ms)));
        let stopped_at = hand.track.last().map(|m| m.position);
        let margins = run.as_ref().zip(stopped_at).map(|((touch, run), stop)| {
            (run.along_m(touch.at.position) - run.usable_from_m, run.length_m - run.along_m(stop))
        });
        let outcome = self.outcome_by_hand(hand, run.as_ref().map(|r| &r.1), margins, choices.last());
        // Of a landing elsewhere, distances from this strip say nothing.
        let on_line = matches!(outcome, Outcome::StoppedInStrip | Outcome::Overran { .. } | Outcome::Undershot { .. });
        let run = run.as_ref().filter(|_| on_line);
        let result = DrillResult {
            outcome,
            commit_height_m: None,
            join: None,
            hand: None,
            base_leg_distance_m: run.and_then(|(t, run)| run.base_leg_m(&hand.track, t.at.time_s)),
            short_margin_m: margins.filter(|_| on_line).map(|m| m.0),
            long_margin_m: margins.filter(|_| on_line).map(|m| m.1),
            least_clearance_m: None,
            by_hand: Some(hand.measured()),
            ..result
        };
        (result, flown)
    }

    /// The choices where the pilot was when each was made.
    #[must_use]
    pub fn chosen_by_hand(&self, choices: &[Choice], hand: &HandFlown) -> Flown {
        let down_s = hand.down_s();
        let moments = choices.iter().map(|choice| {
            let at = Motion::on_track(&hand.track, choice.at_s).unwrap_or_else(|| self.beginning());
            let circuit = (choice.at_s < down_s).then(|| {
                let task = self.task(choice.offer.landing, choice.join, choice.hand)?;
                task.circuit(&Start { motion: Motion { bank_rad: 0.0, ..at }, reaction_s: 0.0 })
            });
            Moment { at, circuit }
        });
        Flown { moments: moments.collect(), track: hand.track.clone() }
    }

    fn outcome_by_hand(
        &self,
        hand: &HandFlown,
        run: Option<&Run>,
        margins: Option<(f64, f64)>,
        last: Option<&Choice>,
    ) -> Outcome {
        if let HandEnd::Struck(i) = hand.end {
            let what = self.surroundings.hazards.all().get(i).map_or("a hazard", |h| h.kind.words());
            return Outcome::Struck { what: what.to_owned() };
        }
        let Some(last) = last else { return Outcome::NothingChosen };
        if !(last.at_s < hand.down_s()) {
            return Outcome::TooLate;
        }
        let (Some(touch), Some(run), Some((short, long)), HandEnd::Stopped) = (hand.touchdown, run, margins, hand.end)
        else {
            return Outcome::LeftTheLand;
        };
        let beside = |p: Xy| run.beside_m(p);
        let aside_m = hand.track.last().map_or(f64::NAN, |stop| beside(touch.at.position).max(beside(stop.position)));
        if !(aside_m <= OUTLINE_M) {
            Outcome::Beside { by_m: aside_m }
        } else if !(short >= -OUTLINE_M) {
            Outcome::Undershot { by_m: -short }
        } else if !(long >= -OUTLINE_M) {
            Outcome::Overran { by_m: -long }
        } else {
            Outcome::StoppedInStrip
        }
    }
}
