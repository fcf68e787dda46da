//! Shapefiles with their companions into records.
//!
//! The main file is taken apart here, record by record, and every record is decoded alone by the `shapefile` crate, so
//! that a bad record costs itself only, and no count in the file can ask for more memory than the file is long.

use super::codepage::CodePage;
use super::dbf;
use super::record::{Columns, Layer, Notes, Pair, Record, Shape, StatedCrs};
use super::source::{read_bytes, stem};
use crate::error::{LoadError, LoadErrorKind};
use shapefile::{ReadableShape, Shape as Decoded};
use std::io::Cursor;
use std::path::{Path, PathBuf};

const REMEDY: &str = "restore the .shp file from where it came from";
const HEADER: usize = 100;
/// The shapefile format's code at the front of `.shp` and `.shx`.
const FILE_CODE: i32 = 9_994;

/// Reads a shapefile by its `.shp` file.
///
/// # Source
/// ESRI, *Shapefile Technical Description*, July 1998.
pub(crate) fn read(path: &Path) -> Result<Layer, LoadError> {
    let bytes = read_bytes(path)?;
    let mut notes = Notes::default();
    let index = match companion(path, "shx") {
        Some(shx) => Some(read_bytes(&shx)?),
        None => None,
    };
    let shapes = main_file(path, &bytes, index.as_deref(), &mut notes)?;
    let mut rows = if let Some(table) = companion(path, "dbf") {
        let page = code_page(path, &mut notes);
        Some(dbf::read(&table, &read_bytes(&table)?, page, &mut notes)?)
    } else {
        notes.add("missing tables", "", "it has no .dbf file, so its shapes have no names, surfaces or heights");
        None
    };
    if let Some(rows) = rows.as_ref().filter(|rows| rows.len() != shapes.len()) {
        notes.add(
            "tables that do not match",
            "table",
            format!("its table has {} rows for {} shapes; they were matched from the first", rows.len(), shapes.len()),
        );
    }
    let mut records = Vec::with_capacity(shapes.len());
    for (i, shape) in shapes.into_iter().enumerate() {
        let columns = match rows.as_mut().and_then(|rows| rows.get_mut(i)) {
            Some(Some(columns)) => std::mem::take(columns),
            Some(None) => {
                notes.add("deleted rows", format!("record {}", i + 1), "its row is marked as deleted; it was left out");
                continue;
            }
            None => Columns::default(),
        };
        if let Some(shape) = shape {
            records.push(Record { number: i + 1, id: None, shape, columns });
        }
    }
    let crs = reference_system(path)?;
    Ok(Layer { path: path.to_owned(), name: stem(path), format: "Shapefile", crs, records, notes })
}

/// A file of the same name with another ending, in small or capital letters.
fn companion(path: &Path, ending: &str) -> Option<PathBuf> {
    let capital = ending.to_uppercase();
    let mut mixed = capital.clone();
    if let Some(rest) = mixed.get_mut(1..) {
        rest.make_ascii_lowercase();
    }
    [ending, &capital, &mixed].into_iter().map(|e| path.with_extension(e)).find(|p| p.is_file())
}

fn reference_system(path: &Path) -> Result<StatedCrs, LoadError> {
    let Some(prj) = companion(path, "prj") else {
        return Ok(StatedCrs::Missing("it has no .prj file, so its reference system is not known"));
    };
    let bytes = read_bytes(&prj)?;
    let text = String::from_utf8_lossy(&bytes);
    let text = text.trim_matches(|c: char| c.is_whitespace() || c == '\u{feff}' || c == '\0');
    if text.is_empty() {
        return Ok(StatedCrs::Missing("its .prj file is empty, so its reference system is not known"));
    }
    Ok(StatedCrs::Wkt(text.to_owned()))
}

fn code_page(path: &Path, notes: &mut Notes) -> Option<CodePage> {
    let cpg = companion(path, "cpg").or_else(|| companion(path, "cst"))?;
    let bytes = read_bytes(&cpg).ok()?;
    let label = String::from_utf8_lossy(bytes.get(..64).unwrap_or(&bytes)).into_owned();
    let page = CodePage::from_label(&label);
    if page.is_none() {
        notes.add(
            "code pages not known",
            "code page file",
            format!("“{}” is no code page that is read; the table's own was taken", super::columns::shortened(&label)),
        );
    }
    page
}

