//! Two fields beside each other, for one aircraft and one wind.

use super::super::verdict::{Quantity, Reason, ReasonKind};
use super::{AssumptionGroup, DIRECTIONS, FieldSheet, Landing};
use serde::Serialize;

/// What two fields are compared by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measure {
    /// Usable length of the best landing in this wind.
    Usable,
    /// Needed length there.
    Needed,
    /// Usable less needed.
    InHand,
    /// Wind directions with a landing that passes every check.
    Directions,
    /// Crosswind of the best landing.
    Crosswind,
    /// Slope along the best landing.
    Slope,
    /// Length taken by what stands before it.
    Taken,
    /// Things that nobody measured or looked at.
    NotLooked,
}

/// One of two fields.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Which {
    /// The first.
    First,
    /// The second.
    Second,
}

/// How two fields differ in one measure.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// In what.
    pub measure: Measure,
    /// The first field's value; `None` where there is none.
    pub first: Option<Quantity>,
    /// The second field's value.
    pub second: Option<Quantity>,
    /// Which is better in it; `None` where they are alike, or the measure says nothing about better.
    pub ahead: Option<Which>,
    /// By how much they differ, in the measure's unit; never negative.
    pub by: Option<Quantity>,
}

impl Measure {
    /// Every measure in the order shown.
    pub const ALL: [Self; 8] = [
        Self::Usable,
        Self::Needed,
        Self::InHand,
        Self::Directions,
        Self::Crosswind,
        Self::Slope,
        Self::Taken,
        Self::NotLooked,
    ];
    /// The measure in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Usable => "usable length",
            Self::Needed => "needed length",
            Self::InHand => "length in hand",
            Self::Directions => "wind directions served, of 72",
            Self::Crosswind => "crosswind",
            Self::Slope => "slope along, uphill positive",
            Self::Taken => "taken by the approach",
            Self::NotLooked => "things taken on trust",
        }
    }
    /// Whether more of it is better, less of it, or neither.
    fn more_is_better(self) -> Option<bool> {
        match self {
            Self::Usable | Self::InHand | Self::Directions => Some(true),
            Self::Needed | Self::Crosswind | Self::Taken | Self::NotLooked => Some(false),
            // A little uphill helps and more hinders: the reader decides.
            Self::Slope => None,
        }
    }
    fn value(self, sheet: &FieldSheet) -> Option<f64> {
        let best: Option<&Landing> = sheet.best().map(|way| &way.landing);
        match self {
            Self::Usable => best.map(|l| l.strip.usable_length_m),
            Self::Needed => best.map(|l| l.strip.needed_length_m),
            Self::InHand => best.map(Landing::in_hand_m),
            Self::Directions => Some(sheet.directions_served() as f64),
            Self::Crosswind => best.map(|l| l.strip.crosswind_ms.abs()),
            Self::Slope => best.and_then(|l| l.strip.slope),
            Self::Taken => best.map(|l| l.strip.displacement_m.min(l.strip.length_m)),
            Self::NotLooked => {
                let not_looked = |a: &&super::Assumption| a.group == AssumptionGroup::NotLooked;
                Some(sheet.assumptions.iter().filter(not_looked).count() as f64)
            }
        }
    }
    fn quantity(self, value: f64) -> Quantity {
        match self {
            Self::Usable | Self::InHand => Quantity::LengthAtLeast(value),
            Self::Needed | Self::Taken => Quantity::LengthAtMost(value),
            Self::Directions | Self::NotLooked => Quantity::Number(value, 0),
            Self::Crosswind => Quantity::Speed(value),
            Self::Slope => Quantity::Slope(value),
        }
    }
    /// Differences smaller than this are no difference.
    fn grain(self) -> f64 {
        match self {
            Self::Crosswind => 0.05,
            Self::Slope => 5e-4,
            // Half a metre, or half of one thing.
            _ => 0.5,
        }
    }
}

/// How two sheets differ, made for the same aircraft and wind.
#[must_use]
pub fn compare(first: &FieldSheet, second: &FieldSheet) -> Vec<Difference> {
    Measure::ALL
        .into_iter()
        .map(|measure| {
            let (a, b) = (measure.value(first), measure.value(second));
            let apart = a.zip(b).map(|(a, b)| a - b).filter(|d| d.abs() >= measure.grain());
            let ahead = apart
                .zip(measure.more_is_better())
                .map(|(d, more)| if (d > 0.0) == more { Which::First } else { Which::Second });
            let by = apart.map(|d| match measure {
                Measure::Usable | Measure::Needed | Measure::InHand | Measure::Taken => Quantity::Length(d.abs()),
                _ => measure.quantity(d.abs()),
            });
            Difference {
                measure,
                first: a.map(|v| measure.quantity(v)),
                second: b.map(|v| measure.quantity(v)),
                ahead,
                by,
            }
        })
        .collect()
}

impl Difference {
    /// The difference in a sentence, with the fields' names.
    #[must_use]
    pub fn said(&self, first: &str, second: &str) -> Reason {
        let name = |which: Which| {
            // Names are data, and braces in them are not gaps.
            let name = if which == Which::First { first } else { second };
            name.replace(['{', '}'], "")
        };
        let what = self.measure.words();
        let (template, quantities) = match (self.by, self.ahead) {
            (Some(by), Some(ahead)) => {
                let more = if self.measure.more_is_better() == Some(true) { "more" } else { "less" };
                (format!("{what}: {{0}} {more} in {}", name(ahead)), vec![by])
            }
            (Some(by), None) => (format!("{what}: they differ by {{0}}"), vec![by]),
            (None, _) if self.first.is_some() && self.second.is_some() => (format!("{what}: no difference"), vec![]),
            (None, _) => {
                let unknown = if self.first.is_none() { Which::First } else { Which::Second };
                (format!("{what}: not known for {}", name(unknown)), vec![])
            }
        };
        Reason { kind: ReasonKind::Note, template, quantities }
    }
}

/// Number of directions that [`Measure::Directions`] is out of, checked against its words.
const _: () = assert!(DIRECTIONS == 72);
