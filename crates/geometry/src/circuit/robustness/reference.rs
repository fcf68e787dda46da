//! A second, plain Monte-Carlo of the same pilot: short Euler steps, plain random numbers, everything written out anew.

use super::*;
use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::circuit::{Circuit, Leg};
use crate::fields::approach::wind_above;
use crate::fields::model::HazardShape;
use crate::math::{self, GRAVITY_MS2, TAU};
use crate::position::Xy;

const DT_S: f64 = 0.05;

pub(super) struct Plain {
    state: u64,
}

impl Plain {
    pub(super) fn new(seed: u64) -> Self {
        Self { state: seed.wrapping_mul(2_862_933_555_777_941_757).wrapping_add(3_037_000_493) }
    }
    /// Xorshift, Marsaglia 2003.
    fn uniform(&mut self) -> f64 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 7;
        self.state ^= self.state << 17;
        ((self.state >> 11) as f64 + 0.5) / 9_007_199_254_740_992.0
    }
    /// Box and Muller, within three deviations.
    fn normal(&mut self) -> f64 {
        let (a, b) = (self.uniform(), self.uniform());
        (-2.0 * math::ln(a)).sqrt() * math::cos(TAU * b)
    }
    fn kept(&mut self) -> f64 {
        self.normal().clamp(-3.0, 3.0)
    }
}

/// Where a turn of the circuit begins, and what is flown to it.
#[derive(Clone, Copy, Debug)]
struct Gate {
    at: Xy,
    height: f64,
    angle: f64,
    onto: Leg,
    leg: Option<(Leg, Xy, f64)>,
}

fn gates(circuit: &Circuit) -> Vec<Gate> {
    let point = |i: usize| circuit.track[i].motion;
    let mut gates = Vec::new();
    for (i, leg) in circuit.legs.iter().enumerate() {
        let Some(angle) = leg.turned_rad else { continue };
        let before =
            i.checked_sub(1).map(|j| circuit.legs[j]).filter(|b| b.turned_rad.is_none() && b.leg != Leg::Reaction);
        gates.push(Gate {
            at: point(leg.first_point).position,
            height: point(leg.first_point).height_amsl_m,
            angle,
            onto: leg.leg,
            leg: before.map(|b| (b.leg, point(b.first_point).position, point(b.first_point).height_amsl_m)),
        });
    }
    gates
}

pub(super) struct Reference<'a> {
    pub(super) task: &'a CircuitTask<'a>,
    pub(super) wind: &'a Wind,
    pub(super) circuit: &'a Circuit,
    pub(super) start: &'a Start,
    pub(super) doubt: Uncertainty,
}

struct Flight<'a> {
    of: &'a Reference<'a>,
    p: Xy,
    h: f64,
    psi: f64,
    bank: f64,
    v1: f64,
    factor: f64,
    veer: f64,
    sink: f64,
    up: f64,
    along: f64,
    gusty: f64,
    on_final: bool,
    met: bool,
}

