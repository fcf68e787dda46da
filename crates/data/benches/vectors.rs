//! Reading a large layer of fields: 20 000 fields of eight corners with edges, from GeoJSON text and from files of other formats.

use criterion::{Criterion, criterion_group, criterion_main};
use sparefield_data::frame::Frame;
use sparefield_data::vector::{
    EdgeLine, Exported, Format, VectorFile, VectorOptions, fields_from_geojson, layers_of, match_edges, write_vector,
};
use sparefield_geometry::fields::model::{BoundaryEdge, EdgeKind, Hazard, QuietZone};
use std::fmt::Write;
use std::hint::black_box;

const FIELDS: usize = 20_000;

fn text() -> String {
    let mut text = String::from("{\"type\":\"FeatureCollection\",\"features\":[");
    for i in 0..FIELDS {
        let (x, y) = (-2.9 + 0.002 * (i % 200) as f64, 51.0 + 0.002 * (i / 200) as f64);
        let corners = [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1), (0, 0)];
        let ring: Vec<String> = corners
            .iter()
            .map(|(a, b)| format!("[{:.7},{:.7}]", x + 0.000_9 * f64::from(*a), y + 0.000_8 * f64::from(*b)))
            .collect();
        let comma = if i == 0 { "" } else { "," };
        let edges = "{\"kind\":\"hedge\",\"height_m\":2.5},".repeat(7) + "{\"kind\":\"fence\",\"height_m\":1.2}";
        let written = write!(
            text,
            "{comma}{{\"type\":\"Feature\",\"properties\":{{\"id\":\"f{i}\",\"surface\":\"stubble\",\"edges\":[{edges}]}},\
             \"geometry\":{{\"type\":\"Polygon\",\"coordinates\":[[{}]]}}}}",
            ring.join(",")
        );
        debug_assert!(written.is_ok());
    }
    text + "]}"
}

fn vectors(c: &mut Criterion) {
    let text = text();
    let Ok(frame) = Frame::from_user("EPSG:32630") else { return };
    let options = VectorOptions::default();
    let read = || fields_from_geojson("bench.geojson", &text, &frame, &options);
    let Ok(loaded) = read() else { return };
    assert_eq!((loaded.value.len(), loaded.warnings.len()), (FIELDS, 0));
    let mut group = c.benchmark_group("vectors");
    group.sample_size(10);
    group.bench_function("read 20 000 fields", |b| b.iter(|| black_box(read())));
    let Ok(folder) = tempfile::tempdir() else { return };
    for format in [Format::Kml, Format::GeoPackage, Format::Shapefile] {
        let path = folder.path().join(format!("fields.{}", format.extension()));
        let what = Exported { fields: true, ..Exported::NOTHING };
        let layers = layers_of(format, what, &loaded.value, &[] as &[Hazard], &[] as &[QuietZone]);
        let name = format.words();
        group.bench_function(format!("write 20 000 fields as {name}"), |b| {
            b.iter(|| assert!(write_vector(&path, format, &layers, &frame).is_ok()));
        });
        assert!(write_vector(&path, format, &layers, &frame).is_ok(), "what is read next must be there");
        group.bench_function(format!("look at and read 20 000 fields of a {name}"), |b| {
            b.iter(|| {
                let file = VectorFile::open(&path);
                assert!(file.is_ok(), "a file just written opens");
                let Ok(file) = file else { return };
                let mappings: Vec<_> = file.preview().layers.into_iter().map(|l| l.guess).collect();
                assert!(file.read(&frame, &mappings).is_ok_and(|read| read.value.fields.len() == FIELDS));
            });
        });
    }
    let lines: Vec<EdgeLine> = loaded
        .value
        .iter()
        .map(|f| EdgeLine {
            place: String::new(),
            field_id: String::new(),
            line: f.outer[..3].to_vec(),
            edge: BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(3.0) },
        })
        .collect();
    group.bench_function("match 20 000 lines to 160 000 sides", |b| {
        b.iter(|| {
            let mut fields = loaded.value.clone();
            let (sides, _) = match_edges(&mut fields, &lines);
            assert!(sides >= 2 * FIELDS);
        });
    });
    group.finish();
}

criterion_group!(benches, vectors);
criterion_main!(benches);
