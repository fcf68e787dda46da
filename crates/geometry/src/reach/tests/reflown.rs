//! Paths flown again over the bilinear surface, in steps far finer than the grid.

use super::*;
use crate::air::WindLayer;

/// Greatest depth below terrain + clearance along paths to random points, and how many paths there were.
fn worst_depth(terrain: &Terrain, reach: &Reach, clearance: f64, paths: usize, seed: u64) -> (f64, usize) {
    let mut dice = Dice(seed, 0);
    let (mut worst, mut flown) = (0.0f64, 0);
    for _ in 0..paths {
        let (low, high) = reach.frame.bounds();
        let p = Xy::new(dice.within(low.x, high.x), dice.within(low.y, high.y));
        let Some(path) = reach.path_to(terrain, p) else { continue };
        flown += 1;
        let arrival = reach.arrival_at(terrain, p).unwrap();
        let last = path.last().unwrap();
        assert!((last.height_amsl_m - arrival.height_amsl_m).abs() < 1e-6 && last.position.distance(p) < 1e-6);
        assert_eq!(path[0].position, reach.state.position);
        assert!(path[0].height_amsl_m <= reach.state.height_amsl_m);
        for leg in path.windows(2) {
            assert!(leg[1].height_amsl_m <= leg[0].height_amsl_m + 1e-9, "a glide does not climb");
            let d = leg[1].position - leg[0].position;
            let steps = (d.norm() / (terrain.frame.cell_m / 9.0)).ceil().max(1.0);
            for k in 0..=steps as usize {
                let t = k as f64 / steps;
                let h = leg[0].height_amsl_m + t * (leg[1].height_amsl_m - leg[0].height_amsl_m);
                let ground = terrain.height_at(leg[0].position + d * t).expect("paths stay over known ground");
                worst = worst.max(ground + clearance - h);
            }
        }
    }
    (worst, flown)
}

#[test]
fn no_path_dips_below_the_floor() {
    let mut total = 0;
    let aloft = |e, n| WindLayer { height_amsl_m: 900.0, wind: WindVector { east_ms: e, north_ms: n } };
    let winds = [
        wind(0.0, 0.0),
        wind(5.0, -6.2),
        log_wind(-4.0, 5.0, 200.0),
        Wind::new(
            WindVector { east_ms: 3.0, north_ms: 4.0 },
            WindProfile::Power { alpha: 0.2 },
            vec![aloft(12.0, 2.0)],
            250.0,
        ),
    ];
    for (i, wind) in winds.iter().enumerate() {
        for (relief, heading) in [(500.0, None), (900.0, Some(77.0)), (1600.0, Some(200.0))] {
            let seed = 31 + i as u64;
            let terrain = fractal(seed, 260, 25.0, relief, 90.0);
            let start = centre(&terrain);
            let height = terrain.height_at(start).unwrap() + 450.0;
            let reach = reach(&terrain, &Aircraft::example_flexwing(), wind, &at(start, height, heading), 50.0);
            let (worst, flown) = worst_depth(&terrain, &reach, 50.0, 2500, seed);
            assert!(worst < 1e-3, "wind {i}, relief {relief}: {worst} m below the floor");
            assert!(flown > 100, "wind {i}, relief {relief}: {flown}");
            total += flown;
        }
    }
    assert!(total > 10_000, "{total}");
}

/// The stored heights are those of the paths: never above what is flown to the same cell.
#[test]
fn cells_are_never_higher_than_their_paths() {
    let terrain = fractal(5, 240, 25.0, 2600.0, 60.0);
    let start = centre(&terrain);
    let height = terrain.height_at(start).unwrap() + 400.0;
    for wind in [wind(6.0, 3.0), log_wind(6.0, 3.0, 300.0)] {
        let reach = reach(&terrain, &held(23.0), &wind, &at(start, height, Some(300.0)), 50.0);
        let mut bent = 0;
        for i in 0..reach.frame.len() {
            let (r, c) = (i / reach.frame.cols, i % reach.frame.cols);
            let Some(h) = reach.arrival_at_cell(r, c) else { continue };
            let arrival = reach.arrival_at(&terrain, reach.frame.centre(r, c)).expect("a reached cell has a path");
            assert!(h <= arrival.height_amsl_m + 1e-9);
            // The point query also tries the cells around as bends. Inside the first turn's own size the start tried
            // for a cell need not be the best one.
            let near = reach.frame.centre(r, c).distance(start) < 600.0;
            assert!(arrival.height_amsl_m - h < if near { 10.0 } else { 1.0 }, "{} {h}", arrival.height_amsl_m);
            bent += usize::from(reach.anchors[i] as usize >= reach.starts);
        }
        assert!(bent > 200, "{bent}");
    }
}
