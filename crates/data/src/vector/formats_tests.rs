use super::*;
use sparefield_geometry::fields::model::{
    BoundaryEdge, Day, EdgeKind, HazardKind, HazardShape, QuietKind, Stock, Surface,
};

fn frame() -> Frame {
    Frame::from_user("EPSG:32630").unwrap()
}

fn fields() -> Vec<Field> {
    let square = |x: f64, y: f64, side: f64| {
        vec![Xy::new(x, y), Xy::new(x + side, y), Xy::new(x + side, y + side), Xy::new(x, y + side)]
    };
    let mut first = Field::new("f1", square(500_000.0, 5_700_000.0, 300.0));
    first.name = "Long Ley & <Pond>".into();
    first.surface = Surface::GrazedGrass;
    first.stock = Stock::None;
    first.surveyed = Some(Day { days_since_epoch: 20_000 });
    first.notes = "gate in the east; „wet“ in spring".into();
    first.edges[1] = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(3.5) };
    first.remarks.access = "ask at the farm".into();
    first.other = vec![("parcel number of the land registry".into(), "12/7".into())];
    let mut hole = square(500_450.0, 5_700_050.0, 50.0);
    hole.reverse();
    let mut second = Field::new("поле 2", square(500_400.0, 5_700_000.0, 200.0));
    second.name = "Поле у реки".into();
    second.holes = vec![hole];
    vec![first, second]
}

fn hazards() -> Hazards {
    let mut wires =
        Hazard::new("w1", HazardKind::Wires, HazardShape::Line(vec![Xy::new(5e5, 5.7e6), Xy::new(5.01e5, 5.7005e6)]));
    wires.pole_heights_m = vec![Some(12.0), None];
    let mut mast = Hazard::new("m1", HazardKind::Mast, HazardShape::Point(Xy::new(500_100.0, 5_699_900.0)));
    mast.height_m = Some(42.5);
    let outer = vec![Xy::new(5e5, 5.699e6), Xy::new(500_200.0, 5.699e6), Xy::new(500_200.0, 5_699_300.0)];
    let wood = Hazard::new("wood", HazardKind::Wood, HazardShape::Area { outer: outer.clone(), holes: Vec::new() });
    let quiet = QuietZone {
        id: "q".into(),
        kind: QuietKind::Stock,
        name: "Stables".into(),
        outer: outer.iter().map(|p| *p + Xy::new(1_000.0, 0.0)).collect(),
        below_agl_m: 152.5,
    };
    Hazards { hazards: vec![wires, mast, wood], quiet_zones: vec![quiet] }
}

fn close(a: &[Xy], b: &[Xy]) -> bool {
    // Rings may begin elsewhere.
    a.len() == b.len() && a.iter().all(|p| b.iter().any(|q| p.distance(*q) < 1e-3))
}

fn same_field(a: &Field, b: &Field) {
    assert!(close(&a.outer, &b.outer), "{a:?} {b:?}");
    assert_eq!(a.holes.len(), b.holes.len());
    let facts = |f: &Field| Field { outer: Vec::new(), holes: Vec::new(), edges: Vec::new(), ..f.clone() };
    assert_eq!(facts(a), facts(b));
    let sides = |f: &Field| -> Vec<BoundaryEdge> {
        let mut sides: Vec<_> = f.edges.iter().copied().filter(|e| *e != BoundaryEdge::UNKNOWN).collect();
        sides.sort_by_key(|e| e.kind.words());
        sides
    };
    assert_eq!(sides(a), sides(b));
}

fn same_hazards(a: &Hazards, b: &Hazards) {
    let plain = |h: &Hazard| Hazard { shape: HazardShape::Point(Xy::default()), other: Vec::new(), ..h.clone() };
    let sorted = |all: &[Hazard]| {
        let mut all: Vec<Hazard> = all.iter().map(plain).collect();
        all.sort_by(|a, b| a.id.cmp(&b.id));
        all
    };
    assert_eq!(sorted(&a.hazards), sorted(&b.hazards));
    let zones = |h: &Hazards| {
        h.quiet_zones.iter().map(|q| (q.id.clone(), q.name.clone(), q.kind, q.below_agl_m)).collect::<Vec<_>>()
    };
    assert_eq!(zones(a), zones(b));
}

