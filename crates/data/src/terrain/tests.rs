//! Tests of the readers and the mosaic on small files made here.

use super::*;
use crate::error::NoProgress;
use std::sync::atomic::{AtomicUsize, Ordering};

fn utm() -> Frame {
    Frame::from_user("EPSG:32632").unwrap()
}

/// A GeoTIFF in memory: posts from (`x`, `y`) eastwards and southwards, heights by position.
fn tif(x: f64, y: f64, cell_m: f64, cols: usize, rows: usize, height: impl Fn(Xy) -> f32) -> Vec<u8> {
    let grid = GridFrame { origin: Xy::new(x, y), cell_m, cols, rows };
    let values: Vec<f32> = (0..grid.len()).map(|i| height(grid.centre(i / cols, i % cols))).collect();
    let mut bytes = Cursor::new(Vec::new());
    geotiff_write::write_to(&mut bytes, &grid, Some(32632), &values).unwrap();
    bytes.into_inner()
}

fn plane(p: Xy) -> f32 {
    (100.0 + (p.x - 500_000.0) * 0.02 - (p.y - 5_000_000.0) * 0.01) as f32
}

fn mosaic_of(files: &[Vec<u8>], request: &TerrainRequest<'_>) -> Result<Loaded<Terrain>, LoadError> {
    let names = (1..).map(|i| format!("{i}.tif"));
    let sources = files.iter().zip(names).map(|(bytes, name)| open_bytes(&name, bytes).unwrap()).collect();
    build(sources, request, &NoProgress)
}

#[test]
fn adjoining_tiles_leave_no_seam() {
    // Two tiles of 30 m whose rows follow each other: the north one ends 30 m above where the south one begins.
    let north = tif(500_000.0, 5_003_000.0, 30.0, 50, 40, plane);
    let south = tif(500_000.0, 5_003_000.0 - 40.0 * 30.0, 30.0, 50, 40, plane);
    let frame = utm();
    let request = TerrainRequest { cell_m: Some(7.0), ..TerrainRequest::new(&frame) };
    let loaded = mosaic_of(&[north, south], &request).unwrap();
    let terrain = loaded.value;
    let inner = |p: Xy| p.x > 500_000.0 && p.x < 501_470.0 && p.y < 5_003_000.0 && p.y > 5_000_630.0;
    for row in 0..terrain.frame.rows {
        for col in 0..terrain.frame.cols {
            let at = terrain.frame.centre(row, col);
            let found = terrain.post(row, col);
            assert_eq!(found.is_some(), inner(at), "{at:?}");
            if let Some(h) = found {
                assert!((h - f64::from(plane(at))).abs() < 1e-3, "{at:?}: {h}");
            }
        }
    }
}

#[test]
fn finer_files_go_first_and_coarser_ones_fill_up() {
    let fine = tif(500_300.0, 5_000_700.0, 10.0, 40, 40, |p| {
        // A hole in the fine model.
        if (p.x - 500_500.0).abs() < 35.0 && (p.y - 5_000_500.0).abs() < 35.0 { f32::NAN } else { 1000.0 }
    });
    let coarse = tif(500_000.0, 5_001_000.0, 25.0, 41, 41, |_| 500.0);
    let frame = utm();
    let request = TerrainRequest::new(&frame);
    for files in [[fine.clone(), coarse.clone()], [coarse.clone(), fine.clone()]] {
        let terrain = mosaic_of(&files, &request).unwrap().value;
        assert_eq!(terrain.frame.cell_m, 10.0, "the finest spacing is taken");
        assert_eq!(terrain.height_at(Xy::new(500_400.0, 5_000_600.0)), Some(1000.0));
        assert_eq!(terrain.height_at(Xy::new(500_500.0, 5_000_500.0)), Some(500.0));
        assert_eq!(terrain.height_at(Xy::new(500_100.0, 5_000_100.0)), Some(500.0));
        assert!(terrain.heights_m.iter().all(|h| h.is_nan() || *h == 1000.0 || *h == 500.0));
    }
}

