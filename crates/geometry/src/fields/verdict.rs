//! The result of ranking: verdicts, criteria, reasons, and the numbers behind each number.

use super::flown::CircuitBasis;
use super::survey::SurveyStanding;
use crate::position::{Bearing, Xy};
use serde::{Deserialize, Serialize};

/// How good a field is as a choice from here. Never "safe".
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Length, height and approach in hand.
    Roomy,
    /// Would take the aircraft with less in hand.
    Workable,
    /// Only if nothing better is in reach.
    LastResort,
    /// Does not pass a gate; the reason says which.
    Out,
}

impl Verdict {
    /// The verdict in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Roomy => "roomy",
            Self::Workable => "workable",
            Self::LastResort => "last resort",
            Self::Out => "out",
        }
    }
}

/// What a field is judged by. Each is a number from 0 to 1, more is better, and unknown is never counted as good.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CriterionKind {
    /// Usable length over needed length.
    LengthInHand,
    /// How nearly the strip lies into the wind.
    WindAlignment,
    /// Slope along and across, and roughness.
    Slope,
    /// What grows there.
    Surface,
    /// What the approach passes over.
    Approach,
    /// Arrival height less circuit height.
    SpareHeight,
    /// Wires, masts, trees, buildings, stock and quiet zones near the circuit.
    Clearness,
    /// How lately the field was looked at.
    Freshness,
    /// Other usable fields beside it.
    Alternatives,
}

impl CriterionKind {
    /// Every criterion in the order in which it is shown.
    pub const ALL: [Self; 9] = [
        Self::LengthInHand,
        Self::WindAlignment,
        Self::Slope,
        Self::Surface,
        Self::Approach,
        Self::SpareHeight,
        Self::Clearness,
        Self::Freshness,
        Self::Alternatives,
    ];
    /// The criterion in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::LengthInHand => "length in hand",
            Self::WindAlignment => "into wind",
            Self::Slope => "slope",
            Self::Surface => "surface",
            Self::Approach => "approach",
            Self::SpareHeight => "spare height",
            Self::Clearness => "clear of hazards",
            Self::Freshness => "looked at lately",
            Self::Alternatives => "others beside it",
        }
    }
    /// The key in machine-readable output.
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::LengthInHand => "length_in_hand",
            Self::WindAlignment => "wind_alignment",
            Self::Slope => "slope",
            Self::Surface => "surface",
            Self::Approach => "approach",
            Self::SpareHeight => "spare_height",
            Self::Clearness => "clearness",
            Self::Freshness => "freshness",
            Self::Alternatives => "alternatives",
        }
    }
}

/// One criterion's value for one field.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Criterion {
    /// Which.
    pub kind: CriterionKind,
    /// 0 (worst) to 1 (best).
    pub value: f64,
    /// Its weight in the score, greater than zero; all weights add up to 1.
    pub weight: f64,
    /// Whether the facts behind it are known; an unknown criterion has a low value, never a good one.
    pub known: bool,
}

/// What a reason does to the field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReasonKind {
    /// The field is out because of this.
    Gate,
    /// The verdict is held down by this.
    Limit,
    /// Not checked, not known, or assumed.
    NotKnown,
    /// Worth knowing.
    Note,
    /// Speaks for the field.
    Good,
}

/// A quantity inside a reason, so that people read it in their own units.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// A horizontal distance, metres.
    Length(f64),
    /// A length that is there, metres: never shown as more than it is.
    LengthAtLeast(f64),
    /// A length that is needed, metres: never shown as less than it is.
    LengthAtMost(f64),
    /// A height or height difference, metres.
    Height(f64),
    /// A height in hand, metres: never shown as more than it is.
    HeightAtLeast(f64),
    /// A height that is needed or wanting, metres: never shown as less than it is.
    HeightAtMost(f64),
    /// A speed, m/s.
    Speed(f64),
    /// A slope as rise over run.
    Slope(f64),
    /// A direction.
    Direction(Bearing),
    /// A plain number, with its decimals.
    Number(f64, u8),
    /// Whole days.
    Days(i32),
}

/// A sentence with gaps for quantities: `{0}`, `{1}`… in `template` stand for `quantities[0]`, `quantities[1]`….
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reason {
    /// What it does.
    pub kind: ReasonKind,
    /// The sentence, starting in lower case, without a full stop.
    pub template: String,
    /// The numbers in it.
    pub quantities: Vec<Quantity>,
}

