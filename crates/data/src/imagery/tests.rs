use super::*;
use crate::NoProgress;
use crate::vector::VectorOptions;
use rusqlite::{Connection, params};
use sparefield_geometry::math;
use std::io::Cursor;

const ZOOM: u8 = 15;

fn png(side: u32, colour: impl Fn(u32, u32) -> [u8; 4]) -> Vec<u8> {
    let picture = image::RgbaImage::from_fn(side, side, |x, y| image::Rgba(colour(x, y)));
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}

fn database(path: &Path) -> Connection {
    let database = Connection::open(path).unwrap();
    database
        .execute_batch(
            "CREATE TABLE metadata (name TEXT, value TEXT);
             CREATE TABLE tiles (zoom_level INTEGER, tile_column INTEGER, tile_row INTEGER, tile_data BLOB);",
        )
        .unwrap();
    database
}

fn put(database: &Connection, zoom: u8, col: u32, row_from_south: u32, data: &[u8]) {
    database.execute("INSERT INTO tiles VALUES (?1, ?2, ?3, ?4)", params![zoom, col, row_from_south, data]).unwrap();
}

fn opened(path: &Path, frame: &Frame) -> Result<Loaded<ImageryLayer>, LoadError> {
    let request = ImageryRequest { frame, crs_where_missing: None, store: Arc::default() };
    ImageryLayer::open(path, &request, &NoProgress)
}

/// Where a pixel's centre lies: the inverse of the spherical Mercator projection, written out once more from EPSG
/// Guidance Note 7-2.
fn place_of(zoom: u8, col: u32, row_from_north: u32, px: f64, py: f64) -> LonLat {
    let tiles = f64::from(1u32 << zoom);
    let x = (f64::from(col) + px / 256.0) / tiles;
    let y = (f64::from(row_from_north) + py / 256.0) / tiles;
    let e = math::exp(math::PI * (1.0 - 2.0 * y));
    LonLat { lon_deg: 360.0 * x - 180.0, lat_deg: math::atan((e - 1.0 / e) / 2.0).to_degrees() }
}

#[test]
fn a_marked_pixel_of_a_tile_lies_at_its_place() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("marked.mbtiles");
    let made = database(&path);
    let (col, row) = (16_250u32, 10_950u32);
    let south = |row: u32| (1u32 << ZOOM) - 1 - row;
    for (dc, dr) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
        let white = move |x: u32, y: u32| (dc, dr) == (1, 0) && (x, y) == (40, 200);
        let data = png(256, |x, y| if white(x, y) { [255; 4] } else { [0, 0, 0, 255] });
        put(&made, ZOOM, col + dc, south(row + dr), &data);
    }
    drop(made);
    let there = place_of(ZOOM, col + 1, row, 40.5, 200.5);
    let frame = Frame::utm_for(there).unwrap();
    let layer = opened(&path, &frame).unwrap().value;
    assert_eq!(layer.info().zooms, Some((ZOOM, ZOOM)));
    let (low, high) = layer.extent().unwrap();
    let at = frame.to_xy(there).unwrap();
    assert!(low.x < at.x && at.x < high.x && low.y < at.y && at.y < high.y);
    let pixel_m = layer.info().finest_m.unwrap();
    let half = Xy::new(pixel_m * 4.0, pixel_m * 4.0);
    let tile = layer.render(at - half, at + half, 40, &NoProgress).unwrap();
    let (mut sum, mut weight) = (Xy::default(), 0.0);
    for (i, pixel) in tile.pixels.iter().enumerate() {
        assert_eq!(pixel[3], 255);
        let place = Xy::new((i % 40) as f64 + 0.5, 40.0 - (i / 40) as f64 - 0.5) * (8.0 * pixel_m / 40.0);
        sum = sum + place * f64::from(pixel[0]);
        weight += f64::from(pixel[0]);
    }
    assert!(weight > 0.0);
    let off = (sum * (1.0 / weight) - half).norm() / pixel_m;
    assert!(off < 0.1, "{off} pixels off");
}

#[test]
fn a_missing_tile_is_shown_from_a_coarser_zoom() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sparse.mbtiles");
    let made = database(&path);
    let (col, row) = (16_250u32, 10_950u32);
    let south = |zoom: u8, row: u32| (1u32 << zoom) - 1 - row;
    put(&made, ZOOM, col, south(ZOOM, row), &png(256, |_, _| [200, 0, 0, 255]));
    put(&made, ZOOM - 1, col / 2, south(ZOOM - 1, row / 2), &png(256, |_, _| [0, 0, 200, 255]));
    drop(made);
    let frame = Frame::utm_for(place_of(ZOOM, col, row, 0.0, 0.0)).unwrap();
    let layer = opened(&path, &frame).unwrap().value;
    let look = |dc: u32| {
        let at = frame.to_xy(place_of(ZOOM, col + dc, row, 128.0, 128.0)).unwrap();
        let half = Xy::new(20.0, 20.0);
        layer.render(at - half, at + half, 16, &NoProgress).unwrap().pixels[100]
    };
    assert_eq!(look(0), [200, 0, 0, 255]);
    assert_eq!(look(1), [0, 0, 200, 255]);
    assert_eq!(look(2), [0, 0, 0, 0]);
}

