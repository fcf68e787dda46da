//! What stands on the sides of a field, from a surface model less the terrain.

use super::standing::Standing;
use crate::fields::model::{BoundaryEdge, EdgeKind, Field};
use crate::position::Xy;
use serde::{Deserialize, Serialize};

/// The percentile of the heights along a side that is taken as its height: what an approach has to clear nearly
/// everywhere, not moved by one twig or one bird. Common practice, no source.
pub const HEIGHT_PERCENTILE: f64 = 0.9;
/// How far inside the line of a side is looked, metres. Sides are drawn along the foot of a hedge or its middle.
pub const INSIDE_M: f64 = 3.0;
/// How far outside the line of a side is looked, metres.
pub const OUTSIDE_M: f64 = 6.0;
/// What stands lower than this is grass, crop or error, metres. Common practice, no source.
pub const LOWEST_M: f64 = 0.7;
/// From here up a hedge is a row of trees, metres. From memory: hedges are cut at 1.5 to 3 m, overgrown ones reach 5 m.
pub const TREES_FROM_M: f64 = 5.0;
/// A surface model shows no wire fence, so no side is taken as lower than one, metres. From memory.
pub const FENCE_M: f64 = 1.4;
/// A roof is even, heights next to each other differing by less than this, metres; a cut hedge is as even, but not as
/// deep as a house ([`HOUSE_DEPTH_M`]). Common practice, no source.
const EVEN_M: f64 = 0.4;
/// What is at least this deep is no hedge, metres. Common practice, no source.
const HOUSE_DEPTH_M: f64 = 4.0;
/// And at least so many posts deep: a hedge that reaches into a post's square makes all of it look tall.
const HOUSE_DEPTH_POSTS: f64 = 2.25;
/// Share of a side that has to be measured before it is told.
const ENOUGH: f64 = 0.5;
/// Most places looked at along one side.
const MOST_PLACES: usize = 2_000;

/// What a surface model shows on a side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SeenKind {
    /// Nothing as high as a hedge; wires and fences are not seen.
    Nothing,
    /// A hedge, or something as low as one.
    Hedge,
    /// Trees.
    TreeLine,
    /// Something high and even: a building.
    Building,
}

impl SeenKind {
    /// The name in plain words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Nothing => "nothing seen",
            Self::Hedge => "hedge",
            Self::TreeLine => "tree line",
            Self::Building => "building",
        }
    }
}

/// What was measured on one side of a field.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EdgeHeight {
    /// What it looks like; a guess from heights alone. `None` where too little of the side was measured.
    pub kind: Option<SeenKind>,
    /// The percentile [`HEIGHT_PERCENTILE`] of the heights along the side, metres, never negative.
    pub height_m: f64,
    /// The highest place along the side, metres.
    pub highest_m: f64,
    /// One standard error of the height, metres: noise of the model, and what the open ground beside it reads instead
    /// of zero.
    pub error_m: f64,
    /// Share of the side along which something stands higher than [`LOWEST_M`].
    pub grown: f64,
    /// Share of the side that was measured.
    pub measured: f64,
}

impl EdgeHeight {
    /// Not measured at all.
    pub const UNKNOWN: Self =
        Self { kind: None, height_m: f64::NAN, highest_m: f64::NAN, error_m: f64::NAN, grown: 0.0, measured: 0.0 };

    /// The measurement as what stands on a side: its height rounded up to 0.1 m, and never lower than a fence.
    ///
    /// Where nothing was seen the kind stays unknown, because a surface model does not show fences and wires.
    #[must_use]
    pub fn edge(&self) -> BoundaryEdge {
        let kind = match self.kind {
            None => return BoundaryEdge::UNKNOWN,
            Some(SeenKind::Hedge) => EdgeKind::Hedge,
            Some(SeenKind::TreeLine) => EdgeKind::TreeLine,
            Some(SeenKind::Nothing | SeenKind::Building) => EdgeKind::Unknown,
        };
        let height = (self.height_m.max(FENCE_M) * 10.0 - 1e-6).ceil() / 10.0;
        BoundaryEdge { kind, height_m: Some(height) }
    }
}

/// What stands on every side of a drawn field, in the order of its sides.
#[must_use]
pub fn boundary_heights(field: &Field, standing: &Standing) -> Vec<EdgeHeight> {
    side_heights(&field.outer, standing)
}

