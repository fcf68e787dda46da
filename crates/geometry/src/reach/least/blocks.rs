//! Cells in blocks of eight by eight, one block after the other: what is worked on together lies together in memory.

use super::super::floor::SMALL;
use super::super::forward::NEIGHBOURS;
use crate::grid::GridFrame;

/// How the cells of a grid lie in blocks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Blocks {
    rows: usize,
    cols: usize,
    /// Blocks from west to east, and how often they go into 2³².
    across: usize,
    parts: u64,
}

impl Blocks {
    pub(super) fn new(frame: &GridFrame) -> Self {
        let across = frame.cols.div_ceil(SMALL);
        Self { rows: frame.rows, cols: frame.cols, across, parts: (1 << 32) / across.max(1) as u64 }
    }

    /// Cells with those that fill up the last blocks and stand for no place.
    pub(super) fn len(&self) -> usize {
        self.rows.div_ceil(SMALL) * self.across * SMALL * SMALL
    }

    /// The number of the cell at a row and a column of the grid.
    pub(super) fn cell(&self, row: usize, col: usize) -> usize {
        let block = row / SMALL * self.across + col / SMALL;
        block * (SMALL * SMALL) + row % SMALL * SMALL + col % SMALL
    }

    /// Row and column of a cell; beyond the grid for those that fill up.
    pub(super) fn place(&self, cell: usize) -> (usize, usize) {
        let (block, within) = (cell / (SMALL * SMALL), cell % (SMALL * SMALL));
        // A product instead of a division: for numbers of 32 bits, which those of blocks are, too small by one at most.
        let row = ((block as u64 * self.parts) >> 32) as usize;
        let col = block - row * self.across;
        let (row, col) = if col >= self.across { (row + 1, col - self.across) } else { (row, col) };
        (row * SMALL + within / SMALL, col * SMALL + within % SMALL)
    }

    /// The cells around one.
    pub(super) fn neighbours(&self, cell: usize) -> impl Iterator<Item = usize> + use<> {
        let blocks = *self;
        blocks.around(cell).map(move |(row, col)| blocks.cell(row, col))
    }

    /// Rows and columns of the cells around one.
    pub(super) fn around(&self, cell: usize) -> impl Iterator<Item = (usize, usize)> + use<> {
        let (rows, cols, (row, col)) = (self.rows, self.cols, self.place(cell));
        NEIGHBOURS.iter().filter_map(move |&(dr, dc)| {
            let (r, c) = (row.wrapping_add_signed(dr), col.wrapping_add_signed(dc));
            (r < rows && c < cols).then_some((r, c))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::position::Xy;

    #[test]
    fn every_cell_has_a_number_and_is_found_by_it() {
        for (rows, cols) in [(1, 1), (8, 8), (9, 17), (30, 7), (3, 3_000), (2_000, 20), (700, 701)] {
            let frame = GridFrame { origin: Xy::default(), cell_m: 25.0, cols, rows };
            let blocks = Blocks::new(&frame);
            let mut seen = vec![false; blocks.len()];
            for row in 0..rows {
                for col in 0..cols {
                    let cell = blocks.cell(row, col);
                    assert_eq!(blocks.place(cell), (row, col));
                    assert!(!core::mem::replace(&mut seen[cell], true));
                    let near: Vec<_> = blocks.neighbours(cell).map(|n| blocks.place(n)).collect();
                    let inside = |n: usize, at: usize| usize::from(at > 0) + 1 + usize::from(at + 1 < n);
                    assert_eq!(near.len(), inside(rows, row) * inside(cols, col) - 1);
                    assert!(near.iter().all(|n| n.0.abs_diff(row) <= 1 && n.1.abs_diff(col) <= 1));
                }
            }
            assert!(blocks.len() - seen.iter().filter(|s| **s).count() < 64 + 8 * (rows + cols));
        }
    }
}
