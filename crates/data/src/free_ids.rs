//! Identifiers that nothing has yet.

use std::collections::{HashMap, HashSet};

/// Identifiers in use, and where the search for the next free one goes on: a file in which every record has the same
/// identifier takes no longer than any other.
#[derive(Clone, Debug, Default)]
pub(crate) struct FreeIds {
    used: HashSet<String>,
    /// For each stem, the number to try next.
    next: HashMap<String, u64>,
}

impl FreeIds {
    /// Those that are in use.
    pub(crate) fn of(used: impl IntoIterator<Item = String>) -> Self {
        Self { used: used.into_iter().collect(), next: HashMap::new() }
    }

    /// The wanted identifier where it is free and not empty, else `named` of it and the first number from two on that
    /// makes one. It is in use from then on.
    pub(crate) fn take(&mut self, wanted: &str, named: impl Fn(&str, u64) -> String) -> String {
        if !wanted.is_empty() && self.used.insert(wanted.to_owned()) {
            return wanted.to_owned();
        }
        self.numbered(wanted, named)
    }

    /// `named` of a stem and the first number from two on that makes a free identifier.
    pub(crate) fn numbered(&mut self, stem: &str, named: impl Fn(&str, u64) -> String) -> String {
        self.numbered_from(2, stem, named)
    }

    /// As [`Self::numbered`], with another first number.
    pub(crate) fn numbered_from(&mut self, first: u64, stem: &str, named: impl Fn(&str, u64) -> String) -> String {
        let number = self.next.entry(stem.to_owned()).or_insert(first);
        loop {
            let candidate = named(stem, *number);
            *number += 1;
            if self.used.insert(candidate.clone()) {
                return candidate;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dashed(stem: &str, number: u64) -> String {
        format!("{stem}-{number}")
    }

    #[test]
    fn free_identifiers_are_found_in_order_and_passed_over_where_taken() {
        let mut ids = FreeIds::of(["a".to_owned(), "a-3".to_owned()]);
        let taken: Vec<String> = ["a", "b", "a", "a-2", "b"].iter().map(|id| ids.take(id, dashed)).collect();
        assert_eq!(taken, ["a-2", "b", "a-4", "a-2-2", "b-2"]);
        assert_eq!(ids.numbered("field", dashed), "field-2");
    }

    #[test]
    fn a_hundred_thousand_of_one_name_are_named_with_as_many_attempts() {
        let mut ids = FreeIds::default();
        let attempts = std::cell::Cell::new(0_usize);
        let count = |stem: &str, number: u64| {
            attempts.set(attempts.get() + 1);
            dashed(stem, number)
        };
        let all: HashSet<String> = (0..100_000).map(|_| ids.take("0", count)).collect();
        assert_eq!((all.len(), attempts.get()), (100_000, 99_999));
    }
}
