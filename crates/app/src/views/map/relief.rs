//! The ground as a picture: hillshade and contours, tile by tile, for any zoom. Pure functions, meant for a worker.
//!
//! Terrain is kept as a pyramid, each level half as fine as the one below. A tile is a square of pixels whose size on
//! the ground depends on its level only, so that panning reuses tiles and zooming asks for new ones.

use super::tint::Tint;
use crate::theme::{Theme, mix};
use egui::Color32;
use sparefield_geometry::grid::{GridFrame, Terrain};
use sparefield_geometry::math;
use sparefield_geometry::position::Xy;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Pixels along one side of a tile.
pub const TILE_PX: usize = 512;

/// Which tile: level, and place east and north. Pixels of level `n` are 2^(n/2) metres wide.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct TileKey {
    /// Level: each is √2 times as coarse as the one before.
    pub level: i32,
    /// Tiles east of the frame's origin.
    pub east: i64,
    /// Tiles north of the frame's origin.
    pub north: i64,
}

impl TileKey {
    /// Metres for one pixel at a level.
    #[must_use]
    pub fn metres_per_pixel(level: i32) -> f64 {
        math::pow(2.0, f64::from(level) / 2.0)
    }
    /// The level whose pixels are nearest in size to the screen's.
    #[must_use]
    pub fn level_for(metres_per_pixel: f64) -> i32 {
        (2.0 * math::ln(metres_per_pixel) / math::ln(2.0)).round() as i32
    }
    /// Side of a tile in metres at a level.
    #[must_use]
    pub fn side_m(level: i32) -> f64 {
        TILE_PX as f64 * Self::metres_per_pixel(level)
    }
    /// North-west and south-east corners.
    #[must_use]
    pub fn corners(&self) -> (Xy, Xy) {
        let side = Self::side_m(self.level);
        (
            Xy::new(self.east as f64 * side, (self.north + 1) as f64 * side),
            Xy::new((self.east + 1) as f64 * side, self.north as f64 * side),
        )
    }
}

/// One level of the pyramid.
#[derive(Clone, Debug)]
struct Level {
    frame: GridFrame,
    heights_m: Vec<f32>,
}

/// Terrain at full and at reduced resolution.
#[derive(Clone, Debug)]
pub struct Pyramid {
    terrain: Arc<Terrain>,
    coarser: Vec<Level>,
    steepness: f64,
}

struct Posts<'a> {
    frame: &'a GridFrame,
    heights_m: &'a [f32],
}

impl Pyramid {
    /// Builds the reduced levels, each the mean of four posts of the one before; a mean of no data is no data.
    #[must_use]
    pub fn new(terrain: Arc<Terrain>) -> Self {
        let mut coarser: Vec<Level> = Vec::new();
        let mut last = Posts { frame: &terrain.frame, heights_m: &terrain.heights_m };
        while last.frame.rows.min(last.frame.cols) >= 64 {
            let level = halved(&last);
            coarser.push(level);
            let Some(level) = coarser.last() else { break };
            last = Posts { frame: &level.frame, heights_m: &level.heights_m };
        }
        let steepness = steepness(&Posts { frame: &terrain.frame, heights_m: &terrain.heights_m });
        Self { terrain, coarser, steepness }
    }

    /// The terrain it was made of.
    pub(super) fn terrain(&self) -> &Arc<Terrain> {
        &self.terrain
    }

    /// The slope (rise over run) that nine tenths of the ground stay below; decides how close contours may lie.
    #[must_use]
    pub fn steepness(&self) -> f64 {
        self.steepness
    }

    /// The finest level whose posts lie at least `spacing_m` apart, or the coarsest.
    fn level(&self, spacing_m: f64) -> Posts<'_> {
        let finest = Posts { frame: &self.terrain.frame, heights_m: &self.terrain.heights_m };
        if self.terrain.frame.cell_m >= spacing_m {
            return finest;
        }
        let found = self.coarser.iter().find(|l| l.frame.cell_m >= spacing_m).or(self.coarser.last());
        found.map_or(finest, |l| Posts { frame: &l.frame, heights_m: &l.heights_m })
    }
}

