//! What lies on the land: fields with their boundaries, woods, wires, the village, farms, lanes and the home strip.

use crate::CELL_M;
use crate::names;
use crate::noise::Dice;
use crate::obstacles;
use crate::parcels::{self, BLOCKS, Mesh};
use crate::path;
use crate::relief::Relief;
use crate::roads;
use crate::woods;
use sparefield_geometry::fields::model::{Field, Hazard, HazardKind, QuietZone, ring_area};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};

/// Length of the mown strip in the home field, metres.
pub const STRIP_LENGTH_M: f64 = 420.0;
/// Width of the mown strip, metres.
pub const STRIP_WIDTH_M: f64 = 18.0;
/// The day the area is as seen; surveys lie in the three years before it: 2026-11-25.
pub(crate) const TODAY: i32 = 20_782;
/// Parcels steeper than this on average are not kept as fields, percent.
pub(crate) const FIELD_SLOPE_PERCENT: f64 = 11.5;

/// A line drawn for orientation only.
#[derive(Clone, Debug)]
pub struct BackgroundLine {
    /// `lane` or `river`.
    pub kind: &'static str,
    /// Name; may be empty.
    pub name: &'static str,
    /// Vertices, local metres.
    pub line: Vec<Xy>,
}

/// The home strip and a place to start from.
#[derive(Clone, Copy, Debug)]
pub struct Home {
    /// Middle of the strip, local metres.
    pub middle: Xy,
    /// Direction of the lower-numbered end, compass degrees.
    pub axis: Bearing,
    /// Height of the middle, metres above sea.
    pub elevation_m: f64,
    /// Heights of the two ends (start of the axis direction first), metres above sea.
    pub ends_m: [f64; 2],
    /// Where the example starts, local metres.
    pub start: Xy,
}

/// The whole invented area, in local metres.
#[derive(Clone, Debug)]
pub struct Area {
    /// Land and river.
    pub relief: Relief,
    /// Fields.
    pub fields: Vec<Field>,
    /// Everything in the way.
    pub hazards: Vec<Hazard>,
    /// Places not to be overflown low.
    pub quiet_zones: Vec<QuietZone>,
    /// Lanes and the river's middle.
    pub lines: Vec<BackgroundLine>,
    /// The home strip.
    pub home: Home,
}

/// What a parcel is used for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Use {
    Field,
    Copse,
    Village,
    Yard,
    Open,
}

/// Middle of a ring by its corners' mean; good enough for compact parcels.
pub(crate) fn middle(ring: &[Xy]) -> Xy {
    ring.iter().fold(Xy::default(), |a, &p| a + p) * (1.0 / ring.len().max(1) as f64)
}

/// Distance from a point to a closed ring's outline, metres.
#[must_use]
pub fn ring_distance(p: Xy, ring: &[Xy]) -> f64 {
    (0..ring.len())
        .map(|i| p.distance(path::nearest_on_side(p, ring[i], ring[(i + 1) % ring.len()])))
        .fold(f64::INFINITY, f64::min)
}

/// Mean steepness inside a ring, percent.
fn mean_slope_percent(relief: &Relief, ring: &[Xy]) -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    let low = ring.iter().fold(Xy::new(f64::INFINITY, f64::INFINITY), |a, p| Xy::new(a.x.min(p.x), a.y.min(p.y)));
    let high =
        ring.iter().fold(Xy::new(f64::NEG_INFINITY, f64::NEG_INFINITY), |a, p| Xy::new(a.x.max(p.x), a.y.max(p.y)));
    let mut y = low.y;
    while y <= high.y {
        let mut x = low.x;
        while x <= high.x {
            let p = Xy::new(x, y);
            if path::inside(p, ring) {
                sum += slope_percent(relief, p);
                count += 1.0;
            }
            x += CELL_M;
        }
        y += CELL_M;
    }
    if count > 0.0 { sum / count } else { slope_percent(relief, middle(ring)) }
}

/// Steepness at a place, percent; zero outside the terrain.
#[must_use]
pub fn slope_percent(relief: &Relief, p: Xy) -> f64 {
    let h = |dx: f64, dy: f64| relief.terrain.height_at(p + Xy::new(dx, dy));
    match (h(CELL_M, 0.0), h(-CELL_M, 0.0), h(0.0, CELL_M), h(0.0, -CELL_M)) {
        (Some(e), Some(w), Some(n), Some(s)) => math::hypot(e - w, n - s) / (2.0 * CELL_M) * 100.0,
        _ => 0.0,
    }
}

/// The parts while they are being put together.
pub(crate) struct Builder {
    pub(crate) seed: u64,
    pub(crate) relief: Relief,
    pub(crate) mesh: Mesh,
    pub(crate) outlines: Vec<Vec<Xy>>,
    pub(crate) uses: Vec<Use>,
    pub(crate) slopes: Vec<f64>,
    pub(crate) village: Xy,
    pub(crate) hazards: Vec<Hazard>,
    pub(crate) quiet_zones: Vec<QuietZone>,
}

