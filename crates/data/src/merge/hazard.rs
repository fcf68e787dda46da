//! In what two versions of a hazard differ, and which hazard is which.

use super::plan::{Context, Mergeable};
use super::{Attribute, Kind, Take};
use sparefield_geometry::fields::hazards::distance_to_m;
use sparefield_geometry::fields::model::{Hazard, HazardShape};
use sparefield_geometry::fields::strip::bounds;
use sparefield_geometry::position::Xy;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Two hazards of a kind whose every corner lies within this of the other, metres, are one: a tree is drawn with an
/// error of some metres. Common practice, no source.
const SAME_HAZARD_M: f64 = 15.0;
/// Two hazards of a kind with one identifier are one within this, metres.
const SAME_ID_M: f64 = 60.0;

impl Mergeable for Hazard {
    const KIND: Kind = Kind::Hazard;

    fn pairs(first: &[Arc<Self>], second: &[Arc<Self>], to_ancestor: bool) -> BTreeMap<usize, usize> {
        let near: Vec<Option<(Xy, Xy)>> = second.iter().map(|h| bounds(corners(&h.shape))).collect();
        super::pairing::pairs(
            first,
            second,
            |a, b| to_ancestor || (a.kind == b.kind && apart_m(&a.shape, &b.shape) <= SAME_ID_M),
            |a| {
                let Some(own) = bounds(corners(&a.shape)) else { return Vec::new() };
                let candidates = second.iter().enumerate().filter(|(_, b)| b.kind == a.kind);
                let candidates =
                    candidates.filter(|(j, _)| near[*j].is_some_and(|other| meet(own, other, SAME_HAZARD_M)));
                let apart = candidates.map(|(j, b)| (j, apart_m(&a.shape, &b.shape)));
                apart.filter(|(_, d)| *d <= SAME_HAZARD_M).map(|(j, d)| (j, -d)).collect()
            },
        )
    }

    fn label(&self) -> String {
        if self.name.is_empty() { format!("{} {}", self.kind.words(), self.id) } else { self.name.clone() }
    }

    fn place(&self) -> Option<Xy> {
        Some(bounds(corners(&self.shape)).map_or(Xy::default(), |(low, high)| (low + high) * 0.5))
    }

    fn attributes(mine: &Self, theirs: &Self, _context: Context) -> Vec<Attribute> {
        let mut all = vec![Attribute::Name, Attribute::Kind, Attribute::Shape, Attribute::Height, Attribute::Poles];
        all.extend(super::plan::columns(&mine.other, &theirs.other).map(Attribute::Column));
        all
    }

    fn same(a: &Self, b: &Self, attribute: &Attribute, _mine: &Self, context: Context) -> bool {
        match attribute {
            Attribute::Name => a.name == b.name,
            Attribute::Kind => a.kind == b.kind,
            Attribute::Shape => same_shape(&a.shape, &b.shape, context.tolerance_m),
            Attribute::Height => a.height_m == b.height_m,
            Attribute::Poles => a.pole_heights_m == b.pole_heights_m,
            Attribute::Column(name) => super::plan::column(&a.other, name) == super::plan::column(&b.other, name),
            _ => true,
        }
    }

    fn words(&self, attribute: &Attribute, mine: &Self, context: Context) -> String {
        let height = |h: Option<f64>| h.map_or_else(|| "not measured".to_owned(), |h| context.units.format_height(h));
        match attribute {
            Attribute::Whole => format!("{}, {}", self.kind.words(), height(self.height_m)),
            Attribute::Name if self.name.is_empty() => "nothing".to_owned(),
            Attribute::Name => self.name.clone(),
            Attribute::Kind => self.kind.words().to_owned(),
            Attribute::Shape => {
                let what = match &self.shape {
                    HazardShape::Point(_) => "one place".to_owned(),
                    HazardShape::Line(line) => format!("a line of {} places", line.len()),
                    HazardShape::Area { outer, .. } => format!("an area of {} corners", outer.len()),
                };
                let apart = apart_m(&self.shape, &mine.shape);
                if apart > 0.0 && apart.is_finite() { format!("{what}, {apart:.0} m from mine at most") } else { what }
            }
            Attribute::Height => height(self.height_m),
            Attribute::Poles if self.pole_heights_m.is_empty() => "as the line".to_owned(),
            Attribute::Poles => self.pole_heights_m.iter().map(|h| height(*h)).collect::<Vec<_>>().join(", "),
            Attribute::Column(name) => super::plan::column(&self.other, name).unwrap_or("nothing").to_owned(),
            _ => String::new(),
        }
    }

