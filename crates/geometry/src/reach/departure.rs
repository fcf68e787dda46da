//! From the failure to the first straight glide: reaction time and the first turn.
//!
//! With a heading, the aircraft first flies straight on for the reaction time, then rolls in and turns left or right.
//! For a set of tracks over the ground, on both sides, the state at the end of the turn is computed: the arc in the air,
//! the drift, and the height lost. Each such state is a place from which straight glides start. A glide whose track is
//! not quite the state's own pays for the remaining angle.
//!
//! The time to roll in and out is charged as straight flight before the turn, for as long as rolling through the bank
//! takes: during each of the two the rate of turn is about half (common practice, no source).

use super::descent::{Descent, GlideLine, diamond, quadrant_signs};
use super::floor::{Floor, Place};
use super::options::ReachOptions;
use super::{AircraftState, PathPoint};
use crate::air::{Wind, isa_density_ratio};
use crate::aircraft::Aircraft;
use crate::grid::GridFrame;
use crate::math::{self, FRAC_PI_2, PI, TAU};
use crate::position::{Bearing, Xy};

/// Tracks per quadrant for which the turn is computed.
const TRACKS_PER_QUADRANT: usize = 24;
const TRACKS: usize = 4 * TRACKS_PER_QUADRANT;

/// Longest step of a turn, radians.
const TURN_STEP: f64 = 0.05;

/// Steps of the straight parts.
const STRAIGHT_STEPS: usize = 4;

/// A place where a straight glide starts, and what led there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bend {
    pub(super) position: Xy,
    /// The position in the window.
    pub(super) place: Place,
    pub(super) height: f64,
    /// Track on arriving (unit vector); `None` where any direction may be flown off at once.
    pub(super) track: Option<Xy>,
    /// Height lost per radian between the arriving and the departing track, metres, and the most a turn may cost.
    pub(super) loss_per_rad: f64,
    pub(super) most_turn_loss: f64,
    /// The bend before, itself where the flight starts.
    pub(super) parent: u32,
}

impl Bend {
    /// Height lost in turning to the displacement `d`, metres.
    #[inline]
    pub(super) fn turn_loss(&self, d: Xy) -> f64 {
        let Some(track) = self.track else { return 0.0 };
        if self.loss_per_rad == 0.0 {
            return 0.0;
        }
        (angle_bound(track, d) * self.loss_per_rad).min(self.most_turn_loss)
    }

    /// The glide from here to a point.
    pub(super) fn line<'a>(&self, descent: &'a Descent, to: Xy) -> Option<GlideLine<'a>> {
        let d = to - self.position;
        descent.line(self.height - self.turn_loss(d), d)
    }

    /// Height on arriving at a point; minus infinity where it cannot be flown.
    pub(super) fn arrive(&self, descent: &Descent, to: Xy) -> f64 {
        let d = to - self.position;
        descent.height_after(self.height - self.turn_loss(d), d).unwrap_or(f64::NEG_INFINITY)
    }
}

/// The arc tangent over x on 0..=1, as a polynomial in x²: least greatest relative error, found by linear programming.
const ARC_TANGENT: [f64; 6] = [0.999_995_64, -0.332_994_78, 0.195_636_74, -0.121_239_67, 0.057_476_5, -0.013_479_69];
/// No relative error of it is as great.
const ARC_TANGENT_ERROR: f64 = 5e-6;

/// Angle between two vectors in radians, rounded up a little (at most 1e-5 rad); 0 where one of them is none.
///
/// Without a call and without a branch: millions of bends ask.
#[inline]
fn angle_bound(u: Xy, d: Xy) -> f64 {
    let (cross, dot) = (u.cross(d).abs(), u.dot(d));
    let (steep, back) = (cross > dot.abs(), dot < 0.0);
    let (small, large) = if steep { (dot.abs(), cross) } else { (cross, dot.abs()) };
    let x = small / large.max(f64::MIN_POSITIVE);
    let (x2, c) = (x * x, &ARC_TANGENT);
    let x4 = x2 * x2;
    let arc = x * (c[0] + x2 * c[1] + x4 * (c[2] + x2 * c[3] + x4 * (c[4] + x2 * c[5])));
    let from = if steep {
        FRAC_PI_2
    } else if back {
        PI
    } else {
        0.0
    };
    from + if steep == back { arc } else { -arc } + ARC_TANGENT_ERROR * arc
}

/// The turns at bends: height per radian for this aircraft at its starting height.
#[derive(Clone, Debug)]
pub(super) struct Turning {
    loss_per_rad: f64,
    true_speed: f64,
    wind: Wind,
}

impl Turning {
    pub(super) fn new(aircraft: &Aircraft, wind: &Wind, height: f64, options: &ReachOptions) -> Self {
        let density = isa_density_ratio(height);
        let turn = aircraft.ordinary_turn(density);
        Self {
            // The loss grows with height, so that of the highest point holds for all.
            loss_per_rad: if options.bend_turns { turn.loss_m_per_rad } else { 0.0 },
            true_speed: aircraft.straight_speed_ms() / density.sqrt(),
            wind: wind.clone(),
        }
    }

