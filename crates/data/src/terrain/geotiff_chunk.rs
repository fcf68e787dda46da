//! Strips and tiles of a TIFF file: decompression, predictors, samples.
//!
//! Compressions and the horizontal predictor: TIFF Revision 6.0 (Adobe, 1992), sections 9, 13 and 14; deflate and the
//! floating-point predictor: TIFF Technical Notes 2 (2002) and 3 (2005). The decompressors are the `flate2`, `weezl`
//! and `zstd` crates. (The `tiff` crate is not used for reading: its 0.11 stops at whole LZW tiles that hang over the
//! edge of an image, image-tiff issue 395.)

use super::tiff_tags::{self as tags, Directory};
use crate::error::{LoadError, LoadErrorKind};
use flate2::read::ZlibDecoder;
use std::io::Read;
use std::path::Path;
use weezl::{BitOrder, LzwStatus};

/// Most columns or rows.
const MOST_SIDE: u64 = 1 << 24;

/// The size of an image, and where its strips or tiles lie in the file.
#[derive(Clone, Debug)]
pub(crate) struct Chunks {
    pub(crate) cols: usize,
    pub(crate) rows: usize,
    pub(crate) tiled: bool,
    pub(crate) chunk_cols: usize,
    pub(crate) chunk_rows: usize,
    pub(crate) offsets: Vec<u64>,
    pub(crate) counts: Vec<u64>,
}

impl Chunks {
    /// Reads them from a directory; `planes` is how many times the image is stored, once for each separate band.
    ///
    /// # Errors
    /// When sizes are missing, impossible, or do not go with the number of strips or tiles.
    pub(crate) fn read(directory: &Directory, planes: u64, path: &Path) -> Result<Self, LoadError> {
        const COPY_AGAIN: &str = "copy or download the file again";
        let corrupt = |problem: &str| LoadError::new(path, LoadErrorKind::Corrupt, problem, COPY_AGAIN);
        let side = |tag| directory.first(tag).unwrap_or(0);
        let (cols, rows) = (side(tags::IMAGE_WIDTH), side(tags::IMAGE_LENGTH));
        if cols == 0 || rows == 0 {
            return Err(corrupt("it states no image size"));
        }
        let too_large = |cols: u64, rows: u64, what: &str| {
            let problem = format!("{what} {cols} × {rows} pixels");
            LoadError::new(path, LoadErrorKind::TooLarge, problem, COPY_AGAIN)
        };
        if cols > MOST_SIDE || rows > MOST_SIDE {
            return Err(too_large(cols, rows, "it states"));
        }
        let tiled = directory.contains(tags::TILE_OFFSETS);
        let (chunk_cols, chunk_rows, offsets, counts) = if tiled {
            let (offsets, counts) =
                (directory.unsigned(tags::TILE_OFFSETS), directory.unsigned(tags::TILE_BYTE_COUNTS));
            (side(tags::TILE_WIDTH), side(tags::TILE_LENGTH), offsets, counts)
        } else {
            let strip = directory.first(tags::ROWS_PER_STRIP).unwrap_or(rows).min(rows);
            (cols, strip, directory.unsigned(tags::STRIP_OFFSETS), directory.unsigned(tags::STRIP_BYTE_COUNTS))
        };
        if chunk_cols == 0 || chunk_rows == 0 {
            return Err(corrupt("its strips or tiles have no size"));
        }
        if chunk_cols > MOST_SIDE || chunk_rows > MOST_SIDE {
            return Err(too_large(chunk_cols, chunk_rows, "its tiles are"));
        }
        if offsets.len() as u64 != cols.div_ceil(chunk_cols) * rows.div_ceil(chunk_rows) * planes
            || counts.len() != offsets.len()
        {
            return Err(corrupt("it lists another number of strips or tiles than its size needs"));
        }
        Ok(Self {
            cols: cols as usize,
            rows: rows as usize,
            tiled,
            chunk_cols: chunk_cols as usize,
            chunk_rows: chunk_rows as usize,
            offsets,
            counts,
        })
    }
}

