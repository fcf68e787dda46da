//! A coarse level for images that lack one: made once, when the image is first looked at from far away.

use super::blocks::{Block, Mean};
use super::geotiff_image::GeoTiffImage;
use super::raster::{Raster, RasterLevel};
use crate::error::{LoadError, Progress};
use crate::terrain::mosaic::cancelled;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// Images whose coarsest level has a longer side than this get a coarser one.
const LONGEST_PX: usize = 2048;

/// An image with a level that is made when it is needed.
pub(crate) struct WithCoarse {
    image: GeoTiffImage,
    levels: Vec<RasterLevel>,
    /// How many pixels of the image's own coarsest level make one of the coarse level; 0 when there is none.
    factor: usize,
    made: Mutex<Option<Arc<Block>>>,
}

impl WithCoarse {
    pub(crate) fn new(image: GeoTiffImage) -> Self {
        let mut levels = image.levels().to_vec();
        let last = levels[levels.len() - 1].level;
        let mut factor = 1;
        while last.cols.max(last.rows).div_ceil(factor) > LONGEST_PX {
            factor *= 2;
        }
        if factor > 1 {
            let (cols, rows) = (last.cols.div_ceil(factor), last.rows.div_ceil(factor));
            let (inset, step) = (factor as f64 / 2.0 - 0.5, factor as f64);
            let to_crs = last.to_crs.resampled(inset, inset, step, step);
            let level = crate::terrain::source::Level { cols, rows, to_crs };
            levels.push(RasterLevel { level, block_cols: cols, block_rows: rows });
        }
        Self { image, levels, factor: if factor > 1 { factor } else { 0 }, made: Mutex::default() }
    }

    /// Reads the whole coarsest level once, each block going into the means of the pixels over it.
    fn make(&self, progress: &dyn Progress) -> Result<Block, LoadError> {
        let own = self.levels.len() - 2;
        let (fine, coarse) = (self.levels[own], self.levels[own + 1].level);
        let mut means = vec![Mean::default(); coarse.cols * coarse.rows];
        let down = fine.level.rows.div_ceil(fine.block_rows);
        for block_row in 0..down {
            for block_col in 0..fine.level.cols.div_ceil(fine.block_cols) {
                if progress.cancelled() {
                    return Err(cancelled(Path::new("the image")));
                }
                let Some(block) = self.image.block(own, block_col, block_row, progress)? else { continue };
                let (left, top) = (block_col * fine.block_cols, block_row * fine.block_rows);
                let width = block.cols.min(fine.level.cols - left);
                let height = block.rows().min(fine.level.rows - top);
                for row in 0..height {
                    let to = (top + row) / self.factor * coarse.cols;
                    for col in 0..width {
                        let pixel = block.pixels[row * block.cols + col];
                        means[to + (left + col) / self.factor].add(pixel, 1.0);
                    }
                }
            }
            progress.report((block_row + 1) as f64 / down as f64);
        }
        Ok(Block { cols: coarse.cols, pixels: means.iter().map(Mean::colour).collect() })
    }
}

impl Raster for WithCoarse {
    fn levels(&self) -> &[RasterLevel] {
        &self.levels
    }

    fn block(
        &self,
        level: usize,
        col: usize,
        row: usize,
        progress: &dyn Progress,
    ) -> Result<Option<Arc<Block>>, LoadError> {
        if self.factor == 0 || level + 1 < self.levels.len() {
            return self.image.block(level, col, row, progress);
        }
        // Held while it is made: another thread that needs it would do the same work.
        let mut made = self.made.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(block) = &*made {
            return Ok(Some(Arc::clone(block)));
        }
        let block = Arc::new(self.make(progress)?);
        *made = Some(Arc::clone(&block));
        Ok(Some(block))
    }
}
