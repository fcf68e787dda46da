//! The longest strip, proved from outside: outlines whose answer is known in closed form, and a brute-force search that
//! shares nothing with the code.
//!
//! # Brute force
//! The heading is turned to east by this file's own rotation. The lower side of the strip is tried at every tenth of a
//! metre; every side of every ring is cut to the slab, and the longest stretch of the slab that no side enters and that
//! lies inside is kept. What is found that way is free, so it can only be too short: it is a lower bound, and close to
//! the truth where the step is fine. That a strip is not too long is shown by [`geo`]: the strip, drawn in by a hair, must
//! be contained in the polygon with its holes.

use checks::mistake::Mistake;
use checks::scenery::{Dice, polar, star};
use geo::{Contains, Coord, LineString, Polygon};
use rayon::prelude::*;
use sparefield_geometry::fields::strip::{BEST_TOLERANCE, Scratch, Strip, StripSpace};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};

/// Lengths known in closed form must agree to this share of the field's extent: the rounding of coordinates in a frame
/// of millions of metres (2⁻³⁰ m at 4 000 km), grown by slivers of sides.
const CLOSED_FORM_RELATIVE: f64 = 1e-9;

/// The strip is contained after drawing it in by this, metres: a thousand times the rounding of frame coordinates.
const DRAWN_IN_M: f64 = 1e-5;

/// The bound: the best heading's strip is as long as the true best, to 0.05 %.
const BEST_WITHIN: f64 = 5e-4;

/// How many lengths are compared with a closed form; asserted so that none is lost unnoticed.
const NUMBER_OF_CLOSED_FORMS: usize = 4 * (540 + 4 + 2 + 1 + 9 + 9 + 2 + 2 + 2 + 3 + 2 + 4 + 3);

fn ring(points: &[(f64, f64)]) -> Vec<Xy> {
    points.iter().map(|&(x, y)| Xy::new(x, y)).collect()
}

/// Turned anticlockwise about the origin, then moved.
fn placed(points: &[Xy], by_rad: f64, to: Xy) -> Vec<Xy> {
    let (sin, cos) = (math::sin(by_rad), math::cos(by_rad));
    points.iter().map(|p| to + Xy::new(p.x * cos - p.y * sin, p.x * sin + p.y * cos)).collect()
}

fn longest(space: &StripSpace, heading: Bearing, width: f64) -> f64 {
    space.longest(heading, width, &mut Scratch::default()).map_or(0.0, |s| s.length_m)
}

// ---------------------------------------------------------------------------------------------------------------------
// Closed forms.
// ---------------------------------------------------------------------------------------------------------------------

/// An outline in its own axes, with the length of the longest strip at an angle (anticlockwise from its x axis, in
/// radians) and a width.
struct Shape {
    name: &'static str,
    outer: Vec<Xy>,
    holes: Vec<Vec<Xy>>,
    /// Angles in degrees and widths for which `length` holds.
    cases: Vec<(f64, f64)>,
    length: fn(f64, f64) -> f64,
}

/// The longest rectangle of width `w` at angle `t` inside an `a` × `b` rectangle: its bounding box
/// (l·cos t + w·sin t) × (l·sin t + w·cos t) must fit (elementary geometry).
fn in_rectangle(a: f64, b: f64, t: f64, w: f64) -> f64 {
    let (s, c) = (math::sin(t).abs(), math::cos(t).abs());
    if w * c > b * (1.0 + 1e-12) || w * s > a * (1.0 + 1e-12) {
        return 0.0;
    }
    let along = if c > 1e-9 { (a - w * s) / c } else { f64::INFINITY };
    let across = if s > 1e-9 { (b - w * c) / s } else { f64::INFINITY };
    along.min(across).max(0.0)
}

const HEX_SIDE: f64 = 200.0;

