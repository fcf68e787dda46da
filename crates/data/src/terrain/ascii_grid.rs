//! Esri ASCII grids.

use super::ReadPrj;
use super::affine::Affine;
use super::source::{BELIEVED_M, Decode, Header, Input, Level, Source, Window};
use crate::error::{LoadError, LoadErrorKind};
use crate::frame::{Crs, shown};
use sparefield_geometry::grid::SurfaceKind;
use std::path::Path;

/// Most cells: 100 million, 400 MB.
const MOST_CELLS: usize = 100_000_000;
const KEYS: [&str; 10] =
    ["ncols", "nrows", "xllcorner", "yllcorner", "xllcenter", "yllcenter", "cellsize", "dx", "dy", "nodata_value"];
/// The no-data value where the header names none: the format's default.
const DEFAULT_NO_DATA: f64 = -9999.0;

/// Whether a file begins like an ASCII grid.
pub(crate) fn looks_like(head: &[u8]) -> bool {
    let text = String::from_utf8_lossy(head).to_ascii_lowercase();
    let first = text.trim_start_matches('\u{feff}').split_whitespace().next().unwrap_or_default().to_owned();
    KEYS.contains(&first.as_str())
}

pub(crate) struct AsciiGrid {
    header: Header,
    heights: Vec<f32>,
    cols: usize,
    passed_over: u64,
}

/// Words of a file with their line numbers, read in blocks.
struct Words<'a, 'b> {
    path: &'a Path,
    reader: &'a mut (dyn super::source::ReadSeek + 'b),
    block: Vec<u8>,
    at: usize,
    line: usize,
    done: bool,
}

/// Longest word; a number has at most some thirty characters.
const LONGEST_WORD: usize = 64;

impl Words<'_, '_> {
    fn byte(&mut self) -> Result<Option<u8>, LoadError> {
        if self.at == self.block.len() && !self.done {
            self.block.resize(1 << 16, 0);
            let mut filled = 0;
            while filled < self.block.len() {
                match self.reader.read(&mut self.block[filled..]) {
                    Ok(0) => break,
                    Ok(n) => filled += n,
                    Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
                    Err(e) => return Err(LoadError::from_io(self.path, &e).at(format!("line {}", self.line))),
                }
            }
            self.block.truncate(filled);
            self.at = 0;
            self.done = filled == 0;
        }
        Ok(self.block.get(self.at).copied())
    }

    /// The next word, with its line; `None` at the end.
    fn next(&mut self) -> Result<Option<(String, usize)>, LoadError> {
        let mut word = Vec::new();
        let mut line = self.line;
        while let Some(byte) = self.byte()? {
            if byte.is_ascii_whitespace() {
                if !word.is_empty() {
                    break;
                }
                if byte == b'\n' {
                    self.line += 1;
                }
                self.at += 1;
                continue;
            }
            if word.is_empty() {
                line = self.line;
            }
            word.push(byte);
            self.at += 1;
            if word.len() > LONGEST_WORD {
                return Err(LoadError::new(
                    self.path,
                    LoadErrorKind::Corrupt,
                    "there is text where a number should be",
                    "name an Esri ASCII grid",
                )
                .at(format!("line {line}")));
            }
        }
        Ok((!word.is_empty()).then(|| (String::from_utf8_lossy(&word).into_owned(), line)))
    }
}

fn number(path: &Path, word: &str, line: usize) -> Result<f64, LoadError> {
    if let Ok(value) = word.parse::<f64>() {
        return Ok(value);
    }
    let (problem, remedy) = if word.contains(',') {
        (format!("{word:?} has a comma"), "write numbers with a decimal point and blanks between them")
    } else {
        (format!("{word:?} is not a number"), "copy or download the file again")
    };
    Err(LoadError::new(path, LoadErrorKind::BadValue, problem, remedy).at(format!("line {line}")))
}