fn halved(fine: &Posts<'_>) -> Level {
    let (rows, cols) = (fine.frame.rows / 2, fine.frame.cols / 2);
    let half = fine.frame.cell_m / 2.0;
    let frame = GridFrame {
        origin: Xy::new(fine.frame.origin.x + half, fine.frame.origin.y - half),
        cell_m: fine.frame.cell_m * 2.0,
        cols,
        rows,
    };
    let mut heights_m = Vec::with_capacity(rows * cols);
    for row in 0..rows {
        for col in 0..cols {
            let at = 2 * row * fine.frame.cols + 2 * col;
            let (mut sum, mut count) = (0.0f32, 0.0f32);
            for i in [at, at + 1, at + fine.frame.cols, at + fine.frame.cols + 1] {
                let h = fine.heights_m[i];
                if h.is_finite() {
                    sum += h;
                    count += 1.0;
                }
            }
            heights_m.push(if count > 0.0 { sum / count } else { f32::NAN });
        }
    }
    Level { frame, heights_m }
}

fn steepness(posts: &Posts<'_>) -> f64 {
    let step = ((posts.frame.len() / 20_000) as f64).sqrt().ceil().max(1.0) as usize;
    let mut slopes: Vec<f32> = Vec::new();
    for row in (1..posts.frame.rows.saturating_sub(1)).step_by(step) {
        for col in (1..posts.frame.cols.saturating_sub(1)).step_by(step) {
            let [east, north] = horn(posts, row as i64, col as i64);
            let slope = (east * east + north * north).sqrt();
            if slope.is_finite() {
                slopes.push(slope);
            }
        }
    }
    slopes.sort_by(f32::total_cmp);
    slopes.get(slopes.len() * 9 / 10).map_or(0.0, |&s| f64::from(s))
}

impl Posts<'_> {
    fn at(&self, row: i64, col: i64) -> f32 {
        if row < 0 || col < 0 || row >= self.frame.rows as i64 || col >= self.frame.cols as i64 {
            return f32::NAN;
        }
        self.heights_m[row as usize * self.frame.cols + col as usize]
    }
}

/// Slope towards east and north at a post (rise over run), from the eight posts around it.
///
/// A neighbour without data counts as level with the post. `NaN` where the post itself has no data.
///
/// # Source
/// Horn, "Hill shading and the reflectance map", Proceedings of the IEEE 69 (1981), weights 1-2-1.
fn horn(posts: &Posts<'_>, row: i64, col: i64) -> [f32; 2] {
    let mid = posts.at(row, col);
    let h = |dr: i64, dc: i64| {
        let h = posts.at(row + dr, col + dc);
        if h.is_finite() { h } else { mid }
    };
    let run = 8.0 * posts.frame.cell_m as f32;
    let east = (h(-1, 1) + 2.0 * h(0, 1) + h(1, 1)) - (h(-1, -1) + 2.0 * h(0, -1) + h(1, -1));
    let north = (h(-1, -1) + 2.0 * h(-1, 0) + h(-1, 1)) - (h(1, -1) + 2.0 * h(1, 0) + h(1, 1));
    [east / run, north / run]
}

/// Contours of one map: how far apart, and which are heavier.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ContourSteps {
    /// Height between two contours, metres.
    pub interval_m: f64,
    /// Every how many contours one is heavier and labelled.
    pub index_every: i64,
}

impl ContourSteps {
    /// The closest steps that stay apart on the screen, round in the user's unit.
    ///
    /// Two contours stay six pixels apart on the steep tenth of the ground; common practice of map drawing, no source.
    #[must_use]
    pub fn for_zoom(metres_per_pixel: f64, steepness: f64, feet: bool) -> Self {
        const FOOT_M: f64 = 0.304_8;
        const FEET: [(f64, i64); 8] =
            [(25.0, 4), (50.0, 5), (100.0, 5), (250.0, 4), (500.0, 4), (1_000.0, 5), (2_500.0, 4), (5_000.0, 4)];
        const METRES: [(f64, i64); 8] =
            [(10.0, 5), (20.0, 5), (50.0, 4), (100.0, 5), (200.0, 5), (500.0, 4), (1_000.0, 5), (2_000.0, 5)];
        let least = 6.0 * metres_per_pixel * steepness;
        let (series, unit) = if feet { (FEET, FOOT_M) } else { (METRES, 1.0) };
        let (step, every) = series.into_iter().find(|(s, _)| s * unit >= least).unwrap_or(series[series.len() - 1]);
        Self { interval_m: step * unit, index_every: every }
    }
}

