//! Pixels of a TIFF picture: bits and bands of strips and tiles become colours.
//!
//! Colour spaces, palettes and extra samples: TIFF Revision 6.0 (Adobe, 1992), sections 5, 6, 18 and 21; JPEG inside
//! strips and tiles: TIFF Technical Note 2 (1995), with its tables kept once in the directory. JPEG is decoded by the
//! `zune-jpeg` crate.

use super::blocks::{CLEAR, Rgba};
use crate::terrain::geotiff_chunk::{ChunkProblem, Sampling, decompress};
use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

/// Compression code of JPEG in strips and tiles.
pub(crate) const JPEG: u64 = 7;

/// How the samples of a pixel make a colour.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Colours {
    /// One band of grey, 0 black unless turned round.
    Grey { white_is_zero: bool },
    /// One band of indices into a table.
    Palette(Vec<[u8; 3]>),
    /// Three bands.
    Rgb,
}

impl Colours {
    /// How many bands the colour takes.
    pub(crate) fn bands(&self) -> usize {
        if *self == Self::Rgb { 3 } else { 1 }
    }
}

/// The band of opacity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Alpha {
    pub(crate) band: usize,
    /// Whether the colours were multiplied by it.
    pub(crate) premultiplied: bool,
}

/// From samples to colours.
#[derive(Clone, Debug)]
pub(crate) struct Meaning {
    pub(crate) colours: Colours,
    pub(crate) alpha: Option<Alpha>,
    /// A pixel all of whose colour bands have this value is transparent.
    pub(crate) no_data: Option<u16>,
    /// Greatest value that the bits can hold.
    pub(crate) full: u16,
    /// Values shown as darkest and brightest.
    pub(crate) range: (u16, u16),
}

impl Meaning {
    /// The colour of a pixel, given its bands.
    pub(crate) fn colour(&self, band: impl Fn(usize) -> u16) -> Rgba {
        let bands = self.colours.bands();
        if self.no_data.is_some_and(|none| (0..bands).all(|b| band(b) == none)) {
            return CLEAR;
        }
        let alpha = self.alpha.map_or(255, |a| scaled(band(a.band), (0, self.full)));
        if alpha == 0 {
            return CLEAR;
        }
        let shade = |value: u16| scaled(value, self.range);
        let [r, g, b] = match &self.colours {
            Colours::Grey { white_is_zero } => {
                let grey = shade(band(0));
                [if *white_is_zero { 255 - grey } else { grey }; 3]
            }
            Colours::Palette(table) => match table.get(usize::from(band(0))) {
                Some(colour) => *colour,
                None => return CLEAR,
            },
            Colours::Rgb => [shade(band(0)), shade(band(1)), shade(band(2))],
        };
        if self.alpha.is_some_and(|a| a.premultiplied) {
            let undo = |v: u8| ((u16::from(v) * 255 + u16::from(alpha) / 2) / u16::from(alpha)).min(255) as u8;
            return [undo(r), undo(g), undo(b), alpha];
        }
        [r, g, b, alpha]
    }
}

/// A value between two others, as 0 to 255.
fn scaled(value: u16, (low, high): (u16, u16)) -> u8 {
    let span = u32::from(high.saturating_sub(low)).max(1);
    let over = u32::from(value.clamp(low, high.max(low)) - low);
    ((over * 255 + span / 2) / span).min(255) as u8
}

/// How the samples of a strip or tile are packed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Packing {
    pub(crate) compression: u64,
    pub(crate) predictor: u64,
    /// 1, 2, 4, 8 or 16.
    pub(crate) bits: u64,
    pub(crate) little_endian: bool,
    /// Samples of a pixel that lie side by side.
    pub(crate) interleaved: usize,
    /// JPEG only: whether the bands are luma and chroma.
    pub(crate) ycbcr: bool,
}

/// The samples of a strip or tile of `cols` × `rows` pixels, pixel by pixel.
pub(crate) fn samples(
    packed: &[u8],
    tables: &[u8],
    packing: Packing,
    cols: usize,
    rows: usize,
) -> Result<Vec<u16>, ChunkProblem> {
    if packing.compression == JPEG {
        return jpeg(packed, tables, packing, cols, rows);
    }
    let row_samples = cols * packing.interleaved;
    let row_bytes = (row_samples * packing.bits as usize).div_ceil(8);
    let mut plain = decompress(packing.compression, packed, row_bytes * rows)?;
    let mut out = Vec::with_capacity(row_samples * rows);
    for row in plain.chunks_exact_mut(row_bytes) {
        match packing.bits {
            16 => {
                let sampling = Sampling {
                    bits: 16,
                    format: 1,
                    little_endian: packing.little_endian,
                    interleaved: packing.interleaved,
                };
                let start = out.len();
                out.extend(row.chunks_exact(2).map(|pair| sampling.raw(pair) as u16));
                if packing.predictor == 2 {
                    let line = &mut out[start..];
                    for i in packing.interleaved..line.len() {
                        line[i] = line[i].wrapping_add(line[i - packing.interleaved]);
                    }
                }
            }
            8 => {
                if packing.predictor == 2 {
                    for i in packing.interleaved..row.len() {
                        row[i] = row[i].wrapping_add(row[i - packing.interleaved]);
                    }
                }
                out.extend(row.iter().map(|&v| u16::from(v)));
            }
            bits => {
                let (per_byte, mask) = (8 / bits as usize, (1u16 << bits) - 1);
                out.extend((0..row_samples).map(|i| {
                    let shift = 8 - bits as usize * (i % per_byte + 1);
                    u16::from(row[i / per_byte]) >> shift & mask
                }));
            }
        }
    }
    Ok(out)
}

