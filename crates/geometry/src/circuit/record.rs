//! A flown circuit as it is shown: its track, legs, turns and key positions.

use super::flight::{Grain, Part, Start, Watch, fly};
use super::motion::Motion;
use super::plan::{FIFTY_FT_M, Leg, Plan};
use super::search::CircuitTask;
use crate::position::{Bearing, Xy};
use serde::Serialize;

/// A point of a flown circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrackPoint {
    /// State of the glider.
    pub motion: Motion,
    /// What it is doing.
    pub leg: Leg,
    /// Whether it is turning onto that leg.
    pub turning: bool,
}

/// A leg or a turn as flown.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LegFlown {
    /// Which leg; of a turn, the leg turned onto.
    pub leg: Leg,
    /// Of a turn: the change of heading, radians, right positive.
    pub turned_rad: Option<f64>,
    /// Seconds since the engine stopped at its beginning.
    pub start_s: f64,
    /// How long it takes, seconds.
    pub duration_s: f64,
    /// Distance over the ground, metres.
    pub distance_m: f64,
    /// Height above the landing place at its beginning, metres.
    pub start_height_m: f64,
    /// Height lost, metres.
    pub lost_m: f64,
    /// The first point of it in the track.
    pub first_point: usize,
}

/// A place of the circuit that pilots have a name for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum KeyName {
    /// The engine stops.
    EngineStops,
    /// The pilot begins to act.
    EndOfReaction,
    /// The circuit is joined.
    Joined,
    /// Abeam the aiming point on the downwind leg.
    Abeam,
    /// The turn to base begins.
    TurnToBase,
    /// The turn to final begins.
    TurnToFinal,
    /// Wings level on final.
    WingsLevel,
    /// The glide path meets the ground.
    Touchdown,
}

impl KeyName {
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::EngineStops => "engine stops",
            Self::EndOfReaction => "end of reaction",
            Self::Joined => "joined",
            Self::Abeam => "abeam",
            Self::TurnToBase => "turn to base",
            Self::TurnToFinal => "turn to final",
            Self::WingsLevel => "wings level",
            Self::Touchdown => "touchdown",
        }
    }
}

/// Where a key position is passed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeyPosition {
    /// Its name.
    pub name: KeyName,
    /// Place.
    pub position: Xy,
    /// Height above the landing place, metres.
    pub height_m: f64,
    /// Seconds since the engine stopped.
    pub time_s: f64,
}

/// A circuit flown to the ground.
#[derive(Clone, Debug, PartialEq)]
pub struct Circuit {
    /// What the pilot decides.
    pub plan: Plan,
    /// Landing direction.
    pub heading: Bearing,
    /// Distance of the base leg's line from the landing end, metres.
    pub base_leg_distance_m: f64,
    /// Whether that is the pilot's own distance; otherwise the height for wings level asks for more.
    pub base_leg_is_pilots: bool,
    /// Every step flown, from the engine's stop to the touchdown.
    pub track: Vec<TrackPoint>,
    /// Legs and turns in the order flown.
    pub legs: Vec<LegFlown>,
    /// Key positions in the order passed.
    pub keys: Vec<KeyPosition>,
    /// Where the glide path meets the ground.
    pub touchdown: Xy,
    /// Where the aircraft stops.
    pub stop: Xy,
    /// How far behind the aiming point the path meets the ground, metres; negative before it.
    pub aim_error_m: f64,
    /// Ground between the usable landing end and the touchdown, metres.
    pub short_margin_m: f64,
    /// Strip left beyond the stop, metres.
    pub long_margin_m: f64,
    /// Height that the cheapest circuit would leave over, metres.
    pub spare_m: f64,
    /// Least height above the ground before the final, metres.
    pub least_clearance_m: f64,
    /// Time from the engine's stop to the touchdown, seconds.
    pub duration_s: f64,
}

#[derive(Default)]
struct Recorder {
    points: Vec<TrackPoint>,
    begins: Vec<(usize, Part)>,
}

impl Watch for Recorder {
    fn begin(&mut self, at: &Motion, part: Part) {
        self.begins.push((self.points.len(), part));
        self.points.push(TrackPoint { motion: *at, leg: part.leg, turning: part.turn });
    }
    fn step(&mut self, _from: &Motion, to: &Motion, part: Part) -> bool {
        self.points.push(TrackPoint { motion: *to, leg: part.leg, turning: part.turn });
        true
    }
}

