//! What lies on the land: fields with their boundaries, woods, wires, the village, farms, lanes and the home strip.

use crate::names;
use crate::noise::{Dice, mix};
use crate::parcels::{self, BLOCKS, Mesh, Parcel, undirected};
use crate::path;
use crate::relief::Relief;
use crate::roads;
use crate::woods;
use crate::{CELL_M, SIDE_M};
use sparefield_geometry::fields::model::{
    BoundaryEdge, Day, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietZone, Stock, Surface, ring_area,
};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};

/// Length of the mown strip in the home field, metres.
pub const STRIP_LENGTH_M: f64 = 420.0;
/// Width of the mown strip, metres.
pub const STRIP_WIDTH_M: f64 = 18.0;
/// The day the area is as seen; surveys lie in the three years before it: 2026-11-25.
const TODAY: i32 = 20_782;
/// Parcels steeper than this on average are not kept as fields, percent.
const FIELD_SLOPE_PERCENT: f64 = 11.5;

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
enum Use {
    Field,
    Copse,
    Village,
    Yard,
    Open,
}

/// Middle of a ring by its corners' mean; good enough for compact parcels.
fn middle(ring: &[Xy]) -> Xy {
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

/// A rectangle, anticlockwise.
fn rectangle(centre: Xy, along: Xy, length_m: f64, width_m: f64) -> Vec<Xy> {
    let (u, v) = (along * (length_m / 2.0), Xy::new(-along.y, along.x) * (width_m / 2.0));
    vec![centre - u - v, centre + u - v, centre + u + v, centre - u + v]
}

/// A rounded outline with uneven radius, anticlockwise.
fn blob(centre: Xy, radius_m: f64, corners: usize, dice: &mut Dice) -> Vec<Xy> {
    (0..corners)
        .map(|i| {
            let (sin, cos) = math::sin_cos(math::TAU * i as f64 / corners as f64);
            centre + Xy::new(cos, sin) * (radius_m * dice.within(0.85, 1.15))
        })
        .collect()
}

fn area(kind: HazardKind, outer: Vec<Xy>, holes: Vec<Vec<Xy>>, height_m: Option<f64>, name: &str) -> Hazard {
    let shape = HazardShape::Area { outer, holes };
    Hazard { id: String::new(), kind, shape, height_m, name: name.to_owned(), other: Vec::new() }
}

fn point(kind: HazardKind, at: Xy, height_m: Option<f64>, name: &str) -> Hazard {
    let shape = HazardShape::Point(at);
    Hazard { id: String::new(), kind, shape, height_m, name: name.to_owned(), other: Vec::new() }
}

fn wires(line: Vec<Xy>, height_m: f64, name: &str) -> Hazard {
    let shape = HazardShape::Line(line);
    Hazard {
        id: String::new(),
        kind: HazardKind::Wires,
        shape,
        height_m: Some(height_m),
        name: name.to_owned(),
        other: Vec::new(),
    }
}

/// The parts while they are being put together.
struct Builder {
    seed: u64,
    relief: Relief,
    mesh: Mesh,
    outlines: Vec<Vec<Xy>>,
    uses: Vec<Use>,
    slopes: Vec<f64>,
    village: Xy,
    hazards: Vec<Hazard>,
    quiet_zones: Vec<QuietZone>,
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
    b.wires_on_sides(&mut fields, &pole_line);
    b.water();
    b.masts();
    let occupied =
        woods::Occupied { outlines: &b.outlines, roads: &roads, hazards: &b.hazards, river: &b.relief.river };
    for (outer, holes) in woods::make(seed, &b.relief, &occupied) {
        let mut dice = Dice::new(seed, 700 + b.hazards.len() as u64);
        let height = if dice.chance(0.15) { None } else { Some(dice.within(14.0, 24.0).round()) };
        b.hazards.push(area(HazardKind::Wood, outer, holes, height, ""));
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
    fn lane_distance(&self, p: Xy, block: usize) -> f64 {
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

    /// Adds a building when it stands inside one of the parcels of this use and clear of the others.
    fn build(&mut self, wanted: Use, ring: Vec<Xy>, height_m: Option<f64>, name: &str, clear_m: f64) -> bool {
        let fits = (0..self.uses.len()).any(|i| {
            self.uses[i] == wanted
                && ring.iter().all(|&p| path::inside(p, &self.outlines[i]) && ring_distance(p, &self.outlines[i]) > 2.0)
        });
        let at = middle(&ring);
        let clear = self.hazards.iter().all(|h| match &h.shape {
            HazardShape::Area { outer, .. } => middle(outer).distance(at) > clear_m,
            _ => true,
        });
        if fits && clear {
            self.hazards.push(area(HazardKind::Building, ring, Vec::new(), height_m, name));
        }
        fits && clear
    }

    fn village_and_farms(&mut self) {
        let mut dice = Dice::new(self.seed, 400);
        let lanes: Vec<Vec<Xy>> = self.mesh.lanes.iter().filter(|(b, _)| *b == 1).map(|(_, l)| l.clone()).collect();
        let mut special =
            vec![("Chapel", 22.0, 11.0, 15.0), ("Village hall", 20.0, 12.0, 8.0), ("Old mill", 18.0, 14.0, 13.0)];
        for lane in &lanes {
            let fine = path::resample(lane, 12.0);
            for i in 0..fine.len() {
                if fine[i].distance(self.village) > 330.0 {
                    continue;
                }
                for side in [1.0, -1.0] {
                    if dice.chance(0.2) {
                        continue;
                    }
                    let normal = path::left_normal(&fine, i);
                    let along = Xy::new(normal.y, -normal.x);
                    let off = dice.within(15.0, 24.0) * side;
                    let close = fine[i].distance(self.village) < 130.0;
                    let (name, l, w, h) = match special.last() {
                        Some(&s) if close && dice.chance(0.3) => s,
                        _ => ("", dice.within(9.0, 15.0), dice.within(7.0, 10.0), dice.within(6.0, 9.5)),
                    };
                    let height = if name.is_empty() && dice.chance(0.3) { None } else { Some((h * 2.0).round() / 2.0) };
                    let at = fine[i] + normal * (off + side * w / 2.0 * 0.3);
                    let built = self.build(Use::Village, rectangle(at, along, l, w), height, name, 21.0);
                    if built && !name.is_empty() {
                        special.pop();
                    }
                }
            }
        }
        let mut farm = 0;
        for i in 0..self.uses.len() {
            if self.uses[i] != Use::Yard {
                continue;
            }
            let block = self.mesh.parcels[i].block;
            let stables = farm == 1;
            let name = names::FARMS[farm % names::FARMS.len()];
            farm += 1;
            let u = Bearing::from_deg(BLOCKS[block].axis_deg + dice.within(-10.0, 10.0)).unit();
            let v = Xy::new(-u.y, u.x);
            let m = middle(&self.outlines[i]);
            for (dx, dy, l, w, h) in [
                (-20.0, -16.0, 15.0, 9.0, 8.0),
                (14.0, -15.0, 30.0, 14.0, 9.0),
                (-16.0, 14.0, 24.0, 11.0, 6.0),
                (22.0, 15.0, 18.0, 10.0, 7.0),
            ] {
                let at = m + u * dx + v * dy;
                self.build(Use::Yard, rectangle(at, u, l, w), Some(h), name, 14.0);
            }
            if stables {
                let outer = blob(m, 190.0, 10, &mut dice);
                self.quiet_zones.push(QuietZone { name: format!("{name} (horses)"), outer, below_agl_m: 150.0 });
            }
        }
        let outer = blob(self.village, 330.0, 14, &mut dice);
        self.quiet_zones
            .insert(0, QuietZone { name: format!("{} (village)", names::VILLAGE), outer, below_agl_m: 150.0 });
    }

    fn copses(&mut self) {
        let mut dice = Dice::new(self.seed, 450);
        for i in 0..self.uses.len() {
            if self.uses[i] == Use::Copse {
                let height = Some(dice.within(12.0, 20.0).round());
                self.hazards.push(area(HazardKind::Wood, self.outlines[i].clone(), Vec::new(), height, "Copse"));
            }
        }
    }

    /// What stands on a side of the mesh; the same whichever neighbour asks.
    fn side(&self, parcel: &Parcel, side: (usize, usize), beside_copse: bool, home: bool) -> BoundaryEdge {
        let number = self.mesh.side_of.get(&undirected(side)).copied().unwrap_or(0);
        let mut dice = Dice::new(self.seed ^ mix(number as u64), 500);
        let plateau = parcel.block == 4;
        let throw = dice.unit();
        let measured = !dice.chance(0.14);
        let spread = dice.unit();
        if home {
            // The two short ends stand open, the long sides are fenced.
            let d = self.mesh.corners[side.1] - self.mesh.corners[side.0];
            let u = Bearing::from_deg(BLOCKS[0].axis_deg).unit();
            let along = d.dot(u).abs() > 0.8 * d.norm();
            return if along {
                BoundaryEdge { kind: EdgeKind::Fence, height_m: Some(1.2) }
            } else {
                BoundaryEdge { kind: EdgeKind::Nothing, height_m: Some(0.0) }
            };
        }
        let hedge_share = if plateau { 0.22 } else { 0.6 };
        let wall_share = if plateau { 0.5 } else { 0.04 };
        let (kind, height) = if beside_copse {
            (EdgeKind::TreeLine, 11.0 + 7.0 * spread)
        } else if throw < hedge_share {
            (EdgeKind::Hedge, 1.5 + 1.5 * spread)
        } else if throw < hedge_share + wall_share {
            (EdgeKind::Wall, 1.1)
        } else if throw < hedge_share + wall_share + 0.15 {
            (EdgeKind::Fence, 1.2)
        } else if throw < hedge_share + wall_share + 0.27 {
            (EdgeKind::TreeLine, 8.0 + 10.0 * spread)
        } else if throw < hedge_share + wall_share + 0.31 {
            (EdgeKind::Nothing, 0.0)
        } else {
            (EdgeKind::Unknown, f64::NAN)
        };
        let known = height.is_finite() && (measured || kind == EdgeKind::Nothing);
        BoundaryEdge { kind, height_m: known.then(|| (height * 10.0).round() / 10.0) }
    }

    fn fields(&self) -> Vec<Field> {
        let mut chosen: Vec<usize> = (0..self.uses.len()).filter(|&i| self.uses[i] == Use::Field).collect();
        let home_first = |i: usize| !self.mesh.parcels[i].home;
        chosen.sort_by(|&a, &b| {
            let key = |i: usize| (home_first(i), self.mesh.parcels[i].block);
            key(a).cmp(&key(b)).then(middle(&self.outlines[b]).y.total_cmp(&middle(&self.outlines[a]).y))
        });
        let copse_sides: std::collections::BTreeSet<(usize, usize)> = (0..self.uses.len())
            .filter(|&i| self.uses[i] == Use::Copse)
            .flat_map(|i| self.mesh.sides(&self.mesh.parcels[i]))
            .map(undirected)
            .collect();
        let home_sides: std::collections::BTreeSet<(usize, usize)> =
            self.mesh.parcels.iter().filter(|p| p.home).flat_map(|p| self.mesh.sides(p)).map(undirected).collect();
        let all_names = names::fields(self.seed, chosen.len());
        let mut dice = Dice::new(self.seed, 600);
        let mut fields = Vec::new();
        for (k, &i) in chosen.iter().enumerate() {
            let parcel = &self.mesh.parcels[i];
            let outer = self.outlines[i].clone();
            let edges = self
                .mesh
                .sides(parcel)
                .map(|s| {
                    self.side(parcel, s, copse_sides.contains(&undirected(s)), home_sides.contains(&undirected(s)))
                })
                .collect();
            let at = middle(&outer);
            let low = path::distance(at, &self.relief.river) < 800.0;
            let surface = surface(&mut dice, low);
            let stock = stock(&mut dice, surface);
            let surveyed = survey(&mut dice);
            let notes = if dice.chance(0.22) { names::NOTES[dice.below(names::NOTES.len())] } else { "" };
            let nameless = dice.chance(0.07);
            let name = if nameless { String::new() } else { all_names[k].clone() };
            let id = format!("F{:03}", k + 1);
            let mut field = Field {
                id,
                name,
                outer,
                holes: Vec::new(),
                edges,
                surface,
                stock,
                surveyed,
                notes: notes.to_owned(),
                other: Vec::new(),
            };
            if parcel.home {
                field.name = names::HOME.to_owned();
                field.surface = Surface::GrazedGrass;
                field.stock = Stock::None;
                field.surveyed = Some(Day { days_since_epoch: TODAY - 6 });
                field.notes = "Home strip, mown along the middle".to_owned();
            }
            if self.slopes[i] > FIELD_SLOPE_PERCENT {
                "Much steeper than it looks from above".clone_into(&mut field.notes);
            }
            fields.push(field);
        }
        fields
    }

    /// The field with a pond, the one with a lone tree, the one beside the village, and trees in hedges.
    fn single_features(&mut self, fields: &mut [Field]) {
        let mut dice = Dice::new(self.seed, 650);
        let home = Xy::new(BLOCKS[0].centre.0, BLOCKS[0].centre.1);
        let room = |f: &Field| ring_distance(f.centroid(), &f.outer);
        let inside = |f: &Field| path::inside(f.centroid(), &f.outer);
        // The roomiest field away from the strip gets the pond; a roomy one near it gets the tree.
        let pond = (1..fields.len())
            .filter(|&i| {
                inside(&fields[i])
                    && fields[i].centroid().distance(home) > 900.0
                    && fields[i].centroid().distance(home) < 2_600.0
            })
            .max_by(|&a, &b| room(&fields[a]).total_cmp(&room(&fields[b])));
        if let Some(i) = pond {
            let ring = blob(fields[i].centroid(), 24.0, 10, &mut dice);
            self.hazards.push(area(HazardKind::Water, ring.clone(), Vec::new(), Some(0.0), "Field pond"));
            fields[i].holes = vec![ring.into_iter().rev().collect()];
            fields[i].notes = "Pond in the middle".to_owned();
        }
        let tree = (1..fields.len())
            .filter(|&i| Some(i) != pond && inside(&fields[i]) && fields[i].centroid().distance(home) < 900.0)
            .max_by(|&a, &b| room(&fields[a]).total_cmp(&room(&fields[b])));
        if let Some(i) = tree {
            let at = fields[i].centroid() + Xy::new(6.0, -9.0);
            self.hazards.push(point(HazardKind::LoneTree, at, Some(17.0), "Tree in the middle of a field"));
            fields[i].notes = "One large tree in the middle".to_owned();
        }
        let village = self.village;
        let beside = (1..fields.len()).min_by(|&a, &b| {
            ring_distance(village, &fields[a].outer).total_cmp(&ring_distance(village, &fields[b].outer))
        });
        if let Some(i) = beside {
            fields[i].notes = "Houses along one side".to_owned();
        }
        let mut trees = Vec::new();
        for f in fields.iter().skip(1) {
            for (k, e) in f.edges.iter().enumerate() {
                let hedge = e.kind == EdgeKind::Hedge && f.outer[k].distance(home) > 420.0;
                if hedge && dice.chance(0.03) && trees.iter().all(|t: &Xy| t.distance(f.outer[k]) > 150.0) {
                    trees.push(f.outer[k]);
                }
            }
        }
        for at in trees {
            let height = if dice.chance(0.3) { None } else { Some(dice.within(11.0, 20.0).round()) };
            self.hazards.push(point(HazardKind::LoneTree, at, height, "Hedgerow tree"));
        }
    }

    /// The tall line across the valley, and the pole line along the lane and over to the village. Returns the poles.
    fn wire_lines(&mut self, fields: &mut [Field], roads: &[Vec<Xy>]) -> Vec<Xy> {
        let corners: Vec<Xy> = [
            (0.0, 13_350.0),
            (4_700.0, 12_500.0),
            (7_500.0, 12_600.0),
            (10_050.0, 9_900.0),
            (14_300.0, 9_450.0),
            (17_900.0, 8_250.0),
            (20_000.0, 7_500.0),
        ]
        .iter()
        .map(|&(x, y)| Xy::new(x, y))
        .collect();
        let mut line = Vec::new();
        for w in corners.windows(2) {
            let spans = (w[0].distance(w[1]) / 330.0).round().max(1.0);
            line.extend((0..spans as usize).map(|k| w[0] + (w[1] - w[0]) * (k as f64 / spans)));
        }
        line.extend(corners.last());
        self.hazards.push(wires(line, 38.0, "Tall line on lattice towers, one vertex for each tower"));

        let lane = self.mesh.lanes.iter().find(|(b, _)| *b == 0).map(|(_, l)| l.clone()).unwrap_or_default();
        let beside = |line: &[Xy], off_m: f64| -> Vec<Xy> {
            (0..line.len()).map(|i| line[i] + path::left_normal(line, i) * off_m).collect()
        };
        let along_lane = path::resample(&beside(&lane, -3.2), 62.0);
        // From the lane's west end along the road to the village, where there is one.
        let mut poles = along_lane.clone();
        let west = lane.first().copied().unwrap_or_default();
        if let Some(road) = roads.iter().find(|r| r.iter().any(|p| p.distance(west) < 60.0)) {
            let mut road = road.clone();
            if road.first().is_some_and(|p| p.distance(west) > 200.0) {
                road.reverse();
            }
            let mut whole: Vec<Xy> = path::resample(&beside(&road, 6.0), 62.0);
            whole.reverse();
            whole.extend(along_lane);
            poles = whole;
        }
        self.hazards.push(wires(poles.clone(), 8.5, "Line on wooden poles along the lane, one vertex for each pole"));

        // A spur from the lane right across one field.
        let crossed = (1..fields.len())
            .filter(|&i| {
                let f = &fields[i];
                let a = f.area_m2();
                f.holes.is_empty()
                    && f.notes.is_empty()
                    && path::inside(f.centroid(), &f.outer)
                    && a > 5e4
                    && f.outer.iter().any(|&p| path::distance(p, &lane) < 9.0)
            })
            .max_by(|&a, &b| fields[a].area_m2().total_cmp(&fields[b].area_m2()));
        if let Some(i) = crossed {
            let m = fields[i].centroid();
            let start = poles.iter().copied().min_by(|a, b| a.distance(m).total_cmp(&b.distance(m))).unwrap_or(m);
            let way = (m - start) * (1.0 / m.distance(start).max(1.0));
            let mut reach_m = m.distance(start);
            while path::inside(start + way * reach_m, &fields[i].outer) {
                reach_m += 2.0;
            }
            let end = start + way * (reach_m - 4.0);
            let spans = (start.distance(end) / 62.0).round().max(1.0);
            let line = (0..=spans as usize).map(|k| start + (end - start) * (k as f64 / spans)).collect();
            self.hazards.push(wires(line, 8.0, "Spur on wooden poles across a field"));
            fields[i].notes = "Wires right across it, hard to see from above".to_owned();
            fields[i].surface = Surface::Stubble;
        }
        poles
    }

    /// Some sides along the pole line are known to carry its wires.
    fn wires_on_sides(&self, fields: &mut [Field], poles: &[Xy]) {
        for f in fields.iter_mut().skip(1) {
            let n = f.outer.len();
            for k in 0..n {
                let (a, b) = (f.outer[k], f.outer[(k + 1) % n]);
                let near = [a, (a + b) * 0.5, b].iter().all(|&p| path::distance(p, poles) < 4.0);
                if near && a.distance(b) > 30.0 {
                    f.edges[k] = BoundaryEdge { kind: EdgeKind::Wires, height_m: Some(8.5) };
                }
            }
        }
    }

    fn river_inside(&self, spacing_m: f64) -> Vec<Xy> {
        let inside: Vec<Xy> = self.relief.river.iter().copied().filter(|p| p.y > 1.0 && p.y < SIDE_M - 1.0).collect();
        path::resample(&inside, spacing_m)
    }

    fn water(&mut self) {
        let line = self.river_inside(40.0);
        let mut ring: Vec<Xy> = Vec::new();
        for side in [-1.0, 1.0] {
            let mut bank: Vec<Xy> =
                (0..line.len()).map(|i| line[i] + path::left_normal(&line, i) * (side * 11.0)).collect();
            if side > 0.0 {
                bank.reverse();
            }
            ring.extend(bank);
        }
        if ring_area(&ring) < 0.0 {
            ring.reverse();
        }
        self.hazards.push(area(HazardKind::Water, ring, Vec::new(), Some(0.0), names::RIVER));
    }

    /// Masts on three high places.
    fn masts(&mut self) {
        for (x, y, half, height, name) in [
            (4_000.0, 10_500.0, 1_500.0, Some(55.0), "Relay mast"),
            (16_600.0, 6_300.0, 500.0, Some(42.0), "Plateau mast"),
            (12_900.0, 13_400.0, 500.0, None, "Mast above the strip"),
        ] {
            let mut best = (f64::NEG_INFINITY, Xy::new(x, y));
            let steps = (half / CELL_M) as i32;
            for i in -steps..=steps {
                for j in -steps..=steps {
                    let p = Xy::new(x + f64::from(i) * CELL_M, y + f64::from(j) * CELL_M);
                    let h = self.relief.terrain.height_at(p).unwrap_or(f64::NEG_INFINITY);
                    let free = self.outlines.iter().all(|o| !path::inside(p, o));
                    if free && h > best.0 {
                        best = (h, p);
                    }
                }
            }
            self.hazards.push(point(HazardKind::Mast, best.1, height, name));
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

fn surface(dice: &mut Dice, low: bool) -> Surface {
    let throw = dice.unit();
    let wet = dice.chance(0.45);
    if low && wet {
        return if throw < 0.75 { Surface::SoftOrWet } else { Surface::LongGrass };
    }
    let shares = [
        (0.42, Surface::GrazedGrass),
        (0.57, Surface::Stubble),
        (0.68, Surface::ShortCrop),
        (0.75, Surface::TallCrop),
        (0.85, Surface::Ploughed),
        (0.92, Surface::LongGrass),
    ];
    shares.iter().find(|(limit, _)| throw < *limit).map_or(Surface::Unknown, |(_, s)| *s)
}

fn stock(dice: &mut Dice, surface: Surface) -> Stock {
    let throw = dice.unit();
    let (present, none) = match surface {
        Surface::GrazedGrass => (0.32, 0.72),
        Surface::LongGrass | Surface::SoftOrWet => (0.15, 0.5),
        Surface::Unknown => (0.05, 0.15),
        _ => (0.0, 0.65),
    };
    if throw < present {
        Stock::Present
    } else if throw < none {
        Stock::None
    } else {
        Stock::Unknown
    }
}

fn survey(dice: &mut Dice) -> Option<Day> {
    let throw = dice.unit();
    let share = dice.unit();
    let (from, to) = if throw < 0.12 {
        return None;
    } else if throw < 0.8 {
        (TODAY - 320, TODAY - 3)
    } else if throw < 0.92 {
        (TODAY - 690, TODAY - 330)
    } else {
        (TODAY - 1_080, TODAY - 700)
    };
    Some(Day { days_since_epoch: from + (f64::from(to - from) * share) as i32 })
}
