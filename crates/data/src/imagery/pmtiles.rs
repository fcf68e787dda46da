//! PMTiles version 3: web-map tiles in one file, found through directories ordered along a Hilbert curve.
//!
//! Written from the PMTiles specification, version 3 (open, on the web with its reference vectors). The `pmtiles`
//! crate is not used: its only readers are asynchronous and bring the Tokio runtime into a program without one, and
//! they do not bound what a damaged directory may unpack to.

use super::tile_pyramid::{FINEST_ZOOM, TileAt, TileSpan, TileStore};
use crate::error::{LoadError, LoadErrorKind, Progress};
use sparefield_geometry::position::LonLat;
use std::collections::VecDeque;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

const HEADER_BYTES: usize = 127;
/// Most bytes of a directory in the file, and unpacked: a million entries, some hundred times what writers put into one.
const MOST_PACKED: u64 = 4 << 20;
const MOST_UNPACKED: u64 = 4 << 20;
/// Most bytes of one tile.
const MOST_TILE_BYTES: u64 = 32 << 20;
/// Directories below the root that are followed; the specification's writers make one.
const MOST_DEPTH: usize = 4;
/// Directories below the root that are kept, and their entries in all: 64 MB.
const KEPT: usize = 16;
const KEPT_ENTRIES: usize = 2 << 20;

/// One entry of a directory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Entry {
    first: u64,
    /// How many tiles show the same picture; 0 for a directory.
    run: u64,
    length: u64,
    offset: u64,
}

type Directory = Arc<Vec<Entry>>;

/// An opened file of tiles.
pub(crate) struct PmTiles {
    path: PathBuf,
    length: u64,
    packing: u8,
    tile_packing: u8,
    leaves: (u64, u64),
    tiles: (u64, u64),
    root: Directory,
    file: Mutex<File>,
    kept: Mutex<VecDeque<(u64, Directory)>>,
}

const COPY_AGAIN: &str = "copy or download the file again";

/// Opens a file of tiles, and says what it spans.
pub(crate) fn open(path: &Path) -> Result<(PmTiles, TileSpan, String), LoadError> {
    let io = |e: std::io::Error| LoadError::from_io(path, &e);
    let fail = |kind, problem: String, remedy: &str| LoadError::new(path, kind, problem, remedy);
    let mut file = File::open(path).map_err(io)?;
    let length = file.metadata().map_err(io)?.len();
    let mut head = [0u8; HEADER_BYTES];
    file.read_exact(&mut head).map_err(io)?;
    if head[7] != 3 {
        let problem = format!("it is PMTiles version {}; version 3 is read here", head[7]);
        return Err(fail(LoadErrorKind::Unsupported, problem, "convert it to version 3"));
    }
    let number = |at: usize| head[at..at + 8].iter().rev().fold(0u64, |n, &b| n << 8 | u64::from(b));
    let degrees = |at: usize| {
        let raw = head[at..at + 4].iter().rev().fold(0u32, |n, &b| n << 8 | u32::from(b));
        f64::from(raw.cast_signed()) / 1e7
    };
    let kind = match head[99] {
        2 => "PNG",
        3 => "JPEG",
        4 => "WebP",
        1 => {
            let problem = "its tiles are lines and areas (vector tiles), not pictures".to_owned();
            return Err(fail(LoadErrorKind::Unsupported, problem, "use a file of PNG, JPEG or WebP tiles"));
        }
        other => {
            let problem = format!("its tiles are of a kind (number {other}) that is not read here");
            return Err(fail(LoadErrorKind::Unsupported, problem, "use a file of PNG, JPEG or WebP tiles"));
        }
    };
    let zooms = (head[100], head[101]);
    if zooms.0 > zooms.1 || zooms.1 > FINEST_ZOOM {
        let problem = format!("it states zoom levels {} to {}", zooms.0, zooms.1);
        return Err(fail(LoadErrorKind::BadValue, problem, "make the file anew"));
    }
    let mut store = PmTiles {
        path: path.to_owned(),
        length,
        packing: head[97],
        tile_packing: head[98],
        leaves: (number(40), number(48)),
        tiles: (number(56), number(64)),
        root: Arc::default(),
        file: Mutex::new(file),
        kept: Mutex::default(),
    };
    store.root = store.directory(number(8), number(16), "its root directory")?;
    let corner = |at: usize| LonLat { lon_deg: degrees(at), lat_deg: degrees(at + 4) };
    let (sw, ne) = (corner(102), corner(110));
    let sane = |p: LonLat| p.lon_deg.abs() <= 180.0 && p.lat_deg.abs() <= 90.0;
    if !(sane(sw) && sane(ne) && sw.lon_deg < ne.lon_deg && sw.lat_deg < ne.lat_deg) {
        let problem = "the bounds in its header are no longitudes and latitudes".to_owned();
        return Err(fail(LoadErrorKind::Corrupt, problem, COPY_AGAIN));
    }
    Ok((store, TileSpan { zooms, bounds: (sw, ne) }, format!("PMTiles, {kind} tiles")))
}