fn shapes() -> Vec<Shape> {
    let hexagon: Vec<Xy> = (0..6).map(|k| polar(HEX_SIDE, f64::from(k) * math::PI / 3.0)).collect();
    let level = |widths: &[f64]| widths.iter().map(|&w| (0.0, w)).collect::<Vec<_>>();
    vec![
        Shape {
            name: "rectangle 420 × 130",
            outer: ring(&[(0.0, 0.0), (420.0, 0.0), (420.0, 130.0), (0.0, 130.0)]),
            holes: vec![],
            cases: (0..180).flat_map(|deg| [20.0, 45.0, 130.0].map(|w| (f64::from(deg), w))).collect(),
            length: |t, w| in_rectangle(420.0, 130.0, t, w),
        },
        // By similar triangles: on the legs a strip w wide leaves a·(1 − w/b); on the hypotenuse c its height h = ab/c
        // leaves c·(1 − w/h).
        Shape {
            name: "right triangle, along the leg of 600",
            outer: ring(&[(0.0, 0.0), (600.0, 0.0), (0.0, 250.0)]),
            holes: vec![],
            cases: level(&[10.0, 30.0, 100.0, 249.0]),
            length: |_, w| 600.0 * (1.0 - w / 250.0),
        },
        Shape {
            name: "right triangle, along the leg of 250",
            outer: ring(&[(0.0, 0.0), (600.0, 0.0), (0.0, 250.0)]),
            holes: vec![],
            cases: vec![(90.0, 20.0), (90.0, 300.0)],
            length: |_, w| 250.0 * (1.0 - w / 600.0),
        },
        Shape {
            name: "right triangle, along the hypotenuse of 650",
            outer: ring(&[(0.0, 0.0), (600.0, 0.0), (0.0, 250.0)]),
            holes: vec![],
            cases: vec![(180.0 - math::atan2(250.0, 600.0).to_degrees(), 20.0)],
            length: |_, w| 650.0 * (1.0 - w / (600.0 * 250.0 / 650.0)),
        },
        // Along a diagonal the slab |y| < w/2 is cut by sides that fall by √3 for each metre: 2a − w/√3, for w up to the
        // whole height.
        Shape {
            name: "regular hexagon, along a diagonal",
            outer: hexagon.clone(),
            holes: vec![],
            cases: [0.0, 60.0, 120.0].into_iter().flat_map(|d| [15.0, 60.0, 200.0].map(|w| (d, w))).collect(),
            length: |_, w| 2.0 * HEX_SIDE - w / 3f64.sqrt(),
        },
        // Across, the two level sides are √3·a apart and a long.
        Shape {
            name: "regular hexagon, across",
            outer: hexagon,
            holes: vec![],
            cases: [30.0, 90.0, 150.0].into_iter().flat_map(|d| [15.0, 60.0, HEX_SIDE].map(|w| (d, w))).collect(),
            length: |_, _| HEX_SIDE * 3f64.sqrt(),
        },
        Shape {
            name: "L, along its long arm",
            outer: ring(&[(0.0, 0.0), (500.0, 0.0), (500.0, 80.0), (90.0, 80.0), (90.0, 350.0), (0.0, 350.0)]),
            holes: vec![],
            cases: level(&[20.0, 80.0]),
            length: |_, _| 500.0,
        },
        Shape {
            name: "L, along its short arm",
            outer: ring(&[(0.0, 0.0), (500.0, 0.0), (500.0, 80.0), (90.0, 80.0), (90.0, 350.0), (0.0, 350.0)]),
            holes: vec![],
            cases: vec![(90.0, 20.0), (90.0, 90.0)],
            length: |_, _| 350.0,
        },
        Shape {
            name: "L, wider than its arms",
            outer: ring(&[(0.0, 0.0), (500.0, 0.0), (500.0, 80.0), (90.0, 80.0), (90.0, 350.0), (0.0, 350.0)]),
            holes: vec![],
            cases: level(&[80.5, 200.0]),
            length: |_, _| 90.0,
        },
        // Base 500, height 100, leaning by 75: both slanting sides take 75/100 of the width between them.
        Shape {
            name: "parallelogram",
            outer: ring(&[(0.0, 0.0), (500.0, 0.0), (575.0, 100.0), (75.0, 100.0)]),
            holes: vec![],
            cases: level(&[10.0, 40.0, 100.0]),
            length: |_, w| 500.0 - 0.75 * w,
        },
        // Side 125 long, 400 apart: at right angles to the width, along the slanting sides.
        Shape {
            name: "parallelogram, along its slanting sides",
            outer: ring(&[(0.0, 0.0), (500.0, 0.0), (575.0, 100.0), (75.0, 100.0)]),
            holes: vec![],
            cases: vec![(math::atan2(100.0, 75.0).to_degrees(), 40.0), (math::atan2(100.0, 75.0).to_degrees(), 100.0)],
            length: |_, w| 125.0 - 0.75 * w,
        },
        // A frame: the widest free bands are 110 beside the hole; wider strips fit only left and right of it.
        Shape {
            name: "square ring, beside its hole",
            outer: ring(&[(0.0, 0.0), (400.0, 0.0), (400.0, 400.0), (0.0, 400.0)]),
            holes: vec![ring(&[(110.0, 110.0), (290.0, 110.0), (290.0, 290.0), (110.0, 290.0)])],
            cases: [0.0, 90.0].into_iter().flat_map(|d| [20.0, 110.0].map(|w| (d, w))).collect(),
            length: |_, _| 400.0,
        },
        Shape {
            name: "square ring, wider than its bands",
            outer: ring(&[(0.0, 0.0), (400.0, 0.0), (400.0, 400.0), (0.0, 400.0)]),
            holes: vec![ring(&[(110.0, 110.0), (290.0, 110.0), (290.0, 290.0), (110.0, 290.0)])],
            cases: vec![(0.0, 110.1), (90.0, 300.0), (0.0, 400.0)],
            length: |_, _| 110.0,
        },
    ]
}

