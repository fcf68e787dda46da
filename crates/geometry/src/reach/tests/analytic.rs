//! Flat ground, where the footprint is known in closed form, and the loss over a displacement itself.

use super::*;
use crate::air::{WindLayer, isa_density_ratio};
use crate::math;
use crate::reach::Descent;
use proptest::prelude::*;

/// Loss over a displacement at one equivalent airspeed: the time T at which the drifted circle of radius V·T passes
/// through the end, |d − wT| = VT, times the sink. Independent of the track formula used in the code.
fn loss_by_drifted_circle(aircraft: &Aircraft, v: f64, wind: Xy, density: f64, d: Xy) -> Option<f64> {
    let scale = 1.0 / density.sqrt();
    let (true_v, sink) = (v * scale, aircraft.glide.sink_ms(v, 1.0) * scale);
    // (V² − w²)T² + 2(d·w)T − d² = 0, the least positive root.
    let (a, b, c) = (true_v * true_v - wind.dot(wind), d.dot(wind), -d.dot(d));
    let q = b * b - a * c;
    if q < 0.0 {
        return None;
    }
    // The root written without cancellation: T = −c/(b + √q).
    let t = -c / (b + q.sqrt());
    (t > 0.0).then_some(sink * t)
}

/// Least of the above over speeds, by golden section.
fn best_by_golden_section(aircraft: &Aircraft, wind: Xy, density: f64, d: Xy) -> Option<f64> {
    let f = |v: f64| loss_by_drifted_circle(aircraft, v, wind, density, d).unwrap_or(f64::INFINITY);
    let (mut lo, mut hi) = (aircraft.min_glide_speed_ms, aircraft.max_speed_ms);
    let shrink = (5f64.sqrt() - 1.0) / 2.0;
    for _ in 0..200 {
        let (a, b) = (hi - shrink * (hi - lo), lo + shrink * (hi - lo));
        if f(a) < f(b) || (f(b).is_infinite() && f(a).is_finite()) {
            hi = b;
        } else {
            lo = a;
        }
    }
    let least = f(0.5 * (lo + hi)).min(f(aircraft.min_glide_speed_ms)).min(f(aircraft.max_speed_ms));
    least.is_finite().then_some(least)
}

