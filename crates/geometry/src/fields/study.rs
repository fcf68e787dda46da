//! Everything about a field that depends neither on where the aircraft is nor on the wind.
//!
//! A study holds the candidate strips of a field with their slope and with what stands before both ends. It is made once
//! for each aircraft and reused whenever the aircraft moves or the wind changes.

mod under_approach;

pub use under_approach::Source;
pub(super) use under_approach::{Standing, look_under_approach};

use super::hazards::{HazardIndex, distance_m};
use super::model::{BoundaryEdge, EdgeKind, Field, Hazard, HazardKind};
use super::strip::{GIVEN_FOR_THE_MIDDLE, SCAN_STEP_DEG, Scratch, Strip, StripSpace, field_obstacles, without_margin};
use crate::aircraft::Aircraft;
use crate::grid::{SurfaceKind, Terrain, TerrainAccuracy};
use crate::math;
use crate::position::{Bearing, Xy};
use core::borrow::Borrow;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use under_approach::Scene;

/// How far before the landing end the ground and what stands on it are looked at, metres.
pub const APPROACH_LENGTH_M: f64 = 1_000.0;

/// Growth of the half width of what is looked at, for each metre before the landing end. From memory: 5 % splay of an
/// approach surface for small strips (CASA CAAP 92-1).
pub const APPROACH_SPLAY: f64 = 0.05;

/// Distance from the field within which hazards count as near the circuit, metres. Common practice, no source.
pub const NEAR_M: f64 = 300.0;

/// Obstacles that could not move the landing end even on an approach this flat are left out (1 : 50).
const FLATTEST_GRADIENT: f64 = 0.02;

/// Strips shorter than this share of the landing distance cannot serve in any wind and are left out.
const SHORTEST_SHARE: f64 = 0.4;

/// Candidate headings closer than this to a longer candidate are left out, degrees.
const SAME_HEADING_DEG: f64 = 1.0;

/// Heights above the ground taken for boundary edges nobody measured, metres; meant to be edited by the user.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AssumedHeights {
    /// Hedge. From memory: 1.5–3 m.
    pub hedge_m: f64,
    /// Tree line. From memory: 15–20 m.
    pub tree_line_m: f64,
    /// Fence. From memory.
    pub fence_m: f64,
    /// Wall. From memory.
    pub wall_m: f64,
    /// Wires. From memory: wood poles of 8–12 m.
    pub wires_m: f64,
    /// An edge nobody looked at: 8 m, the hedgerow of the European Wind Atlas roughness classes.
    pub unknown_m: f64,
}

impl Default for AssumedHeights {
    fn default() -> Self {
        Self { hedge_m: 3.0, tree_line_m: 18.0, fence_m: 1.4, wall_m: 1.8, wires_m: 12.0, unknown_m: 8.0 }
    }
}

impl AssumedHeights {
    /// The height of a boundary edge, and whether it was assumed.
    #[must_use]
    pub fn height_m(&self, edge: BoundaryEdge) -> (f64, bool) {
        match (edge.height_m, edge.kind) {
            (Some(h), _) if h.is_finite() && h >= 0.0 => (h, false),
            (_, EdgeKind::Nothing) => (0.0, false),
            (_, EdgeKind::Hedge) => (self.hedge_m, true),
            (_, EdgeKind::TreeLine) => (self.tree_line_m, true),
            (_, EdgeKind::Fence) => (self.fence_m, true),
            (_, EdgeKind::Wall) => (self.wall_m, true),
            (_, EdgeKind::Wires) => (self.wires_m, true),
            (_, EdgeKind::Unknown) => (self.unknown_m, true),
        }
    }

    /// Where the height taken for a kind of edge comes from.
    #[must_use]
    pub fn source(&self, kind: EdgeKind) -> &'static str {
        if *self != Self::default() {
            return "set by the user";
        }
        match kind {
            EdgeKind::Nothing => "nothing stands there",
            EdgeKind::Hedge => "from memory: hedges of 1.5 to 3 m",
            EdgeKind::TreeLine => "from memory: tree lines of 15 to 20 m",
            EdgeKind::Fence => "from memory: stock fences",
            EdgeKind::Wall => "from memory: field walls",
            EdgeKind::Wires => "from memory: wood poles of 8 to 12 m",
            EdgeKind::Unknown => "the hedgerow of the European Wind Atlas roughness classes",
        }
    }
}

