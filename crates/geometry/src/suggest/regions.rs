//! Connected ground, cut where its use changes and where it is larger than any field.

use super::bits::{Bits, Run};
use super::cover::CoverUse;
use super::mask::Ground;
use super::runs;
use crate::math;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// A part of the grid: a set of cells in a window, and where the window begins.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Piece {
    pub(super) top: usize,
    pub(super) left: usize,
    pub(super) bits: Bits,
    /// Whether a straight cut through open ground made one of its sides.
    pub(super) cut: bool,
}

impl Piece {
    /// The piece of these stretches, in the smallest window.
    fn of(runs: &[Run], (top, left): (usize, usize), cut: bool) -> Self {
        let rows = runs.iter().fold((u32::MAX, 0), |a, r| (a.0.min(r.row), a.1.max(r.row)));
        let cols = runs.iter().fold((u32::MAX, 0), |a, r| (a.0.min(r.from), a.1.max(r.to)));
        let mut bits = Bits::none((rows.1 + 1 - rows.0) as usize, (cols.1 - cols.0) as usize);
        for run in runs {
            bits.set_run(Run { row: run.row - rows.0, from: run.from - cols.0, to: run.to - cols.0 });
        }
        Self { top: top + rows.0 as usize, left: left + cols.0 as usize, bits, cut }
    }
    fn corner(&self) -> (usize, usize) {
        (self.top, self.left)
    }
    /// The cells as (row, column) of the whole grid.
    pub(super) fn cells(&self) -> impl Iterator<Item = (usize, usize)> + '_ {
        self.bits.runs().into_iter().flat_map(move |run| {
            (run.from..run.to).map(move |col| (self.top + run.row as usize, self.left + col as usize))
        })
    }
    /// Share of the ground over which the surface model has heights.
    pub(super) fn seen_share(&self, ground: &Ground<'_>) -> f64 {
        let Some(standing) = ground.scene.standing else { return 0.0 };
        let (mut seen, mut all) = (0usize, 0usize);
        for (row, col) in self.cells() {
            all += 1;
            seen += usize::from(standing.at(ground.frame.centre(row, col)).is_some());
        }
        seen as f64 / all.max(1) as f64
    }
}

/// The first of the joined stretches that one belongs to; shortens the way for the next to ask.
fn root(parent: &mut [u32], mut i: u32) -> u32 {
    while parent[i as usize] != i {
        parent[i as usize] = parent[parent[i as usize] as usize];
        i = parent[i as usize];
    }
    i
}

/// The 4-connected components of a set as lists of stretches, in the order of their first stretch.
pub(super) fn components(bits: &Bits) -> Vec<Vec<Run>> {
    let runs = bits.runs();
    let mut parent: Vec<u32> = (0..runs.len() as u32).collect();
    // Stretches of the row above, walked along with those of this row.
    let mut above = 0;
    for (i, run) in runs.iter().enumerate() {
        while above < i
            && (runs[above].row + 1 < run.row || runs[above].row + 1 == run.row && runs[above].to <= run.from)
        {
            above += 1;
        }
        let mut touching = above;
        while touching < i && runs[touching].row + 1 == run.row && runs[touching].from < run.to {
            let (a, b) = (root(&mut parent, touching as u32), root(&mut parent, i as u32));
            parent[a.max(b) as usize] = a.min(b);
            touching += 1;
        }
    }
    let mut place: BTreeMap<u32, usize> = BTreeMap::new();
    let mut found: Vec<Vec<Run>> = Vec::new();
    for (i, run) in runs.iter().enumerate() {
        let at = *place.entry(root(&mut parent, i as u32)).or_insert_with(|| {
            found.push(Vec::new());
            found.len() - 1
        });
        found[at].push(*run);
    }
    found
}

/// The pieces of a set that each hold a strip, cut along changes of use and down to the largest size.
pub(super) fn pieces(
    ground: &Ground<'_>,
    covered: &Bits,
    progress: &(dyn Fn(f64) + Sync),
    cancel: &(dyn Fn() -> bool + Sync),
) -> Vec<Piece> {
    let least = least_cells(ground);
    let parts: Vec<Piece> = components(covered)
        .into_iter()
        .map(|runs| Piece::of(&runs, (0, 0), false))
        .filter(|p| p.bits.count() >= least)
        .collect();
    let count = parts.len().max(1) as f64;
    let done = core::sync::atomic::AtomicUsize::new(0);
    let cut: Vec<Vec<Piece>> = parts
        .into_par_iter()
        .map(|part| {
            if cancel() {
                return Vec::new();
            }
            let parts: Vec<Part> = by_use(ground, part).into_par_iter().flat_map_iter(|p| by_size(ground, p)).collect();
            let made = parts.into_par_iter().flat_map_iter(|p| holding_strips(ground, p)).collect();
            progress(done.fetch_add(1, core::sync::atomic::Ordering::Relaxed) as f64 / count);
            made
        })
        .collect();
    cut.into_iter().flatten().collect()
}

