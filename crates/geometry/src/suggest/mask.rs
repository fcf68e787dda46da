//! The cells on which a field may lie at all.

use super::bits::{Bits, Run};
use super::cover::{CoverUse, LandCover, NO_CLASS};
use super::ground;
use super::level::Level;
use super::scene::{Barrier, CLOSE_POSTS_M, MOST_CELLS, Options, Scene, SuggestError};
use super::standing::Standing;
use super::suited::{Posts, Suited};
use crate::fields::hazards::{outline, segments};
use crate::fields::model::HazardShape;
use crate::grid::{GridFrame, Terrain};
use crate::math;
use crate::position::{Bearing, Xy};
use crate::raster;

/// Cells across the strip that the search aims for, at least and at most.
const ACROSS: (f64, f64) = (2.5, 8.0);

/// The grid of the search, what is free on it, and the slopes under it.
pub(super) struct Ground<'a> {
    pub(super) scene: Scene<'a>,
    pub(super) options: Options,
    pub(super) frame: GridFrame,
    /// Cells that no mask forbids.
    pub(super) free: Bits,
    /// Free cells whose slopes suit each heading.
    pub(super) suited: Suited,
    /// Land-cover cell under each row and column of the search, and what its classes are used for.
    cover: Option<Under>,
    /// Cells that would have been free but are dead level.
    pub(super) dead_level: usize,
    /// Whether water may pass for level ground, the terrain being in whole metres.
    pub(super) whole_metres: bool,
}

/// The cell that suits the data: the finest of them, with a few cells across the strip.
fn cell_for(scene: &Scene<'_>, options: &Options) -> Result<f64, SuggestError> {
    let (low, high) = scene.terrain.frame.bounds();
    let cells = |cell: f64| ((high.x - low.x) / cell + 1.0) * ((high.y - low.y) / cell + 1.0);
    if let Some(cell_m) = options.cell_m {
        let count = cells(cell_m);
        return if count <= MOST_CELLS as f64 {
            Ok(cell_m)
        } else {
            Err(SuggestError::TooLarge { cell_m, millions: count / 1e6 })
        };
    }
    let finest = [scene.cover.map(|c| c.frame.cell_m), scene.standing.map(|s| s.frame.cell_m)]
        .into_iter()
        .flatten()
        .fold(scene.terrain.frame.cell_m, f64::min);
    let mut cell = finest.clamp(options.strip_width_m / ACROSS.1, options.strip_width_m / ACROSS.0);
    while cells(cell) > MOST_CELLS as f64 {
        cell *= 1.25;
    }
    Ok(cell)
}

