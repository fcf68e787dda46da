//! Images against rasterio (GDAL) and positions against pyproj (PROJ), on the files of `imagery_reference`.
//!
//! The expected values were computed by `imagery_reference/generate.py`, with no part of Sparefield.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed check")]

use sparefield_data::frame::{Crs, Frame};
use sparefield_data::imagery::{BlockStore, ImageryLayer, ImageryRequest, RgbaTile};
use sparefield_data::{LoadErrorKind, NoProgress};
use sparefield_geometry::position::Xy;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// How far a position may be off along each axis, in pixels of the picture made, before colours count as wrong: what
/// the renderer promises (1/50 of a pixel), as much again for the reference, which samples bilinear weights in steps.
const POSITION_PIXELS: f64 = 0.04;

/// Shades of luma by which decoders of lossy files may differ.
const LUMA: f64 = 4.0;

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("imagery_reference")
}

fn rows(name: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(folder().join(name)).unwrap();
    text.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn open(path: &Path, frame: &str) -> ImageryLayer {
    let frame = Frame::from_user(frame).unwrap();
    let request = ImageryRequest { frame: &frame, crs_where_missing: None, store: Arc::new(BlockStore::default()) };
    ImageryLayer::open(path, &request, &NoProgress).unwrap_or_else(|e| panic!("{e}")).value
}

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Case {
    file: String,
    frame: String,
    low: (String, String),
    cell_m: String,
    side: usize,
}

struct Sample {
    row: usize,
    col: usize,
    colour: [i32; 4],
    spread: f64,
    tolerance: f64,
}

impl Sample {
    /// A position off along both axes changes a colour by at most that share of the spread around, each.
    fn allowed(&self) -> f64 {
        self.tolerance + 2.0 * POSITION_PIXELS * self.spread
    }
}

fn cases(table: &str) -> BTreeMap<Case, Vec<Sample>> {
    let mut cases: BTreeMap<Case, Vec<Sample>> = BTreeMap::new();
    for row in rows(table) {
        let whole = |i: usize| row[i].parse::<i32>().unwrap();
        let case = Case {
            file: row[0].clone(),
            frame: row[1].clone(),
            low: (row[2].clone(), row[3].clone()),
            cell_m: row[4].clone(),
            side: row[5].parse().unwrap(),
        };
        cases.entry(case).or_default().push(Sample {
            row: row[6].parse().unwrap(),
            col: row[7].parse().unwrap(),
            colour: [whole(8), whole(9), whole(10), whole(11)],
            spread: row[12].parse().unwrap(),
            tolerance: row[13].parse().unwrap(),
        });
    }
    cases
}

fn render(folder: &Path, case: &Case, shift: Xy) -> RgbaTile {
    let layer = open(&folder.join(&case.file), &case.frame);
    let number = |text: &str| text.parse::<f64>().unwrap();
    let low = Xy::new(number(&case.low.0), number(&case.low.1)) + shift;
    let side_m = number(&case.cell_m) * case.side as f64;
    layer.render(low, low + Xy::new(side_m, side_m), case.side, &NoProgress).unwrap_or_else(|e| panic!("{case:?}: {e}"))
}

/// The greatest error of a colour as a share of what is allowed, and in shades; opacity must be equal.
fn worst(case: &Case, samples: &[Sample], tile: &RgbaTile) -> (f64, i32) {
    let mut worst = (0.0f64, 0);
    for sample in samples {
        let found = tile.pixels[sample.row * tile.side + sample.col].map(i32::from);
        if found[3] != sample.colour[3] {
            return (f64::INFINITY, 255);
        }
        if found[3] == 0 {
            continue;
        }
        // Whatever decoders do to chroma, they agree about luma (ITU-R BT.601).
        let luma = |c: [i32; 4]| 0.299 * f64::from(c[0]) + 0.587 * f64::from(c[1]) + 0.114 * f64::from(c[2]);
        let luma_error = (luma(found) - luma(sample.colour)).abs();
        worst.0 = worst.0.max(luma_error / sample.allowed().min(LUMA + 2.0 * POSITION_PIXELS * sample.spread));
        for (a, b) in found.iter().zip(&sample.colour).take(3) {
            let error = (a - b).abs();
            worst = (worst.0.max(f64::from(error) / sample.allowed()), worst.1.max(error));
        }
    }
    println!("{} in {}: {} shades, {:.2} of the bound", case.file, case.frame, worst.1, worst.0);
    worst
}

#[test]
fn colours_are_those_of_rasterio() {
    let mut wrong = Vec::new();
    let mut clear = 0;
    for (case, samples) in &cases("samples.csv") {
        clear += samples.iter().filter(|s| s.colour[3] == 0).count();
        let (share, shades) = worst(case, samples, &render(&folder().join("inputs"), case, Xy::default()));
        if share > 1.0 {
            wrong.push(format!("{} in {}: {shades} shades, {share:.2} of the bound", case.file, case.frame));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(clear >= 12, "samples must fall on transparent places too, {clear} do");
}

/// Whole files, where an open-data folder is at hand (see the README of the reference).
#[test]
fn whole_files_are_those_of_rasterio() {
    let Some(folder) = std::env::var_os("SPAREFIELD_OPEN_DATA").map(PathBuf::from) else {
        println!("not run: SPAREFIELD_OPEN_DATA names no folder");
        return;
    };
    let cases = cases("open_data.csv");
    assert_eq!(cases.len(), 4);
    for (case, samples) in cases {
        if !folder.join(&case.file).exists() {
            println!("not run: {} is not there", case.file);
            continue;
        }
        let (share, _) = worst(&case, &samples, &render(&folder, &case, Xy::default()));
        assert!(share <= 1.0, "{case:?}");
    }
}

/// The bounds would not hold for an image half a pixel off, mirrored, or with red and blue exchanged.
#[test]
fn the_bounds_can_fail() {
    for name in ["grid_27700.tif", "rgb_lzw.tif", "tiles_png.mbtiles"] {
        let (case, samples) = cases("samples.csv").into_iter().find(|(c, _)| c.file == name).unwrap();
        let half_a_pixel: f64 = case.cell_m.parse::<f64>().unwrap() * 0.5;
        for shift in [Xy::new(half_a_pixel, 0.0), Xy::new(0.0, half_a_pixel)] {
            let tile = render(&folder().join("inputs"), &case, shift);
            assert!(worst(&case, &samples, &tile).0 > 1.0, "{name} {shift:?}");
        }
        let right = render(&folder().join("inputs"), &case, Xy::default());
        let mut mirrored = right.clone();
        mirrored.pixels.reverse();
        assert!(worst(&case, &samples, &mirrored).0 > 1.0);
        let mut exchanged = right;
        exchanged.pixels.iter_mut().for_each(|p| p.swap(0, 2));
        assert!(worst(&case, &samples, &exchanged).0 > 1.0);
    }
}

/// One white pixel on black, whose centre pyproj carries into the frame.
#[test]
fn a_marked_pixel_lies_where_pyproj_puts_it() {
    const SIDE: usize = 48;
    let marks = rows("marks.csv");
    assert_eq!(marks.len(), 24);
    let mut worst = 0.0f64;
    for mark in &marks {
        let number = |i: usize| mark[i].parse::<f64>().unwrap();
        let (there, pixel_m) = (Xy::new(number(2), number(3)), number(4));
        let layer = open(&folder().join("inputs").join(&mark[0]), &mark[1]);
        // Six pixels of the image from edge to edge: bilinear, eight samples to a pixel less than one.
        let half = Xy::new(3.4 * pixel_m, 3.4 * pixel_m);
        let tile = layer.render(there - half, there + half, SIDE, &NoProgress).unwrap();
        let (mut sum, mut weight) = (Xy::default(), 0.0);
        for (i, pixel) in tile.pixels.iter().enumerate() {
            let cell = 2.0 * half.x / SIDE as f64;
            let at = Xy::new((i % SIDE) as f64 + 0.5, SIDE as f64 - (i / SIDE) as f64 - 0.5) * cell;
            sum = sum + at * f64::from(pixel[0]);
            weight += f64::from(pixel[0]);
        }
        assert!(weight > 0.0, "{mark:?}: the mark is not to be seen");
        let off = (sum * (1.0 / weight) - half).norm() / pixel_m;
        // Half a pixel is what is promised to people; the renderer is an order better.
        assert!(off < 0.05, "{mark:?}: {off} pixels off");
        worst = worst.max(off);
    }
    println!("greatest error {worst:.4} pixels");
}

/// Every file is used, and every file used is there.
#[test]
fn files_are_counted_both_ways() {
    let used: BTreeSet<String> = cases("samples.csv")
        .keys()
        .map(|c| c.file.clone())
        .chain(rows("marks.csv").iter().map(|r| r[0].clone()))
        .collect();
    let there: BTreeSet<String> = std::fs::read_dir(folder().join("inputs"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| ![".prj", ".pgw", ".jgw"].iter().any(|end| name.ends_with(end)))
        .collect();
    assert_eq!(used, there);
    assert_eq!(used.len(), 42);
}

#[test]
fn zoomed_out_pictures_come_from_overviews_and_stay_in_place() {
    let layer = open(&folder().join("inputs/overviews.tif"), "EPSG:32630");
    let (low, high) = layer.extent().unwrap();
    let side = (high.x - low.x).max(high.y - low.y);
    let near = layer.render(low, low + Xy::new(side, side), 400, &NoProgress).unwrap();
    let far = layer.render(low, low + Xy::new(side, side), 50, &NoProgress).unwrap();
    // Means of 8 × 8 pixels against means of an overview: the same picture.
    let mut sum = 0.0;
    let mut count = 0.0;
    for row in 14..50 {
        for col in 1..49 {
            let mean = |band: usize| {
                let each = (0..64).map(|i| near.pixels[(row * 8 + i / 8) * 400 + col * 8 + i % 8][band]);
                each.map(f64::from).sum::<f64>() / 64.0
            };
            let own = far.pixels[row * 50 + col];
            assert_eq!(own[3], 255, "{row} {col}");
            sum += (0..3).map(|b| (mean(b) - f64::from(own[b])).abs()).sum::<f64>() / 3.0;
            count += 1.0;
        }
    }
    assert!(sum / count < 6.0, "{}", sum / count);
}

#[test]
fn what_cannot_be_placed_is_refused_with_a_sentence() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let store = Arc::new(BlockStore::default());
    let request = ImageryRequest { frame: &frame, crs_where_missing: None, store: Arc::clone(&store) };
    let folder_made = tempfile::tempdir().unwrap();
    let bare = folder_made.path().join("bare.png");
    std::fs::copy(folder().join("inputs/world.png"), &bare).unwrap();
    let error = ImageryLayer::open(&bare, &request, &NoProgress).unwrap_err();
    assert_eq!(error.kind, LoadErrorKind::Crs);
    assert!(error.to_string().contains("world file"), "{error}");
    // With a world file, but no reference system: refused, unless one is named.
    std::fs::copy(folder().join("inputs/world.pgw"), folder_made.path().join("bare.pgw")).unwrap();
    let error = ImageryLayer::open(&bare, &request, &NoProgress).unwrap_err();
    assert!(error.to_string().contains("states no reference system"), "{error}");
    let named = ImageryRequest { crs_where_missing: Some(Crs::from_user("EPSG:27700").unwrap()), ..request };
    let loaded = ImageryLayer::open(&bare, &named, &NoProgress).unwrap();
    assert!(loaded.warnings.iter().any(|w| w.message.contains("EPSG:27700")), "{:?}", loaded.warnings);
    assert!(
        loaded.provenance[0].contains("bare.png") && loaded.provenance[0].contains("110 × 90"),
        "{:?}",
        loaded.provenance
    );
}

/// Files with bytes changed, cut short or made larger: an answer or a sentence, in bounded time and memory.
#[test]
fn damaged_files_give_a_sentence_or_a_picture() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let folder_made = tempfile::tempdir().unwrap();
    let mut seed = 20_261_125u64;
    let mut random = move |below: usize| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) as usize % below.max(1)
    };
    let (mut refused, mut shown) = (0, 0);
    for name in [
        "rgb_jpeg_ycbcr_tiles.tif",
        "mask.tif",
        "palette_4_bits.tif",
        "rgb_zstd_planar.tif",
        "tiles_png.mbtiles",
        "tiles_png.pmtiles",
        "world.jpg",
    ] {
        let whole = std::fs::read(folder().join("inputs").join(name)).unwrap();
        for round in 0..60 {
            let mut bytes = whole.clone();
            match round % 3 {
                0 => bytes.truncate(random(whole.len())),
                // Headers and directories are where numbers lie that sizes come from.
                1 => (0..4).for_each(|_| bytes[random(whole.len().min(600))] = random(256) as u8),
                _ => (0..12).for_each(|_| bytes[random(whole.len())] = [0, 0xFF, 0x7F][random(3)]),
            }
            let path = folder_made.path().join(format!("{round}{name}"));
            std::fs::write(&path, &bytes).unwrap();
            for end in ["jgw", "prj"] {
                let beside = folder().join("inputs").join(name).with_extension(end);
                if name == "world.jpg" {
                    std::fs::copy(beside, path.with_extension(end)).unwrap();
                }
            }
            let store = Arc::new(BlockStore::new(8 << 20));
            let request = ImageryRequest { frame: &frame, crs_where_missing: None, store };
            let outcome = ImageryLayer::open(&path, &request, &NoProgress).and_then(|layer| {
                let (low, high) =
                    layer.value.extent().unwrap_or((Xy::new(500_300.0, 5_650_000.0), Xy::new(500_500.0, 5_650_400.0)));
                let side = (high.x - low.x).clamp(1.0, 1e6);
                layer.value.render(low, low + Xy::new(side, side), 64, &NoProgress)
            });
            match outcome {
                Ok(_) => shown += 1,
                Err(e) => {
                    assert!(e.to_string().contains(name), "{e}");
                    refused += 1;
                }
            }
            std::fs::remove_file(&path).unwrap();
        }
    }
    println!("{refused} refused, {shown} shown");
    assert!(refused > 100 && shown > 50, "{refused} {shown}");
}