/// Cells that one strip covers.
fn least_cells(ground: &Ground<'_>) -> usize {
    let cell = ground.frame.cell_m;
    // Rounding to cells may cost a row of them.
    (0.7 * ground.options.needed_m * ground.options.room_m() / (cell * cell)).ceil() as usize
}

/// A piece on its way, and the part of it that strips of its own cover, where that is known already.
struct Part {
    piece: Piece,
    covered: Option<Bits>,
}

impl Part {
    /// A piece that was not cut since strips were put into it.
    fn whole(piece: Piece) -> Self {
        let covered = Some(piece.bits.clone());
        Self { piece, covered }
    }
    fn cut(piece: Piece) -> Self {
        Self { piece, covered: None }
    }
}

/// What a piece keeps after strips of its own are put into it.
fn holding_strips(ground: &Ground<'_>, Part { piece, covered }: Part) -> Vec<Piece> {
    let covered = covered.unwrap_or_else(|| runs::open(ground, &piece.bits, piece.corner()));
    let least = least_cells(ground);
    components(&covered)
        .into_iter()
        .map(|runs| Piece::of(&runs, piece.corner(), piece.cut))
        .filter(|p| p.bits.count() >= least)
        .collect()
}

/// Where a surface model shows this share of a piece, it has cut it along hedges and trees already, and better than
/// the borders of a map that takes grass for crop every other time.
const WELL_SEEN: f64 = 0.8;

/// Cuts a piece where land cover changes from one open use to another, as long as both sides hold a strip.
fn by_use(ground: &Ground<'_>, piece: Piece) -> Vec<Part> {
    if ground.scene.cover.is_none() || piece.seen_share(ground) >= WELL_SEEN {
        return vec![Part::whole(piece)];
    }
    let (rows, cols) = (piece.bits.rows, piece.bits.cols);
    let uses = prevailing_uses(ground, &piece);
    let mut parts: Vec<Vec<Run>> = Vec::new();
    for used in PARTED {
        let own = Bits::by_rows(rows, cols, |row, words| {
            for col in 0..cols {
                words[col / 64] |= u64::from(uses[row * cols + col] == Some(used)) << (col % 64);
            }
        });
        parts.extend(components(&own));
    }
    if parts.len() < 2 {
        return vec![Part::whole(piece)];
    }
    // Where a part is too small, or holds no strip, it goes with the neighbour it shares most of its border with.
    let least = least_cells(ground);
    let size = |runs: &[Run]| runs.iter().map(|r| (r.to - r.from) as usize).sum::<usize>();
    for _ in 0..8 {
        let small: Vec<bool> = parts.iter().map(|p| size(p) < least).collect();
        let before = parts.len();
        parts = join(parts, &small, rows, cols).into_iter().map(|(runs, _)| runs).collect();
        if parts.len() == before {
            break;
        }
    }
    if parts.len() < 2 {
        return vec![Part::whole(piece)];
    }
    let covered: Vec<Option<Bits>> = parts
        .par_iter()
        .map(|p| {
            let part = Piece::of(p, piece.corner(), false);
            let own = (size(p) >= least).then(|| runs::open(ground, &part.bits, part.corner()))?;
            (!own.is_empty()).then_some(own)
        })
        .collect();
    let unfit: Vec<bool> = covered.iter().map(Option::is_none).collect();
    join(parts, &unfit, rows, cols)
        .into_iter()
        .map(|(runs, alone)| Part {
            piece: Piece::of(&runs, piece.corner(), piece.cut),
            covered: alone.and_then(|i| covered[i].clone()),
        })
        .collect()
}

/// The uses at whose borders ground is cut. Unknown stands for ground that the map calls trees or shrubs and the
/// surface model shows open.
const PARTED: [CoverUse; 4] = [CoverUse::OpenGrass, CoverUse::Crop, CoverUse::Bare, CoverUse::Unknown];

