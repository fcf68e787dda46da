//! Suggestions on scenes whose answer is known.

use super::*;
use crate::fields::model::{EdgeKind, Field, HazardShape, Stock, Surface, ring_area};
use crate::fields::strip::inside_ring;
use crate::grid::{GridFrame, SurfaceKind, Terrain, TerrainAccuracy};
use crate::position::Xy;
use geo::Validation;
use proptest::prelude::*;

const BARE: TerrainAccuracy = TerrainAccuracy { point_to_point_m: 0.3, kind: SurfaceKind::BareGround };
const TREES: u16 = 10;
const GRASS: u16 = 30;
const CROP: u16 = 40;
const WATER: u16 = 80;

/// Ground is never dead level: every other post stands this much higher, metres. What is dead level counts as water.
const UNEVEN_M: f32 = 0.02;

/// A grid with its south-west corner at the origin.
fn frame(side_m: f64, cell_m: f64) -> GridFrame {
    let n = (side_m / cell_m).round() as usize;
    GridFrame { origin: Xy::new(cell_m / 2.0, side_m - cell_m / 2.0), cell_m, cols: n, rows: n }
}
fn terrain(side_m: f64, cell_m: f64, height: impl Fn(Xy) -> f64) -> Terrain {
    let mut land = exactly(side_m, cell_m, height);
    for (i, h) in land.heights_m.iter_mut().enumerate() {
        *h += uneven(i, land.frame.cols);
    }
    land
}
/// Height of a post over the ground as described.
fn uneven(post: usize, cols: usize) -> f32 {
    if (post / cols + post % cols).is_multiple_of(2) { 0.0 } else { UNEVEN_M }
}
fn exactly(side_m: f64, cell_m: f64, height: impl Fn(Xy) -> f64) -> Terrain {
    let frame = frame(side_m, cell_m);
    let heights_m = (0..frame.len()).map(|i| height(frame.centre(i / frame.cols, i % frame.cols)) as f32).collect();
    Terrain { frame, heights_m, accuracy: BARE }
}
fn table() -> ClassTable {
    let class = |name: &str, used, right| CoverClass { name: name.into(), used, right: Some(right) };
    let classes = [
        (TREES, class("Tree cover", CoverUse::Trees, 0.81)),
        (GRASS, class("Grassland", CoverUse::OpenGrass, 0.34)),
        (CROP, class("Cropland", CoverUse::Crop, 0.78)),
        (WATER, class("Water", CoverUse::Water, 0.92)),
    ];
    ClassTable { classes: classes.into() }
}
fn cover(side_m: f64, cell_m: f64, class: impl Fn(Xy) -> u16) -> LandCover {
    let frame = frame(side_m, cell_m);
    let classes = (0..frame.len()).map(|i| class(frame.centre(i / frame.cols, i % frame.cols))).collect();
    LandCover { frame, classes, table: table() }
}
fn options() -> Options {
    Options { strip_width_m: 20.0, lining_up_m: 0.0, needed_m: 200.0, ..Options::default() }
}
fn scene(terrain: &Terrain) -> Scene<'_> {
    Scene { terrain, cover: None, standing: None, fields: &[], barriers: &[] }
}
fn run(scene: &Scene<'_>, options: &Options) -> Suggestions {
    suggest(scene, options, &|_| {}, &|| false).unwrap()
}
fn within(p: Xy, low: (f64, f64), high: (f64, f64)) -> bool {
    p.x > low.0 && p.y > low.1 && p.x < high.0 && p.y < high.1
}
fn polygon(outer: &[Xy], holes: &[Vec<Xy>]) -> geo::Polygon {
    let ring = |r: &[Xy]| geo::LineString::from(r.iter().map(|p| (p.x, p.y)).collect::<Vec<_>>());
    geo::Polygon::new(ring(outer), holes.iter().map(|h| ring(h)).collect())
}

