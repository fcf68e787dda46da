//! A square of the frame as a picture, resampled from an image.
//!
//! Positions are exact on a net and interpolated between ([`crate::terrain::lattice`]), to 1/50 of a pixel of the
//! picture or of the level it is taken from, whichever is finer on the ground. Where the picture is coarser than the
//! level, every pixel is the mean of several samples; a sample is bilinear between four pixels, or the nearest pixel
//! where one of them covers many of the picture.

use super::ImageryLayer;
use super::blocks::{Block, CLEAR, Mean, Rgba};
use super::raster::RasterLevel;
use crate::error::{LoadError, LoadErrorKind, Progress};
use crate::terrain::lattice::Lattice;
use crate::terrain::mosaic::{cancelled, near_longitude};
use sparefield_geometry::grid::GridFrame;
use sparefield_geometry::position::Xy;
use std::collections::HashMap;
use std::sync::Arc;

/// Most pixels along the side of a picture.
const MOST_PIXELS: usize = 4096;
/// Most samples along the side of a pixel.
const MOST_SAMPLES: usize = 8;
/// From how many pixels of the picture for one of the image on the image's own pixels are shown, not a blur of them.
const NEAREST_FROM: f64 = 8.0;
/// Blocks that one picture holds on to while it is made.
const HELD: usize = 64;

/// A square picture: rows from the north, columns from the west.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RgbaTile {
    /// Pixels along one side.
    pub side: usize,
    /// `side` × `side` colours; transparent where the image holds nothing.
    pub pixels: Vec<Rgba>,
}

impl RgbaTile {
    fn clear(side: usize) -> Self {
        Self { side, pixels: vec![CLEAR; side * side] }
    }
    /// Whether nothing is to be seen.
    #[must_use]
    pub fn is_clear(&self) -> bool {
        self.pixels.iter().all(|p| p[3] == 0)
    }
}

impl ImageryLayer {
    /// A square of the frame, from its south-west corner `low` to its north-east corner `high`, as `pixels` × `pixels`
    /// colours. Transparent where the image has nothing.
    ///
    /// # Errors
    /// When the corners are not those of a square, a block of the image is damaged, or the caller cancels.
    ///
    /// # Accuracy
    /// The centre of every pixel is taken from within 1/50 pixel of its place in the image, as PROJ gives it.
    pub fn render(&self, low: Xy, high: Xy, pixels: usize, progress: &dyn Progress) -> Result<RgbaTile, LoadError> {
        let (width, height) = (high.x - low.x, high.y - low.y);
        let square = width > 0.0 && width.is_finite() && (width - height).abs() <= width * 1e-6;
        if !square || pixels == 0 || pixels > MOST_PIXELS {
            return Err(LoadError::new(
                &self.info.path,
                LoadErrorKind::BadValue,
                format!("a picture of {width} × {height} m in {pixels} pixels cannot be made of it"),
                "ask for a square",
            ));
        }
        let apart =
            self.info.extent.is_some_and(|(sw, ne)| sw.x > high.x || ne.x < low.x || sw.y > high.y || ne.y < low.y);
        let pixel_m = width / pixels as f64;
        let full = self.raster.levels()[0];
        let Some(scale) = (if apart { None } else { self.scale(low, high, pixel_m) }) else {
            return Ok(RgbaTile::clear(pixels));
        };
        let levels = self.raster.levels();
        let shrunk = |level: &RasterLevel| full.level.cols as f64 / level.level.cols as f64;
        // The coarsest level that is no coarser than the picture, but for rounding.
        let chosen = levels.iter().rposition(|l| shrunk(l) <= scale * 1.05).unwrap_or(0);
        let reduction = scale / shrunk(&levels[chosen]);
        let samples = ((reduction - 0.05).ceil().max(1.0) as usize).min(MOST_SAMPLES);

        let side = pixels * samples;
        let cell_m = width / side as f64;
        let origin = Xy::new(low.x + cell_m / 2.0, high.y - cell_m / 2.0);
        let grid = GridFrame { origin, cell_m, cols: side, rows: side };
        let Some(back) = levels[chosen].level.to_crs.inverse() else { return Ok(RgbaTile::clear(pixels)) };
        // The net's tolerance counts in pixels of the image; seen from near, those of the picture are smaller.
        let magnified = (1.0 / reduction).max(1.0);
        let net = Lattice::new(&grid, |at| {
            let (x, y) = self.transformer.from_frame(at).ok()?;
            let x = self.middle_lon_deg.map_or(x, |middle| near_longitude(x, middle));
            let (col, row) = back.apply(x, y);
            Some((col * magnified, row * magnified))
        });
        let Some(reach) = net.bounds() else { return Ok(RgbaTile::clear(pixels)) };
        let size = levels[chosen].level;
        if reach.2 < -magnified
            || reach.3 < -magnified
            || reach.0 > (size.cols as f64) * magnified
            || reach.1 > (size.rows as f64) * magnified
        {
            return Ok(RgbaTile::clear(pixels));
        }
        let nearest = magnified >= NEAREST_FROM;
        let mut sampler = Sampler { layer: self, held: HashMap::new(), last: None, progress };
        let mut out = Vec::with_capacity(pixels * pixels);
        let mut means = vec![Mean::default(); pixels];
        for row in 0..side {
            if row % 16 == 0 && progress.cancelled() {
                return Err(cancelled(&self.info.path));
            }
            for (i, (col, line)) in net.row(row).enumerate() {
                let at = (col / magnified, line / magnified);
                sampler.sample(chosen, at, nearest, &mut means[i / samples])?;
            }
            if (row + 1) % samples == 0 {
                out.extend(means.iter().map(Mean::colour));
                means.fill(Mean::default());
            }
        }
        Ok(RgbaTile { side: pixels, pixels: out })
    }