impl Flight<'_> {
    fn wind(&self, h: f64) -> Xy {
        let w = wind_above(self.of.wind, 0.0, h).xy() * self.factor;
        let (s, c) = math::sin_cos(self.veer);
        Xy::new(w.x * c + w.y * s, w.y * c - w.x * s)
    }
    fn gusts(&mut self, random: &mut Plain) -> (f64, f64, f64) {
        if self.gusty == 0.0 {
            return (0.0, 0.0, 0.0);
        }
        let ft = (self.h / 0.304_8).clamp(10.0, 1_000.0);
        let w20 = wind_above(self.of.wind, 0.0, 6.096).speed_ms() * self.gusty;
        let base = 0.177 + 0.000_823 * ft;
        let (sd_w, sd_u) = (0.1 * w20, 0.1 * w20 / math::pow(base, 0.4));
        let (t_w, t_u) = (0.5 * ft * 0.304_8 / self.v1, ft * 0.304_8 / math::pow(base, 1.2) / self.v1);
        let before = self.along;
        let decay = |x: f64, t: f64, z: f64| {
            let k = math::exp(-DT_S / t);
            x * k + (1.0 - k * k).sqrt() * z
        };
        self.up = decay(self.up, t_w, random.normal());
        self.along = decay(self.along, t_u, random.normal());
        (sd_w * self.up, sd_u * self.along, sd_u * (self.along - before))
    }
    /// Whether it is against something, or has been low over a quiet zone; level ground at sea level.
    fn meets(&self) -> bool {
        let around = &self.of.task.surroundings;
        let l = self.of.task.landing();
        if self.on_final && l.along_of(self.p) > -l.aim_from_start_m {
            return false;
        }
        let is_hit = around.hazards.all().iter().any(|hazard| {
            let (chain, closed) = match &hazard.shape {
                HazardShape::Point(p) => (vec![*p, *p], false),
                HazardShape::Line(line) => (line.clone(), false),
                HazardShape::Area { outer, .. } => (outer.iter().chain(outer.first()).copied().collect(), true),
            };
            let aside = |w: &[Xy]| {
                let way = w[1] - w[0];
                let t = ((self.p - w[0]).dot(way) / way.dot(way).max(1e-12)).clamp(0.0, 1.0);
                (w[0] + way * t - self.p).norm()
            };
            self.h < hazard.height_m.unwrap()
                && (closed && winds_round(&chain, self.p) || chain.windows(2).map(aside).any(|d| d <= 8.0))
        });
        let zones = around.quiet_zones.iter().filter(|_| !self.on_final);
        let mut low = zones.filter(|z| self.h < z.below_agl_m);
        is_hit || low.any(|z| winds_round(&z.outer.iter().chain(z.outer.first()).copied().collect::<Vec<_>>(), self.p))
    }
    /// One Euler step at a bank, rolling and changing speed; on a ground track where one is given.
    fn step(&mut self, random: &mut Plain, roll: f64, speed: f64, track: Option<Xy>) -> bool {
        let (a, b) = Aircraft::example_flexwing().glide.coefficients();
        let thin = 1.0 / crate::air::isa_density_ratio(self.h).sqrt();
        let n = 1.0 / math::cos(self.bank);
        let (veq, dv1) = (self.v1 * n.sqrt(), ((speed - self.v1) / DT_S).clamp(-1.0, 1.0));
        let v = veq * thin;
        let sink = (a * veq * veq * veq + n * n * b / veq) * thin * self.sink;
        let (up, gust, change) = self.gusts(random);
        let w = self.wind(self.h);
        let heading = if let Some(track) = track {
            let w = w + track * gust;
            let right = Xy::new(track.y, -track.x);
            let across = w.dot(right);
            let rest = v * v - across * across;
            if !(rest > 0.0) {
                return false;
            }
            let ground = rest.sqrt() + w.dot(track);
            if !(ground > 0.0) {
                return false;
            }
            self.p = self.p + track * (ground * DT_S);
            let e = (track * rest.sqrt() - right * across) * (1.0 / v);
            self.psi = self.psi + math::wrap_pi(math::atan2(e.x, e.y) - self.psi);
            e
        } else {
            let (s, c) = math::sin_cos(self.psi);
            let e = Xy::new(s, c);
            self.p = self.p + (e * (v + gust) + w) * DT_S;
            self.psi += GRAVITY_MS2 * math::tan(self.bank) / v * DT_S;
            e
        };
        // Kinetic energy: change of V₁, of √n in rolling, of wind and density with height.
        let dn = math::tan(self.bank) * n * roll;
        let vdot = thin * (dv1 * n.sqrt() + self.v1 * 0.5 * dn / n.sqrt());
        let shear = (self.wind(self.h + 1.0) - self.wind(self.h - 1.0)) * 0.5;
        let thinner = (1.0 / crate::air::isa_density_ratio(self.h + 1.0).sqrt() - thin) * veq;
        let climb =
            -(sink + v / GRAVITY_MS2 * vdot) / (1.0 + v / GRAVITY_MS2 * (shear.dot(heading) + thinner)).max(0.25);
        self.h += (climb + up) * DT_S - self.v1 / GRAVITY_MS2 * change;
        self.v1 += dv1 * DT_S;
        self.bank += roll * DT_S;
        self.met |= self.meets();
        true
    }
}

/// Whether a closed chain goes round a place: the angles under which its sides are seen add up to a whole turn.
fn winds_round(chain: &[Xy], p: Xy) -> bool {
    let seen = |w: &[Xy]| math::atan2((w[0] - p).cross(w[1] - p), (w[0] - p).dot(w[1] - p));
    chain.windows(2).map(seen).sum::<f64>().abs() > math::PI
}