#[test]
fn a_flat_square_among_trees_is_the_only_suggestion() {
    let land = terrain(1_000.0, 10.0, |_| 50.0);
    let map = cover(1_000.0, 10.0, |p| if within(p, (300.0, 300.0), (600.0, 700.0)) { CROP } else { TREES });
    let found = run(&Scene { cover: Some(&map), ..scene(&land) }, &options());
    assert_eq!(found.proposals.len(), 1);
    let p = &found.proposals[0];
    assert!((ring_area(&p.outline) / (300.0 * 400.0) - 1.0).abs() < 0.03, "{}", ring_area(&p.outline));
    assert!(p.holes.is_empty() && p.outline.len() <= 8);
    // The longest rectangle 20 m wide in 300 × 400: near the diagonal of 500 m, less what its width costs in the
    // corners: on a diagonal at the angle a from the long side, w/2·(tan a + cot a) at each end, 41.7 m in all; turned
    // a little it may be longer, but never as long as the diagonal.
    assert!((500.0 - 41.7 - 20.0..500.0).contains(&p.strip.length_m), "{}", p.strip.length_m);
    assert!(p.usable_m < p.strip.length_m && p.usable_m > p.needed_m);
    assert_eq!(p.surface, Surface::Unknown);
    assert_eq!(p.cover.map(|c| c.used), Some(CoverUse::Crop));
    let field = p.field("new");
    assert_eq!((field.surveyed, field.stock, field.edges.len()), (None, Stock::Unknown, p.outline.len()));
}

#[test]
fn a_ramp_of_eight_percent_is_refused_and_one_of_four_is_not() {
    let refused = terrain(1_000.0, 10.0, |p| 0.08 * p.x);
    assert!(run(&scene(&refused), &options()).proposals.is_empty());
    // Also when it rises across the grid.
    let askew = terrain(1_000.0, 10.0, |p| 0.08 * (0.6 * p.x + 0.8 * p.y));
    assert!(run(&scene(&askew), &options()).proposals.is_empty());
    let gentle = terrain(1_000.0, 10.0, |p| 0.04 * p.x);
    assert!(!run(&scene(&gentle), &options()).proposals.is_empty());
}

#[test]
fn a_slope_allowed_along_and_not_across_leaves_only_strips_up_and_down() {
    // 5.5 % towards east: within 6 % along, beyond 5 % across.
    let land = terrain(1_200.0, 10.0, |p| 0.055 * p.x);
    let strip = |low, high| move |p: Xy| if within(p, low, high) { CROP } else { TREES };
    let up_and_down = cover(1_200.0, 10.0, strip((300.0, 500.0), (700.0, 560.0)));
    let along_the_contour = cover(1_200.0, 10.0, strip((500.0, 300.0), (560.0, 700.0)));
    let found = run(&Scene { cover: Some(&up_and_down), ..scene(&land) }, &options());
    assert_eq!(found.proposals.len(), 1);
    assert!((found.proposals[0].ground.unwrap().slope.abs() - 0.055).abs() < 0.003);
    let found = run(&Scene { cover: Some(&along_the_contour), ..scene(&land) }, &options());
    assert!(found.proposals.is_empty());
}

#[test]
fn a_narrow_neck_splits_and_a_wide_one_does_not() {
    let land = terrain(1_200.0, 5.0, |_| 50.0);
    let with_neck = |half_m: f64| {
        cover(1_200.0, 5.0, move |p| {
            let neck = (p.y - 600.0).abs() < half_m && within(p, (500.0, 0.0), (700.0, 1_200.0));
            let fields = within(p, (200.0, 450.0), (500.0, 750.0)) || within(p, (700.0, 450.0), (1_000.0, 750.0));
            if neck || fields { CROP } else { TREES }
        })
    };
    for (half, count) in [(7.0, 2), (25.0, 1)] {
        let map = with_neck(half);
        let found = run(&Scene { cover: Some(&map), ..scene(&land) }, &options());
        assert_eq!(found.proposals.len(), count, "a neck of {} m", 2.0 * half);
    }
}