    fn theirs_is_better(mine: &Self, theirs: &Self, attribute: &Attribute, _: Context) -> Option<&'static str> {
        let fills = match attribute {
            Attribute::Name => mine.name.is_empty(),
            Attribute::Height => mine.height_m.is_none(),
            Attribute::Poles => mine.pole_heights_m.is_empty() && same_places(mine, theirs),
            Attribute::Column(name) => super::plan::column(&mine.other, name).is_none(),
            _ => false,
        };
        fills.then_some("only they know it")
    }

    fn merged(mine: &Self, theirs: &Self, take: &dyn Fn(&Attribute) -> Take, _: Context) -> Self {
        let from = |attribute: &Attribute| if take(attribute) == Take::Theirs { theirs } else { mine };
        let mut merged = Self {
            id: mine.id.clone(),
            kind: from(&Attribute::Kind).kind,
            shape: from(&Attribute::Shape).shape.clone(),
            height_m: from(&Attribute::Height).height_m,
            pole_heights_m: from(&Attribute::Poles).pole_heights_m.clone(),
            name: from(&Attribute::Name).name.clone(),
            other: super::plan::merged_columns(&mine.other, &theirs.other, take),
        };
        // Heights of poles belong to their places: with another line they would stand at the wrong ones.
        let places = if let HazardShape::Line(line) = &merged.shape { line.len() } else { 0 };
        if merged.pole_heights_m.len() != places {
            merged.pole_heights_m.clone_from(&from(&Attribute::Shape).pole_heights_m);
        }
        merged
    }

    fn with_id(self, id: String) -> Self {
        Self { id, ..self }
    }
}

fn same_places(a: &Hazard, b: &Hazard) -> bool {
    corners(&a.shape).len() == corners(&b.shape).len()
}

/// The place, the line, or the outer ring.
pub(super) fn corners(shape: &HazardShape) -> &[Xy] {
    match shape {
        HazardShape::Point(at) => std::slice::from_ref(at),
        HazardShape::Line(points) | HazardShape::Area { outer: points, .. } => points,
    }
}

fn meet((low, high): (Xy, Xy), (l, h): (Xy, Xy), room_m: f64) -> bool {
    low.x - room_m <= h.x && l.x - room_m <= high.x && low.y - room_m <= h.y && l.y - room_m <= high.y
}

/// How far the farthest corner of either shape lies from the other, metres.
pub(super) fn apart_m(a: &HazardShape, b: &HazardShape) -> f64 {
    let from = |a: &HazardShape, b: &HazardShape| {
        corners(a)
            .iter()
            .map(|p| distance_to_m(b, *p))
            .fold(0.0, |far: f64, d| if d.is_nan() { f64::INFINITY } else { far.max(d) })
    };
    from(a, b).max(from(b, a))
}

pub(super) fn same_shape(a: &HazardShape, b: &HazardShape, tolerance_m: f64) -> bool {
    let same = |p: &[Xy], q: &[Xy]| p.len() == q.len() && p.iter().zip(q).all(|(p, q)| p.distance(*q) <= tolerance_m);
    match (a, b) {
        (HazardShape::Point(p), HazardShape::Point(q)) => p.distance(*q) <= tolerance_m,
        (HazardShape::Line(p), HazardShape::Line(q)) => same(p, q),
        (HazardShape::Area { outer, holes }, HazardShape::Area { outer: o, holes: h }) => {
            same(outer, o) && holes.len() == h.len() && holes.iter().zip(h).all(|(p, q)| same(p, q))
        }
        _ => false,
    }
}
