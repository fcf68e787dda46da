//! What every terrain format offers the mosaic: posts on a lattice, read by windows.

use super::affine::Affine;
use crate::error::{LoadError, LoadErrorKind, Warning};
use crate::frame::Crs;
use sparefield_geometry::grid::SurfaceKind;
use std::io::{Read, Seek};
use std::path::PathBuf;

/// Anything that can be read from any place: a file, or bytes in memory.
pub(crate) trait ReadSeek: Read + Seek {}
impl<T: Read + Seek> ReadSeek for T {}

/// A file opened for reading, with its name for messages and its length.
pub(crate) struct Input<'a> {
    pub(crate) path: PathBuf,
    pub(crate) reader: Box<dyn ReadSeek + 'a>,
    pub(crate) length: u64,
}

/// A rectangle of posts: first column and row, and how many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Window {
    pub(crate) col: usize,
    pub(crate) row: usize,
    pub(crate) cols: usize,
    pub(crate) rows: usize,
}

impl Window {
    pub(crate) fn len(&self) -> usize {
        self.cols * self.rows
    }
}

/// One resolution of a source: the full one, or an overview.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Level {
    pub(crate) cols: usize,
    pub(crate) rows: usize,
    /// From posts to the coordinates of the file's reference system.
    pub(crate) to_crs: Affine,
}

impl Level {
    /// The same image with every side divided by about the same number; `None` when the sides do not go with that.
    pub(crate) fn overview(&self, cols: usize, rows: usize) -> Option<Self> {
        let (fx, fy) = (self.cols as f64 / cols as f64, self.rows as f64 / rows as f64);
        let (whole_x, whole_y) = (fx.round(), fy.round());
        // Sides are rounded up when divided, so a factor of 2 may show as 1.99.
        if whole_x < 2.0 || whole_x != whole_y || (fx - whole_x).abs() > 0.2 || (fy - whole_y).abs() > 0.2 {
            return None;
        }
        // The corner of the overview is the corner of the image; its first post is half of its pixel inside.
        let inset = |factor: f64| factor / 2.0 - 0.5;
        Some(Self { cols, rows, to_crs: self.to_crs.resampled(inset(fx), inset(fy), fx, fy) })
    }
}

/// What is known of a source before any height is read.
#[derive(Clone, Debug)]
pub(crate) struct Header {
    pub(crate) path: PathBuf,
    /// Format in words, such as "GeoTIFF, float32, deflate, tiles of 1024".
    pub(crate) format: String,
    /// Reference system, `None` when the file states none.
    pub(crate) crs: Option<Crs>,
    /// What the file says about its reference system, where it was not understood.
    pub(crate) crs_problem: Option<String>,
    /// Full resolution first, then coarser and coarser.
    pub(crate) levels: Vec<Level>,
    /// The declared no-data value, as the file states it.
    pub(crate) no_data: Option<f64>,
    pub(crate) kind: SurfaceKind,
    /// Standard error of height differences between nearby posts, where the product states one.
    pub(crate) point_to_point_m: Option<f64>,
    pub(crate) warnings: Vec<Warning>,
}

impl Header {
    pub(crate) fn warn(&mut self, place: &str, message: impl Into<String>) {
        self.warnings.push(Warning { place: place.to_owned(), message: message.into() });
    }
    pub(crate) fn error(
        &self,
        kind: LoadErrorKind,
        problem: impl Into<String>,
        remedy: impl Into<String>,
    ) -> LoadError {
        LoadError::new(&self.path, kind, problem, remedy)
    }
}

/// Terrain heights in one file.
pub(crate) trait Source {
    fn header(&self) -> &Header;
    fn header_mut(&mut self) -> &mut Header;
    /// How many stored values were passed over so far, because they cannot be heights.
    fn passed_over(&self) -> u64;
    /// Heights in metres in a window of a level, row-major; `NaN` is no data. The window lies within the level.
    fn read(&mut self, level: usize, window: Window) -> Result<Vec<f32>, LoadError>;
}

/// Lowest and highest height that is believed, metres: the Dead Sea's shore is at about −430 m and the highest summit
/// at 8849 m. What lies outside is no height but an undeclared mark for "no data".
pub(crate) const BELIEVED_M: (f64, f64) = (-1000.0, 9000.0);
/// Numbers that a class may have.
pub(crate) const ANY_CLASS: (f64, f64) = (0.0, 65_535.0);

/// The height for a stored value, `NaN` for no data and for what cannot be a height.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Decode {
    pub(crate) no_data: Option<f64>,
    pub(crate) scale: f64,
    pub(crate) offset: f64,
    /// Whether stored values are single-precision floats, so that the no-data value is compared as one.
    pub(crate) single: bool,
    /// Lowest and highest height that is believed.
    pub(crate) believed: (f64, f64),
}

impl Decode {
    /// Returns the height and whether the value was passed over as unbelievable.
    pub(crate) fn height(&self, value: f64) -> (f32, bool) {
        if !value.is_finite() {
            return (f32::NAN, false);
        }
        if let Some(no_data) = self.no_data {
            let equal = value == no_data || (self.single && value as f32 == no_data as f32);
            if equal {
                return (f32::NAN, false);
            }
        }
        let height = value * self.scale + self.offset;
        if height >= self.believed.0 && height <= self.believed.1 { (height as f32, false) } else { (f32::NAN, true) }
    }
}