#[test]
fn a_ribbon_beside_a_river_is_no_suggestion_where_there_must_be_room_to_line_up() {
    let flat = terrain(800.0, 10.0, |_| 0.0);
    // A meadow, and along its side a ribbon of 30 m that runs on for 600 m.
    let open = |p: Xy| within(p, (100.0, 400.0), (400.0, 600.0)) || within(p, (100.0, 370.0), (700.0, 400.0));
    let map = cover(800.0, 10.0, |p| if open(p) { GRASS } else { TREES });
    let scene = Scene { cover: Some(&map), ..scene(&flat) };
    let ends = |options: &Options| {
        let found = run(&scene, options).proposals;
        let east = found.iter().flat_map(|p| &p.outline).map(|p| p.x).fold(0.0, f64::max);
        (found.len(), east)
    };
    let (count, east) = ends(&options());
    assert!(count == 1 && east > 690.0, "{count} {east}");
    let (count, east) = ends(&Options { lining_up_m: 20.0, ..options() });
    assert!(count == 1 && east < 420.0, "the meadow stays and the ribbon goes: {count} {east}");
    let bad = Options { lining_up_m: -1.0, ..options() };
    assert!(matches!(bad.check(), Err(SuggestError::BadOption { .. })));
}

#[test]
fn a_pond_is_a_hole() {
    let land = terrain(1_000.0, 10.0, |_| 50.0);
    let map = cover(1_000.0, 10.0, |p| {
        if within(p, (440.0, 440.0), (520.0, 520.0)) {
            WATER
        } else if within(p, (200.0, 200.0), (800.0, 800.0)) {
            GRASS
        } else {
            TREES
        }
    });
    let found = run(&Scene { cover: Some(&map), ..scene(&land) }, &options());
    let p = &found.proposals[0];
    assert_eq!((found.proposals.len(), p.holes.len()), (1, 1));
    assert!((ring_area(&p.holes[0]) + 6_400.0).abs() < 600.0, "{}", ring_area(&p.holes[0]));
    // The strip passes beside it.
    let u = p.strip.heading.unit();
    let right = Xy::new(u.y, -u.x) * (p.strip.width_m / 2.0);
    for i in 0..=100 {
        let on = p.strip.start + (p.strip.end - p.strip.start) * (f64::from(i) / 100.0);
        assert!([on, on + right, on - right].iter().all(|q| !inside_ring(&p.holes[0], *q)));
    }
    // A map that is right about grass one time in three says nothing about the surface.
    assert_eq!(p.surface, Surface::Unknown);
}

#[test]
fn a_change_of_use_cuts_and_a_blot_does_not() {
    let land = terrain(1_000.0, 10.0, |_| 50.0);
    let map = cover(1_000.0, 10.0, |p| {
        if !within(p, (100.0, 100.0), (900.0, 500.0)) {
            TREES
        } else if p.x < 500.0 && !within(p, (200.0, 200.0), (240.0, 260.0)) {
            CROP
        } else {
            GRASS
        }
    });
    let found = run(&Scene { cover: Some(&map), ..scene(&land) }, &options());
    assert_eq!(found.proposals.len(), 2);
    assert!(found.proposals.iter().all(|p| p.holes.is_empty() && (ring_area(&p.outline) - 160_000.0).abs() < 6_000.0));
}

/// Even noise between −1 and 1 without a generator: the low digits of a large product.
fn noise(p: Xy) -> f64 {
    let n = ((p.x * 8.0).round() as i64 * 73_856_093) ^ ((p.y * 8.0).round() as i64 * 19_349_663);
    (n.wrapping_mul(2_654_435_761).rem_euclid(20_011)) as f64 / 10_005.0 - 1.0
}

/// Bare ground, and a surface model with a hedge of 3 m along x = 500, trees along y = 800, a barn at the west side.
fn hedged() -> (Terrain, Standing) {
    let land = terrain(1_000.0, 10.0, |p| 50.0 + 0.01 * p.x);
    let mut surface = terrain(1_000.0, 2.0, |p| {
        let tall = if (p.x - 500.0).abs() < 1.6 {
            3.0
        } else if (p.y - 800.0).abs() < 5.0 {
            11.0 + 3.0 * noise(p * 3.0)
        } else if within(p, (188.0, 300.0), (202.0, 760.0)) {
            6.0
        } else {
            0.0
        };
        50.0 + 0.01 * p.x + tall + 0.1 * noise(p)
    });
    surface.accuracy.point_to_point_m = 0.15;
    let standing = Standing::between(&surface, &land);
    (land, standing)
}

