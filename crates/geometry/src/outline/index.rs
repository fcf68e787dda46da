//! Fields and lines found by place.

use super::place::is_place;
use crate::fields::model::Field;
use crate::fields::strip::bounds;
use crate::position::Xy;
use core::borrow::Borrow;
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

/// What a corner or a side belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Owner {
    /// A field, by its index.
    Field(usize),
    /// A line, such as a hazard's wires, by its index.
    Line(usize),
}

type Boxed = GeomWithData<Rectangle<[f64; 2]>, Owner>;

/// Fields and lines with an index over their extents.
///
/// `F` is a field or a pointer to one (`Arc<Field>`); the index keeps its own copies. A field or line with a coordinate
/// that is no place is kept under its index and never found.
#[derive(Clone, Debug)]
pub struct OutlineIndex<F> {
    fields: Vec<F>,
    lines: Vec<Vec<Xy>>,
    tree: RTree<Boxed>,
}

impl<F> Default for OutlineIndex<F> {
    fn default() -> Self {
        Self { fields: Vec::new(), lines: Vec::new(), tree: RTree::new() }
    }
}

impl<F: Borrow<Field>> OutlineIndex<F> {
    /// Builds the index.
    #[must_use]
    pub fn new(fields: Vec<F>, lines: Vec<Vec<Xy>>) -> Self {
        let boxes = fields
            .iter()
            .enumerate()
            .map(|(i, f)| (Owner::Field(i), f.borrow().outer.as_slice()))
            .chain(lines.iter().enumerate().map(|(i, line)| (Owner::Line(i), line.as_slice())))
            .filter_map(|(owner, points)| boxed(owner, points))
            .collect();
        Self { tree: RTree::bulk_load(boxes), fields, lines }
    }
    /// The fields, in the caller's order.
    #[must_use]
    pub fn fields(&self) -> &[F] {
        &self.fields
    }
    /// One field.
    #[must_use]
    pub fn field(&self, index: usize) -> Option<&Field> {
        self.fields.get(index).map(Borrow::borrow)
    }
    /// The lines, in the caller's order.
    #[must_use]
    pub fn lines(&self) -> &[Vec<Xy>] {
        &self.lines
    }
    /// Puts another field in the place of one, after an edit; nothing happens when there is no such index.
    pub fn replace(&mut self, index: usize, field: F) {
        let Some(old) = self.fields.get_mut(index) else { return };
        if let Some(old) = boxed(Owner::Field(index), &(*old).borrow().outer) {
            self.tree.remove(&old);
        }
        if let Some(new) = boxed(Owner::Field(index), &field.borrow().outer) {
            self.tree.insert(new);
        }
        *old = field;
    }
    /// Adds a field; it gets the last index.
    pub fn push(&mut self, field: F) {
        if let Some(new) = boxed(Owner::Field(self.fields.len()), &field.borrow().outer) {
            self.tree.insert(new);
        }
        self.fields.push(field);
    }
    /// What has an extent that meets a box, in order. A box that is not finite meets nothing.
    #[must_use]
    pub fn near(&self, low: Xy, high: Xy) -> Vec<Owner> {
        if !(is_place(low) && is_place(high)) {
            return Vec::new();
        }
        let wanted = AABB::from_corners([low.x, low.y], [high.x, high.y]);
        let mut found: Vec<Owner> = self.tree.locate_in_envelope_intersecting(&wanted).map(|b| b.data).collect();
        found.sort_unstable();
        found
    }
    /// Indices of the fields whose extent meets a box, in order.
    #[must_use]
    pub fn fields_near(&self, low: Xy, high: Xy) -> Vec<usize> {
        self.near(low, high)
            .into_iter()
            .filter_map(|owner| match owner {
                Owner::Field(i) => Some(i),
                Owner::Line(_) => None,
            })
            .collect()
    }
}

fn boxed(owner: Owner, points: &[Xy]) -> Option<Boxed> {
    if !points.iter().all(|p| is_place(*p)) {
        return None;
    }
    let (low, high) = bounds(points)?;
    Some(GeomWithData::new(Rectangle::from_corners([low.x, low.y], [high.x, high.y]), owner))
}
