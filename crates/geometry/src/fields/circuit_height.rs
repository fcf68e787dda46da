//! The height needed from overhead a field to touchdown: an estimate of an overhead join.
//!
//! From where it arrives overhead the field the aircraft turns to the outbound track, flies out to the beginning of the base leg,
//! turns onto base, turns onto final with wings level by the aircraft's final height, and comes down the approach
//! gradient. The base leg starts to one side by the aircraft's base-leg distance or two turn radii, whichever is more;
//! the final turn is begun no nearer than the base-leg distance. The cheaper hand is taken.
//!
//! # Accuracy
//! An estimate, meant to err high: arcs replace the corners they cut, the drift of every turn is made up again straight
//! into the wind, nothing is gained from flying faster or slower than the still-air gliding speed, and an unknown
//! arrival track counts as half a turn. Terrain and hazards on the way round are not looked at. A flown circuit replaces
//! it where one exists.

use super::approach::{loss_per_metre, wind_above};
use crate::air::{Wind, WindVector, isa_density_ratio};
use crate::aircraft::{Aircraft, GlidingTurn};
use crate::math;
use crate::position::{Bearing, Xy};
use serde::{Deserialize, Serialize};

/// Which way a circuit turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Hand {
    /// Turns to the left; the base leg starts on the left of the approach.
    Left,
    /// Turns to the right.
    Right,
}

/// A part of the circuit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CircuitPart {
    /// What is flown, in words.
    pub what: &'static str,
    /// Distance over the ground (legs) or through the air (turns, drift), metres.
    pub distance_m: f64,
    /// Height lost, metres.
    pub loss_m: f64,
}

/// The height a circuit needs, with its parts.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CircuitHeight {
    /// Which way it turns.
    pub hand: Hand,
    /// Height above the landing end needed where the aircraft arrives overhead, metres.
    pub total_m: f64,
    /// The parts in the order flown; their losses add up to the total.
    pub parts: [CircuitPart; 7],
}

/// Everything about circuits over one place that does not depend on the landing direction.
#[derive(Clone, Debug)]
pub struct CircuitSetting<'a> {
    aircraft: &'a Aircraft,
    density_ratio: f64,
    turn: GlidingTurn,
    outbound_wind: WindVector,
    base_wind: WindVector,
    final_wind: WindVector,
    /// Height lost for each metre made good into the wind; `None` when none can be made.
    into_wind_loss: Option<f64>,
}

impl<'a> CircuitSetting<'a> {
    /// For a place whose ground is at a height above sea level.
    ///
    /// Winds are taken at half the final height for the final, one and a quarter of it for the base leg and twice it for
    /// the outbound leg.
    #[must_use]
    pub fn new(aircraft: &'a Aircraft, wind: &Wind, ground_amsl_m: f64) -> Self {
        let density_ratio = isa_density_ratio(ground_amsl_m);
        let level = aircraft.final_height_m.max(0.0);
        let outbound_wind = wind_above(wind, ground_amsl_m, 2.0 * level);
        let into_wind = outbound_wind.from_bearing().unwrap_or(Bearing::NORTH);
        Self {
            aircraft,
            density_ratio,
            turn: aircraft.ordinary_turn(density_ratio),
            outbound_wind,
            base_wind: wind_above(wind, ground_amsl_m, 1.25 * level),
            final_wind: wind_above(wind, ground_amsl_m, 0.5 * level),
            into_wind_loss: loss_per_metre(
                aircraft,
                aircraft.straight_speed_ms(),
                density_ratio,
                outbound_wind,
                into_wind,
            ),
        }
    }

    /// Height needed to land along `heading`, arriving on `track` at `overhead`, a place relative to the landing end.
    ///
    /// `None` when the wind does not allow a leg or the aircraft's numbers are not finite.
    #[must_use]
    pub fn height(&self, heading: Bearing, track: Option<Bearing>, overhead: Xy) -> Option<CircuitHeight> {
        let left = self.one_hand(heading, track, overhead, Hand::Left);
        let right = self.one_hand(heading, track, overhead, Hand::Right);
        match (left, right) {
            (Some(l), Some(r)) => Some(if r.total_m < l.total_m { r } else { l }),
            (l, r) => l.or(r),
        }
    }

