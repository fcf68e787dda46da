//! A tile of the map from a GeoTIFF image: read, decoded, resampled.

#![allow(clippy::unwrap_used, reason = "a failed unwrap ends the bench")]

use criterion::{Criterion, criterion_group, criterion_main};
use sparefield_data::NoProgress;
use sparefield_data::frame::Frame;
use sparefield_data::imagery::{BlockStore, ImageryLayer, ImageryRequest};
use sparefield_geometry::position::Xy;
use std::path::Path;
use std::sync::Arc;

fn tiles(c: &mut Criterion) {
    let inputs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/imagery_reference/inputs");
    let frame = Frame::from_user("EPSG:32630").unwrap();
    for (file, words) in
        [("grid_27700.tif", "deflate, another grid"), ("overviews_jpeg.tif", "JPEG, the frame's own grid")]
    {
        for (store, kept) in [(192 << 20, "blocks kept"), (0, "blocks read anew")] {
            let request =
                ImageryRequest { frame: &frame, crs_where_missing: None, store: Arc::new(BlockStore::new(store)) };
            let layer = ImageryLayer::open(&inputs.join(file), &request, &NoProgress).unwrap().value;
            let (low, high) = layer.extent().unwrap();
            let middle = (low + high) * 0.5;
            let half = Xy::new(80.0, 80.0);
            let tile = layer.render(middle - half, middle + half, 256, &NoProgress).unwrap();
            assert!(tile.pixels.iter().filter(|p| p[3] == 255).count() * 2 > tile.pixels.len());
            c.bench_function(&format!("tile of 256 pixels, {words}, {kept}"), |b| {
                b.iter(|| layer.render(middle - half, middle + half, 256, &NoProgress).unwrap());
            });
        }
    }
}

criterion_group!(benches, tiles);
criterion_main!(benches);