impl PmTiles {
    fn bytes(&self, offset: u64, length: u64, most: u64, what: &str) -> Result<Vec<u8>, LoadError> {
        let fail = |kind, problem: &str| LoadError::new(&self.path, kind, problem, COPY_AGAIN).at(what.to_owned());
        if offset.checked_add(length).is_none_or(|end| end > self.length) {
            return Err(fail(LoadErrorKind::Truncated, "it lies beyond the end of the file"));
        }
        if length > most {
            return Err(fail(LoadErrorKind::TooLarge, "it is larger than any of its kind"));
        }
        let mut bytes = vec![0u8; length as usize];
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        file.seek(SeekFrom::Start(offset))
            .and_then(|_| file.read_exact(&mut bytes))
            .map_err(|e| LoadError::from_io(&self.path, &e))?;
        Ok(bytes)
    }

    fn unpacked(&self, bytes: Vec<u8>, packing: u8, most: u64, what: &str) -> Result<Vec<u8>, LoadError> {
        let fail = |kind, problem: &str| LoadError::new(&self.path, kind, problem, COPY_AGAIN).at(what.to_owned());
        let reader: Box<dyn Read + '_> = match packing {
            0 | 1 => return Ok(bytes),
            2 => Box::new(flate2::read::MultiGzDecoder::new(bytes.as_slice())),
            4 => match zstd::stream::read::Decoder::new(bytes.as_slice()) {
                Ok(reader) => Box::new(reader),
                Err(_unpackable) => return Err(fail(LoadErrorKind::Corrupt, "it cannot be unpacked")),
            },
            _ => {
                let problem = "it is packed in a way (Brotli or unknown) that is not read here";
                return Err(fail(LoadErrorKind::Unsupported, problem));
            }
        };
        let mut out = Vec::new();
        if reader.take(most + 1).read_to_end(&mut out).is_err() {
            return Err(fail(LoadErrorKind::Corrupt, "it cannot be unpacked"));
        }
        if out.len() as u64 > most {
            return Err(fail(LoadErrorKind::TooLarge, "it unpacks to more than any of its kind"));
        }
        Ok(out)
    }

    fn directory(&self, offset: u64, length: u64, what: &str) -> Result<Directory, LoadError> {
        let packed = self.bytes(offset, length, MOST_PACKED, what)?;
        let plain = self.unpacked(packed, self.packing, MOST_UNPACKED, what)?;
        let entries = entries(&plain).ok_or_else(|| {
            LoadError::new(&self.path, LoadErrorKind::Corrupt, "it is damaged", COPY_AGAIN).at(what.to_owned())
        })?;
        Ok(Arc::new(entries))
    }

    fn leaf(&self, entry: Entry) -> Result<Directory, LoadError> {
        {
            let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
            if let Some(at) = kept.iter().position(|(offset, _)| *offset == entry.offset)
                && let Some(found) = kept.remove(at)
            {
                let directory = Arc::clone(&found.1);
                kept.push_back(found);
                return Ok(directory);
            }
        }
        let what = "a directory of tiles";
        if entry.offset.checked_add(entry.length).is_none_or(|end| end > self.leaves.1) {
            let problem = "it lies outside the part for directories";
            return Err(LoadError::new(&self.path, LoadErrorKind::Corrupt, problem, COPY_AGAIN).at(what.to_owned()));
        }
        let directory = self.directory(self.leaves.0.saturating_add(entry.offset), entry.length, what)?;
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.push_back((entry.offset, Arc::clone(&directory)));
        while kept.len() > KEPT || kept.iter().map(|(_, d)| d.len()).sum::<usize>() > KEPT_ENTRIES {
            kept.pop_front();
        }
        Ok(directory)
    }
}