fn big(bytes: &[u8], at: usize) -> Option<i32> {
    Some(i32::from_be_bytes(bytes.get(at..at.checked_add(4)?)?.try_into().ok()?))
}

fn little(bytes: &[u8], at: usize) -> Option<i32> {
    Some(i32::from_le_bytes(bytes.get(at..at.checked_add(4)?)?.try_into().ok()?))
}

/// A length that the format counts in 16-bit words, in bytes.
fn words(count: i32) -> Option<usize> {
    usize::try_from(count).ok().and_then(|n| n.checked_mul(2))
}

/// The shapes of the main file in order; `None` for a record that cannot be used and has been told about.
fn main_file(
    path: &Path,
    bytes: &[u8],
    index: Option<&[u8]>,
    notes: &mut Notes,
) -> Result<Vec<Option<Shape>>, LoadError> {
    let error = |kind, problem: &str, place: &str| LoadError::new(path, kind, problem, REMEDY).at(place);
    if bytes.is_empty() {
        return Err(error(LoadErrorKind::Empty, "the file is empty", ""));
    }
    if big(bytes, 0).is_some_and(|code| code != FILE_CODE) {
        return Err(error(LoadErrorKind::Unsupported, "it is not a shapefile", ""));
    }
    if bytes.len() < HEADER {
        return Err(error(LoadErrorKind::Truncated, "the file ends inside its header", ""));
    }
    let stated = big(bytes, 24).and_then(words).filter(|n| *n >= HEADER);
    let Some(stated) = stated else {
        return Err(error(LoadErrorKind::Corrupt, "its header states an impossible length", "header"));
    };
    if stated > bytes.len() {
        let problem = format!("its header states {stated} bytes, but the file has {}", bytes.len());
        return Err(LoadError::new(path, LoadErrorKind::Truncated, problem, REMEDY).at("header"));
    }
    if stated < bytes.len() {
        notes.add(
            "headers with a wrong length",
            "header",
            format!("its header states {stated} bytes, but the file has {}", bytes.len()),
        );
    }
    let spans = match index.map(|index| indexed(bytes, index)) {
        Some(Some(spans)) => spans,
        other => {
            if other.is_some() {
                notes.add(
                    "index files that do not match",
                    "index",
                    "its .shx file does not match; it was read without it",
                );
            }
            in_order(path, bytes, stated)?
        }
    };
    Ok(spans
        .into_iter()
        .enumerate()
        .map(|(i, (from, to))| {
            decode(&bytes[from..to])
                .map_err(|problem| {
                    notes.add(
                        "records that cannot be read",
                        format!("record {}", i + 1),
                        format!("{problem}; it was left out"),
                    );
                })
                .ok()
        })
        .collect())
}

/// Where each record's content lies, by the index; `None` when the index does not fit the file.
fn indexed(bytes: &[u8], index: &[u8]) -> Option<Vec<(usize, usize)>> {
    if big(index, 0)? != FILE_CODE {
        return None;
    }
    let end = big(index, 24).and_then(words)?;
    let entries = index.get(HEADER..end)?;
    let mut spans = Vec::with_capacity(entries.len() / 8);
    for entry in entries.chunks_exact(8) {
        let (offset, length) = (words(big(entry, 0)?)?, words(big(entry, 4)?)?);
        let from = offset.checked_add(8)?;
        let to = from.checked_add(length)?;
        if offset < HEADER || to > bytes.len() || words(big(bytes, offset.checked_add(4)?)?)? != length {
            return None;
        }
        spans.push((from, to));
    }
    // An index without entries beside a file with records is no index of this file.
    (!spans.is_empty() || bytes.len() == HEADER).then_some(spans)
}