#[test]
fn everything_comes_back_from_every_format_that_can_hold_it() {
    let (fields, hazards) = (fields(), hazards());
    for format in [Format::GeoJson, Format::Kml, Format::Kmz, Format::GeoPackage] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(format!("area.{}", format.extension()));
        let layers = layers_of(
            format,
            Exported { edges: false, ..Exported::ALL },
            &fields,
            &hazards.hazards,
            &hazards.quiet_zones,
        );
        assert!(write_vector(&path, format, &layers, &frame()).unwrap().warnings.is_empty());
        assert_eq!(recognise(&path).unwrap(), format);
        let read = read_with(&path, &frame(), &[]).unwrap();
        assert_eq!(read.warnings, [], "{format:?}");
        assert_eq!(read.value.fields.len(), 2, "{format:?}");
        for (a, b) in read.value.fields.iter().zip(&fields) {
            same_field(a, b);
        }
        same_hazards(&Hazards { hazards: read.value.hazards, quiet_zones: read.value.quiet_zones }, &hazards);
        // The way of the command line and of dropped files reads the same.
        let options = VectorOptions::default();
        let again = load_fields(&path, &frame(), &options).unwrap().value;
        again.iter().zip(&fields).for_each(|(a, b)| same_field(a, b));
        same_hazards(&load_hazards(&path, &frame(), &options).unwrap().value, &hazards);
    }
}

#[test]
fn shapefiles_are_several_and_come_back() {
    let (fields, hazards) = (fields(), hazards());
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("area.shp");
    let layers = layers_of(Format::Shapefile, Exported::ALL, &fields, &hazards.hazards, &hazards.quiet_zones);
    let written = write_vector(&path, Format::Shapefile, &layers, &frame()).unwrap();
    let names: Vec<String> =
        written.value.iter().map(|p| p.file_name().unwrap().to_string_lossy().into_owned()).collect();
    assert_eq!(
        names,
        [
            "area-fields.shp",
            "area-hazards-areas.shp",
            "area-hazards-lines.shp",
            "area-hazards-points.shp",
            "area-quiet-zones.shp",
            "area-edges.shp"
        ]
    );
    let options = VectorOptions::default();
    let mut read = load_fields(&folder.path().join("area-fields.shp"), &frame(), &options).unwrap().value;
    assert_eq!(load_edges(&folder.path().join("area-edges.shp"), &mut read, &frame(), &options).unwrap().value, 1);
    // A long name is cut, and told.
    assert_eq!(read[0].other, [("parcel num".to_owned(), "12/7".to_owned())]);
    assert!(written.warnings.iter().any(|w| w.to_string().contains("it is called “parcel num” there")));
    read[0].other.clone_from(&fields[0].other);
    read.iter().zip(&fields).for_each(|(a, b)| same_field(a, b));
    let mut all = Hazards::default();
    for name in ["area-hazards-lines.shp", "area-hazards-points.shp", "area-hazards-areas.shp", "area-quiet-zones.shp"]
    {
        let more = load_hazards(&folder.path().join(name), &frame(), &options).unwrap().value;
        all.hazards.extend(more.hazards);
        all.quiet_zones.extend(more.quiet_zones);
    }
    same_hazards(&all, &hazards);
}

#[test]
fn texts_too_long_for_a_table_are_cut_at_a_letter_and_told() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.shp");
    let mut field = fields().swap_remove(1);
    field.notes = "ж".repeat(200);
    field.other = vec![("columnnameA".into(), "1".into()), ("columnnameB".into(), "2".into())];
    let layers = layers_of(
        Format::Shapefile,
        Exported { fields: true, ..Exported::NOTHING },
        &[field],
        &[] as &[Hazard],
        &[] as &[QuietZone],
    );
    let written = write_vector(&path, Format::Shapefile, &layers, &frame()).unwrap();
    assert!(written.warnings.iter().any(|w| w.message.contains("400 bytes")), "{:?}", written.warnings);
    let read = load_fields(&path, &frame(), &VectorOptions::default()).unwrap().value;
    assert_eq!(read[0].notes, "ж".repeat(127));
    let others: Vec<&str> = read[0].other.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(others, ["columnname", "columnna_1"]);
}

