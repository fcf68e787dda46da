//! What stands in the way: the village, farms, copses, single trees, wires, water and masts.

use crate::features::{Builder, Use, middle, ring_distance};
use crate::names;
use crate::noise::Dice;
use crate::parcels::BLOCKS;
use crate::path;
use crate::{CELL_M, SIDE_M};
use sparefield_geometry::fields::model::{
    BoundaryEdge, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietKind, QuietZone, Surface, ring_area,
};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};

/// Radius of the crown of a lone tree, metres.
pub(crate) const CROWN_M: f64 = 5.0;

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

/// A hazard that covers ground.
pub(crate) fn area(kind: HazardKind, outer: Vec<Xy>, holes: Vec<Vec<Xy>>, height_m: Option<f64>, name: &str) -> Hazard {
    let shape = HazardShape::Area { outer, holes };
    Hazard {
        id: String::new(),
        kind,
        shape,
        height_m,
        pole_heights_m: Vec::new(),
        name: name.to_owned(),
        other: Vec::new(),
    }
}

/// A hazard at a point.
fn point(kind: HazardKind, at: Xy, height_m: Option<f64>, name: &str) -> Hazard {
    let shape = HazardShape::Point(at);
    Hazard {
        id: String::new(),
        kind,
        shape,
        height_m,
        pole_heights_m: Vec::new(),
        name: name.to_owned(),
        other: Vec::new(),
    }
}

/// A hazard along a line.
fn wires(line: Vec<Xy>, height_m: f64, name: &str) -> Hazard {
    let shape = HazardShape::Line(line);
    Hazard {
        id: String::new(),
        kind: HazardKind::Wires,
        shape,
        height_m: Some(height_m),
        pole_heights_m: Vec::new(),
        name: name.to_owned(),
        other: Vec::new(),
    }
}

impl Builder {
    /// Adds a building when it stands inside one of the parcels of this use and clear of the others.
    pub(crate) fn build(
        &mut self,
        wanted: Use,
        ring: Vec<Xy>,
        height_m: Option<f64>,
        name: &str,
        clear_m: f64,
    ) -> bool {
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

    pub(crate) fn village_and_farms(&mut self) {
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
                self.quiet_zones.push(QuietZone {
                    id: String::new(),
                    kind: QuietKind::Stock,
                    name: format!("{name} (horses)"),
                    outer,
                    below_agl_m: 150.0,
                });
            }
        }
        let outer = blob(self.village, 330.0, 14, &mut dice);
        self.quiet_zones.insert(
            0,
            QuietZone {
                id: String::new(),
                kind: QuietKind::Houses,
                name: format!("{} (village)", names::VILLAGE),
                outer,
                below_agl_m: 150.0,
            },
        );
    }

    pub(crate) fn copses(&mut self) {
        let mut dice = Dice::new(self.seed, 450);
        for i in 0..self.uses.len() {
            if self.uses[i] == Use::Copse {
                let height = Some(dice.within(12.0, 20.0).round());
                self.hazards.push(area(HazardKind::Wood, self.outlines[i].clone(), Vec::new(), height, "Copse"));
            }
        }
    }

    /// The field with a pond, the one with a lone tree, the one beside the village, and trees in hedges.
    pub(crate) fn single_features(&mut self, fields: &mut [Field]) {
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
            "Pond in the middle".clone_into(&mut fields[i].notes);
        }
        let tree = (1..fields.len())
            .filter(|&i| Some(i) != pond && inside(&fields[i]) && fields[i].centroid().distance(home) < 900.0)
            .max_by(|&a, &b| room(&fields[a]).total_cmp(&room(&fields[b])));
        if let Some(i) = tree {
            let at = fields[i].centroid() + Xy::new(6.0, -9.0);
            self.hazards.push(point(HazardKind::LoneTree, at, Some(17.0), "Tree in the middle of a field"));
            "One large tree in the middle".clone_into(&mut fields[i].notes);
        }
        let village = self.village;
        let beside = (1..fields.len()).min_by(|&a, &b| {
            ring_distance(village, &fields[a].outer).total_cmp(&ring_distance(village, &fields[b].outer))
        });
        if let Some(i) = beside {
            "Houses along one side".clone_into(&mut fields[i].notes);
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
    pub(crate) fn wire_lines(&mut self, fields: &mut [Field], roads: &[Vec<Xy>]) -> Vec<Xy> {
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
            "Wires right across it, hard to see from above".clone_into(&mut fields[i].notes);
            fields[i].surface = Surface::Stubble;
        }
        poles
    }

    /// Some sides along the pole line are known to carry its wires.
    pub(crate) fn wires_on_sides(fields: &mut [Field], poles: &[Xy]) {
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

    pub(crate) fn river_inside(&self, spacing_m: f64) -> Vec<Xy> {
        let inside: Vec<Xy> = self.relief.river.iter().copied().filter(|p| p.y > 1.0 && p.y < SIDE_M - 1.0).collect();
        path::resample(&inside, spacing_m)
    }

    pub(crate) fn water(&mut self) {
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
    pub(crate) fn masts(&mut self) {
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
}
