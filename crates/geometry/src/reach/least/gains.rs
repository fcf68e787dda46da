//! What one more field would cover that nothing covers now, for many fields one by one.
//!
//! A field can only lower the least height, so only the cells that it lowers are computed: its way outwards starts from the
//! heights there are, and what it changed is then taken back for the next one.

use super::super::departure::Turning;
use super::super::floor::Floor;
use super::LeastError;
use super::cells::Cells;
use super::map::LeastHeights;
use super::sight::Sight;
use super::solve::{Label, NONE, Solver};
use crate::air::Wind;
use crate::aircraft::Aircraft;
use crate::fields::demand::Demand;
use crate::grid::Terrain;
use crate::reach::ReachOptions;
use core::ops::Range;
use rayon::prelude::*;

/// Parts the candidates are shared out to, which bounds memory on any number of threads.
const PARTS: usize = 4;

/// What each of some fields would cover that nothing covers now.
#[derive(Clone, Debug, PartialEq)]
pub struct Gains {
    /// Area of a cell, square metres.
    cell_m2: f64,
    /// How many fields each cell still lacks; 0 where it is covered or the ground is not known.
    lacks: Vec<u8>,
    /// For each field the cells without cover that it covers, as ranges in order.
    each: Vec<Vec<Range<u32>>>,
}

/// One field of a list in which each helps most after those before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SurveyStep {
    /// Index into the candidates.
    pub candidate: usize,
    /// What it covers that those before it do not, square metres.
    pub gain_m2: f64,
    /// What it would cover alone, square metres.
    pub alone_m2: f64,
    /// What is still not covered after it, square metres.
    pub left_m2: f64,
}

impl Gains {
    /// Area that nothing covers now, square metres.
    #[must_use]
    pub fn uncovered_m2(&self) -> f64 {
        self.lacks.iter().filter(|l| **l > 0).count() as f64 * self.cell_m2
    }

    /// What a field would close alone, square metres.
    #[must_use]
    pub fn alone_m2(&self, candidate: usize) -> f64 {
        self.closed(&self.lacks, candidate) as f64 * self.cell_m2
    }

    /// The fields that help most, each the best after those before it, until none helps or there are so many. Of two that
    /// help as much the one with the smaller index comes first.
    #[must_use]
    pub fn best(&self, most: usize) -> Vec<SurveyStep> {
        let mut lacks = self.lacks.clone();
        let mut left: usize = lacks.iter().filter(|l| **l > 0).count();
        let mut taken = vec![false; self.each.len()];
        let mut steps = Vec::new();
        while steps.len() < most {
            let open = (0..self.each.len()).filter(|c| !taken[*c]);
            let best = open.map(|c| (self.closed(&lacks, c), c)).max_by(|a, b| a.0.cmp(&b.0).then(b.1.cmp(&a.1)));
            let Some((closed, candidate)) = best.filter(|(closed, _)| *closed > 0) else { break };
            taken[candidate] = true;
            for cell in self.each[candidate].iter().flat_map(Clone::clone) {
                lacks[cell as usize] = lacks[cell as usize].saturating_sub(1);
            }
            left -= closed;
            steps.push(SurveyStep {
                candidate,
                gain_m2: closed as f64 * self.cell_m2,
                alone_m2: self.alone_m2(candidate),
                left_m2: left as f64 * self.cell_m2,
            });
        }
        steps
    }

    /// How many cells lack nothing more once a field counts.
    fn closed(&self, lacks: &[u8], candidate: usize) -> usize {
        let runs = &self.each[candidate];
        runs.iter()
            .map(|r| lacks[r.start as usize..r.end as usize].iter().map(|l| usize::from(*l == 1)).sum::<usize>())
            .sum()
    }
}