#[test]
fn a_hedge_in_the_surface_model_parts_two_fields_and_is_measured() {
    let (land, standing) = hedged();
    let square = |low: (f64, f64), high: (f64, f64)| HazardShape::Area {
        outer: vec![Xy::new(low.0, low.1), Xy::new(high.0, low.1), Xy::new(high.0, high.1), Xy::new(low.0, high.1)],
        holes: vec![],
    };
    // Everything outside 210…790 × 210…790 is kept off.
    let barriers: Vec<Barrier> = [
        square((0.0, 0.0), (210.0, 1_000.0)),
        square((790.0, 0.0), (1_000.0, 1_000.0)),
        square((0.0, 0.0), (1_000.0, 210.0)),
        square((0.0, 790.0), (1_000.0, 1_000.0)),
    ]
    .into_iter()
    .map(|shape| Barrier { shape, keep_off_m: 0.0 })
    .collect();
    let found = run(&Scene { standing: Some(&standing), barriers: &barriers, ..scene(&land) }, &options());
    assert_eq!(found.proposals.len(), 2);
    for p in &found.proposals {
        // One side of each runs along the hedge.
        let along_hedge = |i: usize| {
            let (a, b) = (p.outline[i], p.outline[(i + 1) % p.outline.len()]);
            (a.x - 500.0).abs() < 6.0 && (b.x - 500.0).abs() < 6.0 && a.distance(b) > 300.0
        };
        let hedges: Vec<&EdgeHeight> = (0..p.outline.len()).filter(|i| along_hedge(*i)).map(|i| &p.edges[i]).collect();
        assert_eq!(hedges.len(), 1);
        assert_eq!(hedges[0].kind, Some(SeenKind::Hedge));
        assert!((hedges[0].height_m - 3.0).abs() <= 2.0 * hedges[0].error_m, "{:?}", hedges[0]);
        assert!(hedges[0].error_m < 0.4 && hedges[0].grown > 0.95 && hedges[0].measured > 0.99);
    }
    assert!(found.proposals[0].checked.contains(&Checked::Standing));
    assert!(!found.proposals[0].not_checked.contains(&NotChecked::Standing));
}

#[test]
fn a_surface_model_outweighs_a_map_that_says_trees_but_not_one_that_says_water() {
    let land = terrain(1_000.0, 10.0, |_| 50.0);
    // It shows nothing in the south and has no data in the north.
    let surface = terrain(1_000.0, 5.0, |p| if p.y < 500.0 { 50.1 } else { f64::NAN });
    let standing = Standing::between(&surface, &land);
    let trees = cover(1_000.0, 10.0, |_| TREES);
    let found = run(&Scene { cover: Some(&trees), standing: Some(&standing), ..scene(&land) }, &options());
    assert!(!found.proposals.is_empty());
    for p in &found.proposals {
        assert!(p.outline.iter().all(|v| v.y < 505.0));
        assert!(p.not_checked.contains(&NotChecked::CoverDisagrees));
        assert!(p.parts.iter().any(|part| part.kind == PartKind::Cover && part.value == 0.0));
    }
    let water = cover(1_000.0, 10.0, |_| WATER);
    let found = run(&Scene { cover: Some(&water), standing: Some(&standing), ..scene(&land) }, &options());
    assert!(found.proposals.is_empty());
}

fn drawn(corners: &[(f64, f64)]) -> Field {
    let outer: Vec<Xy> = corners.iter().map(|&(x, y)| Xy::new(x, y)).collect();
    Field {
        id: "drawn".into(),
        name: String::new(),
        edges: vec![crate::fields::model::BoundaryEdge::UNKNOWN; outer.len()],
        outer,
        holes: vec![],
        surface: Surface::Unknown,
        stock: Stock::Unknown,
        surveyed: None,
        notes: String::new(),
        other: vec![],
        ..Field::default()
    }
}