#[test]
fn lattices_that_adjoin_leave_no_seam_and_true_gaps_stay_open() {
    // 30 m posts end at x = 500 870 (their pixels at 500 885), 45 m posts begin at 500 907.5 (their pixels at 500 885).
    let west = tif(500_000.0, 5_002_000.0, 30.0, 30, 40, plane);
    let east = tif(500_907.5, 5_002_000.0, 45.0, 20, 27, plane);
    let frame = utm();
    let request = TerrainRequest { cell_m: Some(5.0), ..TerrainRequest::new(&frame) };
    let terrain = mosaic_of(&[west.clone(), east], &request).unwrap().value;
    for x in (500_000..501_700).step_by(5) {
        let at = Xy::new(f64::from(x), 5_001_500.0);
        let found = terrain.height_at(at).unwrap_or_else(|| panic!("no height at {x}"));
        // On the seam the height is that of the nearest post: at most half a post of 45 m away on a 2 % slope.
        assert!((found - f64::from(plane(at))).abs() < 0.5, "{x}: {found}");
    }
    // A gap of a whole post stays a gap.
    let far = tif(500_907.5 + 60.0, 5_002_000.0, 45.0, 20, 27, plane);
    let terrain = mosaic_of(&[west, far], &request).unwrap().value;
    assert_eq!(terrain.height_at(Xy::new(500_900.0, 5_001_500.0)), None);
}

#[test]
fn missing_posts_never_turn_into_heights() {
    let hole = |p: Xy| if p.x > 500_205.0 && p.x < 500_295.0 { f32::NAN } else { 200.0 };
    let file = tif(500_000.0, 5_000_500.0, 30.0, 20, 15, hole);
    let frame = utm();
    for cell in [4.0, 11.0, 30.0, 45.0, 62.0, 95.0] {
        let request = TerrainRequest { cell_m: Some(cell), ..TerrainRequest::new(&frame) };
        let terrain = mosaic_of(std::slice::from_ref(&file), &request).unwrap().value;
        assert!(terrain.heights_m.iter().all(|h| h.is_nan() || *h == 200.0), "cell {cell}");
        // Posts at 500 210, 240 and 270 are missing: nothing between 500 180 and 500 300 has a height.
        for x in [500_190.0, 500_250.0, 500_290.0] {
            assert_eq!(terrain.height_at(Xy::new(x, 5_000_300.0)), None, "cell {cell}, {x}");
        }
    }
}

#[test]
fn the_mean_is_taken_where_the_grid_is_much_coarser_and_said() {
    let file = tif(500_000.0, 5_000_990.0, 10.0, 100, 100, plane);
    let frame = utm();
    let request = TerrainRequest { cell_m: Some(40.0), ..TerrainRequest::new(&frame) };
    let loaded = mosaic_of(&[file], &request).unwrap();
    assert!(loaded.warnings.iter().any(|w| w.message.contains("mean of 4 × 4")), "{:?}", loaded.warnings);
    let at = Xy::new(500_400.0, 5_000_400.0);
    assert!((loaded.value.height_at(at).unwrap() - f64::from(plane(at))).abs() < 1e-3, "a plane stays a plane");
}

#[test]
fn a_window_is_the_grid_and_a_place_without_terrain_is_told() {
    let file = tif(500_000.0, 5_000_990.0, 10.0, 100, 100, plane);
    let frame = utm();
    let window = Some((Xy::new(500_900.0, 5_000_100.0), Xy::new(501_100.0, 5_000_300.0)));
    let request = TerrainRequest { window, ..TerrainRequest::new(&frame) };
    let loaded = mosaic_of(std::slice::from_ref(&file), &request).unwrap();
    assert_eq!((loaded.value.frame.cols, loaded.value.frame.rows), (21, 21));
    assert!(loaded.warnings.iter().any(|w| w.message.contains("no height")));
    let window = Some((Xy::new(600_000.0, 5_000_000.0), Xy::new(601_000.0, 5_001_000.0)));
    let error = mosaic_of(&[file], &TerrainRequest { window, ..request }).unwrap_err();
    assert_eq!(error.kind, LoadErrorKind::NothingHere);
    assert!(error.to_string().contains("1.tif"), "{error}");
}