impl<'a> Ground<'a> {
    pub(super) fn new(
        scene: Scene<'a>,
        options: Options,
        cancel: &(dyn Fn() -> bool + Sync),
    ) -> Result<Self, SuggestError> {
        let terrain = scene.terrain;
        let posts = terrain.frame;
        let half = ((options.window_m / posts.cell_m / 2.0).round() as usize).clamp(1, ground::WIDEST_HALF);
        if posts.rows < 2 * half + 1 || posts.cols < 2 * half + 1 || terrain.heights_m.len() != posts.len() {
            return Err(SuggestError::TooSmall { cols: posts.cols, rows: posts.rows });
        }
        let cell_m = cell_for(&scene, &options)?;
        let frame = if cell_m == posts.cell_m {
            posts
        } else {
            let (low, high) = posts.bounds();
            let count = |extent: f64| ((extent / cell_m + 1e-6).floor() as usize).max(1);
            let (cols, rows) = (count(high.x - low.x), count(high.y - low.y));
            GridFrame { origin: Xy::new(low.x + cell_m / 2.0, high.y - cell_m / 2.0), cell_m, cols, rows }
        };
        let stop = || if cancel() { Err(SuggestError::Cancelled) } else { Ok(()) };
        let planes = ground::planes(terrain, half, cancel);
        stop()?;
        let nearest = |fraction: f64, last: usize| fraction.round().clamp(0.0, last as f64) as usize;
        let post_rows: Vec<usize> =
            (0..frame.rows).map(|r| nearest(posts.fractional(frame.centre(r, 0)).0, posts.rows - 1)).collect();
        let post_cols: Vec<usize> =
            (0..frame.cols).map(|c| nearest(posts.fractional(frame.centre(0, c)).1, posts.cols - 1)).collect();
        let steps = posts.cell_m <= CLOSE_POSTS_M;
        let (along, across) = (options.max_slope_along as f32, options.max_slope_across as f32);
        let (rough, step) = (options.max_roughness_m as f32, options.max_step_m as f32);
        // Beyond this steepness no heading has both slopes within their limits.
        let steepest2 = along * along + across * across;
        let level2 = along.min(across) * along.min(across);
        let ok = |at: usize, limit2: f32| {
            let (e, n) = (planes.east[at], planes.north[at]);
            e * e + n * n <= limit2 && planes.roughness_m[at] <= rough && (!steps || planes.step_m[at].abs() <= step)
        };
        // One post often lies under several cells; its answer is looked up.
        let on_posts = |limit2: f32| {
            Bits::by_rows(posts.rows, posts.cols, |row, words| {
                for col in 0..posts.cols {
                    words[col / 64] |= u64::from(ok(row * posts.cols + col, limit2)) << (col % 64);
                }
            })
        };
        let spread = |bits: Bits| {
            if frame == posts {
                return bits;
            }
            Bits::by_rows(frame.rows, frame.cols, |row, words| {
                for (col, &post) in post_cols.iter().enumerate() {
                    words[col / 64] |= u64::from(bits.get(post_rows[row], post)) << (col % 64);
                }
            })
        };
        let mut free = spread(on_posts(steepest2));
        stop()?;
        let seen = scene.standing.map(|standing| Seen::new(standing, &frame, options.standing_m));
        let under = scene.cover.map(|cover| Under::new(cover, &frame));
        if let Some((cover, under)) = scene.cover.zip(under.as_ref()) {
            let mut open = under.of_use(cover, CoverUse::is_open);
            if let Some(seen) = &seen {
                // A surface model that shows nothing there outweighs a map that says trees or shrubs.
                let mut grown = under.of_use(cover, |used| matches!(used, CoverUse::Trees | CoverUse::Shrub));
                grown.keep(&seen.known);
                grown.take(&seen.tall);
                open.add(&grown);
            }
            free.keep(&open);
        }
        if let Some(seen) = &seen {
            free.take(&seen.tall);
        }
        stop()?;
        for barrier in scene.barriers {
            block(&mut free, &frame, barrier);
        }
        for field in scene.fields {
            fill(&mut free, &frame, &field.outer, &[]);
        }
        stop()?;
        let level = Level::of(terrain);
        let before = free.count();
        if !level.posts.is_empty() {
            free.take(&spread(level.posts));
        }
        let dead_level = before - free.count();
        stop()?;
        let mut gentle = spread(on_posts(level2));
        gentle.keep(&free);
        let whole_metres = level.whole_metres;
        let posts = Posts { rows: &post_rows, cols: &post_cols, in_a_row: posts.cols };
        let suited = Suited::of(&free, &gentle, &planes, &posts, &options);
        stop()?;
        Ok(Self { scene, options, frame, free, suited, cover: under, dead_level, whole_metres })
    }

    /// Class number and use under a cell; `None` without a land-cover map.
    pub(super) fn cover_at(&self, row: usize, col: usize) -> Option<(u16, CoverUse)> {
        let (cover, under) = self.scene.cover.zip(self.cover.as_ref())?;
        let class = under.class(cover, row, col);
        Some((class, under.uses[class as usize]))
    }

    /// Whether the terrain's windows lie over bare ground.
    pub(super) fn terrain(&self) -> &Terrain {
        self.scene.terrain
    }
}

/// Where the cells of the search lie on a land-cover map, looked up once for every row and column.
struct Under {
    rows: Vec<Option<usize>>,
    cols: Vec<Option<usize>>,
    /// What each class number is used for.
    uses: Vec<CoverUse>,
}