/// What something under the approach is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Under {
    /// A side of the field.
    Edge(EdgeKind),
    /// A hazard.
    Hazard(HazardKind),
    /// A hole in the field: nobody says what stands there.
    Hole,
    /// The ground itself.
    Ground,
}

impl Under {
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Edge(EdgeKind::Unknown) => "unknown boundary",
            Self::Edge(kind) => kind.words(),
            Self::Hazard(kind) => kind.words(),
            Self::Hole => "gap in the field",
            Self::Ground => "rising ground",
        }
    }
    pub(super) fn is_wires(self) -> bool {
        matches!(self, Self::Edge(EdgeKind::Wires) | Self::Hazard(HazardKind::Wires))
    }
}

/// The top of something under the approach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ApproachPoint {
    /// What it is.
    pub what: Under,
    /// Height above the landing end, metres.
    pub height_m: f64,
    /// Distance before the landing end, metres.
    pub before_threshold_m: f64,
    /// Whether its height was assumed.
    pub assumed: bool,
}

/// One end of a strip, as landed on.
#[derive(Clone, Debug, PartialEq)]
pub struct EndStudy {
    /// Height of the ground at the landing end, metres above sea level; `None` without terrain.
    pub threshold_amsl_m: Option<f64>,
    /// What may take length from the strip at some gradient, nearest first; the rest is left out.
    pub obstacles: Vec<ApproachPoint>,
    /// Wires under the approach, nearest first, whatever else stands there.
    pub wires: Vec<ApproachPoint>,
    /// Whether the approach crosses a side of the field that nobody looked at.
    pub unknown_edge: bool,
    /// Whether terrain is missing under the approach.
    pub ground_gap: bool,
}

/// Slope of a strip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StripGround {
    /// Slope along the strip's heading, rise over run, uphill positive.
    pub slope: f64,
    /// Slope across, rise over run to the right.
    pub cross_slope: f64,
    /// One standard error of the slope along.
    pub slope_error: f64,
    /// One standard error of the slope across.
    pub cross_error: f64,
    /// Standard deviation from the mean plane, metres.
    pub roughness_m: f64,
}

impl StripGround {
    /// The same ground, landed on from the other end.
    #[must_use]
    pub fn reversed(self) -> Self {
        Self { slope: -self.slope, cross_slope: -self.cross_slope, ..self }
    }
}

/// A candidate strip.
#[derive(Clone, Debug, PartialEq)]
pub struct StripStudy {
    /// Where it lies; landed on along its heading from `ends[0]`, against it from `ends[1]`.
    pub strip: Strip,
    /// Its slope; `None` where terrain is missing.
    pub ground: Option<StripGround>,
    /// The end at `strip.start`, then that at `strip.end`.
    pub ends: [EndStudy; 2],
}

/// What is known of the terrain under a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum GroundKnown {
    /// Heights everywhere under some strip.
    Yes,
    /// No terrain is loaded.
    NotLoaded,
    /// The field lies outside the terrain.
    Outside,
    /// The terrain has gaps under the field.
    Gap,
}

/// Why a field has no strip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoStrip {
    /// No rectangle of the strip's width and margins fits.
    TooNarrow,
    /// The outline is not a polygon.
    BadOutline,
    /// The aircraft's strip width or margin is not a number.
    BadAircraft,
    /// The outline is larger, or has more vertices, than any field: a parish or a county.
    TooLarge,
    /// It lies outside the terrain altogether.
    OffTerrain,
}

/// Largest outline that is looked at as one field, m² (1 000 ha). Common practice, no source.
pub const LARGEST_FIELD_M2: f64 = 1e7;

/// Most vertices of an outline that is looked at as one field.
pub const MOST_VERTICES: usize = 5_000;

/// Hazards around a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Nearby {
    /// Wires within [`NEAR_M`] of the outline.
    pub wires: usize,
    /// Masts, lone trees, buildings and other points within [`NEAR_M`] of the outline.
    pub tall: usize,
}

