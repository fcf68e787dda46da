//! PNG, JPEG and WebP pictures with a world file beside them.

use super::blocks::Block;
use super::encoded;
use super::raster::{Raster, RasterLevel};
use crate::error::{LoadError, LoadErrorKind, Progress};
use crate::terrain::affine::Affine;
use crate::terrain::source::Level;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Most pixels of a picture, which is held whole: 160 MB, and a third more for its coarser levels.
const MOST_PIXELS: usize = 40_000_000;
/// Coarser levels are made until a side is shorter than this.
const COARSEST_PX: usize = 512;

/// A whole picture and coarser ones made from it.
pub(crate) struct Picture {
    blocks: Vec<Arc<Block>>,
    levels: Vec<RasterLevel>,
}

/// Opens a picture that lies where its world file says.
pub(crate) fn open(path: &Path, to_crs: Affine) -> Result<(Picture, String), LoadError> {
    let bytes = crate::vector::source::read_bytes(path)?;
    let fail = |problem: String| {
        LoadError::new(path, LoadErrorKind::Corrupt, problem, "write it anew as a tiled GeoTIFF, or copy it again")
    };
    let mut block = encoded::decode(&bytes, MOST_PIXELS).map_err(fail)?;
    let full = Level { cols: block.cols, rows: block.rows(), to_crs };
    let (mut blocks, mut levels) = (Vec::new(), Vec::new());
    let mut factor = 1.0;
    loop {
        // Odd sides are halved upwards, so levels are placed by the factor and not by their sides.
        let inset = factor / 2.0 - 0.5;
        let own = full.to_crs.resampled(inset, inset, factor, factor);
        let level = Level { cols: block.cols, rows: block.rows(), to_crs: own };
        levels.push(RasterLevel { level, block_cols: block.cols, block_rows: block.rows() });
        let more = block.cols.min(block.rows()) >= 2 * COARSEST_PX;
        let next = more.then(|| block.halved());
        blocks.push(Arc::new(block));
        match next {
            Some(coarser) => block = coarser,
            None => break,
        }
        factor *= 2.0;
    }
    let format =
        encoded::format_of(&bytes).map_or("picture", |f| f.extensions_str().first().copied().unwrap_or("picture"));
    Ok((Picture { blocks, levels }, format!("{} with a world file", format.to_uppercase())))
}

impl Raster for Picture {
    fn levels(&self) -> &[RasterLevel] {
        &self.levels
    }
    fn block(&self, level: usize, _: usize, _: usize, _: &dyn Progress) -> Result<Option<Arc<Block>>, LoadError> {
        Ok(self.blocks.get(level).cloned())
    }
    fn keeps_blocks(&self) -> bool {
        true
    }
}

/// The map from pixels of the world file beside a picture, if there is one.
///
/// A world file is six lines: the east and north steps of a column and a row, and the centre of the first pixel. It is
/// named after the picture, with the first and last letter of the extension and a `w`, or `w` after the whole name.
pub(crate) fn world_file(path: &Path) -> Result<Option<Affine>, LoadError> {
    let Some(extension) = path.extension().map(|e| e.to_string_lossy().into_owned()) else { return Ok(None) };
    let letters: Vec<char> = extension.chars().collect();
    let mut names: Vec<PathBuf> = vec![path.with_extension(format!("{extension}w"))];
    if let (Some(first), Some(last)) = (letters.first(), letters.last()) {
        names.push(path.with_extension(format!("{first}{last}w")));
    }
    names.extend([path.with_extension("wld"), path.with_extension("tfw")]);
    for name in names {
        let Some(text) = small_text(&name)? else { continue };
        let numbers: Option<Vec<f64>> = text.split_whitespace().map(|t| t.replace(',', ".").parse().ok()).collect();
        let Some(&[a, d, b, e, c, f]) = numbers.as_deref() else {
            let problem = "it is no world file: six numbers are needed";
            return Err(LoadError::new(&name, LoadErrorKind::Corrupt, problem, "write it anew"));
        };
        let map = Affine { a, b, c, d, e, f };
        if map.inverse().is_none() {
            let problem = "its pixels do not span an area";
            return Err(LoadError::new(&name, LoadErrorKind::Corrupt, problem, "write it anew"));
        }
        return Ok(Some(map));
    }
    Ok(None)
}

/// The text of the `.prj` beside a file, if there is one.
pub(crate) fn prj(path: &Path) -> Result<Option<String>, LoadError> {
    small_text(&path.with_extension("prj"))
}

/// A small text file; `None` when it is not there.
fn small_text(path: &Path) -> Result<Option<String>, LoadError> {
    use std::io::Read as _;
    let file = match std::fs::File::open(path) {
        Ok(file) => file,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(LoadError::from_io(path, &e)),
    };
    let mut bytes = Vec::new();
    file.take(64 << 10).read_to_end(&mut bytes).map_err(|e| LoadError::from_io(path, &e))?;
    Ok(Some(String::from_utf8_lossy(&bytes).into_owned()))
}
