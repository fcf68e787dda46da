//! One bit for each cell of a grid, 64 cells in a word, shifted and combined word by word.

use crate::grid::GridFrame;
use rayon::prelude::*;

/// Cells in a word.
const WORD: usize = 64;

/// A set of cells of a grid; everything outside the grid is outside the set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Bits {
    pub(super) rows: usize,
    pub(super) cols: usize,
    /// Words in a row.
    words: usize,
    /// Row-major; bits past the last column are always zero.
    data: Vec<u64>,
}

/// A stretch of neighbouring cells of one row: first column, and one past the last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) row: u32,
    pub(super) from: u32,
    pub(super) to: u32,
}

/// How the shifted set is combined with the one that stays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Combine {
    Both,
    Either,
}

impl Bits {
    /// The empty set.
    pub(super) fn none(rows: usize, cols: usize) -> Self {
        let words = cols.div_ceil(WORD);
        Self { rows, cols, words, data: vec![0; rows * words] }
    }
    /// The empty set on a grid.
    pub(super) fn none_on(frame: &GridFrame) -> Self {
        Self::none(frame.rows, frame.cols)
    }
    /// The cells for which a row function sets bits; rows side by side.
    ///
    /// The function gets the row and its words, all zero; bits past the last column are cleared afterwards.
    pub(super) fn by_rows(rows: usize, cols: usize, fill: impl Fn(usize, &mut [u64]) + Sync) -> Self {
        let mut bits = Self::none(rows, cols);
        let last = bits.last_word();
        if bits.words > 0 {
            bits.data.par_chunks_mut(bits.words).enumerate().for_each(|(row, words)| {
                fill(row, words);
                if let Some(word) = words.last_mut() {
                    *word &= last;
                }
            });
        }
        bits
    }
    /// Which bits of the last word of a row lie on the grid.
    fn last_word(&self) -> u64 {
        match self.cols % WORD {
            0 => u64::MAX,
            n => (1 << n) - 1,
        }
    }
    pub(super) fn get(&self, row: usize, col: usize) -> bool {
        self.data[row * self.words + col / WORD] >> (col % WORD) & 1 == 1
    }
    #[cfg(test)]
    pub(super) fn set(&mut self, row: usize, col: usize) {
        self.data[row * self.words + col / WORD] |= 1 << (col % WORD);
    }
    pub(super) fn clear(&mut self, row: usize, col: usize) {
        self.data[row * self.words + col / WORD] &= !(1 << (col % WORD));
    }
    /// Sets a stretch of a row.
    pub(super) fn set_run(&mut self, run: Run) {
        self.change_run(run, |word, mask| *word |= mask);
    }
    /// Clears a stretch of a row.
    pub(super) fn clear_run(&mut self, run: Run) {
        self.change_run(run, |word, mask| *word &= !mask);
    }
    fn change_run(&mut self, run: Run, change: impl Fn(&mut u64, u64)) {
        let (from, to) = (run.from as usize, (run.to as usize).min(self.cols));
        if from >= to || run.row as usize >= self.rows {
            return;
        }
        let start = run.row as usize * self.words;
        for word in from / WORD..=(to - 1) / WORD {
            let low = from.max(word * WORD) - word * WORD;
            let high = to.min((word + 1) * WORD) - word * WORD;
            let mask = (u64::MAX >> (WORD - (high - low))) << low;
            change(&mut self.data[start + word], mask);
        }
    }
    pub(super) fn row(&self, row: usize) -> &[u64] {
        &self.data[row * self.words..(row + 1) * self.words]
    }
    pub(super) fn is_empty(&self) -> bool {
        self.data.iter().all(|w| *w == 0)
    }
    pub(super) fn count(&self) -> usize {
        self.data.iter().map(|w| w.count_ones() as usize).sum()
    }
    /// Adds all cells of another set of the same size.
    pub(super) fn add(&mut self, other: &Self) {
        for (a, b) in self.data.iter_mut().zip(&other.data) {
            *a |= b;
        }
    }
    /// Leaves only the cells of another set of the same size.
    pub(super) fn keep(&mut self, other: &Self) {
        for (a, b) in self.data.iter_mut().zip(&other.data) {
            *a &= b;
        }
    }
    /// Takes away all cells of another set of the same size.
    pub(super) fn take(&mut self, other: &Self) {
        for (a, b) in self.data.iter_mut().zip(&other.data) {
            *a &= !b;
        }
    }
    /// Every stretch of set cells, row by row from the north-west.
    pub(super) fn runs(&self) -> Vec<Run> {
        let mut runs = Vec::new();
        for row in 0..self.rows {
            let mut open: Option<usize> = None;
            for (w, &word) in self.row(row).iter().enumerate() {
                let mut at = 0;
                // Change by change through the word.
                while at < WORD {
                    let rest = if open.is_some() { !word >> at } else { word >> at };
                    if rest == 0 {
                        break;
                    }
                    at += rest.trailing_zeros() as usize;
                    let col = w * WORD + at;
                    open = match open {
                        Some(from) => {
                            runs.push(Run { row: row as u32, from: from as u32, to: col as u32 });
                            None
                        }
                        None => Some(col),
                    };
                }
            }
            if let Some(from) = open {
                runs.push(Run { row: row as u32, from: from as u32, to: self.cols as u32 });
            }
        }
        runs
    }
    /// `self` = cells of `kept` whose cell (`down` rows, `right` columns) away is in `kept` too.
    pub(super) fn both(&mut self, kept: &Self, down: isize, right: isize) {
        self.combine(kept, down, right, Combine::Both);
    }
    /// `self` = cells of `kept`, and those whose cell (`down` rows, `right` columns) away is in `kept`.
    pub(super) fn either(&mut self, kept: &Self, down: isize, right: isize) {
        self.combine(kept, down, right, Combine::Either);
    }
    fn combine(&mut self, kept: &Self, down: isize, right: isize, how: Combine) {
        debug_assert_eq!((self.rows, self.cols), (kept.rows, kept.cols));
        let (words, last) = (self.words, self.last_word());
        if words == 1 && right.unsigned_abs() < WORD {
            self.combine_narrow(kept, down, right, how);
            return;
        }
        for row in 0..self.rows {
            let own = kept.row(row);
            let out = &mut self.data[row * words..(row + 1) * words];
            let Some(from) = row.checked_add_signed(down).filter(|r| *r < kept.rows) else {
                match how {
                    Combine::Both => out.fill(0),
                    Combine::Either => out.copy_from_slice(own),
                }
                continue;
            };
            shifted(out, kept.row(from), right);
            match how {
                Combine::Both => out.iter_mut().zip(own).for_each(|(o, k)| *o &= k),
                Combine::Either => {
                    out.iter_mut().zip(own).for_each(|(o, k)| *o |= k);
                    if let Some(word) = out.last_mut() {
                        *word &= last;
                    }
                }
            }
        }
    }
}