/// Everything about a field that depends neither on the aircraft's position nor on the wind.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldStudy {
    /// Candidate strips, longest first.
    pub strips: Vec<StripStudy>,
    /// Why there are none.
    pub no_strip: Option<NoStrip>,
    /// Area-weighted centre of the field.
    pub centre: Xy,
    /// Largest distance of the outline from the centre, metres.
    pub radius_m: f64,
    /// Ground under the centre, metres above sea level.
    pub ground_amsl_m: Option<f64>,
    /// Whether terrain is known under the field.
    pub ground: GroundKnown,
    /// What the terrain's heights describe, where there are any.
    pub accuracy: Option<TerrainAccuracy>,
    /// Hazards around it.
    pub nearby: Nearby,
}

/// Choices that a study depends on.
#[derive(Clone, Copy, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct StudyOptions {
    /// Heights of boundary edges nobody measured.
    pub assumed: AssumedHeights,
}

/// Studies of many fields, in their order; the same on any number of threads.
#[must_use]
pub fn study_all<F: Borrow<Field> + Sync>(
    fields: &[F],
    hazards: &HazardIndex,
    terrain: Option<&Terrain>,
    aircraft: &Aircraft,
    options: &StudyOptions,
) -> Vec<FieldStudy> {
    fields
        .par_iter()
        .with_min_len(4)
        .map_init(Scratch::default, |scratch, field| {
            FieldStudy::with_scratch(field.borrow(), hazards, terrain, aircraft, options, scratch)
        })
        .collect()
}

/// Corners of the square in which a study looks for hazards.
fn looked_at(centre: Xy, radius_m: f64) -> (Xy, Xy) {
    let reach = Xy::new(1.0, 1.0) * (radius_m + APPROACH_LENGTH_M + 100.0);
    (centre - reach, centre + reach)
}

impl FieldStudy {
    /// Corners of the square whose hazards went into this study: a hazard outside changes nothing in it.
    #[must_use]
    pub fn looked_at(&self) -> (Xy, Xy) {
        looked_at(self.centre, self.radius_m)
    }
    /// A study of a field that was not made yet: no strips, nothing known.
    #[must_use]
    pub fn unmade(field: &Field) -> Self {
        Self {
            strips: Vec::new(),
            no_strip: None,
            centre: field.centroid(),
            radius_m: 0.0,
            ground_amsl_m: None,
            ground: GroundKnown::NotLoaded,
            accuracy: None,
            nearby: Nearby::default(),
        }
    }
    /// Studies one field.
    #[must_use]
    pub fn new(
        field: &Field,
        hazards: &HazardIndex,
        terrain: Option<&Terrain>,
        aircraft: &Aircraft,
        options: &StudyOptions,
    ) -> Self {
        Self::with_scratch(field, hazards, terrain, aircraft, options, &mut Scratch::default())
    }

    fn with_scratch(
        field: &Field,
        hazards: &HazardIndex,
        terrain: Option<&Terrain>,
        aircraft: &Aircraft,
        options: &StudyOptions,
        scratch: &mut Scratch,
    ) -> Self {
        let centre = field.centroid();
        let radius_m = field.outer.iter().map(|p| p.distance(centre)).fold(0.0, f64::max);
        let near = hazards_near(field, hazards);
        let mut study = Self {
            strips: Vec::new(),
            no_strip: None,
            centre,
            radius_m,
            ground_amsl_m: terrain.and_then(|t| t.height_at(centre)),
            ground: GroundKnown::NotLoaded,
            accuracy: terrain.map(|t| t.accuracy),
            nearby: nearby(field, &near),
        };
        let vertices = field.outer.len() + field.holes.iter().map(Vec::len).sum::<usize>();
        if field.area_m2() > LARGEST_FIELD_M2 || vertices > MOST_VERTICES {
            study.no_strip = Some(NoStrip::TooLarge);
            return study;
        }
        if terrain.is_some_and(|t| is_off(t, &field.outer)) {
            study.no_strip = Some(NoStrip::OffTerrain);
            study.ground = GroundKnown::Outside;
            return study;
        }
        let margin = aircraft.edge_margin_m;
        let width = aircraft.strip_width_m + 2.0 * margin;
        if !(width > 0.0 && width.is_finite() && margin >= 0.0) {
            study.no_strip = Some(NoStrip::BadAircraft);
            return study;
        }
        let obstacles = field_obstacles(field, &near);
        let Some(space) = StripSpace::new(&field.outer, &field.holes, &obstacles) else {
            study.no_strip = Some(NoStrip::BadOutline);
            return study;
        };
        let strips = candidates(&space, width, margin, SHORTEST_SHARE * aircraft.landing_distance_m, scratch);
        if strips.is_empty() {
            study.no_strip = Some(NoStrip::TooNarrow);
        }
        let scene = Scene { field, near: &near, terrain, assumed: options.assumed, margin };
        study.strips = strips.into_iter().map(|strip| scene.study(strip)).collect();
        study.ground = ground_known(&study.strips, field, terrain);
        study
    }
}

