//! Terrain from open data: GeoTIFF, SRTM tiles and Esri ASCII grids become one [`Terrain`] in the area's frame.
//!
//! Nothing is assumed in silence: a file without a reference system is refused unless the caller names one, a value
//! marked as missing stays missing, and what was assumed or passed over is in the warnings.

pub(crate) mod affine;
mod ascii_grid;
mod classes;
pub(crate) mod geokeys;
mod geotiff;
pub(crate) mod geotiff_chunk;
pub mod geotiff_write;
mod hgt;
pub(crate) mod lattice;
pub(crate) mod mosaic;
pub(crate) mod source;
pub(crate) mod tiff_tags;

use crate::error::{LoadError, LoadErrorKind, Loaded, Progress, Warning};
use crate::frame::{Crs, Frame, FrameError, ToGeographic, Transformer};
use mosaic::{Group, Member};
use source::{Header, Input, Level, Source};
use sparefield_geometry::grid::{GridFrame, SurfaceKind, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{LonLat, Xy};
use std::fs::File;
use std::io::{BufReader, Cursor, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

pub(crate) use classes::{ClassRaster, ClassRequest, load_classes, load_classes_bytes};
pub use geotiff_write::write_geotiff;

/// Most cells of a grid: 150 million, 600 MB of heights.
pub const MOST_CELLS: usize = 150_000_000;

/// What terrain is wanted.
#[derive(Clone, Debug)]
pub struct TerrainRequest<'a> {
    /// The frame of the area.
    pub frame: &'a Frame,
    /// South-west and north-east corner of the area in metres; `None` for all that the files cover.
    pub window: Option<(Xy, Xy)>,
    /// Side of a cell in metres; `None` for the spacing of the finest file, rounded.
    pub cell_m: Option<f64>,
    /// The reference system of files that state none that is understood.
    pub crs_where_missing: Option<Crs>,
    /// How far heights may be wrong; `None` for what the product states, else a cautious default.
    pub accuracy: Option<TerrainAccuracy>,
}

impl<'a> TerrainRequest<'a> {
    /// All that the files cover, at their own spacing.
    pub fn new(frame: &'a Frame) -> Self {
        Self { frame, window: None, cell_m: None, crs_where_missing: None, accuracy: None }
    }
}

/// What a terrain file is, read from its header.
#[derive(Clone, Debug)]
pub struct TerrainInfo {
    /// The file.
    pub path: PathBuf,
    /// Format in words.
    pub format: String,
    /// Reference system; `None` when the file states none that is understood, so that one must be named.
    pub crs: Option<Crs>,
    /// What the file says about its reference system, where it was not understood.
    pub crs_problem: Option<String>,
    /// South-west and north-east corner on WGS 84, degrees; `None` without a reference system.
    pub bounds: Option<(LonLat, LonLat)>,
    /// Columns.
    pub cols: usize,
    /// Rows.
    pub rows: usize,
    /// Spacing of the posts in the middle of the file, metres: between columns, and between rows.
    pub spacing_m: Option<(f64, f64)>,
    /// The declared no-data value.
    pub no_data: Option<f64>,
    /// What the heights describe, as far as the product is known.
    pub kind: SurfaceKind,
    /// What was assumed or passed over.
    pub warnings: Vec<Warning>,
}

impl TerrainInfo {
    /// Middle of the file on WGS 84, for choosing a frame.
    pub fn centre(&self) -> Option<LonLat> {
        let (sw, ne) = self.bounds?;
        Some(LonLat { lon_deg: (sw.lon_deg + ne.lon_deg) / 2.0, lat_deg: (sw.lat_deg + ne.lat_deg) / 2.0 })
    }
}

/// Opens a terrain file and reads its header.
///
/// # Errors
/// When the file cannot be read or is not terrain of a known format.
pub fn inspect(path: &Path) -> Result<TerrainInfo, LoadError> {
    inspect_source(&*open(path)?)
}

/// As [`inspect`], for bytes in memory; the name gives the format and appears in messages.
///
/// # Errors
/// As [`inspect`].
pub fn inspect_bytes(name: &str, bytes: &[u8]) -> Result<TerrainInfo, LoadError> {
    inspect_source(&*open_bytes(name, bytes)?)
}

fn inspect_source(source: &dyn Source) -> Result<TerrainInfo, LoadError> {
    let header = source.header();
    let full = header.levels[0];
    let mut info = TerrainInfo {
        path: header.path.clone(),
        format: header.format.clone(),
        crs: header.crs.clone(),
        crs_problem: header.crs_problem.clone(),
        bounds: None,
        cols: full.cols,
        rows: full.rows,
        spacing_m: None,
        no_data: header.no_data,
        kind: header.kind,
        warnings: header.warnings.clone(),
    };
    let Some(crs) = &header.crs else { return Ok(info) };
    let wrong = |e: FrameError| header.error(LoadErrorKind::Crs, e.to_string(), "");
    let geographic = ToGeographic::new(crs).map_err(wrong)?;
    let (cols, rows) = (full.cols as f64 - 1.0, full.rows as f64 - 1.0);
    let mut low = (f64::INFINITY, f64::INFINITY);
    let mut high = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    for step in 0..=8 {
        let t = f64::from(step) / 8.0;
        for (c, r) in [(t * cols, 0.0), (t * cols, rows), (0.0, t * rows), (cols, t * rows)] {
            let (x, y) = full.to_crs.apply(c, r);
            let place = geographic.to_lonlat(x, y).map_err(wrong)?;
            low = (low.0.min(place.lon_deg), low.1.min(place.lat_deg));
            high = (high.0.max(place.lon_deg), high.1.max(place.lat_deg));
        }
    }
    info.bounds = Some((LonLat { lon_deg: low.0, lat_deg: low.1 }, LonLat { lon_deg: high.0, lat_deg: high.1 }));
    // Metres between posts need a metric frame; the UTM zone of the middle serves.
    info.spacing_m = info
        .centre()
        .and_then(|middle| Frame::utm_for(middle).ok())
        .and_then(|frame| Transformer::new(crs, &frame).ok())
        .and_then(|transformer| spacing(&full, &transformer).ok());
    Ok(info)
}

/// Reads terrain files into one grid of the frame.
///
/// Heights are resampled bilinearly at the posts of the grid; where the grid is more than twice as coarse as a file,
/// its overview is taken or its posts are averaged, and a warning says so. A post has no height (`NaN`) where any
/// source post that carries weight has none. Finer files go before coarser ones, which fill what those leave open.
///
/// # Errors
/// When a file cannot be read, states no reference system, none of them covers the window, the grid would be larger
/// than [`MOST_CELLS`], or the caller cancels.
///
/// # Accuracy
/// Positions are exact on a net and interpolated between, to 1/50 of a source post.
pub fn load(
    paths: &[PathBuf],
    request: &TerrainRequest<'_>,
    progress: &dyn Progress,
) -> Result<Loaded<Terrain>, LoadError> {
    let mut sources = Vec::with_capacity(paths.len());
    for path in paths {
        sources.push(open(path)?);
    }
    build(sources, request, progress)
}

/// As [`load`], for one file in memory; the name gives the format and appears in messages.
///
/// # Errors
/// As [`load`].
pub fn load_bytes(
    name: &str,
    bytes: &[u8],
    request: &TerrainRequest<'_>,
    progress: &dyn Progress,
) -> Result<Loaded<Terrain>, LoadError> {
    build(vec![open_bytes(name, bytes)?], request, progress)
}

/// The file, opened for reading.
fn input_of(path: &Path) -> Result<Input<'static>, LoadError> {
    let io = |e: &std::io::Error| LoadError::from_io(path, e);
    let metadata = std::fs::metadata(path).map_err(|e| io(&e))?;
    if metadata.is_dir() {
        return Err(io(&std::io::ErrorKind::IsADirectory.into()));
    }
    let file = File::open(path).map_err(|e| io(&e))?;
    Ok(Input { path: path.to_owned(), reader: Box::new(BufReader::new(file)), length: metadata.len() })
}