/// Turns and places of the shapes: none, and three in the manner of projected coordinates.
fn placements() -> [(f64, Xy); 4] {
    [
        (0.0, Xy::new(0.0, 0.0)),
        (17.3, Xy::new(412_345.6, 5_432_109.8)),
        (123.4, Xy::new(-230.0, 1_700.0)),
        (271.9, Xy::new(700_000.0, 4_100_000.0)),
    ]
}

/// What is handed over when a mistake is made: an outline in feet, or with its axes swapped.
fn mistaken(rings: &[Vec<Xy>], mistake: Mistake) -> Vec<Vec<Xy>> {
    let change = |p: &Xy| mistake.place(Xy::new(mistake.metres(p.x), mistake.metres(p.y)));
    rings.iter().map(|r| r.iter().map(change).collect()).collect()
}

/// Greatest difference from the closed form as a share of the extent, for one shape at one place.
fn closed_form_error(shape: &Shape, (turn_deg, to): (f64, Xy), mistake: Mistake) -> f64 {
    let turn = turn_deg.to_radians();
    let outer = placed(&shape.outer, turn, to);
    let holes: Vec<Vec<Xy>> = shape.holes.iter().map(|h| placed(h, turn, to)).collect();
    let extent = outer.iter().map(|p| p.distance(outer[0])).fold(0.0, f64::max);
    let outer = mistaken(&[outer], mistake).remove(0);
    let space = StripSpace::new(&outer, &mistaken(&holes, mistake), &[]).expect("an outline");
    let mut worst = 0.0f64;
    for &(deg, width) in &shape.cases {
        let want = (shape.length)(deg.to_radians(), width);
        let heading = Bearing::from_rad(math::FRAC_PI_2 - deg.to_radians() - turn);
        // Where only a point is left there may be a strip of no length or none.
        let got = longest(&space, heading, width);
        worst = worst.max((got - want).abs() / extent);
    }
    worst
}

#[test]
fn outlines_with_a_closed_form_hold_their_strip() {
    let mut cases = 0;
    for shape in shapes() {
        for place in placements() {
            let error = closed_form_error(&shape, place, Mistake::None);
            println!("{}, turned by {}°: {error:e}", shape.name, place.0);
            assert!(error <= CLOSED_FORM_RELATIVE, "{}, turned by {}°: {error:e}", shape.name, place.0);
            cases += shape.cases.len();
        }
    }
    assert_eq!(cases, NUMBER_OF_CLOSED_FORMS, "a case was added or lost: say so here");
}

#[test]
fn mistakes_break_the_closed_forms() {
    for shape in shapes() {
        for mistake in [Mistake::FeetForMetres, Mistake::SwappedAxes] {
            let error = closed_form_error(&shape, placements()[1], mistake);
            assert!(error > 1e3 * CLOSED_FORM_RELATIVE, "{} does not notice {mistake:?}: {error:e}", shape.name);
        }
    }
}