impl Reason {
    /// The sentence with every quantity written by `format`.
    #[must_use]
    pub fn words(&self, format: impl Fn(Quantity) -> String) -> String {
        let mut text = self.template.clone();
        for (i, q) in self.quantities.iter().enumerate() {
            text = text.replace(&format!("{{{i}}}"), &format(*q));
        }
        text
    }
}

/// One factor of the needed length.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Factor {
    /// What it allows for, in words.
    pub what: String,
    /// The multiplier.
    pub value: f64,
    /// Published source, or "common practice, no source", or "from memory".
    pub source: &'static str,
}

/// Something that stands under the approach and takes length from the strip.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ApproachObstacle {
    /// What it is, in words ("hedge", "wires", "rising ground").
    pub what: String,
    /// Height of its top above the landing end of the strip, metres.
    pub height_m: f64,
    /// Distance before the landing end of the strip, metres.
    pub before_threshold_m: f64,
    /// Length it takes from the strip, metres.
    pub displacement_m: f64,
    /// Whether the height was assumed.
    pub assumed: bool,
}

/// A straight landing run in a field as judged for this aircraft and wind.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StripVerdict {
    /// Landing direction.
    pub heading: Bearing,
    /// Start of the strip (landing end), on its centre line.
    pub start: Xy,
    /// Far end, on its centre line.
    pub end: Xy,
    /// Width, metres.
    pub width_m: f64,
    /// Length from start to end, metres.
    pub length_m: f64,
    /// What stands under the approach takes this much from the landing end, metres.
    pub displacement_m: f64,
    /// Length left after displacement, metres; never negative.
    pub usable_length_m: f64,
    /// Needed length with every factor, metres.
    pub needed_length_m: f64,
    /// Length from 50 ft to the stop with every factor but the general safety factor, metres.
    pub expected_length_m: f64,
    /// Where the glide path is meant to meet the ground: metres from the start, never before what stands under the
    /// approach lets it.
    pub aim_from_start_m: f64,
    /// Height of the ground at the start, metres above sea level; `None` without terrain.
    pub start_amsl_m: Option<f64>,
    /// The bare landing distance the factors multiply, metres.
    pub landing_distance_m: f64,
    /// The factors of the needed length.
    pub factors: Vec<Factor>,
    /// What was found under the approach, the governing one first.
    pub obstacles: Vec<ApproachObstacle>,
    /// Approach gradient over the ground in this wind (height over distance).
    pub approach_gradient: f64,
    /// Slope along the heading, rise over run, uphill positive; `None` without terrain.
    pub slope: Option<f64>,
    /// Slope across, rise over run to the right, signed; `None` without terrain.
    pub cross_slope: Option<f64>,
    /// One standard error of the slope from the terrain's accuracy.
    pub slope_error: Option<f64>,
    /// Standard deviation of the terrain from its mean plane over the strip, metres.
    pub roughness_m: Option<f64>,
    /// Headwind, m/s, tailwind negative.
    pub headwind_ms: f64,
    /// Crosswind, m/s, from the left positive.
    pub crosswind_ms: f64,
}

/// One field's place in the list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RankedField {
    /// Index of the field in the caller's list.
    pub index: usize,
    /// Place in the list, from 1.
    pub rank: usize,
    /// Verdict.
    pub verdict: Verdict,
    /// Weighted score from 0 to 1.
    pub score: f64,
    /// Height above the field on arriving overhead, metres; `None` when not in reach.
    pub arrival_height_m: Option<f64>,
    /// Height needed from overhead to touchdown in the strip's direction, metres.
    pub circuit_height_m: Option<f64>,
    /// Arrival height less circuit height, metres.
    pub spare_height_m: Option<f64>,
    /// Whether the circuit was flown or estimated.
    pub circuit: CircuitBasis,
    /// The strip chosen; `None` when no strip fits.
    pub strip: Option<StripVerdict>,
    /// What the survey is still worth today, and what the calendar expects.
    pub survey: SurveyStanding,
    /// Every criterion, in the order of [`CriterionKind::ALL`].
    pub criteria: Vec<Criterion>,
    /// Every reason, gates first.
    pub reasons: Vec<Reason>,
}