/// Rows a JPEG strip or tile may have below the last of the image.
const MORE_ROWS: usize = 8192;

/// Samples of a JPEG strip or tile.
fn jpeg(packed: &[u8], tables: &[u8], p: Packing, cols: usize, rows: usize) -> Result<Vec<u16>, ChunkProblem> {
    const START: [u8; 2] = [0xFF, 0xD8];
    const END: [u8; 2] = [0xFF, 0xD9];
    // The tables are a picture without an image: they go before the strip's own segments.
    let tables = tables.strip_prefix(&START).unwrap_or(tables);
    let tables = tables.strip_suffix(&END).unwrap_or(tables);
    let segments = packed.strip_prefix(&START).ok_or(ChunkProblem::Corrupt)?;
    let mut stream = Vec::with_capacity(2 + tables.len() + segments.len());
    stream.extend(START);
    stream.extend(tables);
    stream.extend(segments);
    // A strip at the lower edge may be stored with all its rows.
    let options = DecoderOptions::default().set_max_width(cols).set_max_height(rows + MORE_ROWS);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(stream), options);
    decoder.decode_headers().map_err(|_problem| ChunkProblem::Corrupt)?;
    let info = decoder.info().ok_or(ChunkProblem::Corrupt)?;
    if usize::from(info.width) != cols
        || usize::from(info.height) < rows
        || usize::from(info.components) != p.interleaved
    {
        return Err(ChunkProblem::Short);
    }
    // The directory says whether bands are luma and chroma. If not, they are asked for as the decoder takes them to be
    // stored, which leaves them alone.
    let stored = decoder.input_colorspace().ok_or(ChunkProblem::Corrupt)?;
    let wanted = if p.ycbcr && stored == ColorSpace::YCbCr { ColorSpace::RGB } else { stored };
    if wanted.num_components() != p.interleaved {
        return Err(ChunkProblem::Corrupt);
    }
    decoder.set_options(options.jpeg_set_out_colorspace(wanted));
    let out = decoder.decode().map_err(|_problem| ChunkProblem::Corrupt)?;
    let needed = cols * rows * p.interleaved;
    let out = out.get(..needed).ok_or(ChunkProblem::Short)?;
    Ok(out.iter().map(|&v| u16::from(v)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn meaning(colours: Colours) -> Meaning {
        Meaning { colours, alpha: None, no_data: None, full: 255, range: (0, 255) }
    }

    #[test]
    fn colours_come_out_as_they_went_in() {
        let rgb = meaning(Colours::Rgb);
        assert_eq!(rgb.colour(|b| [7, 99, 255][b]), [7, 99, 255, 255]);
        let grey = meaning(Colours::Grey { white_is_zero: true });
        assert_eq!(grey.colour(|_| 55), [200, 200, 200, 255]);
        let table = meaning(Colours::Palette(vec![[1, 2, 3], [4, 5, 6]]));
        assert_eq!(table.colour(|_| 1), [4, 5, 6, 255]);
        assert_eq!(table.colour(|_| 2), CLEAR);
        let none = Meaning { no_data: Some(0), ..meaning(Colours::Rgb) };
        assert_eq!(none.colour(|_| 0), CLEAR);
        assert_eq!(none.colour(|b| [0, 0, 1][b]), [0, 0, 1, 255]);
        let wide = Meaning { full: 65535, range: (0, 65535), ..meaning(Colours::Rgb) };
        for v in 0..=255u16 {
            assert_eq!(wide.colour(|_| v * 257)[0], v as u8);
        }
        let alpha = Some(Alpha { band: 3, premultiplied: true });
        assert_eq!(Meaning { alpha, ..meaning(Colours::Rgb) }.colour(|b| [50, 25, 0, 128][b]), [100, 50, 0, 128]);
    }

    #[test]
    fn small_samples_are_unpacked_from_the_top_bit() {
        let packing =
            Packing { compression: 1, predictor: 1, bits: 4, little_endian: true, interleaved: 1, ycbcr: false };
        // Three samples a row: the second byte's lower half is padding.
        assert_eq!(samples(&[0x12, 0x30, 0xAB, 0xC0], &[], packing, 3, 2).unwrap(), [1, 2, 3, 10, 11, 12]);
        let bits = Packing { bits: 1, ..packing };
        assert_eq!(samples(&[0b1010_0000], &[], bits, 3, 1).unwrap(), [1, 0, 1]);
        assert_eq!(samples(&[0], &[], bits, 9, 1), Err(ChunkProblem::Short));
        let jpeg = Packing { compression: JPEG, bits: 8, ..packing };
        assert!(samples(b"\xFF\xD8 nothing of a picture", &[], jpeg, 8, 8).is_err());
    }
}
