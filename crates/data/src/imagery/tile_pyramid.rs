//! Pyramids of square web-map tiles as one image in EPSG:3857: what MBTiles and PMTiles have in common.
//!
//! At zoom z the square of the world (20 037 508.34 m to either side of zero, EPSG:3857) is cut into 2^z × 2^z tiles.

use super::blocks::Block;
use super::encoded;
use super::raster::{Raster, RasterLevel};
use crate::error::{LoadError, LoadErrorKind, Progress};
use crate::terrain::affine::Affine;
use crate::terrain::source::Level;
use sparefield_geometry::math;
use sparefield_geometry::position::LonLat;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Half the side of the world's square: π times the equatorial radius of WGS 84.
const HALF_WORLD_M: f64 = math::PI * 6_378_137.0;
/// The finest zoom that is read: tiles there are 4 m wide.
pub(crate) const FINEST_ZOOM: u8 = 23;
/// Most pixels along the side of a tile.
const MOST_TILE_PX: usize = 4096;

/// A tile by zoom, column from the west and row from the north.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct TileAt {
    pub(crate) zoom: u8,
    pub(crate) col: u32,
    pub(crate) row: u32,
}

impl std::fmt::Display for TileAt {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "tile {}/{}/{}", self.zoom, self.col, self.row)
    }
}

/// A file of encoded tiles.
pub(crate) trait TileStore: Send + Sync {
    /// The encoded picture of a tile, `None` where there is none.
    fn tile(&self, at: TileAt, progress: &dyn Progress) -> Result<Option<Vec<u8>>, LoadError>;
    /// Some tile that exists, from which the size of all is taken.
    fn any_tile(&self, progress: &dyn Progress) -> Result<Option<TileAt>, LoadError>;
}

/// What a file of tiles says of itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TileSpan {
    pub(crate) zooms: (u8, u8),
    /// South-west and north-east corner.
    pub(crate) bounds: (LonLat, LonLat),
}

pub(crate) struct TilePyramid {
    path: PathBuf,
    store: Box<dyn TileStore>,
    finest: u8,
    tile_px: usize,
    levels: Vec<RasterLevel>,
}

impl TilePyramid {
    pub(crate) fn new(
        path: &Path,
        store: Box<dyn TileStore>,
        zooms: (u8, u8),
        progress: &dyn Progress,
    ) -> Result<Self, LoadError> {
        let fail = |kind, problem: String| LoadError::new(path, kind, problem, "make the file anew");
        let (coarsest, finest) = zooms;
        if coarsest > finest || finest > FINEST_ZOOM {
            return Err(fail(LoadErrorKind::BadValue, format!("it states zoom levels {coarsest} to {finest}")));
        }
        let Some(first) = store.any_tile(progress)? else {
            return Err(fail(LoadErrorKind::NothingHere, "it holds no tiles".to_owned()));
        };
        let bytes = store.tile(first, progress)?.unwrap_or_default();
        let (cols, rows) =
            encoded::size(&bytes).map_err(|problem| fail(LoadErrorKind::Unsupported, problem).at(first.to_string()))?;
        if cols != rows || cols == 0 || cols > MOST_TILE_PX {
            let problem = format!("it is {cols} × {rows} pixels and no square of at most {MOST_TILE_PX}");
            return Err(fail(LoadErrorKind::Unsupported, problem).at(first.to_string()));
        }
        let levels = (coarsest..=finest)
            .rev()
            .map(|zoom| {
                let side = cols << zoom;
                let pixel_m = 2.0 * HALF_WORLD_M / side as f64;
                let corner = HALF_WORLD_M - pixel_m / 2.0;
                let to_crs = Affine::north_up(-corner, corner, pixel_m, pixel_m);
                RasterLevel { level: Level { cols: side, rows: side, to_crs }, block_cols: cols, block_rows: cols }
            })
            .collect();
        Ok(Self { path: path.to_owned(), store, finest, tile_px: cols, levels })
    }
}

impl Raster for TilePyramid {
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
        let at = TileAt { zoom: self.finest - level as u8, col: col as u32, row: row as u32 };
        let Some(bytes) = self.store.tile(at, progress)? else { return Ok(None) };
        let fail = |problem: String| {
            LoadError::new(&self.path, LoadErrorKind::Corrupt, problem, "make the file anew").at(at.to_string())
        };
        let block = encoded::decode(&bytes, MOST_TILE_PX * MOST_TILE_PX).map_err(fail)?;
        if block.cols != self.tile_px || block.rows() != self.tile_px {
            let (cols, rows) = (block.cols, block.rows());
            return Err(fail(format!("it is {cols} × {rows} pixels, others are {0} × {0}", self.tile_px)));
        }
        Ok(Some(Arc::new(block)))
    }

    fn falls_back(&self) -> bool {
        true
    }
}

/// Corners of a tile's square on WGS 84: south-west and north-east.
pub(crate) fn corners(at: TileAt) -> (LonLat, LonLat) {
    let tiles = f64::from(1u32 << at.zoom);
    let lon = |col: f64| col / tiles * 360.0 - 180.0;
    // The inverse of the spherical Mercator projection (EPSG Guidance Note 7-2, Popular Visualisation Pseudo-Mercator).
    let lat = |row: f64| {
        let north = math::PI * (1.0 - 2.0 * row / tiles);
        (math::FRAC_PI_2 - 2.0 * math::atan(math::exp(-north))).to_degrees()
    };
    let (col, row) = (f64::from(at.col), f64::from(at.row));
    (LonLat { lon_deg: lon(col), lat_deg: lat(row + 1.0) }, LonLat { lon_deg: lon(col + 1.0), lat_deg: lat(row) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_world_ends_where_its_square_does() {
        let (sw, ne) = corners(TileAt { zoom: 0, col: 0, row: 0 });
        assert_eq!((sw.lon_deg, ne.lon_deg), (-180.0, 180.0));
        // The latitude at which the square ends, by its definition arctan(sinh π).
        assert!((ne.lat_deg - 85.051_128_779_806_6).abs() < 1e-9 && (sw.lat_deg + ne.lat_deg).abs() < 1e-9);
        let (sw, ne) = corners(TileAt { zoom: 1, col: 1, row: 0 });
        assert!(sw.lat_deg.abs() < 1e-12 && sw.lon_deg == 0.0 && ne.lon_deg == 180.0);
    }
}