/// Reads a directory: the number of entries, then all first tiles as differences, all runs, lengths and offsets.
fn entries(plain: &[u8]) -> Option<Vec<Entry>> {
    let mut at = 0;
    let mut next = || {
        let mut value = 0u64;
        for shift in (0..64).step_by(7) {
            let byte = *plain.get(at)?;
            at += 1;
            value |= u64::from(byte & 0x7F).checked_shl(shift)?;
            if byte < 0x80 {
                return Some(value);
            }
        }
        None
    };
    let count = next()?;
    // Every entry takes four bytes at least.
    if count > plain.len() as u64 / 4 {
        return None;
    }
    let mut all = vec![Entry { first: 0, run: 0, length: 0, offset: 0 }; count as usize];
    let mut first = 0u64;
    for entry in &mut all {
        first = first.checked_add(next()?)?;
        entry.first = first;
    }
    for entry in &mut all {
        entry.run = next()?;
    }
    for entry in &mut all {
        entry.length = next()?;
    }
    let mut after = None;
    for entry in &mut all {
        // 0 says that the picture follows the one before.
        entry.offset = match (next()?, after) {
            (0, Some(after)) => after,
            (0, None) => return None,
            (offset, _) => offset - 1,
        };
        after = Some(entry.offset.checked_add(entry.length)?);
    }
    Some(all)
}

/// The number of a tile: all coarser zooms before it, then its place along the Hilbert curve of its zoom.
fn number_of(at: TileAt) -> u64 {
    let before = ((1u64 << (2 * at.zoom)) - 1) / 3;
    let (mut x, mut y) = (u64::from(at.col), u64::from(at.row));
    let mut place = 0;
    let mut half = 1u64 << at.zoom >> 1;
    while half > 0 {
        let (right, lower) = (u64::from(x & half > 0), u64::from(y & half > 0));
        place += half * half * ((3 * right) ^ lower);
        // Turn the quarter so that the curve enters and leaves it at the right corners.
        if lower == 0 {
            if right == 1 {
                x = (half - 1).wrapping_sub(x);
                y = (half - 1).wrapping_sub(y);
            }
            std::mem::swap(&mut x, &mut y);
        }
        half >>= 1;
    }
    before + place
}

/// The entry that may hold a tile: the last that begins no later.
fn find(directory: &[Entry], number: u64) -> Option<Entry> {
    let after = directory.partition_point(|e| e.first <= number);
    let entry = *directory.get(after.checked_sub(1)?)?;
    (entry.run == 0 || number - entry.first < entry.run).then_some(entry)
}

impl TileStore for PmTiles {
    fn tile(&self, at: TileAt, _progress: &dyn Progress) -> Result<Option<Vec<u8>>, LoadError> {
        let number = number_of(at);
        let mut directory = Arc::clone(&self.root);
        for _ in 0..MOST_DEPTH {
            let Some(entry) = find(&directory, number) else { return Ok(None) };
            if entry.run == 0 {
                directory = self.leaf(entry)?;
                continue;
            }
            if entry.length == 0 {
                return Ok(None);
            }
            let what = at.to_string();
            if entry.offset.checked_add(entry.length).is_none_or(|end| end > self.tiles.1) {
                let problem = "it lies outside the part for tiles";
                return Err(LoadError::new(&self.path, LoadErrorKind::Corrupt, problem, COPY_AGAIN).at(what));
            }
            let start = self.tiles.0.saturating_add(entry.offset);
            let packed = self.bytes(start, entry.length, MOST_TILE_BYTES, &what)?;
            return self.unpacked(packed, self.tile_packing, MOST_TILE_BYTES, &what).map(Some);
        }
        let problem = "its directories lead from one to the next without an end";
        Err(LoadError::new(&self.path, LoadErrorKind::Corrupt, problem, COPY_AGAIN).at(at.to_string()))
    }

    fn any_tile(&self, _progress: &dyn Progress) -> Result<Option<TileAt>, LoadError> {
        let mut directory = Arc::clone(&self.root);
        for _ in 0..MOST_DEPTH {
            let Some(&entry) = directory.iter().find(|e| e.length > 0) else { return Ok(None) };
            if entry.run > 0 {
                return Ok(place_of(entry.first));
            }
            directory = self.leaf(entry)?;
        }
        Ok(None)
    }
}