#[test]
fn no_text_is_cut_without_a_word() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.shp");
    let mut field = fields().swap_remove(1);
    field.notes = "n".repeat(300);
    // As many columns with long names as would fill a list of warnings.
    field.other = (0..30).map(|n| (format!("a long name {n}"), "1".into())).collect();
    let many: Vec<Field> = (0..50).map(|n| Field { id: format!("f{n}"), ..field.clone() }).collect();
    let what = Exported { fields: true, ..Exported::NOTHING };
    let layers = layers_of(Format::Shapefile, what, &many, &[] as &[Hazard], &[] as &[QuietZone]);
    let written = write_vector(&path, Format::Shapefile, &layers, &frame()).unwrap();
    let cut = written.warnings.iter().filter(|w| w.message.contains("it was cut")).count();
    assert_eq!(cut, 20, "{:?}", written.warnings);
    assert!(written.warnings.iter().any(|w| w.message.contains("and 30 more like these: texts that were cut")));
}

#[test]
fn gpx_keeps_outlines_and_names() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("area.gpx");
    let all = layers_of(Format::Gpx, Exported::ALL, &fields(), &hazards().hazards, &hazards().quiet_zones);
    let written = write_vector(&path, Format::Gpx, &all, &frame()).unwrap();
    assert!(written.warnings.iter().any(|w| w.message.contains("no holes")));
    let read = load_fields(&path, &frame(), &VectorOptions::default()).unwrap().value;
    assert!(read.iter().any(|f| f.name == "Long Ley & <Pond>" && close(&f.outer, &fields()[0].outer)));
    let preview = inspect(&path).unwrap();
    let names: Vec<&str> = preview.layers.iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, ["waypoints", "tracks"]);
}

#[test]
fn nothing_becomes_a_field_on_the_way_through_gpx() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("area.gpx");
    let wood = HazardShape::Area {
        outer: fields()[0].outer.iter().map(|p| *p + Xy::new(2_000.0, 0.0)).collect(),
        holes: vec![],
    };
    let mut hazards = hazards();
    hazards.hazards.push(Hazard { name: "Copse".into(), ..Hazard::new("copse", HazardKind::Wood, wood) });
    let all = layers_of(Format::Gpx, Exported::ALL, &fields(), &hazards.hazards, &hazards.quiet_zones);
    write_vector(&path, Format::Gpx, &all, &frame()).unwrap();
    let read = read_with(&path, &frame(), &[]).unwrap().value;
    let names = |all: Vec<&str>| {
        let mut all: Vec<String> = all.into_iter().map(str::to_owned).collect();
        all.sort();
        all
    };
    let told = fields();
    let wanted = names(told.iter().map(|f| if f.name.is_empty() { f.id.as_str() } else { f.name.as_str() }).collect());
    assert_eq!(names(read.fields.iter().map(|f| f.name.as_str()).collect()), wanted);
    assert_eq!(read.quiet_zones.len(), hazards.quiet_zones.len());
    let kinds = |all: &[Hazard]| names(all.iter().map(|h| h.kind.words()).collect());
    assert_eq!(kinds(&read.hazards), kinds(&hazards.hazards), "and no waypoint stands in the middle of a field");
}

const KML: &str = r#"<?xml version="1.0" encoding="ENCODING"?>
<k:kml xmlns:k="http://www.opengis.net/kml/2.2"><k:Document><k:name>All</k:name>
<k:Folder><k:name>Wiesen</k:name><k:Folder><k:name>Süd</k:name>
<k:Placemark id="p1"><k:name>Mühlwiese</k:name><k:description><![CDATA[<b>nass</b> im Frühjahr]]></k:description>
<k:ExtendedData><k:Data name="Nutzung"><k:value>Stoppelfeld</k:value></k:Data>
<k:SchemaData schemaUrl="x"><k:SimpleData name="Besuch">24.11.2026</k:SimpleData></k:SchemaData></k:ExtendedData>
<k:MultiGeometry><k:Polygon><k:outerBoundaryIs><k:LinearRing><k:coordinates>
-3.000,51.400,120 -2.998,51.400,120 -2.998,51.402,120 -3.000,51.402,120 -3.000,51.400,120
</k:coordinates></k:LinearRing></k:outerBoundaryIs><k:innerBoundaryIs><k:LinearRing><k:coordinates>
-2.9995,51.4005 -2.9995,51.4008 -2.9990,51.4008 -2.9995,51.4005</k:coordinates></k:LinearRing></k:innerBoundaryIs>
</k:Polygon></k:MultiGeometry></k:Placemark></k:Folder></k:Folder>
<k:Placemark><k:name>Leitung</k:name><k:LineString><k:coordinates>-3,51.4 -2.9,nord</k:coordinates></k:LineString></k:Placemark>
<k:Placemark><k:name>Baum</k:name><k:Point><k:coordinates>-3.0, 51.4, 0</k:coordinates></k:Point></k:Placemark>
</k:Document></k:kml>"#;

