//! The directories of a TIFF file, read with bounds on everything.
//!
//! Layout: TIFF Revision 6.0 (Adobe, 1992), section 2; BigTIFF as libtiff describes it (64-bit offsets, version 43).

use super::source::ReadSeek;
use crate::error::{LoadError, LoadErrorKind};
use std::collections::BTreeMap;
use std::io::SeekFrom;
use std::path::Path;

/// Most directories followed: full resolution, overviews and masks of a large file are about twenty.
const MOST_DIRECTORIES: usize = 64;
/// Most entries in a directory; real ones have about twenty.
const MOST_ENTRIES: u64 = 1024;
/// Most bytes of one entry's values: offsets of four million tiles.
const MOST_VALUE_BYTES: u64 = 32 << 20;

pub(crate) const NEW_SUBFILE_TYPE: u16 = 254;
pub(crate) const IMAGE_WIDTH: u16 = 256;
pub(crate) const IMAGE_LENGTH: u16 = 257;
pub(crate) const BITS_PER_SAMPLE: u16 = 258;
pub(crate) const COMPRESSION: u16 = 259;
pub(crate) const PHOTOMETRIC: u16 = 262;
pub(crate) const STRIP_OFFSETS: u16 = 273;
pub(crate) const SAMPLES_PER_PIXEL: u16 = 277;
pub(crate) const ROWS_PER_STRIP: u16 = 278;
pub(crate) const STRIP_BYTE_COUNTS: u16 = 279;
pub(crate) const PLANAR_CONFIGURATION: u16 = 284;
pub(crate) const PREDICTOR: u16 = 317;
pub(crate) const COLOR_MAP: u16 = 320;
pub(crate) const TILE_WIDTH: u16 = 322;
pub(crate) const TILE_LENGTH: u16 = 323;
pub(crate) const TILE_OFFSETS: u16 = 324;
pub(crate) const TILE_BYTE_COUNTS: u16 = 325;
pub(crate) const EXTRA_SAMPLES: u16 = 338;
pub(crate) const SAMPLE_FORMAT: u16 = 339;
pub(crate) const JPEG_TABLES: u16 = 347;
pub(crate) const MODEL_PIXEL_SCALE: u16 = 33550;
pub(crate) const MODEL_TIE_POINT: u16 = 33922;
pub(crate) const MODEL_TRANSFORMATION: u16 = 34264;
pub(crate) const GEO_KEY_DIRECTORY: u16 = 34735;
pub(crate) const GEO_DOUBLE_PARAMS: u16 = 34736;
pub(crate) const GEO_ASCII_PARAMS: u16 = 34737;
pub(crate) const GDAL_METADATA: u16 = 42112;
pub(crate) const GDAL_NO_DATA: u16 = 42113;

/// The values of one directory, by tag.
#[derive(Clone, Debug, Default)]
pub(crate) struct Directory {
    entries: BTreeMap<u16, Values>,
}

#[derive(Clone, Debug)]
enum Values {
    Unsigned(Vec<u64>),
    Signed(Vec<i64>),
    Float(Vec<f64>),
    Bytes(Vec<u8>),
}

