//! SRTM height tiles (`.hgt`), 1″ and 3″, plain or in a zip archive.
//!
//! A tile is a headerless square of big-endian 16-bit integers, row by row from the north-west, −32768 for no data.
//! Its name gives the centre of the south-west post; edge rows and columns are shared with the neighbours
//! (USGS SRTM Quickstart; NASADEM User Guide).

use super::affine::Affine;
use super::source::{BELIEVED_M, Decode, Header, Input, Level, ReadSeek, Source, Window};
use crate::error::{LoadError, LoadErrorKind};
use crate::frame::Crs;
use sparefield_geometry::grid::SurfaceKind;
use std::io::{Cursor, Read, SeekFrom};
use std::path::{Path, PathBuf};

/// Bytes of a 1″ and of a 3″ tile.
const SIZES: [(u64, usize); 2] = [(3601 * 3601 * 2, 3601), (1201 * 1201 * 2, 1201)];

pub(crate) struct Hgt<'a> {
    header: Header,
    reader: Box<dyn ReadSeek + 'a>,
    side: usize,
    decode: Decode,
    passed_over: u64,
}

/// South-west corner in degrees from a name such as `N34W119.hgt` or `S08W035.SRTMGL1.hgt.zip`.
pub(crate) fn corner_of_name(path: &Path) -> Option<(f64, f64)> {
    let name = path.file_name()?.to_str()?.to_ascii_uppercase();
    let bytes = name.as_bytes();
    if bytes.len() < 7 || !name.is_ascii() || bytes.get(7).is_some_and(u8::is_ascii_alphanumeric) {
        return None;
    }
    let number = |range: std::ops::Range<usize>| -> Option<f64> {
        let digits = &name[range];
        if digits.bytes().all(|b| b.is_ascii_digit()) { digits.parse().ok() } else { None }
    };
    let (lat, lon) = (number(1..3)?, number(4..7)?);
    let lat = match bytes[0] {
        b'N' => lat,
        b'S' => -lat,
        _ => return None,
    };
    let lon = match bytes[3] {
        b'E' => lon,
        b'W' => -lon,
        _ => return None,
    };
    ((-90.0..90.0).contains(&lat) && (-180.0..180.0).contains(&lon)).then_some((lon, lat))
}

/// Opens a tile, or an archive with a tile in it.
pub(crate) fn open(mut input: Input<'_>) -> Result<Hgt<'_>, LoadError> {
    let mut magic = [0u8; 4];
    let is_zip = input.length >= 4 && input.reader.read_exact(&mut magic).is_ok() && magic == *b"PK\x03\x04";
    input.reader.seek(SeekFrom::Start(0)).map_err(|e| LoadError::from_io(&input.path, &e))?;
    if is_zip { open_zip(input) } else { open_plain(input, None) }
}

fn open_plain<'a>(input: Input<'a>, inner: Option<&Path>) -> Result<Hgt<'a>, LoadError> {
    let path = input.path;
    let Some(&(_, side)) = SIZES.iter().find(|(bytes, _)| *bytes == input.length) else {
        let kind = if SIZES.iter().any(|(bytes, _)| input.length < *bytes) {
            LoadErrorKind::Truncated
        } else {
            LoadErrorKind::Corrupt
        };
        return Err(LoadError::new(
            &path,
            kind,
            format!("it has {} bytes, but an SRTM tile has {} (1″) or {} (3″)", input.length, SIZES[0].0, SIZES[1].0),
            "copy or download the file again",
        ));
    };
    let named = corner_of_name(inner.unwrap_or(&path)).or_else(|| corner_of_name(&path));
    let Some((lon, lat)) = named else {
        return Err(LoadError::new(
            &path,
            LoadErrorKind::Crs,
            "its name does not say which tile it is",
            "name it after its south-west corner, such as N34W119.hgt",
        ));
    };
    if let (Some(inside), Some(outside)) = (inner.and_then(corner_of_name), corner_of_name(&path))
        && inside != outside
    {
        return Err(LoadError::new(
            &path,
            LoadErrorKind::Corrupt,
            "the archive's name and the name of the tile in it are of different places",
            "rename the one that is wrong",
        ));
    }
    let crs = Crs::wgs84().map_err(|e| LoadError::new(&path, LoadErrorKind::Crs, e.to_string(), ""))?;
    let step = 1.0 / (side as f64 - 1.0);
    let archive = if inner.is_some() { ", zipped" } else { "" };
    let header = Header {
        path,
        format: format!("SRTM tile, {}″{archive}", if side == 3601 { 1 } else { 3 }),
        crs: Some(crs),
        crs_problem: None,
        levels: vec![Level { cols: side, rows: side, to_crs: Affine::north_up(lon, lat + 1.0, step, step) }],
        no_data: Some(-32768.0),
        // Radar sees the tops of dense trees and buildings.
        kind: SurfaceKind::SurfaceModel,
        // Instrument noise of 1.55 m RMS over runways (Becek 2008, doi:10.1029/2008GL034592), twice for a difference.
        point_to_point_m: Some(2.2),
        warnings: Vec::new(),
    };
    let decode = Decode { no_data: Some(-32768.0), scale: 1.0, offset: 0.0, single: false, believed: BELIEVED_M };
    Ok(Hgt { header, reader: input.reader, side, decode, passed_over: 0 })
}

