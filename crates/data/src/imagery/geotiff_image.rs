//! Pictures in GeoTIFF files: strips and tiles, overviews, palettes, masks and bands of opacity.
//!
//! The directories, keys, strips and tiles are read by the same code as terrain ([`crate::terrain`]); what differs is
//! what a sample means ([`super::tiff_pixels`]).

use super::blocks::{Block, CLEAR};
use super::raster::{Raster, RasterLevel};
use super::tiff_pixels::{Alpha, Colours, JPEG, Meaning, Packing, samples};
use crate::error::{LoadError, LoadErrorKind, Progress};
use crate::frame::Crs;
use crate::terrain::affine::Affine;
use crate::terrain::geokeys::{self, GeoKeys, Stated};
use crate::terrain::geotiff_chunk::{ChunkProblem, Chunks, is_read};
use crate::terrain::source::Level;
use crate::terrain::tiff_tags::{self as tags, Directory};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// Most pixels of one strip or tile.
const MOST_CHUNK_PIXELS: usize = 1 << 24;
/// Rows of a block where rows lie plainly in the file.
const PLAIN_ROWS: usize = 64;
/// Blocks looked at to find the range of 16-bit values.
const RANGE_BLOCKS: usize = 16;
/// Share of the values that may be darker than the darkest shade, and brighter than the brightest.
const RANGE_TAIL: f64 = 0.005;

const COPY_AGAIN: &str = "copy or download the file again";
const REWRITE: &str = "write it anew as a tiled GeoTIFF with deflate or JPEG compression";

/// One directory: where its chunks lie and how their samples are packed.
struct Layout {
    index: usize,
    chunks: Chunks,
    packing: Packing,
    tables: Vec<u8>,
    /// Chunks of all bands together, or of one band each.
    planes: usize,
}

struct ImageLevel {
    layout: Layout,
    mask: Option<Layout>,
}

/// An opened picture.
pub(crate) struct GeoTiffImage {
    path: PathBuf,
    length: u64,
    file: Mutex<File>,
    meaning: Meaning,
    images: Vec<ImageLevel>,
    levels: Vec<RasterLevel>,
}

/// What was found in the header besides the picture.
pub(crate) struct Opened {
    pub(crate) image: GeoTiffImage,
    pub(crate) format: String,
    pub(crate) crs: Option<Crs>,
    /// What the file says about its reference system, where it was not understood.
    pub(crate) crs_problem: Option<String>,
    pub(crate) warnings: Vec<String>,
}

/// Whether a TIFF file is a picture rather than heights: it says so, or it has three bands or more of 8 bits.
pub(crate) fn is_picture(path: &Path) -> Result<bool, LoadError> {
    let mut file = File::open(path).map_err(|e| LoadError::from_io(path, &e))?;
    let length = file.metadata().map_err(|e| LoadError::from_io(path, &e))?.len();
    let structure = tags::read(&mut file, path, length)?;
    Ok(structure.directories.first().is_some_and(|d| {
        let samples = d.first(tags::SAMPLES_PER_PIXEL).unwrap_or(1);
        let bits = d.first(tags::BITS_PER_SAMPLE).unwrap_or(1);
        matches!(d.first(tags::PHOTOMETRIC), Some(2 | 3 | 6))
            || (samples >= 3 && bits == 8)
            || d.first(tags::COMPRESSION) == Some(JPEG)
    }))
}

