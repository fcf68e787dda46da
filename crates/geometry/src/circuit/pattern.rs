//! The shapes of circuits: where the corners of each join lie, by a few numbers that can be varied.

use super::flight::{final_length, turn_probe, turn_radius};
use super::motion::Glider;
use super::plan::{Corner, Join, Landing, Leg, Plan};
use crate::fields::circuit_height::Hand;
use crate::position::Xy;

/// A join with everything decided but its size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Shape {
    pub(super) join: Join,
    pub(super) hand: Hand,
    /// Where the downwind leg is joined, or where the centre line is crossed, metres behind the aiming point in landing
    /// direction.
    pub(super) from_along_m: f64,
    pub(super) orbits: u8,
    pub(super) base: BaseJoin,
    /// Zigzags across the approach before the base line.
    pub(super) s_turns: u8,
}

/// How the base leg of a base join lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum BaseJoin {
    /// Where it always is, begun at a corner as far aside as the size says.
    Usual,
    /// As usual, and the turn onto it always goes round the way the legs do. From over the strip, the nose near the downwind leg, the
    /// heading turns through more than half a circle there: the shorter way would be the other one, a whole turn dearer.
    AsLegs,
    /// Straight to the corner of the final, without a corner at the beginning; the size is how far out that lies.
    Direct,
    /// Farther out than usual, begun this far aside, metres; the size is how far out it lies. For height that nothing
    /// else uses up.
    FartherOut(f64),
}

/// What the air, the aircraft and the landing leave no choice about.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    /// The base leg's line, metres before the aiming point.
    pub(super) base_m: f64,
    /// Whether the pilot's own base-leg distance decides that, rather than the height for wings level.
    pub(super) base_is_pilots: bool,
    /// Radius of turns at gliding speed, metres.
    pub(super) radius_m: f64,
}

impl Limits {
    /// `None` when the wind does not allow an approach or a base leg.
    pub(super) fn new(glider: Glider<'_>, landing: &Landing, final_height_m: f64, pilots_base_m: f64) -> Option<Self> {
        let along = landing.along();
        let final_m = final_length(glider, landing.aim_amsl_m, final_height_m.max(0.0), along)?;
        // The final turn goes beyond the base line; the drift takes some of that back. The dearer hand counts.
        let beyond = [Hand::Left, Hand::Right]
            .into_iter()
            .map(|hand| turn_probe(glider, landing, hand, final_height_m))
            .try_fold(f64::NEG_INFINITY, |most, d| d.map(|d: Xy| most.max(d.dot(along))))?;
        let by_height = final_m + beyond;
        let pilots = pilots_base_m + landing.aim_from_start_m;
        let radius_m = turn_radius(glider, landing.aim_amsl_m + final_height_m);
        Some(Self { base_m: by_height.max(pilots), base_is_pilots: pilots >= by_height, radius_m })
    }
}

impl Shape {
    /// Whether the circuit has one corner only, on the centre line: its size is how far out that lies.
    pub(super) fn has_one_corner(&self) -> bool {
        self.base == BaseJoin::Direct || (self.join == Join::StraightIn && self.s_turns == 0)
    }

    /// Whether the base leg lies where the size says, not where it always is.
    pub(super) fn has_own_base(&self) -> bool {
        matches!(self.base, BaseJoin::Direct | BaseJoin::FartherOut(_))
    }

    /// The plan of this shape at a size: where it has one corner only, its distance before the aiming point; half the width of the
    /// zigzags of S-turns; else the distance of the downwind leg or the beginning of the base leg from the centre line.
    pub(super) fn plan(&self, landing: &Landing, limits: &Limits, size_m: f64) -> Plan {
        let base = limits.base_m;
        let at = |along, aside| landing.place(self.hand, along, aside);
        let corner = |at, leg| Corner { at, leg: Some(leg) };
        let base_corners = [corner(at(-base, size_m), Leg::Downwind), corner(at(-base, 0.0), Leg::Base)];
        let (distance, width, corners) = match self.join {
            _ if self.has_one_corner() => {
                let leg = if self.base == BaseJoin::Direct { Leg::Base } else { Leg::Joining };
                (size_m, 0.0, vec![corner(at(-size_m, 0.0), leg)])
            }
            Join::StraightIn => {
                let apart = 3.0 * limits.radius_m;
                let mut corners = Vec::new();
                for i in (0..=self.s_turns).rev() {
                    let back = base + apart * f64::from(i);
                    let aside = if i == 0 {
                        0.0
                    } else if i % 2 == 1 {
                        size_m
                    } else {
                        -size_m
                    };
                    corners.push(corner(at(-back, aside), if i == self.s_turns { Leg::Joining } else { Leg::STurns }));
                }
                (base, size_m, corners)
            }
            Join::Base => match self.base {
                BaseJoin::FartherOut(aside) => {
                    let begin = corner(at(-size_m, aside), Leg::Joining);
                    (size_m, aside, vec![begin, corner(at(-size_m, 0.0), Leg::Base)])
                }
                _ => (base, size_m, vec![corner(base_corners[0].at, Leg::Joining), base_corners[1]]),
            },
            Join::Downwind => {
                let joining = corner(at(self.from_along_m, size_m), Leg::Joining);
                (base, size_m, vec![joining, base_corners[0], base_corners[1]])
            }
            Join::Crosswind => {
                let over = corner(at(self.from_along_m, 0.0), Leg::Joining);
                let turn = corner(at(self.from_along_m, size_m), Leg::Crosswind);
                (base, size_m, vec![over, turn, base_corners[0], base_corners[1]])
            }
            Join::Overhead => {
                let over = corner(at(self.from_along_m, 0.0), Leg::Joining);
                (base, size_m, vec![over, base_corners[0], base_corners[1]])
            }
        };
        let mut plan = Plan::new(self.join, self.hand, distance, width, &corners);
        plan.orbits = self.orbits;
        plan.turns_as_legs = self.base == BaseJoin::AsLegs;
        plan
    }

    /// The smallest size worth trying and the largest, metres.
    pub(super) fn sizes(&self, limits: &Limits) -> (f64, f64) {
        let r = limits.radius_m;
        match self.join {
            _ if self.has_one_corner() => (limits.base_m, limits.base_m + 3_000.0),
            Join::StraightIn => (0.0, 6.0 * r),
            Join::Base if self.has_own_base() => (limits.base_m, limits.base_m + 2_000.0),
            Join::Base => (0.6 * r, 2_500.0),
            Join::Downwind | Join::Crosswind | Join::Overhead => (1.6 * r, 1_800.0),
        }
    }
}
