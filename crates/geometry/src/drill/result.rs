//! The result of one drill as it is kept: numbers with their units in the names, angles in radians from grid north.

use super::cell::Cell;
use super::set::Told;
use crate::air::WindVector;
use crate::circuit::Join;
use crate::fields::circuit_height::Hand;
use crate::fields::model::Day;
use crate::fields::verdict::Verdict;
use crate::position::Xy;
use serde::{Deserialize, Serialize};

/// A landing as it stood at some moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Standing {
    /// The field's identifier.
    pub field_id: String,
    /// Its name then.
    pub field_name: String,
    /// Landing direction from grid north, radians.
    pub heading_grid_rad: f64,
    /// Verdict.
    pub verdict: Verdict,
    /// Score from 0 to 1.
    pub score: f64,
    /// Height that the cheapest circuit left over, metres; `None` where no circuit worked.
    pub spare_height_m: Option<f64>,
}

/// How far a choice was behind the best that was to be had; nothing is below zero, and the best has zero of both.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct Regret {
    /// In score. A landing that is out, or to which no circuit worked, counts as 0.
    pub score: f64,
    /// In spare height, metres. A landing to which no circuit worked counts as 0 m spare.
    pub spare_height_m: f64,
}

/// One choice in the order made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChoiceMade {
    /// Seconds since the engine stopped.
    pub at_s: f64,
    /// The field's identifier.
    pub field_id: String,
    /// Its name then.
    pub field_name: String,
    /// Landing direction from grid north, radians.
    pub heading_grid_rad: f64,
    /// The join, where the pilot named one.
    #[serde(default)]
    pub join: Option<Join>,
    /// The hand, where the pilot named one.
    #[serde(default)]
    pub hand: Option<Hand>,
    /// Height above the landing place, metres.
    pub height_m: f64,
}

/// A change of mind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChangeOfMind {
    /// Seconds since the engine stopped.
    pub at_s: f64,
    /// Height above the landing place given up, metres.
    pub height_m: f64,
    /// The field given up.
    pub from_field_id: String,
    /// The field chosen instead.
    pub to_field_id: String,
    /// Whether a whole circuit to the new landing still worked from there.
    pub still_open: bool,
    /// Whether the landing given up could still be made from there. Transport Canada TP 12475, exercise 22: a change is
    /// acceptable only while the first field can still be made.
    pub first_still_open: bool,
}

/// How a drill ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Outcome {
    /// Stopped in the strip.
    StoppedInStrip,
    /// Touched down in the strip and ran beyond its end.
    Overran {
        /// By how much, metres.
        by_m: f64,
    },
    /// Came to the ground before the strip, or before what stands under the approach let it.
    Undershot {
        /// By how much, metres.
        by_m: f64,
    },
    /// Every way round needed more height.
    TooLow {
        /// How much more, metres.
        short_by_m: f64,
    },
    /// No circuit worked for another reason.
    NoCircuit {
        /// Which, in words.
        why: String,
    },
    /// Chosen when the aircraft was on the ground already.
    TooLate,
    /// Nothing was chosen.
    NothingChosen,
    /// Flown by hand: touched down or stopped beside the strip chosen.
    Beside {
        /// How far beside it, metres.
        by_m: f64,
    },
    /// Flown by hand into something that somebody entered.
    Struck {
        /// What it was, in words.
        what: String,
    },
    /// Flown by hand to where the height of the ground is not known, or for longer than is followed.
    LeftTheLand,
}

/// What was measured of a flight by hand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ByHand {
    /// Rate of descent at the touchdown, m/s, without a flare; `None` where the ground was not reached.
    pub touchdown_sink_ms: Option<f64>,
    /// Bank at the touchdown, radians, right positive.
    pub touchdown_bank_rad: Option<f64>,
    /// Steepest bank flown, radians.
    pub steepest_bank_rad: f64,
    /// Lowest equivalent airspeed held, as with wings level, m/s.
    pub slowest_ms: f64,
    /// Highest, m/s.
    pub fastest_ms: f64,
}

/// A circuit flown many times by a pilot who is not exact, in wind that is not as forecast ([`crate::circuit::robustness`]).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ManyFlights {
    /// Flights.
    pub flights: usize,
    /// Share that stopped in the strip, from 0 to 1.
    pub share: f64,
}

/// How the circuits of a drill come out when nothing is quite as expected.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct DrillRobustness {
    /// The circuit that was chosen, from where it was chosen; `None` where none worked.
    #[serde(default)]
    pub chosen: Option<ManyFlights>,
    /// The circuit into the best landing, from where the engine stopped; `None` where none was in reach.
    #[serde(default)]
    pub best: Option<ManyFlights>,
}