fn open(path: &Path) -> Result<Box<dyn Source>, LoadError> {
    open_input(input_of(path)?, &|| {
        for extension in ["prj", "PRJ"] {
            let beside = path.with_extension(extension);
            match std::fs::read(&beside) {
                Ok(bytes) => return Ok(Some(String::from_utf8_lossy(&bytes).into_owned())),
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
                Err(e) => return Err(LoadError::from_io(&beside, &e)),
            }
        }
        Ok(None)
    })
}

fn open_bytes<'a>(name: &str, bytes: &'a [u8]) -> Result<Box<dyn Source + 'a>, LoadError> {
    let length = bytes.len() as u64;
    open_input(Input { path: PathBuf::from(name), reader: Box::new(Cursor::new(bytes)), length }, &|| Ok(None))
}

/// Reads the text of the `.prj` file beside a file, if there is one.
type ReadPrj<'a> = dyn Fn() -> Result<Option<String>, LoadError> + 'a;

fn open_input<'a>(mut input: Input<'a>, prj: &ReadPrj<'_>) -> Result<Box<dyn Source + 'a>, LoadError> {
    if input.length == 0 {
        return Err(LoadError::new(
            &input.path,
            LoadErrorKind::Empty,
            "it is empty",
            "copy or download the file again",
        ));
    }
    let mut head = Vec::new();
    (&mut input.reader).take(64).read_to_end(&mut head).map_err(|e| LoadError::from_io(&input.path, &e))?;
    input.reader.seek(SeekFrom::Start(0)).map_err(|e| LoadError::from_io(&input.path, &e))?;
    let extension = input.path.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).unwrap_or_default();
    let is_tiff = head.starts_with(b"II") || head.starts_with(b"MM");
    match extension.as_str() {
        "hgt" => Ok(Box::new(hgt::open(input)?)),
        "tif" | "tiff" | "gtiff" => Ok(Box::new(geotiff::open(input)?)),
        _ if head.starts_with(b"PK\x03\x04") => Ok(Box::new(hgt::open(input)?)),
        _ if ascii_grid::looks_like(&head) => Ok(Box::new(ascii_grid::open(input, prj)?)),
        _ if is_tiff => Ok(Box::new(geotiff::open(input)?)),
        "asc" => Ok(Box::new(ascii_grid::open(input, prj)?)),
        _ => Err(LoadError::new(
            &input.path,
            LoadErrorKind::Unsupported,
            "it is not terrain of a format that is read here",
            "name a GeoTIFF (.tif), an SRTM tile (.hgt or .hgt.zip) or an Esri ASCII grid (.asc)",
        )),
    }
}