/// A place where an index contour can carry its height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ContourLabel {
    /// On the contour.
    pub at: Xy,
    /// Direction of the contour there, as a unit vector pointing east.
    pub along: Xy,
    /// Its height above mean sea level, metres.
    pub height_m: f64,
}

/// A drawn tile.
#[derive(Clone, Debug)]
pub struct Tile {
    /// `TILE_PX` × `TILE_PX` colours, row by row from the north; transparent outside the terrain.
    pub pixels: Vec<Color32>,
    /// Where its index contours can be labelled.
    pub labels: Vec<ContourLabel>,
}

/// What of the ground a tile shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroundLook {
    /// Light and shade; without it the ground is left out, for what lies over an image.
    pub shading: bool,
    /// Classes laid over it.
    pub tint: Option<Tint>,
    /// How strongly the classes are laid over it, 0 to 1.
    pub strength: f32,
    /// Contours.
    pub contours: bool,
}

impl Default for GroundLook {
    fn default() -> Self {
        Self { shading: true, tint: None, strength: 1.0, contours: true }
    }
}

/// Draws one tile; `None` when no terrain lies under it. `classes` are those of the look's tint, post by post.
#[must_use]
pub fn draw_tile(
    pyramid: &Pyramid,
    key: TileKey,
    steps: ContourSteps,
    theme: &Theme,
    look: GroundLook,
    classes: &[u8],
) -> Option<Tile> {
    let mpp = TileKey::metres_per_pixel(key.level);
    let (nw, se) = key.corners();
    let (sw, ne) = pyramid.terrain.frame.bounds();
    if nw.x >= ne.x || se.x <= sw.x || nw.y <= sw.y || se.y >= ne.y {
        return None;
    }
    let mut pixels = if look.shading {
        let posts = pyramid.level(mpp * 0.75);
        let patch = Patch::cut(&posts, nw, se);
        shade(&patch, key, nw, mpp, exaggeration(mpp, pyramid.steepness), (sw, ne), theme)
    } else {
        vec![Color32::TRANSPARENT; TILE_PX * TILE_PX]
    };
    if let Some(tint) = look.tint {
        tint.paint(&pyramid.terrain.frame, classes, nw, mpp, theme, &look, &mut pixels);
    }
    let labels = if look.contours {
        draw_contours(&pyramid.level(mpp * 1.5), nw, se, mpp, steps, theme, &mut pixels)
    } else {
        Vec::new()
    };
    Some(Tile { pixels, labels })
}

/// Slopes of the posts under a tile, and where they lie.
struct Patch {
    row0: i64,
    col0: i64,
    rows: usize,
    cols: usize,
    cell_m: f64,
    origin: Xy,
    slopes: Vec<[f32; 2]>,
}

impl Patch {
    fn cut(posts: &Posts<'_>, nw: Xy, se: Xy) -> Self {
        let (r0, c0) = posts.frame.fractional(nw);
        let (r1, c1) = posts.frame.fractional(se);
        let clamp = |v: f64, last: usize| v.clamp(-1.0, last as f64) as i64;
        let row0 = clamp(r0.floor(), posts.frame.rows);
        let col0 = clamp(c0.floor(), posts.frame.cols);
        let row1 = clamp(r1.ceil(), posts.frame.rows) + 1;
        let col1 = clamp(c1.ceil(), posts.frame.cols) + 1;
        let (rows, cols) = ((row1 - row0 + 1) as usize, (col1 - col0 + 1) as usize);
        let mut slopes = Vec::with_capacity(rows * cols);
        for row in row0..=row1 {
            for col in col0..=col1 {
                // The outermost half cell continues the edge post: cells are squares, and the map shows them whole.
                let (r, c) = (row.clamp(0, posts.frame.rows as i64 - 1), col.clamp(0, posts.frame.cols as i64 - 1));
                slopes.push(horn(posts, r, c));
            }
        }
        Self { row0, col0, rows, cols, cell_m: posts.frame.cell_m, origin: posts.frame.origin, slopes }
    }

