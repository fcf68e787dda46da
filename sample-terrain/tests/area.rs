//! The invented area is what it says: the same every time, believable, and free of overlaps.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use geo::{Area as _, BooleanOps, BoundingRect, Intersects, Validation};
use sample_terrain::features::{self, Area};
use sample_terrain::relief::HEIGHT_STEP_M;
use sample_terrain::{CELL_M, CORNER_M, SEED, SIDE_M, cover, path, write};
use serde_json::Value;
use sparefield_data::frame::Frame;
use sparefield_geometry::fields::model::{
    BoundaryEdge, Day, EdgeKind, HazardKind, HazardShape, Stock, Surface, ring_area,
};
use sparefield_geometry::position::{LonLat, Xy};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::OnceLock;
use tiff::tags::Tag;

/// Overlap that rounding may leave between neighbours that share a side, m².
const OVERLAP_M2: f64 = 0.01;
/// Fields in the area; a change of the program that changes them must say so here.
const FIELDS: usize = 167;
/// Hazards in the area.
const HAZARDS: usize = 283;

fn area() -> &'static Area {
    static AREA: OnceLock<Area> = OnceLock::new();
    AREA.get_or_init(|| features::make(SEED))
}

fn files() -> &'static Vec<(&'static str, Vec<u8>)> {
    static FILES: OnceLock<Vec<(&'static str, Vec<u8>)>> = OnceLock::new();
    FILES.get_or_init(|| write::files(area()).unwrap())
}

fn file(name: &str) -> &'static [u8] {
    &files().iter().find(|(n, _)| *n == name).unwrap().1
}

fn json(name: &str) -> Value {
    serde_json::from_slice(file(name)).unwrap()
}

fn ring(points: &[Xy]) -> geo::LineString {
    geo::LineString::from(points.iter().map(|p| (p.x, p.y)).collect::<Vec<_>>())
}

fn polygon(outer: &[Xy], holes: &[Vec<Xy>]) -> geo::Polygon {
    geo::Polygon::new(ring(outer), holes.iter().map(|h| ring(h)).collect())
}

fn field_polygons() -> Vec<geo::Polygon> {
    area().fields.iter().map(|f| polygon(&f.outer, &f.holes)).collect()
}

fn hazard_polygons(kind: HazardKind) -> Vec<(String, geo::Polygon)> {
    let hazards = area().hazards.iter().filter(|h| h.kind == kind);
    hazards
        .filter_map(|h| match &h.shape {
            HazardShape::Area { outer, holes } => Some((h.id.clone(), polygon(outer, holes))),
            _ => None,
        })
        .collect()
}

/// Shared ground of two polygons, m².
fn overlap_m2(a: &geo::Polygon, b: &geo::Polygon) -> f64 {
    let near = a.bounding_rect().unwrap().intersects(&b.bounding_rect().unwrap());
    if near { a.intersection(b).unsigned_area() } else { 0.0 }
}

fn decoded(bytes: &[u8]) -> Vec<f32> {
    let mut decoder = tiff::decoder::Decoder::new(std::io::Cursor::new(bytes)).unwrap();
    match decoder.read_image().unwrap() {
        tiff::decoder::DecodingResult::F32(heights) => heights,
        tiff::decoder::DecodingResult::U8(classes) => classes.into_iter().map(f32::from).collect(),
        _ => panic!("rasters are float32 or uint8"),
    }
}

#[test]
fn a_second_making_gives_the_same_bytes() {
    let again = write::files(&features::make(SEED)).unwrap();
    assert_eq!(again.len(), 8);
    for ((name, first), (_, second)) in files().iter().zip(&again) {
        assert!(first == second, "{name} differs between two makings");
    }
}

#[test]
fn another_seed_gives_another_area() {
    assert_ne!(sample_terrain::noise::mix(SEED), sample_terrain::noise::mix(SEED + 1));
    let (a, b) = (sample_terrain::parcels::make(SEED), sample_terrain::parcels::make(SEED + 1));
    assert_ne!(a.corners, b.corners);
}

