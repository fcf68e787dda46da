use super::*;
use crate::frame::Frame;
use proptest::prelude::*;
use serde_json::{Value, json};
use sparefield_geometry::fields::model::{
    BoundaryEdge, EdgeKind, HazardKind, HazardShape, QuietKind, Stock, Surface, ring_area,
};

fn frame() -> Frame {
    Frame::from_user("EPSG:32630").unwrap()
}

fn read(text: &str) -> Loaded<Vec<Field>> {
    fields_from_geojson("fields.geojson", text, &frame(), &VectorOptions::default()).unwrap()
}

fn refuse(text: &str) -> LoadError {
    fields_from_geojson("fields.geojson", text, &frame(), &VectorOptions::default()).unwrap_err()
}

fn said(warnings: &[crate::Warning]) -> String {
    warnings.iter().flat_map(|w| [w.to_string(), "\n".to_owned()]).collect()
}

/// A field of about 70 m by 111 m near 51.5° north, 2.3° west.
fn square(east: f64) -> Value {
    let (x, y, d) = (-2.3 + east, 51.5, 0.001);
    json!([[x, y], [x + d, y], [x + d, y + d], [x, y + d], [x, y]])
}

fn feature(ring: &Value, properties: &Value) -> Value {
    json!({"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": [ring]}})
}

fn collection(features: &[Value]) -> String {
    json!({"type": "FeatureCollection", "features": features}).to_string()
}

#[test]
fn every_column_is_read_and_every_other_kept() {
    let text = collection(&[feature(
        &square(0.0),
        &json!({
            "Id": 7, "NAME": "Long Acre", "surface": "grazed_grass", "stock": "none", "surveyed": "2026-10-01",
            "notes": "gate in the north", "crop code": 12.5, "tags": {"a": [1]}, "nothing": null,
            "edges": [{"kind": "hedge", "height_m": 2.5}, {"kind": "tree-line", "height_m": "40 ft"}, "fence", null],
        }),
    )]);
    let loaded = read(&text);
    assert_eq!(loaded.warnings, []);
    let field = &loaded.value[0];
    assert_eq!((field.id.as_str(), field.name.as_str(), field.notes.as_str()), ("7", "Long Acre", "gate in the north"));
    assert_eq!((field.surface, field.stock), (Surface::GrazedGrass, Stock::None));
    assert_eq!(field.surveyed.unwrap().days_since_epoch, 20_727);
    assert_eq!(field.other, [("crop code".to_owned(), "12.5".to_owned()), ("tags".into(), "{\"a\":[1]}".into())]);
    assert_eq!(
        field.edges,
        [
            BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.5) },
            BoundaryEdge { kind: EdgeKind::TreeLine, height_m: Some(12.192) },
            BoundaryEdge { kind: EdgeKind::Fence, height_m: None },
            BoundaryEdge::UNKNOWN,
        ]
    );
    assert!(
        loaded.provenance[0].contains("WGS 84") && loaded.provenance[0].contains("1 areas"),
        "{:?}",
        loaded.provenance
    );
}

#[test]
fn edges_follow_their_sides_when_the_ring_is_turned() {
    let mut ring = square(0.0);
    ring.as_array_mut().unwrap().reverse();
    // Clockwise from the south-west corner: west, north, east, south.
    let edges = json!([{"kind": "hedge"}, {"kind": "wires"}, {"kind": "wall"}, {"kind": "nothing"}]);
    let loaded = read(&collection(&[feature(&ring, &json!({"edges": edges}))]));
    let field = &loaded.value[0];
    assert!(ring_area(&field.outer) > 0.0);
    for (i, edge) in field.edges.iter().enumerate() {
        let (a, b) = (field.outer[i], field.outer[(i + 1) % 4]);
        let along = b - a;
        let expected = match (along.x.abs() > along.y.abs(), along.x > 0.0, along.y > 0.0) {
            (true, true, _) => EdgeKind::Nothing,
            (true, false, _) => EdgeKind::Wires,
            (false, _, true) => EdgeKind::Wall,
            (false, _, false) => EdgeKind::Hedge,
        };
        assert_eq!(edge.kind, expected, "side {i}");
    }
}