/// What each candidate would cover from a height above the ground that the fields of a map do not.
///
/// `base` must have been made over this terrain for this aircraft, wind and glide. The same on any number of threads.
///
/// # Errors
/// When a number is not finite, or when stopped.
#[allow(clippy::too_many_arguments, reason = "what the map was made from, and the two ways to talk back")]
pub fn gains(
    base: &LeastHeights,
    terrain: &Terrain,
    aircraft: &Aircraft,
    wind: &Wind,
    glide: &ReachOptions,
    candidates: &[Demand],
    height_agl_m: f64,
    progress: &(dyn Fn(f32) + Sync),
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<Gains, LeastError> {
    let finite = candidates.iter().all(|d| d.overhead.x.is_finite() && d.overhead.y.is_finite());
    if !height_agl_m.is_finite() || !finite || terrain.heights_m.len() != base.frame.len() {
        return Err(LeastError::NotFinite);
    }
    let enough = |cell: usize| f64::from(terrain.heights_m[cell]) + height_agl_m;
    let lacks: Vec<u8> = (0..base.frame.len())
        .map(|cell| {
            if !terrain.heights_m[cell].is_finite() {
                return 0;
            }
            let own = base.own(cell / base.frame.cols, cell % base.frame.cols);
            (base.count - own.iter().take(base.count).filter(|label| label.height <= enough(cell)).count()) as u8
        })
        .collect();
    // Nothing above the highest place asked about matters.
    let highest = terrain.range().map_or(0.0, |(_, high)| high) + height_agl_m;
    let turning = Turning::new(aircraft, wind, base.ceiling_amsl_m, glide);
    let blocks = base.cells.blocks;
    let empty = |cell: usize| {
        // Where two fields are needed it counts what a field covers, and not whether it is the best.
        let (row, col) = blocks.place(cell);
        let inside = row < base.frame.rows && col < base.frame.cols;
        let height = if base.count == 1 && inside { base.own(row, col)[0].height } else { f64::INFINITY };
        Label { height, bend: NONE, demand: NONE }
    };
    let start = Cells::of(blocks, (0..blocks.len()).into_par_iter().map(empty).collect());
    let done = std::sync::atomic::AtomicUsize::new(0);
    let part = candidates.len().div_ceil(PARTS).max(1);
    let each = candidates
        .par_chunks(part)
        .map(|part| {
            let mut solver = Solver {
                blocks,
                floor: Floor { terrain, pyramid: &base.pyramid, clearance_m: base.clearance_m },
                descent: &base.descent,
                turning: &turning,
                demands: &[],
                ceiling: base.ceiling_amsl_m.min(highest),
                low: terrain.range().map_or(0.0, |(low, _)| low),
                bends: Vec::new(),
                cells: start.clone(),
                buckets: Vec::new(),
                lowest: 0,
                overwritten: Some(Vec::new()),
                sight: Sight::new(base.pyramid.small_rows * base.pyramid.small_cols),
            };
            let mut found = Vec::with_capacity(part.len());
            for candidate in part {
                found.push(covered_by(&mut solver, candidate, &lacks, &enough, stopped)?);
                let done = done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
                progress(done as f32 / candidates.len() as f32);
            }
            Ok(found)
        })
        .collect::<Result<Vec<_>, LeastError>>()?;
    let cell_m2 = base.frame.cell_m * base.frame.cell_m;
    Ok(Gains { cell_m2, lacks, each: each.into_iter().flatten().collect() })
}

/// The cells that lack a field and that a candidate covers; leaves the solver as it was.
fn covered_by<'a>(
    solver: &mut Solver<'a>,
    candidate: &'a Demand,
    lacks: &[u8],
    enough: &dyn Fn(usize) -> f64,
    stopped: &(dyn Fn() -> bool + Sync),
) -> Result<Vec<Range<u32>>, LeastError> {
    solver.demands = core::slice::from_ref(candidate);
    solver.bends.clear();
    solver.sight.clear();
    solver.buckets.iter_mut().for_each(Vec::clear);
    solver.lowest = 0;
    solver.sources();
    solver.spread(&|_| {}, &|| stopped())?;
    let overwritten = solver.overwritten.replace(Vec::new()).unwrap_or_default();
    let cols = solver.floor.terrain.frame.cols;
    let mut cells: Vec<u32> = overwritten
        .iter()
        .filter_map(|(cell, _)| {
            let (row, col) = solver.blocks.place(*cell as usize);
            let at = row * cols + col;
            (lacks[at] > 0 && solver.cells.kept(*cell as usize)[0].height <= enough(at)).then_some(at as u32)
        })
        .collect();
    cells.sort_unstable();
    cells.dedup();
    for (cell, label) in overwritten.into_iter().rev() {
        solver.cells.put_back(cell as usize, label);
    }
    let mut runs: Vec<Range<u32>> = Vec::new();
    for cell in cells {
        match runs.last_mut() {
            Some(run) if run.end == cell => run.end += 1,
            _ => runs.push(cell..cell + 1),
        }
    }
    Ok(runs)
}