#[test]
fn best_of_a_turned_rectangle_is_that_of_the_closed_form() {
    for width in [20.0, 30.0, 90.0] {
        // By a scan of the closed form in 0.0001°.
        let at = |k: u32| in_rectangle(420.0, 130.0, (f64::from(k) * 1e-4).to_radians(), width);
        let truth = (0..=900_000).map(at).fold(0.0, f64::max);
        for (turn, to) in placements() {
            let outer = placed(&ring(&[(0.0, 0.0), (420.0, 0.0), (420.0, 130.0), (0.0, 130.0)]), turn.to_radians(), to);
            let space = StripSpace::new(&outer, &[], &[]).expect("an outline");
            let got = space.best(width, &mut Scratch::default()).expect("a strip").length_m;
            assert!(got * (1.0 + BEST_WITHIN) >= truth, "{width} m wide: {got} of {truth}");
            // The scan misses the sharp top by at most its step times the change of length with angle, 0.1 mm.
            assert!(got <= truth + 1e-2, "{width} m wide: {got} above {truth}");
        }
    }
}

/// A ring between two circles, drawn as 256-gons: along the hole a strip lies on the inner circle and ends at the outer,
/// 2·√(R² − (r + w)²) long. The polygons lie between their inner and outer circles, which gives both bounds.
#[test]
fn a_ring_holds_the_chord_beside_its_hole() {
    const SIDES: usize = 256;
    let gon = |r: f64, turn: f64| -> Vec<Xy> {
        (0..SIDES).map(|k| polar(r, k as f64 * math::TAU / SIDES as f64 + turn)).collect()
    };
    let flat = math::cos(math::PI / SIDES as f64);
    let (outer_r, inner_r) = (300.0, 120.0);
    for width in [20.0, 60.0, 150.0] {
        let chord = |r: f64, hole: f64| 2.0 * (r * r - (hole + width) * (hole + width)).sqrt();
        for (turn, hole_turn) in [(0.0, 0.0), (0.3, 0.007)] {
            let space = StripSpace::new(&gon(outer_r, turn), &[gon(inner_r, hole_turn)], &[]).expect("an outline");
            for deg in [0.0, 31.0, 90.0, 200.0] {
                let got = longest(&space, Bearing::from_deg(deg), width);
                assert!(got <= chord(outer_r, inner_r * flat) + 1e-6, "{width} m at {deg}°: {got} is too long");
                assert!(got >= chord(outer_r * flat, inner_r) - 1e-6, "{width} m at {deg}°: {got} is too short");
            }
            let best = space.best(width, &mut Scratch::default()).expect("a strip").length_m;
            assert!(best <= chord(outer_r, inner_r * flat) + 1e-6);
            assert!(best * (1.0 + BEST_WITHIN) >= chord(outer_r * flat, inner_r));
        }
    }
}

// ---------------------------------------------------------------------------------------------------------------------
// Brute force.
// ---------------------------------------------------------------------------------------------------------------------

/// An outline with what stands inside it; obstacles run clockwise and may overlap each other and the outline.
#[derive(Clone, Debug)]
struct Ground {
    outer: Vec<Xy>,
    holes: Vec<Vec<Xy>>,
    obstacles: Vec<Vec<Xy>>,
    width: f64,
}

const GROUNDS: u64 = 200;

impl Ground {
    fn seeded(seed: u64) -> Self {
        let mut dice = Dice::new(seed + 40_000);
        let centre = Xy::new(dice.within(-1e5, 1e6), dice.within(0.0, 6e6));
        let vertices = 3 + dice.below(20);
        // A third nearly round, a third uneven, a third deeply indented.
        let shortest = [220.0, 120.0, 40.0][dice.below(3)];
        let outer = star(&mut dice, centre, vertices, shortest, 300.0);
        let mut inside = |count: usize, backwards: bool| -> Vec<Vec<Xy>> {
            (0..count)
                .map(|_| {
                    let at = centre + polar(dice.within(0.0, 150.0), dice.within(0.0, math::TAU));
                    let sides = 3 + dice.below(6);
                    let mut ring = star(&mut dice, at, sides, 5.0, 35.0);
                    if backwards {
                        ring.reverse();
                    }
                    ring
                })
                .collect()
        };
        // A third plain, a third with holes, a third with holes and obstacles.
        let (holes, obstacles) = match seed % 3 {
            0 => (vec![], vec![]),
            1 => (inside(1 + seed as usize % 2, true), vec![]),
            _ => (inside(1, true), inside(1 + seed as usize % 3, true)),
        };
        let width = dice.within(12.0, 50.0);
        Self { outer, holes, obstacles, width }
    }

    fn inner(&self) -> impl Iterator<Item = &Vec<Xy>> {
        self.holes.iter().chain(&self.obstacles)
    }