    fn slope_at(&self, row: f64, col: f64) -> Option<[f32; 2]> {
        let (r, c) = (row - self.row0 as f64, col - self.col0 as f64);
        let (ri, ci) = (r.floor(), c.floor());
        let (fr, fc) = ((r - ri) as f32, (c - ci) as f32);
        let r0 = (ri.max(0.0) as usize).min(self.rows.saturating_sub(2));
        let c0 = (ci.max(0.0) as usize).min(self.cols.saturating_sub(2));
        let at = r0 * self.cols + c0;
        let (a, b) = (self.slopes[at], self.slopes[at + 1]);
        let (p, q) = (self.slopes[at + self.cols], self.slopes[at + self.cols + 1]);
        let lerp = |i: usize| {
            let north = a[i] + (b[i] - a[i]) * fc;
            let south = p[i] + (q[i] - p[i]) * fc;
            north + (south - north) * fr
        };
        let slope = [lerp(0), lerp(1)];
        (slope[0].is_finite() && slope[1].is_finite()).then_some(slope)
    }
}

/// How much slopes are steepened before shading.
///
/// Gentle country would look flat otherwise: its steep tenth is brought to a slope of two in five, mountains stay as
/// they are. Small scales need more, because averaging has taken slopes away.
fn exaggeration(mpp: f64, steepness: f64) -> f32 {
    let base = (0.4 / steepness.max(0.02)).clamp(1.0, 7.0);
    (base * math::pow((mpp / 8.0).clamp(0.4, 8.0), 0.18)) as f32
}

fn shade(
    patch: &Patch,
    key: TileKey,
    nw: Xy,
    mpp: f64,
    steeper: f32,
    (sw, ne): (Xy, Xy),
    theme: &Theme,
) -> Vec<Color32> {
    let c = &theme.colours;
    let ramp: Vec<Color32> = (0..=255u8)
        .map(|i| {
            let t = f32::from(i) - 128.0;
            if t < 0.0 {
                mix(c.relief_flat, c.relief_shadow, -t / 128.0)
            } else {
                mix(c.relief_flat, c.relief_light, t / 127.0)
            }
        })
        .collect();
    // Hatch lines run on from tile to tile because they are counted in pixels of the whole level.
    let phase = |tile: i64| (tile.rem_euclid(HATCH_PX) * TILE_PX as i64).rem_euclid(HATCH_PX);
    let (phase_x, phase_y) = (phase(key.east), phase(-(key.north + 1)));
    let mut pixels = Vec::with_capacity(TILE_PX * TILE_PX);
    for py in 0..TILE_PX {
        let y = nw.y - (py as f64 + 0.5) * mpp;
        let row = (patch.origin.y - y) / patch.cell_m;
        for px in 0..TILE_PX {
            let x = nw.x + (px as f64 + 0.5) * mpp;
            if x < sw.x || x > ne.x || y < sw.y || y > ne.y {
                pixels.push(Color32::TRANSPARENT);
                continue;
            }
            let col = (x - patch.origin.x) / patch.cell_m;
            pixels.push(if let Some([east, north]) = patch.slope_at(row, col) {
                ramp[usize::from(lightness(east * steeper, north * steeper))]
            } else {
                let stripe = (px as i64 + phase_x + py as i64 + phase_y).rem_euclid(HATCH_PX);
                if stripe < 2 { c.no_data_hatch } else { c.no_data }
            });
        }
    }
    pixels
}

/// Pixels from one no-data hatch line to the next.
const HATCH_PX: i64 = 9;

/// Light on a slope from 0 (turned away) to 255 (turned to the light), 128 for level ground.
///
/// A main light from the north-west and a weaker one from the west-south-west, so that slopes along the main light do
/// not look flat. Lambert's cosine law; light 45° above the ground.
fn lightness(east: f32, north: f32) -> u8 {
    const S: f32 = core::f32::consts::FRAC_1_SQRT_2;
    let norm = 1.0 / (1.0 + east * east + north * north).sqrt();
    let main = (S * (S * east - S * north) + S) * norm;
    let side = (S * (0.94 * east + 0.34 * north) + S) * norm;
    let lit = 0.78 * main + 0.22 * side;
    let over = lit - S;
    // Highlights have less room than shadows.
    let t = if over > 0.0 { 0.5 + over * 1.55 } else { 0.5 + over * 0.85 };
    // A hair above one half, so that level ground is exactly the middle in spite of rounding.
    (t.clamp(0.0, 1.0) * 255.0 + 0.501) as u8
}