/// Spacing of the posts in the middle of a level, metres in the frame: between columns, and between rows.
pub(crate) fn spacing(level: &Level, transformer: &Transformer) -> Result<(f64, f64), FrameError> {
    let (c, r) = ((level.cols as f64 - 1.0) / 2.0, (level.rows as f64 - 1.0) / 2.0);
    let at = |col: f64, row: f64| {
        let (x, y) = level.to_crs.apply(col, row);
        transformer.to_frame(x, y)
    };
    // Over half a post to either side, so that it is right for a single row or column as well.
    Ok((at(c - 0.5, r)?.distance(at(c + 0.5, r)?), at(c, r - 0.5)?.distance(at(c, r + 0.5)?)))
}

/// A source with what is needed to place it.
struct Placed<'a> {
    source: Box<dyn Source + 'a>,
    crs: Crs,
    transformer: Transformer,
    spacing_m: f64,
    bounds: (Xy, Xy),
    middle_lon_deg: Option<f64>,
    /// Exact spacing when the posts lie squarely in the frame itself.
    square_m: Option<f64>,
}

fn place<'a>(mut source: Box<dyn Source + 'a>, request: &TerrainRequest<'_>) -> Result<Placed<'a>, LoadError> {
    let frame = request.frame;
    let header = source.header_mut();
    let crs = match (header.crs.clone(), &request.crs_where_missing) {
        (Some(crs), _) => crs,
        (None, Some(given)) => {
            header.warn("", format!("its reference system was taken as {}, as given", given.label()));
            given.clone()
        }
        (None, None) => {
            let problem = header.crs_problem.clone().unwrap_or_else(|| "it states no reference system".to_owned());
            return Err(header.error(LoadErrorKind::Crs, problem, "name its reference system, such as EPSG:27700"));
        }
    };
    let wrong = |header: &Header, e: FrameError| header.error(LoadErrorKind::Crs, e.to_string(), "");
    let header = source.header();
    let transformer = Transformer::new(&crs, frame).map_err(|e| wrong(header, e))?;
    let full = header.levels[0];
    let (dx, dy) = spacing(&full, &transformer).map_err(|e| wrong(header, e))?;
    let extent = (0, 0, full.cols as i64, full.rows as i64);
    let bounds = mosaic::bounds_in_frame(&full.to_crs, extent, &transformer).map_err(|e| wrong(header, e))?;
    let spacing_m = (dx * dy).sqrt();
    if !(spacing_m > 0.0 && spacing_m.is_finite()) {
        return Err(header.error(
            LoadErrorKind::Corrupt,
            "its posts have no distance from each other",
            "check its pixel size and its reference system",
        ));
    }
    let map = full.to_crs;
    let square = transformer.is_identity() && map.b == 0.0 && map.d == 0.0 && map.a > 0.0 && map.e < 0.0;
    let square_m = (square && (map.a / -map.e - 1.0).abs() < 1e-9).then_some(map.a);
    Ok(Placed { source, crs, transformer, spacing_m, bounds, middle_lon_deg: None, square_m })
}