fn open_zip(input: Input<'_>) -> Result<Hgt<'_>, LoadError> {
    let path = input.path;
    let corrupt = |e: &dyn std::fmt::Display| {
        LoadError::new(
            &path,
            LoadErrorKind::Corrupt,
            format!("the archive cannot be read ({e})"),
            "copy or download the file again",
        )
    };
    let mut archive = zip::ZipArchive::new(input.reader).map_err(|e| corrupt(&e))?;
    let is_tile = |name: &str| {
        name.to_ascii_lowercase().ends_with(".hgt") && !name.starts_with("__MACOSX/") && !name.contains("/._")
    };
    // A name that cannot be read is no tile's.
    let names = archive.file_names().filter_map(Result::ok);
    let tiles: Vec<String> = names.filter(|name| is_tile(name)).map(std::borrow::Cow::into_owned).collect();
    let name = match &tiles[..] {
        [one] => one.clone(),
        [] => {
            return Err(LoadError::new(
                &path,
                LoadErrorKind::Unsupported,
                "there is no .hgt tile in the archive",
                "name an SRTM tile, or unpack the archive and name the file of heights",
            ));
        }
        many => {
            return Err(LoadError::new(
                &path,
                LoadErrorKind::Unsupported,
                format!("there are {} tiles in the archive", many.len()),
                "unpack it and name the tiles",
            ));
        }
    };
    let entry = archive.by_name(&name).map_err(|e| corrupt(&e))?;
    // One byte more than the largest tile shows that it is too long, however long it claims to be or becomes.
    let most = SIZES[0].0 + 1;
    let mut bytes = Vec::new();
    entry.take(most).read_to_end(&mut bytes).map_err(|e| corrupt(&e))?;
    let length = bytes.len() as u64;
    let inner = PathBuf::from(name.rsplit('/').next().unwrap_or(&name));
    let opened = Input { path: path.clone(), reader: Box::new(Cursor::new(bytes)), length };
    open_plain(opened, Some(&inner)).map_err(|e| {
        let place = inner.display().to_string();
        e.at(place)
    })
}

impl Source for Hgt<'_> {
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
        let mut buffer = vec![0u8; window.cols * 2];
        for row in window.row..window.row + window.rows {
            let at = ((row * self.side + window.col) * 2) as u64;
            self.reader
                .seek(SeekFrom::Start(at))
                .and_then(|_| self.reader.read_exact(&mut buffer))
                .map_err(|e| LoadError::from_io(&self.header.path, &e).at(format!("row {row}")))?;
            for pair in buffer.chunks_exact(2) {
                let (height, passed) = self.decode.height(f64::from(i16::from_be_bytes([pair[0], pair[1]])));
                self.passed_over += u64::from(passed);
                out.push(height);
            }
        }
        Ok(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_give_the_corner() {
        let corner = |name: &str| corner_of_name(Path::new(name));
        assert_eq!(corner("a/N34W119.hgt"), Some((-119.0, 34.0)));
        assert_eq!(corner("s08w035.SRTMGL1.hgt.zip"), Some((-35.0, -8.0)));
        assert_eq!(corner("N00E000.hgt"), Some((0.0, 0.0)));
        assert_eq!(corner("N34W1190.hgt"), None);
        assert_eq!(corner("N3AW119.hgt"), None);
        assert_eq!(corner("S91E000.hgt"), None);
        assert_eq!(corner("tile.hgt"), None);
        assert_eq!(corner("N\u{e9}4W119.hgt"), None);
    }

    /// Row 752, column 24 of the 1″ tile N38W105 is value number 2 707 976 (752 · 3601 + 24), given as 3772 m at about
    /// 38.79097° N, 104.99347° W: a published worked example, whose position lies within a post of that one.
    #[test]
    fn posts_lie_where_the_worked_example_says() {
        let side = 3601usize;
        assert_eq!(752 * side + 24, 2_707_976);
        let mut bytes = vec![0u8; side * side * 2];
        let at = 2_707_976 * 2;
        bytes[at..at + 2].copy_from_slice(&3772i16.to_be_bytes());
        bytes[..2].copy_from_slice(&i16::MIN.to_be_bytes());
        let length = bytes.len() as u64;
        let mut tile =
            open(Input { path: PathBuf::from("N38W105.hgt"), reader: Box::new(Cursor::new(bytes)), length }).unwrap();
        let (col, row) = tile.header().levels[0].to_crs.inverse().unwrap().apply(-104.99347, 38.79097);
        assert!((row - 752.0).abs() < 1.0 && (col - 24.0).abs() < 1.0, "{row} {col}");
        let (lon, lat) = tile.header().levels[0].to_crs.apply(0.0, 3600.0);
        assert_eq!((lon, lat), (-105.0, 38.0), "the name is the centre of the south-west post");
        let read = tile.read(0, Window { col: 23, row: 752, cols: 2, rows: 1 }).unwrap();
        assert_eq!(read, [0.0, 3772.0]);
        assert!(tile.read(0, Window { col: 0, row: 0, cols: 1, rows: 1 }).unwrap()[0].is_nan());
    }

    #[test]
    fn wrong_sizes_are_told() {
        for length in [0usize, 100, 1201 * 1201 * 2 - 2, 3601 * 3601 * 2 + 2] {
            let bytes = vec![0u8; length];
            let input = Input {
                path: PathBuf::from("N38W105.hgt"),
                reader: Box::new(Cursor::new(bytes)),
                length: length as u64,
            };
            let message = open(input).err().unwrap().to_string();
            assert!(message.contains("25934402") && message.contains("N38W105.hgt"), "{message}");
        }
    }
}