#[test]
fn the_sortie_kept_is_the_one_made() {
    let kept = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("sortie.gpx")).unwrap();
    let made = sample_terrain::sortie::gpx(sample_terrain::sortie::SORTIE_SEED).unwrap();
    assert!(kept == made, "sortie.gpx is stale; run: cargo run -p sample-terrain -- sample-terrain");
}

/// The text files byte for byte; the rasters by their values, because another release of the compressor may pack the
/// same values into other bytes.
#[test]
fn the_files_kept_are_the_ones_made() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    for (name, made) in files() {
        let kept = std::fs::read(folder.join(name)).unwrap();
        if Path::new(name).extension().is_some_and(|e| e == "tif") {
            let (a, b) = (decoded(made), decoded(&kept));
            let same = a.iter().zip(&b).all(|(x, y)| x.to_bits() == y.to_bits()) && a.len() == b.len();
            assert!(same, "{name} is stale; run: cargo run -p sample-terrain -- sample-terrain");
        } else {
            assert!(kept == *made, "{name} is stale; run: cargo run -p sample-terrain -- sample-terrain");
        }
    }
}

#[test]
fn every_text_file_says_that_it_is_invented() {
    for (name, bytes) in files() {
        // Rasters say so in their description, which is text as well.
        let text = String::from_utf8_lossy(bytes);
        assert!(text.contains("Invented for demonstration"), "{name}");
    }
}

#[test]
fn terrain_file_states_its_place() {
    let mut decoder = tiff::decoder::Decoder::new(std::io::Cursor::new(file("terrain.tif"))).unwrap();
    assert_eq!(decoder.dimensions().unwrap(), (800, 800));
    assert_eq!(decoder.get_tag_f64_vec(Tag::ModelPixelScaleTag).unwrap(), [25.0, 25.0, 0.0]);
    let tie = decoder.get_tag_f64_vec(Tag::ModelTiepointTag).unwrap();
    assert_eq!(tie, [0.0, 0.0, 0.0, 500_000.0, 5_800_000.0, 0.0]);
    let keys = decoder.get_tag_u16_vec(Tag::GeoKeyDirectoryTag).unwrap();
    assert!(keys.chunks(4).any(|k| k == [3072, 0, 1, 32630]) && keys.chunks(4).any(|k| k == [1025, 0, 1, 1]));
    assert_eq!(decoder.get_tag_ascii_string(Tag::GdalNodata).unwrap(), write::NO_DATA);
    assert_eq!(decoded(file("terrain.tif")), area().relief.terrain.heights_m);
    assert!(file("terrain.tif").len() < 1_600_000);
}

#[test]
fn land_cover_and_surface_model_state_their_places() {
    for (name, size, cell, corner) in
        [("land-cover.tif", 2_000, 10.0, [500_000.0, 5_800_000.0]), ("surface.tif", 775, 4.0, [510_400.0, 5_792_700.0])]
    {
        let mut decoder = tiff::decoder::Decoder::new(std::io::Cursor::new(file(name))).unwrap();
        assert_eq!(decoder.dimensions().unwrap().0, size, "{name}");
        assert_eq!(decoder.get_tag_f64_vec(Tag::ModelPixelScaleTag).unwrap(), [cell, cell, 0.0]);
        let tie = decoder.get_tag_f64_vec(Tag::ModelTiepointTag).unwrap();
        assert_eq!(tie[3..5], corner, "{name}");
        assert!(file(name).len() < 600_000, "{name}");
    }
}