/// The tile of a number; the way back from [`number_of`].
fn place_of(number: u64) -> Option<TileAt> {
    let mut zoom = 0u8;
    let mut rest = number;
    while rest >= 1 << (2 * zoom) {
        rest -= 1 << (2 * zoom);
        zoom += 1;
        if zoom > FINEST_ZOOM {
            return None;
        }
    }
    let (mut x, mut y) = (0u64, 0u64);
    for level in 0..zoom {
        let half = 1u64 << level;
        let right = (rest / 2) & 1;
        let lower = (rest ^ right) & 1;
        if lower == 0 {
            if right == 1 {
                x = half - 1 - x;
                y = half - 1 - y;
            }
            std::mem::swap(&mut x, &mut y);
        }
        x += half * right;
        y += half * lower;
        rest /= 4;
    }
    Some(TileAt { zoom, col: x as u32, row: y as u32 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_are_those_of_the_specification() {
        // The table in the specification's section on tile identifiers.
        for (zoom, col, row, number) in [
            (0, 0, 0, 0),
            (1, 0, 0, 1),
            (1, 0, 1, 2),
            (1, 1, 1, 3),
            (1, 1, 0, 4),
            (2, 0, 0, 5),
            (12, 3423, 1763, 19_078_479),
        ] {
            assert_eq!(number_of(TileAt { zoom, col, row }), number, "{zoom}/{col}/{row}");
            assert_eq!(place_of(number), Some(TileAt { zoom, col, row }));
        }
    }

    #[test]
    fn neighbours_along_the_curve_touch() {
        for number in 85..340 {
            let (a, b) = (place_of(number).unwrap(), place_of(number + 1).unwrap());
            assert_eq!(a.col.abs_diff(b.col) + a.row.abs_diff(b.row), 1, "{a} {b}");
        }
    }

    proptest! {
        #[test]
        fn numbers_lead_back(zoom in 0u8..=FINEST_ZOOM, x in any::<u32>(), y in any::<u32>()) {
            let side = 1u32 << zoom;
            let at = TileAt { zoom, col: x % side, row: y % side };
            prop_assert_eq!(place_of(number_of(at)), Some(at));
        }

        #[test]
        fn damaged_directories_do_not_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            if let Some(all) = entries(&bytes) {
                find(&all, 7);
            }
        }
    }

    /// A file of many directories of a million entries each, all in a few kilobytes.
    #[test]
    fn directories_that_unpack_to_much_are_not_all_kept() {
        use std::io::Write as _;
        let packed = |plain: &[u8]| {
            let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
            packer.write_all(plain).unwrap();
            packer.finish().unwrap()
        };
        // Entries without length, the first at offset 0, each where the one before ends.
        let leaf = |entries: u32| {
            let mut plain = Vec::new();
            let mut count = entries;
            while count >= 0x80 {
                plain.push((count & 0x7F) as u8 | 0x80);
                count >>= 7;
            }
            plain.push(count as u8);
            let lists = plain.len();
            plain.resize(lists + 4 * entries as usize, 0);
            plain[lists + 3 * entries as usize] = 1;
            packed(&plain)
        };
        let (large, huge) = (leaf(1_000_000), leaf(16_000_000));
        let mut file = tempfile::NamedTempFile::new().unwrap();
        for _ in 0..KEPT {
            file.write_all(&large).unwrap();
        }
        file.write_all(&huge).unwrap();
        let length = file.as_file().metadata().unwrap().len();
        assert!(length < 256 << 10, "{length}");
        let store = PmTiles {
            path: file.path().to_owned(),
            length,
            packing: 2,
            tile_packing: 1,
            leaves: (0, length),
            tiles: (0, 0),
            root: Arc::default(),
            file: Mutex::new(File::open(file.path()).unwrap()),
            kept: Mutex::default(),
        };
        let size = large.len() as u64;
        for k in 0..KEPT as u64 {
            let entry = Entry { first: 0, run: 0, length: size, offset: k * size };
            assert_eq!(store.leaf(entry).unwrap().len(), 1_000_000);
            let held: usize = store.kept.lock().unwrap().iter().map(|(_, d)| d.len()).sum();
            assert!(held <= KEPT_ENTRIES, "{held} entries are held");
        }
        let entry = Entry { first: 0, run: 0, length: huge.len() as u64, offset: KEPT as u64 * size };
        let words = store.leaf(entry).unwrap_err().to_string();
        assert!(words.contains("unpacks to more than any of its kind"), "{words}");
    }

    #[test]
    fn directories_are_read_as_written() {
        // Two tiles that follow each other, the second shown three times, and a directory.
        let plain = [3, 5, 1, 3, 1, 3, 0, 100, 50, 20, 1, 0, 8];
        let all = entries(&plain).unwrap();
        assert_eq!(all[0], Entry { first: 5, run: 1, length: 100, offset: 0 });
        assert_eq!(all[1], Entry { first: 6, run: 3, length: 50, offset: 100 });
        assert_eq!(all[2], Entry { first: 9, run: 0, length: 20, offset: 7 });
        assert_eq!(find(&all, 8), Some(all[1]));
        assert_eq!(find(&all, 4), None);
        assert_eq!(find(&all, 1000), Some(all[2]));
        assert!(entries(&plain[..12]).is_none() && entries(&[200, 200]).is_none());
    }
}