impl Directory {
    /// Whole numbers of a tag; empty when the tag is absent or of another type.
    pub(crate) fn unsigned(&self, tag: u16) -> Vec<u64> {
        match self.entries.get(&tag) {
            Some(Values::Unsigned(all)) => all.clone(),
            Some(Values::Signed(all)) => all.iter().filter_map(|&v| u64::try_from(v).ok()).collect(),
            Some(Values::Bytes(all)) => all.iter().map(|&b| u64::from(b)).collect(),
            _ => Vec::new(),
        }
    }
    /// The first whole number of a tag.
    pub(crate) fn first(&self, tag: u16) -> Option<u64> {
        match self.entries.get(&tag)? {
            Values::Unsigned(all) => all.first().copied(),
            Values::Signed(all) => all.first().and_then(|&v| u64::try_from(v).ok()),
            Values::Bytes(all) => all.first().map(|&b| u64::from(b)),
            Values::Float(_) => None,
        }
    }
    /// Numbers of a tag as floats; empty when the tag is absent or holds text.
    pub(crate) fn floats(&self, tag: u16) -> Vec<f64> {
        match self.entries.get(&tag) {
            Some(Values::Float(all)) => all.clone(),
            Some(Values::Unsigned(all)) => all.iter().map(|&v| v as f64).collect(),
            Some(Values::Signed(all)) => all.iter().map(|&v| v as f64).collect(),
            _ => Vec::new(),
        }
    }
    /// Text of a tag up to the first NUL, whatever its encoding.
    pub(crate) fn text(&self, tag: u16) -> Option<String> {
        match self.entries.get(&tag)? {
            Values::Bytes(all) => {
                let end = all.iter().position(|&b| b == 0).unwrap_or(all.len());
                Some(String::from_utf8_lossy(&all[..end]).into_owned())
            }
            _ => None,
        }
    }
    /// The same directory with one whole number in place of what a tag had.
    pub(crate) fn with(&self, tag: u16, value: u64) -> Self {
        let mut changed = self.clone();
        changed.entries.insert(tag, Values::Unsigned(vec![value]));
        changed
    }
    /// Bytes of a tag as they stand; empty when the tag is absent or holds something else.
    pub(crate) fn bytes(&self, tag: u16) -> &[u8] {
        match self.entries.get(&tag) {
            Some(Values::Bytes(all)) => all,
            _ => &[],
        }
    }
    pub(crate) fn contains(&self, tag: u16) -> bool {
        self.entries.contains_key(&tag)
    }
}

/// Byte order and the directories of a file.
#[derive(Clone, Debug)]
pub(crate) struct Structure {
    pub(crate) little_endian: bool,
    pub(crate) directories: Vec<Directory>,
}

struct Cursor<'a> {
    reader: &'a mut dyn ReadSeek,
    path: &'a Path,
    length: u64,
    little: bool,
}

impl Cursor<'_> {
    fn truncated(&self) -> LoadError {
        LoadError::new(
            self.path,
            LoadErrorKind::Truncated,
            "it ends before what its directory announces",
            "copy or download the file again",
        )
    }
    fn corrupt(&self, problem: &str) -> LoadError {
        LoadError::new(self.path, LoadErrorKind::Corrupt, problem, "copy or download the file again")
    }
    fn bytes(&mut self, offset: u64, count: u64) -> Result<Vec<u8>, LoadError> {
        let end = offset.checked_add(count).ok_or_else(|| self.truncated())?;
        if end > self.length {
            return Err(self.truncated());
        }
        let mut buffer = vec![0u8; count as usize];
        self.reader.seek(SeekFrom::Start(offset)).map_err(|e| LoadError::from_io(self.path, &e))?;
        self.reader.read_exact(&mut buffer).map_err(|e| LoadError::from_io(self.path, &e))?;
        Ok(buffer)
    }
    fn unsigned(&self, bytes: &[u8]) -> u64 {
        let mut value = 0;
        for i in 0..bytes.len() {
            let byte = if self.little { bytes[bytes.len() - 1 - i] } else { bytes[i] };
            value = value << 8 | u64::from(byte);
        }
        value
    }
}