fn ground_known(strips: &[StripStudy], field: &Field, terrain: Option<&Terrain>) -> GroundKnown {
    let Some(terrain) = terrain else { return GroundKnown::NotLoaded };
    if strips.iter().any(|s| s.ground.is_some()) {
        return GroundKnown::Yes;
    }
    let (low, high) = terrain.frame.bounds();
    let inside = |p: &Xy| p.x >= low.x && p.x <= high.x && p.y >= low.y && p.y <= high.y;
    if field.outer.iter().any(inside) { GroundKnown::Gap } else { GroundKnown::Outside }
}

fn nearby(field: &Field, near: &[&Hazard]) -> Nearby {
    let mut nearby = Nearby::default();
    for hazard in near {
        let counted = match hazard.kind {
            HazardKind::Wires => &mut nearby.wires,
            HazardKind::Mast | HazardKind::LoneTree | HazardKind::Building | HazardKind::Other => &mut nearby.tall,
            HazardKind::Wood | HazardKind::Water => continue,
        };
        if distance_m(&hazard.shape, &field.outer) <= NEAR_M {
            *counted += 1;
        }
    }
    nearby
}

/// Strips worth judging, longest first: the best heading, the sides' directions, a scan from the longest side, and the
/// peaks of that scan.
///
/// The scan starts from the longest side and not from north, so that turning the scene turns the answer; every peak is
/// climbed, so that of two like headings the one into the wind is as good as the other.
/// Whether no vertex of a ring comes near the terrain. A ring that is not finite is left to others to refuse.
fn is_off(terrain: &Terrain, ring: &[Xy]) -> bool {
    let (low, high) = terrain.frame.bounds();
    let all = |beyond: &dyn Fn(&Xy) -> bool| ring.iter().all(beyond);
    all(&|p| p.x < low.x) || all(&|p| p.x > high.x) || all(&|p| p.y < low.y) || all(&|p| p.y > high.y)
}

fn candidates(space: &StripSpace, width: f64, margin: f64, shortest: f64, scratch: &mut Scratch) -> Vec<Strip> {
    let mut found: Vec<Strip> = Vec::new();
    found.extend(space.best(width, scratch));
    found.extend(space.side_headings().into_iter().filter_map(|h| space.longest(h, width, scratch)));
    let origin = space.longest_side_heading();
    // Half steps show the peaks that fall between two steps; only whole steps and peaks become candidates.
    let step = (SCAN_STEP_DEG / 2.0).to_radians();
    let count = (360.0 / SCAN_STEP_DEG).round() as usize;
    let scanned: Vec<Option<Strip>> =
        (0..count).map(|i| space.longest(Bearing::from_rad(origin.rad() + i as f64 * step), width, scratch)).collect();
    let length = |i: usize| scanned[i % count].map_or(0.0, |s| s.length_m);
    for (i, strip) in scanned.iter().enumerate().filter_map(|(i, s)| s.map(|s| (i, s))) {
        if strip.length_m >= shortest && length(i) >= length(i + 1) && length(i) >= length(i + count - 1) {
            found.extend(space.near(strip.heading, step, width, scratch));
        }
    }
    found.extend(scanned.into_iter().step_by(2).flatten());
    let mut strips: Vec<Strip> = found.into_iter().filter_map(|s| without_margin(s, margin)).collect();
    // Shorter than wide is no landing run.
    strips.retain(|s| s.length_m > s.width_m);
    strips.sort_by(|a, b| b.length_m.total_cmp(&a.length_m));
    let mut kept: Vec<Strip> = Vec::new();
    for strip in strips {
        let apart = |k: &Strip| {
            let turn = k.heading.turn_to(strip.heading).abs();
            turn.min(math::PI - turn) > SAME_HEADING_DEG.to_radians()
        };
        if kept.is_empty() || (strip.length_m >= shortest && kept.iter().all(apart)) {
            kept.push(strip);
        }
    }
    for strip in &mut kept {
        let middle = space.in_the_middle(strip.heading, width, GIVEN_FOR_THE_MIDDLE, scratch);
        if let Some(middle) = middle.and_then(|s| without_margin(s, margin)) {
            *strip = middle;
        }
    }
    kept
}

