//! GeoTIFF terrain: strips and tiles, overviews, every usual sample type and compression.
//!
//! The directories are read by [`super::tiff_tags`], with bounds, strips and tiles by [`super::geotiff_chunk`]. Only
//! those that overlap the window asked for are decoded, and the last few are kept.

use super::geokeys::{self, GeoKeys, Heights, Stated};
use super::geotiff_chunk::{ChunkProblem, Chunks, Sampling, decompress, is_read, row_values};
use super::source::{ANY_CLASS, BELIEVED_M, Decode, Header, Input, Level, ReadSeek, Source, Window};
use super::tiff_tags::{self as tags, Directory};
use crate::error::{LoadError, LoadErrorKind};
use crate::frame::shown;
use sparefield_geometry::grid::SurfaceKind;
use std::collections::HashMap;
use std::io::SeekFrom;
use std::path::Path;

/// Most samples of one strip or tile: 64 million of 4 bytes, as large as a whole 1″ tile five times over.
const MOST_CHUNK_BYTES: u64 = 256 << 20;
/// Bytes of decoded strips and tiles kept between reads.
const KEPT_BYTES: usize = 48 << 20;

const REWRITE: &str = "write it anew as a tiled GeoTIFF with deflate compression";
const COPY_AGAIN: &str = "copy or download the file again";

/// How the samples of one directory are stored.
#[derive(Clone, Debug)]
struct Layout {
    /// Number of the directory in the file.
    index: usize,
    cols: usize,
    rows: usize,
    tiled: bool,
    chunk_cols: usize,
    chunk_rows: usize,
    offsets: Vec<u64>,
    counts: Vec<u64>,
    compression: u64,
    predictor: u64,
    sampling: Sampling,
}

impl Layout {
    fn across(&self) -> usize {
        self.cols.div_ceil(self.chunk_cols)
    }
    fn place(&self, chunk: usize) -> String {
        let name = if self.tiled { "tile" } else { "strip" };
        if self.index == 0 { format!("{name} {chunk}") } else { format!("overview {}, {name} {chunk}", self.index) }
    }
    /// Whether samples lie plainly in the file, so that rows are read without decoding whole strips.
    fn is_plain(&self) -> bool {
        self.compression == 1 && self.predictor == 1
    }
}

/// An opened GeoTIFF.
pub(crate) struct GeoTiff<'a> {
    header: Header,
    layouts: Vec<Layout>,
    decode: Decode,
    length: u64,
    reader: Box<dyn ReadSeek + 'a>,
    kept: HashMap<(usize, usize), (u64, Vec<f32>)>,
    kept_bytes: usize,
    clock: u64,
    passed_over: u64,
}

/// What the values of a file stand for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Values {
    /// Heights, which have a unit and a believable range.
    Heights,
    /// Numbers of classes, which may have a palette to be drawn with.
    Classes,
}