impl Bits {
    /// As [`Self::combine`] for rows of one word, as most single fields have.
    fn combine_narrow(&mut self, kept: &Self, down: isize, right: isize, how: Combine) {
        let last = self.last_word();
        let part = right.unsigned_abs() as u32;
        let moved = |word: u64| if right >= 0 { word >> part } else { word << part & last };
        for (row, (out, own)) in self.data.iter_mut().zip(&kept.data).enumerate() {
            let from = row.checked_add_signed(down).and_then(|r| kept.data.get(r)).map_or(0, |word| moved(*word));
            *out = match how {
                Combine::Both => own & from,
                Combine::Either => own | from,
            };
        }
    }
}

/// `out` = the row, read `right` columns further on.
fn shifted(out: &mut [u64], row: &[u64], right: isize) {
    let (whole, part) = (right.unsigned_abs() / WORD, (right.unsigned_abs() % WORD) as u32);
    let n = row.len();
    if whole >= n {
        out.fill(0);
    } else if right >= 0 {
        let source = &row[whole..];
        if part == 0 {
            out[..n - whole].copy_from_slice(source);
        } else {
            for (o, pair) in out.iter_mut().zip(source.windows(2)) {
                *o = pair[0] >> part | pair[1] << (WORD as u32 - part);
            }
            out[n - whole - 1] = row[n - 1] >> part;
        }
        out[n - whole..].fill(0);
    } else {
        let source = &row[..n - whole];
        if part == 0 {
            out[whole..].copy_from_slice(source);
        } else {
            for (o, pair) in out[whole + 1..].iter_mut().zip(source.windows(2)) {
                *o = pair[1] << part | pair[0] >> (WORD as u32 - part);
            }
            out[whole] = row[0] << part;
        }
        out[..whole].fill(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bits(rows: usize, cols: usize, cells: &[bool]) -> Bits {
        let mut made = Bits::none(rows, cols);
        for (i, _) in cells.iter().enumerate().filter(|(_, c)| **c) {
            made.set(i / cols, i % cols);
        }
        made
    }

    fn scene() -> impl Strategy<Value = (usize, usize, Vec<bool>)> {
        (1usize..5, 1usize..200).prop_flat_map(|(r, c)| (Just(r), Just(c), prop::collection::vec(any::<bool>(), r * c)))
    }

    proptest! {
        #[test]
        fn shifting_words_is_shifting_cells(
            (rows, cols, cells) in scene(), down in -6isize..7, right in -210isize..210,
        ) {
            let kept = bits(rows, cols, &cells);
            let (mut both, mut either) = (kept.clone(), kept.clone());
            both.both(&kept, down, right);
            either.either(&kept, down, right);
            for r in 0..rows {
                for c in 0..cols {
                    let own = cells[r * cols + c];
                    let other = r.checked_add_signed(down).zip(c.checked_add_signed(right))
                        .is_some_and(|(r, c)| r < rows && c < cols && cells[r * cols + c]);
                    prop_assert_eq!(both.get(r, c), own && other);
                    prop_assert_eq!(either.get(r, c), own || other);
                }
            }
            let counted: usize = (0..rows * cols).filter(|i| either.get(i / cols, i % cols)).count();
            prop_assert_eq!(either.count(), counted);
        }

        #[test]
        fn runs_are_the_set((rows, cols, cells) in scene()) {
            let set = bits(rows, cols, &cells);
            let mut again = Bits::none(rows, cols);
            let mut before: Option<Run> = None;
            for run in set.runs() {
                prop_assert!(run.from < run.to && run.to as usize <= cols);
                if let Some(b) = before.filter(|b| b.row == run.row) {
                    prop_assert!(b.to < run.from);
                }
                again.set_run(run);
                before = Some(run);
            }
            prop_assert_eq!(&again, &set);
            for run in set.runs() {
                again.clear_run(run);
            }
            prop_assert!(again.is_empty());
        }
    }
}