#[test]
fn sides_of_a_drawn_field_are_told_apart() {
    let (_, standing) = hedged();
    // South open, east the hedge (drawn 2 m off its middle), north the trees, west the barn.
    let field = drawn(&[(203.0, 300.0), (498.0, 300.0), (498.0, 794.0), (203.0, 794.0)]);
    let sides = boundary_heights(&field, &standing);
    let kinds: Vec<_> = sides.iter().map(|s| s.kind).collect();
    let expected = [SeenKind::Nothing, SeenKind::Hedge, SeenKind::TreeLine, SeenKind::Building];
    assert_eq!(kinds, expected.map(Some));
    assert!((sides[1].height_m - 3.0).abs() <= 2.0 * sides[1].error_m);
    assert!((10.5..=14.0).contains(&sides[2].height_m) && sides[2].highest_m <= 14.2);
    assert!((sides[3].height_m - 6.0).abs() <= 2.0 * sides[3].error_m);
    // What is not seen is not nothing: the side stays unknown, and as high as a fence.
    let open = sides[0].edge();
    assert_eq!((open.kind, open.height_m), (EdgeKind::Unknown, Some(FENCE_M)));
    assert_eq!(sides[1].edge().kind, EdgeKind::Hedge);
    // Where the model has no data, nothing is said.
    let away = drawn(&[(2_000.0, 0.0), (2_100.0, 0.0), (2_000.0, 90.0)]);
    for side in boundary_heights(&away, &standing) {
        assert_eq!((side.kind, side.measured), (None, 0.0));
        assert_eq!(side.edge(), crate::fields::model::BoundaryEdge::UNKNOWN);
    }
    // A ring without length says nothing and does not panic.
    assert!(side_heights(&[Xy::new(5.0, 5.0), Xy::new(5.0, 5.0)], &standing).iter().all(|s| s.kind.is_none()));
}

#[test]
fn a_crop_in_the_surface_model_widens_the_error_of_a_hedge() {
    let land = exactly(400.0, 10.0, |_| 20.0);
    let with_crop = |crop_m: f64| {
        let surface = exactly(400.0, 2.0, move |p| 20.0 + if (p.y - 300.0).abs() < 2.0 { 2.5 } else { crop_m });
        Standing::between(&surface, &land)
    };
    let field = drawn(&[(100.0, 100.0), (300.0, 100.0), (300.0, 300.0), (100.0, 300.0)]);
    let (bare, grown) = (boundary_heights(&field, &with_crop(0.0)), boundary_heights(&field, &with_crop(0.6)));
    assert!((bare[2].height_m - 2.5).abs() < 1e-3 && (grown[2].height_m - 2.5).abs() < 1e-3);
    assert!(grown[2].error_m >= 0.6 && bare[2].error_m < 0.31, "{:?} {:?}", bare[2], grown[2]);
}

#[test]
fn what_is_not_known_is_never_open() {
    let land = terrain(1_000.0, 10.0, |_| 50.0);
    for class in [NO_CLASS, 7] {
        let map = cover(1_000.0, 10.0, |_| class);
        assert!(run(&Scene { cover: Some(&map), ..scene(&land) }, &options()).proposals.is_empty());
    }
    // A map that ends before the terrain does leaves the rest unknown.
    let half = cover(500.0, 10.0, |_| CROP);
    let found = run(&Scene { cover: Some(&half), ..scene(&land) }, &options());
    assert!(found.proposals.iter().flat_map(|p| &p.outline).all(|p| p.x <= 505.0 && p.y <= 505.0));
    assert!(!found.proposals.is_empty());
    // Nor does terrain without data hold a field.
    let holed = terrain(1_000.0, 10.0, |p| if p.x < 700.0 { f64::NAN } else { 50.0 });
    let found = run(&scene(&holed), &options());
    assert!(!found.proposals.is_empty());
    assert!(found.proposals.iter().flat_map(|p| &p.outline).all(|p| p.x >= 700.0));
    let nothing = terrain(1_000.0, 10.0, |_| f64::NAN);
    assert!(run(&scene(&nothing), &options()).proposals.is_empty());
}