/// Opens a picture; `beside` is the map from pixels of a world file, for pictures that do not say where they lie.
pub(crate) fn open(path: &Path, beside: Option<Affine>) -> Result<Opened, LoadError> {
    let io = |e: std::io::Error| LoadError::from_io(path, &e);
    let mut file = File::open(path).map_err(io)?;
    let length = file.metadata().map_err(io)?.len();
    let structure = tags::read(&mut file, path, length)?;
    let fail = |kind, problem: String, remedy: &str| LoadError::new(path, kind, problem, remedy);
    let kind = |d: &Directory| d.first(tags::NEW_SUBFILE_TYPE).unwrap_or(0);
    let main = structure
        .directories
        .iter()
        .position(|d| kind(d) & 0b101 == 0)
        .ok_or_else(|| fail(LoadErrorKind::Corrupt, "it holds overviews, but no image".to_owned(), COPY_AGAIN))?;
    let directory = &structure.directories[main];
    let mut warnings = Vec::new();
    let (meaning, mut layout) = picture(directory, main, structure.little_endian, path, &mut warnings)?;
    split_plain_strips(&mut layout);

    let keys = GeoKeys::read(directory);
    let posts = match (geokeys::posts(directory, &keys, layout.chunks.cols, layout.chunks.rows), beside) {
        (Some(Ok(posts)), _) | (None, Some(posts)) => posts,
        (Some(Err(problem)), _) => {
            let remedy = "write the file anew with a pixel size and one tie point";
            return Err(fail(LoadErrorKind::Corrupt, problem, remedy));
        }
        (None, None) => {
            return Err(fail(
                LoadErrorKind::Crs,
                "it does not say where it lies (no tie points, no pixel size and no world file beside it)".to_owned(),
                "use a georeferenced image",
            ));
        }
    };
    let (crs, crs_problem) = match geokeys::reference_system(&keys) {
        Stated::Nothing => (None, None),
        Stated::System(crs, remarks) => {
            warnings.extend(remarks);
            (Some(*crs), None)
        }
        Stated::Unusable(problem) => (None, Some(problem)),
    };

    let full = Level { cols: layout.chunks.cols, rows: layout.chunks.rows, to_crs: posts };
    let mut found = vec![(full, ImageLevel { layout, mask: None })];
    let mut masks = Vec::new();
    for (index, other) in structure.directories.iter().enumerate().filter(|(i, _)| *i != main) {
        if kind(other) & 0b100 != 0 {
            masks.push(mask(other, index, structure.little_endian, path)?);
        } else if kind(other) & 0b001 != 0 {
            // An overview that does not go with the image costs sharpness of far views, nothing else.
            let read = picture(other, index, structure.little_endian, path, &mut Vec::new());
            let level = read.as_ref().ok().and_then(|(_, l)| full.overview(l.chunks.cols, l.chunks.rows));
            match (read, level) {
                (Ok((own, mut layout)), Some(level)) if own.colours == meaning.colours && own.full == meaning.full => {
                    split_plain_strips(&mut layout);
                    found.push((level, ImageLevel { layout, mask: None }));
                }
                _ => warnings.push(format!("directory {index} is not an overview of the image and was passed over")),
            }
        }
    }
    found.sort_by_key(|(level, _)| std::cmp::Reverse(level.cols));
    for (level, image) in &mut found {
        if let Some(at) = masks.iter().position(|m| m.chunks.cols == level.cols && m.chunks.rows == level.rows) {
            image.mask = Some(masks.remove(at));
        }
    }
    let levels = found
        .iter()
        .map(|(level, image)| RasterLevel {
            level: *level,
            block_cols: image.layout.chunks.chunk_cols,
            block_rows: image.layout.chunks.chunk_rows,
        })
        .collect();
    let images: Vec<ImageLevel> = found.into_iter().map(|(_, image)| image).collect();
    let format = describe(&images[0].layout, &meaning, images.len() - 1);
    let mut image = GeoTiffImage { path: path.to_owned(), length, file: Mutex::new(file), meaning, images, levels };
    if image.meaning.full > 255 {
        image.meaning.range = image.range()?;
        let (low, high) = image.meaning.range;
        warnings.push(format!("its 16-bit values are shown from {low} (darkest) to {high} (brightest)"));
    }
    Ok(Opened { image, format, crs, crs_problem, warnings })
}