/// The hazards that a study of a field looks at.
#[must_use]
pub fn hazards_near<'a>(field: &Field, hazards: &'a HazardIndex) -> Vec<&'a Hazard> {
    let centre = field.centroid();
    let radius_m = field.outer.iter().map(|p| p.distance(centre)).fold(0.0, f64::max);
    let (low, high) = looked_at(centre, radius_m);
    hazards.near(low, high)
}

/// Height by which an approach must clear wires to be called clear of them, metres: 50 ft. Common practice, no source.
pub const WIRES_MARGIN_M: f64 = 15.24;

/// Mean plane of the terrain under a strip; `None` where terrain is missing.
///
/// The slope's error is the point-to-point error of the heights over the strip's length (over its width for the slope
/// across): neighbouring heights of one survey are wrong together, so many posts do not make it smaller.
pub(crate) fn fit_ground(terrain: &Terrain, strip: &Strip) -> Option<StripGround> {
    let cell = terrain.frame.cell_m;
    let band = strip.width_m.max(cell);
    let along = ((strip.length_m / cell).ceil() as usize + 1).clamp(3, 80);
    let across = ((band / cell).ceil() as usize + 1).clamp(3, 9);
    let u = strip.heading.unit();
    let right = Xy::new(u.y, -u.x);
    let middle = (strip.start + strip.end) * 0.5;
    let share = |i: usize, n: usize| i as f64 / (n - 1) as f64 - 0.5;
    let mut heights = Vec::with_capacity(along * across);
    for i in 0..along {
        for j in 0..across {
            let (x, y) = (strip.length_m * share(i, along), band * share(j, across));
            heights.push((x, y, terrain.height_at(middle + u * x + right * y)?));
        }
    }
    let n = heights.len() as f64;
    // Even spacing about the middle makes the three coefficients independent.
    let mean = heights.iter().map(|h| h.2).sum::<f64>() / n;
    let (mut xx, mut yy, mut xh, mut yh) = (0.0, 0.0, 0.0, 0.0);
    for &(x, y, h) in &heights {
        xx += x * x;
        yy += y * y;
        xh += x * (h - mean);
        yh += y * (h - mean);
    }
    let (slope, cross_slope) = (xh / xx, yh / yy);
    let square = |&(x, y, h): &(f64, f64, f64)| {
        let off = h - mean - slope * x - cross_slope * y;
        off * off
    };
    let roughness_m = (heights.iter().map(square).sum::<f64>() / n).sqrt();
    let error = terrain.accuracy.point_to_point_m.max(0.0);
    let ground =
        StripGround { slope, cross_slope, slope_error: error / strip.length_m, cross_error: error / band, roughness_m };
    (slope.is_finite() && cross_slope.is_finite() && ground.slope_error.is_finite()).then_some(ground)
}

/// Whether the heights may include trees and buildings.
pub(crate) fn may_include_trees(accuracy: TerrainAccuracy) -> bool {
    accuracy.kind != SurfaceKind::BareGround
}

#[cfg(test)]
#[path = "study_tests.rs"]
mod tests;