fn build(
    sources: Vec<Box<dyn Source + '_>>,
    request: &TerrainRequest<'_>,
    progress: &dyn Progress,
) -> Result<Loaded<Terrain>, LoadError> {
    let nothing = Path::new("terrain");
    if sources.is_empty() {
        return Err(LoadError::new(
            nothing,
            LoadErrorKind::NothingHere,
            "no terrain file is named",
            "name at least one",
        ));
    }
    let mut placed = Vec::with_capacity(sources.len());
    for source in sources {
        placed.push(place(source, request)?);
    }
    let first = placed[0].source.header().path.clone();
    let fail = |kind, problem: String, remedy: &str| LoadError::new(&first, kind, problem, remedy);
    // Finest first; files of the same spacing stay in the order given.
    placed.sort_by(|a, b| a.spacing_m.total_cmp(&b.spacing_m));

    let window = match request.window {
        Some(window) => window,
        None => placed.iter().skip(1).fold(placed[0].bounds, |(low, high), p| {
            (
                Xy::new(low.x.min(p.bounds.0.x), low.y.min(p.bounds.0.y)),
                Xy::new(high.x.max(p.bounds.1.x), high.y.max(p.bounds.1.y)),
            )
        }),
    };
    if !(window.0.x < window.1.x && window.0.y < window.1.y && (window.1 - window.0).norm().is_finite()) {
        return Err(fail(
            LoadErrorKind::BadValue,
            "the area asked for has no size".to_owned(),
            "give a south-west and a north-east corner",
        ));
    }
    let mut warnings = Vec::new();
    let mut provenance = Vec::new();
    let mut used: Vec<Placed<'_>> = Vec::new();
    for p in placed {
        let margin = 2.0 * p.spacing_m;
        let (low, high) = p.bounds;
        let apart = low.x > window.1.x + margin
            || high.x < window.0.x - margin
            || low.y > window.1.y + margin
            || high.y < window.0.y - margin;
        if apart {
            let place = file_name(&p.source.header().path);
            warnings.push(Warning { place, message: "it covers nothing of the area and was not used".to_owned() });
        } else {
            used.push(p);
        }
    }
    let Some(finest) = used.first() else {
        return Err(fail(
            LoadErrorKind::NothingHere,
            "the terrain covers nothing of the area asked for".to_owned(),
            "name the tiles of this area, or check the position and the reference system",
        ));
    };
    let centre = Xy::new((window.0.x + window.1.x) / 2.0, (window.0.y + window.1.y) / 2.0);
    let distortion = request.frame.check_lengths(centre).map_err(|e| fail(LoadErrorKind::Crs, e.to_string(), ""))?;
    if distortion > 0.01 {
        warnings.push(Warning {
            place: String::new(),
            message: format!(
                "lengths in {} are false by {:.1} % here",
                request.frame.crs().label(),
                distortion * 100.0
            ),
        });
    }

    let cell_m = match request.cell_m {
        Some(cell) if cell > 0.0 && cell.is_finite() => cell,
        Some(cell) => {
            return Err(fail(
                LoadErrorKind::BadValue,
                format!("a cell of {cell} m is not greater than zero"),
                "give a cell size in metres",
            ));
        }
        None => finest.square_m.unwrap_or_else(|| round_cell(finest.spacing_m)),
    };
    let grid = grid_over(window, cell_m, finest);
    let Some(grid) = grid else {
        return Err(fail(
            LoadErrorKind::TooLarge,
            format!(
                "{:.0} × {:.0} km at {cell_m} m are more than {} million cells",
                (window.1.x - window.0.x) / 1000.0,
                (window.1.y - window.0.y) / 1000.0,
                MOST_CELLS / 1_000_000
            ),
            "ask for a smaller area or larger cells",
        ));
    };
    provenance.push(format!(
        "grid of {} × {} posts every {cell_m} m in {}",
        grid.cols,
        grid.rows,
        request.frame.crs().label()
    ));
    let accuracy = request.accuracy.unwrap_or_else(|| accuracy_of(&used, &mut warnings));
    for p in used.iter_mut().filter(|p| p.crs.is_geographic()) {
        let header = p.source.header_mut();
        let (middle, _) =
            p.transformer.from_frame(centre).map_err(|e| header.error(LoadErrorKind::Crs, e.to_string(), ""))?;
        // Tiles on either side of the 180th meridian lie side by side.
        let full = header.levels[0];
        let (lon, _) = full.to_crs.apply(full.cols as f64 / 2.0, full.rows as f64 / 2.0);
        let shift = mosaic::near_longitude(lon, middle) - lon;
        header.levels.iter_mut().for_each(|level| level.to_crs.c += shift);
        p.middle_lon_deg = Some(middle);
    }
    let mut groups = group(used, cell_m, &mut warnings, &mut provenance);
    progress.report(0.0);
    let heights_m = mosaic::resample(&mut groups, &grid, progress)?;
    for group in &groups {
        for member in &group.members {
            let header = member.source.header();
            let place = file_name(&header.path);
            let about = |w: &Warning| Warning { place: place.clone(), message: w.to_string() };
            warnings.extend(header.warnings.iter().map(about));
            let passed = member.source.passed_over();
            if passed > 0 {
                warnings.push(Warning {
                    place,
                    message: format!(
                        "{passed} values read cannot be heights (below −1000 m or above 9000 m) and count as missing"
                    ),
                });
            }
        }
    }
    let missing = heights_m.iter().filter(|h| h.is_nan()).count();
    if missing == heights_m.len() {
        return Err(fail(
            LoadErrorKind::NothingHere,
            "the terrain holds no height in the area asked for".to_owned(),
            "name the tiles of this area, or check the position and the reference system",
        ));
    }
    if missing > 0 {
        let percent = 100.0 * missing as f64 / heights_m.len() as f64;
        warnings.push(Warning {
            place: String::new(),
            message: format!("{percent:.1} % of the grid has no height and stays without"),
        });
    }
    Ok(Loaded { value: Terrain { frame: grid, heights_m, accuracy }, warnings, provenance })
}

