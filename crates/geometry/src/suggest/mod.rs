//! Fields suggested by the computer, and boundary heights measured from a surface model.
//!
//! # Method
//! Masks take away what cannot be a field: ground that is steep or rough over a window, land cover that is not open,
//! what stands on the ground, what is dead level as water is, what lies too near to known hazards, and fields that are known already. Of the rest,
//! only the ground stays that a strip of the needed length and width covers at one of 36 headings with its slopes
//! along and across within their limits. What hangs together is cut where its use changes, outlined, and measured.
//!
//! # Accuracy
//! The input is the ceiling: a global land-cover map is right about three times in four, and a 30 m surface model
//! cannot tell a slope of 2 % from a level field. So a suggestion is a place to look at, never a field; it says what
//! was checked and what was not.
//!
//! The same input gives the same bits on any number of threads.

mod bits;
mod cover;
mod edges;
mod ground;
mod level;
mod mask;
mod measure;
mod outline;
mod proposal;
mod regions;
mod runs;
mod scene;
mod standing;
mod suited;
#[cfg(test)]
mod tests;

pub use cover::{ClassTable, CoverClass, CoverUse, LandCover, NO_CLASS};
pub use edges::{
    EdgeHeight, FENCE_M, HEIGHT_PERCENTILE, INSIDE_M, LOWEST_M, OUTSIDE_M, SeenKind, TREES_FROM_M, boundary_heights,
    side_heights,
};
pub use proposal::{Checked, CoverFound, NotChecked, Part, PartKind, Proposal};
pub use scene::{
    Barrier, CLOSE_POSTS_M, HEADINGS, KEEP_OFF_RIVER_M, KEEP_OFF_ROAD_M, KEEP_OFF_WIRES_M, MOST_CELLS, Options, Scene,
    SuggestError,
};
pub use standing::Standing;

use mask::Ground;
use rayon::prelude::*;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Suggestions {
    /// The proposals, best score first.
    pub proposals: Vec<Proposal>,
    /// Side of a cell of the search, metres.
    pub cell_m: f64,
    /// Ground searched, m².
    pub searched_m2: f64,
    /// Ground that no mask forbids, m².
    pub free_m2: f64,
    /// Ground that strips cover, m².
    pub covered_m2: f64,
    /// Ground left out because it is dead level, as terrain models show water, m².
    pub dead_level_m2: f64,
    /// Pieces in whose outline the needed length did not fit after all.
    pub too_short: usize,
}

/// Suggests fields.
///
/// `progress` is told the share done, from 0 to 1; `cancel` is asked regularly whether to stop.
///
/// # Errors
/// For options that cannot be worked with, terrain too small for a slope, too many cells, or when stopped.
pub fn suggest(
    scene: &Scene<'_>,
    options: &Options,
    progress: &(dyn Fn(f64) + Sync),
    cancel: &(dyn Fn() -> bool + Sync),
) -> Result<Suggestions, SuggestError> {
    options.check()?;
    let stop = || if cancel() { Err(SuggestError::Cancelled) } else { Ok(()) };
    stop()?;
    let ground = Ground::new(*scene, *options, cancel)?;
    progress(0.3);
    let covered = runs::open_all(&ground, cancel);
    stop()?;
    progress(0.5);
    let pieces = regions::pieces(&ground, &covered, &|share| progress(0.5 + 0.25 * share), cancel);
    stop()?;
    let done = AtomicUsize::new(0);
    let count = pieces.len().max(1) as f64;
    let measured: Vec<Option<Proposal>> = pieces
        .par_iter()
        .map(|piece| {
            if cancel() {
                return None;
            }
            let proposal = measure::propose(&ground, piece);
            progress(0.75 + 0.25 * (done.fetch_add(1, Ordering::Relaxed) as f64 / count));
            proposal
        })
        .collect();
    stop()?;
    let too_short = measured.iter().filter(|p| p.is_none()).count();
    let mut proposals: Vec<Proposal> = measured.into_iter().flatten().collect();
    // Pieces come in the order of the grid, which stays among equals.
    proposals.sort_by(|a, b| b.score.total_cmp(&a.score));
    proposals.truncate(options.most);
    progress(1.0);
    let cell_m2 = ground.frame.cell_m * ground.frame.cell_m;
    Ok(Suggestions {
        proposals,
        cell_m: ground.frame.cell_m,
        searched_m2: ground.frame.len() as f64 * cell_m2,
        free_m2: ground.free.count() as f64 * cell_m2,
        dead_level_m2: ground.dead_level as f64 * cell_m2,
        covered_m2: covered.count() as f64 * cell_m2,
        too_short,
    })
}
