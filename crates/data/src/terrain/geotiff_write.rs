//! Writing results as GeoTIFF: one band of 32-bit floats, tiled, deflate, `NaN` for no data.

use crate::error::{LoadError, LoadErrorKind};
use flate2::Compression;
use flate2::write::ZlibEncoder;
use sparefield_geometry::grid::GridFrame;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;

/// Side of a tile in pixels.
const TILE: usize = 256;

/// Writes values on a grid as a GeoTIFF file; a file of that name is replaced only when all is written.
///
/// # Units
/// Values are stored as they are; `NaN` is no data.
///
/// # Shape
/// `values` is rows × columns of the grid, row 0 north. Pixels are areas around the grid's posts.
///
/// # Errors
/// When the number of values is not that of the grid's cells, the file would be larger than a TIFF can be (4 GB), or
/// writing fails.
pub fn write_geotiff(path: &Path, grid: &GridFrame, epsg: Option<u32>, values: &[f32]) -> Result<(), LoadError> {
    let io = |e: &std::io::Error| {
        let mut error = LoadError::from_io(path, e);
        if error.kind == LoadErrorKind::Unreadable {
            error.problem = format!("it cannot be written ({e})");
            "check the folder, its permissions and the space on the disk".clone_into(&mut error.remedy);
        }
        error
    };
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    // Temporary files are private; a result is a file like any other, and the user's mask decides who reads it.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(folder).map_err(|e| io(&e))?;
    write_to(file.as_file_mut(), grid, epsg, values).map_err(|problem| match problem {
        WriteProblem::Io(e) => io(&e),
        WriteProblem::Other(problem) => LoadError::new(path, LoadErrorKind::BadValue, problem, "write a smaller grid"),
    })?;
    file.as_file().sync_all().map_err(|e| io(&e))?;
    file.persist(path).map_err(|e| io(&e.error))?;
    Ok(())
}

/// Why [`write_to`] failed.
#[derive(Debug)]
pub(crate) enum WriteProblem {
    Io(std::io::Error),
    Other(String),
}

impl From<std::io::Error> for WriteProblem {
    fn from(e: std::io::Error) -> Self {
        Self::Io(e)
    }
}

/// A directory entry: tag, type, count and bytes.
struct Entry(u16, u16, u32, Vec<u8>);

fn short(tag: u16, value: u16) -> Entry {
    Entry(tag, 3, 1, value.to_le_bytes().to_vec())
}
fn long(tag: u16, values: &[u32]) -> Entry {
    Entry(tag, 4, values.len() as u32, values.iter().flat_map(|v| v.to_le_bytes()).collect())
}
fn doubles(tag: u16, values: &[f64]) -> Entry {
    Entry(tag, 12, values.len() as u32, values.iter().flat_map(|v| v.to_le_bytes()).collect())
}