/// What the samples of a directory mean, and how they are packed.
fn picture(
    directory: &Directory,
    index: usize,
    little_endian: bool,
    path: &Path,
    warnings: &mut Vec<String>,
) -> Result<(Meaning, Layout), LoadError> {
    let unsupported = |problem: String, remedy: &str| LoadError::new(path, LoadErrorKind::Unsupported, problem, remedy);
    let bands = directory.first(tags::SAMPLES_PER_PIXEL).unwrap_or(1);
    if bands == 0 || bands > 64 {
        return Err(unsupported(format!("it has {bands} bands"), "write it anew with one or three bands"));
    }
    let all_bits = directory.unsigned(tags::BITS_PER_SAMPLE);
    let bits = all_bits.first().copied().unwrap_or(1);
    let formats = directory.unsigned(tags::SAMPLE_FORMAT);
    if all_bits.iter().any(|&b| b != bits) || formats.iter().any(|&f| !matches!(f, 1 | 4)) {
        return Err(unsupported(
            "its values are not those of a picture (signed, floating-point or of different types)".to_owned(),
            "open it as terrain if it holds heights, or write it anew with 8 bits for each colour",
        ));
    }
    if !matches!((bits, bands), (1 | 2 | 4, 1) | (8 | 16, _)) {
        return Err(unsupported(format!("its {bands} bands of {bits} bits are not read here"), REWRITE));
    }
    let full = ((1u32 << bits) - 1) as u16;
    let compression = directory.first(tags::COMPRESSION).unwrap_or(1);
    let photometric = directory.first(tags::PHOTOMETRIC);
    let ycbcr = photometric == Some(6);
    let colours = match photometric {
        Some(white_or_black @ (0 | 1)) if bands < 3 => Colours::Grey { white_is_zero: white_or_black == 0 },
        Some(1) => {
            warnings.push(format!("it has {bands} bands; the first three were taken as red, green and blue"));
            Colours::Rgb
        }
        Some(2) if bands >= 3 => Colours::Rgb,
        Some(3) if bits <= 8 => Colours::Palette(palette(directory, bits as u32).ok_or_else(|| {
            LoadError::new(path, LoadErrorKind::Corrupt, "its table of colours is missing or too short", COPY_AGAIN)
        })?),
        Some(6) if compression == JPEG && bands == 3 => Colours::Rgb,
        Some(5) => return Err(unsupported("its colours are inks (CMYK)".to_owned(), "convert it to RGB")),
        Some(6) => {
            return Err(unsupported("its luma and chroma are not stored as JPEG".to_owned(), "convert it to RGB"));
        }
        Some(8) => return Err(unsupported("its colours are CIE L*a*b*".to_owned(), "convert it to RGB")),
        _ => return Err(unsupported("it does not state how its colours are meant".to_owned(), "convert it to RGB")),
    };
    let predictor = directory.first(tags::PREDICTOR).unwrap_or(1);
    let readable = is_read(compression) || (compression == JPEG && bits == 8);
    if !readable || !(predictor == 1 || (predictor == 2 && bits >= 8)) {
        let problem =
            format!("its compression (number {compression}, predictor {predictor}) is not one that is read here");
        return Err(unsupported(problem, REWRITE));
    }
    // Extra samples: 1 is opacity by which colours were multiplied, 2 opacity, everything else has no say.
    let extra = directory.unsigned(tags::EXTRA_SAMPLES);
    let first_extra = bands as usize - extra.len().min(bands as usize);
    let alpha = extra
        .iter()
        .position(|&kind| matches!(kind, 1 | 2))
        .map(|at| Alpha { band: first_extra + at, premultiplied: extra[at] == 1 });
    let alpha = alpha.filter(|a| a.band >= colours.bands());
    let no_data = directory.text(tags::GDAL_NO_DATA).and_then(|text| text.trim().parse::<f64>().ok());
    // What the bits cannot hold marks nothing.
    let no_data = no_data.filter(|v| v.fract() == 0.0 && *v >= 0.0 && *v <= f64::from(full)).map(|v| v as u16);

    let separate = directory.first(tags::PLANAR_CONFIGURATION) == Some(2) && bands > 1;
    let chunks = Chunks::read(directory, if separate { bands } else { 1 }, path)?;
    let plain = compression == 1 && predictor == 1 && !chunks.tiled;
    let pixels = chunks.chunk_cols.checked_mul(if plain { PLAIN_ROWS } else { chunks.chunk_rows });
    if pixels.is_none_or(|n| n > MOST_CHUNK_PIXELS) {
        let problem = format!("its strips or tiles are {} × {} pixels", chunks.chunk_cols, chunks.chunk_rows);
        return Err(LoadError::new(path, LoadErrorKind::TooLarge, problem, REWRITE));
    }
    let interleaved = if separate { 1 } else { bands as usize };
    let packing = Packing { compression, predictor, bits, little_endian, interleaved, ycbcr };
    let planes = if separate { bands as usize } else { 1 };
    let tables = directory.bytes(tags::JPEG_TABLES).to_vec();
    let meaning = Meaning { colours, alpha, no_data, full, range: (0, full) };
    Ok((meaning, Layout { index, chunks, packing, tables, planes }))
}