/// Reads all directories of a TIFF file.
pub(crate) fn read(reader: &mut dyn ReadSeek, path: &Path, length: u64) -> Result<Structure, LoadError> {
    let mut at = Cursor { reader, path, length, little: true };
    let head = at.bytes(0, 8)?;
    at.little = match &head[..2] {
        b"II" => true,
        b"MM" => false,
        _ => {
            return Err(LoadError::new(
                path,
                LoadErrorKind::Unsupported,
                "it is not a TIFF file, whatever its name says",
                "name a GeoTIFF, an SRTM .hgt or an Esri ASCII grid",
            ));
        }
    };
    let (big, mut next) = match at.unsigned(&head[2..4]) {
        42 => (false, at.unsigned(&head[4..8])),
        43 => {
            if at.unsigned(&head[4..6]) != 8 {
                return Err(at.corrupt("its BigTIFF header states offsets of another size than 8 bytes"));
            }
            let offset = at.bytes(8, 8)?;
            (true, at.unsigned(&offset))
        }
        _ => return Err(at.corrupt("its header has an unknown TIFF version")),
    };
    let mut directories = Vec::new();
    let mut seen = Vec::new();
    while next != 0 {
        if seen.contains(&next) {
            return Err(at.corrupt("its directories form a circle"));
        }
        if seen.len() >= MOST_DIRECTORIES {
            return Err(at.corrupt("it has more directories than any map"));
        }
        seen.push(next);
        let (directory, after) = read_directory(&mut at, next, big)?;
        directories.push(directory);
        next = after;
    }
    if directories.is_empty() {
        return Err(at.corrupt("it holds no image"));
    }
    Ok(Structure { little_endian: at.little, directories })
}

fn read_directory(at: &mut Cursor<'_>, offset: u64, big: bool) -> Result<(Directory, u64), LoadError> {
    let (count_size, entry_size, offset_size) = if big { (8, 20, 8) } else { (2, 12, 4) };
    let counted = at.bytes(offset, count_size)?;
    let count = at.unsigned(&counted);
    if count > MOST_ENTRIES {
        return Err(at.corrupt("its directory has more entries than any map"));
    }
    let table = at.bytes(offset + count_size, count * entry_size + offset_size)?;
    let mut directory = Directory::default();
    for entry in table[..(count * entry_size) as usize].chunks_exact(entry_size as usize) {
        let tag = at.unsigned(&entry[..2]) as u16;
        let kind = at.unsigned(&entry[2..4]);
        let value_at = 4 + offset_size as usize;
        let values = at.unsigned(&entry[4..value_at]);
        let size: u64 = match kind {
            1 | 2 | 6 | 7 => 1,
            3 | 8 => 2,
            4 | 9 | 11 | 13 => 4,
            5 | 10 | 12 | 16 | 17 | 18 => 8,
            _ => continue,
        };
        let total = values.saturating_mul(size);
        if total > MOST_VALUE_BYTES {
            return Err(LoadError::new(
                at.path,
                LoadErrorKind::TooLarge,
                format!("its tag {tag} announces {total} bytes"),
                "copy or download the file again",
            ));
        }
        let raw = if total <= offset_size {
            entry[value_at..value_at + total as usize].to_vec()
        } else {
            let place = at.unsigned(&entry[value_at..]);
            at.bytes(place, total)?
        };
        let parts = raw.chunks_exact(size as usize);
        let values = match kind {
            1 | 2 | 7 => Values::Bytes(raw),
            6 => Values::Signed(raw.iter().map(|&b| i64::from(b.cast_signed())).collect()),
            3 | 4 | 13 | 16 | 18 => Values::Unsigned(parts.map(|p| at.unsigned(p)).collect()),
            8 => Values::Signed(parts.map(|p| i64::from(at.unsigned(p) as i16)).collect()),
            9 => Values::Signed(parts.map(|p| i64::from(at.unsigned(p) as i32)).collect()),
            17 => Values::Signed(parts.map(|p| at.unsigned(p).cast_signed()).collect()),
            11 => Values::Float(parts.map(|p| f64::from(f32::from_bits(at.unsigned(p) as u32))).collect()),
            12 => Values::Float(parts.map(|p| f64::from_bits(at.unsigned(p))).collect()),
            5 => Values::Float(parts.map(|p| at.unsigned(&p[..4]) as f64 / at.unsigned(&p[4..]) as f64).collect()),
            _ => continue,
        };
        directory.entries.insert(tag, values);
    }
    let next = at.unsigned(&table[(count * entry_size) as usize..]);
    Ok((directory, next))
}