#[test]
fn databases_that_mean_harm_are_refused_with_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let refused = |name: &str, fill: &dyn Fn(&Connection)| {
        let path = folder.path().join(name);
        let made = database(&path);
        fill(&made);
        drop(made);
        opened(&path, &frame).unwrap_err().to_string()
    };
    let vector = refused("vector.mbtiles", &|d| {
        d.execute("INSERT INTO metadata VALUES ('format', 'pbf')", []).unwrap();
        put(d, 3, 0, 0, b"no picture");
    });
    assert!(vector.contains("not pictures"), "{vector}");
    assert!(refused("empty.mbtiles", &|_| {}).contains("no tiles"));
    let deep = refused("deep.mbtiles", &|d| put(d, 99, 0, 0, b"x"));
    assert!(deep.contains("zoom levels"), "{deep}");
    let noise = refused("noise.mbtiles", &|d| put(d, 3, 0, 0, b"no picture at all"));
    assert!(noise.contains("no PNG, JPEG or WebP"), "{noise}");
    // A view that never ends.
    let endless = refused("endless.mbtiles", &|d| {
        d.execute_batch(
            "DROP TABLE tiles;
             CREATE VIEW tiles AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)
             SELECT 3 AS zoom_level, i AS tile_column, i AS tile_row, x'00' AS tile_data FROM n;",
        )
        .unwrap();
    });
    assert!(endless.contains("takes too long"), "{endless}");
    // A view whose one tile is made of nothing and fills the memory.
    let huge = refused("huge.mbtiles", &|d| {
        d.execute_batch(
            "DROP TABLE tiles;
             CREATE VIEW tiles AS SELECT 3 AS zoom_level, 4 AS tile_column, 5 AS tile_row,
             CAST(hex(zeroblob(450000000)) AS BLOB) AS tile_data;",
        )
        .unwrap();
    });
    assert!(huge.contains("larger than any tile"), "{huge}");
}

#[test]
fn squares_must_be_squares_and_far_ones_are_clear() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("one.mbtiles");
    put(&database(&path), 3, 4, 5, &png(256, |_, _| [9, 9, 9, 255]));
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let layer = opened(&path, &frame).unwrap().value;
    let render = |low: Xy, high: Xy, pixels| layer.render(low, high, pixels, &NoProgress);
    for (low, high, pixels) in [
        (Xy::new(0.0, 0.0), Xy::new(10.0, 20.0), 16),
        (Xy::new(0.0, 0.0), Xy::new(10.0, 10.0), 0),
        (Xy::new(0.0, 0.0), Xy::new(10.0, 10.0), 1 << 20),
        (Xy::new(0.0, f64::NAN), Xy::new(10.0, 10.0), 16),
        (Xy::new(10.0, 10.0), Xy::new(0.0, 0.0), 16),
    ] {
        assert_eq!(render(low, high, pixels).unwrap_err().kind, LoadErrorKind::BadValue);
    }
    // Farther than any place of the zone, and the whole Earth at once.
    assert!(render(Xy::new(9e9, 9e9), Xy::new(9.1e9, 9.1e9), 16).unwrap().is_clear());
    assert!(render(Xy::new(-9e6, -9e6), Xy::new(9e6, 9e6), 32).is_ok());
}

#[test]
fn a_cancelled_picture_says_so() {
    struct Stopped;
    impl Progress for Stopped {
        fn report(&self, _share: f64) {}
        fn cancelled(&self) -> bool {
            true
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("one.mbtiles");
    put(&database(&path), 0, 0, 0, &png(256, |_, _| [9, 9, 9, 255]));
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let layer = opened(&path, &frame).unwrap().value;
    let (low, high) = (Xy::new(5e5, 5.5e6), Xy::new(6e5, 5.6e6));
    assert_eq!(layer.render(low, high, 16, &Stopped).unwrap_err().kind, LoadErrorKind::Cancelled);
    assert!(!layer.render(low, high, 16, &NoProgress).unwrap().is_clear());
}

#[test]
fn lines_areas_and_points_become_a_background() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("paths.geojson");
    let text = r#"{"type":"FeatureCollection","features":[
        {"type":"Feature","properties":{},"geometry":{"type":"LineString","coordinates":[[-3,51],[-2.99,51.01]]}},
        {"type":"Feature","properties":{},"geometry":{"type":"Point","coordinates":[-3,51]}},
        {"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":[[[-3,51],[-2.9,51],[-2.9,51.1],[-3,51]]]}}]}"#;
    std::fs::write(&path, text).unwrap();
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let loaded = BackgroundLayer::open(&path, &frame, &VectorOptions::default()).unwrap();
    let layer = loaded.value;
    assert_eq!((layer.lines.len(), layer.areas.len(), layer.points.len()), (1, 1, 1));
    assert_eq!(layer.name, "paths");
    // On the zone's central meridian: 500 km east by definition.
    assert!((layer.points[0].x - 500_000.0).abs() < 1e-6);
    assert!(!layer.is_empty() && loaded.provenance[0].contains("3 shapes"), "{:?}", loaded.provenance);
}

#[test]
fn a_layer_is_kept_with_its_defaults() {
    let short = r#"{"path":"photo.tif","kind":"imagery","name":"Photo"}"#;
    let spec: LayerSpec = serde_json::from_str(short).unwrap();
    assert_eq!(spec, LayerSpec { name: "Photo".into(), ..LayerSpec::new(Path::new("photo.tif"), LayerKind::Imagery) });
    let whole = LayerSpec { opacity: 0.4, visible: false, crs: Some("EPSG:27700".into()), ..spec };
    let text = serde_json::to_string(&whole).unwrap();
    assert_eq!(serde_json::from_str::<LayerSpec>(&text).unwrap(), whole);
    assert_eq!(kind_by_name(Path::new("A.SHP")), LayerKind::Background);
    assert_eq!(kind_by_name(Path::new("a.tif")), LayerKind::Imagery);
}