/// What stands on every side of an anticlockwise open ring: side `i` runs from vertex `i` to the next.
///
/// # Method
/// At every post spacing along a side, the highest post of a band from [`INSIDE_M`] inside to [`OUTSIDE_M`] outside
/// counts, so that a hedge is found wherever it stands beside the drawn line. The side's height is a percentile of
/// those. Open ground from two to five bands farther in tells how much the model errs here.
///
/// # Accuracy
/// A maximum of noisy heights is too high by up to twice their noise, which is within the stated error; a hedge
/// narrower than the spacing of the posts can be missed.
#[must_use]
pub fn side_heights(ring: &[Xy], standing: &Standing) -> Vec<EdgeHeight> {
    (0..ring.len()).map(|i| side(ring[i], ring[(i + 1) % ring.len()], standing)).collect()
}

fn side(a: Xy, b: Xy, standing: &Standing) -> EdgeHeight {
    let (cell, along) = (standing.frame.cell_m, b - a);
    let length = along.norm();
    if !(length > 0.0 && length.is_finite() && cell > 0.0) {
        return EdgeHeight::UNKNOWN;
    }
    let u = along * (1.0 / length);
    // An anticlockwise ring has its inside to the left.
    let inward = Xy::new(-u.y, u.x);
    // A post may lie half a spacing off either way.
    let (inside, outside) = (INSIDE_M.max(0.75 * cell), OUTSIDE_M.max(0.75 * cell));
    let step = (0.5 * cell).max(length / MOST_PLACES as f64);
    let count = (length / step).ceil().max(1.0) as usize;
    let across = |from: f64, to: f64| {
        let n = ((to - from) / (0.5 * cell)).ceil().max(1.0) as usize;
        (0..=n).map(move |k| from + (to - from) * k as f64 / n as f64)
    };
    let mut profile = Vec::with_capacity(count);
    let mut depths = Vec::with_capacity(count);
    let mut open = Vec::new();
    for i in 0..count {
        let p = a + u * ((i as f64 + 0.5) * length / count as f64);
        let mut highest: Option<f64> = None;
        let (mut looked, mut tall) = (0.0, 0.0);
        for off in across(-outside, inside) {
            looked += 1.0;
            if let Some(h) = standing.at(p + inward * off) {
                highest = Some(highest.map_or(h, |top: f64| top.max(h)));
                tall += if h > LOWEST_M { 1.0 } else { 0.0 };
            }
        }
        if let Some(highest) = highest {
            profile.push(highest);
            depths.push(tall / looked * (inside + outside));
        }
        open.extend(across(2.0 * inside, 5.0 * inside).filter_map(|off| standing.at(p + inward * off)));
    }
    let measured = profile.len() as f64 / count as f64;
    if profile.is_empty() {
        return EdgeHeight::UNKNOWN;
    }
    let grown = profile.iter().filter(|h| **h > LOWEST_M).count() as f64 / profile.len() as f64;
    // Neighbours along the side, before they are put into order.
    let mut leaps: Vec<f64> =
        profile.windows(2).filter(|p| p[0].min(p[1]) > LOWEST_M).map(|p| (p[1] - p[0]).abs()).collect();
    let leap = percentile(&mut leaps, 0.8);
    let depth = percentile(&mut depths, 0.5).unwrap_or(0.0);
    let height_m = percentile(&mut profile, HEIGHT_PERCENTILE).unwrap_or(0.0).max(0.0);
    let highest_m = profile.last().copied().unwrap_or(0.0).max(0.0);
    let kind = if height_m < LOWEST_M {
        SeenKind::Nothing
    } else if depth >= HOUSE_DEPTH_M.max(HOUSE_DEPTH_POSTS * cell)
        && leaps.len() >= 3
        && leap.is_some_and(|l| l < EVEN_M)
    {
        SeenKind::Building
    } else if height_m < TREES_FROM_M {
        SeenKind::Hedge
    } else {
        SeenKind::TreeLine
    };
    // Median and spread of what should read zero; crops and a shift between the models show up here.
    let noise = match percentile(&mut open, 0.5) {
        Some(median) if open.len() >= 5 => {
            let mut off: Vec<f64> = open.iter().map(|h| (h - median).abs()).collect();
            // 1.4826: a normal distribution's standard deviation over its median absolute deviation.
            let spread = 1.482_6 * percentile(&mut off, 0.5).unwrap_or(0.0);
            (spread * spread + median * median).sqrt()
        }
        _ => 0.0,
    };
    let error_m = noise.max(standing.error_m);
    EdgeHeight { kind: (measured >= ENOUGH).then_some(kind), height_m, highest_m, error_m, grown, measured }
}

/// The value below which a share of the list lies (nearest rank); puts the list into order.
fn percentile(list: &mut [f64], share: f64) -> Option<f64> {
    list.sort_by(f64::total_cmp);
    let rank = (share * list.len() as f64).ceil().max(1.0) as usize;
    list.get(rank.min(list.len()).checked_sub(1)?).copied()
}