    /// How many pixels of the finest level there are to one of the picture, along one side: at the middle of the
    /// square, or at the first of its corners that has a place in the image's system.
    fn scale(&self, low: Xy, high: Xy, pixel_m: f64) -> Option<f64> {
        let back = self.raster.levels()[0].level.to_crs.inverse()?;
        let at = |p: Xy| self.transformer.from_frame(p).ok().map(|(x, y)| back.apply(x, y));
        let middle = (low + high) * 0.5;
        let half = pixel_m / 2.0;
        [middle, low, high, Xy::new(low.x, high.y), Xy::new(high.x, low.y)].into_iter().find_map(|p| {
            let (west, east) = (at(p - Xy::new(half, 0.0))?, at(p + Xy::new(half, 0.0))?);
            let (south, north) = (at(p - Xy::new(0.0, half))?, at(p + Xy::new(0.0, half))?);
            let across = (east.0 - west.0, east.1 - west.1);
            let along = (north.0 - south.0, north.1 - south.1);
            let scale = (across.0 * along.1 - across.1 * along.0).abs().sqrt();
            (scale.is_finite() && scale > 0.0).then_some(scale)
        })
    }
}

type At = (usize, usize, usize);

/// Fetches pixels of one layer while a picture is made.
struct Sampler<'a> {
    layer: &'a ImageryLayer,
    held: HashMap<At, Option<Arc<Block>>>,
    last: Option<(At, Option<Arc<Block>>)>,
    progress: &'a dyn Progress,
}

impl Sampler<'_> {
    /// Adds the sample at a position of a level to a mean; what lies outside the image counts as transparent.
    fn sample(&mut self, level: usize, at: (f64, f64), nearest: bool, mean: &mut Mean) -> Result<(), LoadError> {
        let levels = self.layer.raster.levels();
        let full = levels[level].level;
        let (col, row) = at;
        let inside = col >= -0.5 && row >= -0.5 && col <= full.cols as f64 - 0.5 && row <= full.rows as f64 - 0.5;
        if !inside {
            mean.add(CLEAR, 1.0);
            return Ok(());
        }
        if self.layer.raster.falls_back() {
            // The finest level from the chosen one on that has something here.
            for (coarser, other) in levels.iter().enumerate().skip(level) {
                let factor = full.cols as f64 / other.level.cols as f64;
                let own = |v: f64| (v + 0.5) / factor - 0.5;
                let at = (own(col), own(row));
                let (c, r) = (clamped(at.0.round(), other.level.cols), clamped(at.1.round(), other.level.rows));
                if self.pixel(coarser, c, r)?.is_some() {
                    return self.blend(coarser, at, nearest, mean);
                }
            }
            mean.add(CLEAR, 1.0);
            return Ok(());
        }
        self.blend(level, at, nearest, mean)
    }

    fn blend(&mut self, level: usize, at: (f64, f64), nearest: bool, mean: &mut Mean) -> Result<(), LoadError> {
        let size = self.layer.raster.levels()[level].level;
        let (col, row) = at;
        if nearest {
            let pixel = self.pixel(level, clamped(col.round(), size.cols), clamped(row.round(), size.rows))?;
            mean.add(pixel.unwrap_or(CLEAR), 1.0);
            return Ok(());
        }
        let (left, top) = (col.floor(), row.floor());
        let (right_share, lower_share) = ((col - left) as f32, (row - top) as f32);
        let mut own = Mean::default();
        for (r, down) in [(top, 1.0 - lower_share), (top + 1.0, lower_share)] {
            for (c, across) in [(left, 1.0 - right_share), (left + 1.0, right_share)] {
                let weight = down * across;
                if weight > 0.0 {
                    let pixel = self.pixel(level, clamped(c, size.cols), clamped(r, size.rows))?;
                    own.add(pixel.unwrap_or(CLEAR), weight);
                }
            }
        }
        mean.merge(&own);
        Ok(())
    }

    /// A pixel of a level; `None` where the file has no block.
    fn pixel(&mut self, level: usize, col: usize, row: usize) -> Result<Option<Rgba>, LoadError> {
        let cut = self.layer.raster.levels()[level];
        let at = (level, col / cut.block_cols, row / cut.block_rows);
        if self.last.as_ref().is_none_or(|(last, _)| *last != at) {
            let block = self.block(at)?;
            self.last = Some((at, block));
        }
        let block = self.last.as_ref().and_then(|(_, block)| block.as_ref());
        Ok(block.and_then(|b| b.pixels.get(row % cut.block_rows * b.cols + col % cut.block_cols).copied()))
    }

    fn block(&mut self, at: At) -> Result<Option<Arc<Block>>, LoadError> {
        if let Some(block) = self.held.get(&at) {
            return Ok(block.clone());
        }
        let (level, col, row) = at;
        let layer = self.layer;
        let key = (layer.id, level, col, row);
        let keeps = layer.raster.keeps_blocks();
        let block = if let (false, Ok(block)) = (keeps, layer.store.get(key)) {
            block
        } else {
            if self.progress.cancelled() {
                return Err(cancelled(&layer.info.path));
            }
            let block = layer.raster.block(level, col, row, self.progress)?;
            if !keeps {
                layer.store.put(key, block.clone());
            }
            block
        };
        if self.held.len() >= HELD {
            self.held.clear();
        }
        self.held.insert(at, block.clone());
        Ok(block)
    }
}

fn clamped(value: f64, count: usize) -> usize {
    value.clamp(0.0, count as f64 - 1.0) as usize
}
