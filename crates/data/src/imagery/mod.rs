//! Imagery and other backgrounds under the map: pictures from files, placed in the area's frame.
//!
//! Read are GeoTIFF images, PNG, JPEG and WebP with a world file, MBTiles and PMTiles. Each is a pyramid of levels cut
//! into blocks; [`ImageryLayer::render`] fetches the blocks under a square of the frame and resamples
//! them. Lines, areas and points to draw under the fields come from any vector file ([`BackgroundLayer`]).

mod background;
mod blocks;
mod coarse;
mod encoded;
mod geotiff_image;
mod kept;
mod mbtiles;
mod picture;
mod pmtiles;
mod raster;
mod render;
mod spec;
mod tiff_pixels;
mod tile_pyramid;

pub use background::BackgroundLayer;
pub use blocks::{BlockStore, Rgba};
pub use kept::{AreaLayers, GroundLayer};
pub use render::RgbaTile;
pub use spec::{LayerKind, LayerSpec, kind_by_name, recognise};

use crate::error::{LoadError, LoadErrorKind, Loaded, Progress, Warning};
use crate::frame::{Crs, Frame, FrameError, Transformer};
use crate::terrain;
use raster::Raster;
use sparefield_geometry::position::{LonLat, Xy};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use tile_pyramid::{TilePyramid, TileSpan, TileStore};

/// Degrees of longitude beyond which an image has no extent in a frame made for one area.
const WIDEST_DEG: f64 = 60.0;

/// How imagery is opened.
#[derive(Clone, Debug)]
pub struct ImageryRequest<'a> {
    /// The frame of the area.
    pub frame: &'a Frame,
    /// The reference system of files that state none that is understood.
    pub crs_where_missing: Option<Crs>,
    /// Where decoded blocks are kept.
    pub store: Arc<BlockStore>,
}

/// What an image is.
#[derive(Clone, Debug, PartialEq)]
pub struct ImageryInfo {
    /// The file.
    pub path: PathBuf,
    /// Format in words.
    pub format: String,
    /// Reference system.
    pub crs: Crs,
    /// Columns and rows of the finest level.
    pub size: (usize, usize),
    /// Coarsest and finest zoom, for web-map tiles.
    pub zooms: Option<(u8, u8)>,
    /// South-west and north-east corner of the box around it in the frame, metres; `None` where it reaches so far
    /// beyond the area that the frame has no place for its corners.
    pub extent: Option<(Xy, Xy)>,
    /// Side of its finest pixels in its middle, metres in the frame; `None` where the frame has no place for it.
    pub finest_m: Option<f64>,
}

/// An image opened for one frame. May be shared between threads.
pub struct ImageryLayer {
    id: u64,
    info: ImageryInfo,
    transformer: Transformer,
    /// Longitude of the middle, for images in degrees.
    middle_lon_deg: Option<f64>,
    raster: Box<dyn Raster>,
    store: Arc<BlockStore>,
}

impl std::fmt::Debug for ImageryLayer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ImageryLayer").field("info", &self.info).finish_non_exhaustive()
    }
}

/// What a file gave before it is placed.
struct Unplaced {
    raster: Box<dyn Raster>,
    format: String,
    crs: Option<Crs>,
    crs_problem: Option<String>,
    span: Option<TileSpan>,
    warnings: Vec<String>,
}

