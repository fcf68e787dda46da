//! Times least heights over a grid from a file, for comparison with other programs on the same grid.
//!
//! `least_heights_timed GRID ROWS COLS CELL_M REPEATS`, where the grid holds little-endian 32-bit heights row by row. The
//! places of the fields come on standard input, a row and a column on each line. `tests/reach_peers/compare.py` calls it.

use sparefield_geometry::air::{Wind, WindVector};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::fields::demand::{ARRIVAL_TRACKS, Demand};
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::reach::ReachOptions;
use sparefield_geometry::reach::least::{LeastOptions, least_heights};
use std::error::Error;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().collect();
    let [_, grid, rows, cols, cell_m, repeats] = args.as_slice() else {
        return Err("give the grid, its rows, columns and cell in metres, and how often".into());
    };
    let (rows, cols): (usize, usize) = (rows.parse()?, cols.parse()?);
    let frame = GridFrame { origin: Xy::default(), cell_m: cell_m.parse()?, cols, rows };
    let bytes = std::fs::read(grid)?;
    let heights_m: Vec<f32> = bytes.as_chunks::<4>().0.iter().map(|b| f32::from_le_bytes(*b)).collect();
    if heights_m.len() != frame.len() {
        return Err(format!("{grid} holds {} heights, not {}", heights_m.len(), frame.len()).into());
    }
    let terrain = Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() };
    let mut fields = Vec::new();
    for line in std::io::stdin().lines() {
        let line = line?;
        let mut numbers = line.split_whitespace().map(str::parse::<usize>);
        let (Some(Ok(row)), Some(Ok(col))) = (numbers.next(), numbers.next()) else {
            return Err(format!("'{line}' is no row and column").into());
        };
        let ground = terrain.post(row, col).ok_or("a field lies where there is no height")?;
        fields.push(Demand {
            field: fields.len(),
            overhead: frame.centre(row, col),
            verdict: Verdict::Workable,
            needed_amsl_m: [ground + 150.0; ARRIVAL_TRACKS],
        });
    }
    let options = LeastOptions {
        fields_needed: 1,
        ceiling_amsl_m: 6_000.0,
        glide: ReachOptions { clearance_m: 100.0, reaction_time_s: 0.0, bend_turns: true },
    };
    let wind = Wind::uniform(WindVector::coming_from(Bearing::from_deg(240.0), 8.0));
    let aircraft = Aircraft {
        glide: sparefield_geometry::aircraft::GlideCurve::from_best_glide(18.0, 8.0)
            .unwrap_or(Aircraft::example_flexwing().glide),
        min_glide_speed_ms: 13.5,
        max_speed_ms: 28.0,
        ..Aircraft::example_flexwing()
    };
    let mut seconds = Vec::new();
    for _ in 0..repeats.parse::<usize>()?.max(1) {
        let begun = Instant::now();
        let found = least_heights(&terrain, &aircraft, &wind, &fields, &options, &|_| {}, &|| false)?;
        // Most heights are worked out when they are asked for: here for every cell.
        let raster = found.raster(1);
        seconds.push(begun.elapsed().as_secs_f64());
        drop((found, raster));
    }
    seconds.sort_by(f64::total_cmp);
    println!("{:.4}", seconds[seconds.len() / 2]);
    Ok(())
}