#[test]
fn too_many_cells_are_refused_before_any_memory_is_taken() {
    let file = tif(500_000.0, 5_000_990.0, 10.0, 10, 10, plane);
    let frame = utm();
    let window = Some((Xy::new(400_000.0, 4_900_000.0), Xy::new(600_000.0, 5_100_000.0)));
    let request = TerrainRequest { window, cell_m: Some(0.5), ..TerrainRequest::new(&frame) };
    let error = mosaic_of(std::slice::from_ref(&file), &request).unwrap_err();
    assert_eq!(error.kind, LoadErrorKind::TooLarge);
    assert!(error.to_string().contains("200 × 200 km at 0.5 m"), "{error}");
    for cell in [0.0, -1.0, f64::NAN] {
        let request = TerrainRequest { window: None, cell_m: Some(cell), ..request.clone() };
        let error = mosaic_of(std::slice::from_ref(&file), &request).unwrap_err();
        assert_eq!(error.kind, LoadErrorKind::BadValue);
    }
    let window = Some((Xy::new(0.0, 0.0), Xy::new(0.0, f64::NAN)));
    assert_eq!(mosaic_of(&[file], &TerrainRequest { window, ..request }).unwrap_err().kind, LoadErrorKind::BadValue);
    assert_eq!(mosaic_of(&[], &TerrainRequest::new(&frame)).unwrap_err().kind, LoadErrorKind::NothingHere);
}

struct StopAfter(AtomicUsize);
impl Progress for StopAfter {
    fn report(&self, share: f64) {
        assert!((0.0..=1.0).contains(&share));
    }
    fn cancelled(&self) -> bool {
        self.0.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |left| left.checked_sub(1)).is_err()
    }
}

#[test]
fn reading_stops_when_asked() {
    let file = tif(500_000.0, 5_000_990.0, 10.0, 100, 400, plane);
    let frame = utm();
    let request = TerrainRequest::new(&frame);
    for after in 0..4 {
        let progress = StopAfter(AtomicUsize::new(after));
        let error = load_bytes("a.tif", &file, &request, &progress).unwrap_err();
        assert_eq!(error.kind, LoadErrorKind::Cancelled);
    }
}

#[test]
fn cells_are_rounded_to_few_steps() {
    for (spacing, cell) in
        [(27.8, 30.0), (30.9, 30.0), (24.2, 25.0), (1.0, 1.0), (0.31, 0.3), (92.4, 90.0), (999.0, 1000.0)]
    {
        assert_eq!(round_cell(spacing), cell, "{spacing}");
    }
}

#[test]
fn frames_with_false_lengths_are_refused() {
    let file = tif(500_000.0, 5_000_990.0, 10.0, 10, 10, plane);
    let web = Frame::from_user("EPSG:3857").unwrap();
    let error = mosaic_of(&[file], &TerrainRequest::new(&web)).unwrap_err();
    assert!(error.to_string().contains("lengths"), "{error}");
}

#[test]
fn what_is_no_terrain_is_told_in_one_sentence() {
    let frame = utm();
    let request = TerrainRequest::new(&frame);
    let told = |name: &str, bytes: &[u8], kind: LoadErrorKind, words: &str| {
        let error = load_bytes(name, bytes, &request, &NoProgress).unwrap_err();
        let text = error.to_string();
        assert_eq!(error.kind, kind, "{text}");
        assert!(text.starts_with(name) && text.contains(words) && text.contains("; "), "{text}");
    };
    told("a.tif", b"", LoadErrorKind::Empty, "empty");
    told("a.tif", b"This is a letter and no picture at all.", LoadErrorKind::Unsupported, "not a TIFF");
    told("a.tif", b"II", LoadErrorKind::Truncated, "ends before");
    told("a.tif", b"II*\0\xff\xff\xff\xff", LoadErrorKind::Truncated, "ends before");
    told("a.tif", b"II*\0\0\0\0\0", LoadErrorKind::Corrupt, "no image");
    told("a.tif", b"II*\0\x08\0\0\0\0\0\x08\0\0\0", LoadErrorKind::Corrupt, "circle");
    told("a.doc", b"Some words that are no terrain", LoadErrorKind::Unsupported, "not terrain");
    told("N45E009.hgt", b"short", LoadErrorKind::Truncated, "5 bytes");
    told("N45E009.hgt.zip", b"PK\x03\x04 and then nothing", LoadErrorKind::Corrupt, "archive");
    let missing = load(&[PathBuf::from("not here.tif")], &request, &NoProgress).unwrap_err();
    assert!(missing.to_string().contains("no such file"), "{missing}");
    let folder = tempfile::tempdir().unwrap();
    let error = load(&[folder.path().to_owned()], &request, &NoProgress).unwrap_err();
    assert!(error.to_string().contains("folder"), "{error}");
}