#[allow(clippy::too_many_arguments, reason = "one private step of drawing a tile")]
fn draw_contours(
    posts: &Posts<'_>,
    nw: Xy,
    se: Xy,
    mpp: f64,
    steps: ContourSteps,
    theme: &Theme,
    pixels: &mut [Color32],
) -> Vec<ContourLabel> {
    let (r0, c0) = posts.frame.fractional(nw);
    let (r1, c1) = posts.frame.fractional(se);
    let row_range = (r0.floor().max(0.0) as usize)..(r1.ceil().max(0.0) as usize + 1).min(posts.frame.rows);
    let col_range = (c0.floor().max(0.0) as usize)..(c1.ceil().max(0.0) as usize + 1).min(posts.frame.cols);
    let mut ink = Coverage::new();
    let mut labels = LabelSites::default();
    let to_px = |row: f64, col: f64| {
        let p =
            Xy::new(posts.frame.origin.x + col * posts.frame.cell_m, posts.frame.origin.y - row * posts.frame.cell_m);
        [((p.x - nw.x) / mpp) as f32, ((nw.y - p.y) / mpp) as f32]
    };
    for row in row_range.start..row_range.end.saturating_sub(1) {
        for col in col_range.start..col_range.end.saturating_sub(1) {
            let at = row * posts.frame.cols + col;
            let h = [
                posts.heights_m[at],
                posts.heights_m[at + 1],
                posts.heights_m[at + posts.frame.cols + 1],
                posts.heights_m[at + posts.frame.cols],
            ]
            .map(f64::from);
            let low = h.iter().copied().fold(f64::INFINITY, f64::min);
            let high = h.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            if !h.iter().all(|h| h.is_finite()) {
                continue;
            }
            let first = (low / steps.interval_m).floor() as i64 + 1;
            let last = (high / steps.interval_m).floor() as i64;
            for n in first..=last {
                let level = n as f64 * steps.interval_m;
                let index = n.rem_euclid(steps.index_every) == 0;
                for [a, b] in crossings(h, level).into_iter().flatten() {
                    let a = to_px(row as f64 + a[0], col as f64 + a[1]);
                    let b = to_px(row as f64 + b[0], col as f64 + b[1]);
                    ink.line(a, b, if index { 1.5 } else { 0.9 }, index);
                    if index {
                        labels.offer(n, a, b);
                    }
                }
            }
        }
    }
    ink.paint(pixels, theme);
    labels.finish(|px| Xy::new(nw.x + f64::from(px[0]) * mpp, nw.y - f64::from(px[1]) * mpp), steps.interval_m)
}

/// Where one contour crosses a cell with corner heights north-west, north-east, south-east, south-west, as up to two
/// pieces of (row, column) within the cell. A post exactly on the contour counts as above it. Saddles are parted by the
/// height in the middle.
fn crossings(h: [f64; 4], level: f64) -> [Option<[[f64; 2]; 2]>; 2] {
    const CORNER: [[f64; 2]; 4] = [[0.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0]];
    let above = h.map(|v| v >= level);
    let cross = |i: usize| {
        let j = (i + 1) % 4;
        let t = ((level - h[i]) / (h[j] - h[i])).clamp(0.0, 1.0);
        let (a, b) = (CORNER[i], CORNER[j]);
        [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t]
    };
    let mut sides = [0usize; 4];
    let mut count = 0;
    for i in 0..4 {
        if above[i] != above[(i + 1) % 4] {
            sides[count] = i;
            count += 1;
        }
    }
    match count {
        2 => [Some([cross(sides[0]), cross(sides[1])]), None],
        4 => {
            let middle_above = h.iter().sum::<f64>() / 4.0 >= level;
            // Side i follows corner i: corners that differ from the middle are cut off.
            if middle_above == above[0] {
                [Some([cross(0), cross(1)]), Some([cross(2), cross(3)])]
            } else {
                [Some([cross(3), cross(0)]), Some([cross(1), cross(2)])]
            }
        }
        _ => [None, None],
    }
}