    /// A bend on the way.
    ///
    /// In a wind the heading turns further than the track, by up to 1 + wind/airspeed; that is charged.
    pub(super) fn bend(&self, at: (Xy, Place), height: f64, track: Option<Xy>, parent: u32) -> Bend {
        self.with_loss(at, height, track, parent, self.loss_per_rad)
    }

    fn with_loss(&self, at: (Xy, Place), height: f64, track: Option<Xy>, parent: u32, loss: f64) -> Bend {
        let (position, place) = at;
        let stretch = 1.0 + self.wind.at_amsl(height).speed_ms() / self.true_speed;
        Bend { position, place, height, track, loss_per_rad: loss * stretch, most_turn_loss: loss * PI, parent }
    }
}

/// The states from which straight glides start.
#[derive(Clone, Debug, Default)]
pub(super) struct Departure {
    /// Start of every path, up to and including the reaction time.
    reaction: Vec<PathPoint>,
    /// The turns to the right and to the left, after the reaction.
    turns: [Vec<PathPoint>; 2],
    /// For each of the start bends: which turn, and how many of its points.
    lead: Vec<Option<(usize, usize)>>,
    /// Bend straight ahead, or the only one.
    ahead: Option<u32>,
    /// Bends by side and track.
    by_track: [Vec<Option<u32>>; 2],
    /// Where the turns start.
    pivot: Xy,
}

impl Departure {
    /// The departure, and its bends (their index is their number).
    pub(super) fn new(
        state: &AircraftState,
        aircraft: &Aircraft,
        descent: &Descent,
        turning: &Turning,
        floor: &Floor<'_>,
        frame: &GridFrame,
        options: &ReachOptions,
    ) -> (Self, Vec<Bend>) {
        let start = PathPoint { position: state.position, height_amsl_m: state.height_amsl_m };
        let mut out = Self { reaction: vec![start], pivot: state.position, ..Self::default() };
        let mut bends = Vec::new();
        let Some(heading) = state.heading else {
            bends.push(turning.bend((state.position, place(frame, state.position)), state.height_amsl_m, None, 0));
            out.lead.push(None);
            out.ahead = Some(0);
            return (out, bends);
        };
        let density = isa_density_ratio(state.height_amsl_m);
        let turn = aircraft.ordinary_turn(density);
        let straight = turning.true_speed;
        let sink = aircraft.glide.sink_ms(aircraft.straight_speed_ms(), 1.0) / density.sqrt();
        let clear = |from: PathPoint, to: PathPoint| {
            let mut line = GlideLine::straight(to.height_amsl_m, from.height_amsl_m - to.height_amsl_m);
            floor.is_clear(place(frame, from.position), place(frame, to.position), &mut line, |_, _| false)
        };
        let fly_on = |path: &mut Vec<PathPoint>, seconds: f64| {
            let dt = seconds / STRAIGHT_STEPS as f64;
            for _ in 0..STRAIGHT_STEPS {
                let Some(&from) = path.last() else { return false };
                let drift = turning.wind.at_amsl(from.height_amsl_m - 0.5 * sink * dt).xy();
                let to = PathPoint {
                    position: from.position + (heading.unit() * straight + drift) * dt,
                    height_amsl_m: from.height_amsl_m - sink * dt,
                };
                if !clear(from, to) {
                    return false;
                }
                path.push(to);
            }
            true
        };
        if options.reaction_time_s > 0.0 && !fly_on(&mut out.reaction, options.reaction_time_s) {
            return (out, bends);
        }
        let after = *out.reaction.last().unwrap_or(&start);
        let drift = turning.wind.at_amsl(after.height_amsl_m).xy();
        let ground = heading.unit() * straight + drift;
        let track = (ground.norm() > 0.0).then(|| ground * (1.0 / ground.norm()));
        let residual = turn.loss_m_per_rad;
        let mut push = |bends: &mut Vec<Bend>, lead, at: PathPoint, track| {
            let number = bends.len() as u32;
            bends.push(turning.with_loss(
                (at.position, place(frame, at.position)),
                at.height_amsl_m,
                track,
                number,
                residual,
            ));
            out.lead.push(lead);
            number
        };
        out.ahead = Some(push(&mut bends, None, after, track));

        // How far to turn, right and left, for each track.
        let mut rolled = vec![after];
        let roll_time = aircraft.turn_bank_rad / aircraft.roll_rate_rad_s;
        if roll_time > 0.0 && !fly_on(&mut rolled, roll_time) {
            return (out, bends);
        }
        out.pivot = rolled.last().unwrap_or(&after).position;
        let headings: Vec<Option<(Xy, Bearing)>> = (0..TRACKS)
            .map(|k| {
                let u = track_unit(k);
                Some((u, descent.air_heading(u, drift, density)?.bearing()?))
            })
            .collect();
        for side in 0..2 {
            let sign = if side == 0 { 1.0 } else { -1.0 };
            let mut targets: Vec<(f64, usize, Xy)> = headings
                .iter()
                .enumerate()
                .filter_map(|(k, h)| h.map(|(u, h)| (math::wrap_tau(sign * (h.rad() - heading.rad())), k, u)))
                .collect();
            targets.sort_by(|a, b| a.0.total_cmp(&b.0));
            out.by_track[side] = vec![None; TRACKS];
            let mut path = rolled.clone();
            let mut turned = 0.0;
            'side: for (angle, k, u) in targets {
                let steps = ((angle - turned) / TURN_STEP).ceil().max(1.0);
                let step = (angle - turned) / steps;
                for _ in 0..steps as usize {
                    let Some(&from) = path.last() else { break 'side };
                    let dt = step / turn.rate_rad_s;
                    let (s0, c0) = math::sin_cos(heading.rad() + sign * turned);
                    let (s1, c1) = math::sin_cos(heading.rad() + sign * (turned + step));
                    let arc = Xy::new(c0 - c1, s1 - s0) * (sign * turn.radius_m);
                    let drift = turning.wind.at_amsl(from.height_amsl_m - 0.5 * turn.sink_ms * dt).xy();
                    let to = PathPoint {
                        position: from.position + arc + drift * dt,
                        height_amsl_m: from.height_amsl_m - turn.sink_ms * dt,
                    };
                    if !clear(from, to) {
                        break 'side;
                    }
                    path.push(to);
                    turned += step;
                }
                if let Some(&at) = path.last() {
                    out.by_track[side][k] = Some(push(&mut bends, Some((side, path.len())), at, Some(u)));
                }
                if turned > TAU {
                    break;
                }
            }
            out.turns[side] = path;
        }
        (out, bends)
    }