pub(crate) fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned())
}

/// A spacing rounded to one of a few steps of each power of ten, at most 12 % away.
fn round_cell(spacing_m: f64) -> f64 {
    const STEPS: [f64; 13] = [1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0];
    let mut unit = 1e-3;
    while unit * 10.0 <= spacing_m {
        unit *= 10.0;
    }
    let away = |step: f64| (spacing_m / (step * unit)).max(step * unit / spacing_m);
    let best = STEPS.iter().copied().fold(STEPS[0], |best, step| if away(step) < away(best) { step } else { best });
    // Back through text, so that 0.3 is 0.3 and not 0.30000000000000004.
    format!("{:.6}", best * unit).parse().unwrap_or(best * unit)
}

/// The grid over a window: posts on multiples of the cell, or on the source's own posts where they fit.
fn grid_over(window: (Xy, Xy), cell_m: f64, finest: &Placed<'_>) -> Option<GridFrame> {
    let on_posts = finest.square_m.filter(|&m| (m / cell_m - 1.0).abs() < 1e-9);
    let phase = match on_posts {
        Some(_) => {
            let (x, y) = finest.source.header().levels[0].to_crs.apply(0.0, 0.0);
            Xy::new(x, y)
        }
        None => Xy::default(),
    };
    // A window that ends on a post within rounding ends there.
    let first = |low: f64, phase: f64| ((low - phase) / cell_m + 1e-6).floor();
    let last = |high: f64, phase: f64| ((high - phase) / cell_m - 1e-6).ceil();
    let (c0, c1) = (first(window.0.x, phase.x), last(window.1.x, phase.x));
    let (r0, r1) = (first(window.0.y, phase.y), last(window.1.y, phase.y));
    let (cols, rows) = (c1 - c0 + 1.0, r1 - r0 + 1.0);
    if !(cols >= 1.0 && rows >= 1.0 && cols * rows <= MOST_CELLS as f64) {
        return None;
    }
    let origin = Xy::new(phase.x + c0 * cell_m, phase.y + r1 * cell_m);
    Some(GridFrame { origin, cell_m, cols: cols as usize, rows: rows as usize })
}