    fn space(&self, mistake: Mistake) -> StripSpace {
        let outer = mistaken(std::slice::from_ref(&self.outer), mistake).remove(0);
        StripSpace::new(&outer, &mistaken(&self.holes, mistake), &mistaken(&self.obstacles, mistake))
            .expect("an outline")
    }

    /// Whether the strip, drawn in by a hair, lies inside the outline and off everything in it.
    fn holds(&self, strip: &Strip) -> bool {
        let u = strip.heading.unit();
        let left = Xy::new(-u.y, u.x);
        let base = self.outer[0];
        let polygon = |ring: &[Xy]| {
            let points = ring.iter().map(|p| Coord { x: p.x - base.x, y: p.y - base.y });
            Polygon::new(LineString::new(points.collect()), vec![])
        };
        let (half, in_by) = (strip.width_m / 2.0 - DRAWN_IN_M, u * DRAWN_IN_M);
        let (from, to) = (strip.start + in_by, strip.end - in_by);
        let rectangle = polygon(&[from + left * half, from - left * half, to - left * half, to + left * half]);
        polygon(&self.outer).contains(&rectangle)
            && self.inner().all(|r| !geo::Intersects::intersects(&polygon(r), &rectangle))
            && (strip.start.distance(strip.end) - strip.length_m).abs() < DRAWN_IN_M
            && ((strip.end - strip.start) * (1.0 / strip.length_m) - u).norm() * strip.length_m < DRAWN_IN_M
    }
}

/// Every ring turned so that the heading points along x.
fn turned(ground: &Ground, heading: Bearing) -> Vec<Vec<Xy>> {
    let (base, u) = (ground.outer[0], heading.unit());
    let turn = |p: &Xy| Xy::new((*p - base).dot(u), u.cross(*p - base));
    core::iter::once(&ground.outer).chain(ground.inner()).map(|r| r.iter().map(turn).collect()).collect()
}

fn inside(ring: &[Xy], p: Xy) -> bool {
    let mut last = ring[ring.len() - 1];
    let mut odd = false;
    for &q in ring {
        if (q.y > p.y) != (last.y > p.y) && q.x + (p.y - q.y) * (last.x - q.x) / (last.y - q.y) > p.x {
            odd = !odd;
        }
        last = q;
    }
    odd
}

/// Longest free stretch of the slab between `y` and `y + width`, if it is longer than `best`.
fn longest_in_slab(rings: &[Vec<Xy>], y: f64, width: f64, best: f64, cuts: &mut Vec<(f64, f64)>) -> f64 {
    // A hair inside, so that what only touches does not block.
    let (bottom, top) = (y + 1e-9, y + width - 1e-9);
    cuts.clear();
    for ring in rings {
        let mut a = ring[ring.len() - 1];
        for &b in ring {
            let (low, high) = if a.y < b.y { (a, b) } else { (b, a) };
            if low.y < top && high.y > bottom {
                let x = |h: f64| low.x + (high.x - low.x) * ((h - low.y) / (high.y - low.y));
                let at_low = if low.y < bottom { x(bottom) } else { low.x };
                let at_high = if high.y > top { x(top) } else { high.x };
                cuts.push((at_low.min(at_high), at_low.max(at_high)));
            }
            a = b;
        }
    }
    cuts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut longest, mut upto) = (best, f64::NEG_INFINITY);
    for &(from, to) in cuts.iter() {
        if from - upto > longest && upto.is_finite() {
            let middle = Xy::new((from + upto) / 2.0, y + width / 2.0);
            if inside(&rings[0], middle) && !rings[1..].iter().any(|r| inside(r, middle)) {
                longest = from - upto;
            }
        }
        upto = upto.max(to);
    }
    longest
}

/// The longest strip at a heading over slabs every `step` metres, and those that begin or end at a vertex.
fn scanned(ground: &Ground, heading: Bearing, step: f64) -> f64 {
    let rings = turned(ground, heading);
    let ys = || rings.iter().flatten().map(|p| p.y);
    let (low, high) = (ys().fold(f64::INFINITY, f64::min), ys().fold(f64::NEG_INFINITY, f64::max));
    let mut cuts = Vec::new();
    let mut best = 0.0;
    for y in ys().flat_map(|y| [y, y - ground.width]) {
        best = longest_in_slab(&rings, y, ground.width, best, &mut cuts);
    }
    for k in 0..=((high - low - ground.width) / step).max(0.0) as usize {
        best = longest_in_slab(&rings, low + k as f64 * step, ground.width, best, &mut cuts);
    }
    best
}

