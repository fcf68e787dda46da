//! What every cell has, kept cell by cell only where it is not what one bend gives a whole block.
//!
//! Nearly all of a map is seen from one bend or another as a whole. There the number of the bend says all there is to
//! say of sixty-four cells, and their heights are worked out when somebody asks.

use super::super::departure::Bend;
use super::super::descent::{AT_ONCE, Descent};
use super::super::floor::SMALL;
use super::blocks::Blocks;
use super::sight::Rise;
use super::solve::Label;
use crate::fields::demand::Demand;
use crate::grid::GridFrame;

/// Labels kept for a cell at most: three fields, and one more for the neighbours.
pub(super) const MOST_SLOTS: usize = 4;
// Heights are worked out for a row of a block at once.
const _: () = assert!(AT_ONCE == SMALL);

/// Cells of a block.
pub(super) const BLOCK: usize = SMALL * SMALL;

/// What is known of a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum State {
    /// None of its cells has a way.
    Empty,
    /// All of its cells see this bend, and have no other way.
    By { bend: u32, demand: u32 },
    /// Every cell has its own, in this part of the store.
    Kept(u32),
}

/// Bends, and what it takes to know the heights that they give.
#[derive(Clone, Copy)]
pub(super) struct Ways<'a> {
    pub(super) frame: &'a GridFrame,
    pub(super) descent: &'a Descent,
    pub(super) demands: &'a [Demand],
    pub(super) bends: &'a [Bend],
}

impl<'a> Ways<'a> {
    /// The heights that a bend gives on the way to a field.
    pub(super) fn rise(&self, bend: u32, demand: u32) -> Rise<'a> {
        // The first bends are the fields themselves.
        let field = self.demands.get(demand as usize).filter(|_| (bend as usize) < self.demands.len());
        Rise { descent: self.descent, bend: &self.bends[bend as usize], field }
    }

    /// The height that a bend gives a cell that sees it; infinite where it cannot be flown to.
    pub(super) fn height(&self, bend: u32, demand: u32, (row, col): (usize, usize)) -> f64 {
        let rise = self.rise(bend, demand);
        let d = rise.bend.position - self.frame.centre(row, col);
        self.descent.height_needed(rise.arriving(d), d).unwrap_or(f64::INFINITY)
    }

    /// The heights that a bend gives the cells of a block, row by row; beyond the grid they mean nothing.
    pub(super) fn block(&self, bend: u32, demand: u32, at: (usize, usize), out: &mut [f64; BLOCK]) {
        self.rise(bend, demand).over(self.frame, at, out.as_chunks_mut().0);
    }
}

/// The labels of all cells.
#[derive(Clone, Debug)]
pub(super) struct Cells {
    pub(super) blocks: Blocks,
    /// Labels kept for each cell.
    pub(super) slots: usize,
    state: Vec<State>,
    kept: Vec<Label>,
}

impl Cells {
    /// Cells without any way.
    pub(super) fn new(blocks: Blocks, slots: usize) -> Self {
        Self { blocks, slots, state: vec![State::Empty; blocks.len() / BLOCK], kept: Vec::new() }
    }

    /// Cells with one label each, block by block.
    pub(super) fn of(blocks: Blocks, kept: Vec<Label>) -> Self {
        let state = (0..blocks.len() / BLOCK).map(|block| State::Kept(block as u32)).collect();
        Self { blocks, slots: 1, state, kept }
    }

    pub(super) fn state(&self, block: usize) -> State {
        self.state[block]
    }

    pub(super) fn set_state(&mut self, block: usize, state: State) {
        self.state[block] = state;
    }

    /// The labels kept for a cell; none where its block has no labels of its own.
    pub(super) fn kept(&self, cell: usize) -> &[Label] {
        match self.state[cell / BLOCK] {
            State::Kept(part) => {
                let first = (part as usize * BLOCK + cell % BLOCK) * self.slots;
                &self.kept[first..first + self.slots]
            }
            State::Empty | State::By { .. } => &[],
        }
    }

    /// The labels of a cell, to be changed.
    pub(super) fn own_mut(&mut self, ways: &Ways<'_>, cell: usize) -> &mut [Label] {
        let block = cell / BLOCK;
        let part = match self.state[block] {
            State::Kept(part) => part,
            before => self.keep(ways, block, before),
        };
        let first = (part as usize * BLOCK + cell % BLOCK) * self.slots;
        &mut self.kept[first..first + self.slots]
    }