/// Makes the whole area from a seed.
#[must_use]
pub fn make(seed: u64) -> Area {
    let relief = crate::relief::make(seed);
    let mesh = parcels::make(seed);
    let outlines: Vec<Vec<Xy>> = mesh.parcels.iter().map(|p| mesh.outline(p)).collect();
    let slopes = outlines.iter().map(|o| mean_slope_percent(&relief, o)).collect();
    let centre = Xy::new(BLOCKS[1].centre.0, BLOCKS[1].centre.1);
    let village = mesh
        .lanes
        .iter()
        .filter(|(block, _)| *block == 1)
        .flat_map(|(_, lane)| lane.iter().copied())
        .min_by(|a, b| a.distance(centre).total_cmp(&b.distance(centre)))
        .unwrap_or(centre);
    let uses = vec![Use::Field; outlines.len()];
    let mut b =
        Builder { seed, relief, mesh, outlines, uses, slopes, village, hazards: Vec::new(), quiet_zones: Vec::new() };
    b.assign_uses();
    b.village_and_farms();
    b.copses();
    let mut fields = b.fields();
    b.single_features(&mut fields);
    let roads = roads::between_blocks(seed, &b.relief, &b.mesh, &b.outlines);
    let pole_line = b.wire_lines(&mut fields, &roads);
    Builder::wires_on_sides(&mut fields, &pole_line);
    b.water();
    b.masts();
    let occupied =
        woods::Occupied { outlines: &b.outlines, roads: &roads, hazards: &b.hazards, river: &b.relief.river };
    for (outer, holes) in woods::make(seed, &b.relief, &occupied) {
        let mut dice = Dice::new(seed, 700 + b.hazards.len() as u64);
        let height = if dice.chance(0.15) { None } else { Some(dice.within(14.0, 24.0).round()) };
        b.hazards.push(obstacles::area(HazardKind::Wood, outer, holes, height, ""));
    }
    for (i, hazard) in b.hazards.iter_mut().enumerate() {
        hazard.id = format!("H{:03}", i + 1);
    }
    let home = b.home();
    let mut lines: Vec<BackgroundLine> = b
        .mesh
        .lanes
        .iter()
        .map(|(_, lane)| lane.clone())
        .chain(roads)
        .map(|line| BackgroundLine { kind: "lane", name: "", line: path::resample(&line, 40.0) })
        .collect();
    lines.push(BackgroundLine { kind: "river", name: names::RIVER, line: b.river_inside(20.0) });
    Area { relief: b.relief, fields, hazards: b.hazards, quiet_zones: b.quiet_zones, lines, home }
}

impl Builder {
    pub(crate) fn lane_distance(&self, p: Xy, block: usize) -> f64 {
        self.mesh
            .lanes
            .iter()
            .filter(|(b, _)| *b == block)
            .map(|(_, l)| path::distance(p, l))
            .fold(f64::INFINITY, f64::min)
    }

    fn assign_uses(&mut self) {
        let mut dice = Dice::new(self.seed, 300);
        for i in 0..self.outlines.len() {
            let parcel = &self.mesh.parcels[i];
            let (rim, block) = (parcel.rim, parcel.block);
            if parcel.home {
                continue;
            }
            let ring = &self.outlines[i];
            let at = middle(ring);
            let to_river = ring.iter().map(|&p| path::distance(p, &self.relief.river)).fold(f64::INFINITY, f64::min);
            let ragged = dice.chance(BLOCKS[block].ragged) && rim;
            let copse = dice.chance(0.06) && ring_area(ring) < 6e4;
            self.uses[i] = if block == 1 && at.distance(self.village) < 215.0 {
                Use::Village
            } else if to_river < 32.0 || self.slopes[i] > FIELD_SLOPE_PERCENT || ragged {
                Use::Open
            } else if copse {
                Use::Copse
            } else {
                Use::Field
            };
        }
        // The steepest parcel that is still somehow a field stays, as an example of one that looks flat from above.
        let steep = (0..self.uses.len())
            .filter(|&i| {
                self.slopes[i] > FIELD_SLOPE_PERCENT && self.slopes[i] < 22.0 && ring_area(&self.outlines[i]) > 3e4
            })
            .max_by(|&a, &b| self.slopes[a].total_cmp(&self.slopes[b]));
        if let Some(i) = steep {
            self.uses[i] = Use::Field;
        }
        // One farmyard for each block, two for the home block: the smallest parcels beside a lane.
        for (block, count) in [(0, 2), (1, 1), (2, 1), (3, 1), (4, 1), (5, 1)] {
            let mut near: Vec<usize> = (0..self.uses.len())
                .filter(|&i| {
                    let parcel = &self.mesh.parcels[i];
                    let ring = &self.outlines[i];
                    parcel.block == block
                        && self.uses[i] == Use::Field
                        && !parcel.home
                        && ring_area(ring) > 0.9e4
                        && ring.iter().any(|&p| self.lane_distance(p, block) < 12.0)
                })
                .collect();
            near.sort_by(|&a, &b| ring_area(&self.outlines[a]).total_cmp(&ring_area(&self.outlines[b])));
            for &i in near.iter().take(count) {
                self.uses[i] = Use::Yard;
            }
        }
    }

    fn home(&self) -> Home {
        let axis = Bearing::from_deg(BLOCKS[0].axis_deg);
        let middle = Xy::new(BLOCKS[0].centre.0, BLOCKS[0].centre.1);
        let height = |p: Xy| self.relief.terrain.height_at(p).unwrap_or(f64::NAN);
        let half = axis.unit() * (STRIP_LENGTH_M / 2.0);
        Home {
            middle,
            axis,
            elevation_m: height(middle),
            ends_m: [height(middle - half), height(middle + half)],
            start: middle + Xy::new(-1_780.0, -820.0),
        }
    }
}
