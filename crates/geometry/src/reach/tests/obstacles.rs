//! Walls, ridges, gaps in the data, and bad states.

use super::*;
use crate::reach::ReachError;

/// A wall one post wide with a free end, and the shortest way round it.
#[test]
fn thin_wall_is_rounded_at_its_end() {
    let (wall_col, end_row) = (140, 90);
    let terrain = terrain_of(241, 241, 25.0, |r, c| if c == wall_col && r >= end_row { 5_000.0 } else { 0.0 });
    let v = 22.0;
    let mut aircraft = held(v);
    aircraft.glide = crate::aircraft::GlideCurve::from_best_glide(v, 10.0).unwrap();
    let start = terrain.frame.centre(150, 110);
    let options = ReachOptions { clearance_m: 0.0, reaction_time_s: 0.0, bend_turns: false };
    let state = at(start, 600.0, None);
    let reach = forward_reach(&terrain, &aircraft, &wind(0.0, 0.0), &state, &options, &|| false).unwrap();
    // The bilinear surface rises from row end_row − 1 and one column on either side of the wall, so that no path may
    // enter those patches (but for their lowest millimetres): the way round leads by the posts (end_row − 1, wall_col ± 1)
    // and along the row between them. Those corners are posts, so bends snapped to cell centres are exact here, and the
    // closed form is the shortest path round them.
    let corners = [terrain.frame.centre(end_row - 1, wall_col - 1), terrain.frame.centre(end_row - 1, wall_col + 1)];
    let mut checked = 0;
    for row in 100..170 {
        for col in wall_col + 2..wall_col + 40 {
            let p = terrain.frame.centre(row, col);
            // Hidden cells: below the line from the first corner, round the second.
            let length = start.distance(corners[0]) + corners[0].distance(corners[1]) + corners[1].distance(p);
            let expect = 600.0 - length / 10.0;
            let got = reach.arrival_at_cell(row - reach.offset.0, col - reach.offset.1).unwrap_or(f64::NAN);
            if expect < 1.0 {
                continue;
            }
            checked += 1;
            assert!(got <= expect + 0.2, "{row} {col}: {got} above {expect}");
            // A 5 000 m wall rises by 200 m per metre: the corner may be cut by 3 m at most where the glide is 600 m up.
            assert!(got >= expect - 1e-4, "{row} {col}: {got} for {expect}");
        }
    }
    assert!(checked > 1500, "{checked}");
    // The path's bends are those corners.
    let p = terrain.frame.centre(150, wall_col + 20);
    let path = reach.path_to(&terrain, p).unwrap();
    assert!(path.iter().any(|q| q.position.distance(corners[0]) < 26.0));
}

#[test]
fn a_ridge_higher_than_the_glide_blocks() {
    let terrain = terrain_of(161, 161, 25.0, |_, c| if (100..103).contains(&c) { 450.0 } else { 0.0 });
    let reach = reach(&terrain, &held(22.0), &wind(6.0, 0.0), &at(terrain.frame.centre(80, 60), 480.0, None), 50.0);
    for i in 0..reach.frame.len() {
        let (r, c) = (i / reach.frame.cols, i % reach.frame.cols);
        let reached = reach.arrival_at_cell(r, c).is_some();
        // The post at the foot, column 99, may be reached; the slope up from it may not.
        assert!(!(reached && c + reach.offset.1 > 99), "{r} {c}");
    }
    assert!(reach.reachable_cells() > 1000);
}

#[test]
fn ground_without_data_is_not_crossed() {
    // A strip of one post without data, from edge to edge; and the same with a gap of two posts.
    for gap in [false, true] {
        let terrain =
            terrain_of(
                161,
                161,
                25.0,
                |r, c| {
                    if c == 100 && !(gap && (75..=85).contains(&r)) { f64::NAN } else { 10.0 }
                },
            );
        let start = terrain.frame.centre(80, 70);
        let reach = reach(&terrain, &held(22.0), &wind(0.0, 0.0), &at(start, 400.0, None), 30.0);
        let mut beyond = 0;
        for i in 0..reach.frame.len() {
            let (r, c) = (i / reach.frame.cols, i % reach.frame.cols);
            if reach.arrival_at_cell(r, c).is_some() {
                assert!(terrain.post(r + reach.offset.0, c + reach.offset.1).is_some());
                beyond += usize::from(c + reach.offset.1 > 100);
            }
        }
        assert_eq!(beyond > 0, gap, "{beyond}");
    }
}