/// Why a chunk cannot be decoded.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum ChunkProblem {
    /// It ends before all its values.
    Short,
    /// Its bytes are not of its compression.
    Corrupt,
}

/// How samples are stored in a chunk.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sampling {
    pub(crate) bits: u64,
    /// 1 unsigned, 2 signed, 3 floating point.
    pub(crate) format: u64,
    pub(crate) little_endian: bool,
    /// Samples of a pixel that lie side by side.
    pub(crate) interleaved: usize,
}

impl Sampling {
    pub(crate) fn sample_bytes(self) -> usize {
        (self.bits / 8) as usize
    }
    pub(crate) fn pixel_bytes(self) -> usize {
        self.sample_bytes() * self.interleaved
    }
    /// The bits of a sample as stored.
    pub(crate) fn raw(self, bytes: &[u8]) -> u64 {
        let mut raw = 0u64;
        for i in 0..bytes.len() {
            raw = raw << 8 | u64::from(if self.little_endian { bytes[bytes.len() - 1 - i] } else { bytes[i] });
        }
        raw
    }
    /// The value of a sample's bits.
    fn value(self, raw: u64) -> f64 {
        match (self.format, self.bits) {
            (2, 8) => f64::from(raw as i8),
            (2, 16) => f64::from(raw as i16),
            (2, _) => f64::from(raw as i32),
            (3, 32) => f64::from(f32::from_bits(raw as u32)),
            (3, _) => f64::from_bits(raw),
            _ => raw as f64,
        }
    }
    /// The value of the first sample of a pixel.
    pub(crate) fn first(self, pixel: &[u8]) -> f64 {
        self.value(self.raw(&pixel[..self.sample_bytes()]))
    }
}

/// Whether a compression is read here.
pub(crate) fn is_read(compression: u64) -> bool {
    matches!(compression, 1 | 5 | 8 | 32773 | 32946 | 50000)
}

/// The first `expected` bytes of a chunk.
pub(crate) fn decompress(compression: u64, data: &[u8], expected: usize) -> Result<Vec<u8>, ChunkProblem> {
    // None of these makes more of a byte than LZW, whose 12-bit codes stand for 4096 bytes at most; deflate makes 1032.
    // What announces more is short, and no memory is taken for it.
    if expected > data.len().saturating_mul(4096) && compression != 50000 {
        return Err(ChunkProblem::Short);
    }
    match compression {
        1 => data.get(..expected).map(<[u8]>::to_vec).ok_or(ChunkProblem::Short),
        8 | 32946 => read_all(ZlibDecoder::new(data), expected),
        50000 => match zstd::stream::read::Decoder::new(data) {
            Ok(reader) => read_all(reader, expected),
            Err(_) => Err(ChunkProblem::Corrupt),
        },
        5 => lzw(data, expected),
        32773 => pack_bits(data, expected),
        _ => Err(ChunkProblem::Corrupt),
    }
}