fn palette(directory: &Directory, bits: u32) -> Option<Vec<[u8; 3]>> {
    let map = directory.unsigned(tags::COLOR_MAP);
    let count = 1usize << bits;
    // Some writers store 8 bits where the format has 16.
    let wide = map.iter().any(|&v| v > 255);
    let part = |v: u64| if wide { (v >> 8) as u8 } else { v as u8 };
    (map.len() >= 3 * count)
        .then(|| (0..count).map(|i| [part(map[i]), part(map[count + i]), part(map[2 * count + i])]).collect())
}

/// A mask: 1 where the image shows something.
fn mask(directory: &Directory, index: usize, little_endian: bool, path: &Path) -> Result<Layout, LoadError> {
    // A mask has a photometric value of its own; its samples are packed like those of grey pictures.
    let as_grey = directory.with(tags::PHOTOMETRIC, 1);
    let (meaning, layout) = picture(&as_grey, index, little_endian, path, &mut Vec::new())?;
    if meaning.colours.bands() != 1 || layout.planes != 1 {
        let problem = "its mask has more than one band";
        return Err(LoadError::new(path, LoadErrorKind::Unsupported, problem, REWRITE));
    }
    Ok(layout)
}

/// Cuts plain strips into lower ones, so that a file of one strip is not read as a whole.
fn split_plain_strips(layout: &mut Layout) {
    let chunks = &mut layout.chunks;
    let plain = layout.packing.compression == 1 && layout.packing.predictor == 1 && !chunks.tiled;
    if !plain || chunks.chunk_rows <= PLAIN_ROWS {
        return;
    }
    let row_bytes = (chunks.cols as u64 * layout.packing.interleaved as u64 * layout.packing.bits).div_ceil(8);
    let strips = chunks.rows.div_ceil(chunks.chunk_rows);
    // Strips must begin at whole blocks, or blocks would straddle them.
    if strips > 1 && !chunks.chunk_rows.is_multiple_of(PLAIN_ROWS) {
        return;
    }
    let (mut offsets, mut counts) = (Vec::new(), Vec::new());
    for plane in 0..layout.planes {
        for top in (0..chunks.rows).step_by(PLAIN_ROWS) {
            let strip = plane * strips + top / chunks.chunk_rows;
            let before = (top % chunks.chunk_rows) as u64 * row_bytes;
            let rows = PLAIN_ROWS.min(chunks.rows - top) as u64;
            offsets.push(chunks.offsets[strip].saturating_add(before));
            counts.push(chunks.counts[strip].saturating_sub(before).min(rows * row_bytes));
        }
    }
    (chunks.offsets, chunks.counts, chunks.chunk_rows) = (offsets, counts, PLAIN_ROWS);
}

fn describe(layout: &Layout, meaning: &Meaning, overviews: usize) -> String {
    let colours = match (&meaning.colours, meaning.alpha) {
        (Colours::Grey { .. }, _) => "grey",
        (Colours::Palette(_), _) => "colours by table",
        (Colours::Rgb, Some(_)) => "colours with opacity",
        (Colours::Rgb, None) => "colours",
    };
    let overviews = match overviews {
        0 => String::new(),
        1 => ", one overview".to_owned(),
        n => format!(", {n} overviews"),
    };
    let jpeg = if layout.packing.compression == JPEG { ", JPEG" } else { "" };
    format!("GeoTIFF image, {colours} of {} bits{jpeg}{overviews}", layout.packing.bits)
}

