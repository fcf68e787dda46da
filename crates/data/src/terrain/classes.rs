//! Rasters of class numbers, laid onto a grid of the frame by nearest neighbour: a class is never interpolated.

use super::geotiff::{self, Values};
use super::lattice::Lattice;
use super::mosaic::{bounds_in_frame, cancelled, near_longitude};
use super::source::{Input, Source as _, Window};
use super::{MOST_CELLS, file_name, input_of, round_cell, spacing};
use crate::error::{LoadError, LoadErrorKind, Loaded, Progress, Warning};
use crate::frame::{Crs, Frame, FrameError, Transformer};
use sparefield_geometry::grid::GridFrame;
use sparefield_geometry::position::Xy;
use sparefield_geometry::suggest::NO_CLASS;
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// Rows of the grid read at a time.
const BAND_ROWS: usize = 128;

/// Which part of a class raster is wanted.
#[derive(Clone, Debug)]
pub(crate) struct ClassRequest<'a> {
    /// The frame of the area.
    pub(crate) frame: &'a Frame,
    /// South-west and north-east corner of the area in metres.
    pub(crate) window: (Xy, Xy),
    /// Side of a cell in metres; `None` for that of the file, rounded.
    pub(crate) cell_m: Option<f64>,
    /// The reference system of a file that states none that is understood.
    pub(crate) crs_where_missing: Option<Crs>,
}

/// Class numbers on a grid of the frame, row-major from the north-west; [`NO_CLASS`] is no data.
pub(crate) struct ClassRaster {
    pub(crate) frame: GridFrame,
    pub(crate) classes: Vec<u16>,
}

/// Reads a class raster from a GeoTIFF.
pub(crate) fn load_classes(
    path: &Path,
    request: &ClassRequest<'_>,
    progress: &dyn Progress,
) -> Result<Loaded<ClassRaster>, LoadError> {
    read(input_of(path)?, request, progress)
}

/// As [`load_classes`], for a file in memory.
pub(crate) fn load_classes_bytes(
    name: &str,
    bytes: &[u8],
    request: &ClassRequest<'_>,
    progress: &dyn Progress,
) -> Result<Loaded<ClassRaster>, LoadError> {
    let length = bytes.len() as u64;
    read(Input { path: PathBuf::from(name), reader: Box::new(Cursor::new(bytes)), length }, request, progress)
}

