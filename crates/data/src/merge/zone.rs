//! In what two versions of a quiet zone differ, and which zone is which.

use super::hazard::{apart_m, same_shape};
use super::plan::{Context, Mergeable};
use super::{Attribute, Kind, Take};
use sparefield_geometry::fields::model::{HazardShape, QuietZone};
use sparefield_geometry::fields::strip::bounds;
use sparefield_geometry::position::Xy;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Two zones whose every corner lies within this of the other, metres, are one. Common practice, no source.
const SAME_ZONE_M: f64 = 30.0;
/// Two zones with one identifier are one within this, metres.
const SAME_ID_M: f64 = 200.0;

fn shape(zone: &QuietZone) -> HazardShape {
    HazardShape::Area { outer: zone.outer.clone(), holes: Vec::new() }
}

impl Mergeable for QuietZone {
    const KIND: Kind = Kind::QuietZone;

    fn pairs(first: &[Arc<Self>], second: &[Arc<Self>], to_ancestor: bool) -> BTreeMap<usize, usize> {
        super::pairing::pairs(
            first,
            second,
            |a, b| to_ancestor || apart_m(&shape(a), &shape(b)) <= SAME_ID_M,
            |a| {
                let apart = second.iter().enumerate().map(|(j, b)| (j, apart_m(&shape(a), &shape(b))));
                apart.filter(|(_, d)| *d <= SAME_ZONE_M).map(|(j, d)| (j, -d)).collect()
            },
        )
    }

    fn label(&self) -> String {
        if self.name.is_empty() { format!("quiet zone {}", self.id) } else { self.name.clone() }
    }

    fn place(&self) -> Option<Xy> {
        Some(bounds(&self.outer).map_or(Xy::default(), |(low, high)| (low + high) * 0.5))
    }

    fn attributes(_: &Self, _: &Self, _: Context) -> Vec<Attribute> {
        vec![Attribute::Name, Attribute::Kind, Attribute::Shape, Attribute::Height]
    }

    fn same(a: &Self, b: &Self, attribute: &Attribute, _: &Self, context: Context) -> bool {
        match attribute {
            Attribute::Name => a.name == b.name,
            Attribute::Kind => a.kind == b.kind,
            Attribute::Shape => same_shape(&shape(a), &shape(b), context.tolerance_m),
            Attribute::Height => a.below_agl_m.total_cmp(&b.below_agl_m).is_eq(),
            _ => true,
        }
    }

    fn words(&self, attribute: &Attribute, mine: &Self, context: Context) -> String {
        let height = format!("not below {}", context.units.format_height(self.below_agl_m));
        match attribute {
            Attribute::Whole => format!("for {}, {height}", self.kind.words()),
            Attribute::Name if self.name.is_empty() => "nothing".to_owned(),
            Attribute::Name => self.name.clone(),
            Attribute::Kind => format!("for {}", self.kind.words()),
            Attribute::Height => height,
            Attribute::Shape => {
                let what = format!("an area of {} corners", self.outer.len());
                let apart = apart_m(&shape(self), &shape(mine));
                if apart > 0.0 && apart.is_finite() { format!("{what}, {apart:.0} m from mine at most") } else { what }
            }
            _ => String::new(),
        }
    }

    fn theirs_is_better(mine: &Self, _: &Self, attribute: &Attribute, _: Context) -> Option<&'static str> {
        let fills = *attribute == Attribute::Name && mine.name.is_empty();
        fills.then_some("only they know it")
    }

    fn merged(mine: &Self, theirs: &Self, take: &dyn Fn(&Attribute) -> Take, _: Context) -> Self {
        let from = |attribute: &Attribute| if take(attribute) == Take::Theirs { theirs } else { mine };
        Self {
            id: mine.id.clone(),
            kind: from(&Attribute::Kind).kind,
            name: from(&Attribute::Name).name.clone(),
            outer: from(&Attribute::Shape).outer.clone(),
            below_agl_m: from(&Attribute::Height).below_agl_m,
        }
    }

    fn with_id(self, id: String) -> Self {
        Self { id, ..self }
    }
}
