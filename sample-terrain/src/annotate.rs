//! What is known about each field: its name, surface, stock, survey, and what stands on its sides.

use crate::features::{Builder, FIELD_SLOPE_PERCENT, TODAY, Use, middle};
use crate::names;
use crate::noise::{Dice, mix};
use crate::parcels::{BLOCKS, Parcel, undirected};
use crate::{path, seasons};
use sparefield_geometry::fields::model::{BoundaryEdge, Day, EdgeKind, Field, Stock, Surface};
use sparefield_geometry::position::Bearing;
use std::collections::BTreeSet;

impl Builder {
    /// What stands on a side of the mesh; the same whichever neighbour asks.
    pub(crate) fn side(&self, parcel: &Parcel, side: (usize, usize), beside_copse: bool, home: bool) -> BoundaryEdge {
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

    pub(crate) fn fields(&self) -> Vec<Field> {
        let mut chosen: Vec<usize> = (0..self.uses.len()).filter(|&i| self.uses[i] == Use::Field).collect();
        let home_first = |i: usize| !self.mesh.parcels[i].home;
        chosen.sort_by(|&a, &b| {
            let key = |i: usize| (home_first(i), self.mesh.parcels[i].block);
            key(a).cmp(&key(b)).then(middle(&self.outlines[b]).y.total_cmp(&middle(&self.outlines[a]).y))
        });
        let copse_sides: BTreeSet<(usize, usize)> = (0..self.uses.len())
            .filter(|&i| self.uses[i] == Use::Copse)
            .flat_map(|i| self.mesh.sides(&self.mesh.parcels[i]))
            .map(undirected)
            .collect();
        let home_sides: BTreeSet<(usize, usize)> =
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
                ..Field::default()
            };
            if parcel.home {
                names::HOME.clone_into(&mut field.name);
                field.surface = Surface::GrazedGrass;
                field.stock = Stock::None;
                field.surveyed = Some(Day { days_since_epoch: TODAY - 6 });
                "Home strip, mown along the middle".clone_into(&mut field.notes);
            }
            if self.slopes[i] > FIELD_SLOPE_PERCENT {
                "Much steeper than it looks from above".clone_into(&mut field.notes);
            }
            fields.push(field);
        }
        let home = fields.iter().find(|f| f.name == names::HOME).map(Field::centroid).unwrap_or_default();
        for (number, field) in fields.iter_mut().enumerate() {
            seasons::add(self.seed, number, field, home);
        }
        fields
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
