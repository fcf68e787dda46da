//! Climb-outs off every end of the home strip, and one height of them, each on a thread of its own.

use super::asked::{Asked, Reins};
use crate::climb_out::climb_out;
use crate::model::{ClimbOutAsk, ClimbOutsAt, ClimbOutsMade};
use sparefield_data::area::Area;
use sparefield_geometry::climb_out::ClimbOutOptions;
use std::sync::Arc;

/// The climb-outs a height is asked of, the same only as themselves, and the height above the runway, metres.
#[derive(Clone, Debug)]
pub struct HeightAsk(pub Arc<ClimbOutsMade>, pub f64);

impl PartialEq for HeightAsk {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0) && self.1.total_cmp(&other.1).is_eq()
    }
}

/// Everything about climb-outs that is being worked out.
#[derive(Default)]
pub struct ClimbOutJob {
    /// The climb-outs, height by height.
    pub made: Asked<ClimbOutAsk, ClimbOutsMade>,
    /// One height of them.
    pub at: Asked<HeightAsk, ClimbOutsAt>,
}

/// The climb-outs off every end; `None` when stopped.
pub fn climb_outs(area: &Arc<Area>, ask: &ClimbOutAsk, reins: &Reins) -> Option<ClimbOutsMade> {
    let home = area.home.as_ref()?;
    let mut ends = Vec::new();
    for (i, end) in home.ends.iter().enumerate() {
        let tell = |share: f32| reins.report((i as f32 + share) / home.ends.len() as f32);
        tell(0.0);
        let options = ClimbOutOptions::default();
        let made = climb_out(area, Some(&end.name), &ask.conditions, options, &|| reins.stopped(), &tell);
        if reins.stopped() {
            return None;
        }
        ends.push(made.map_err(|why| why.to_string()));
    }
    Some(ClimbOutsMade { ask: ask.clone(), ends })
}

/// What is in reach at one height; `None` when stopped.
pub fn climb_outs_at(ask: &HeightAsk, reins: &Reins) -> Option<ClimbOutsAt> {
    let HeightAsk(of, height_m) = ask;
    let mut ends = Vec::new();
    for end in &of.ends {
        if reins.stopped() {
            return None;
        }
        ends.push(end.as_ref().ok().and_then(|answer| answer.at(*height_m, &|| reins.stopped()).ok()));
    }
    // What was cut short must not be taken for an answer.
    if reins.stopped() {
        return None;
    }
    Some(ClimbOutsAt { of: Arc::clone(of), height_m: *height_m, ends })
}
