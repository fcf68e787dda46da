//! Shows what a terrain file is, and times the opening of a window around its middle.
//!
//! `cargo run --release -p sparefield-data --example terrain_info -- FILE [SIDE_KM [CELL_M [EPSG [OUT.tif]]]]`

use sparefield_data::frame::{Crs, Frame};
use sparefield_data::{NoProgress, terrain};
use sparefield_geometry::position::Xy;
use std::path::PathBuf;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().collect();
    let path = PathBuf::from(arguments.get(1).ok_or("name a terrain file")?);
    let mut info = terrain::inspect(&path)?;
    println!("{info:#?}");
    let crs_where_missing = arguments.get(4).map(|text| Crs::from_user(text)).transpose()?;
    if info.crs.is_none() {
        info.crs.clone_from(&crs_where_missing);
    }
    let frame = match info.centre() {
        Some(centre) => Frame::utm_for(centre)?,
        None => Frame::from_crs(crs_where_missing.clone().ok_or("name a reference system")?)?,
    };
    let half_m = arguments.get(2).map(|km| km.parse::<f64>()).transpose()?.map(|km| km * 500.0);
    let window = match (half_m, info.centre()) {
        (Some(half), Some(centre)) => {
            let middle = frame.to_xy(centre)?;
            Some((middle - Xy::new(half, half), middle + Xy::new(half, half)))
        }
        _ => None,
    };
    let cell_m = arguments.get(3).map(|m| m.parse::<f64>()).transpose()?;
    let request = terrain::TerrainRequest { window, cell_m, crs_where_missing, ..terrain::TerrainRequest::new(&frame) };
    let begun = std::time::Instant::now();
    let loaded = terrain::load(&[path], &request, &NoProgress)?;
    let took = begun.elapsed();
    for line in &loaded.provenance {
        println!("{line}");
    }
    for warning in &loaded.warnings {
        println!("warning: {warning}");
    }
    println!("{:?}, heights {:?}", loaded.value.frame, loaded.value.range());
    if let Some(out) = arguments.get(5) {
        terrain::write_geotiff(&PathBuf::from(out), &loaded.value.frame, frame.epsg(), &loaded.value.heights_m)?;
    }
    println!("{:.1} ms", took.as_secs_f64() * 1000.0);
    Ok(())
}