/// The surface model shows woods, hedges and houses, and the ground elsewhere.
#[test]
fn the_surface_model_shows_what_stands_on_the_ground() {
    let truth = cover::truth(area(), SEED);
    let surface = cover::surface(area(), &truth, SEED);
    let standing = |p: Xy| surface.height_at(p).zip(area().relief.terrain.height_at(p)).map(|(s, g)| s - g);
    let strip = area().home.middle;
    assert!(standing(strip).unwrap().abs() < 0.6, "{:?}", standing(strip));
    let mut trees = Vec::new();
    for hazard in area().hazards.iter().filter(|h| h.kind == HazardKind::LoneTree) {
        if let HazardShape::Point(p) = hazard.shape
            && let (Some(found), Some(built)) = (standing(p), hazard.height_m)
        {
            trees.push(found / built);
        }
    }
    // Three lone trees stand in the part that the surface model covers.
    assert!(trees.len() >= 3 && trees.iter().all(|t| (0.5..1.1).contains(t)), "{trees:?}");
}

#[test]
fn relief_is_gentle_hill_country() {
    let terrain = &area().relief.terrain;
    let (low, high) = terrain.range().unwrap();
    assert!((350.0..=450.0).contains(&(high - low)), "rise {:.0} m", high - low);
    assert!(terrain.heights_m.iter().all(|h| (f64::from(*h) / HEIGHT_STEP_M).fract() == 0.0));
    let mut slopes = Vec::new();
    for i in 0..780 {
        for j in 0..780 {
            slopes.push(features::slope_percent(
                &area().relief,
                Xy::new(200.0 + f64::from(i) * CELL_M, 200.0 + f64::from(j) * CELL_M),
            ));
        }
    }
    slopes.sort_by(f64::total_cmp);
    let share = |q: f64| slopes[(q * slopes.len() as f64) as usize];
    assert!(share(0.5) > 4.0 && share(0.5) < 14.0, "median slope {:.1} %", share(0.5));
    assert!(share(0.999) < 60.0, "steepest {:.1} %", share(0.999));
}

/// Along the valley's middle the flood plain falls steadily and is flat across.
#[test]
fn the_flood_plain_is_graded() {
    let relief = &area().relief;
    let at = |p: Xy| relief.terrain.height_at(p);
    let heights: Vec<f64> = relief.valley.iter().step_by(40).filter_map(|&p| at(p)).collect();
    assert!(heights.len() > 15);
    for pair in heights.windows(2) {
        assert!(pair[1] < pair[0] + 3.0, "the valley rises from {:.1} to {:.1}", pair[0], pair[1]);
    }
    let fall = heights[0] - heights[heights.len() - 1];
    assert!((15.0..45.0).contains(&fall), "fall {fall:.1} m");
}

#[test]
fn counts_are_as_stated() {
    assert_eq!(area().fields.len(), FIELDS);
    assert_eq!(area().hazards.len(), HAZARDS);
    let count = |kind| area().hazards.iter().filter(|h| h.kind == kind).count();
    assert_eq!((count(HazardKind::Wires), count(HazardKind::Mast), count(HazardKind::Water)), (3, 3, 2));
    assert!(count(HazardKind::Building) >= 40 && count(HazardKind::Wood) >= 60 && count(HazardKind::LoneTree) >= 10);
    assert_eq!(area().quiet_zones.len(), 2);
    let ids: BTreeSet<&str> = area().fields.iter().map(|f| f.id.as_str()).collect();
    assert_eq!(ids.len(), FIELDS);
    let names: Vec<&str> = area().fields.iter().map(|f| f.name.as_str()).filter(|n| !n.is_empty()).collect();
    assert_eq!(names.iter().collect::<BTreeSet<_>>().len(), names.len(), "two fields have one name");
}

