//! What is under the pointer, and what lies inside a lasso or a box.

use super::index::{OutlineIndex, Owner};
use super::place::{CornerRef, SideRef, is_place, rings, side_at};
use super::side;
use super::snap::Target;
use crate::fields::model::Field;
use crate::fields::strip::{bounds, inside_ring};
use crate::position::Xy;
use core::borrow::Borrow;

/// What is under the pointer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Hit {
    /// A corner of a field.
    Corner {
        /// The field.
        field: usize,
        /// The corner.
        corner: CornerRef,
    },
    /// A side of a field.
    Side {
        /// The field.
        field: usize,
        /// The side.
        side: SideRef,
        /// How far along it, from 0 to 1.
        along: f64,
    },
    /// The inside of a hole.
    Hole {
        /// The field.
        field: usize,
        /// The hole.
        hole: usize,
    },
    /// The inside of a field.
    Field {
        /// The field.
        field: usize,
    },
}

/// How much of a field a lasso must hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hold {
    /// All of it.
    Whole,
    /// Some of it.
    Part,
}

/// Whether a point lies inside a field and in none of its holes.
#[must_use]
pub fn holds(field: &Field, p: Xy) -> bool {
    inside_ring(&field.outer, p) && !field.holes.iter().any(|h| inside_ring(h, p))
}

impl<F: Borrow<Field>> OutlineIndex<F> {
    /// Indices of the fields that hold a point, the smallest first: where fields lie on each other, the small one could
    /// not be reached otherwise.
    #[must_use]
    pub fn fields_at(&self, p: Xy) -> Vec<usize> {
        let near = self.fields_near(p, p);
        let mut found: Vec<(f64, usize)> =
            near.into_iter().filter_map(|i| self.field(i).filter(|f| holds(f, p)).map(|f| (f.area_m2(), i))).collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        found.into_iter().map(|(_, i)| i).collect()
    }

    /// What is under the pointer: a corner within the radius, else a side within it, else a field that holds the place,
    /// else a hole.
    ///
    /// With `only`, nothing but that field is looked at, as when it is being edited.
    #[must_use]
    pub fn hit(&self, p: Xy, radius_m: f64, only: Option<usize>) -> Option<Hit> {
        let wanted = |owner: Owner| match owner {
            Owner::Field(i) => only.is_none_or(|o| o == i),
            Owner::Line(_) => false,
        };
        let snap = self.snap(p, radius_m, |target| !wanted(target.owner()));
        match snap.map(|s| s.target) {
            Some(Target::Corner { owner: Owner::Field(field), corner }) => return Some(Hit::Corner { field, corner }),
            Some(Target::Side { owner: Owner::Field(field), side, along }) => {
                return Some(Hit::Side { field, side, along });
            }
            _ => {}
        }
        if let Some(field) = self.fields_at(p).into_iter().find(|i| wanted(Owner::Field(*i))) {
            return Some(Hit::Field { field });
        }
        let mut near = self.fields_near(p, p).into_iter().filter(|i| wanted(Owner::Field(*i)));
        near.find_map(|field| {
            let hole = self.field(field)?.holes.iter().position(|h| inside_ring(h, p))?;
            Some(Hit::Hole { field, hole })
        })
    }

    /// Indices of the fields inside a lasso (an open ring, drawn either way, closed by its last side), in order.
    ///
    /// Nothing for a lasso of fewer than three points or with one that is no place.
    #[must_use]
    pub fn in_lasso(&self, lasso: &[Xy], hold: Hold) -> Vec<usize> {
        if lasso.len() < 3 || !lasso.iter().all(|p| is_place(*p)) {
            return Vec::new();
        }
        let Some((low, high)) = bounds(lasso) else { return Vec::new() };
        let near = self.fields_near(low, high).into_iter();
        near.filter(|i| self.field(*i).is_some_and(|f| held(f, lasso, hold))).collect()
    }

    /// Indices of the fields inside a box given by any two opposite corners, in order.
    #[must_use]
    pub fn in_box(&self, corner: Xy, opposite: Xy, hold: Hold) -> Vec<usize> {
        let (a, b) = (corner, opposite);
        self.in_lasso(&[a, Xy::new(b.x, a.y), b, Xy::new(a.x, b.y)], hold)
    }
}

fn held(field: &Field, lasso: &[Xy], hold: Hold) -> bool {
    let meets = rings(field).any(|(_, ring)| {
        (0..ring.len())
            .map(|i| side_at(ring, i))
            .any(|(a, b)| (0..lasso.len()).map(|j| side_at(lasso, j)).any(|(c, d)| side::cross_properly(a, b, c, d)))
    });
    match hold {
        Hold::Whole => !meets && field.outer.iter().all(|p| inside_ring(lasso, *p)),
        Hold::Part => meets || field.outer.iter().any(|p| inside_ring(lasso, *p)) || holds(field, lasso[0]),
    }
}