impl GeoTiffImage {
    /// Samples of one chunk of one plane, and how many columns and rows they have; `None` where the file leaves it out.
    fn chunk(
        &self,
        layout: &Layout,
        plane: usize,
        chunk: usize,
    ) -> Result<Option<(Vec<u16>, usize, usize)>, LoadError> {
        let chunks = &layout.chunks;
        let (across, down) = (chunks.cols.div_ceil(chunks.chunk_cols), chunks.rows.div_ceil(chunks.chunk_rows));
        let at = plane * across * down + chunk;
        let (offset, count) = (chunks.offsets[at], chunks.counts[at]);
        if offset == 0 && count == 0 {
            return Ok(None);
        }
        let place = || {
            let what = if chunks.tiled { "tile" } else { "strip" };
            if layout.index == 0 { format!("{what} {at}") } else { format!("directory {}, {what} {at}", layout.index) }
        };
        let fail = |kind, problem: &str| LoadError::new(&self.path, kind, problem, COPY_AGAIN).at(place());
        if offset.checked_add(count).is_none_or(|end| end > self.length) {
            return Err(fail(LoadErrorKind::Truncated, "it ends too early"));
        }
        let rows = chunks.chunk_rows.min(chunks.rows - chunk / across * chunks.chunk_rows);
        if count > (chunks.chunk_cols * chunks.chunk_rows) as u64 * 8 * layout.packing.interleaved as u64 + (1 << 20) {
            return Err(fail(LoadErrorKind::TooLarge, "it announces more bytes than it can hold"));
        }
        let mut packed = vec![0u8; count as usize];
        {
            let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
            file.seek(SeekFrom::Start(offset))
                .and_then(|_| file.read_exact(&mut packed))
                .map_err(|e| LoadError::from_io(&self.path, &e).at(place()))?;
        }
        let read = samples(&packed, &layout.tables, layout.packing, chunks.chunk_cols, rows);
        let read = read.map_err(|problem| match problem {
            ChunkProblem::Short => fail(LoadErrorKind::Corrupt, "it holds fewer values than its size needs"),
            ChunkProblem::Corrupt => fail(LoadErrorKind::Corrupt, "it cannot be decompressed"),
        })?;
        Ok(Some((read, chunks.chunk_cols, rows)))
    }

    /// The planes of a block: samples, and how many lie side by side; empty where the file leaves one out.
    fn planes(&self, layout: &Layout, chunk: usize) -> Result<(Vec<Vec<u16>>, usize, usize), LoadError> {
        let bands = self.meaning.alpha.map_or(0, |a| a.band + 1).max(self.meaning.colours.bands());
        let (mut planes, mut cols, mut rows) = (Vec::new(), 0, 0);
        for plane in 0..layout.planes.min(bands) {
            let Some((samples, c, r)) = self.chunk(layout, plane, chunk)? else { return Ok((Vec::new(), 0, 0)) };
            planes.push(samples);
            (cols, rows) = (c, r);
        }
        Ok((planes, cols, rows))
    }

    /// Makes pixels transparent that the mask leaves out; the block begins at `left`, `top` of the image.
    fn apply_mask(&self, mask: &Layout, left: usize, top: usize, block: &mut Block) -> Result<(), LoadError> {
        let chunks = &mask.chunks;
        let across = chunks.cols.div_ceil(chunks.chunk_cols);
        let (right, bottom) = ((left + block.cols).min(chunks.cols), (top + block.rows()).min(chunks.rows));
        for chunk_row in top / chunks.chunk_rows..bottom.div_ceil(chunks.chunk_rows) {
            for chunk_col in left / chunks.chunk_cols..right.div_ceil(chunks.chunk_cols) {
                let read = self.chunk(mask, 0, chunk_row * across + chunk_col)?;
                let (c0, r0) = (chunk_col * chunks.chunk_cols, chunk_row * chunks.chunk_rows);
                for row in r0.max(top)..(r0 + chunks.chunk_rows).min(bottom) {
                    for col in c0.max(left)..(c0 + chunks.chunk_cols).min(right) {
                        let shown = read.as_ref().is_some_and(|(samples, cols, _)| {
                            samples[((row - r0) * cols + (col - c0)) * mask.packing.interleaved] != 0
                        });
                        if !shown {
                            block.pixels[(row - top) * block.cols + (col - left)] = CLEAR;
                        }
                    }
                }
            }
        }
        Ok(())
    }

