//! Where things are by identifier.

use super::Identified;
use std::collections::HashMap;
use std::sync::Arc;

/// From this many look-ups on, an index of identifiers costs less than looking through all things for each.
pub(super) const MANY: usize = 16;

/// Finds things by identifier: looks through them for a few look-ups, and through an index for many.
#[derive(Debug)]
pub struct Places<'a, T> {
    all: &'a [Arc<T>],
    index: Option<HashMap<&'a str, usize>>,
}

impl<'a, T: Identified> Places<'a, T> {
    /// Places of these things, for about so many look-ups.
    #[must_use]
    pub fn new(all: &'a [Arc<T>], lookups: usize) -> Self {
        let index = (lookups >= MANY).then(|| {
            // Backwards, so that of several with one identifier the first is found, as without an index.
            all.iter().enumerate().rev().map(|(i, thing)| (thing.id(), i)).collect()
        });
        Self { all, index }
    }

    /// The thing with an identifier and its index; `None` where there is none.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<(usize, &'a Arc<T>)> {
        let at = match &self.index {
            Some(index) => index.get(id).copied(),
            None => self.all.iter().position(|thing| thing.id() == id),
        }?;
        Some((at, &self.all[at]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_geometry::fields::model::Field;

    #[test]
    fn an_index_finds_what_looking_through_all_finds() {
        let ids = ["b", "a", "", "b", "c"];
        let fields: Vec<Arc<Field>> =
            ids.iter().map(|id| Arc::new(Field { id: (*id).to_owned(), ..Field::default() })).collect();
        let (few, many) = (Places::new(&fields, 1), Places::new(&fields, MANY));
        for (id, place) in [("a", Some(1)), ("b", Some(0)), ("c", Some(4)), ("", Some(2)), ("d", None)] {
            assert_eq!(few.find(id).map(|(i, _)| i), place, "{id}");
            assert_eq!(many.find(id).map(|(i, _)| i), place, "{id}");
        }
    }
}