impl Reference<'_> {
    /// Whether one flight stops in the strip, and whether it met anything; over level ground at sea level.
    pub(super) fn fly(&self, random: &mut Plain, cost: (f64, f64), slope: f64) -> (bool, bool) {
        let (u, l, plain) = (&self.doubt, self.task.landing(), *self.task.flying());
        let w10 = wind_above(self.wind, 0.0, 10.0).speed_ms();
        let mut f = Flight {
            of: self,
            p: self.start.motion.position,
            h: self.start.motion.height_amsl_m,
            psi: self.start.motion.heading_rad,
            bank: 0.0,
            v1: 0.0,
            factor: 1.0 + u.wind_speed_ms * random.kept() / w10,
            veer: u.wind_direction_rad * random.kept(),
            sink: u.sink_factor * math::exp(u.sink * random.kept()),
            up: random.normal(),
            along: random.normal(),
            gusty: u.gust_factor,
            on_final: false,
            met: false,
        };
        let off_speed = u.airspeed_ms * random.kept();
        let (glide, approach) = (plain.glide_ms + off_speed, plain.approach_ms + off_speed);
        f.v1 = self.start.motion.level_speed_ms + off_speed;
        let bank = plain.bank_rad + u.bank_rad * random.kept();
        let (rolled, late_turn, late_final) =
            (u.roll_out_rad * random.kept(), u.turn_begin_m * random.kept(), u.turn_begin_m * random.kept());
        let judged = [1.0 + u.height_judged * random.kept(), 1.0 + u.height_judged * random.kept()];
        let reaction = (self.start.reaction_s + u.reaction_s * random.kept()).max(0.0);
        let aside = u.sideways_m * random.kept();
        let along = l.along();
        let right = Xy::new(along.y, -along.x);
        let aim = l.aim + right * aside;
        let down_early = |f: &Flight<'_>| (false, f.met);
        for _ in 0..(reaction / DT_S).round() as usize {
            f.step(random, 0.0, f.v1, None);
        }
        let gates = gates(self.circuit);
        let has_base = gates.iter().any(|g| g.onto == Leg::Base);
        let (mut moved, mut bent) = (0.0, 0.0);
        for (i, g) in gates.iter().enumerate() {
            let moves = has_base && matches!(g.onto, Leg::Base | Leg::Final);
            let place = |moved: f64, bent: f64, g: &Gate| {
                let by = if !moves {
                    0.0
                } else if g.onto == Leg::Final {
                    moved + bent
                } else {
                    moved
                };
                g.at - along * by
            };
            let wanted = |f: &Flight<'_>, which: usize, now: f64, at: Xy| {
                let (_, from, from_h) = g.leg.unwrap();
                let (before, after) = if g.onto == Leg::Final { (0.0, slope) } else { cost };
                let part = (f.p.distance(at) / from.distance(g.at)).clamp(0.0, 1.5);
                let plan = g.height + (from_h - g.height) * part + after * now;
                now + (f.h * judged[which] - plan) / (before + after)
            };
            if let Some((leg, _, _)) = g.leg {
                // Straight on towards the gate; what is decided on the way moves it.
                let late = if g.onto == Leg::Final { late_final } else { late_turn };
                let judges = moves && (g.onto == Leg::Base || leg == Leg::Base);
                let mut abeam_done = !(judges && g.onto == Leg::Base);
                let mut half_done = !(judges && g.onto == Leg::Final);
                if !half_done {
                    let now: f64 = moved + bent;
                    bent = wanted(&f, 1, now, place(moved, bent, g)).clamp(-u.base_nearer_m, u.base_farther_m) - moved;
                }
                if !abeam_done && leg != Leg::Downwind {
                    moved = wanted(&f, 0, moved, place(moved, bent, g)).clamp(-u.base_nearer_m, u.base_farther_m);
                    abeam_done = true;
                }
                let half_way = 0.5 * f.p.distance(place(moved, bent, g));
                let mut track = (place(moved, bent, g) - f.p).bearing().unwrap().unit();
                loop {
                    if !abeam_done && l.along_of(f.p) <= 0.0 {
                        moved = wanted(&f, 0, moved, place(moved, bent, g)).clamp(-u.base_nearer_m, u.base_farther_m);
                        abeam_done = true;
                        track = (place(moved, bent, g) - f.p).bearing().unwrap().unit();
                    }
                    let left = (place(moved, bent, g) - f.p).dot(track);
                    if !half_done && left <= half_way {
                        let now = moved + bent;
                        bent =
                            wanted(&f, 1, now, place(moved, bent, g)).clamp(-u.base_nearer_m, u.base_farther_m) - moved;
                        half_done = true;
                        track = (place(moved, bent, g) - f.p).bearing().unwrap().unit();
                        continue;
                    }
                    if left + late <= 0.0 {
                        if judges && g.onto == Leg::Base && abeam_done && half_done {
                            let more =
                                wanted(&f, 1, moved, place(moved, bent, g)).clamp(moved, u.base_farther_m.max(moved));
                            if more > moved + 1.0 {
                                moved = more;
                                let rest = place(moved, bent, g) - f.p;
                                let way = rest.bearing().unwrap().unit();
                                while (place(moved, bent, g) - f.p).dot(way) + late > 0.0 {
                                    if !f.step(random, 0.0, glide, Some(way)) || f.h < 0.0 {
                                        return down_early(&f);
                                    }
                                }
                            }
                        }
                        break;
                    }
                    if !f.step(random, 0.0, glide, Some(track)) || f.h < 0.0 {
                        return down_early(&f);
                    }
                }
            }
            // The turn.
            let side = g.angle.signum();
            let target = gates.get(i + 1).map_or(aim, |n| {
                let moves = has_base && matches!(n.onto, Leg::Base | Leg::Final);
                let by = if !moves {
                    0.0
                } else if n.onto == Leg::Final {
                    moved + bent
                } else {
                    moved
                };
                n.at - along * by
            });
            let speed = if g.onto == Leg::Final { approach } else { glide };
            let begun = f.psi;
            let tan = math::tan(bank);
            let left = |f: &Flight<'_>| {
                let done = side * (f.psi - begun);
                let v = f.v1 / crate::air::isa_density_ratio(f.h).sqrt();
                let w = f.wind(f.h);
                let fast = v / math::cos(bank).sqrt();
                let mut rest = g.angle.abs() - done;
                for _ in 0..3 {
                    // The rest of the turn as twenty chords.
                    let mut end = f.p;
                    let part = rest.max(0.0) / 20.0;
                    for k in 0..20 {
                        let psi = f.psi + side * part * (f64::from(k) + 0.5);
                        let (s, c) = math::sin_cos(psi);
                        end = end + (Xy::new(s, c) * fast + w) * (part * fast / (GRAVITY_MS2 * tan));
                    }
                    let track = (target - end).bearing().unwrap().unit();
                    let across = w.dot(Xy::new(track.y, -track.x));
                    let e = track * (v * v - across * across).max(0.0).sqrt() - Xy::new(track.y, -track.x) * across;
                    let plan = g.angle.abs() - done;
                    rest = plan + math::wrap_pi(side * (math::atan2(e.x, e.y) - f.psi) - plan);
                    rest = rest.min(g.angle.abs() + 1.2 - done);
                }
                rest + rolled
            };
            if left(&f) <= 0.0 {
                continue;
            }
            let p = plain.roll_rad_s;
            let out = |f: &Flight<'_>| {
                let v = f.v1 / crate::air::isa_density_ratio(f.h).sqrt();
                2.0 * GRAVITY_MS2 * (1.0 - math::cos(f.bank).sqrt()) / (v * p)
            };
            while side * f.bank < bank && left(&f) > out(&f) {
                f.step(random, side * p, speed, None);
            }
            while left(&f) > out(&f) {
                f.step(random, 0.0, speed, None);
                if f.h < 0.0 {
                    return down_early(&f);
                }
            }
            while side * f.bank > 0.0 {
                f.step(random, -side * p, speed, None);
            }
            f.bank = 0.0;
            if f.h < 0.0 {
                return down_early(&f);
            }
        }
        let half = -0.5 * l.along_of(f.p);
        let onto = (aim - along * half - f.p).bearing().unwrap().unit();
        let onto = if half > 0.0 && onto.dot(along) > 0.5 { onto } else { along };
        f.on_final = true;
        let (mut at_50, mut ground) = (None, 0.0);
        loop {
            let before = (f.p, f.h);
            let track = if l.along_of(f.p) < -half { onto } else { along };
            if !f.step(random, 0.0, approach, Some(track)) {
                return down_early(&f);
            }
            ground = 0.9 * ground + 0.1 * (f.p - before.0).norm() / DT_S;
            if before.1 >= 15.24 && f.h < 15.24 {
                at_50 = Some(l.along_of(f.p));
            }
            if f.h <= 0.0 {
                break;
            }
        }
        let down = l.along_of(f.p);
        let calm_ground = approach_over_ground(self);
        let faster = ground / calm_ground;
        let stop = (at_50.unwrap_or(down) + l.stop_from_50_ft_m * faster * faster).max(down);
        let far = l.length_m - l.aim_from_start_m;
        let is_in = down >= l.displacement_m - l.aim_from_start_m
            && stop <= far
            && ((f.p - l.aim).dot(right)).abs() <= 0.5 * l.width_m;
        (is_in && !f.met, f.met)
    }
}

fn approach_over_ground(r: &Reference<'_>) -> f64 {
    let l = r.task.landing();
    let w = wind_above(r.wind, 0.0, 0.0).xy();
    let across = w.dot(Xy::new(l.along().y, -l.along().x));
    let v = r.task.flying().approach_ms;
    (v * v - across * across).sqrt() + w.dot(l.along())
}