#[test]
fn edges_that_do_not_fit_are_unknown_and_told() {
    for (edges, part) in [
        (json!([{"kind": "hedge"}]), "it has 4 sides but 1 edges"),
        (json!("hedge all round"), "not a list"),
        (json!({"north": "hedge"}), "not a list"),
        (json!([{"kind": "moat"}, null, null, null]), "“moat” is no kind of edge"),
        (json!([{"kind": "hedge", "height_m": -2}, null, null, null]), "“-2” is not a height"),
        (json!([{"kind": "hedge", "height_m": "tall"}, null, null, null]), "“tall”"),
        (json!([7, null, null, null]), "one of its edges is not understood"),
    ] {
        let loaded = read(&collection(&[feature(&square(0.0), &json!({"id": "a", "edges": edges}))]));
        assert!(said(&loaded.warnings).contains(part), "{}", said(&loaded.warnings));
        assert!(said(&loaded.warnings).starts_with("record 1 (a): "));
        assert!(loaded.value[0].edges.iter().all(|e| e.height_m.is_none()));
    }
    let as_text = json!("[{\"kind\":\"hedge\"},null,null,null]");
    let loaded = read(&collection(&[feature(&square(0.0), &json!({"edges": as_text}))]));
    assert_eq!(loaded.value[0].edges[0].kind, EdgeKind::Hedge);
}

#[test]
fn columns_that_are_not_understood_are_kept() {
    let properties = json!({"surface": "moon dust", "stock": "dragons", "surveyed": "03/04/2026"});
    let loaded = read(&collection(&[feature(&square(0.0), &properties)]));
    let field = &loaded.value[0];
    assert_eq!((field.surface, field.stock, field.surveyed), (Surface::Unknown, Stock::Unknown, None));
    assert_eq!(field.other.len(), 3);
    assert_eq!(loaded.warnings.len(), 3);
    for (value, stock) in [(json!(true), Stock::Present), (json!(false), Stock::None), (json!("Sheep"), Stock::Present)]
    {
        let loaded = read(&collection(&[feature(&square(0.0), &json!({"stock": value}))]));
        assert_eq!(loaded.value[0].stock, stock);
    }
}

#[test]
fn identifiers_are_made_and_made_unique() {
    let mut with_member = feature(&square(0.0), &json!({"id": "column"}));
    with_member["id"] = json!("member");
    let list = [
        with_member,
        feature(&square(0.01), &json!({})),
        feature(&square(0.02), &json!({"id": "a"})),
        feature(&square(0.03), &json!({"id": "a"})),
        feature(&square(0.04), &json!({"id": "a"})),
        feature(&square(0.05), &json!({"id": "a (2)"})),
    ];
    let loaded = read(&collection(&list));
    let ids: Vec<&str> = loaded.value.iter().map(|f| f.id.as_str()).collect();
    assert_eq!(ids, ["member", "field-2", "a", "a (2)", "a (3)", "a (2) (2)"]);
    assert_eq!(loaded.value[0].other, [("id".to_owned(), "column".to_owned())]);
    assert_eq!(loaded.warnings.len(), 3);
    assert!(said(&loaded.warnings).contains("the identifier “a” is taken; it became “a (2)”"));
}

#[test]
fn every_form_of_geojson() {
    let ring = square(0.0);
    let polygon = json!({"type": "Polygon", "coordinates": [ring]});
    let multi = json!({"type": "MultiPolygon", "coordinates": [[square(0.0)], [square(0.01)]]});
    for (text, count) in [
        (polygon.to_string(), 1),
        (format!("\u{feff}{polygon}"), 1),
        (json!({"type": "Feature", "properties": null, "geometry": polygon}).to_string(), 1),
        (json!({"type": "GeometryCollection", "geometries": [polygon, {"type": "Point", "coordinates": [0, 0]}]}).to_string(), 1),
        (multi.to_string(), 2),
        (collection(&[json!({"type": "Feature", "properties": {}, "geometry": null})]), 0),
        (collection(&[]), 0),
        (json!({"type": "Point", "coordinates": [-2.3, 51.5]}).to_string(), 0),
        (json!({"type": "Polygon", "coordinates": []}).to_string(), 0),
        (json!({"type": "Polygon", "coordinates": [square(0.0).as_array().unwrap().iter().map(|p| json!([p[0], p[1], 99.0])).collect::<Vec<_>>()]}).to_string(), 1),
    ] {
        let loaded = read(&text);
        assert_eq!(loaded.value.len(), count, "{text}");
        if count == 0 {
            assert!(said(&loaded.warnings).contains("no areas were found"), "{text}");
        }
    }
    let loaded =
        read(&collection(&[json!({"type": "Feature", "properties": {"id": "m", "edges": []}, "geometry": multi})]));
    assert_eq!(loaded.value[1].id, "m-2");
    assert!(said(&loaded.warnings).contains("several parts, so its edges belong to no one"));
}