fn read_all(reader: impl Read, expected: usize) -> Result<Vec<u8>, ChunkProblem> {
    let mut out = Vec::new();
    match reader.take(expected as u64).read_to_end(&mut out) {
        Ok(_) if out.len() == expected => Ok(out),
        Ok(_) => Err(ChunkProblem::Short),
        Err(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => Err(ChunkProblem::Short),
        Err(_) => Err(ChunkProblem::Corrupt),
    }
}

/// LZW; a missing end mark does not matter once all bytes are there.
fn lzw(data: &[u8], expected: usize) -> Result<Vec<u8>, ChunkProblem> {
    let mut decoder = weezl::decode::Decoder::with_tiff_size_switch(BitOrder::Msb, 8);
    let mut out = vec![0u8; expected];
    let (mut read, mut written) = (0, 0);
    while written < expected {
        let step = decoder.decode_bytes(&data[read..], &mut out[written..]);
        read += step.consumed_in;
        written += step.consumed_out;
        match step.status {
            Err(_) => return Err(ChunkProblem::Corrupt),
            Ok(LzwStatus::Done) => break,
            Ok(_) if step.consumed_in == 0 && step.consumed_out == 0 => break,
            Ok(LzwStatus::Ok | LzwStatus::NoProgress) => {}
        }
    }
    if written == expected { Ok(out) } else { Err(ChunkProblem::Short) }
}

fn pack_bits(data: &[u8], expected: usize) -> Result<Vec<u8>, ChunkProblem> {
    let mut out = Vec::new();
    let mut at = 0;
    while out.len() < expected {
        let head = data.get(at).ok_or(ChunkProblem::Short)?.cast_signed();
        at += 1;
        match head {
            -128 => {}
            0.. => {
                let count = usize::from(head.unsigned_abs()) + 1;
                out.extend_from_slice(data.get(at..at + count).ok_or(ChunkProblem::Short)?);
                at += count;
            }
            _ => {
                let byte = *data.get(at).ok_or(ChunkProblem::Short)?;
                out.resize(out.len() + usize::from(head.unsigned_abs()) + 1, byte);
                at += 1;
            }
        }
    }
    out.truncate(expected);
    Ok(out)
}

/// The first samples of the pixels of one row, with the predictor undone. The row's bytes are used up.
pub(crate) fn row_values(row: &mut [u8], predictor: u64, sampling: Sampling, mut push: impl FnMut(f64)) {
    let (size, step) = (sampling.sample_bytes(), sampling.interleaved);
    match predictor {
        2 => {
            // Differences of whole samples, also of the bits of floating-point ones.
            let mut before = 0u64;
            let mask = if size == 8 { u64::MAX } else { (1 << (8 * size)) - 1 };
            for pixel in row.chunks_exact(size * step) {
                before = before.wrapping_add(sampling.raw(&pixel[..size])) & mask;
                push(sampling.value(before));
            }
        }
        3 => {
            // Differences of bytes, sorted by significance, highest first, whatever the byte order of the file.
            for i in step..row.len() {
                row[i] = row[i].wrapping_add(row[i - step]);
            }
            let samples = row.len() / size;
            for i in (0..samples).step_by(step) {
                let raw = (0..size).fold(0u64, |raw, plane| raw << 8 | u64::from(row[plane * samples + i]));
                push(sampling.value(raw));
            }
        }
        _ => row.chunks_exact(size * step).for_each(|pixel| push(sampling.first(pixel))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pack_bits_as_the_specification_shows_it() {
        // TIFF Revision 6.0, section 9, and the example of Apple Technical Note TN1023.
        let packed = [0xFE, 0xAA, 0x02, 0x80, 0x00, 0x2A, 0xFD, 0xAA, 0x03, 0x80, 0x00, 0x2A, 0x22, 0xF7, 0xAA];
        let plain = [
            0xAA, 0xAA, 0xAA, 0x80, 0x00, 0x2A, 0xAA, 0xAA, 0xAA, 0xAA, 0x80, 0x00, 0x2A, 0x22, 0xAA, 0xAA, 0xAA, 0xAA,
            0xAA, 0xAA, 0xAA, 0xAA, 0xAA, 0xAA,
        ];
        assert_eq!(decompress(32773, &packed, plain.len()).unwrap(), plain);
        assert_eq!(decompress(32773, &packed[..9], plain.len()), Err(ChunkProblem::Short));
    }

    #[test]
    fn what_announces_too_much_is_short() {
        for compression in [1, 5, 8, 32773, 50000] {
            assert!(decompress(compression, &[0; 4], 200 << 20).is_err(), "{compression}");
            assert!(decompress(compression, &[], 1).is_err(), "{compression}");
        }
    }
}