    /// Gives the cells of a block labels of their own.
    fn keep(&mut self, ways: &Ways<'_>, block: usize, before: State) -> u32 {
        let first = self.kept.len();
        let part = (first / (BLOCK * self.slots)) as u32;
        self.kept.resize(first + BLOCK * self.slots, Label::EMPTY);
        if let State::By { bend, demand } = before {
            let mut heights = [0.0; BLOCK];
            ways.block(bend, demand, self.blocks.place(block * BLOCK), &mut heights);
            for (own, height) in self.kept[first..].chunks_exact_mut(self.slots).zip(heights) {
                own[0] = Label { height, bend, demand };
            }
        }
        self.state[block] = State::Kept(part);
        part
    }

    /// What a way of a field must need less than for a cell to take it; infinite where anything is better than nothing.
    pub(super) fn to_beat(&self, ways: &Ways<'_>, cell: usize, demand: u32) -> f64 {
        match self.state[cell / BLOCK] {
            State::Empty => f64::INFINITY,
            State::By { bend, demand } => ways.height(bend, demand, self.blocks.place(cell)),
            State::Kept(_) => {
                let own = self.kept(cell);
                let same = own.iter().find(|label| label.demand == demand);
                same.or(own.last()).map_or(f64::INFINITY, |label| label.height)
            }
        }
    }

    /// The label by which a cell goes to a field by a bend, if it does.
    pub(super) fn way(&self, ways: &Ways<'_>, cell: usize, bend: u32, demand: u32) -> Option<Label> {
        match self.state[cell / BLOCK] {
            State::Empty => None,
            by @ State::By { .. } => (by == State::By { bend, demand }).then(|| {
                let height = ways.height(bend, demand, self.blocks.place(cell));
                Label { height, bend, demand }
            }),
            State::Kept(_) => self.kept(cell).iter().find(|l| (l.bend, l.demand) == (bend, demand)).copied(),
        }
    }

    /// Whether a cell goes to a field by a bend.
    pub(super) fn has(&self, cell: usize, bend: u32, demand: u32) -> bool {
        match self.state[cell / BLOCK] {
            State::Empty => false,
            by @ State::By { .. } => by == State::By { bend, demand },
            State::Kept(_) => self.kept(cell).iter().any(|l| (l.bend, l.demand) == (bend, demand)),
        }
    }

    /// Whether a label is still what a cell has.
    pub(super) fn holds(&self, cell: usize, label: &Label) -> bool {
        match self.state[cell / BLOCK] {
            State::Empty => false,
            by @ State::By { .. } => by == State::By { bend: label.bend, demand: label.demand },
            State::Kept(_) => self.kept(cell).contains(label),
        }
    }

    /// All labels of a cell, the one that needs least first.
    pub(super) fn all(&self, ways: &Ways<'_>, cell: usize) -> [Label; MOST_SLOTS] {
        let mut all = [Label::EMPTY; MOST_SLOTS];
        match self.state[cell / BLOCK] {
            State::Empty => {}
            State::By { bend, demand } => {
                all[0] = Label { height: ways.height(bend, demand, self.blocks.place(cell)), bend, demand };
            }
            State::Kept(_) => {
                for (to, own) in all.iter_mut().zip(self.kept(cell)) {
                    *to = *own;
                }
            }
        }
        all
    }

    /// The heights in one slot of the cells of a block, row by row; infinite where there is no way.
    pub(super) fn heights(&self, ways: &Ways<'_>, block: usize, slot: usize, out: &mut [f64; BLOCK]) {
        match self.state[block] {
            State::By { bend, demand } if slot == 0 => {
                ways.block(bend, demand, self.blocks.place(block * BLOCK), out);
            }
            State::Empty | State::By { .. } => out.fill(f64::INFINITY),
            State::Kept(part) => {
                let first = part as usize * BLOCK * self.slots;
                let own = &self.kept[first..first + BLOCK * self.slots];
                for (out, own) in out.iter_mut().zip(own.chunks_exact(self.slots)) {
                    *out = own[slot].height;
                }
            }
        }
    }

    /// Takes back a label of a cell that has labels of its own.
    pub(super) fn put_back(&mut self, cell: usize, label: Label) {
        if let State::Kept(part) = self.state[cell / BLOCK] {
            self.kept[(part as usize * BLOCK + cell % BLOCK) * self.slots] = label;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::solve::NONE;
    use super::*;

    #[test]
    fn an_empty_label_stands_for_no_way() {
        let frame = GridFrame { origin: crate::position::Xy::default(), cell_m: 25.0, cols: 9, rows: 9 };
        let cells = Cells::new(Blocks::new(&frame), 1);
        assert_eq!(cells.kept(0), []);
        assert!(!cells.has(5, NONE, NONE) && !cells.holds(70, &Label::EMPTY));
    }
}
