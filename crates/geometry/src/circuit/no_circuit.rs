//! Why no circuit works, and the one home of its words.

use super::clearance::{InTheWay, TooLow};
use serde::Serialize;

/// Why no circuit works.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "why")]
pub enum NoCircuit {
    /// The cheapest way round needs more height.
    TooLow {
        /// How much more, metres.
        short_by_m: f64,
    },
    /// The wind is stronger than the airspeed along a leg.
    Wind,
    /// Every way round passes too low over something.
    InTheWay(TooLow),
    /// Every way round needs a turn for which there is no room, or turns its back on the field too low.
    NoRoom,
    /// No way was found to use the height up near the landing place.
    TooHigh {
        /// Height that would be left over the aiming point, metres.
        spare_m: f64,
    },
    /// A number is not finite.
    NotFinite,
}

impl NoCircuit {
    /// Why, as a clause without numbers.
    #[must_use]
    pub fn words(&self) -> &'static str {
        match self {
            Self::TooLow { .. } => "every way round needs more height",
            Self::Wind => "the wind is as strong as the airspeed along a leg",
            Self::InTheWay(TooLow { over, .. }) => match over {
                InTheWay::Ground => "every circuit passes too low over rising ground",
                InTheWay::UnknownGround => "every circuit leads over ground of unknown height",
                InTheWay::Hazard(_) => "every circuit passes too low over a hazard",
                InTheWay::QuietZone(_) => "every circuit passes too low over a quiet zone",
            },
            Self::NoRoom => "there is no room for the turns, or they turn their back on the field too low",
            Self::TooHigh { .. } => "no way was found to use the height up near the landing place",
            Self::NotFinite => "a number of the aircraft, the wind or the field is not known",
        }
    }
}