#[test]
fn outlines_are_sound_and_inside_the_terrain() {
    for f in &area().fields {
        assert!(polygon(&f.outer, &f.holes).is_valid(), "{}", f.id);
        assert!(ring_area(&f.outer) > 0.0, "{} must run anticlockwise", f.id);
        assert!(f.holes.iter().all(|h| ring_area(h) < 0.0), "{}: holes must run clockwise", f.id);
        assert_eq!(f.edges.len(), f.outer.len(), "{}", f.id);
        let inside = |p: &Xy| p.x > 100.0 && p.y > 100.0 && p.x < SIDE_M - 100.0 && p.y < SIDE_M - 100.0;
        assert!(f.outer.iter().all(inside), "{}", f.id);
        let hectares = f.area_m2() / 1e4;
        assert!((1.0..=18.0).contains(&hectares), "{}: {hectares:.2} ha", f.id);
    }
    for h in &area().hazards {
        if let HazardShape::Area { outer, holes } = &h.shape {
            assert!(polygon(outer, holes).is_valid(), "{} {}", h.id, h.name);
        }
    }
}

#[test]
fn no_two_fields_overlap() {
    let fields = field_polygons();
    for i in 0..fields.len() {
        for j in i + 1..fields.len() {
            let shared = overlap_m2(&fields[i], &fields[j]);
            assert!(shared < OVERLAP_M2, "{} and {}: {shared} m²", area().fields[i].id, area().fields[j].id);
        }
    }
}

/// The check above finds an overlap where there is one.
#[test]
fn a_shifted_field_overlaps_its_neighbours() {
    let fields = field_polygons();
    let shifted: Vec<Xy> = area().fields[0].outer.iter().map(|&p| p + Xy::new(1.0, -1.0)).collect();
    let shifted = polygon(&shifted, &[]);
    assert!(fields.iter().skip(1).any(|f| overlap_m2(&shifted, f) > 50.0));
}

#[test]
fn fields_keep_clear_of_woods_buildings_and_water() {
    let fields = field_polygons();
    for kind in [HazardKind::Wood, HazardKind::Building, HazardKind::Water] {
        for (id, hazard) in hazard_polygons(kind) {
            for (field, f) in fields.iter().zip(&area().fields) {
                let shared = overlap_m2(field, &hazard);
                assert!(shared < OVERLAP_M2, "{} and {} {id}: {shared} m²", f.id, kind.words());
            }
        }
    }
}

#[test]
fn a_side_shared_by_two_fields_is_one_boundary() {
    let mut seen: BTreeMap<[u64; 4], BoundaryEdge> = BTreeMap::new();
    let mut shared = 0;
    for f in &area().fields {
        for (k, &edge) in f.edges.iter().enumerate() {
            let (a, b) = (f.outer[k], f.outer[(k + 1) % f.outer.len()]);
            let (a, b) = ([a.x.to_bits(), a.y.to_bits()], [b.x.to_bits(), b.y.to_bits()]);
            let key = if a < b { [a[0], a[1], b[0], b[1]] } else { [b[0], b[1], a[0], a[1]] };
            if let Some(other) = seen.insert(key, edge) {
                assert_eq!(other, edge, "{} side {k}", f.id);
                shared += 1;
            }
        }
    }
    assert!(shared > 300, "only {shared} shared sides");
}

#[test]
fn heights_on_boundaries_are_ordinary() {
    let mut missing = 0;
    for e in area().fields.iter().flat_map(|f| &f.edges) {
        let Some(h) = e.height_m else {
            missing += 1;
            continue;
        };
        let ordinary = match e.kind {
            EdgeKind::Hedge => (1.5..=3.0).contains(&h),
            EdgeKind::TreeLine => (8.0..=18.0).contains(&h),
            EdgeKind::Fence => h == 1.2,
            EdgeKind::Wall => h == 1.1,
            EdgeKind::Wires => (7.0..=10.0).contains(&h),
            EdgeKind::Nothing => h == 0.0,
            EdgeKind::Unknown => false,
        };
        assert!(ordinary, "{e:?}");
    }
    assert!(missing > 50);
    for kind in
        [EdgeKind::Hedge, EdgeKind::TreeLine, EdgeKind::Fence, EdgeKind::Wall, EdgeKind::Wires, EdgeKind::Unknown]
    {
        assert!(area().fields.iter().flat_map(|f| &f.edges).any(|e| e.kind == kind), "{kind:?}");
    }
}