impl ImageryLayer {
    /// Opens an image and reads its header; pixels are read when they are shown.
    ///
    /// # Errors
    /// When the file cannot be read, is no image of a known format, does not say where it lies, or states no reference
    /// system that is understood while none is given.
    pub fn open(path: &Path, request: &ImageryRequest<'_>, progress: &dyn Progress) -> Result<Loaded<Self>, LoadError> {
        static NEXT: AtomicU64 = AtomicU64::new(1);
        let opened = open_raster(path, progress)?;
        let mut warnings: Vec<Warning> =
            opened.warnings.into_iter().map(|message| Warning { place: String::new(), message }).collect();
        let crs = match (opened.crs, &request.crs_where_missing) {
            (Some(crs), _) => crs,
            (None, Some(given)) => {
                let message = format!("its reference system was taken as {}, as given", given.label());
                warnings.push(Warning { place: String::new(), message });
                given.clone()
            }
            (None, None) => {
                let problem = opened.crs_problem.unwrap_or_else(|| "it states no reference system".to_owned());
                return Err(LoadError::new(
                    path,
                    LoadErrorKind::Crs,
                    problem,
                    "name its reference system, such as EPSG:27700",
                ));
            }
        };
        let wrong = |e: FrameError| LoadError::new(path, LoadErrorKind::Crs, e.to_string(), "");
        let transformer = Transformer::new(&crs, request.frame).map_err(wrong)?;
        let full = opened.raster.levels()[0].level;
        let (extent, finest_m, middle_lon_deg) = if let Some(span) = opened.span {
            let (extent, finest_m) = placed_span(&span, &full, request.frame);
            (extent, finest_m, None)
        } else {
            let size = (0, 0, full.cols as i64, full.rows as i64);
            let centres = terrain::mosaic::bounds_in_frame(&full.to_crs, size, &transformer).ok();
            let spacing = terrain::spacing(&full, &transformer).ok();
            // Centres of pixels are what is placed; their corners lie half a diagonal farther out.
            let extent = centres.zip(spacing).map(|((low, high), (dx, dy))| {
                let corner = Xy::new(dx, dy).norm() / 2.0;
                (low - Xy::new(corner, corner), high + Xy::new(corner, corner))
            });
            let middle = full.to_crs.apply(full.cols as f64 / 2.0, full.rows as f64 / 2.0).0;
            let finest_m = spacing.map(|(dx, dy)| (dx * dy).sqrt());
            (extent, finest_m, crs.is_geographic().then_some(middle))
        };
        let finite = |p: &Xy| p.x.is_finite() && p.y.is_finite();
        let info = ImageryInfo {
            path: path.to_owned(),
            format: opened.format,
            size: (full.cols, full.rows),
            zooms: opened.span.map(|s| s.zooms),
            extent: extent.filter(|(low, high)| finite(low) && finite(high)),
            finest_m: finest_m.filter(|m| m.is_finite() && *m > 0.0),
            crs,
        };
        let provenance = vec![info.words()];
        let id = NEXT.fetch_add(1, Ordering::Relaxed);
        let (raster, store) = (opened.raster, Arc::clone(&request.store));
        Ok(Loaded { value: Self { id, info, transformer, middle_lon_deg, raster, store }, warnings, provenance })
    }

    /// What the image is.
    #[must_use]
    pub fn info(&self) -> &ImageryInfo {
        &self.info
    }

    /// South-west and north-east corner of the box around the image in the frame, metres; see [`ImageryInfo::extent`].
    #[must_use]
    pub fn extent(&self) -> Option<(Xy, Xy)> {
        self.info.extent
    }
}

impl ImageryInfo {
    /// One line for people: file, format, size, reference system, zoom levels.
    #[must_use]
    pub fn words(&self) -> String {
        let name = terrain::file_name(&self.path);
        let size = match self.zooms {
            Some((low, high)) if low == high => format!("zoom {low}"),
            Some((low, high)) => format!("zoom {low} to {high}"),
            None => format!("{} × {} pixels", self.size.0, self.size.1),
        };
        let finest = match self.finest_m {
            Some(m) if m < 10.0 => format!(", finest pixels {m:.2} m"),
            Some(m) => format!(", finest pixels {m:.0} m"),
            None => String::new(),
        };
        format!("{name}: {}, {}, {size}{finest}", self.format, self.crs.label())
    }
}