#[test]
fn kml_is_read_in_any_encoding_with_folders_data_and_holes() {
    let folder = tempfile::tempdir().unwrap();
    for encoding in ["UTF-8", "ISO-8859-1", "windows-1252", "UTF-16"] {
        let text = KML.replace("ENCODING", encoding);
        let bytes = if encoding == "UTF-16" {
            [0xff, 0xfe].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
        } else {
            encoding_rs::Encoding::for_label(encoding.as_bytes()).unwrap().encode(&text).0.into_owned()
        };
        let path = folder.path().join("dropped");
        std::fs::write(&path, bytes).unwrap();
        let preview = inspect(&path).unwrap();
        assert_eq!(preview.format, Format::Kml);
        let names: Vec<&str> = preview.layers.iter().map(|l| l.name.as_str()).collect();
        assert_eq!(names, ["Süd", "All"]);
        let south = &preview.layers[0];
        assert_eq!((south.records, south.areas, south.guess.purpose), (1, 1, Purpose::Fields));
        let meaning = |name: &str| south.guess.meaning(name);
        assert_eq!(
            ["name", "description", "Nutzung", "Besuch"].map(meaning),
            [Meaning::Name, Meaning::Notes, Meaning::Surface, Meaning::Other]
        );
        let mut mapping = south.guess.clone();
        mapping.set("Besuch", Meaning::Surveyed);
        mapping.dates = DateOrder::DayFirst;
        let read = read_with(&path, &frame(), &[mapping]).unwrap();
        let field = &read.value.fields[0];
        assert_eq!((field.id.as_str(), field.name.as_str()), ("p1", "Mühlwiese"));
        assert_eq!((field.surface, field.holes.len()), (Surface::Stubble, 1));
        assert_eq!(field.notes, "<b>nass</b> im Frühjahr");
        assert_eq!(field.surveyed.map(crate::quantity::format_day).as_deref(), Some("2026-11-24"));
        assert_eq!(field.other, [("Nutzung (of the file)".to_owned(), "Stoppelfeld".to_owned())]);
        // The line has a number that is none: it costs itself only.
        assert_eq!(preview.layers[1].records, 1);
        assert_eq!(preview.layers[1].warnings.len(), 1);
    }
}

#[test]
fn a_mapping_names_columns_of_any_language() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("flur.geojson");
    let feature = |nutzung: &str, hoehe: f64| {
        serde_json::json!({"type": "Feature", "properties": {
            "Schlagname": "Anger", "Nutzung": nutzung, "surface": "wie Nutzung", "Höhe_ft": hoehe, "FID": 7
        }, "geometry": {"type": "Polygon", "coordinates": [[[-3.0, 51.4], [-2.99, 51.4], [-2.99, 51.41], [-3.0, 51.4]]]}})
    };
    let text = serde_json::json!({"type": "FeatureCollection", "features": [feature("Grünland", 30.0)]});
    std::fs::write(&path, text.to_string()).unwrap();
    let layer = inspect(&path).unwrap().layers.swap_remove(0);
    // A word that does not say what grows there is not guessed.
    assert!(layer.guess.surfaces.is_empty());
    let mut mapping = layer.guess;
    mapping.purpose = Purpose::Fields;
    mapping.set("Nutzung", Meaning::Surface);
    mapping.set_surface("Grünland", Surface::GrazedGrass);
    let field = read_with(&path, &frame(), &[mapping.clone()]).unwrap().value.fields.swap_remove(0);
    assert_eq!((field.name.as_str(), field.id.as_str()), ("Anger", "7"));
    assert_eq!(field.surface, Surface::GrazedGrass);
    let other = |name: &str| field.other.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str());
    assert_eq!(other("surface (of the file)"), Some("wie Nutzung"));
    assert_eq!(other("Nutzung (of the file)"), Some("Grünland"));
    mapping.purpose = Purpose::Hazards;
    assert_eq!(mapping.meaning("Höhe_ft"), Meaning::Height);
    let hazard = read_with(&path, &frame(), &[mapping]).unwrap().value.hazards.swap_remove(0);
    assert!((hazard.height_m.unwrap() - 9.144).abs() < 1e-9);
}