    /// The values between which nearly all of the image lies, from blocks spread over its coarsest level.
    fn range(&self) -> Result<(u16, u16), LoadError> {
        let Some(image) = self.images.last() else { return Ok((0, self.meaning.full)) };
        let chunks = &image.layout.chunks;
        let count = chunks.cols.div_ceil(chunks.chunk_cols) * chunks.rows.div_ceil(chunks.chunk_rows);
        let mut histogram = vec![0u64; 1 << 16];
        let bands = self.meaning.colours.bands();
        for i in 0..count.min(RANGE_BLOCKS) {
            let chunk = if count <= RANGE_BLOCKS { i } else { (2 * i + 1) * count / (2 * RANGE_BLOCKS) };
            let (planes, cols, rows) = self.planes(&image.layout, chunk)?;
            let interleaved = image.layout.packing.interleaved;
            let across = chunks.cols.div_ceil(chunks.chunk_cols);
            let width = cols.min(chunks.cols - chunk % across * chunks.chunk_cols);
            for pixel in
                (0..if planes.is_empty() { 0 } else { rows }).flat_map(|r| (0..width).map(move |c| r * cols + c))
            {
                let band =
                    |b: usize| if planes.len() > 1 { planes[b][pixel] } else { planes[0][pixel * interleaved + b] };
                let none = self.meaning.no_data.is_some_and(|none| (0..bands).all(|b| band(b) == none));
                if !none && self.meaning.alpha.is_none_or(|a| band(a.band) > 0) {
                    (0..bands).for_each(|b| histogram[usize::from(band(b))] += 1);
                }
            }
        }
        let total: u64 = histogram.iter().sum();
        let tail = (total as f64 * RANGE_TAIL) as u64;
        // The first value, counted from one end, beyond which more than the tail lies.
        let first = |mut order: Box<dyn Iterator<Item = usize>>| {
            let mut seen = 0;
            order.find(|&v| {
                seen += histogram[v];
                seen > tail
            })
        };
        let low = first(Box::new(0..1 << 16)).unwrap_or(0);
        let high = first(Box::new((0..1 << 16).rev())).unwrap_or(usize::from(self.meaning.full));
        Ok(if low < high { (low as u16, high as u16) } else { (0, self.meaning.full) })
    }
}

impl Raster for GeoTiffImage {
    fn levels(&self) -> &[RasterLevel] {
        &self.levels
    }

    fn block(
        &self,
        level: usize,
        col: usize,
        row: usize,
        _progress: &dyn Progress,
    ) -> Result<Option<Arc<Block>>, LoadError> {
        let image = &self.images[level];
        let layout = &image.layout;
        let across = layout.chunks.cols.div_ceil(layout.chunks.chunk_cols);
        let (planes, cols, rows) = self.planes(layout, row * across + col)?;
        if planes.is_empty() {
            return Ok(None);
        }
        let interleaved = layout.packing.interleaved;
        let pixels = (0..cols * rows)
            .map(|i| {
                self.meaning.colour(|b| if planes.len() > 1 { planes[b][i] } else { planes[0][i * interleaved + b] })
            })
            .collect();
        let mut block = Block { cols, pixels };
        if let Some(mask) = &image.mask {
            self.apply_mask(mask, col * layout.chunks.chunk_cols, row * layout.chunks.chunk_rows, &mut block)?;
        }
        Ok(Some(Arc::new(block)))
    }
}