#[test]
fn there_is_variety_worth_ranking() {
    let fields = &area().fields;
    let share = |s: Surface| fields.iter().filter(|f| f.surface == s).count() as f64 / fields.len() as f64;
    assert!((0.32..0.48).contains(&share(Surface::GrazedGrass)), "{}", share(Surface::GrazedGrass));
    for s in Surface::ALL {
        assert!(fields.iter().any(|f| f.surface == s), "no field with {}", s.words());
    }
    for s in [Stock::None, Stock::Present, Stock::Unknown] {
        assert!(fields.iter().any(|f| f.stock == s));
    }
    for note in ["Pond", "One large tree", "Wires right across", "Houses along", "Much steeper", "Home strip"] {
        assert_eq!(fields.iter().filter(|f| f.notes.starts_with(note)).count(), 1, "{note}");
    }
    assert_eq!(fields.iter().filter(|f| !f.holes.is_empty()).count(), 1);
    // Wires lie across the field that says so.
    let crossed = fields.iter().find(|f| f.notes.starts_with("Wires")).unwrap();
    let line = area().hazards.iter().filter_map(|h| match &h.shape {
        HazardShape::Line(l) => Some(l),
        _ => None,
    });
    assert!(line.flat_map(|l| path::resample(l, 5.0)).filter(|&p| path::inside(p, &crossed.outer)).count() > 20);
    // Several long enough good fields within 2.5 km of the strip, and short ones.
    let home = area().home.middle;
    let good = fields.iter().filter(|f| {
        matches!(f.surface, Surface::GrazedGrass | Surface::Stubble)
            && f.centroid().distance(home) < 2_500.0
            && f.area_m2() > 5e4
    });
    assert!(good.count() >= 8);
    assert!(fields.iter().filter(|f| f.area_m2() < 2.5e4).count() >= 5);
}

#[test]
fn surveys_lie_in_the_last_three_years() {
    // 2026-11-25 is day 20 782.
    let days: Vec<i32> = area().fields.iter().filter_map(|f| f.surveyed).map(|d| d.days_since_epoch).collect();
    assert!(days.iter().all(|d| (20_782 - 1_096..20_782).contains(d)));
    assert!(days.len() < FIELDS && days.len() > FIELDS * 3 / 4);
    let this_year = days.iter().filter(|d| **d >= 20_454).count();
    assert!(this_year * 2 > days.len());
}

#[test]
fn some_fields_have_calendars_and_remarks_and_home_is_not_contradicted() {
    let fields = &area().fields;
    let with = fields.iter().filter(|f| !f.calendar.is_empty());
    assert!((30..90).contains(&with.count()));
    assert!(fields.iter().filter(|f| f.stock_seen.is_some()).count() > 8);
    for remark in [
        fields.iter().filter(|f| !f.remarks.hazards.is_empty()).count(),
        fields.iter().filter(|f| !f.remarks.access.is_empty()).count(),
        fields.iter().filter(|f| !f.remarks.permission.is_empty()).count(),
    ] {
        assert!((5..50).contains(&remark), "{remark}");
    }
    // Animals looked for on another day than the survey are looked for later, and not tomorrow.
    for f in fields {
        assert!(f.stock_seen.is_none_or(|d| f.surveyed < Some(d) && d.days_since_epoch <= 20_782), "{}", f.id);
        let looked = f.surveyed.map(Day::month_index);
        let near = f.centroid().distance(area().home.middle) < 1_000.0;
        if let Some(month) = looked.filter(|_| near && !f.calendar.is_empty()) {
            assert_eq!(f.calendar.months[month], Some(f.surface), "{}", f.id);
        }
    }
}

