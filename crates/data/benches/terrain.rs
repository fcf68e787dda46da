//! Opening terrain: the committed reference crop, and a whole tile where `SPAREFIELD_OPEN_DATA` names the folder of
//! open data (see `tests/terrain_reference/README.md`).

use criterion::{Criterion, criterion_group, criterion_main};
use sparefield_data::frame::Frame;
use sparefield_data::{NoProgress, terrain};
use sparefield_geometry::position::{LonLat, Xy};
use std::hint::black_box;
use std::path::{Path, PathBuf};

fn crop(c: &mut Criterion) {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/terrain_reference/inputs/copernicus_dsm_crop_cog.tif");
    let Ok(bytes) = std::fs::read(path) else { return };
    let Ok(frame) = Frame::from_user("EPSG:32611") else { return };
    let request = terrain::TerrainRequest { cell_m: Some(30.0), ..terrain::TerrainRequest::new(&frame) };
    c.bench_function("open crop of 110 x 100 posts", |b| {
        b.iter(|| {
            let loaded = terrain::load_bytes("crop.tif", black_box(&bytes), &request, &NoProgress);
            assert!(loaded.is_ok_and(|l| l.value.range().is_some()));
        });
    });
}

fn tile(c: &mut Criterion) {
    let Some(folder) = std::env::var_os("SPAREFIELD_OPEN_DATA").map(PathBuf::from) else { return };
    let middle = LonLat { lon_deg: -118.5, lat_deg: 34.5 };
    let Ok(frame) = Frame::utm_for(middle) else { return };
    let Ok(centre) = frame.to_xy(middle) else { return };
    let half = Xy::new(15_000.0, 15_000.0);
    let request = terrain::TerrainRequest {
        window: Some((centre - half, centre + half)),
        cell_m: Some(30.0),
        ..terrain::TerrainRequest::new(&frame)
    };
    let mut group = c.benchmark_group("open 30 km at 30 m");
    group.sample_size(10);
    for (name, file) in [
        ("Copernicus tile, 1\"", "01_dem_la/Copernicus_DSM_COG_10_N34_00_W119_00_DEM.tif"),
        ("zipped SRTM tile, 1\"", "01_dem_la/N34W119.hgt.zip"),
    ] {
        let paths = [folder.join(file)];
        if !paths[0].exists() {
            continue;
        }
        group.bench_function(name, |b| {
            b.iter(|| {
                let loaded = terrain::load(black_box(&paths), &request, &NoProgress);
                assert!(loaded.is_ok_and(|l| l.value.heights_m.iter().all(|h| h.is_finite())));
            });
        });
    }
    group.finish();
}

criterion_group!(benches, crop, tile);
criterion_main!(benches);