proptest! {
    #[test]
    fn held_speed_loses_what_the_drifted_circle_says(
        v in 17.0..38.0f64, w in 0.0..15.0f64, from in 0.0..math::TAU, track in 0.0..math::TAU, h in 0.0..3000.0f64,
    ) {
        let aircraft = held(v);
        let wind_at = Bearing::from_rad(from).unit() * w;
        let d = Bearing::from_rad(track).unit() * 1500.0;
        let density = isa_density_ratio(h);
        let descent = Descent::new(&aircraft, &wind(wind_at.x, wind_at.y), h, h);
        let expect = loss_by_drifted_circle(&aircraft, v, wind_at, density, d).unwrap();
        let got = h - descent.height_after(h, d).unwrap();
        prop_assert!((got - expect).abs() <= 1e-9 * expect + 1e-9, "{got} {expect}");
        let needed = descent.height_needed(h, d).unwrap() - h;
        prop_assert!((needed - expect).abs() <= 1e-9 * expect + 1e-9);
    }

    #[test]
    fn best_speed_loses_no_more_than_any_speed(
        w in 0.0..16.0f64, from in 0.0..math::TAU, track in 0.0..math::TAU, h in 0.0..3000.0f64,
    ) {
        let aircraft = Aircraft::example_flexwing();
        let wind_at = Bearing::from_rad(from).unit() * w;
        let d = Bearing::from_rad(track).unit() * 1500.0;
        let descent = Descent::new(&aircraft, &wind(wind_at.x, wind_at.y), h, h);
        let expect = best_by_golden_section(&aircraft, wind_at, isa_density_ratio(h), d).unwrap();
        let got = h - descent.height_after(h, d).unwrap();
        prop_assert!((got - expect).abs() <= 2e-10 * expect + 1e-9, "{got} {expect}");
    }

    #[test]
    fn losses_obey_the_triangle_inequality(
        w in 0.0..30.0f64, a in (-1.0..1.0f64, -1.0..1.0f64), b in (-1.0..1.0f64, -1.0..1.0f64),
    ) {
        let descent = Descent::new(&Aircraft::example_flexwing(), &wind(w, 0.3 * w), 0.0, 0.0);
        let (a, b) = (Xy::new(a.0, a.1) * 1000.0, Xy::new(b.0, b.1) * 1000.0);
        if let Some(bent) = descent.height_after(0.0, a).and_then(|h| descent.height_after(h, b)) {
            prop_assert!(descent.height_after(0.0, a + b).unwrap() >= bent - 1e-6);
        }
    }

    #[test]
    fn layers_never_lose_less_than_the_changing_wind(
        e in -9.0..9.0f64, n in -9.0..9.0f64, track in 0.0..math::TAU, h in 60.0..600.0f64, share in 0.05..0.95f64,
        aloft in prop::option::of((-14.0..14.0f64, -14.0..14.0f64)), speed in prop::option::of(19.0..30.0f64),
    ) {
        let aircraft = speed.map_or_else(Aircraft::example_flexwing, held);
        let layers = aloft.map(|(e, n)| WindLayer { height_amsl_m: 420.0, wind: WindVector { east_ms: e, north_ms: n } });
        let wind = Wind::new(
            WindVector { east_ms: e, north_ms: n }, WindProfile::OPEN_GRASS, layers.into_iter().collect(), 40.0,
        );
        let descent = Descent::new(&aircraft, &wind, 0.0, h);
        prop_assert!(!descent.is_uniform() || (e == 0.0 && n == 0.0));
        let u = Bearing::from_rad(track).unit();
        // Fly down in small steps, each in the wind of its middle, at the best speed there.
        let target = h * share;
        let (mut z, mut distance) = (h, 0.0);
        while z > target {
            let step = 0.05f64.min(z - target);
            let middle = z - 0.5 * step;
            let local = wind.at_amsl(middle).xy();
            let loss = match speed {
                Some(v) => loss_by_drifted_circle(&aircraft, v, local, isa_density_ratio(middle), u),
                None => best_by_golden_section_fast(&aircraft, local, isa_density_ratio(middle), u),
            };
            let Some(loss) = loss else { return Ok(()) };
            distance += step / loss;
            z -= step;
        }
        if let Some(got) = descent.height_after(h, u * distance) {
            // Never higher; and lower by no more than the coarseness of the layers costs.
            prop_assert!(got <= target + 1e-3, "{got} above {target}");
            prop_assert!(got >= target - 2.0 - 0.02 * (h - target), "{got} far below {target}");
            let back = descent.height_needed(got, u * distance).unwrap();
            prop_assert!((back - h).abs() < 1e-6, "{back} {h}");
        }
    }
}

/// The minimum by a scan and parabola, quick enough for thousands of steps.
fn best_by_golden_section_fast(aircraft: &Aircraft, wind: Xy, density: f64, d: Xy) -> Option<f64> {
    let f = |v: f64| loss_by_drifted_circle(aircraft, v, wind, density, d).unwrap_or(f64::INFINITY);
    let (mut lo, mut hi) = (aircraft.min_glide_speed_ms, aircraft.max_speed_ms);
    for _ in 0..24 {
        let (a, b) = (lo + (hi - lo) / 2.618_033_988_75, hi - (hi - lo) / 2.618_033_988_75);
        if f(a) < f(b) { hi = b } else { lo = a }
    }
    let least = f(0.5 * (lo + hi));
    least.is_finite().then_some(least)
}

#[test]
fn wind_on_glide_as_in_the_textbook() {
    // 45 kt, 5:1: 15 kt against gives 3.33, 15 kt behind 6.67; 65 kt, 9:1, 20 kt: 6.23 and 11.77 (wind triangle, small
    // glide angle: ratio times (V ± w)/V).
    const KT: f64 = 1852.0 / 3600.0;
    for (v, ratio, w, expect) in
        [(45.0, 5.0, -15.0, 3.333), (45.0, 5.0, 15.0, 6.667), (65.0, 9.0, -20.0, 6.231), (65.0, 9.0, 20.0, 11.769)]
    {
        let glide = crate::aircraft::GlideCurve::from_best_glide(v * KT, ratio).unwrap();
        let aircraft = Aircraft { glide, glide_speed: GlideSpeed::Held(v * KT), ..Aircraft::example_flexwing() };
        let descent = Descent::new(&aircraft, &wind(w * KT, 0.0), 0.0, 0.0);
        let lost = -descent.height_after(0.0, Xy::new(1000.0, 0.0)).unwrap();
        assert!((1000.0 / lost - expect).abs() < 1e-3, "{} {expect}", 1000.0 / lost);
    }
}