/// The use that prevails in the 3 × 3 cells around each cell of a piece; the cell's own where none has more.
fn prevailing_uses(ground: &Ground<'_>, piece: &Piece) -> Vec<Option<CoverUse>> {
    let (rows, cols) = (piece.bits.rows, piece.bits.cols);
    let own: Vec<Option<CoverUse>> = (0..rows * cols)
        .into_par_iter()
        .with_min_len(cols)
        .map(|i| {
            let (row, col) = (i / cols, i % cols);
            let found = piece.bits.get(row, col).then(|| ground.cover_at(piece.top + row, piece.left + col)).flatten();
            found.map(|(_, used)| if used.is_open() { used } else { CoverUse::Unknown })
        })
        .collect();
    let around = |row: usize, col: usize| {
        let own_use = own[row * cols + col]?;
        let mut counts = [0u8; PARTED.len()];
        let slot = |used: CoverUse| PARTED.iter().position(|u| *u == used);
        for r in row.saturating_sub(1)..(row + 2).min(rows) {
            for c in col.saturating_sub(1)..(col + 2).min(cols) {
                if let Some(s) = own[r * cols + c].and_then(slot) {
                    counts[s] += 1;
                }
            }
        }
        let mut best = own_use;
        for used in PARTED {
            let count = |u: CoverUse| slot(u).map_or(0, |s| counts[s]);
            if count(used) > count(best) {
                best = used;
            }
        }
        Some(best)
    };
    (0..rows * cols).into_par_iter().with_min_len(cols).map(|i| around(i / cols, i % cols)).collect()
}

/// Joins each marked part with the neighbour it shares most of its border with; of equals, the first.
///
/// Gives each part's stretches, and its number of before where it was joined with nothing.
fn join(parts: Vec<Vec<Run>>, marked: &[bool], rows: usize, cols: usize) -> Vec<(Vec<Run>, Option<usize>)> {
    if !marked.contains(&true) {
        return parts.into_iter().enumerate().map(|(i, runs)| (runs, Some(i))).collect();
    }
    let mut label = vec![0u32; rows * cols];
    for (i, runs) in parts.iter().enumerate() {
        for run in runs {
            let start = run.row as usize * cols;
            label[start + run.from as usize..start + run.to as usize].fill(i as u32 + 1);
        }
    }
    let mut borders: BTreeMap<(u32, u32), usize> = BTreeMap::new();
    let mut meet = |a: u32, b: u32| {
        if a != b && a > 0 && b > 0 && (marked[a as usize - 1] || marked[b as usize - 1]) {
            *borders.entry((a - 1, b - 1)).or_default() += 1;
            *borders.entry((b - 1, a - 1)).or_default() += 1;
        }
    };
    for row in 0..rows {
        for col in 0..cols {
            let here = label[row * cols + col];
            if col + 1 < cols {
                meet(here, label[row * cols + col + 1]);
            }
            if row + 1 < rows {
                meet(here, label[(row + 1) * cols + col]);
            }
        }
    }
    let mut best: Vec<Option<(usize, u32)>> = vec![None; parts.len()];
    for (&(a, b), &length) in &borders {
        if marked[a as usize] && best[a as usize].is_none_or(|(longest, _)| length > longest) {
            best[a as usize] = Some((length, b));
        }
    }
    let mut parent: Vec<usize> = (0..parts.len()).collect();
    let root = |parent: &[usize], mut i: usize| {
        while parent[i] != i {
            i = parent[i];
        }
        i
    };
    for (i, neighbour) in best.iter().enumerate() {
        if let Some((_, n)) = neighbour {
            let (a, b) = (root(&parent, i), root(&parent, *n as usize));
            parent[a.max(b)] = a.min(b);
        }
    }
    let mut joined: BTreeMap<usize, (Vec<Run>, Option<usize>)> = BTreeMap::new();
    for (i, runs) in parts.into_iter().enumerate() {
        let (own, alone) = joined.entry(root(&parent, i)).or_insert_with(|| (Vec::new(), Some(i)));
        own.extend(runs);
        *alone = alone.filter(|first| *first == i);
    }
    joined.into_values().collect()
}

/// Cuts a piece across its longer axis until no part is larger than the largest field.
fn by_size(ground: &Ground<'_>, part: Part) -> Vec<Part> {
    let cell = ground.frame.cell_m;
    let most = (ground.options.largest_m2 / (cell * cell)).max(4.0 * least_cells(ground) as f64);
    if part.piece.bits.count() as f64 <= most {
        return vec![part];
    }
    let least = least_cells(ground);
    let mut done = Vec::new();
    let mut todo = vec![part.piece];
    while let Some(piece) = todo.pop() {
        if piece.bits.count() as f64 <= most {
            done.push(Part::cut(piece));
            continue;
        }
        let mut halves = [Bits::none(piece.bits.rows, piece.bits.cols), Bits::none(piece.bits.rows, piece.bits.cols)];
        let (row, col, axis) = middle_and_axis(&piece.bits);
        for run in piece.bits.runs() {
            // Along a row the cut is passed once, at most.
            let off = (f64::from(run.row) - row) * axis.1;
            let (left, cut) = if axis.0 > 0.0 {
                (0, (col - off / axis.0).floor() + 1.0)
            } else if axis.0 < 0.0 {
                (1, (col - off / axis.0).ceil())
            } else {
                (usize::from(off > 0.0), f64::INFINITY)
            };
            let cut = cut.clamp(f64::from(run.from), f64::from(run.to)) as u32;
            halves[left].set_run(Run { to: cut, ..run });
            halves[1 - left].set_run(Run { from: cut, ..run });
        }
        for half in halves.iter().rev() {
            for runs in components(half).into_iter().rev() {
                let part = Piece::of(&runs, piece.corner(), true);
                if part.bits.count() >= least {
                    todo.push(part);
                }
            }
        }
    }
    done
}