/// Reads a grid.
pub(crate) fn open(mut input: Input<'_>, prj: &ReadPrj<'_>) -> Result<AsciiGrid, LoadError> {
    let path = input.path.clone();
    let mut words = Words { path: &path, reader: &mut *input.reader, block: Vec::new(), at: 0, line: 1, done: false };
    let mut values: [Option<(f64, usize)>; 10] = [None; 10];
    let truncated = |problem: String, line: usize| {
        LoadError::new(&path, LoadErrorKind::Truncated, problem, "copy or download the file again")
            .at(format!("line {line}"))
    };
    let corrupt = |problem: String, line: usize| {
        LoadError::new(&path, LoadErrorKind::Corrupt, problem, "check the header of the grid")
            .at(format!("line {line}"))
    };
    // The header ends at the first word that is no keyword; that word is the first height.
    let mut first = None;
    while let Some((word, line)) = words.next()? {
        let key = word.trim_start_matches('\u{feff}').to_ascii_lowercase();
        let Some(at) = KEYS.iter().position(|k| *k == key) else {
            let begins_like_number = key.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c));
            if !begins_like_number && key != "nan" {
                return Err(corrupt(format!("{word:?} is not a keyword of an Esri ASCII grid"), line));
            }
            first = Some((word, line));
            break;
        };
        let Some((word, line)) = words.next()? else {
            return Err(truncated(format!("there is no value for {key}"), line));
        };
        if values[at].is_some() {
            return Err(corrupt(format!("{key} is given twice"), line));
        }
        values[at] = Some((number(&path, &word, line)?, line));
    }
    let get = |key: &str| KEYS.iter().position(|k| *k == key).and_then(|at| values[at]);
    let missing = |what: &str| corrupt(format!("the header does not give {what}"), words.line);
    let count = |key: &str| -> Result<usize, LoadError> {
        let (value, line) = get(key).ok_or_else(|| missing(key))?;
        if value >= 1.0 && value.fract() == 0.0 && value <= 1e9 {
            Ok(value as usize)
        } else {
            Err(corrupt(format!("{key} is {}", shown(value)), line))
        }
    };
    let (cols, rows) = (count("ncols")?, count("nrows")?);
    if cols.saturating_mul(rows) > MOST_CELLS {
        return Err(LoadError::new(
            &path,
            LoadErrorKind::TooLarge,
            format!("its header announces {cols} × {rows} cells"),
            "convert the grid to a tiled GeoTIFF",
        ));
    }
    let size = |key: &str| -> Result<Option<f64>, LoadError> {
        match get(key) {
            Some((value, _)) if value > 0.0 && value.is_finite() => Ok(Some(value)),
            Some((value, line)) => Err(corrupt(format!("{key} is {}", shown(value)), line)),
            None => Ok(None),
        }
    };
    let cell = size("cellsize")?;
    let (Some(dx), Some(dy)) = (size("dx")?.or(cell), size("dy")?.or(cell)) else {
        return Err(missing("cellsize"));
    };
    // A corner lies half a cell outside the first post, a centre on it.
    let origin = |corner: &str, centre: &str, cell: f64| match (get(corner), get(centre)) {
        (Some((_, _)), Some((_, line))) => Err(corrupt(format!("both {corner} and {centre} are given"), line)),
        (Some((value, _)), None) => Ok(value + cell / 2.0),
        (None, Some((value, _))) => Ok(value),
        (None, None) => Err(missing(&format!("{corner} or {centre}"))),
    };
    let (x0, y0) = (origin("xllcorner", "xllcenter", dx)?, origin("yllcorner", "yllcenter", dy)?);
    let stated = get("nodata_value").map(|(value, _)| value);
    let map = Affine::north_up(x0, y0 + (rows as f64 - 1.0) * dy, dx, dy);
    if map.inverse().is_none() {
        return Err(corrupt("its corner is not a number".to_owned(), words.line));
    }

    let total = cols * rows;
    // Every height takes two bytes at least, with the blank before it: no memory for more than the file can hold.
    let mut heights: Vec<f32> = Vec::with_capacity(total.min(input.length as usize / 2 + 1));
    let decode = Decode {
        no_data: Some(stated.unwrap_or(DEFAULT_NO_DATA)),
        scale: 1.0,
        offset: 0.0,
        single: true,
        believed: BELIEVED_M,
    };
    let mut passed_over = 0;
    let mut next = first;
    if next.is_none() {
        next = words.next()?;
    }
    while let Some((word, line)) = next {
        if heights.len() == total {
            return Err(LoadError::new(
                &path,
                LoadErrorKind::Corrupt,
                format!("there are more than {cols} × {rows} values"),
                "check the header of the grid",
            )
            .at(format!("line {line}")));
        }
        let (height, passed) = decode.height(number(&path, &word, line)?);
        passed_over += u64::from(passed);
        heights.push(height);
        next = words.next()?;
    }
    if heights.len() < total {
        return Err(truncated(format!("it ends after {} of {cols} × {rows} values", heights.len()), words.line));
    }

    let (crs, crs_problem) = match prj()? {
        None => (None, None),
        Some(text) => match Crs::from_wkt(&text) {
            Ok(crs) => (Some(crs), None),
            Err(e) => (None, Some(format!("the .prj file beside it cannot be used: {e}"))),
        },
    };
    let mut header = Header {
        path,
        format: "Esri ASCII grid".to_owned(),
        crs,
        crs_problem,
        levels: vec![Level { cols, rows, to_crs: map }],
        no_data: stated,
        kind: SurfaceKind::Unknown,
        point_to_point_m: None,
        warnings: Vec::new(),
    };
    if stated.is_none() && heights.iter().any(|h| h.is_nan()) {
        header.warn("", "no NODATA_value is given; −9999, the format's default, was taken");
    }
    Ok(AsciiGrid { header, heights, cols, passed_over })
}

impl Source for AsciiGrid {
    fn header(&self) -> &Header {
        &self.header
    }
    fn header_mut(&mut self) -> &mut Header {
        &mut self.header
    }
    fn passed_over(&self) -> u64 {
        self.passed_over
    }
    fn read(&mut self, _level: usize, window: Window) -> Result<Vec<f32>, LoadError> {
        let mut out = Vec::with_capacity(window.len());
        for row in window.row..window.row + window.rows {
            let from = row * self.cols + window.col;
            out.extend_from_slice(&self.heights[from..from + window.cols]);
        }
        Ok(out)
    }
}