#[test]
fn directions_that_cannot_be_flown_are_none() {
    // 30 m/s of wind against 22 m/s of airspeed: only a cone downwind.
    let descent = Descent::new(&held(22.0), &wind(30.0, 0.0), 0.0, 1000.0);
    assert!(descent.height_after(500.0, Xy::new(-1.0, 0.0)).is_none());
    assert!(descent.height_after(500.0, Xy::new(0.0, 1.0)).is_none());
    assert!(descent.height_after(500.0, Xy::new(1.0, 0.0)).is_some());
    // The cone's half-angle has sine V/w, at the true airspeed (500 m).
    let half = math::asin(22.0 / isa_density_ratio(500.0).sqrt() / 30.0);
    for (share, flyable) in [(0.999, true), (1.001, false)] {
        let d = Xy::new(math::cos(half * share), math::sin(half * share)) * 100.0;
        assert_eq!(descent.height_after(500.0, d).is_some(), flyable);
    }
    // Layers: strong wind aloft only; a glide started below it may go upwind, one from above may not.
    let strong = WindLayer { height_amsl_m: 500.0, wind: WindVector { east_ms: 45.0, north_ms: 0.0 } };
    let layered = Wind::new(WindVector::CALM, WindProfile::Uniform, vec![strong], 0.0);
    let descent = Descent::new(&held(22.0), &layered, 0.0, 1000.0);
    assert!(!descent.is_uniform());
    assert!(descent.height_after(100.0, Xy::new(-100.0, 0.0)).is_some());
    assert!(descent.height_after(700.0, Xy::new(-100.0, 0.0)).is_none());
    assert!(descent.height_after(700.0, Xy::new(100.0, 0.0)).is_some());
}

/// Every cell of a flat scene against the closed form, both ways: reached exactly where it should be, at the height it
/// should be.
fn check_footprint(aircraft: &Aircraft, w: Xy, loss: impl Fn(f64, Xy) -> Option<f64>) {
    let terrain = flat(401, 25.0, 120.0);
    let (height, clearance) = (700.0, 50.0);
    let start = centre(&terrain) + Xy::new(7.0, -3.0);
    let reach = reach(&terrain, aircraft, &wind(w.x, w.y), &at(start, height, None), clearance);
    // The middle between start and lowest floor, as documented.
    let density = isa_density_ratio(0.5 * (height + 170.0));
    let mut checked = 0;
    for row in 0..terrain.frame.rows {
        for col in 0..terrain.frame.cols {
            let expect =
                loss(density, terrain.frame.centre(row, col) - start).map(|l| height - l).filter(|h| *h >= 170.0);
            let got = row
                .checked_sub(reach.offset.0)
                .zip(col.checked_sub(reach.offset.1))
                .and_then(|(r, c)| reach.arrival_at_cell(r, c));
            match (expect, got) {
                (Some(e), Some(g)) => {
                    checked += 1;
                    // 1e-6 of the height lost, and the rounding of the stored f32.
                    assert!((g - e).abs() <= 1e-6 * (height - e) + 6.2e-5, "{row} {col}: {g} for {e}");
                    assert!(g <= e + 1e-7);
                }
                (None, None) => {}
                (Some(e), None) => assert!(e < 170.0 + 1e-6, "{row} {col} missed, {e}"),
                (None, Some(g)) => assert!(g < 170.0 + 1e-6, "{row} {col} extra, {g}"),
            }
        }
    }
    assert!(checked > 10_000, "{checked}");
    assert_eq!(reach.reachable_cells(), checked);
}

#[test]
fn flat_footprint_still_air() {
    let v = 22.0;
    let aircraft = held(v);
    let ratio = v / aircraft.glide.sink_ms(v, 1.0);
    check_footprint(&aircraft, Xy::default(), |_, d| Some(d.norm() / ratio));
}

#[test]
fn flat_footprint_is_a_circle_about_the_drifted_centre() {
    let v = 24.0;
    let aircraft = held(v);
    let w = Xy::new(-5.0, 6.2);
    check_footprint(&aircraft, w, |density, d| loss_by_drifted_circle(&aircraft, v, w, density, d));
}