/// What one heading's strip may fall short of the truth by, metres: a tenth of a millimetre. Strips whose lengths differ
/// by less than a ten-millionth count as equal and the middle one of them is taken, which is 0.06 mm for 600 m; the hair
/// of 1e-9 m of the brute force comes on top.
const SHORT_BY_M: f64 = 1e-4;

/// Headings tried for each outline when single headings are compared.
const HEADINGS_EACH: usize = 18;

#[derive(Clone, Copy, Debug, Default)]
struct Compared {
    strips: usize,
    none: usize,
    not_held: usize,
    /// Greatest amount by which the brute force is longer, metres.
    short_by_m: f64,
    /// Greatest amount by which it is shorter; its own step is the reason.
    longer_by_m: f64,
}

fn compare_headings(seed: u64, mistake: Mistake) -> Compared {
    let ground = Ground::seeded(seed);
    let space = ground.space(mistake);
    let mut dice = Dice::new(seed + 90_000);
    let mut scratch = Scratch::default();
    let mut out = Compared::default();
    for _ in 0..HEADINGS_EACH {
        let heading = Bearing::from_deg(dice.within(0.0, 360.0));
        let found = space.longest(heading, ground.width, &mut scratch);
        let truth = scanned(&ground, heading, 0.1);
        let length = found.map_or(0.0, |s| s.length_m);
        match found {
            Some(strip) => {
                out.strips += 1;
                out.not_held += usize::from(!ground.holds(&strip));
            }
            None => out.none += 1,
        }
        out.short_by_m = out.short_by_m.max(truth - length);
        out.longer_by_m = out.longer_by_m.max(length - truth);
    }
    out
}

fn compare_all(seeds: core::ops::Range<u64>, mistake: Mistake) -> Compared {
    let each: Vec<Compared> = seeds.into_par_iter().map(|s| compare_headings(s, mistake)).collect();
    each.into_iter().fold(Compared::default(), |a, b| Compared {
        strips: a.strips + b.strips,
        none: a.none + b.none,
        not_held: a.not_held + b.not_held,
        short_by_m: a.short_by_m.max(b.short_by_m),
        longer_by_m: a.longer_by_m.max(b.longer_by_m),
    })
}

#[test]
fn single_headings_agree_with_the_brute_force_and_are_contained() {
    let all = compare_all(0..GROUNDS, Mistake::None);
    println!("{all:?}");
    assert_eq!(all.strips + all.none, GROUNDS as usize * HEADINGS_EACH);
    assert!(all.strips > 3_000, "{all:?}");
    assert_eq!(all.not_held, 0, "strips outside their field: {all:?}");
    assert!(all.short_by_m <= SHORT_BY_M, "{all:?}");
    // Containment is the proof that nothing is too long; this only shows how fine the brute force is.
    assert!(all.longer_by_m < 2.0, "{all:?}");
}

#[test]
fn mistakes_break_the_comparison_with_the_brute_force() {
    for mistake in [Mistake::FeetForMetres, Mistake::SwappedAxes] {
        let all = compare_all(0..12, mistake);
        assert!(all.not_held > all.strips / 2 && all.strips > 20, "{mistake:?} goes unnoticed: {all:?}");
        assert!(all.short_by_m > 1e3 * SHORT_BY_M, "{mistake:?} goes unnoticed: {all:?}");
    }
}

/// Best heading by trying every tenth of a degree on a scan of 2 m and all vertices, then every hundredth of a degree
/// around the best three on a scan of 0.1 m.
fn best_by_brute_force(ground: &Ground) -> f64 {
    let mut tried: Vec<(f64, f64)> = (0..1_800)
        .map(|k| {
            let deg = f64::from(k) * 0.1;
            (scanned(ground, Bearing::from_deg(deg), 2.0), deg)
        })
        .collect();
    tried.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut best = tried[0].0;
    for &(_, deg) in &tried[..3] {
        for k in -10..=10 {
            best = f64::max(best, scanned(ground, Bearing::from_deg(deg + f64::from(k) * 0.01), 0.1));
        }
    }
    best
}

