//! The mistakes that are easiest to make, made on purpose, to show that a check notices them.

use sparefield_geometry::air::WindVector;
use sparefield_geometry::position::Xy;

/// Length of a foot in metres (international foot, exact).
pub const FOOT_M: f64 = 0.304_8;

/// A mistake to make on purpose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mistake {
    /// None: the check must hold.
    None,
    /// Metres are handed over as if they were feet.
    FeetForMetres,
    /// East is handed over as north and north as east.
    SwappedAxes,
    /// Where the wind goes is taken for where it comes from.
    WindReversed,
}

impl Mistake {
    /// Every mistake.
    pub const ALL: [Self; 3] = [Self::FeetForMetres, Self::SwappedAxes, Self::WindReversed];

    /// A height or length in metres as handed over.
    #[must_use]
    pub fn metres(self, metres: f64) -> f64 {
        if self == Self::FeetForMetres { metres * FOOT_M } else { metres }
    }
    /// A displacement or place as handed over.
    #[must_use]
    pub fn place(self, p: Xy) -> Xy {
        if self == Self::SwappedAxes { Xy::new(p.y, p.x) } else { p }
    }
    /// A wind (towards east and north, m/s) as handed over.
    #[must_use]
    pub fn wind(self, towards: Xy) -> WindVector {
        let w = if self == Self::WindReversed { -towards } else { towards };
        WindVector { east_ms: w.x, north_ms: w.y }
    }
}
