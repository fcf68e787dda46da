//! Damaged terrain files: never a panic, never a truncated file that reads as if it were whole.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed check")]

use sparefield_data::frame::{Crs, Frame};
use sparefield_data::{NoProgress, terrain};
use std::path::PathBuf;

/// The small files of the reference, and what they read as.
fn files() -> Vec<(String, Vec<u8>)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("terrain_reference/inputs");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e != "prj"))
        .map(|p| (p.file_name().unwrap().to_str().unwrap().to_owned(), std::fs::read(&p).unwrap()))
        .collect();
    files.sort();
    files
}

fn read(name: &str, bytes: &[u8], frame: &Frame) -> Result<Vec<u32>, String> {
    let request = terrain::TerrainRequest {
        // Coarse enough that a file said to be large by damage costs little.
        cell_m: Some(100.0),
        crs_where_missing: Some(Crs::from_epsg(27700).unwrap()),
        ..terrain::TerrainRequest::new(frame)
    };
    match terrain::load_bytes(name, bytes, &request, &NoProgress) {
        Ok(loaded) => Ok(loaded.value.heights_m.iter().map(|h| h.to_bits()).collect()),
        Err(error) => {
            let text = error.to_string();
            assert!(text.starts_with(name) && text.len() < 600 && !text.contains('\n'), "{text}");
            assert!(!error.problem.is_empty());
            Err(text)
        }
    }
}

/// A frame in which the file reads well: that of its own place.
fn frame_of(name: &str, bytes: &[u8]) -> Frame {
    let centre = terrain::inspect_bytes(name, bytes).ok().and_then(|info| info.centre());
    centre.map_or_else(|| Frame::from_user("EPSG:27700").unwrap(), |centre| Frame::utm_for(centre).unwrap())
}

#[test]
fn a_truncated_file_is_refused_or_reads_the_same() {
    let mut refused = 0;
    for (name, bytes) in files() {
        let frame = frame_of(&name, &bytes);
        let whole = read(&name, &bytes, &frame).unwrap();
        let step = (bytes.len() / 48).max(1);
        for length in (0..bytes.len()).step_by(step).chain(bytes.len().saturating_sub(12)..bytes.len()) {
            match read(&name, &bytes[..length], &frame) {
                Err(_) => refused += 1,
                // Cutting digits off the last number of a text leaves a number; all else must not go unseen.
                Ok(cut) if name.contains(".asc") && bytes.len() - length < 5 => assert_eq!(cut.len(), whole.len()),
                Ok(cut) => assert!(cut == whole, "{name} cut to {length} bytes reads otherwise"),
            }
        }
    }
    assert!(refused > 3000, "{refused}");
}

/// A small generator with known numbers: SplitMix64 (Steele, Lea and Flood 2014, doi:10.1145/2714064.2660195).
struct Random(u64);
impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    fn below(&mut self, bound: usize) -> usize {
        (self.next() % bound as u64) as usize
    }
}

#[test]
fn flipped_bytes_never_panic() {
    let mut random = Random(7);
    let (mut read_anyway, mut refused) = (0, 0);
    for (name, bytes) in files() {
        let frame = frame_of(&name, &bytes);
        for round in 0..40 {
            let mut damaged = bytes.clone();
            for _ in 0..=round % 4 {
                // Half of the damage goes where headers and directories are.
                let end = damaged.len();
                let at = match random.below(4) {
                    0 => random.below(end.min(400)),
                    1 => end - 1 - random.below(end.min(900)),
                    _ => random.below(end),
                };
                damaged[at] = match random.below(3) {
                    0 => 0xFF,
                    1 => 0,
                    _ => random.next() as u8,
                };
            }
            match read(&name, &damaged, &frame) {
                Ok(_) => read_anyway += 1,
                Err(_) => refused += 1,
            }
        }
    }
    assert!(read_anyway > 100 && refused > 100, "{read_anyway} read, {refused} refused");
}