/// The result of one drill.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DrillResult {
    /// Identifier, unique everywhere.
    pub id: String,
    /// The pilot's name.
    pub pilot: String,
    /// The day.
    pub day: Day,
    /// The set's identifier.
    pub set_id: String,
    /// Its name then.
    pub set_name: String,
    /// Its seed.
    pub set_seed: u64,
    /// The drill's number in it.
    pub number: u32,
    /// The gliding aircraft.
    pub aircraft: String,
    /// Where the engine stopped, metres in the frame.
    pub position: Xy,
    /// Height above the ground there, metres.
    pub height_agl_m: f64,
    /// Heading from grid north, radians.
    pub heading_grid_rad: f64,
    /// What of the wind was told.
    pub told: Told,
    /// The surface wind as told.
    pub told_wind: WindVector,
    /// The surface wind that blew.
    pub true_wind: WindVector,
    /// What kind of failure it was.
    pub cell: Cell,
    /// Every choice in the order made; empty for none.
    pub choices: Vec<ChoiceMade>,
    /// Seconds from the engine's stop to the first choice.
    pub time_to_choose_s: Option<f64>,
    /// The last choice as it stood when the engine stopped.
    pub chosen_at_failure: Option<Standing>,
    /// The best landing when the engine stopped; `None` when nothing was in reach.
    pub best_at_failure: Option<Standing>,
    /// The last choice as it stood when it was made.
    pub chosen_at_choice: Option<Standing>,
    /// The best landing at that moment; `None` when nothing was in reach any more, or nothing was chosen.
    pub best_at_choice: Option<Standing>,
    /// Of the choice against the best when the engine stopped; `None` when nothing was in reach.
    pub regret_at_failure: Option<Regret>,
    /// Of the choice against the best at the moment of the choice.
    pub regret_at_choice: Option<Regret>,
    /// From the heading to the direction of the best landing, radians, right positive.
    pub best_turn_rad: Option<f64>,
    /// How it ended.
    pub outcome: Outcome,
    /// Changes of mind.
    pub changes: Vec<ChangeOfMind>,
    /// Height above the landing place below which no other landing was left, metres; `None` where none was left from
    /// the choice on.
    pub commit_height_m: Option<f64>,
    /// The join flown.
    pub join: Option<Join>,
    /// The hand flown.
    pub hand: Option<Hand>,
    /// Distance of the base leg from the strip's landing end, metres; `None` when straight in.
    pub base_leg_distance_m: Option<f64>,
    /// The distance at which this pilot holds it, metres.
    pub base_leg_constant_m: f64,
    /// Ground between the usable landing end and the touchdown, metres.
    pub short_margin_m: Option<f64>,
    /// Strip left beyond the stop, metres.
    pub long_margin_m: Option<f64>,
    /// Least height above ground before the final, metres.
    pub least_clearance_m: Option<f64>,
    /// Its circuits flown many times; `None` in results from before this was done, and until it is done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub robustness: Option<DrillRobustness>,
    /// What was measured where the pilot flew it by hand; `None` where the program flew what was chosen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by_hand: Option<ByHand>,
}

impl DrillResult {
    /// Whether the aircraft would have stopped in the strip.
    #[must_use]
    pub fn stopped_in_strip(&self) -> bool {
        self.outcome == Outcome::StoppedInStrip
    }

    /// How far the base leg was from the pilot's own distance, metres, farther out positive.
    #[must_use]
    pub fn base_leg_error_m(&self) -> Option<f64> {
        self.base_leg_distance_m.map(|distance| distance - self.base_leg_constant_m)
    }

    /// The outcome in one sentence, without numbers.
    #[must_use]
    pub fn words(&self) -> String {
        if self.best_at_failure.is_none() && !self.stopped_in_strip() {
            let what = match self.outcome {
                Outcome::NothingChosen => "You chose none, and there was none to choose.",
                _ => "What you chose could not be made either.",
            };
            return format!(
                "No field that passes every check was in reach. {what} Land ahead, within 30° of the heading, as far \
                 into wind as that allows."
            );
        }
        match &self.outcome {
            Outcome::StoppedInStrip if self.regret_at_failure.is_some_and(|r| r.score == 0.0) => {
                "Stopped in the strip, in the best landing that was in reach.".to_owned()
            }
            Outcome::StoppedInStrip => "Stopped in the strip.".to_owned(),
            Outcome::Overran { .. } => "Touched down in the strip and ran beyond its end.".to_owned(),
            Outcome::Undershot { .. } => "Came to the ground before the strip.".to_owned(),
            Outcome::TooLow { .. } => "Too low for any way round to this landing.".to_owned(),
            Outcome::NoCircuit { why } => format!("No circuit to this landing worked: {why}."),
            Outcome::TooLate => "The aircraft was on the ground before the choice was made.".to_owned(),
            Outcome::NothingChosen => "Nothing was chosen, and a landing was in reach.".to_owned(),
            Outcome::Beside { .. } => "Came to the ground beside the strip chosen.".to_owned(),
            Outcome::Struck { what } => format!("Struck something on the way: {what}."),
            Outcome::LeftTheLand => "The flight left the land whose height is known.".to_owned(),
        }
    }
}