/// Opens a GeoTIFF of heights; reads its directories, no heights.
pub(crate) fn open(input: Input<'_>) -> Result<GeoTiff<'_>, LoadError> {
    open_as(input, Values::Heights)
}

/// Opens a GeoTIFF; reads its directories, no values.
pub(crate) fn open_as(mut input: Input<'_>, values: Values) -> Result<GeoTiff<'_>, LoadError> {
    let path = input.path.clone();
    let structure = tags::read(&mut *input.reader, &path, input.length)?;
    let fail = |kind, problem: String, remedy: &str| LoadError::new(&path, kind, problem, remedy);
    let main = structure
        .directories
        .iter()
        .position(|d| d.first(tags::NEW_SUBFILE_TYPE).unwrap_or(0) & 0b101 == 0)
        .ok_or_else(|| fail(LoadErrorKind::Corrupt, "it holds overviews, but no image".to_owned(), COPY_AGAIN))?;
    let directory = &structure.directories[main];
    let mut warnings = Vec::new();
    let layout = layout(directory, main, structure.little_endian, values, &path)?;
    let keys = GeoKeys::read(directory);
    let posts = match geokeys::posts(directory, &keys, layout.cols, layout.rows) {
        Some(Ok(posts)) => posts,
        Some(Err(problem)) => {
            return Err(fail(
                LoadErrorKind::Corrupt,
                problem,
                "write the file anew with a pixel size and one tie point",
            ));
        }
        None => {
            return Err(fail(
                LoadErrorKind::Crs,
                "it does not say where it lies (no tie points and no pixel size)".to_owned(),
                "use a georeferenced GeoTIFF",
            ));
        }
    };
    let (crs, crs_problem, remarks) = match geokeys::reference_system(&keys) {
        Stated::Nothing => (None, None, Vec::new()),
        Stated::System(crs, remarks) => (Some(*crs), None, remarks),
        Stated::Unusable(problem) => (None, Some(problem), Vec::new()),
    };
    warnings.extend(remarks);
    let unit = match geokeys::heights(&keys) {
        _ if values == Values::Classes => 1.0,
        Heights::Unit(unit) => unit,
        Heights::Ellipsoidal => {
            return Err(fail(
                LoadErrorKind::BadValue,
                "its heights are above the ellipsoid, which is up to 100 m from sea level".to_owned(),
                "convert them to heights above sea level first",
            ));
        }
        Heights::UnknownUnit(code) => {
            return Err(fail(
                LoadErrorKind::Unsupported,
                format!("the unit of its heights (code {code}) is not one that is read here"),
                "convert the heights to metres",
            ));
        }
    };
    let (scale, offset) = if values == Values::Classes { (1.0, 0.0) } else { scale_and_offset(directory) };
    if unit != 1.0 {
        warnings.push(format!("heights were converted to metres (one unit is {unit:.6} m)"));
    }
    if scale != 1.0 || offset != 0.0 {
        warnings.push(format!("heights are {} × value + {}, as the file states", shown(scale), shown(offset)));
    }
    if let Some(vertical) = crs.as_ref().and_then(|c| c.vertical()).filter(|_| values == Values::Heights) {
        warnings.push(format!("heights are taken as they are, in the vertical system {vertical}"));
    }
    let samples = directory.first(tags::SAMPLES_PER_PIXEL).unwrap_or(1);
    if samples > 1 {
        let what = if values == Values::Classes { "classes" } else { "heights" };
        warnings.push(format!("it has {samples} bands; the first was taken as {what}"));
    }
    let no_data = no_data(directory, &path)?;
    let decode = Decode {
        no_data,
        scale: scale * unit,
        offset: offset * unit,
        single: layout.sampling.format == 3 && layout.sampling.bits == 32,
        believed: if values == Values::Classes { ANY_CLASS } else { BELIEVED_M },
    };

    let mut levels = vec![Level { cols: layout.cols, rows: layout.rows, to_crs: posts }];
    let mut layouts = vec![layout];
    for (index, other) in structure.directories.iter().enumerate() {
        let kind = other.first(tags::NEW_SUBFILE_TYPE).unwrap_or(0);
        if index == main || kind & 0b001 == 0 && kind & 0b100 == 0 {
            continue;
        }
        if kind & 0b100 != 0 {
            if no_data.is_none() {
                return Err(fail(
                    LoadErrorKind::Unsupported,
                    "it marks missing heights by a mask, which is not read here".to_owned(),
                    "write it anew with a no-data value",
                ));
            }
            continue;
        }
        // Overviews of classes may be means of class numbers, which are no classes.
        if values == Values::Classes {
            continue;
        }
        if let Some((level, layout)) = overview(other, index, &levels[0], &layouts[0], &path) {
            levels.push(level);
            layouts.push(layout);
        } else {
            warnings.push(format!("directory {index} is not an overview of the image and was passed over"));
        }
    }
    let mut order: Vec<usize> = (0..levels.len()).collect();
    order.sort_by_key(|&i| std::cmp::Reverse(levels[i].cols));
    let levels: Vec<Level> = order.iter().map(|&i| levels[i]).collect();
    let layouts: Vec<Layout> = order.iter().map(|&i| layouts[i].clone()).collect();

    let name = path.file_name().map(|n| n.to_string_lossy().to_ascii_lowercase()).unwrap_or_default();
    let copernicus = name.contains("copernicus_dsm");
    let mut header = Header {
        path,
        format: describe(&layouts[0], layouts.len() - 1),
        crs,
        crs_problem,
        levels,
        no_data,
        kind: if copernicus { SurfaceKind::SurfaceModel } else { SurfaceKind::Unknown },
        // Copernicus DEM product handbook: relative vertical accuracy < 2 m on slopes up to 20 %.
        point_to_point_m: copernicus.then_some(2.0),
        warnings: Vec::new(),
    };
    for warning in warnings {
        header.warn("", warning);
    }
    Ok(GeoTiff {
        header,
        layouts,
        decode,
        length: input.length,
        reader: input.reader,
        kept: HashMap::new(),
        kept_bytes: 0,
        clock: 0,
        passed_over: 0,
    })
}

fn layout(
    directory: &Directory,
    index: usize,
    little_endian: bool,
    values: Values,
    path: &Path,
) -> Result<Layout, LoadError> {
    let fail = |kind, problem: String, remedy: &str| LoadError::new(path, kind, problem, remedy);
    let samples = directory.first(tags::SAMPLES_PER_PIXEL).unwrap_or(1);
    let photometric = directory.first(tags::PHOTOMETRIC);
    match photometric {
        Some(1) => {}
        // 3 is a palette: the values are numbers of colours, as class maps are often stored.
        Some(3) if values == Values::Classes => {}
        Some(0) => {
            return Err(fail(
                LoadErrorKind::Unsupported,
                "it states that white is zero, which makes its values pictures and not heights".to_owned(),
                "write it anew as a single-band GeoTIFF of heights",
            ));
        }
        Some(_) => {
            return Err(fail(
                LoadErrorKind::Unsupported,
                "it is a picture (in colours or with a palette), not heights".to_owned(),
                "name a file of heights",
            ));
        }
        None => {
            return Err(fail(
                LoadErrorKind::Corrupt,
                "it does not state how its values are meant".to_owned(),
                COPY_AGAIN,
            ));
        }
    }
    if samples == 0 || samples > 16 {
        return Err(fail(
            LoadErrorKind::Unsupported,
            format!("it has {samples} bands, so it is no file of heights"),
            "name a single-band GeoTIFF of heights",
        ));
    }
    let bits = directory.unsigned(tags::BITS_PER_SAMPLE);
    let formats = directory.unsigned(tags::SAMPLE_FORMAT);
    let (bit, format) = (bits.first().copied().unwrap_or(1), formats.first().copied().unwrap_or(1));
    if bits.iter().any(|&b| b != bit) || formats.iter().any(|&f| f != format) {
        return Err(fail(LoadErrorKind::Unsupported, "its bands are of different types".to_owned(), REWRITE));
    }
    if !matches!((format, bit), (1 | 2, 8 | 16 | 32) | (3, 32 | 64)) {
        return Err(fail(
            LoadErrorKind::Unsupported,
            format!("its values are of a type that is not read here ({bit} bits, sample format {format})"),
            "write it anew as 16-bit integers or 32-bit floats",
        ));
    }
    let compression = directory.first(tags::COMPRESSION).unwrap_or(1);
    if !is_read(compression) {
        return Err(fail(
            LoadErrorKind::Unsupported,
            format!("its compression ({}) is not one that is read here", compression_name(compression)),
            REWRITE,
        ));
    }
    let predictor = directory.first(tags::PREDICTOR).unwrap_or(1);
    if !matches!((predictor, format), (1 | 2, _) | (3, 3)) {
        return Err(fail(
            LoadErrorKind::Unsupported,
            format!("its predictor {predictor} does not go with its values"),
            REWRITE,
        ));
    }
    if samples > 2 && bit == 8 {
        return Err(fail(
            LoadErrorKind::Unsupported,
            format!("it has {samples} bands of 8 bits, so it is a picture and not heights"),
            "name a file of heights",
        ));
    }
    let planar = directory.first(tags::PLANAR_CONFIGURATION).unwrap_or(1);
    let chunks = Chunks::read(directory, if planar == 2 { samples } else { 1 }, path)?;
    let interleaved = if planar == 2 { 1 } else { samples };
    let plain = compression == 1 && predictor == 1;
    let (chunk_cols, chunk_rows) = (chunks.chunk_cols, chunks.chunk_rows);
    let chunk_bytes = chunk_cols.checked_mul(chunk_rows).and_then(|n| n.checked_mul((interleaved * bit / 8) as usize));
    // A plain strip is read row by row, so its size does not matter.
    if chunk_bytes.is_none_or(|bytes| bytes as u64 > MOST_CHUNK_BYTES && !plain) {
        return Err(fail(
            LoadErrorKind::TooLarge,
            format!("its {} are {chunk_cols} × {chunk_rows} pixels", if chunks.tiled { "tiles" } else { "strips" }),
            REWRITE,
        ));
    }
    Ok(Layout {
        index,
        cols: chunks.cols,
        rows: chunks.rows,
        tiled: chunks.tiled,
        chunk_cols,
        chunk_rows,
        offsets: chunks.offsets,
        counts: chunks.counts,
        compression,
        predictor,
        sampling: Sampling { bits: bit, format, little_endian, interleaved: interleaved as usize },
    })
}

/// An overview: the same image with every side divided by about the same number.
fn overview(directory: &Directory, index: usize, full: &Level, main: &Layout, path: &Path) -> Option<(Level, Layout)> {
    let layout = layout(directory, index, main.sampling.little_endian, Values::Heights, path).ok()?;
    let (own, full_size) = (layout.sampling, main.sampling);
    if own.bits != full_size.bits || own.format != full_size.format || own.interleaved != full_size.interleaved {
        return None;
    }
    Some((full.overview(layout.cols, layout.rows)?, layout))
}

fn no_data(directory: &Directory, path: &Path) -> Result<Option<f64>, LoadError> {
    let Some(text) = directory.text(tags::GDAL_NO_DATA) else { return Ok(None) };
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    match text.to_ascii_lowercase().as_str() {
        "nan" | "-nan" => return Ok(Some(f64::NAN)),
        "inf" | "+inf" => return Ok(Some(f64::INFINITY)),
        "-inf" => return Ok(Some(f64::NEG_INFINITY)),
        _ => {}
    }
    if let Ok(value) = text.parse() {
        return Ok(Some(value));
    }
    let shown: String = text.chars().take(40).collect();
    Err(LoadError::new(
        path,
        LoadErrorKind::Corrupt,
        format!("its no-data value {shown:?} is not a number, so missing heights cannot be told from real ones"),
        "write it anew with a number as no-data value",
    ))
}

/// Scale and offset of the first band from the metadata text, where present.
fn scale_and_offset(directory: &Directory) -> (f64, f64) {
    let text = directory.text(tags::GDAL_METADATA).unwrap_or_default();
    let value = |role: &str| -> Option<f64> {
        text.split("<Item").skip(1).find_map(|item| {
            let (attributes, rest) = item.split_once('>')?;
            let first_band = !attributes.contains("sample=\"") || attributes.contains("sample=\"0\"");
            if !first_band || !attributes.contains(&format!("role=\"{role}\"")) {
                return None;
            }
            rest.split('<').next()?.trim().parse().ok()
        })
    };
    let scale = value("scale").filter(|s| s.is_finite() && *s != 0.0).unwrap_or(1.0);
    (scale, value("offset").filter(|o| o.is_finite()).unwrap_or(0.0))
}

fn compression_name(code: u64) -> String {
    match code {
        1 => "none".to_owned(),
        2..=4 => "fax".to_owned(),
        5 => "LZW".to_owned(),
        6 | 7 => "JPEG, which changes heights".to_owned(),
        8 | 32946 => "deflate".to_owned(),
        32773 => "PackBits".to_owned(),
        34887 => "LERC".to_owned(),
        34925 => "LZMA".to_owned(),
        50000 => "zstd".to_owned(),
        50001 => "WebP".to_owned(),
        other => format!("number {other}"),
    }
}

fn describe(layout: &Layout, overviews: usize) -> String {
    let sample = match layout.sampling.format {
        1 => "uint",
        2 => "int",
        _ => "float",
    };
    let chunks = if layout.tiled {
        format!("tiles of {} × {}", layout.chunk_cols, layout.chunk_rows)
    } else {
        format!("strips of {} rows", layout.chunk_rows)
    };
    let overviews = match overviews {
        0 => String::new(),
        1 => ", one overview".to_owned(),
        n => format!(", {n} overviews"),
    };
    format!(
        "GeoTIFF, {sample}{}, compression {}, {chunks}{overviews}",
        layout.sampling.bits,
        compression_name(layout.compression)
    )
}

impl Source for GeoTiff<'_> {
    fn header(&self) -> &Header {
        &self.header
    }
    fn header_mut(&mut self) -> &mut Header {
        &mut self.header
    }
    fn passed_over(&self) -> u64 {
        self.passed_over
    }

    fn read(&mut self, level: usize, window: Window) -> Result<Vec<f32>, LoadError> {
        let layout = self.layouts[level].clone_shape();
        let mut out = vec![f32::NAN; window.len()];
        let first_row = window.row / layout.chunk_rows;
        let last_row = (window.row + window.rows - 1) / layout.chunk_rows;
        let first_col = window.col / layout.chunk_cols;
        let last_col = (window.col + window.cols - 1) / layout.chunk_cols;
        for chunk_row in first_row..=last_row {
            for chunk_col in first_col..=last_col {
                let chunk = chunk_row * layout.across + chunk_col;
                // The part of the window in this chunk, in columns and rows of the image.
                let col0 = window.col.max(chunk_col * layout.chunk_cols);
                let col1 = (window.col + window.cols).min(((chunk_col + 1) * layout.chunk_cols).min(layout.cols));
                let row0 = window.row.max(chunk_row * layout.chunk_rows);
                let row1 = (window.row + window.rows).min(((chunk_row + 1) * layout.chunk_rows).min(layout.rows));
                let count = self.layouts[level].counts[chunk];
                let offset = self.layouts[level].offsets[chunk];
                if count == 0 && offset == 0 {
                    // A chunk left out of a sparse file holds no heights.
                    continue;
                }
                if offset.checked_add(count).is_none_or(|end| end > self.length) {
                    return Err(self
                        .header
                        .error(LoadErrorKind::Truncated, "it ends too early", COPY_AGAIN)
                        .at(self.layouts[level].place(chunk)));
                }
                let part = Window { col: col0, row: row0, cols: col1 - col0, rows: row1 - row0 };
                if self.layouts[level].is_plain() {
                    self.read_plain(level, chunk, part, window, &mut out)?;
                } else {
                    let width = layout.chunk_cols.min(layout.cols - chunk_col * layout.chunk_cols);
                    let heights = self.chunk(level, chunk)?;
                    for row in row0..row1 {
                        let from =
                            (row - chunk_row * layout.chunk_rows) * width + (col0 - chunk_col * layout.chunk_cols);
                        let to = (row - window.row) * window.cols + (col0 - window.col);
                        out[to..to + part.cols].copy_from_slice(&heights[from..from + part.cols]);
                    }
                }
            }
        }
        Ok(out)
    }
}

struct Shape {
    cols: usize,
    rows: usize,
    chunk_cols: usize,
    chunk_rows: usize,
    across: usize,
}

impl Layout {
    fn clone_shape(&self) -> Shape {
        Shape {
            cols: self.cols,
            rows: self.rows,
            chunk_cols: self.chunk_cols,
            chunk_rows: self.chunk_rows,
            across: self.across(),
        }
    }
}

impl GeoTiff<'_> {
    /// A decoded strip or tile, without the padding of tiles that hang over the edge.
    fn chunk(&mut self, level: usize, chunk: usize) -> Result<&[f32], LoadError> {
        self.clock += 1;
        let clock = self.clock;
        if !self.kept.contains_key(&(level, chunk)) {
            let heights = self.decode_chunk(level, chunk)?;
            let bytes = heights.len() * 4;
            while self.kept_bytes + bytes > KEPT_BYTES {
                let Some((&oldest, _)) = self.kept.iter().min_by_key(|(_, (used, _))| *used) else { break };
                if let Some((_, dropped)) = self.kept.remove(&oldest) {
                    self.kept_bytes -= dropped.len() * 4;
                }
            }
            self.kept_bytes += bytes;
            self.kept.insert((level, chunk), (clock, heights));
        }
        match self.kept.get_mut(&(level, chunk)) {
            Some((used, heights)) => {
                *used = clock;
                Ok(heights)
            }
            None => Ok(&[]),
        }
    }

    fn decode_chunk(&mut self, level: usize, chunk: usize) -> Result<Vec<f32>, LoadError> {
        let layout = &self.layouts[level];
        let (path, sampling) = (&self.header.path, layout.sampling);
        let fail = |kind, problem: &str| LoadError::new(path, kind, problem, COPY_AGAIN).at(layout.place(chunk));
        let across = layout.across();
        let width = layout.chunk_cols.min(layout.cols - chunk % across * layout.chunk_cols);
        let height = layout.chunk_rows.min(layout.rows - chunk / across * layout.chunk_rows);
        if layout.counts[chunk] > MOST_CHUNK_BYTES {
            return Err(fail(LoadErrorKind::TooLarge, "it announces more bytes than any strip or tile has"));
        }
        let mut packed = vec![0u8; layout.counts[chunk] as usize];
        self.reader
            .seek(SeekFrom::Start(layout.offsets[chunk]))
            .and_then(|_| self.reader.read_exact(&mut packed))
            .map_err(|e| LoadError::from_io(path, &e).at(layout.place(chunk)))?;
        // Tiles hang over the edge with all their columns; rows below the last are not needed.
        let row_bytes = layout.chunk_cols * sampling.pixel_bytes();
        let mut plain =
            decompress(layout.compression, &packed, row_bytes * height).map_err(|problem| match problem {
                ChunkProblem::Short => fail(LoadErrorKind::Corrupt, "it holds fewer values than its size needs"),
                ChunkProblem::Corrupt => fail(LoadErrorKind::Corrupt, "it cannot be decompressed"),
            })?;
        let decode = self.decode;
        let mut passed = 0u64;
        let mut heights = Vec::with_capacity(width * height);
        for row in plain.chunks_exact_mut(row_bytes) {
            let mut col = 0;
            row_values(row, layout.predictor, sampling, |value| {
                if col < width {
                    let (height, unbelievable) = decode.height(value);
                    passed += u64::from(unbelievable);
                    heights.push(height);
                }
                col += 1;
            });
        }
        self.passed_over += passed;
        Ok(heights)
    }

    /// Reads rows of an uncompressed chunk straight from the file.
    fn read_plain(
        &mut self,
        level: usize,
        chunk: usize,
        part: Window,
        window: Window,
        out: &mut [f32],
    ) -> Result<(), LoadError> {
        let layout = &self.layouts[level];
        let sampling = layout.sampling;
        let pixel = sampling.pixel_bytes();
        let across = layout.across();
        let (chunk_col, chunk_row) = (chunk % across * layout.chunk_cols, chunk / across * layout.chunk_rows);
        let (base, count) = (layout.offsets[chunk], layout.counts[chunk]);
        let place = layout.place(chunk);
        let width = layout.chunk_cols;
        let mut buffer = vec![0u8; part.cols * pixel];
        for row in part.row..part.row + part.rows {
            let start = (((row - chunk_row) * width + (part.col - chunk_col)) * pixel) as u64;
            if start + buffer.len() as u64 > count {
                return Err(self
                    .header
                    .error(LoadErrorKind::Corrupt, "it holds fewer values than its size needs", COPY_AGAIN)
                    .at(place));
            }
            self.reader
                .seek(SeekFrom::Start(base + start))
                .and_then(|_| self.reader.read_exact(&mut buffer))
                .map_err(|e| LoadError::from_io(&self.header.path, &e).at(place.clone()))?;
            let to = (row - window.row) * window.cols + (part.col - window.col);
            for (bytes, target) in buffer.chunks_exact(pixel).zip(&mut out[to..to + part.cols]) {
                let (height, unbelievable) = self.decode.height(sampling.first(bytes));
                self.passed_over += u64::from(unbelievable);
                *target = height;
            }
        }
        Ok(())
    }
}