fn zip_of(entries: &[(&str, &[u8])]) -> Vec<u8> {
    use std::io::Write as _;
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in entries {
        writer.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

#[test]
fn archives_must_hold_one_tile_of_the_right_size() {
    let tile = vec![0u8; 1201 * 1201 * 2];
    let open = |name: &str, entries: &[(&str, &[u8])]| {
        let bytes = zip_of(entries);
        inspect_bytes(name, &bytes).map(|info| info.bounds.unwrap().0).map_err(|e| e.to_string())
    };
    let corner = open("tile.zip", &[("readme.txt", b"hello"), ("N45E009.hgt", &tile)]).unwrap();
    assert_eq!(corner, LonLat { lon_deg: 9.0, lat_deg: 45.0 });
    assert_eq!(open("N45E009.zip", &[("dem.hgt", &tile)]).unwrap(), corner);
    assert!(open("N45E009.hgt.zip", &[("readme.txt", b"hello")]).unwrap_err().contains("no .hgt tile"));
    assert!(open("a.zip", &[("N45E009.hgt", &tile), ("N46E009.hgt", &tile)]).unwrap_err().contains("2 tiles"));
    assert!(open("N45E009.hgt.zip", &[("N46E009.hgt", &tile)]).unwrap_err().contains("different places"));
    assert!(open("a.zip", &[("dem.hgt", &tile)]).unwrap_err().contains("which tile"));
    // 100 MB of zeros in 100 kB: read to one byte past the largest tile and no further.
    let bomb = vec![0u8; 100 << 20];
    assert!(open("a.zip", &[("N45E009.hgt", &bomb)]).unwrap_err().contains("25934403 bytes"));
}

fn ascii(text: &str) -> Result<Loaded<Terrain>, LoadError> {
    let frame = utm();
    let request = TerrainRequest { crs_where_missing: Some(frame.crs().clone()), ..TerrainRequest::new(&frame) };
    load_bytes("a.asc", text.as_bytes(), &request, &NoProgress)
}

const HEAD: &str = "ncols 3\nnrows 2\nxllcorner 500000\nyllcorner 5000000\ncellsize 10\n";

#[test]
fn ascii_grids_lie_where_their_corner_says() {
    let terrain = ascii(&format!("{HEAD}NODATA_value -1\n1 2 3\n4 -1\n6")).unwrap().value;
    assert_eq!(terrain.frame.origin, Xy::new(500_005.0, 5_000_015.0));
    assert_eq!(terrain.heights_m[..4], [1.0, 2.0, 3.0, 4.0]);
    assert!(terrain.heights_m[4].is_nan());
    let centred = HEAD.replace("corner", "Center").to_uppercase();
    let terrain = ascii(&format!("{centred} 1 2 3 4 5 6")).unwrap().value;
    assert_eq!(terrain.frame.origin, Xy::new(500_000.0, 5_000_010.0));
}

#[test]
fn ascii_grids_with_faults_name_the_line() {
    let told = |text: &str, kind: LoadErrorKind, words: &str| {
        let error = ascii(text).unwrap_err();
        assert_eq!(error.kind, kind, "{error}");
        assert!(error.to_string().contains(words), "{error}");
    };
    told(&format!("{HEAD}1 2 3\n4 5,5 6\n"), LoadErrorKind::BadValue, "line 7: \"5,5\" has a comma");
    told(&format!("{HEAD}1 2 3\n4 x 6\n"), LoadErrorKind::BadValue, "line 7: \"x\" is not a number");
    told(&format!("{HEAD}1 2 3\n4 5\n"), LoadErrorKind::Truncated, "after 5 of 3 × 2 values");
    told(&format!("{HEAD}1 2 3\n4 5 6\n7"), LoadErrorKind::Corrupt, "line 8: there are more");
    told("ncols 3\nnrows 2\ncellsize 10\nxllcorner 0\n1 2 3 4 5 6", LoadErrorKind::Corrupt, "yllcorner");
    told("ncols 3\nnrows 2\nxllcorner 0\nyllcorner 0\n1 2 3 4 5 6", LoadErrorKind::Corrupt, "cellsize");
    told(&HEAD.replace("ncols 3", "ncols 2.5"), LoadErrorKind::Corrupt, "line 1: ncols is 2.5");
    told(&HEAD.replace("ncols 3", "ncols 1000000000"), LoadErrorKind::TooLarge, "1000000000 × 2");
    told(&HEAD.replace("nrows", "ncols"), LoadErrorKind::Corrupt, "line 2: ncols is given twice");
    told(&HEAD.replace("cellsize 10", "cellsize -10"), LoadErrorKind::Corrupt, "line 5: cellsize is -10");
    told(&HEAD.replace("cellsize 10", "cellsize"), LoadErrorKind::Truncated, "no value for cellsize");
    told(&format!("{HEAD}projection utm\n"), LoadErrorKind::Corrupt, "\"projection\" is not a keyword");
    told(&format!("{HEAD}{}", "9".repeat(100)), LoadErrorKind::Corrupt, "text where a number");
    told(HEAD, LoadErrorKind::Truncated, "after 0 of");
    let frame = utm();
    let text = format!("{HEAD}1 2 3 4 5 6");
    let error = load_bytes("a.asc", text.as_bytes(), &TerrainRequest::new(&frame), &NoProgress).unwrap_err();
    assert_eq!(error.kind, LoadErrorKind::Crs);
}

#[test]
fn values_that_cannot_be_heights_count_as_missing_and_are_told() {
    let loaded = ascii(&format!("{HEAD}NODATA_value -1\n1 2 3 -32767 65535 6")).unwrap();
    assert!(loaded.value.heights_m[3].is_nan() && loaded.value.heights_m[4].is_nan());
    assert!(
        loaded.warnings.iter().any(|w| w.message.contains("2 values read cannot be heights")),
        "{:?}",
        loaded.warnings
    );
}

#[test]
fn accuracy_is_that_of_the_product_or_the_callers() {
    let tile = vec![0u8; 1201 * 1201 * 2];
    let frame = utm();
    let window = Some((Xy::new(500_000.0, 5_000_000.0), Xy::new(501_000.0, 5_001_000.0)));
    let request = TerrainRequest { window, ..TerrainRequest::new(&frame) };
    let loaded = load_bytes("N45E009.hgt", &tile, &request, &NoProgress).unwrap();
    assert_eq!(loaded.value.accuracy.kind, SurfaceKind::SurfaceModel);
    assert!(loaded.value.heights_m.iter().all(|h| *h == 0.0), "a declared zero is a height");
    let given = TerrainAccuracy { point_to_point_m: 0.2, kind: SurfaceKind::BareGround };
    let request = TerrainRequest { accuracy: Some(given), ..request };
    assert_eq!(load_bytes("N45E009.hgt", &tile, &request, &NoProgress).unwrap().value.accuracy, given);
}

#[test]
fn tiles_on_either_side_of_the_180th_meridian_are_one_surface() {
    // Heights rise by a metre for each row southwards, in both tiles.
    let mut tile = Vec::with_capacity(1201 * 1201 * 2);
    for row in 0..1201i16 {
        for _ in 0..1201 {
            tile.extend_from_slice(&row.to_be_bytes());
        }
    }
    let frame = Frame::from_user("EPSG:32701").unwrap();
    let middle = frame.to_xy(LonLat { lon_deg: 180.0, lat_deg: -17.5 }).unwrap();
    let half = Xy::new(3000.0, 3000.0);
    let request = TerrainRequest { window: Some((middle - half, middle + half)), ..TerrainRequest::new(&frame) };
    for names in [["S18E179.hgt", "S18W180.hgt"], ["S18W180.hgt", "S18E179.hgt"]] {
        let sources = names.iter().map(|name| open_bytes(name, &tile).unwrap()).collect();
        let terrain = build(sources, &request, &NoProgress).unwrap().value;
        assert!(terrain.heights_m.iter().all(|h| h.is_finite()));
        for x in [-2000.0, -50.0, 0.0, 50.0, 2000.0] {
            let at = middle + Xy::new(x, 0.0);
            let row = (-17.0 - frame.to_lonlat(at).unwrap().lat_deg) * 1200.0;
            // A grid of 90 m over rows of 92 m, on a plane: within rounding and the curvature of a parallel.
            assert!((terrain.height_at(at).unwrap() - row).abs() < 0.05, "{x}");
        }
    }
}