    fn one_hand(&self, heading: Bearing, track: Option<Bearing>, overhead: Xy, hand: Hand) -> Option<CircuitHeight> {
        let aircraft = self.aircraft;
        let radius = self.turn.radius_m;
        let straight = aircraft.straight_speed_ms();
        let u = heading.unit();
        let side = match hand {
            Hand::Left => Xy::new(-u.y, u.x),
            Hand::Right => Xy::new(u.y, -u.x),
        };
        let final_loss =
            loss_per_metre(aircraft, aircraft.approach_speed_ms, self.density_ratio, self.final_wind, heading)?;
        let final_length = (aircraft.final_height_m.max(0.0) / final_loss + radius).max(aircraft.base_leg_distance_m);
        let base_length = aircraft.base_leg_distance_m.max(2.0 * radius);
        let base_start = u * -final_length + side * base_length - overhead;

        // The first turn is flown from overhead; the outbound leg starts where it ends.
        let direct = base_start.bearing()?;
        let turn = track.map_or(math::PI, |t| t.turn_to(direct));
        let first_turn = turn.abs();
        let after_turn = turned_from(direct, turn, radius);
        let outbound = base_start - after_turn;
        let outbound_track = outbound.bearing()?;
        let base_track = (-side).bearing()?;
        let base_turn = outbound_track.turn_to(base_track).abs();

        // An arc saves the two tangents of the corner it replaces, as far as the legs are that long.
        let base_tangent = radius * math::tan((base_turn / 2.0).min(1.5));
        let base_cut = base_tangent.min((base_length - radius).max(0.0));
        let outbound_leg = (outbound.norm() - base_tangent.min(base_cut)).max(0.0);
        let base_leg = (base_length - base_cut - radius).max(0.0);
        let final_leg = final_length - radius;

        let leg = |what, distance_m: f64, wind, along: Bearing| {
            let loss = loss_per_metre(aircraft, straight, self.density_ratio, wind, along)?;
            Some(CircuitPart { what, distance_m, loss_m: distance_m * loss })
        };
        let arc = |what, angle: f64| CircuitPart {
            what,
            distance_m: angle * radius,
            loss_m: angle * self.turn.loss_m_per_rad,
        };
        let turning_s = (first_turn + base_turn + math::FRAC_PI_2) / self.turn.rate_rad_s;
        let drift = self.outbound_wind.speed_ms() * turning_s;
        let parts = [
            arc("turn to the outbound leg", first_turn),
            leg("outbound leg", outbound_leg, self.outbound_wind, outbound_track)?,
            arc("turn to base", base_turn),
            leg("base leg", base_leg, self.base_wind, base_track)?,
            arc("turn to final", math::FRAC_PI_2),
            CircuitPart { what: "final", distance_m: final_leg, loss_m: final_leg * final_loss },
            CircuitPart {
                what: "drift in the turns, made up into the wind",
                distance_m: drift,
                loss_m: if drift > 0.0 { drift * self.into_wind_loss? } else { 0.0 },
            },
        ];
        let total_m: f64 = parts.iter().map(|p| p.loss_m).sum();
        total_m.is_finite().then_some(CircuitHeight { hand, total_m, parts })
    }
}

/// Where a turn that starts overhead and ends on `onto` leaves the aircraft, relative to overhead.
fn turned_from(onto: Bearing, turn: f64, radius: f64) -> Xy {
    let towards = if turn >= 0.0 { math::FRAC_PI_2 } else { -math::FRAC_PI_2 };
    let from = Bearing::from_rad(onto.rad() - turn);
    // Both ends lie one radius from the turn's centre.
    (Bearing::from_rad(from.rad() + towards).unit() - Bearing::from_rad(onto.rad() + towards).unit()) * radius
}

/// Where the aircraft is when it arrives over a field's middle, relative to where it wants to cross the landing end.
///
/// In a field longer than it needs a pilot does not aim at the hedge but so that the needed length lies about the
/// middle; never before the displaced landing end, and never so far in that less than the needed length is left.
/// `along` is the heading's unit vector; all lengths are in metres along the strip.
#[must_use]
pub fn overhead_from_landing(
    centre: Xy,
    strip_start: Xy,
    along: Xy,
    length_m: f64,
    displacement_m: f64,
    needed_m: f64,
) -> Xy {
    let middle = (centre - strip_start).dot(along);
    centre - (strip_start + along * landing_from_start_m(middle, length_m, displacement_m, needed_m))
}

/// How far along a strip the needed length begins, metres from its start, as [`overhead_from_landing`] has it.
///
/// `middle_m` is where the middle of the field lies along the strip.
#[must_use]
pub fn landing_from_start_m(middle_m: f64, length_m: f64, displacement_m: f64, needed_m: f64) -> f64 {
    let last = (length_m - needed_m).max(displacement_m);
    (middle_m - needed_m / 2.0).max(displacement_m).min(last)
}