/// Where each record's content lies, one after the other; no record begins beyond the stated length.
fn in_order(path: &Path, bytes: &[u8], stated: usize) -> Result<Vec<(usize, usize)>, LoadError> {
    let mut spans = Vec::new();
    let mut at = HEADER;
    while at < stated {
        let place = format!("record {}", spans.len() + 1);
        let length = big(bytes, at.saturating_add(4));
        let span = length.and_then(words).and_then(|n| Some((at + 8, (at + 8).checked_add(n)?)));
        match span {
            Some((from, to)) if to <= bytes.len() => {
                spans.push((from, to));
                at = to;
            }
            _ => {
                let kind =
                    if length.is_some_and(|n| n < 0) { LoadErrorKind::Corrupt } else { LoadErrorKind::Truncated };
                let problem = "the file ends inside a record, or the record's length is wrong";
                return Err(LoadError::new(path, kind, problem, REMEDY).at(place));
            }
        }
    }
    Ok(spans)
}

fn decode(content: &[u8]) -> Result<Shape, String> {
    let kind = little(content, 0).ok_or("it is empty")?;
    counts_fit(kind, content)?;
    let size = i32::try_from(content.len()).map_err(|_too_long| "it is too long".to_owned())?;
    let decoded =
        Decoded::read_from(&mut Cursor::new(content), size).map_err(|e| format!("it cannot be read ({e})"))?;
    macro_rules! pairs {
        ($points:expr) => {
            $points.iter().map(|p| [p.x, p.y]).collect::<Vec<Pair>>()
        };
    }
    Ok(match decoded {
        Decoded::NullShape => Shape::Nothing,
        Decoded::Point(p) => Shape::Points(vec![[p.x, p.y]]),
        Decoded::PointM(p) => Shape::Points(vec![[p.x, p.y]]),
        Decoded::PointZ(p) => Shape::Points(vec![[p.x, p.y]]),
        Decoded::Multipoint(m) => Shape::Points(pairs!(m.points())),
        Decoded::MultipointM(m) => Shape::Points(pairs!(m.points())),
        Decoded::MultipointZ(m) => Shape::Points(pairs!(m.points())),
        Decoded::Polyline(l) => Shape::Lines(l.parts().iter().map(|p| pairs!(p)).collect()),
        Decoded::PolylineM(l) => Shape::Lines(l.parts().iter().map(|p| pairs!(p)).collect()),
        Decoded::PolylineZ(l) => Shape::Lines(l.parts().iter().map(|p| pairs!(p)).collect()),
        Decoded::Polygon(p) => Shape::Rings(p.rings().iter().map(|r| pairs!(r.points())).collect()),
        Decoded::PolygonM(p) => Shape::Rings(p.rings().iter().map(|r| pairs!(r.points())).collect()),
        Decoded::PolygonZ(p) => Shape::Rings(p.rings().iter().map(|r| pairs!(r.points())).collect()),
        Decoded::Multipatch(_) => return Err("it is a multipatch (a body in space), which is not read".into()),
    })
}

/// Whether the counts at the front of a record fit into it, before anything is allocated by them.
fn counts_fit(kind: i32, content: &[u8]) -> Result<(), String> {
    let wrong = || "its counts of parts and points contradict its length".to_owned();
    let count = |at: usize| little(content, at).and_then(|n| usize::try_from(n).ok()).ok_or_else(wrong);
    match kind {
        // Lines, areas and bodies: parts and points.
        3 | 5 | 13 | 15 | 23 | 25 | 31 => {
            let (parts, points) = (count(36)?, count(40)?);
            let needed = parts.checked_mul(4).zip(points.checked_mul(16)).and_then(|(a, b)| a.checked_add(b));
            if needed.and_then(|n| n.checked_add(44)).is_none_or(|n| n > content.len()) {
                return Err(wrong());
            }
            let mut last = 0;
            for i in 0..parts {
                let start = count(44 + 4 * i)?;
                if start < last || start > points || (i == 0 && start != 0) {
                    return Err("its parts do not follow one another".into());
                }
                last = start;
            }
            Ok(())
        }
        // Clouds of points.
        8 | 18 | 28 => {
            let needed = count(36)?.checked_mul(16).and_then(|n| n.checked_add(40));
            if needed.is_none_or(|n| n > content.len()) { Err(wrong()) } else { Ok(()) }
        }
        _ => Ok(()),
    }
}

#[cfg(test)]
#[path = "shape_tests.rs"]
mod tests;