/// Flies a plan finely and tells it; `None` where it cannot be flown or something is in the way.
pub(super) fn describe(task: &CircuitTask<'_>, plan: &Plan, start: &Start, spare_m: f64) -> Option<Circuit> {
    let judged = task.judge(start, plan, Grain::FINE).ok()?;
    let least_clearance_m = judged.least_m;
    let mut recorder = Recorder::default();
    fly(task.glider(), &task.landing, plan, start, Grain::FINE, &mut recorder).ok()?;
    let landing = task.landing;
    let mut track = recorder.points;
    let above = |m: &Motion| m.height_amsl_m - landing.ground_amsl_m(landing.along_of(m.position));
    // The flight goes on to over the aiming point, or beyond it in a straight line when height is left.
    let last = track.last()?.motion;
    let before = track.iter().rev().find(|p| p.motion.time_s < last.time_s - 1e-6)?.motion;
    let per_s = (last.height_amsl_m - before.height_amsl_m) / (last.time_s - before.time_s);
    let speed = (last.position - before.position) * (1.0 / (last.time_s - before.time_s));
    let carried = |t: f64| Motion {
        position: last.position + speed * t,
        height_amsl_m: last.height_amsl_m + per_s * t,
        time_s: last.time_s + t,
        ..last
    };
    let rate = |t: f64| above(&carried(t + 1.0)) - above(&carried(t));
    let touchdown = if above(&last) >= 0.0 {
        let t = above(&last) / -rate(0.0);
        let m = carried(t.max(0.0));
        track.push(TrackPoint { motion: m, leg: Leg::Final, turning: false });
        m
    } else {
        let first_below = track.iter().position(|p| above(&p.motion) < 0.0 && p.leg == Leg::Final && !p.turning)?;
        let (a, b) = (track[first_below.checked_sub(1)?].motion, track[first_below].motion);
        let t = above(&a) / (above(&a) - above(&b));
        let m = a.towards(&b, t);
        track.truncate(first_below);
        track.push(TrackPoint { motion: m, leg: Leg::Final, turning: false });
        m
    };
    if ![touchdown.position.x, touchdown.position.y, touchdown.time_s].iter().all(|v| v.is_finite()) {
        return None;
    }
    let height = |m: &Motion| m.height_amsl_m - landing.aim_amsl_m;
    let legs = legs(&track, &recorder.begins, &height);
    let keys = keys(&track, &recorder.begins, task, &height);
    let touch_along = landing.along_of(touchdown.position);
    let at_50_ft = track.windows(2).rev().find_map(|w| {
        let (a, b) = (above(&w[0].motion), above(&w[1].motion));
        (a >= FIFTY_FT_M && b < FIFTY_FT_M)
            .then(|| landing.along_of(w[0].motion.towards(&w[1].motion, (a - FIFTY_FT_M) / (a - b)).position))
    });
    // From lower than 50 ft all of the air part is behind already; the whole distance is still counted.
    let stop_along = at_50_ft.unwrap_or(touch_along) + landing.stop_from_50_ft_m;
    let stop_along = stop_along.max(touch_along);
    Some(Circuit {
        plan: *plan,
        heading: landing.heading,
        base_leg_distance_m: plan.base_distance_m - landing.aim_from_start_m,
        base_leg_is_pilots: task.limits.base_is_pilots,
        legs,
        keys,
        touchdown: touchdown.position,
        stop: landing.aim + landing.along() * stop_along,
        aim_error_m: touch_along,
        short_margin_m: landing.aim_from_start_m - landing.displacement_m + touch_along,
        long_margin_m: landing.length_m - landing.aim_from_start_m - stop_along,
        spare_m,
        least_clearance_m,
        duration_s: touchdown.time_s,
        track,
    })
}

fn legs(track: &[TrackPoint], begins: &[(usize, Part)], height: &impl Fn(&Motion) -> f64) -> Vec<LegFlown> {
    let mut legs = Vec::with_capacity(begins.len());
    for (i, &(first, part)) in begins.iter().enumerate() {
        let end = begins.get(i + 1).map_or(track.len(), |b| b.0).min(track.len());
        let Some(points) = track.get(first..end).filter(|p| p.len() > 1) else { continue };
        let (a, b) = (points[0].motion, points[points.len() - 1].motion);
        legs.push(LegFlown {
            leg: part.leg,
            turned_rad: part.turn.then_some(b.heading_rad - a.heading_rad),
            start_s: a.time_s,
            duration_s: b.time_s - a.time_s,
            distance_m: points.windows(2).map(|w| w[0].motion.position.distance(w[1].motion.position)).sum(),
            start_height_m: height(&a),
            lost_m: a.height_amsl_m - b.height_amsl_m,
            first_point: first,
        });
    }
    legs
}

fn keys(
    track: &[TrackPoint],
    begins: &[(usize, Part)],
    task: &CircuitTask<'_>,
    height: &impl Fn(&Motion) -> f64,
) -> Vec<KeyPosition> {
    let mut keys = Vec::with_capacity(8);
    let mut add = |name, m: &Motion| {
        keys.push(KeyPosition { name, position: m.position, height_m: height(m), time_s: m.time_s });
    };
    let begin = |wanted: &dyn Fn(Part) -> bool| begins.iter().find(|b| wanted(b.1)).and_then(|b| track.get(b.0));
    if let Some(p) = track.first() {
        add(KeyName::EngineStops, &p.motion);
    }
    if let Some(p) = begin(&|p| p.leg != Leg::Reaction).filter(|p| p.motion.time_s > 0.0) {
        add(KeyName::EndOfReaction, &p.motion);
    }
    if let Some(p) = begin(&|p| !matches!(p.leg, Leg::Reaction | Leg::Joining | Leg::Orbit) && !p.turn) {
        add(KeyName::Joined, &p.motion);
    }
    let along = |p: &TrackPoint| task.landing.along_of(p.motion.position);
    let is_downwind = |p: &TrackPoint| p.leg == Leg::Downwind && !p.turning;
    if let Some(w) = track.windows(2).find(|w| is_downwind(&w[1]) && along(&w[0]) >= 0.0 && along(&w[1]) < 0.0) {
        let (a, b) = (along(&w[0]), along(&w[1]));
        add(KeyName::Abeam, &w[0].motion.towards(&w[1].motion, a / (a - b)));
    }
    if let Some(p) = begin(&|p| p.leg == Leg::Base && p.turn) {
        add(KeyName::TurnToBase, &p.motion);
    }
    if let Some(p) = begin(&|p| p.leg == Leg::Final && p.turn) {
        add(KeyName::TurnToFinal, &p.motion);
    }
    if let Some(p) = begin(&|p| p.leg == Leg::Final && !p.turn) {
        add(KeyName::WingsLevel, &p.motion);
    }
    if let Some(p) = track.last() {
        add(KeyName::Touchdown, &p.motion);
    }
    keys.sort_by(|a: &KeyPosition, b| a.time_s.total_cmp(&b.time_s));
    keys
}