    /// The start bends worth trying for a point: straight ahead, and on each side the one whose track fits.
    pub(super) fn candidates(&self, bends: &[Bend], to: Xy) -> [Option<u32>; 3] {
        let mut out = [self.ahead, None, None];
        for side in 0..2 {
            if self.by_track[side].is_empty() {
                continue;
            }
            let mut found = None;
            let mut from = self.pivot;
            for _ in 0..3 {
                let next = self.by_track[side][track_of(to - from)];
                if next.is_none() || next == found {
                    break;
                }
                found = next;
                if let Some(bend) = found.and_then(|n| bends.get(n as usize)) {
                    from = bend.position;
                }
            }
            out[side + 1] = found;
        }
        out
    }

    /// The path flown up to a start bend.
    pub(super) fn path(&self, bend: u32) -> Vec<PathPoint> {
        let mut path = self.reaction.clone();
        if let Some(Some((side, points))) = self.lead.get(bend as usize) {
            path.extend(self.turns[*side].iter().skip(1).take(points.saturating_sub(1)));
        }
        path
    }
}

/// A position in columns and rows of the window.
pub(super) fn place(frame: &GridFrame, p: Xy) -> Place {
    let (y, x) = frame.fractional(p);
    Place { x, y }
}

/// Unit vector of a numbered track.
fn track_unit(k: usize) -> Xy {
    let (quadrant, step) = (k / TRACKS_PER_QUADRANT, k % TRACKS_PER_QUADRANT);
    let (sx, sy) = quadrant_signs(quadrant);
    let t = (step as f64 + 0.5) / TRACKS_PER_QUADRANT as f64;
    let d = Xy::new(sx * (1.0 - t), sy * t);
    d * (1.0 / d.norm())
}

/// Number of the track nearest to a displacement.
fn track_of(d: Xy) -> usize {
    let (quadrant, t, _) = diamond(d);
    quadrant * TRACKS_PER_QUADRANT + ((t * TRACKS_PER_QUADRANT as f64) as usize).min(TRACKS_PER_QUADRANT - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_are_rounded_up_a_little() {
        for k in 0..=20_000 {
            let angle = f64::from(k) * PI / 20_000.0;
            for (track, length) in [(0.0, 1.0), (2.0, 1e-3), (-3.0, 4e4)] {
                for side in [-1.0, 1.0] {
                    let (sin, cos) = math::sin_cos(track + side * angle);
                    let (u, d) = (math::sin_cos(track), Xy::new(cos, sin) * length);
                    let over = angle_bound(Xy::new(u.1, u.0), d) - angle;
                    // The vectors themselves are rounded.
                    assert!((-1e-12..=1e-5).contains(&over), "{angle}: {over}");
                }
            }
        }
        let north = Xy::new(0.0, 1.0);
        assert_eq!((angle_bound(north, north), angle_bound(north, Xy::default())), (0.0, 0.0));
    }
}