fn open_raster(path: &Path, progress: &dyn Progress) -> Result<Unplaced, LoadError> {
    let head = head_of(path)?;
    let tiles = |store: Box<dyn TileStore>, span: TileSpan, format: String| -> Result<Unplaced, LoadError> {
        let wrong = |e: FrameError| LoadError::new(path, LoadErrorKind::Crs, e.to_string(), "");
        let crs = Crs::from_epsg(3857).map_err(wrong)?;
        let raster = Box::new(TilePyramid::new(path, store, span.zooms, progress)?);
        Ok(Unplaced { raster, format, crs: Some(crs), crs_problem: None, span: Some(span), warnings: Vec::new() })
    };
    match spec::content_of(&head) {
        Some(spec::Content::Tiff) => {
            let opened = geotiff_image::open(path, picture::world_file(path)?)?;
            let (crs, crs_problem) = match opened.crs {
                Some(crs) => (Some(crs), None),
                None => beside(path, opened.crs_problem)?,
            };
            let raster = Box::new(coarse::WithCoarse::new(opened.image));
            let (format, warnings) = (opened.format, opened.warnings);
            Ok(Unplaced { raster, format, crs, crs_problem, span: None, warnings })
        }
        Some(spec::Content::Picture) => {
            let Some(to_crs) = picture::world_file(path)? else {
                return Err(LoadError::new(
                    path,
                    LoadErrorKind::Crs,
                    "it does not say where it lies: there is no world file beside it",
                    "put its world file (.pgw, .jgw, .wld) beside it, or use a GeoTIFF",
                ));
            };
            let (picture, format) = picture::open(path, to_crs)?;
            let (crs, crs_problem) = beside(path, None)?;
            let raster = Box::new(picture);
            Ok(Unplaced { raster, format, crs, crs_problem, span: None, warnings: Vec::new() })
        }
        Some(spec::Content::Sqlite) => {
            let (store, span, format) = mbtiles::open(path)?;
            tiles(Box::new(store), span, format)
        }
        Some(spec::Content::PmTiles) => {
            let (store, span, format) = pmtiles::open(path)?;
            tiles(Box::new(store), span, format)
        }
        None => Err(LoadError::new(
            path,
            LoadErrorKind::Unsupported,
            "it is no image of a format that is read here",
            "use a GeoTIFF, MBTiles, PMTiles, or a PNG, JPEG or WebP picture with a world file",
        )),
    }
}

/// The reference system of a `.prj` beside a file, or what is wrong with it.
fn beside(path: &Path, problem: Option<String>) -> Result<(Option<Crs>, Option<String>), LoadError> {
    Ok(match picture::prj(path)? {
        None => (None, problem),
        Some(text) => match Crs::from_wkt(&text) {
            Ok(crs) => (Some(crs), None),
            Err(e) => (None, Some(format!("the reference system in its .prj is not understood: {e}"))),
        },
    })
}

/// The first bytes of a file.
fn head_of(path: &Path) -> Result<Vec<u8>, LoadError> {
    let io = |e: std::io::Error| LoadError::from_io(path, &e);
    let mut head = Vec::new();
    let file = File::open(path).map_err(io)?;
    if file.metadata().map_err(io)?.is_dir() {
        return Err(LoadError::from_io(path, &std::io::ErrorKind::IsADirectory.into()));
    }
    file.take(64).read_to_end(&mut head).map_err(io)?;
    if head.is_empty() {
        return Err(LoadError::new(path, LoadErrorKind::Empty, "it is empty", "copy or download the file again"));
    }
    Ok(head)
}

/// The box around what web-map tiles span, and the side of their finest pixels there.
fn placed_span(span: &TileSpan, full: &terrain::source::Level, frame: &Frame) -> (Option<(Xy, Xy)>, Option<f64>) {
    const STEPS: u32 = 16;
    let (sw, ne) = span.bounds;
    let place = |tx: f64, ty: f64| {
        let lon_deg = sw.lon_deg + (ne.lon_deg - sw.lon_deg) * tx;
        let lat_deg = sw.lat_deg + (ne.lat_deg - sw.lat_deg) * ty;
        LonLat { lon_deg, lat_deg }
    };
    let middle = place(0.5, 0.5);
    // Web Mercator is longer than the ground by the secant of the latitude.
    let shrink = sparefield_geometry::math::cos(middle.lat_deg.to_radians());
    let finest = full.to_crs.a * shrink;
    if ne.lon_deg - sw.lon_deg > WIDEST_DEG {
        return (None, Some(finest));
    }
    let mut low = Xy::new(f64::INFINITY, f64::INFINITY);
    let mut high = Xy::new(f64::NEG_INFINITY, f64::NEG_INFINITY);
    for i in 0..=STEPS {
        let t = f64::from(i) / f64::from(STEPS);
        for at in [place(t, 0.0), place(t, 1.0), place(0.0, t), place(1.0, t)] {
            let Ok(p) = frame.to_xy(at) else { return (None, Some(finest)) };
            low = Xy::new(low.x.min(p.x), low.y.min(p.y));
            high = Xy::new(high.x.max(p.x), high.y.max(p.y));
        }
    }
    (Some((low, high)), Some(finest))
}

#[cfg(test)]
mod tests;