/// How much of each pixel contours cover; a plane for ordinary and one for index contours.
struct Coverage {
    plain: Vec<u8>,
    index: Vec<u8>,
}

impl Coverage {
    fn new() -> Self {
        Self { plain: vec![0; TILE_PX * TILE_PX], index: vec![0; TILE_PX * TILE_PX] }
    }

    /// A line with a soft edge of one pixel; where lines overlap the larger coverage stays, so joints do not darken.
    fn line(&mut self, a: [f32; 2], b: [f32; 2], width: f32, index: bool) {
        let plane = if index { &mut self.index } else { &mut self.plain };
        let reach = width / 2.0 + 0.5;
        let side = TILE_PX as f32;
        let (low_x, high_x) = (a[0].min(b[0]) - reach, a[0].max(b[0]) + reach);
        let (low_y, high_y) = (a[1].min(b[1]) - reach, a[1].max(b[1]) + reach);
        if high_x < 0.0 || high_y < 0.0 || low_x >= side || low_y >= side {
            return;
        }
        let range = |low: f32, high: f32| (low.max(0.0) as usize)..(high.ceil().clamp(0.0, side) as usize);
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let length2 = dx * dx + dy * dy;
        for py in range(low_y, high_y) {
            for px in range(low_x, high_x) {
                let (x, y) = (px as f32 + 0.5 - a[0], py as f32 + 0.5 - a[1]);
                let t = if length2 > 0.0 { ((x * dx + y * dy) / length2).clamp(0.0, 1.0) } else { 0.0 };
                let (ex, ey) = (x - t * dx, y - t * dy);
                let cover = (reach - (ex * ex + ey * ey).sqrt()).clamp(0.0, 1.0) * width.min(1.0);
                let at = py * TILE_PX + px;
                plane[at] = plane[at].max((cover * 255.0) as u8);
            }
        }
    }

    fn paint(&self, pixels: &mut [Color32], theme: &Theme) {
        let c = &theme.colours;
        for ((pixel, &plain), &index) in pixels.iter_mut().zip(&self.plain).zip(&self.index) {
            if plain > 0 {
                *pixel = mix(*pixel, c.contour, f32::from(plain) / 255.0 * 0.75);
            }
            if index > 0 {
                *pixel = mix(*pixel, c.contour_index, f32::from(index) / 255.0 * 0.9);
            }
        }
    }
}

type Site = (f32, [f32; 2], [f32; 2]);

/// Best places for labels: for each index contour and each quarter of the tile, the piece nearest the quarter's middle.
#[derive(Default)]
struct LabelSites {
    /// By contour and quarter: distance from the quarter's middle, and the piece.
    best: BTreeMap<(i64, u8), Site>,
}

impl LabelSites {
    fn offer(&mut self, n: i64, a: [f32; 2], b: [f32; 2]) {
        let half = TILE_PX as f32 / 2.0;
        let mid = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
        if mid[0] < 0.0 || mid[1] < 0.0 || mid[0] >= 2.0 * half || mid[1] >= 2.0 * half {
            return;
        }
        let quarter = u8::from(mid[0] >= half) + 2 * u8::from(mid[1] >= half);
        let centre = [
            if mid[0] >= half { 1.5 * half } else { 0.5 * half },
            if mid[1] >= half { 1.5 * half } else { 0.5 * half },
        ];
        let far = (mid[0] - centre[0]).abs() + (mid[1] - centre[1]).abs();
        let entry = self.best.entry((n, quarter)).or_insert((f32::MAX, a, b));
        if far < entry.0 {
            *entry = (far, a, b);
        }
    }

