//! What every kind of image offers: a pyramid of levels, cut into blocks of pixels that are read one by one.

use super::blocks::Block;
use crate::error::{LoadError, Progress};
use crate::terrain::source::Level;
use std::sync::Arc;

/// One resolution of an image, and how it is cut.
#[derive(Clone, Copy, Debug)]
pub(crate) struct RasterLevel {
    /// Size, and the map from pixels (centre of the first is (0, 0)) to the reference system.
    pub(crate) level: Level,
    pub(crate) block_cols: usize,
    pub(crate) block_rows: usize,
}

/// An opened image.
pub(crate) trait Raster: Send + Sync {
    /// Full resolution first, then coarser and coarser; never empty.
    fn levels(&self) -> &[RasterLevel];
    /// The block in a column and row of blocks of a level; `None` where the file holds nothing.
    fn block(
        &self,
        level: usize,
        col: usize,
        row: usize,
        progress: &dyn Progress,
    ) -> Result<Option<Arc<Block>>, LoadError>;
    /// Whether the image keeps its blocks itself, so that the common store need not.
    fn keeps_blocks(&self) -> bool {
        false
    }
    /// Whether a block that a level lacks may be shown from a coarser one.
    fn falls_back(&self) -> bool {
        false
    }
}
