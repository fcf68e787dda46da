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
    /// As [`Self::by_rows`], one row after the other: for sets too small to share out.
    pub(super) fn made(rows: usize, cols: usize, mut fill: impl FnMut(usize, &mut [u64])) -> Self {
        let mut bits = Self::none(rows, cols);
        let last = bits.last_word();
        for (row, words) in bits.data.chunks_exact_mut(bits.words.max(1)).enumerate() {
            fill(row, words);
            if let Some(word) = words.last_mut() {
                *word &= last;
            }
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
        if right.unsigned_abs() >= self.cols || down.unsigned_abs() >= self.rows {
            match how {
                Combine::Both => self.data.fill(0),
                Combine::Either => self.data.copy_from_slice(&kept.data),
            }
            return;
        }
        // All rows are moved as one long one, whose cells past the last column are empty.
        let by = down * (self.words * WORD) as isize + right;
        match how {
            Combine::Both => join_moved(&mut self.data, &kept.data, by, |own, moved| own & moved),
            Combine::Either => join_moved(&mut self.data, &kept.data, by, |own, moved| own | moved),
        }
        self.undo_wrapped(kept, right, how);
    }

    /// Mends the cells to which moving all rows as one brought cells of a neighbouring row.
    fn undo_wrapped(&mut self, kept: &Self, right: isize, how: Combine) {
        let (words, side) = (self.words, right.unsigned_abs());
        let wrapped = if right >= 0 { words * WORD - side..words * WORD } else { 0..side };
        for word in wrapped.start / WORD..wrapped.end.div_ceil(WORD) {
            let low = wrapped.start.max(word * WORD) - word * WORD;
            let high = wrapped.end.min((word + 1) * WORD) - word * WORD;
            let mask = u64::MAX >> (WORD - (high - low)) << low;
            let own = kept.data[word..].iter().step_by(words);
            for (out, own) in self.data[word..].iter_mut().step_by(words).zip(own) {
                // A cell that nothing was moved to stays as it is, or falls away.
                let alone = if how == Combine::Either { own & mask } else { 0 };
                *out = *out & !mask | alone;
            }
        }
        let last = self.last_word();
        if last != u64::MAX {
            self.data[words - 1..].iter_mut().step_by(words).for_each(|word| *word &= last);
        }
    }
}

/// `out` = the cells joined with those `by` cells further on; what lies past either end is empty.
fn join_moved(out: &mut [u64], cells: &[u64], by: isize, join: impl Fn(u64, u64) -> u64) {
    let n = out.len();
    let (whole, part) = ((by.unsigned_abs() / WORD).min(n), (by.unsigned_abs() % WORD) as u32);
    // The rest of a word's neighbour moves in two steps: by a whole word when there is no rest.
    let up = |low: u64, high: u64| low >> part | high << 1 << (WORD as u32 - 1 - part);
    let down = |low: u64, high: u64| high << part | low >> 1 >> (WORD as u32 - 1 - part);
    if by >= 0 {
        let (inside, past) = out.split_at_mut(n - whole);
        let source = &cells[whole..];
        for ((o, k), pair) in inside.iter_mut().zip(cells).zip(source.windows(2)) {
            *o = join(*k, up(pair[0], pair[1]));
        }
        if let (Some(o), Some(&top)) = (inside.last_mut(), source.last()) {
            *o = join(cells[n - whole - 1], up(top, 0));
        }
        past.iter_mut().zip(&cells[n - whole..]).for_each(|(o, k)| *o = join(*k, 0));
    } else {
        let (before, inside) = out.split_at_mut(whole);
        before.iter_mut().zip(cells).for_each(|(o, k)| *o = join(*k, 0));
        let (own, source) = (&cells[whole..], &cells[..n - whole]);
        for ((o, k), pair) in inside.iter_mut().zip(own).skip(1).zip(source.windows(2)) {
            *o = join(*k, down(pair[0], pair[1]));
        }
        if let (Some(o), Some(&first)) = (inside.first_mut(), source.first()) {
            *o = join(own[0], down(0, first));
        }
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
