#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]
use sample_terrain::flights::*;
use sample_terrain::noise::Dice;
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::circuit::Surroundings;
use sparefield_geometry::fields::hazards::HazardIndex;
use sparefield_geometry::fields::model::Hazard;
use sparefield_geometry::grid::*;
use sparefield_geometry::position::*;
use sparefield_geometry::track::phases;
use sparefield_geometry::track::samples::Samples;

fn rolling() -> Terrain {
    let frame = GridFrame { origin: Xy::new(0.0, 20_000.0), cell_m: 50.0, cols: 401, rows: 401 };
    let n = sample_terrain::noise::Noise::new(5, 1);
    let heights_m = (0..frame.len())
        .map(|i| (100.0 + 25.0 * n.octaves(frame.centre(i / 401, i % 401), 4000.0, 2)) as f32)
        .collect();
    Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() }
}

#[test]
fn dev() {
    let terrain = rolling();
    let hazards = HazardIndex::new(Vec::<Hazard>::new());
    let aircraft = Aircraft::example_flexwing();
    for (name, how) in [("plain", Difficulty::PLAIN), ("hard", Difficulty::HARD)] {
        let (mut tp, mut fp, mut fneg) = (0, 0, 0);
        let mut onset = vec![];
        let mut height = vec![];
        let mut winds = vec![];
        let mut ends = vec![];
        let t0 = std::time::Instant::now();
        let mut analysis = 0.0;
        let mut secs = 0.0;
        for seed in 0..60 {
            let mut dice = Dice::new(seed, 1);
            let wind = invented_wind(&mut dice, 100.0);
            let from = wind.surface.from_bearing().unwrap();
            let landings: Vec<_> = (0..8).map(|i| {
                let at = Xy::new(dice.within(7000.0, 13000.0), dice.within(7000.0, 13000.0));
                let h = Bearing::from_rad(from.rad() + if i == 0 { 0.0 } else { dice.within(-0.7, 0.7) });
                level_landing(at, terrain.height_at(at).unwrap(), h, 350.0)
            }).collect();
            let surroundings = Surroundings { terrain: &terrain, hazards: &hazards, quiet_zones: &[], clearance_m: 30.0 };
            let land = Land { landings: &landings, surroundings };
            let flight = fly(&land, &aircraft, &wind, 4, how, seed);
            let a = std::time::Instant::now();
            let found = phases::Flight::of(Samples::of(&flight.track), &aircraft, Some(&terrain), None);
            let ex = found.exercises();
            analysis += a.elapsed().as_secs_f64();
            secs += flight.track.fixes.last().unwrap().time_s;
            let mut used = vec![false; ex.len()];
            for t in &flight.exercises {
                let hit = ex.iter().position(|e| e.start_s < t.end_s && e.end_s > t.start_s && ((e.end_s.min(t.end_s) - e.start_s.max(t.start_s)) / (e.end_s.max(t.end_s) - e.start_s.min(t.start_s))) > 0.5);
                match hit {
                    Some(i) if !used[i] => {
                        used[i] = true; tp += 1;
                        onset.push(ex[i].start_s - t.start_s);
                        ends.push(ex[i].end_s - t.end_s);
                        let k = found.samples.index_at(ex[i].start_s);
                        height.push(found.flying[k].height_agl_m.unwrap() - t.height_agl_m);
                    }
                    _ => { fneg += 1; if std::env::var("V").is_ok() { println!("{name} {seed} MISS {:.0}-{:.0} agl {:.0} {:?} found {:?}", t.start_s, t.end_s, t.height_agl_m, t.ending, ex.iter().map(|e| (e.start_s, e.end_s)).collect::<Vec<_>>());
                      for p in &found.phases { if (p.samples.start as f64) < t.end_s && (p.samples.end as f64) > t.start_s - 30.0 { println!("   {:?} {:?} {:?}", p.kind, p.samples, p.engine_ms); } } } }
                }
            }
            for (i, u) in used.iter().enumerate() { if !u { fp += 1; if std::env::var("V").is_ok() { println!("{name} {seed} FALSE {:?} true {:?}", ex[i], flight.exercises.iter().map(|e| (e.start_s as i32, e.end_s as i32)).collect::<Vec<_>>()); } } }
            for b in &found.wind.bands {
                let err = (b.wind.xy() - flight.wind.at_amsl(b.height_amsl_m).xy()).norm();
                winds.push((err, b.sd_ms)); if std::env::var("V").is_ok() { let t = flight.wind.at_amsl(b.height_amsl_m); println!("band {:.0} n {} told {:.1} {:.1} true {:.1} {:.1} sd {:.2}", b.height_amsl_m, b.samples, b.wind.east_ms, b.wind.north_ms, t.east_ms, t.north_ms, b.sd_ms); }
            }
        }
        let f1 = 2.0 * tp as f64 / (2.0 * tp as f64 + fp as f64 + fneg as f64);
        let q = |v: &mut Vec<f64>, p: f64| { v.sort_by(|a, b| a.abs().total_cmp(&b.abs())); v[((v.len() - 1) as f64 * p) as usize] };
        println!("{name}: tp {tp} fp {fp} fn {fneg} F1 {f1:.3} onset med {:.1} p90 {:.1} p97 {:.1}; end med {:.1} p90 {:.1}; height med {:.1} p90 {:.1} p97 {:.1}", q(&mut onset, 0.5), q(&mut onset, 0.9), q(&mut onset, 0.97), q(&mut ends, 0.5), q(&mut ends, 0.9), q(&mut height, 0.5), q(&mut height, 0.9), q(&mut height, 0.97));
        let rms = (winds.iter().map(|w| w.0 * w.0).sum::<f64>() / winds.len() as f64).sqrt();
        let z = (winds.iter().map(|w| (w.0 / w.1).powi(2)).sum::<f64>() / winds.len() as f64).sqrt();
        println!("  wind bands {} rms {rms:.2} z {z:.2}; total {:.1}s analysis {:.2}s for {:.0} flight s", winds.len(), t0.elapsed().as_secs_f64(), analysis, secs);
    }
}