impl Under {
    fn new(cover: &LandCover, frame: &GridFrame) -> Self {
        let cell = |fraction: f64, count: usize| {
            let at = (fraction + 0.5).floor();
            (at >= 0.0 && at < count as f64).then_some(at as usize)
        };
        let on = cover.frame;
        Self {
            rows: (0..frame.rows).map(|r| cell(on.fractional(frame.centre(r, 0)).0, on.rows)).collect(),
            cols: (0..frame.cols).map(|c| cell(on.fractional(frame.centre(0, c)).1, on.cols)).collect(),
            uses: (0..=u16::MAX).map(|code| cover.table.used(code)).collect(),
        }
    }
    fn class(&self, cover: &LandCover, row: usize, col: usize) -> u16 {
        let cell = self.rows[row].zip(self.cols[col]).map(|(r, c)| r * cover.frame.cols + c);
        cell.and_then(|i| cover.classes.get(i).copied()).unwrap_or(NO_CLASS)
    }
    /// Cells whose land cover has one of some uses.
    fn of_use(&self, cover: &LandCover, wanted: impl Fn(CoverUse) -> bool) -> Bits {
        let open: Vec<bool> = self.uses.iter().map(|used| wanted(*used)).collect();
        let width = cover.frame.cols;
        Bits::by_rows(self.rows.len(), self.cols.len(), |row, words| {
            let Some(line) = self.rows[row] else { return };
            let Some(classes) = cover.classes.get(line * width..(line + 1) * width) else { return };
            for (col, &from) in self.cols.iter().enumerate() {
                let is_open = from.is_some_and(|c| open[classes[c] as usize]);
                words[col / 64] |= u64::from(is_open) << (col % 64);
            }
        })
    }
}

/// What a surface model shows on the cells of the search.
struct Seen {
    /// Cells with a height.
    known: Bits,
    /// Cells on which something stands: the highest post within a cell counts, the nearest where posts are farther
    /// apart.
    tall: Bits,
}

impl Seen {
    fn new(standing: &Standing, frame: &GridFrame, limit_m: f64) -> Self {
        let limit = limit_m as f32;
        Self { known: any_post(standing, frame, f32::is_finite), tall: any_post(standing, frame, move |h| h > limit) }
    }
}

/// Cells within which some post has a property.
fn any_post(standing: &Standing, frame: &GridFrame, has: impl Fn(f32) -> bool + Sync) -> Bits {
    let posts = standing.frame;
    if posts.is_empty() || standing.heights_m.len() != posts.len() {
        return Bits::none_on(frame);
    }
    // Posts within the cell around a fractional position, at least the nearest.
    let span = |fraction: f64, count: usize| {
        let half = frame.cell_m / posts.cell_m / 2.0;
        let nearest = fraction.round();
        let first = (fraction - half).ceil().min(nearest).max(0.0);
        let last = (fraction + half).floor().max(nearest).min(count as f64 - 1.0);
        if first <= last { first as usize..last as usize + 1 } else { 0..0 }
    };
    let cols: Vec<_> = (0..frame.cols).map(|c| span(posts.fractional(frame.centre(0, c)).1, posts.cols)).collect();
    Bits::by_rows(frame.rows, frame.cols, |row, words| {
        let lines = span(posts.fractional(frame.centre(row, 0)).0, posts.rows);
        for (col, across) in cols.iter().enumerate() {
            let found = lines.clone().any(|line| {
                standing.heights_m[line * posts.cols + across.start..line * posts.cols + across.end]
                    .iter()
                    .any(|h| has(*h))
            });
            words[col / 64] |= u64::from(found) << (col % 64);
        }
    })
}

/// Takes away the cells of a barrier and those too near to it.
fn block(free: &mut Bits, frame: &GridFrame, barrier: &Barrier) {
    if let HazardShape::Area { outer, holes } = &barrier.shape {
        fill(free, frame, outer, holes);
    }
    let near = barrier.keep_off_m.max(0.0) + frame.cell_m / 2.0;
    let (chain, closed) = outline(&barrier.shape);
    for (a, b) in segments(chain, closed) {
        block_segment(free, frame, a, b, near);
    }
}

