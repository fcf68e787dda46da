//! What stands under the approach to the ends of a strip.

use super::{
    APPROACH_LENGTH_M, APPROACH_SPLAY, ApproachPoint, AssumedHeights, EndStudy, FLATTEST_GRADIENT, StripStudy,
    StudyOptions, Under, WIRES_MARGIN_M, fit_ground,
};
use crate::aircraft::Aircraft;
use crate::fields::hazards::{outline, segments};
use crate::fields::model::{BoundaryEdge, EdgeKind, Field, Hazard, HazardShape};
use crate::fields::strip::{Strip, inside_ring, room_around_m};
use crate::grid::Terrain;
use crate::position::Xy;
use serde::Serialize;

/// What a strip is studied in.
pub(super) struct Scene<'a> {
    pub(super) field: &'a Field,
    pub(super) near: &'a [&'a Hazard],
    pub(super) terrain: Option<&'a Terrain>,
    pub(super) assumed: AssumedHeights,
    pub(super) margin: f64,
}

impl Scene<'_> {
    pub(super) fn study(&self, strip: Strip) -> StripStudy {
        StripStudy {
            strip,
            ground: self.terrain.and_then(|t| fit_ground(t, &strip)),
            ends: [self.end(&strip), self.end(&strip.reversed())],
        }
    }

    fn end(&self, strip: &Strip) -> EndStudy {
        let Look { threshold_amsl_m, standing, unknown_edge, ground_gap } = self.look(strip);
        let points: Vec<ApproachPoint> = standing.iter().map(|s| s.point).collect();
        EndStudy {
            threshold_amsl_m,
            wires: governing(points.iter().filter(|p| p.what.is_wires()).copied().collect(), WIRES_MARGIN_M),
            obstacles: governing(points, 0.0),
            unknown_edge,
            ground_gap,
        }
    }

    /// Everything under the approach to the strip's start, whether or not it can ever take length.
    fn look(&self, strip: &Strip) -> Look {
        let corridor = Corridor {
            start: strip.start,
            u: strip.heading.unit(),
            // Half the margin: sides that run along the strip are then beside it, whatever the rounding.
            half_width_m: (strip.width_m + self.margin) / 2.0 - 0.01,
        };
        let threshold = self.terrain.and_then(|t| t.height_at(strip.start));
        let mut look = Look {
            threshold_amsl_m: threshold,
            standing: Vec::new(),
            unknown_edge: false,
            ground_gap: threshold.is_none(),
        };
        // Height of the ground above the landing end; level where it is not known, which is then said.
        let rise = |p: Xy, gap: &mut bool| match (self.terrain, threshold) {
            (Some(terrain), Some(base)) => terrain.height_at(p).map_or_else(
                || {
                    *gap = true;
                    0.0
                },
                |h| h - base,
            ),
            _ => 0.0,
        };
        let mut standing: Vec<Standing> = Vec::new();
        let mut stand = |what, source, from: Xy, (height, assumed): (f64, bool), gap: &mut bool| {
            let before_threshold_m = corridor.before(from).max(0.0);
            let point = ApproachPoint { what, height_m: rise(from, gap) + height, before_threshold_m, assumed };
            standing.push(Standing { point, stands_m: height, source });
        };

        for (i, (a, b)) in segments(&self.field.outer, true).enumerate() {
            let Some((p, q)) = corridor.clip(a, b, 0.0) else { continue };
            let edge = self.field.edges.get(i).copied().unwrap_or(BoundaryEdge::UNKNOWN);
            look.unknown_edge |= edge.kind == EdgeKind::Unknown && edge.height_m.is_none();
            let height = self.assumed.height_m(edge);
            if height.0 > 0.0 {
                stand(Under::Edge(edge.kind), Source::Side(i), p, height, &mut look.ground_gap);
                stand(Under::Edge(edge.kind), Source::Side(i), q, height, &mut look.ground_gap);
            }
        }
        for (i, hole) in self.field.holes.iter().enumerate() {
            let height = (self.assumed.unknown_m, true);
            for (p, q) in segments(hole, true).filter_map(|(a, b)| corridor.clip(a, b, 0.0)) {
                stand(Under::Hole, Source::Hole(i), p, height, &mut look.ground_gap);
                stand(Under::Hole, Source::Hole(i), q, height, &mut look.ground_gap);
            }
        }
        for (i, hazard) in self.near.iter().enumerate() {
            let height = match hazard.height_m {
                Some(h) if h.is_finite() && h >= 0.0 => (h, false),
                _ => (hazard.kind.assumed_height_m(), true),
            };
            if height.0 <= 0.0 {
                continue;
            }
            let (what, source) = (Under::Hazard(hazard.kind), Source::Hazard(i));
            let (chain, closed) = outline(&hazard.shape);
            let room = if chain.len() == 1 { room_around_m(hazard.kind) } else { 0.0 };
            let (mut nearest, mut farthest) = (f64::INFINITY, f64::NEG_INFINITY);
            for (a, b) in segments(chain, closed) {
                if let Some((p, q)) = corridor.clip(a, b, room) {
                    let toward = corridor.u * room;
                    stand(what, source, p + toward, height, &mut look.ground_gap);
                    stand(what, source, q + toward, height, &mut look.ground_gap);
                    let (d, e) = (corridor.before(p), corridor.before(q));
                    nearest = nearest.min(d.min(e));
                    farthest = farthest.max(d.max(e));
                }
            }
            if let HazardShape::Area { outer, .. } = &hazard.shape
                && nearest.is_finite()
            {
                // Tops follow the ground inside the area.
                if inside_ring(outer, corridor.place(APPROACH_LENGTH_M)) {
                    farthest = APPROACH_LENGTH_M;
                }
                let mut d = nearest.max(0.0);
                while d < farthest {
                    stand(what, source, corridor.place(d), height, &mut look.ground_gap);
                    d += 50.0;
                }
            }
        }
        if let (Some(terrain), Some(base)) = (self.terrain, threshold) {
            let step = terrain.frame.cell_m.clamp(10.0, 50.0);
            let left = Xy::new(-corridor.u.y, corridor.u.x);
            let mut d = step;
            while d <= APPROACH_LENGTH_M {
                let half = corridor.half_width_m + APPROACH_SPLAY * d;
                let mut highest: Option<f64> = None;
                for c in [-half, 0.0, half] {
                    match terrain.height_at(corridor.place(d) + left * c) {
                        Some(h) => highest = Some(highest.map_or(h, |k: f64| k.max(h))),
                        None => look.ground_gap = true,
                    }
                }
                if let Some(h) = highest {
                    let (height_m, before_threshold_m) = (h - base, d);
                    let point = ApproachPoint { what: Under::Ground, height_m, before_threshold_m, assumed: false };
                    standing.push(Standing { point, stands_m: 0.0, source: Source::Ground });
                }
                d += step;
            }
        }
        look.standing = standing;
        look
    }
}