fn read(
    mut input: Input<'_>,
    request: &ClassRequest<'_>,
    progress: &dyn Progress,
) -> Result<Loaded<ClassRaster>, LoadError> {
    let path = input.path.clone();
    let fail = |kind, problem: String, remedy: &str| LoadError::new(&path, kind, problem, remedy);
    let mut head = [0; 2];
    let start = input.reader.read(&mut head).and_then(|n| input.reader.seek(std::io::SeekFrom::Start(0)).map(|_| n));
    match start {
        Err(e) => return Err(LoadError::from_io(&path, &e)),
        Ok(2) if head == *b"II" || head == *b"MM" => {}
        Ok(_) => {
            return Err(fail(
                LoadErrorKind::Unsupported,
                "it is no GeoTIFF".to_owned(),
                "name a land-cover map as a GeoTIFF of class numbers",
            ));
        }
    }
    let mut tif = geotiff::open_as(input, Values::Classes)?;
    let header = tif.header().clone();
    let crs = match (&header.crs, &request.crs_where_missing) {
        (Some(crs), _) | (None, Some(crs)) => crs.clone(),
        (None, None) => {
            let problem = header.crs_problem.clone().unwrap_or_else(|| "it states no reference system".to_owned());
            return Err(fail(LoadErrorKind::Crs, problem, "name its reference system, such as EPSG:27700"));
        }
    };
    let wrong = |e: FrameError| fail(LoadErrorKind::Crs, e.to_string(), "");
    let transformer = Transformer::new(&crs, request.frame).map_err(wrong)?;
    let full = header.levels[0];
    let map = full.to_crs;
    let (dx, dy) = spacing(&full, &transformer).map_err(wrong)?;
    let spacing_m = (dx * dy).sqrt();
    if !(spacing_m > 0.0 && spacing_m.is_finite()) {
        let remedy = "check its pixel size and its reference system";
        return Err(fail(LoadErrorKind::Corrupt, "its cells have no size".to_owned(), remedy));
    }
    // Cells of the file itself, where they lie squarely in the frame.
    let square =
        transformer.is_identity() && map.b == 0.0 && map.d == 0.0 && map.a > 0.0 && (map.a / -map.e - 1.0).abs() < 1e-9;
    let cell_m = request.cell_m.unwrap_or(if square { map.a } else { round_cell(spacing_m) });
    if !(cell_m > 0.0 && cell_m.is_finite()) {
        return Err(fail(LoadErrorKind::BadValue, format!("a cell of {cell_m} m is not greater than zero"), ""));
    }
    let extent = (0, 0, full.cols as i64, full.rows as i64);
    let covered = bounds_in_frame(&map, extent, &transformer).map_err(wrong)?;
    // The outermost cells reach half a cell past their middles.
    let half = spacing_m;
    let low = Xy::new(request.window.0.x.max(covered.0.x - half), request.window.0.y.max(covered.0.y - half));
    let high = Xy::new(request.window.1.x.min(covered.1.x + half), request.window.1.y.min(covered.1.y + half));
    if !(low.x < high.x && low.y < high.y) {
        return Err(fail(
            LoadErrorKind::NothingHere,
            "it covers nothing of the area".to_owned(),
            "name the land-cover map of this area, or check its reference system",
        ));
    }
    let phase = if square && cell_m == map.a { map.apply(0.0, 0.0) } else { (0.0, 0.0) };
    let first = |low: f64, phase: f64| ((low - phase) / cell_m).floor();
    let last = |high: f64, phase: f64| ((high - phase) / cell_m).ceil();
    let (c0, r1) = (first(low.x, phase.0), last(high.y, phase.1));
    let (cols, rows) = (last(high.x, phase.0) - c0 + 1.0, r1 - first(low.y, phase.1) + 1.0);
    if cols * rows > MOST_CELLS as f64 || !(cols * rows).is_finite() {
        return Err(fail(
            LoadErrorKind::TooLarge,
            format!("{cols:.0} × {rows:.0} cells of {cell_m} m are more than {} million", MOST_CELLS / 1_000_000),
            "ask for a smaller area or larger cells",
        ));
    }
    let origin = Xy::new(phase.0 + c0 * cell_m, phase.1 + r1 * cell_m);
    let frame = GridFrame { origin, cell_m, cols: cols as usize, rows: rows as usize };
    let to_post = map
        .inverse()
        .ok_or_else(|| fail(LoadErrorKind::Corrupt, "its cells lie on a line".to_owned(), "check its pixel size"))?;
    let middle_lon_deg =
        if crs.is_geographic() { Some(transformer.from_frame((low + high) * 0.5).map_err(wrong)?.0) } else { None };
    let mut classes = vec![NO_CLASS; frame.len()];
    let mut odd = 0u64;
    let mut top = 0;
    while top < frame.rows {
        if progress.cancelled() {
            return Err(cancelled(&path));
        }
        let count = BAND_ROWS.min(frame.rows - top);
        let band = GridFrame { origin: frame.centre(top, 0), rows: count, ..frame };
        let lattice = Lattice::new(&band, |at| {
            let (x, y) = transformer.from_frame(at).ok()?;
            Some(to_post.apply(middle_lon_deg.map_or(x, |middle| near_longitude(x, middle)), y))
        });
        let out = &mut classes[top * frame.cols..(top + count) * frame.cols];
        odd += fill(&mut tif, (full.cols, full.rows), &lattice, out, frame.cols)?;
        top += count;
        progress.report(top as f64 / frame.rows as f64);
    }
    let place = file_name(&path);
    let mut warnings: Vec<Warning> =
        tif.header().warnings.iter().map(|w| Warning { place: place.clone(), message: w.to_string() }).collect();
    if odd > 0 {
        let message = format!("{odd} cells hold no whole number between 0 and 65534 and count as unknown");
        warnings.push(Warning { place: place.clone(), message });
    }
    let provenance = vec![format!("{place}: {}, {}, cells of {spacing_m:.1} m", header.format, crs.label())];
    Ok(Loaded { value: ClassRaster { frame, classes }, warnings, provenance })
}

/// Takes the class of the nearest cell for every cell of a band; returns how many values are no class numbers.
fn fill(
    tif: &mut geotiff::GeoTiff<'_>,
    (cols, rows): (usize, usize),
    lattice: &Lattice,
    out: &mut [u16],
    across: usize,
) -> Result<u64, LoadError> {
    let Some((low_col, low_row, high_col, high_row)) = lattice.bounds() else { return Ok(0) };
    // One cell of slack for the approximation.
    let part = |low: f64, high: f64, count: usize| {
        let first = (low.round() - 1.0).clamp(0.0, count as f64) as usize;
        let past = (high.round() + 2.0).clamp(0.0, count as f64) as usize;
        (first < past).then(|| (first, past - first))
    };
    let (Some((col0, width)), Some((row0, height))) = (part(low_col, high_col, cols), part(low_row, high_row, rows))
    else {
        return Ok(0);
    };
    let values = tif.read(0, Window { col: col0, row: row0, cols: width, rows: height })?;
    let mut odd = 0;
    for (row, line) in out.chunks_mut(across).enumerate() {
        for ((source_col, source_row), class) in lattice.row(row).zip(line) {
            let (c, r) = ((source_col + 0.5).floor(), (source_row + 0.5).floor());
            let inside =
                c >= col0 as f64 && r >= row0 as f64 && c < (col0 + width) as f64 && r < (row0 + height) as f64;
            if !inside {
                continue;
            }
            let value = f64::from(values[(r as usize - row0) * width + (c as usize - col0)]);
            if value.is_nan() {
                continue;
            }
            if value.fract() == 0.0 && (0.0..f64::from(NO_CLASS)).contains(&value) {
                *class = value as u16;
            } else {
                odd += 1;
            }
        }
    }
    Ok(odd)
}