/// Circuit height over a place with no particular field: landing into the wind, arriving on an unknown track.
///
/// In a calm the landing direction makes no difference. Infinite when the wind does not allow a circuit.
#[must_use]
pub fn generic_circuit_height(aircraft: &Aircraft, wind: &Wind, ground_amsl_m: f64) -> f64 {
    let heading = wind.surface.from_bearing().unwrap_or(Bearing::NORTH);
    CircuitSetting::new(aircraft, wind, ground_amsl_m)
        .height(heading, None, Xy::default())
        .map_or(f64::INFINITY, |c| c.total_m)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn still_air_circuit_by_hand() {
        let aircraft = Aircraft::example_flexwing();
        let setting = CircuitSetting::new(&aircraft, &Wind::uniform(WindVector::CALM), 0.0);
        let turn = aircraft.ordinary_turn(1.0);
        let (v, r) = (aircraft.approach_speed_ms, turn.radius_m);
        let gradient = aircraft.glide.sink_ms(v, 1.0) / v;
        let f = aircraft.final_height_m / gradient + r;
        let b = 250f64;
        // Arriving on the outbound track: no first turn.
        let track = Xy::new(-b, -f).bearing().unwrap();
        let c = setting.height(Bearing::NORTH, Some(track), Xy::default()).unwrap();
        assert_eq!(c.hand, Hand::Left);
        let out = math::hypot(f, b);
        let angle = math::PI - math::atan2(f, b);
        // Turn to base: its tangent is longer than the base leg has room for beside the final turn's.
        let tangent = r * math::tan(angle / 2.0);
        let cut = tangent.min(b - r);
        let glide = 1.0 / aircraft.glide.best_glide_ratio();
        let expected = aircraft.final_height_m
            + (out - cut + b - cut - r) * glide
            + (angle + math::FRAC_PI_2) * turn.loss_m_per_rad;
        assert_relative_eq!(c.total_m, expected, max_relative = 1e-9);
        let sum: f64 = c.parts.iter().map(|p| p.loss_m).sum();
        assert_relative_eq!(sum, c.total_m);
        // Overhead joins are taught from 1 000 to 2 000 ft for light aircraft: the figure is of that order.
        assert!((200.0..610.0).contains(&c.total_m), "{}", c.total_m);
    }

    #[test]
    fn generic_is_never_below_a_known_track_into_wind() {
        let aircraft = Aircraft::example_flexwing();
        for speed in [0.0, 3.0, 8.0] {
            let wind = Wind::uniform(WindVector::coming_from(Bearing::from_deg(240.0), speed));
            let generic = generic_circuit_height(&aircraft, &wind, 120.0);
            let setting = CircuitSetting::new(&aircraft, &wind, 120.0);
            let lowest = (0..36)
                .map(|i| Some(Bearing::from_deg(f64::from(i) * 10.0)))
                .filter_map(|track| setting.height(Bearing::from_deg(240.0), track, Xy::default()))
                .fold(f64::INFINITY, |a, c| a.min(c.total_m));
            assert!(lowest <= generic && generic < lowest + 120.0, "{speed}: {lowest} {generic}");
        }
    }

    /// Half a long strip is flown back before the base leg: in still air at best glide, that distance costs its height.
    #[test]
    fn arriving_over_the_middle_costs_the_way_back_to_the_landing_end() {
        let aircraft = Aircraft::example_flexwing();
        let setting = CircuitSetting::new(&aircraft, &Wind::uniform(WindVector::CALM), 0.0);
        let from = |ahead: f64| setting.height(Bearing::NORTH, None, Xy::new(0.0, ahead)).unwrap().total_m;
        let most = 250.0 / aircraft.glide.best_glide_ratio();
        let dearer = from(250.0) - from(0.0);
        assert!(dearer > 0.7 * most && dearer < most + 1.0, "{dearer} of {most}");
    }

    #[test]
    fn a_wind_above_the_airspeed_has_no_circuit() {
        let aircraft = Aircraft::example_flexwing();
        let wind = Wind::uniform(WindVector::coming_from(Bearing::NORTH, 40.0));
        assert_eq!(generic_circuit_height(&aircraft, &wind, 0.0), f64::INFINITY);
    }

    proptest! {
        #[test]
        fn turning_or_mirroring_everything_changes_nothing(
            heading in 0.0..360.0f64, track in 0.0..360.0f64, from in 0.0..360.0f64, speed in 0.0..12.0f64, by in 0.0..360.0f64,
            ahead in 0.0..300.0f64,
        ) {
            let aircraft = Aircraft::example_flexwing();
            let height = |sign: f64, by: f64| {
                let at = |deg: f64| Bearing::from_deg(sign * deg + by);
                let wind = Wind::uniform(WindVector::coming_from(at(from), speed));
                CircuitSetting::new(&aircraft, &wind, 50.0).height(at(heading), Some(at(track)), at(heading).unit() * ahead).map(|c| c.total_m)
            };
            let (a, b, c) = (height(1.0, 0.0), height(1.0, by), height(-1.0, by));
            prop_assert!(a.is_some());
            prop_assert!((a.unwrap() - b.unwrap()).abs() < 1e-6 && (a.unwrap() - c.unwrap()).abs() < 1e-6);
        }

        #[test]
        fn never_less_than_the_final_height(heading in 0.0..360.0f64, from in 0.0..360.0f64, speed in 0.0..12.0f64) {
            let aircraft = Aircraft::example_flexwing();
            let wind = Wind::uniform(WindVector::coming_from(Bearing::from_deg(from), speed));
            let c = CircuitSetting::new(&aircraft, &wind, 0.0).height(Bearing::from_deg(heading), None, Xy::default()).unwrap();
            prop_assert!(c.total_m > aircraft.final_height_m);
            prop_assert!(c.parts.iter().all(|p| p.loss_m >= 0.0 && p.distance_m >= 0.0));
        }
    }
}