#[test]
fn one_bad_feature_costs_one_feature() {
    let list = [
        json!(7),
        json!({"type": "Thing"}),
        json!({"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [[["a", 1]]]}}),
        json!({"type": "Feature", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [[[1], [2], [3], [1]]]}}),
        json!({"type": "Feature", "properties": {}, "geometry": {"type": "Blob", "coordinates": []}}),
        json!({"type": "Feature", "properties": [], "geometry": {"type": "Polygon", "coordinates": [square(0.0)]}}),
        feature(
            &json!([[-2.3, 51.5], [-2.299, 51.501], [-2.299, 51.5], [-2.3, 51.501], [-2.3, 51.5]]),
            &json!({"name": "Bow"}),
        ),
        feature(&json!([[-2.3, 51.5], [-2.3, 51.5]]), &json!({})),
        feature(&json!([[-2.3, 51.5], [-2.299, 151.5], [-2.299, 51.501]]), &json!({})),
        feature(&square(0.01), &json!({"id": "good"})),
    ];
    let loaded = read(&collection(&list));
    let ids: Vec<&str> = loaded.value.iter().map(|f| f.id.as_str()).collect();
    assert_eq!(ids, ["field-6", "good"]);
    let said = said(&loaded.warnings);
    for n in 1..=9 {
        assert!(said.contains(&format!("record {n}")), "{n}: {said}");
    }
    assert!(said.contains("record 7 (Bow): its outline crosses itself"), "{said}");
    assert!(said.contains("record 9: it has a coordinate that is not a number or lies outside"), "{said}");
}

#[test]
fn many_like_faults_make_few_lines() {
    let list: Vec<Value> = (0..500).map(|_| json!({"type": "Feature", "properties": {}, "geometry": null})).collect();
    let loaded = read(&collection(&list));
    assert!(loaded.warnings.len() < 30);
    assert!(said(&loaded.warnings).contains("and 480 more like these: records without a shape"));
}

#[test]
fn reference_systems_are_read_and_never_assumed() {
    let in_metres = json!([[500_000, 5_700_000], [500_100, 5_700_000], [500_100, 5_700_100], [500_000, 5_700_100]]);
    let with_crs = |crs: Value, ring: &Value| {
        json!({"type": "FeatureCollection", "crs": crs, "features": [feature(ring, &json!({}))]}).to_string()
    };
    for name in ["urn:ogc:def:crs:EPSG::32630", "EPSG:32630"] {
        let loaded = read(&with_crs(json!({"type": "name", "properties": {"name": name}}), &in_metres));
        assert!((loaded.value[0].area_m2() - 10_000.0).abs() < 1e-3, "{name}");
    }
    read(&with_crs(json!({"type": "EPSG", "properties": {"code": 32_630}}), &in_metres));
    for name in ["urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:OGC::CRS84", "urn:ogc:def:crs:EPSG::4326"] {
        let loaded = read(&with_crs(json!({"type": "name", "properties": {"name": name}}), &square(0.0)));
        assert!(loaded.value[0].area_m2() > 5_000.0, "{name}");
    }
    for crs in [
        json!(null),
        json!({"type": "link", "properties": {"href": "x"}}),
        json!({"type": "name", "properties": {"name": "atlantis"}}),
        json!({"type": "name", "properties": {}}),
        json!(5),
    ] {
        let error = refuse(&with_crs(crs.clone(), &square(0.0)));
        assert_eq!(error.kind, LoadErrorKind::Crs, "{crs}");
        assert!(error.to_string().contains("--crs EPSG:code"), "{error}");
    }
    let error = refuse(&collection(&[feature(&in_metres, &json!({}))]));
    assert!(error.to_string().contains("no longitudes and latitudes"), "{error}");
    let options = VectorOptions { crs_override: Some(Crs::from_epsg(32_630).unwrap()), ..VectorOptions::default() };
    let text = collection(&[feature(&in_metres, &json!({}))]);
    let loaded = fields_from_geojson("fields.geojson", &text, &frame(), &options).unwrap();
    assert_eq!(loaded.value.len(), 1);
    assert!(loaded.provenance[0].contains("as named by the user"));
}

#[test]
fn files_that_are_no_geojson_are_refused_in_one_sentence() {
    let deep = format!("{{\"type\":\"Polygon\",\"coordinates\":{}{}}}", "[".repeat(50_000), "]".repeat(50_000));
    for (text, part, kind) in [
        (String::new(), "empty", LoadErrorKind::Empty),
        ("  \n".into(), "empty", LoadErrorKind::Empty),
        ("{\"type\": \"FeatureColl".into(), "line 1, column", LoadErrorKind::Truncated),
        ("<kml/>".into(), "not JSON", LoadErrorKind::Corrupt),
        ("[1, 2]".into(), "not a GeoJSON object", LoadErrorKind::Unsupported),
        ("{}".into(), "without a GeoJSON type", LoadErrorKind::Unsupported),
        ("{\"type\": \"Topology\"}".into(), "TopoJSON", LoadErrorKind::Unsupported),
        ("{\"type\": \"Banana\"}".into(), "none of GeoJSON's", LoadErrorKind::Unsupported),
        ("{\"type\": \"FeatureCollection\"}".into(), "without an array of features", LoadErrorKind::Corrupt),
        ("{\"type\": \"Point\", \"coordinates\": [1e999, 0]}".into(), "not JSON", LoadErrorKind::Corrupt),
        (deep, "nested deeper", LoadErrorKind::Corrupt),
    ] {
        let error = refuse(&text);
        assert_eq!(error.kind, kind, "{error}");
        let words = error.to_string();
        assert!(words.starts_with("fields.geojson") && words.contains(part) && words.contains("; "), "{words}");
        assert!(!words.contains('\n'));
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("latin.geojson");
    std::fs::write(&path, b"{\n\"name\": \"M\xfchle\"}").unwrap();
    let error = load_fields(&path, &frame(), &VectorOptions::default()).unwrap_err();
    assert!(error.to_string().contains("line 2: it is not UTF-8"), "{error}");
    std::fs::write(folder.path().join("fields.txt"), "a list of fields").unwrap();
    for (name, part) in [("missing.geojson", "no such file"), ("fields.txt", "no GeoJSON, Shapefile, KML")] {
        let error = load_fields(&folder.path().join(name), &frame(), &VectorOptions::default()).unwrap_err();
        assert!(error.to_string().contains(part), "{error}");
    }
}

fn hazards(features: &[Value]) -> Loaded<Hazards> {
    hazards_from_geojson("hazards.geojson", &collection(features), &frame(), &VectorOptions::default()).unwrap()
}

fn thing(geometry: Value, properties: Value) -> Value {
    json!({"type": "Feature", "properties": properties, "geometry": geometry})
}

#[test]
fn hazards_of_every_kind() {
    let loaded = hazards(&[
        thing(
            json!({"type": "LineString", "coordinates": [[-2.3, 51.5], [-2.29, 51.5]]}),
            json!({"kind": "Wires", "id": "w"}),
        ),
        thing(
            json!({"type": "Point", "coordinates": [-2.3, 51.5]}),
            json!({"kind": "mast", "height_m": 45, "owner": "x"}),
        ),
        thing(json!({"type": "Point", "coordinates": [-2.3, 51.5]}), json!({"kind": "lone_tree", "height": "60 ft"})),
        thing(json!({"type": "Polygon", "coordinates": [square(0.0)]}), json!({"kind": "wood", "HEIGHT_FT": 50})),
        thing(json!({"type": "Polygon", "coordinates": [square(0.0)]}), json!({"kind": "other", "height": 4})),
    ]);
    let kinds: Vec<HazardKind> = loaded.value.hazards.iter().map(|h| h.kind).collect();
    assert_eq!(kinds, [HazardKind::Wires, HazardKind::Mast, HazardKind::LoneTree, HazardKind::Wood, HazardKind::Other]);
    let heights: Vec<Option<f64>> =
        loaded.value.hazards.iter().map(|h| h.height_m.map(|v| (v * 1e4).round() / 1e4)).collect();
    assert_eq!(heights, [None, Some(45.0), Some(18.288), Some(15.24), Some(4.0)]);
    assert_eq!(loaded.value.hazards[1].other, [("owner".to_owned(), "x".to_owned())]);
    assert_eq!(said(&loaded.warnings), "record 5: the unit of its height is not stated; metres were taken\n");
}

#[test]
fn unclear_hazards_are_kept_larger() {
    let bow_tie = json!([[-2.3, 51.5], [-2.299, 51.501], [-2.299, 51.5], [-2.3, 51.501], [-2.3, 51.5]]);
    let loaded = hazards(&[
        thing(json!({"type": "Polygon", "coordinates": [bow_tie]}), json!({"kind": "wood"})),
        thing(
            json!({"type": "Polygon", "coordinates": [[[-2.3, 51.5], [-2.299, 51.5], [-2.3, 51.5]]]}),
            json!({"kind": "building"}),
        ),
        thing(
            json!({"type": "Polygon", "coordinates": [[[-2.3, 51.5], [-2.299_999, 51.5], [-2.3, 51.500_001]]]}),
            json!({"kind": "mast"}),
        ),
        thing(json!({"type": "Point", "coordinates": [-2.3, 51.5]}), json!({"kind": "dragon"})),
        thing(json!({"type": "MultiPoint", "coordinates": [[-2.3, 51.5], [-2.29, 51.5]]}), json!({"height_m": "soon"})),
        thing(json!({"type": "Point", "coordinates": [-2.3, 99.5]}), json!({"kind": "mast"})),
    ]);
    let list = &loaded.value.hazards;
    assert_eq!(list.len(), 6);
    let area =
        |i: usize| if let HazardShape::Area { outer, .. } = &list[i].shape { ring_area(outer) } else { f64::NAN };
    assert!(area(0) > 7_000.0, "the hull of the bow-tie: {}", area(0));
    assert!(matches!(list[1].shape, HazardShape::Line(_)));
    assert!(area(2) > 0.0 && area(2) < 1.0);
    assert_eq!(list[3].kind, HazardKind::Other);
    assert_eq!(list[3].other, [("kind".to_owned(), "dragon".to_owned())]);
    let said = said(&loaded.warnings);
    for part in [
        "the hull around it",
        "taken as a line",
        "“dragon” is no kind",
        "it has no kind",
        "“soon”",
        "record 6: it has a coordinate",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
}

#[test]
fn quiet_zones() {
    let polygon = json!({"type": "Polygon", "coordinates": [square(0.0)]});
    let loaded = hazards(&[
        thing(polygon.clone(), json!({"kind": "quiet zone", "below_agl_m": 300, "name": "Stables"})),
        thing(polygon.clone(), json!({"below_agl_ft": 1000})),
        thing(polygon, json!({"kind": "quiet-zone"})),
        thing(json!({"type": "Point", "coordinates": [-2.3, 51.5]}), json!({"kind": "quiet zone"})),
    ]);
    let below: Vec<f64> = loaded.value.quiet_zones.iter().map(|z| z.below_agl_m).collect();
    assert_eq!(below.len(), 3);
    assert!((below[0] - 300.0).abs() < 1e-9 && (below[1] - 304.8).abs() < 1e-9 && (below[2] - 152.4).abs() < 1e-9);
    assert!(loaded.value.hazards.is_empty());
    assert!(said(&loaded.warnings).contains("500 ft were taken") && said(&loaded.warnings).contains("no area"));
}

#[test]
fn what_is_written_is_read_back() {
    let fields = read(&collection(&[
        feature(
            &square(0.0),
            &json!({"id": "a", "name": "Long Acre", "surface": "stubble", "stock": "present", "surveyed": "2026-10-01",
                "notes": "n", "crop": "12", "edges": ["hedge", {"kind": "wires", "height_m": 9.5}, null, "nothing"]}),
        ),
        json!({"type": "Feature", "id": "b", "properties": {}, "geometry": {"type": "Polygon", "coordinates": [square(0.01),
            [[-2.2898, 51.5002], [-2.2896, 51.5002], [-2.2896, 51.5004], [-2.2898, 51.5002]]]}}),
    ]))
    .value;
    let others = hazards(&[
        thing(
            json!({"type": "LineString", "coordinates": [[-2.3, 51.5], [-2.29, 51.5]]}),
            json!({"kind": "wires", "id": "w", "height_m": 9}),
        ),
        thing(json!({"type": "Point", "coordinates": [-2.3, 51.5]}), json!({"kind": "other", "name": "crane"})),
        thing(
            json!({"type": "Polygon", "coordinates": [square(0.0)]}),
            json!({"kind": "quiet zone", "below_agl_m": 300, "name": "Stables"}),
        ),
    ])
    .value;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("out.geojson");
    write_geojson(&path, &field_features(&fields), &frame()).unwrap();
    let back = load_fields(&path, &frame(), &VectorOptions::default()).unwrap();
    assert_eq!(back.warnings, []);
    for (a, b) in fields.iter().zip(&back.value) {
        for (p, q) in a.outer.iter().chain(a.holes.iter().flatten()).zip(b.outer.iter().chain(b.holes.iter().flatten()))
        {
            assert!(p.distance(*q) < 2e-3);
        }
        let bare = |f: &Field| Field { outer: vec![], holes: vec![], ..f.clone() };
        assert_eq!(bare(a), bare(b));
    }
    let mut features = hazard_features(&others.hazards);
    features.extend(quiet_zone_features(&others.quiet_zones));
    write_geojson(&path, &features, &frame()).unwrap();
    let back = load_hazards(&path, &frame(), &VectorOptions::default()).unwrap();
    assert_eq!(back.warnings, []);
    assert_eq!(back.value.hazards.len(), 2);
    assert_eq!(back.value.hazards[1].kind, HazardKind::Other);
    assert_eq!(back.value.hazards[1].name, "crane");
    assert_eq!(back.value.quiet_zones[0].name, "Stables");
    let missing = folder.path().join("no/such/folder/out.geojson");
    assert!(write_geojson(&missing, &features, &frame()).unwrap_err().to_string().contains("cannot be written"));
}

#[test]
fn poles_and_zones_come_back() {
    let at = |east: f64, north: f64| Xy::new(548_000.0 + east, 5_706_000.0 + north);
    let line = HazardShape::Line(vec![at(0.0, 0.0), at(80.0, 0.0), at(160.0, 5.0)]);
    let mut wires = Hazard::new("w", HazardKind::Wires, line);
    wires.pole_heights_m = vec![Some(9.0), None, Some(14.5)];
    let zone = QuietZone {
        id: "z".into(),
        kind: QuietKind::Houses,
        name: "the row".into(),
        outer: vec![at(0.0, 100.0), at(90.0, 100.0), at(90.0, 180.0)],
        below_agl_m: 150.0,
    };
    let mut features = hazard_features(&[wires]);
    features.extend(quiet_zone_features(&[zone]));
    let text = feature_collection(&features, &frame()).unwrap().to_string();
    let read = |text: &str| hazards_from_geojson("h.geojson", text, &frame(), &VectorOptions::default()).unwrap();
    let back = read(&text);
    assert_eq!(back.warnings, []);
    assert_eq!(back.value.hazards[0].pole_heights_m, [Some(9.0), None, Some(14.5)]);
    let zone = &back.value.quiet_zones[0];
    assert_eq!((zone.id.as_str(), zone.kind, zone.name.as_str()), ("z", QuietKind::Houses, "the row"));
    // One height too few: which pole it belongs to is not known, so no height is.
    let short = read(&text.replace("[9.0,null,14.5]", "[9.0,14.5]"));
    assert!(said(&short.warnings).contains("3 vertices but 2 heights of poles"), "{}", said(&short.warnings));
    assert!(short.value.hazards[0].pole_heights_m.is_empty() && short.value.hazards[0].other.len() == 1);
}

#[test]
fn contours_are_written_as_lines() {
    let frame = frame();
    let lines = vec![vec![Xy::new(500_000.0, 5_700_000.0), Xy::new(500_100.0, 5_700_000.0)]; 2];
    let features = [ExportFeature {
        id: String::new(),
        shape: ExportShape::Lines(lines),
        properties: vec![("spare_height_m".into(), json!(100))],
    }];
    let value = feature_collection(&features, &frame).unwrap();
    assert_eq!(value["features"][0]["geometry"]["type"], "MultiLineString");
    assert_eq!(value["features"][0]["properties"]["spare_height_m"], 100);
    assert!(value["features"][0].get("id").is_none());
}

proptest! {
    #[test]
    fn no_damage_makes_it_panic(at in any::<prop::sample::Index>(), byte: u8, cut in prop::option::of(any::<prop::sample::Index>())) {
        let text = collection(&[
            feature(&square(0.0), &json!({"id": "a", "edges": ["hedge", {"kind": "wires", "height_m": 9.5}, null, "nothing"]})),
            thing(json!({"type": "MultiPolygon", "coordinates": [[square(0.01)]]}), json!({"kind": "wood", "height": "5 m"})),
        ]);
        let mut bytes = text.into_bytes();
        let place = at.index(bytes.len());
        bytes[place] = byte;
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        // Without a conversion of coordinates, which has nothing to do with damage and takes long.
        if let Ok(layer) = geojson_in::read(Path::new("x"), &bytes) {
            let placer = |[x, y]: Pair| Some(Xy::new(x, y));
            let (fields, _) = fields::fields(layer.clone(), &placer, &mut Notes::default());
            prop_assert!(fields.iter().all(|f| f.outer.len() == f.edges.len()));
            let _some = hazards::hazards(layer, &placer, &mut Notes::default());
        }
    }
}