#[test]
fn a_geopackage_of_another_system_is_placed_by_its_own_list() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("grid.gpkg");
    let layers = vec![ExportLayer::new("outlines", field_features(&fields()))];
    write_vector(&path, Format::GeoPackage, &layers, &frame()).unwrap();
    let database = rusqlite::Connection::open(&path).unwrap();
    // The same numbers under a system that only the file defines.
    let wkt = "PROJCS[\"Own\",GEOGCS[\"WGS 84\",DATUM[\"WGS_1984\",SPHEROID[\"WGS 84\",6378137,298.257223563]],\
               PRIMEM[\"Greenwich\",0],UNIT[\"degree\",0.0174532925199433]],PROJECTION[\"Transverse_Mercator\"],\
               PARAMETER[\"latitude_of_origin\",0],PARAMETER[\"central_meridian\",-3],PARAMETER[\"scale_factor\",0.9996],\
               PARAMETER[\"false_easting\",500000],PARAMETER[\"false_northing\",0],UNIT[\"metre\",1]]";
    database.execute("INSERT INTO gpkg_spatial_ref_sys VALUES ('Own', 100007, 'FARM', 7, ?1, NULL)", [wkt]).unwrap();
    database.execute("UPDATE gpkg_geometry_columns SET srs_id = 100007", []).unwrap();
    let blob = gpkg_geometry::encode(
        &record::Shape::Polygons(vec![vec![fields()[0].outer.iter().map(|p| [p.x, p.y]).collect()]]),
        100_007,
    );
    database.execute("UPDATE outlines SET geom = ?1 WHERE id = 'f1'", [blob]).unwrap();
    database.execute("UPDATE outlines SET geom = NULL WHERE id <> 'f1'", []).unwrap();
    database.close().unwrap();
    let read = load_fields(&path, &frame(), &VectorOptions::default()).unwrap();
    assert!(close(&read.value[0].outer, &fields()[0].outer));
    assert!(read.warnings.iter().any(|w| w.message.contains("no shape")));
    let database = rusqlite::Connection::open(&path).unwrap();
    database.execute("UPDATE gpkg_geometry_columns SET srs_id = -1", []).unwrap();
    database.close().unwrap();
    let error = load_fields(&path, &frame(), &VectorOptions::default()).unwrap_err();
    assert_eq!(error.kind, LoadErrorKind::Crs);
}

#[test]
fn tracks_round_a_field_are_outlines_and_others_are_not() {
    let point = |lon: f64, lat: f64| format!("<trkpt lat=\"{lat}\" lon=\"{lon}\"><ele>5</ele></trkpt>");
    let walk = [(-3.0, 51.4), (-2.998, 51.4), (-2.998, 51.402), (-3.0, 51.402), (-3.0, 51.4001)];
    let points: String = walk.iter().map(|(lon, lat)| point(*lon, *lat)).collect();
    let flight: String = walk.iter().take(4).map(|(lon, lat)| point(*lon, *lat)).collect();
    let text = format!(
        "\u{feff}<gpx version=\"1.0\"><trk><name>walk</name><trkseg>{points}</trkseg></trk>\
         <trk><name>flight</name><trkseg>{flight}</trkseg></trk><wpt lat=\"51.4\" lon=\"-3\"><name>A</name></wpt></gpx>"
    );
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("walk.gpx");
    std::fs::write(&path, text).unwrap();
    let read = load_fields(&path, &frame(), &VectorOptions::default()).unwrap();
    assert_eq!(read.value.len(), 1);
    assert_eq!(read.value[0].name, "walk");
    let imported = read_with(&path, &frame(), &[]).unwrap().value;
    assert_eq!(
        (imported.fields.len(), imported.hazards.len()),
        (1, 1),
        "the open track is kept as something in the way"
    );
}