/// Takes away the cells whose middle lies within a distance of a segment.
fn block_segment(free: &mut Bits, frame: &GridFrame, a: Xy, b: Xy, near: f64) {
    if ![a.x, a.y, b.x, b.y, near].iter().all(|v| v.is_finite()) {
        return;
    }
    let along = b - a;
    let length = along.norm();
    // Rows that the rounded bar around the segment meets.
    let (top, bottom) = (a.y.max(b.y) + near, a.y.min(b.y) - near);
    let first = frame.fractional(Xy::new(0.0, top)).0.ceil().max(0.0);
    let last = frame.fractional(Xy::new(0.0, bottom)).0.floor().min(frame.rows as f64 - 1.0);
    if first > last {
        return;
    }
    for row in first as usize..=last as usize {
        let y = frame.centre(row, 0).y;
        // The bar is convex: on a row it is one stretch, the hull of its two discs' and its band's stretches.
        let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
        for end in [a, b] {
            let off = y - end.y;
            if off.abs() <= near {
                let reach = (near * near - off * off).sqrt();
                from = from.min(end.x - reach);
                to = to.max(end.x + reach);
            }
        }
        if length > 0.0 {
            let left = Xy::new(-along.y, along.x) * (near / length);
            for (p, q) in [(a + left, b + left), (a - left, b - left)] {
                let rise = q.y - p.y;
                let t = (y - p.y) / rise;
                if rise != 0.0 && (0.0..=1.0).contains(&t) {
                    let x = p.x + (q.x - p.x) * t;
                    from = from.min(x);
                    to = to.max(x);
                }
            }
        }
        if from <= to {
            clear_between(free, frame, row, from, to);
        }
    }
}

/// Takes away the cells whose middle lies inside a ring and outside its holes (even–odd).
fn fill(free: &mut Bits, frame: &GridFrame, outer: &[Xy], holes: &[Vec<Xy>]) {
    raster::inside(frame, outer, holes, |row, cols| {
        free.clear_run(Run { row: row as u32, from: cols.start as u32, to: cols.end as u32 });
    });
}

/// Takes away the cells of a row whose middle lies between two eastings.
fn clear_between(free: &mut Bits, frame: &GridFrame, row: usize, from: f64, to: f64) {
    let cols = raster::columns_between(frame, from, to);
    free.clear_run(Run { row: row as u32, from: cols.start as u32, to: cols.end as u32 });
}

/// The headings along which strips are looked for, over half a circle.
pub(super) fn headings() -> impl Iterator<Item = Bearing> {
    let count = super::scene::HEADINGS;
    (0..count).map(move |i| Bearing::from_rad(math::PI * f64::from(i) / f64::from(count)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn frame() -> GridFrame {
        GridFrame { origin: Xy::new(5.0, 495.0), cell_m: 10.0, cols: 50, rows: 50 }
    }
    fn whole(frame: &GridFrame) -> Bits {
        Bits::by_rows(frame.rows, frame.cols, |_, words| words.fill(u64::MAX))
    }
    fn to_segment(p: Xy, a: Xy, b: Xy) -> f64 {
        let ab = b - a;
        let t = if ab.dot(ab) > 0.0 { ((p - a).dot(ab) / ab.dot(ab)).clamp(0.0, 1.0) } else { 0.0 };
        p.distance(a + ab * t)
    }

    proptest! {
        #[test]
        fn a_bar_takes_the_cells_within_its_distance(
            x in -50.0..550.0f64, y in -50.0..550.0f64, u in -50.0..550.0f64, v in -50.0..550.0f64, near in 1.0..60.0f64,
        ) {
            let f = frame();
            let (a, b) = (Xy::new(x, y), Xy::new(u, v));
            let mut free = whole(&f);
            block_segment(&mut free, &f, a, b, near);
            for row in 0..f.rows {
                for col in 0..f.cols {
                    let d = to_segment(f.centre(row, col), a, b);
                    if (d - near).abs() > 1e-6 {
                        prop_assert_eq!(free.get(row, col), d > near, "{} {}", row, col);
                    }
                }
            }
        }
    }

    #[test]
    fn an_area_takes_its_inside_and_leaves_its_hole() {
        let f = frame();
        let mut free = whole(&f);
        let square =
            |low: f64, high: f64| vec![Xy::new(low, low), Xy::new(high, low), Xy::new(high, high), Xy::new(low, high)];
        fill(&mut free, &f, &square(100.0, 400.0), &[square(200.0, 300.0)]);
        assert_eq!(f.len() - free.count(), 30 * 30 - 10 * 10);
        // A place that is not finite takes nothing away, and does not panic.
        fill(&mut free, &f, &[Xy::new(f64::NAN, 0.0), Xy::new(1.0, 0.0), Xy::new(0.0, 1.0)], &[]);
        block_segment(&mut free, &f, Xy::new(0.0, f64::INFINITY), Xy::new(0.0, 0.0), 5.0);
        assert_eq!(f.len() - free.count(), 30 * 30 - 10 * 10);
    }
}
