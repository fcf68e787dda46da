//! Another area being merged into this one: what differs, and whose version is taken.

use super::{Model, NoticeLevel};
use crate::command::Command;
use sparefield_data::merge::{Attribute, Merge, Take};
use std::path::PathBuf;
use std::sync::Arc;

/// Where the other area and the common ancestor are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MergeFiles {
    /// Their files.
    pub theirs: Vec<PathBuf>,
    /// Files of the common ancestor; empty where there is none.
    pub base: Vec<PathBuf>,
}

/// One line of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    /// A thing that differs, by its pair and its first difference.
    Thing {
        /// Index of the pair.
        pair: usize,
        /// Index of its first difference.
        first: usize,
    },
    /// A difference, by its index.
    Difference(usize),
}

/// Two areas compared, and what was chosen.
#[derive(Clone, Debug)]
pub struct Merging {
    /// What differs.
    pub merge: Arc<Merge>,
    /// Whose version is taken, one for each difference.
    pub takes: Vec<Take>,
    /// What is listed.
    pub lines: Arc<Vec<Line>>,
    /// What the other area is called.
    pub whose: String,
    /// Where it came from, to compare again.
    pub files: MergeFiles,
    /// The state of the land that was compared.
    pub land_revision: u64,
    /// The thing looked at, by its pair.
    pub shown: Option<usize>,
    /// Pairs that differ in where they are, so that both are worth drawing; in order.
    pub in_place: Arc<Vec<usize>>,
}

/// One thing the pilot did while merging.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MergeCommand {
    /// Ask with which area to merge.
    Ask,
    /// Read and compare.
    Compare(MergeFiles),
    /// Choose whose version of one difference is taken.
    Choose(usize, Take),
    /// The same for everything in which one thing differs.
    ChooseThing(usize, Take),
    /// The same for everything.
    ChooseAll(Take),
    /// Go back to what the rules say.
    ChooseByRules,
    /// Look at a thing, by its pair.
    Look(usize),
    /// Make the edit.
    TakeThese,
    /// Leave without one.
    Close,
}

impl Merging {
    /// A comparison, with the choices that the rules make.
    #[must_use]
    pub fn new(merge: Merge, whose: String, files: MergeFiles, land_revision: u64) -> Self {
        let mut lines = Vec::new();
        let mut pair = None;
        for (i, difference) in merge.differences().iter().enumerate() {
            if pair != Some(difference.pair) {
                pair = Some(difference.pair);
                lines.push(Line::Thing { pair: difference.pair, first: i });
            }
            lines.push(Line::Difference(i));
        }
        let of_places = |a: &Attribute| matches!(a, Attribute::Whole | Attribute::Outline | Attribute::Shape);
        let mut in_place: Vec<usize> =
            merge.differences().iter().filter(|d| of_places(&d.attribute)).map(|d| d.pair).collect();
        in_place.dedup();
        let takes = merge.defaults();
        let (merge, lines, in_place) = (Arc::new(merge), Arc::new(lines), Arc::new(in_place));
        Self { merge, takes, lines, whose, files, land_revision, shown: None, in_place }
    }

    /// How many things differ, and how many differences are taken from theirs.
    #[must_use]
    pub fn counts(&self) -> (usize, usize) {
        let things = self.lines.iter().filter(|l| matches!(l, Line::Thing { .. })).count();
        (things, self.takes.iter().filter(|t| **t == Take::Theirs).count())
    }

    fn set(&mut self, take: Take, which: impl Fn(usize) -> bool) {
        for (i, chosen) in self.takes.iter_mut().enumerate() {
            if which(i) {
                *chosen = take;
            }
        }
    }
}

impl Model {
    /// Applies a command of merging that only changes the model.
    pub fn apply_merge(&mut self, command: &MergeCommand) {
        let Some(merging) = &mut self.merging else { return };
        match command {
            MergeCommand::Choose(index, take) => merging.set(*take, |i| i == *index),
            MergeCommand::ChooseThing(pair, take) => {
                let merge = Arc::clone(&merging.merge);
                merging.set(*take, |i| merge.differences()[i].pair == *pair);
            }
            MergeCommand::ChooseAll(take) => merging.set(*take, |_| true),
            MergeCommand::ChooseByRules => merging.takes = merging.merge.defaults(),
            MergeCommand::Look(pair) => merging.shown = Some(*pair),
            MergeCommand::TakeThese => {
                let edit = merging.merge.edit(&merging.takes, &merging.whose);
                let before = self.area.clone();
                if edit.changes.is_empty() {
                    self.notify(NoticeLevel::Info, "Everything stays as it is; nothing was merged.");
                } else {
                    self.apply(&Command::Edit(Box::new(edit)));
                    let same = |(old, new): (Arc<_>, &Arc<_>)| Arc::ptr_eq(&old, new);
                    if before.zip(self.area.as_ref()).is_some_and(same) {
                        // Refused, and said why; the choices are still there.
                        return;
                    }
                }
                self.merging = None;
            }
            MergeCommand::Close => self.merging = None,
            MergeCommand::Ask | MergeCommand::Compare(_) => {}
        }
    }
}