#[test]
fn dates_are_written_as_in_the_calendar() {
    for (days, text) in [
        (0, "1970-01-01"),
        (11_016, "2000-02-29"),
        (20_454, "2026-01-01"),
        (20_782, "2026-11-25"),
        (20_781, "2026-11-24"),
    ] {
        assert_eq!(write::iso_date(Day { days_since_epoch: days }), text);
    }
}

#[test]
fn home_strip_lies_in_its_field_and_the_start_is_near() {
    let home = area().home;
    let field = &area().fields[0];
    assert_eq!((field.id.as_str(), field.name.as_str()), ("F001", "Harrowmead"));
    assert_eq!(field.surface, Surface::GrazedGrass);
    let u = home.axis.unit();
    let v = Xy::new(-u.y, u.x);
    let (l, w) = (features::STRIP_LENGTH_M / 2.0, features::STRIP_WIDTH_M / 2.0);
    for p in [u * l + v * w, u * l - v * w, u * -l + v * w, u * -l - v * w] {
        assert!(path::inside(home.middle + p, &field.outer));
    }
    assert!((home.ends_m[1] - home.ends_m[0]).abs() / features::STRIP_LENGTH_M < 0.02);
    assert!((1_500.0..2_500.0).contains(&home.start.distance(home.middle)));
    assert!(field.edges.iter().all(|e| matches!(e.kind, EdgeKind::Nothing | EdgeKind::Fence)));
    let told = json("home.json");
    assert_eq!(told["runway"]["ends"][0]["name"], "06");
    assert_eq!(told["runway"]["ends"][1]["name"], "24");
    assert_eq!(told["field_id"], "F001");
}

/// What is written, read back and projected, is what was made, to the centimetre.
#[test]
fn positions_survive_the_way_through_longitude_and_latitude() {
    let frame = Frame::from_user("EPSG:32630").unwrap();
    let told = json("fields.geojson");
    let features = told["features"].as_array().unwrap();
    assert_eq!(features.len(), FIELDS);
    for (feature, field) in features.iter().zip(&area().fields) {
        let outer = feature["geometry"]["coordinates"][0].as_array().unwrap();
        assert_eq!(outer.first(), outer.last(), "{} must be closed", field.id);
        assert_eq!(feature["properties"]["edges"].as_array().unwrap().len() + 1, outer.len());
        for (place, made) in outer.iter().zip(&field.outer) {
            let at = LonLat { lon_deg: place[0].as_f64().unwrap(), lat_deg: place[1].as_f64().unwrap() };
            let back = frame.to_xy(at).unwrap() - Xy::new(CORNER_M.0, CORNER_M.1);
            assert!(back.distance(*made) < 0.01, "{}: {:.4} m", field.id, back.distance(*made));
        }
    }
}

#[test]
fn most_fields_are_gentle() {
    let gentle = area().fields.iter().filter(|f| features::slope_percent(&area().relief, f.centroid()) < 12.0).count();
    assert!(gentle * 10 > FIELDS * 9, "{gentle} of {FIELDS}");
}

/// Lanes and the poles beside them run between fields; only the spur crosses one.
#[test]
fn lanes_and_poles_run_between_fields() {
    let depth = |p: Xy| {
        let inside = area().fields.iter().filter(|f| path::inside(p, &f.outer));
        inside.map(|f| features::ring_distance(p, &f.outer)).fold(0.0, f64::max)
    };
    for line in area().lines.iter().filter(|l| l.kind == "lane") {
        for p in path::resample(&line.line, 5.0) {
            assert!(depth(p) < 1.0, "a lane runs {:.1} m inside a field at {p:?}", depth(p));
        }
    }
    for hazard in &area().hazards {
        if let HazardShape::Line(line) = &hazard.shape
            && hazard.name.contains("along the lane")
        {
            let deepest = path::resample(line, 5.0).into_iter().map(depth).fold(0.0, f64::max);
            assert!(deepest < 3.0, "the pole line runs {deepest:.1} m inside a field");
        }
    }
}