#[test]
fn known_fields_and_barriers_are_left_out() {
    let land = terrain(1_000.0, 10.0, |_| 50.0);
    let map = cover(1_000.0, 10.0, |p| if within(p, (100.0, 100.0), (900.0, 400.0)) { CROP } else { TREES });
    let known = [drawn(&[(100.0, 100.0), (500.0, 100.0), (500.0, 400.0), (100.0, 400.0)]).into()];
    let with_field = Scene { cover: Some(&map), fields: &known, ..scene(&land) };
    let found = run(&with_field, &options());
    assert_eq!(found.proposals.len(), 1);
    assert!(found.proposals[0].outline.iter().all(|p| p.x > 491.0));
    assert!(found.proposals[0].checked.contains(&Checked::KnownFields));
    // A road through the rest leaves two pieces; too near to it nothing is left.
    let road = [Barrier::road(vec![Xy::new(700.0, 0.0), Xy::new(700.0, 1_000.0)])];
    let found = run(&Scene { barriers: &road, ..with_field }, &options());
    assert_eq!(found.proposals.len(), 2);
    for p in found.proposals.iter().flat_map(|p| &p.outline) {
        assert!((p.x - 700.0).abs() > KEEP_OFF_ROAD_M - 4.0, "{p:?}");
    }
    let wires = [Barrier { keep_off_m: 400.0, ..road[0].clone() }];
    assert!(run(&Scene { barriers: &wires, ..with_field }, &options()).proposals.is_empty());
}

#[test]
fn a_coarse_model_certifies_no_slope_of_two_percent() {
    let mut land = terrain(3_000.0, 30.0, |_| 50.0);
    land.accuracy = TerrainAccuracy { point_to_point_m: 2.0, kind: SurfaceKind::SurfaceModel };
    let map = cover(3_000.0, 10.0, |p| if within(p, (900.0, 900.0), (1_100.0, 1_100.0)) { CROP } else { TREES });
    // At most 280 m fit: the slope's error is 0.7 %, two of them are 1.4 %; with a slope of 1 % nobody can tell.
    for (slope, told) in [(0.0, false), (0.01, true)] {
        let heights = land.heights_m.len();
        for i in 0..heights {
            let at = land.frame.centre(i / land.frame.cols, i % land.frame.cols);
            land.heights_m[i] = (50.0 + slope * (at.x + at.y)) as f32 + uneven(i, land.frame.cols);
        }
        let found = run(&Scene { cover: Some(&map), ..scene(&land) }, &options());
        let p = &found.proposals[0];
        assert_eq!(p.not_checked.contains(&NotChecked::FineSlope), told, "{slope}");
        assert!(p.not_checked.contains(&NotChecked::TreesInTerrain) && p.not_checked.contains(&NotChecked::Steps));
        assert!(p.parts.iter().any(|part| part.kind == PartKind::Terrain && part.value < 0.5));
    }
}

#[test]
fn a_ditch_in_a_fine_model_parts_the_ground() {
    let ditch = |p: Xy| if (p.x - 300.0).abs() < 2.0 { 48.8 } else { 50.0 };
    let land = terrain(600.0, 2.0, ditch);
    let found = run(&scene(&land), &options());
    assert_eq!(found.proposals.len(), 2);
    assert!(found.proposals[0].checked.contains(&Checked::Steps));
}

#[test]
fn ground_larger_than_any_field_is_cut_and_says_so() {
    let land = terrain(3_000.0, 25.0, |_| 50.0);
    let found = run(&scene(&land), &Options { largest_m2: 400_000.0, ..options() });
    assert!(found.proposals.len() >= 20);
    for p in &found.proposals {
        assert!(p.cut && p.not_checked.contains(&NotChecked::CutSide));
        assert!(ring_area(&p.outline) < 420_000.0);
        assert!(p.not_checked.contains(&NotChecked::LandCover) && p.not_checked.contains(&NotChecked::Standing));
    }
    let covered: f64 = found.proposals.iter().map(|p| ring_area(&p.outline)).sum();
    assert!(covered > 0.85 * found.free_m2, "{covered} of {}", found.free_m2);
}

#[test]
fn the_same_bits_on_any_number_of_threads() {
    let (land, standing) = hedged();
    let map = cover(1_000.0, 10.0, |p| if noise(p * 0.02) > 0.7 { TREES } else { CROP });
    let scene = Scene { cover: Some(&map), standing: Some(&standing), ..scene(&land) };
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| format!("{:?}", run(&scene, &Options { needed_m: 120.0, ..options() })))
    };
    let one = on(1);
    assert!(one.contains("Proposal {"));
    assert!(one == on(2) && one == on(5));
}