fn accuracy_of(used: &[Placed<'_>], warnings: &mut Vec<Warning>) -> TerrainAccuracy {
    let default = TerrainAccuracy::default();
    let stated = |p: &Placed<'_>| p.source.header().point_to_point_m.unwrap_or(default.point_to_point_m);
    let point_to_point_m = used.iter().map(stated).fold(0.0, f64::max);
    let kind = used[0].source.header().kind;
    if used.iter().all(|p| p.source.header().kind == kind) {
        return TerrainAccuracy { point_to_point_m, kind };
    }
    warnings.push(Warning {
        place: String::new(),
        message: "some of the files hold the tops of trees and buildings and others may not".to_owned(),
    });
    TerrainAccuracy { point_to_point_m, kind: SurfaceKind::Unknown }
}

/// Puts sources on common lattices and chooses the resolution that is read.
fn group<'a>(
    used: Vec<Placed<'a>>,
    cell_m: f64,
    warnings: &mut Vec<Warning>,
    provenance: &mut Vec<String>,
) -> Vec<Group<'a>> {
    let mut groups: Vec<(Crs, Group<'a>)> = Vec::new();
    for p in used {
        let header = p.source.header();
        let full = &header.levels[0];
        let factor = |l: &Level| full.cols as f64 / l.cols as f64;
        // The coarsest level that is no coarser than the grid.
        let level = (0..header.levels.len())
            .rev()
            .find(|&l| p.spacing_m * factor(&header.levels[l]) <= cell_m * (1.0 + 1e-9))
            .unwrap_or(0);
        let chosen = header.levels[level];
        let spacing_m = p.spacing_m * factor(&chosen);
        let averaged = ((cell_m / spacing_m + 1e-9).floor() as usize).max(1);
        let averaged = if averaged > chosen.cols.min(chosen.rows) { 1 } else { averaged };
        let place = file_name(&header.path);
        let mut remark = String::new();
        if level > 0 {
            remark = format!("its overview with posts {:.0} times as far apart was read", factor(&chosen));
        }
        if averaged > 1 {
            let and = if remark.is_empty() { "" } else { "; " };
            remark = format!("{remark}{and}the mean of {averaged} × {averaged} posts was taken");
        }
        if !remark.is_empty() {
            warnings.push(Warning {
                place: place.clone(),
                message: format!("{remark}, so tops may be higher than the grid shows"),
            });
        }
        provenance.push(format!("{place}: {}, {}, posts every {:.1} m", header.format, p.crs.label(), p.spacing_m));
        let fits = groups
            .iter()
            .position(|(crs, g)| *crs == p.crs && g.averaged == averaged && offset_on(g, &chosen).is_some());
        let member = |col0: i64, row0: i64, source: Box<dyn Source + 'a>| Member {
            source,
            level,
            col0,
            row0,
            cols: chosen.cols,
            rows: chosen.rows,
        };
        match fits.and_then(|at| offset_on(&groups[at].1, &chosen).map(|offset| (at, offset))) {
            Some((at, (col0, row0))) => groups[at].1.members.push(member(col0, row0, p.source)),
            None => groups.push((
                p.crs,
                Group {
                    members: vec![member(0, 0, p.source)],
                    to_crs: chosen.to_crs,
                    transformer: p.transformer,
                    middle_lon_deg: p.middle_lon_deg,
                    spacing_m,
                    averaged,
                },
            )),
        }
    }
    groups.into_iter().map(|(_, g)| g).collect()
}

/// Where a level begins on a group's lattice, when its posts are posts of that lattice to a thousandth.
fn offset_on(group: &Group<'_>, level: &Level) -> Option<(i64, i64)> {
    const SAME: f64 = 1e-3;
    let back = group.to_crs.inverse()?;
    let at = |col: f64, row: f64| {
        let (x, y) = level.to_crs.apply(col, row);
        back.apply(x, y)
    };
    let (c0, r0) = at(0.0, 0.0);
    let (col0, row0) = (c0.round(), r0.round());
    let on = |found: (f64, f64), col: f64, row: f64| (found.0 - col).abs() < SAME && (found.1 - row).abs() < SAME;
    let (cols, rows) = (level.cols as f64 - 1.0, level.rows as f64 - 1.0);
    let same = on((c0, r0), col0, row0)
        && on(at(cols, 0.0), col0 + cols, row0)
        && on(at(0.0, rows), col0, row0 + rows)
        && col0.abs() < 1e12
        && row0.abs() < 1e12;
    same.then_some((col0 as i64, row0 as i64))
}

#[cfg(test)]
mod tests;