/// Middle (row, column) of a set, and the unit vector (along columns, along rows) in which it is longest.
fn middle_and_axis(bits: &Bits) -> (f64, f64, (f64, f64)) {
    let (mut n, mut sr, mut sc, mut rr, mut cc, mut rc) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for run in bits.runs() {
        let (count, row) = (f64::from(run.to - run.from), f64::from(run.row));
        let (a, b) = (f64::from(run.from), f64::from(run.to - 1));
        let sum = (a + b) / 2.0 * count;
        // Σ i² from a to b.
        let square = |m: f64| m * (m + 1.0) * (2.0 * m + 1.0) / 6.0;
        n += count;
        sr += row * count;
        sc += sum;
        rr += row * row * count;
        cc += square(b) - square(a - 1.0);
        rc += row * sum;
    }
    let (row, col) = (sr / n, sc / n);
    let (vr, vc, cov) = (rr / n - row * row, cc / n - col * col, rc / n - row * col);
    let angle = 0.5 * math::atan2(2.0 * cov, vc - vr);
    let (sin, cos) = math::sin_cos(angle);
    (row, col, (cos, sin))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn components_are_those_of_a_flood(cells in prop::collection::vec(any::<bool>(), 12 * 17)) {
            let (rows, cols) = (12usize, 17usize);
            let mut bits = Bits::none(rows, cols);
            for (i, _) in cells.iter().enumerate().filter(|(_, c)| **c) {
                bits.set(i / cols, i % cols);
            }
            let found = components(&bits);
            let mut label = vec![usize::MAX; rows * cols];
            for (k, runs) in found.iter().enumerate() {
                for run in runs {
                    for c in run.from..run.to {
                        label[run.row as usize * cols + c as usize] = k;
                    }
                }
            }
            // Neighbours have one label; a flood from any cell of a component reaches all of it.
            let mut flooded = vec![false; rows * cols];
            let mut floods = 0;
            for start in 0..rows * cols {
                prop_assert_eq!(cells[start], label[start] != usize::MAX);
                if !cells[start] || flooded[start] {
                    continue;
                }
                floods += 1;
                let mut todo = vec![start];
                flooded[start] = true;
                while let Some(i) = todo.pop() {
                    prop_assert_eq!(label[i], label[start]);
                    let (r, c) = (i / cols, i % cols);
                    let mut near = Vec::new();
                    if r > 0 { near.push(i - cols); }
                    if r + 1 < rows { near.push(i + cols); }
                    if c > 0 { near.push(i - 1); }
                    if c + 1 < cols { near.push(i + 1); }
                    for j in near {
                        if cells[j] && !flooded[j] {
                            flooded[j] = true;
                            todo.push(j);
                        }
                    }
                }
            }
            prop_assert_eq!(floods, found.len());
        }
    }

    #[test]
    fn the_axis_is_that_of_a_bar() {
        let mut bits = Bits::none(40, 40);
        for i in 0..30 {
            for w in 0..4 {
                bits.set(i + 5, i + 2 + w);
            }
        }
        let (row, col, axis) = middle_and_axis(&bits);
        assert!((row - 19.5).abs() < 1e-9 && (col - 18.0).abs() < 1e-9);
        assert!((axis.0.abs() - axis.1.abs()).abs() < 0.03 && axis.0 * axis.1 > 0.0);
    }

    #[test]
    fn a_marked_part_goes_with_its_longest_neighbour() {
        // Three columns of parts: the middle one touches the left one over two rows and the right one over three.
        let left = vec![Run { row: 0, from: 0, to: 2 }, Run { row: 1, from: 0, to: 2 }];
        let middle = (0..3).map(|row| Run { row, from: 2, to: 3 }).collect::<Vec<_>>();
        let right = (0..3).map(|row| Run { row, from: 3, to: 5 }).collect::<Vec<_>>();
        let joined = join(vec![left.clone(), middle, right], &[false, true, false], 3, 5);
        assert_eq!(joined.len(), 2);
        assert_eq!(joined[0], (left, Some(0)));
        assert_eq!((joined[1].0.len(), joined[1].1), (6, None));
    }
}