/// Writes the file into anything that can be written and rewound.
pub(crate) fn write_to<W: Write + Seek>(
    out: &mut W,
    grid: &GridFrame,
    epsg: Option<u32>,
    values: &[f32],
) -> Result<(), WriteProblem> {
    if grid.is_empty() || values.len() != grid.len() {
        return Err(WriteProblem::Other(format!(
            "{} values do not fill a grid of {} × {}",
            values.len(),
            grid.cols,
            grid.rows
        )));
    }
    let too_large = || WriteProblem::Other("the grid is too large for a TIFF file (4 GB)".to_owned());
    let small = |at: u64| u32::try_from(at).ok().ok_or_else(too_large);
    let (cols, rows) = (u32::try_from(grid.cols), u32::try_from(grid.rows));
    let (Ok(cols), Ok(rows)) = (cols, rows) else { return Err(too_large()) };
    out.write_all(b"II\x2a\0\0\0\0\0")?;
    let mut at: u64 = 8;
    let (mut offsets, mut counts) = (Vec::new(), Vec::new());
    let mut raw = Vec::with_capacity(TILE * TILE * 4);
    for tile_row in 0..grid.rows.div_ceil(TILE) {
        for tile_col in 0..grid.cols.div_ceil(TILE) {
            raw.clear();
            for row in tile_row * TILE..(tile_row + 1) * TILE {
                push_row(&mut raw, grid, values, row, tile_col * TILE);
            }
            let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
            encoder.write_all(&raw)?;
            let packed = encoder.finish()?;
            offsets.push(small(at)?);
            counts.push(packed.len() as u32);
            out.write_all(&packed)?;
            at += packed.len() as u64;
            if at % 2 == 1 {
                out.write_all(&[0])?;
                at += 1;
            }
        }
    }
    let corner_x = grid.origin.x - grid.cell_m / 2.0;
    let corner_y = grid.origin.y + grid.cell_m / 2.0;
    // GeoTIFF keys: projected model, pixel is area, the code of the projected system (32767 for user-defined).
    let code = epsg.and_then(|e| u16::try_from(e).ok()).unwrap_or(32767);
    let keys: Vec<u16> =
        [[1, 1, 0, 4], [1024, 0, 1, 1], [1025, 0, 1, 1], [3072, 0, 1, code], [3076, 0, 1, 9001]].concat();
    let entries = [
        long(256, &[cols]),
        long(257, &[rows]),
        short(258, 32),
        short(259, 8),
        short(262, 1),
        short(277, 1),
        short(284, 1),
        short(317, 3),
        short(322, TILE as u16),
        short(323, TILE as u16),
        long(324, &offsets),
        long(325, &counts),
        short(339, 3),
        doubles(33550, &[grid.cell_m, grid.cell_m, 0.0]),
        doubles(33922, &[0.0, 0.0, 0.0, corner_x, corner_y, 0.0]),
        Entry(34735, 3, keys.len() as u32, keys.iter().flat_map(|k| k.to_le_bytes()).collect()),
        Entry(42113, 2, 4, b"nan\0".to_vec()),
    ];
    let directory_at = at;
    let mut extra_at = directory_at + 2 + entries.len() as u64 * 12 + 4;
    let mut directory = (entries.len() as u16).to_le_bytes().to_vec();
    let mut extra = Vec::new();
    for Entry(tag, kind, count, bytes) in &entries {
        directory.extend(tag.to_le_bytes());
        directory.extend(kind.to_le_bytes());
        directory.extend(count.to_le_bytes());
        if bytes.len() <= 4 {
            let mut inline = bytes.clone();
            inline.resize(4, 0);
            directory.extend(inline);
        } else {
            directory.extend(small(extra_at)?.to_le_bytes());
            extra.extend_from_slice(bytes);
            extra_at += bytes.len() as u64;
            if bytes.len() % 2 == 1 {
                extra.push(0);
                extra_at += 1;
            }
        }
    }
    directory.extend([0; 4]);
    let directory_at = small(directory_at)?;
    out.write_all(&directory)?;
    out.write_all(&extra)?;
    out.seek(SeekFrom::Start(4))?;
    out.write_all(&directory_at.to_le_bytes())?;
    out.flush()?;
    Ok(())
}

/// One row of a tile with the floating-point predictor of TIFF Technical Note 3 (Adobe, 2005): the bytes of all
/// samples sorted by significance, highest first, then each as the difference from the one before.
fn push_row(raw: &mut Vec<u8>, grid: &GridFrame, values: &[f32], row: usize, col0: usize) {
    let start = raw.len();
    raw.resize(start + TILE * 4, 0);
    let line = &mut raw[start..];
    for i in 0..TILE {
        let col = col0 + i;
        let value = if row < grid.rows && col < grid.cols { values[row * grid.cols + col] } else { f32::NAN };
        // One bit pattern for all NaN, as some readers compare bits.
        let value = if value.is_nan() { f32::NAN } else { value };
        for (plane, byte) in value.to_be_bytes().into_iter().enumerate() {
            line[plane * TILE + i] = byte;
        }
    }
    for i in (1..line.len()).rev() {
        line[i] = line[i].wrapping_sub(line[i - 1]);
    }
}