    fn finish(self, to_world: impl Fn([f32; 2]) -> Xy, interval_m: f64) -> Vec<ContourLabel> {
        self.best
            .into_iter()
            .filter_map(|((n, _), (_, a, b))| {
                let (p, q) = (to_world(a), to_world(b));
                let length = p.distance(q);
                let along = (q - p) * (1.0 / length);
                let along = if along.x < 0.0 { -along } else { along };
                (length > 0.0).then(|| ContourLabel { at: (p + q) * 0.5, along, height_m: n as f64 * interval_m })
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theme::{Palette, Scheme};
    use sparefield_geometry::grid::TerrainAccuracy;

    fn terrain(rows: usize, cols: usize, height: impl Fn(usize, usize) -> f32) -> Arc<Terrain> {
        let frame = GridFrame { origin: Xy::new(0.0, 0.0), cell_m: 10.0, cols, rows };
        let heights_m = (0..rows * cols).map(|i| height(i / cols, i % cols)).collect();
        Arc::new(Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() })
    }

    #[test]
    fn horn_gives_the_slope_of_a_plane() {
        let t = terrain(5, 5, |r, c| 3.0 * c as f32 - 2.0 * r as f32);
        let posts = Posts { frame: &t.frame, heights_m: &t.heights_m };
        // 3 m up over 10 m to the east, 2 m up over 10 m to the north.
        assert_eq!(horn(&posts, 2, 2), [0.3, 0.2]);
    }

    #[test]
    fn ground_facing_north_west_is_lighter_than_level_and_south_east_darker() {
        // Facing north-west: falling towards it, so rising to the east and falling to the north.
        assert!(lightness(0.2, -0.2) > lightness(0.0, 0.0));
        assert!(lightness(-0.2, 0.2) < lightness(0.0, 0.0));
        assert_eq!(lightness(0.0, 0.0), 128);
    }

    #[test]
    fn a_contour_crosses_a_cell_where_the_height_is_reached() {
        let found = crossings([0.0, 10.0, 10.0, 0.0], 2.5);
        let [[r0, c0], [r1, c1]] = found[0].unwrap();
        assert_eq!((c0, c1), (0.25, 0.25));
        assert_eq!((r0 - r1).abs(), 1.0);
        assert_eq!(found[1], None);
        assert_eq!(crossings([0.0, 1.0, 0.0, 1.0], 0.5).iter().flatten().count(), 2);
        assert_eq!(crossings([1.0; 4], 1.0), [None, None]);
    }

    #[test]
    fn contour_steps_widen_with_zoom_and_slope() {
        let near = ContourSteps::for_zoom(1.0, 0.1, true);
        assert!((near.interval_m - 25.0 * 0.304_8).abs() < 1e-9);
        let far = ContourSteps::for_zoom(20.0, 0.1, true);
        assert!(far.interval_m > near.interval_m);
        assert_eq!(ContourSteps::for_zoom(1.0, 0.1, false).interval_m, 10.0);
        assert_eq!(ContourSteps::for_zoom(f64::INFINITY, 1.0, false).interval_m, 2_000.0);
    }

    #[test]
    fn a_tile_shows_ground_no_data_and_outside_differently() {
        let theme = Theme::new(&Palette::built_in().unwrap(), Scheme::Day);
        let t = terrain(40, 40, |r, c| if r < 20 && c < 20 { f32::NAN } else { 5.0 });
        let pyramid = Pyramid::new(t);
        let key = TileKey { level: 0, east: 0, north: -1 };
        let tile = draw_tile(
            &pyramid,
            key,
            ContourSteps { interval_m: 10.0, index_every: 5 },
            &theme,
            GroundLook::default(),
            &[],
        )
        .unwrap();
        let at = |x: usize, y: usize| tile.pixels[y * TILE_PX + x];
        assert_eq!(at(500, 500), Color32::TRANSPARENT);
        assert_eq!(at(300, 300), theme.colours.relief_flat);
        let gap: Vec<_> = (0..20).map(|x| at(20 + x, 40)).collect();
        assert!(gap.contains(&theme.colours.no_data) && gap.contains(&theme.colours.no_data_hatch));
        assert!(gap.iter().all(|c| *c == theme.colours.no_data || *c == theme.colours.no_data_hatch));
        let far = TileKey { level: 0, east: 9, north: 9 };
        assert!(
            draw_tile(
                &pyramid,
                far,
                ContourSteps { interval_m: 10.0, index_every: 5 },
                &theme,
                GroundLook::default(),
                &[]
            )
            .is_none()
        );
    }

    #[test]
    fn levels_and_pixel_sizes_agree() {
        for level in -8..20 {
            assert_eq!(TileKey::level_for(TileKey::metres_per_pixel(level)), level);
        }
    }
}