#[test]
fn best_headings_are_within_the_tolerance_of_the_brute_force() {
    const { assert!(BEST_TOLERANCE <= BEST_WITHIN) };
    let results: Vec<(u64, f64, Option<Strip>, bool)> = (0..GROUNDS)
        .into_par_iter()
        .map(|seed| {
            let ground = Ground::seeded(seed);
            let found = ground.space(Mistake::None).best(ground.width, &mut Scratch::default());
            let truth = best_by_brute_force(&ground);
            (seed, truth, found, found.is_none_or(|s| ground.holds(&s)))
        })
        .collect();
    let (mut found_some, mut worst) = (0, f64::NEG_INFINITY);
    for (seed, truth, found, held) in results {
        let length = found.map_or(0.0, |s| s.length_m);
        assert!(held, "outline {seed}: the best strip lies outside: {found:?}");
        // Runs shorter than they are wide are no landing runs and are not searched for.
        if truth >= Ground::seeded(seed).width {
            found_some += 1;
            worst = worst.max(truth / length - 1.0);
            assert!(length * (1.0 + BEST_WITHIN) >= truth, "outline {seed}: {length} m where {truth} m fit");
        }
    }
    println!("{found_some} outlines, the brute force is longer by at most {worst:e} of the length");
    assert!(found_some > 180, "{found_some}");
}

/// A step of 5° alone is not enough: the bound above must be able to fail.
#[test]
fn a_scan_of_five_degrees_breaks_the_tolerance() {
    let failed = (0..40u64)
        .filter(|&seed| {
            let ground = Ground::seeded(seed);
            let space = ground.space(Mistake::None);
            let coarse = (0..36)
                .map(|k| longest(&space, Bearing::from_deg(f64::from(k) * 5.0), ground.width))
                .fold(0.0, f64::max);
            let best = space.best(ground.width, &mut Scratch::default()).map_or(0.0, |s| s.length_m);
            coarse * (1.0 + BEST_WITHIN) < best
        })
        .count();
    assert!(failed > 20, "{failed}");
}

// ---------------------------------------------------------------------------------------------------------------------
// Reference lengths of another library.
// ---------------------------------------------------------------------------------------------------------------------

/// The file is written to a micrometre; its chords are taken 1e-7 m beside vertices, on sides up to some hundred times
/// longer than high.
const REFERENCE_M: f64 = 1e-4;

const REFERENCE_ROWS: usize = 60;

/// Lengths by erosion in shapely (GEOS), see `strip_reference/generate.py`: heading, width, length, rings.
fn reference() -> Vec<(f64, f64, f64, Vec<Vec<Xy>>)> {
    let text = include_str!("../strip_reference/reference.csv");
    let rows = text.lines().filter(|l| !l.starts_with('#')).skip(1);
    rows.map(|row| {
        let mut columns = row.splitn(4, ',');
        let mut number = || columns.next().and_then(|c| c.parse().ok()).expect("a number");
        let (heading, width, length): (f64, f64, f64) = (number(), number(), number());
        let polygon = columns.next().expect("a polygon").trim_matches('"').trim_start_matches("POLYGON ");
        let rings = polygon.trim_start_matches("((").trim_end_matches("))").split("), (").map(|ring| {
            let mut points: Vec<Xy> = ring
                .split(", ")
                .map(|p| {
                    let (x, y) = p.split_once(' ').expect("two coordinates");
                    Xy::new(x.parse().expect("a number"), y.parse().expect("a number"))
                })
                .collect();
            // Closed there, open here.
            points.pop();
            points
        });
        (heading, width, length, rings.collect())
    })
    .collect()
}

/// Greatest difference from the reference, metres.
fn reference_error(mistake: Mistake) -> f64 {
    let rows = reference();
    assert_eq!(rows.len(), REFERENCE_ROWS);
    assert!(rows.iter().filter(|r| r.3.len() > 1).count() > 20, "holes are among them");
    rows.iter()
        .map(|(deg, width, length, rings)| {
            let rings = mistaken(rings, mistake);
            let space = StripSpace::new(&rings[0], &rings[1..], &[]).expect("an outline");
            (longest(&space, Bearing::from_deg(*deg), *width) - length).abs()
        })
        .fold(0.0, f64::max)
}

#[test]
fn lengths_agree_with_erosion_in_another_library() {
    let error = reference_error(Mistake::None);
    println!("worst difference from shapely: {error:e} m");
    assert!(error <= REFERENCE_M, "{error} m");
    for mistake in [Mistake::FeetForMetres, Mistake::SwappedAxes] {
        assert!(reference_error(mistake) > 1e3 * REFERENCE_M, "{mistake:?} goes unnoticed");
    }
}