#[test]
fn stopping_and_bad_options_give_an_error() {
    let land = terrain(500.0, 10.0, |_| 50.0);
    let stopped = suggest(&scene(&land), &options(), &|_| {}, &|| true);
    assert_eq!(stopped, Err(SuggestError::Cancelled));
    let refused = |options: Options| suggest(&scene(&land), &options, &|_| {}, &|| false).unwrap_err();
    for bad in [f64::NAN, 0.0, -3.0, f64::INFINITY] {
        assert!(matches!(refused(Options { needed_m: bad, ..options() }), SuggestError::BadOption { .. }));
    }
    let tiny = refused(Options { cell_m: Some(0.01), ..options() });
    assert!(matches!(tiny, SuggestError::TooLarge { .. }) && tiny.to_string().contains("2500 million"), "{tiny}");
    let small = terrain(20.0, 10.0, |_| 50.0);
    let small = suggest(&scene(&small), &options(), &|_| {}, &|| false);
    assert_eq!(small, Err(SuggestError::TooSmall { cols: 2, rows: 2 }));
}

#[test]
fn progress_ends_at_one() {
    let land = terrain(1_000.0, 10.0, |_| 50.0);
    let last = std::sync::Mutex::new(0.0);
    let told = |share: f64| {
        assert!((0.0..=1.0).contains(&share));
        *last.lock().unwrap() = share;
    };
    suggest(&scene(&land), &options(), &told, &|| false).unwrap();
    assert_eq!(*last.lock().unwrap(), 1.0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    #[test]
    fn every_suggestion_keeps_its_word(
        discs in prop::collection::vec((0.0..900.0f64, 0.0..900.0f64, 15.0..130.0f64), 1..9),
        tilt in 0.0..0.07f64, towards in 0.0..crate::math::TAU, cell in prop::sample::select(vec![5.0, 8.0, 10.0]),
    ) {
        let (east, north) = (tilt * crate::math::cos(towards), tilt * crate::math::sin(towards));
        let land = terrain(900.0, 15.0, |p| 100.0 + east * p.x + north * p.y);
        let in_trees = |p: Xy| discs.iter().any(|&(x, y, r)| p.distance(Xy::new(x, y)) < r);
        let map = cover(900.0, cell, |p| if in_trees(p) { TREES } else { CROP });
        let options = options();
        let found = run(&Scene { cover: Some(&map), ..scene(&land) }, &options);
        let mut covered = 0.0;
        for p in &found.proposals {
            prop_assert!(polygon(&p.outline, &p.holes).is_valid());
            prop_assert!(p.usable_m >= options.needed_m && p.score > 0.0 && p.score <= 1.0);
            prop_assert!(p.parts.iter().all(|part| (0.0..=1.0).contains(&part.value)));
            covered += ring_area(&p.outline) + p.holes.iter().map(|h| ring_area(h)).sum::<f64>();
            // The strip lies in the outline and off the trees by more than cells can hide.
            let (u, w) = (p.strip.heading.unit(), p.strip.width_m / 2.0 - 1e-6);
            let right = Xy::new(u.y, -u.x);
            for i in 0..=200 {
                let t = (f64::from(i) / 200.0).clamp(1e-6, 1.0 - 1e-6);
                for across in [-w, 0.0, w] {
                    let q = p.strip.start + (p.strip.end - p.strip.start) * t + right * across;
                    prop_assert!(inside_ring(&p.outline, q) && p.holes.iter().all(|h| !inside_ring(h, q)));
                    let deepest = discs.iter().map(|&(x, y, r)| r - q.distance(Xy::new(x, y))).fold(0.0, f64::max);
                    prop_assert!(deepest < 2.0 * cell.max(found.cell_m), "{} m among trees", deepest);
                }
            }
            // Its slopes are those of the plane.
            let g = p.ground.unwrap();
            prop_assert!((g.slope - (east * u.x + north * u.y)).abs() < 1e-3);
        }
        prop_assert!(covered <= found.free_m2 * 1.1 + 1.0);
    }
}