/// Which thing a point under the approach belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// A side of the outer ring, by number.
    Side(usize),
    /// A hole of the field, by number.
    Hole(usize),
    /// A hazard, by its place among those near the field.
    Hazard(usize),
    /// The ground itself.
    Ground,
}

/// The top of something under the approach, with what it stands on.
#[derive(Clone, Copy, Debug)]
pub(in crate::fields) struct Standing {
    /// Its top.
    pub(in crate::fields) point: ApproachPoint,
    /// How high it stands above the ground under it, metres.
    pub(in crate::fields) stands_m: f64,
    /// Which thing it is.
    pub(in crate::fields) source: Source,
}

/// Everything under the approach to one end of a strip.
pub(in crate::fields) struct Look {
    /// Height of the ground at the landing end.
    pub(in crate::fields) threshold_amsl_m: Option<f64>,
    /// What stands there, in no order.
    pub(in crate::fields) standing: Vec<Standing>,
    /// Whether a side nobody looked at is crossed.
    pub(in crate::fields) unknown_edge: bool,
    /// Whether terrain is missing.
    pub(in crate::fields) ground_gap: bool,
}

/// Everything under the approach to the start of a strip of a studied field; `near` comes from [`hazards_near`].
pub(in crate::fields) fn look_under_approach(
    field: &Field,
    near: &[&Hazard],
    terrain: Option<&Terrain>,
    aircraft: &Aircraft,
    options: &StudyOptions,
    strip: &Strip,
) -> Look {
    Scene { field, near, terrain, assumed: options.assumed, margin: aircraft.edge_margin_m }.look(strip)
}

/// The points that can govern at some gradient, nearest first: the upper hull of height over distance.
pub(super) fn governing(mut points: Vec<ApproachPoint>, extra_m: f64) -> Vec<ApproachPoint> {
    points.retain(|p| {
        let h = p.height_m + extra_m;
        h > 0.0 && h.is_finite() && h / FLATTEST_GRADIENT > p.before_threshold_m
    });
    points
        .sort_by(|a, b| a.before_threshold_m.total_cmp(&b.before_threshold_m).then(b.height_m.total_cmp(&a.height_m)));
    let mut hull: Vec<ApproachPoint> = Vec::new();
    for p in points {
        if hull.last().is_some_and(|l| p.height_m <= l.height_m) {
            continue;
        }
        while let [.., a, b] = hull[..] {
            let (d1, h1) = (b.before_threshold_m - a.before_threshold_m, b.height_m - a.height_m);
            let (d2, h2) = (p.before_threshold_m - b.before_threshold_m, p.height_m - b.height_m);
            if h1 * d2 <= h2 * d1 {
                hull.pop();
            } else {
                break;
            }
        }
        hull.push(p);
    }
    hull
}

/// The ground looked at under an approach: straight back from the landing end, widening.
struct Corridor {
    start: Xy,
    u: Xy,
    half_width_m: f64,
}

impl Corridor {
    /// Distance of a point before the landing end.
    fn before(&self, p: Xy) -> f64 {
        (self.start - p).dot(self.u)
    }
    /// The point on the centre line at a distance before the landing end.
    fn place(&self, before_m: f64) -> Xy {
        self.start - self.u * before_m
    }
    /// The part of a segment inside the corridor, widened by `room` all round.
    fn clip(&self, a: Xy, b: Xy, room: f64) -> Option<(Xy, Xy)> {
        let (da, db) = (self.before(a), self.before(b));
        let (ca, cb) = (self.u.cross(a - self.start), self.u.cross(b - self.start));
        let half = |d: f64| self.half_width_m + room + APPROACH_SPLAY * d;
        let inside = [
            (da + room, db + room),
            (APPROACH_LENGTH_M + room - da, APPROACH_LENGTH_M + room - db),
            (half(da) - ca, half(db) - cb),
            (half(da) + ca, half(db) + cb),
        ];
        let (mut from, mut to) = (0.0f64, 1.0f64);
        for (fa, fb) in inside {
            if fa < 0.0 && fb < 0.0 {
                return None;
            }
            if fa < 0.0 {
                from = from.max(fa / (fa - fb));
            } else if fb < 0.0 {
                to = to.min(fa / (fa - fb));
            }
        }
        (from <= to).then(|| (a + (b - a) * from, a + (b - a) * to))
    }
}