#[test]
fn flat_footprint_at_best_speed() {
    let aircraft = Aircraft::example_flexwing();
    let w = Xy::new(7.0, -4.0);
    check_footprint(&aircraft, w, |density, d| {
        if d.norm() == 0.0 { Some(0.0) } else { best_by_golden_section(&aircraft, w, density, d) }
    });
}

#[test]
fn wind_stronger_than_airspeed_reaches_only_downwind() {
    let terrain = flat(201, 50.0, 0.0);
    let start = centre(&terrain);
    for heading in [None, Some(90.0), Some(270.0)] {
        let reach = reach(&terrain, &held(20.0), &wind(27.0, 0.0), &at(start, 500.0, heading), 30.0);
        assert!(reach.reachable_cells() > 10, "{heading:?}");
        for i in 0..reach.frame.len() {
            let (r, c) = (i / reach.frame.cols, i % reach.frame.cols);
            if reach.arrival_at_cell(r, c).is_some() {
                assert!(reach.frame.centre(r, c).x >= start.x, "{heading:?}");
            }
        }
    }
}

#[test]
fn five_to_one_from_500_feet_is_2500_feet() {
    // FAA-H-8083-5, weight-shift control: 5:1 at 500 ft gives a radius of 2 500 ft.
    let glide = crate::aircraft::GlideCurve::from_best_glide(22.0, 5.0).unwrap();
    let aircraft = Aircraft { glide, ..held(22.0) };
    let terrain = flat(101, 20.0, 0.0);
    let reach = reach(&terrain, &aircraft, &wind(0.0, 0.0), &at(centre(&terrain), 500.0 * 0.3048, None), 0.0);
    let radius = 2500.0 * 0.3048;
    assert!(reach.max_range_m() <= radius && reach.max_range_m() > radius - 20.0);
    let area = core::f64::consts::PI * radius * radius;
    assert!((reach.reachable_area_m2() / area - 1.0).abs() < 0.02);
}

/// Rows of displacements are worked on in wide registers where the processor has them: each has the bits of its own.
#[test]
fn rows_of_displacements_have_the_bits_of_each() {
    let mut dice = Dice(21, 0);
    // The last blows too hard for some directions; in the one before a limit of speed divides pieces.
    let cases = [
        (Aircraft::example_flexwing(), wind(0.0, 0.0)),
        (Aircraft::example_flexwing(), wind(5.0, -6.0)),
        (Aircraft::example_flexwing(), log_wind(-4.0, 5.0, 200.0)),
        (Aircraft::example_flexwing(), wind(13.0, 2.0)),
        (held(15.0), wind(0.0, 17.0)),
    ];
    let (mut heights, mut infinite) = (0, 0);
    for (aircraft, air) in &cases {
        let descent = Descent::new(aircraft, air, 0.0, 4_000.0);
        for block in 0..2_000 {
            // Near and far; every tenth has the place itself among its cells, or lies on an axis.
            let far = if block % 2 == 0 { 400.0 } else { 20_000.0 };
            let (mut east, mut north) = (dice.within(-far, far), dice.within(-far, far));
            if block % 10 == 0 {
                (east, north) = ((east / 25.0).round() * 25.0, (north / 25.0).round() * 25.0);
            }
            if block % 20 == 0 {
                (east, north) = (east.clamp(-100.0, 100.0), north.clamp(-100.0, 100.0));
            }
            let x = core::array::from_fn(|col| east - 25.0 * col as f64);
            let y = |row: i32| north + 25.0 * f64::from(row);
            let to = |d: Xy| 300.0 + 0.01 * d.x;
            let mut rows = [[0.0; 8]; 8];
            descent.heights_needed(to, x, y, &mut rows);
            for (row, found) in (0..).zip(rows) {
                for (x, found) in x.iter().zip(found) {
                    let d = Xy::new(*x, y(row));
                    let expected = descent.height_needed(to(d), d).unwrap_or(f64::INFINITY);
                    assert_eq!(found.to_bits(), expected.to_bits(), "{d:?}: {found} {expected}");
                    heights += 1;
                    infinite += usize::from(found.is_infinite());
                }
            }
        }
    }
    assert!(infinite > 1_000 && heights > 2 * infinite, "{heights} {infinite}");
}