#[test]
fn states_that_cannot_be_computed_are_named() {
    let mut terrain = flat(41, 25.0, 100.0);
    terrain.heights_m[20 * 41 + 20] = f32::NAN;
    let go = |state: AircraftState, wind: Wind| {
        forward_reach(&terrain, &held(22.0), &wind, &state, &options(50.0), &|| false).map(|r| r.reachable_cells())
    };
    let p = terrain.frame.centre(10, 10);
    let calm = wind(0.0, 0.0);
    assert_eq!(go(at(Xy::new(0.0, 0.0), 500.0, None), calm.clone()), Err(ReachError::OutsideTerrain));
    assert_eq!(go(at(centre(&terrain), 500.0, None), calm.clone()), Err(ReachError::NoTerrain));
    assert_eq!(
        go(at(p, 80.0, None), calm.clone()),
        Err(ReachError::BelowTerrain { below_m: 20.0, ground_amsl_m: 100.0 })
    );
    assert_eq!(go(at(p, f64::NAN, None), calm.clone()), Err(ReachError::NotFinite));
    assert_eq!(go(at(p, 500.0, None), wind(f64::NAN, 0.0)), Err(ReachError::NotFinite));
    let stopped = forward_reach(&terrain, &held(22.0), &calm, &at(p, 500.0, None), &options(50.0), &|| true);
    assert_eq!(stopped.map(|_| ()), Err(ReachError::Cancelled));
    // Below the clearance but above the ground: an answer that says so.
    let low = forward_reach(&terrain, &held(22.0), &calm, &at(p, 120.0, Some(0.0)), &options(50.0), &|| false).unwrap();
    assert!(low.starts_below_clearance);
    assert_eq!(low.reachable_cells(), 1);
    assert!(low.path_to(&terrain, p + Xy::new(0.0, 30.0)).is_none());
}

#[test]
fn turning_back_costs_the_turn() {
    let terrain = flat(241, 25.0, 0.0);
    let start = centre(&terrain);
    let aircraft = Aircraft::example_flexwing();
    let free = reach(&terrain, &aircraft, &wind(0.0, 0.0), &at(start, 500.0, None), 50.0);
    let north = reach(&terrain, &aircraft, &wind(0.0, 0.0), &at(start, 500.0, Some(0.0)), 50.0);
    let ahead = start + Xy::new(0.0, 1200.0);
    let behind = start - Xy::new(0.0, 1200.0);
    let get = |r: &Reach, p| r.arrival_at(&terrain, p).unwrap().height_amsl_m;
    assert!((get(&free, ahead) - get(&north, ahead)).abs() < 0.05);
    // Behind: a half turn (loss per radian × π), and the distance flown away from it, both ways, and roll-in.
    let turn = aircraft.ordinary_turn(1.0);
    let lost = get(&free, behind) - get(&north, behind);
    let least = turn.loss_m_per_rad * core::f64::consts::PI + 4.0 * 22.352 / 6.0;
    assert!(lost > least && lost < least + 50.0, "{lost} {least}");
    for p in [ahead, behind, start + Xy::new(900.0, -200.0), start + Xy::new(60.0, 40.0)] {
        assert!(get(&north, p) <= get(&free, p) + 1e-9);
    }
}

#[test]
fn wind_moves_the_reaction_and_the_turn() {
    // Exact trochoid of a full-rate turn: after turning by π to the right from north in a wind w, the aircraft is one
    // diameter east of where it began the turn, plus w times the time.
    let terrain = flat(241, 25.0, 0.0);
    let start = centre(&terrain);
    let aircraft = Aircraft { roll_rate_rad_s: 6.0, reaction_time_s: 4.0, ..held(22.0) };
    let w = Xy::new(4.0, 0.0);
    let reach = reach(&terrain, &aircraft, &wind(w.x, w.y), &at(start, 500.0, Some(0.0)), 30.0);
    let behind = start + Xy::new(200.0, -1500.0);
    let path = reach.path_to(&terrain, behind).unwrap();
    let density = crate::air::isa_density_ratio(500.0);
    let v = 22.0 / density.sqrt();
    let after = path.iter().find(|p| (p.position.y - (start.y + 4.0 * v)).abs() < 1e-6).unwrap();
    assert!((after.position.x - (start.x + 16.0)).abs() < 1e-6);
    let sink = aircraft.glide.sink_ms(22.0, 1.0) / density.sqrt();
    assert!((after.height_amsl_m - (500.0 - 4.0 * sink)).abs() < 1e-9);
    // The path never rises.
    assert!(path.windows(2).all(|p| p[1].height_amsl_m <= p[0].height_amsl_m));
}
