//! Which of my things is which of theirs.

use crate::area::Identified;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// Pairs of indices into two lists. Each thing is in one pair at most.
///
/// Things with one identifier are one thing if `may_be` says so (two people draw “field-1” at different places); of the
/// others, the most alike are paired first. `likeness` gives indices into the second list for a thing of the first, with
/// how alike they are. The order of neither list matters.
pub(super) fn pairs<T: Identified>(
    first: &[Arc<T>],
    second: &[Arc<T>],
    may_be: impl Fn(&T, &T) -> bool,
    likeness: impl Fn(&T) -> Vec<(usize, f64)>,
) -> BTreeMap<usize, usize> {
    let by_id: HashMap<&str, usize> = second.iter().enumerate().rev().map(|(j, t)| (t.id(), j)).collect();
    let mut paired: BTreeMap<usize, usize> = BTreeMap::new();
    let mut taken = vec![false; second.len()];
    for (i, thing) in first.iter().enumerate() {
        let same = by_id.get(thing.id()).filter(|_| !thing.id().is_empty());
        if let Some(&j) = same.filter(|j| !taken[**j] && may_be(thing, &second[**j])) {
            taken[j] = true;
            paired.insert(i, j);
        }
    }
    let mut alike: Vec<(f64, usize, usize)> = Vec::new();
    for (i, thing) in first.iter().enumerate().filter(|(i, _)| !paired.contains_key(i)) {
        alike.extend(likeness(thing).into_iter().filter(|(j, _)| !taken[*j]).map(|(j, how)| (how, i, j)));
    }
    alike.sort_by(|a, b| {
        let ids = |x: &(f64, usize, usize)| {
            let (one, two) = (first[x.1].id(), second[x.2].id());
            // The same whichever of the two lists comes first.
            if one <= two { (one, two) } else { (two, one) }
        };
        b.0.total_cmp(&a.0).then_with(|| ids(a).cmp(&ids(b)))
    });
    for (_, i, j) in alike {
        if !paired.contains_key(&i) && !taken[j] {
            taken[j] = true;
            paired.insert(i, j);
        }
    }
    paired
}

/// The same thing in mine, theirs and the ancestor, by index.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Three {
    pub(super) mine: Option<usize>,
    pub(super) theirs: Option<usize>,
    pub(super) base: Option<usize>,
}

/// Three lists paired: what both have in common with the ancestor is one thing, whatever became of it. `pair` is told
/// whether its second list is the ancestor.
pub(super) fn threes<T>(
    (mine, theirs, base): (&[Arc<T>], &[Arc<T>], Option<&[Arc<T>]>),
    pair: impl Fn(&[Arc<T>], &[Arc<T>], bool) -> BTreeMap<usize, usize>,
) -> Vec<Three> {
    let base = base.unwrap_or_default();
    let from_mine = pair(mine, base, true);
    let from_theirs = pair(theirs, base, true);
    let of_base: HashMap<usize, usize> = from_theirs.iter().map(|(j, b)| (*b, *j)).collect();
    let mut found: Vec<Three> = Vec::new();
    let mut theirs_used = vec![false; theirs.len()];
    let mut alone: Vec<usize> = Vec::new();
    for i in 0..mine.len() {
        let base = from_mine.get(&i).copied();
        match base.and_then(|b| of_base.get(&b).copied()) {
            Some(j) => {
                theirs_used[j] = true;
                found.push(Three { mine: Some(i), theirs: Some(j), base });
            }
            None => alone.push(i),
        }
    }
    // What has no common ancestor is paired among itself.
    let left: Vec<usize> = (0..theirs.len()).filter(|j| !theirs_used[*j]).collect();
    let mine_left: Vec<Arc<T>> = alone.iter().map(|i| Arc::clone(&mine[*i])).collect();
    let theirs_left: Vec<Arc<T>> = left.iter().map(|j| Arc::clone(&theirs[*j])).collect();
    let direct = pair(&mine_left, &theirs_left, false);
    for (k, &i) in alone.iter().enumerate() {
        let theirs = direct.get(&k).map(|&l| left[l]);
        if let Some(j) = theirs {
            theirs_used[j] = true;
        }
        let base = from_mine.get(&i).copied().or_else(|| theirs.and_then(|j| from_theirs.get(&j).copied()));
        found.push(Three { mine: Some(i), theirs, base });
    }
    for j in left.into_iter().filter(|j| !theirs_used[*j]) {
        found.push(Three { mine: None, theirs: Some(j), base: from_theirs.get(&j).copied() });
    }
    // What both deleted is no difference.
    found
}
