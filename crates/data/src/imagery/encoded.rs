//! PNG, JPEG and WebP pictures out of bytes, within bounds.

use super::blocks::Block;
use image::{ImageFormat, ImageReader, Limits};
use std::io::Cursor;

/// What a picture is by its first bytes.
pub(crate) fn format_of(head: &[u8]) -> Option<ImageFormat> {
    match head {
        [0x89, b'P', b'N', b'G', ..] => Some(ImageFormat::Png),
        [0xFF, 0xD8, 0xFF, ..] => Some(ImageFormat::Jpeg),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some(ImageFormat::WebP),
        _ => None,
    }
}

/// Size of a picture in columns and rows, without decoding it; the problem in words where there is none.
pub(crate) fn size(bytes: &[u8]) -> Result<(usize, usize), String> {
    let format = format_of(bytes).ok_or("it is no PNG, JPEG or WebP picture")?;
    let (cols, rows) = ImageReader::with_format(Cursor::new(bytes), format)
        .into_dimensions()
        .map_err(|e| format!("it cannot be decoded ({e})"))?;
    Ok((cols as usize, rows as usize))
}

/// Decodes a picture of at most `most_pixels`; the problem in words where it cannot be done.
///
/// A picture that announces more is refused before memory is taken for it.
pub(crate) fn decode(bytes: &[u8], most_pixels: usize) -> Result<Block, String> {
    let (cols, rows) = size(bytes)?;
    if cols == 0 || rows == 0 || cols.checked_mul(rows).is_none_or(|n| n > most_pixels) {
        return Err(format!("it is {cols} × {rows} pixels, more than are read at once"));
    }
    let format = format_of(bytes).ok_or("it is no PNG, JPEG or WebP picture")?;
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = Limits::default();
    // Sixteen bits for each of four channels, and room for the decoder's own tables and copies.
    limits.max_alloc = Some(most_pixels as u64 * 24 + (4 << 20));
    reader.limits(limits);
    let picture = reader.decode().map_err(|e| format!("it cannot be decoded ({e})"))?.into_rgba8();
    let pixels = picture.as_raw().chunks_exact(4).map(|p| [p[0], p[1], p[2], p[3]]).collect();
    Ok(Block { cols, pixels })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bomb_is_refused_by_its_header() {
        // A PNG header that announces 60,000 × 60,000 pixels, with nothing behind it.
        let mut bytes = vec![0x89, b'P', b'N', b'G', 13, 10, 26, 10, 0, 0, 0, 13];
        let mut chunk = b"IHDR".to_vec();
        chunk.extend(60_000u32.to_be_bytes());
        chunk.extend(60_000u32.to_be_bytes());
        chunk.extend([8, 6, 0, 0, 0]);
        let mut crc = flate2::Crc::new();
        crc.update(&chunk);
        bytes.extend(&chunk);
        bytes.extend(crc.sum().to_be_bytes());
        bytes.extend([0, 0, 0, 0, b'I', b'D', b'A', b'T', 0, 0, 0, 0]);
        let said = decode(&bytes, 1 << 20).unwrap_err();
        assert!(said.contains("60000 × 60000") || said.contains("cannot be decoded"), "{said}");
        assert!(decode(b"nothing", 1 << 20).is_err());
        assert!(decode(&[0xFF, 0xD8, 0xFF], 1 << 20).is_err());
    }
}
