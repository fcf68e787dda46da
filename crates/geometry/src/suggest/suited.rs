//! For each heading of the search, the cells whose slopes suit it.
//!
//! Worked out once for the whole grid: every piece asks again for its own ground, and most ground is asked for
//! several times.

use super::bits::Bits;
use super::ground::Planes;
use super::mask::headings;
use super::scene::{HEADINGS, Options};
use rayon::prelude::*;

const COUNT: usize = HEADINGS as usize;

/// The free cells that suit each heading.
pub(super) struct Suited {
    /// Words in a row of one heading.
    words: usize,
    /// Row by row; within a row, heading by heading.
    data: Vec<u64>,
}

/// The post under each row and column of the search, and posts in a row.
pub(super) struct Posts<'a> {
    pub(super) rows: &'a [usize],
    pub(super) cols: &'a [usize],
    pub(super) in_a_row: usize,
}

impl Suited {
    /// Of the free cells those that suit; cells known to be gentle suit every heading.
    pub(super) fn of(free: &Bits, gentle: &Bits, planes: &Planes, posts: &Posts<'_>, options: &Options) -> Self {
        let words = free.cols.div_ceil(64);
        let mut data = vec![0_u64; free.rows * words * COUNT];
        let (mut east, mut north) = ([0.0_f32; COUNT], [0.0_f32; COUNT]);
        for (heading, (e, n)) in headings().zip(east.iter_mut().zip(&mut north)) {
            let u = heading.unit();
            (*e, *n) = (u.x as f32, u.y as f32);
        }
        let (along, across) = (options.max_slope_along as f32, options.max_slope_across as f32);
        if words > 0 {
            data.par_chunks_mut(words * COUNT).enumerate().for_each(|(row, lines)| {
                let line = posts.rows[row] * posts.in_a_row;
                for (w, (&word, gentle)) in free.row(row).iter().zip(gentle.row(row)).enumerate() {
                    let mut unfit = [0_u64; COUNT];
                    // Only what is neither out of the question nor gentle needs a look.
                    let mut open = word & !gentle;
                    while open != 0 {
                        let bit = open.trailing_zeros();
                        open &= open - 1;
                        let at = line + posts.cols[w * 64 + bit as usize];
                        let (e, n) = (planes.east[at], planes.north[at]);
                        for (unfit, (&u, &v)) in unfit.iter_mut().zip(east.iter().zip(&north)) {
                            let fits = ((e * u + n * v).abs() <= along) & ((e * v - n * u).abs() <= across);
                            *unfit |= u64::from(!fits) << bit;
                        }
                    }
                    for (heading, unfit) in unfit.iter().enumerate() {
                        lines[heading * words + w] = word & !unfit;
                    }
                }
            });
        }
        Self { words, data }
    }

    /// Cells of a set (a window of the grid beginning at `top`, `left`) that suit a heading, by its number.
    pub(super) fn within(&self, heading: usize, window: &Bits, (top, left): (usize, usize)) -> Bits {
        let (first, part) = (left / 64, left % 64);
        Bits::made(window.rows, window.cols, |row, words| {
            let from = ((top + row) * COUNT + heading) * self.words;
            let line = &self.data[from + first..from + self.words];
            for (w, (word, own)) in words.iter_mut().zip(window.row(row)).enumerate() {
                let low = line[w] >> part;
                // In two steps, as nothing is shifted in where words lie under words.
                let high = line.get(w + 1).map_or(0, |next| next << 1 << (63 - part));
                *word = own & (low | high);
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_cell_suits_a_heading_as_its_slopes_say(
            slopes in prop::collection::vec((-0.1..0.1_f32, -0.1..0.1_f32), 5 * 150),
            free_share in 0u64..8, top in 0usize..3, left in 0usize..90,
        ) {
            let (rows, cols) = (5, 150);
            let planes = Planes {
                east: slopes.iter().map(|s| s.0).collect(),
                north: slopes.iter().map(|s| s.1).collect(),
                roughness_m: Vec::new(),
                step_m: Vec::new(),
            };
            let chosen = |row: usize, col: usize| (row as u64 * 31 + col as u64 * 17) % 8 >= free_share;
            let set = |has: &(dyn Fn(usize, usize) -> bool + Sync)| Bits::by_rows(rows, cols, |row, words| {
                for col in 0..cols {
                    words[col / 64] |= u64::from(has(row, col)) << (col % 64);
                }
            });
            let options = Options { max_slope_along: 0.05, max_slope_across: 0.04, ..Options::default() };
            let steep = |row: usize, col: usize| {
                let (e, n) = slopes[row * cols + col];
                e * e + n * n
            };
            let free = set(&chosen);
            let gentle = set(&|row, col| chosen(row, col) && steep(row, col) <= 0.04 * 0.04);
            let (post_rows, post_cols): (Vec<_>, Vec<_>) = ((0..rows).collect(), (0..cols).collect());
            let posts = Posts { rows: &post_rows, cols: &post_cols, in_a_row: cols };
            let suited = Suited::of(&free, &gentle, &planes, &posts, &options);
            let window = Bits::by_rows(rows - top, cols - left, |_, words| words.fill(u64::MAX));
            for (number, heading) in headings().enumerate() {
                let found = suited.within(number, &window, (top, left));
                let u = heading.unit();
                let (u, v) = (u.x as f32, u.y as f32);
                for row in 0..window.rows {
                    for col in 0..window.cols {
                        let (e, n) = slopes[(top + row) * cols + left + col];
                        let fits = (e * u + n * v).abs() <= 0.05 && (e * v - n * u).abs() <= 0.04;
                        let wanted = chosen(top + row, left + col)
                            && (steep(top + row, left + col) <= 0.04 * 0.04 || fits);
                        prop_assert_eq!(found.get(row, col), wanted, "{} {} {}", number, row, col);
                    }
                }
            }
        }
    }
}
