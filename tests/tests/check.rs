//! Each kind of damage to the sample area is found once, with a mend where there is one, and the area as shipped has
//! nothing wrong in it.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Home};
use sparefield_data::check::{CheckOptions, Finding, FindingKind, Severity, Subject, check, counts};
use sparefield_geometry::fields::model::{
    BoundaryEdge, Calendar, Day, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietKind, QuietZone, Surface,
};
use sparefield_geometry::position::Xy;
use std::sync::{Arc, OnceLock};

/// 25 November 2026, the newest survey of the sample is of 19 November.
const TODAY: Day = Day { days_since_epoch: 20_782 };

fn sample() -> Area {
    static SAMPLE: OnceLock<Area> = OnceLock::new();
    SAMPLE.get_or_init(|| Area::sample(&NoProgress).unwrap()).clone()
}

fn options() -> CheckOptions {
    CheckOptions::on(TODAY)
}

/// A finding without what differs between two runs over areas that differ elsewhere.
fn key(finding: &Finding) -> (FindingKind, Severity, Vec<Subject>, String) {
    (finding.kind, finding.severity, finding.subjects.clone(), finding.sentence.clone())
}

/// Findings that the damage brought, and those that it took away.
fn brought(damage: impl FnOnce(&mut Area)) -> (Area, Vec<Finding>) {
    let before: Vec<_> = check(&sample(), &options()).iter().map(key).collect();
    let mut area = sample();
    damage(&mut area);
    let found = check(&area, &options());
    (area, found.into_iter().filter(|f| !before.contains(&key(f))).collect())
}

/// The one finding of a kind that the damage brought. If it can be mended, the mend takes it away and brings nothing
/// else that is wrong.
fn one(kind: FindingKind, damage: impl FnOnce(&mut Area)) -> (Area, Finding) {
    let (area, found) = brought(damage);
    let mut of_kind = found.iter().filter(|f| f.kind == kind);
    let finding = of_kind.next().unwrap_or_else(|| panic!("no {kind:?} in {found:?}")).clone();
    assert!(of_kind.next().is_none(), "{found:?}");
    assert!(!finding.sentence.is_empty() && !finding.remedy.is_empty() && !finding.subjects.is_empty());
    if let Some(mend) = &finding.mend {
        let mut mended = area.clone();
        mended.apply(mend).unwrap();
        let after = check(&mended, &options());
        assert!(!after.iter().any(|f| key(f) == key(&finding)), "not mended: {finding:?}");
        let wrong_before = counts(&check(&area, &options()))[0];
        assert!(counts(&after)[0] <= wrong_before, "{finding:?}");
        let back = mended.apply(&mend.inverse());
        if matches!(kind, FindingKind::IdentifierTwice | FindingKind::NoIdentifier) {
            // No edit brings back two things of one identifier, or one without.
            assert!(back.is_err());
            return (area, finding);
        }
        back.unwrap();
        let ids = |a: &Area| a.fields.iter().map(|f| f.id.clone()).collect::<std::collections::BTreeSet<_>>();
        assert_eq!(ids(&mended), ids(&area));
    }
    (area, finding)
}

fn change(area: &mut Area, index: usize, change: impl FnOnce(&mut Field)) {
    change(Arc::make_mut(&mut Arc::make_mut(&mut area.fields)[index]));
}

/// A place on the terrain where there are no fields near.
fn empty_place(area: &Area) -> Xy {
    let (low, high) = area.terrain.frame.bounds();
    let free = |p: &Xy| area.fields.iter().all(|f| f.outer.iter().all(|c| c.distance(*p) > 1_500.0));
    let steps = (3..60).flat_map(|i| (3..60).map(move |j| (i, j)));
    let size = high - low;
    steps.map(|(i, j)| low + Xy::new(size.x * f64::from(i) / 64.0, size.y * f64::from(j) / 64.0)).find(free).unwrap()
}

/// A known, freshly surveyed rectangle.
fn rectangle(id: &str, at: Xy, width: f64, height: f64) -> Field {
    let corner = |x: f64, y: f64| at + Xy::new(x, y);
    let outer = vec![corner(0.0, 0.0), corner(width, 0.0), corner(width, height), corner(0.0, height)];
    Field {
        surface: Surface::GrazedGrass,
        surveyed: Some(Day { days_since_epoch: TODAY.days_since_epoch - 1 }),
        edges: vec![BoundaryEdge { kind: EdgeKind::Fence, height_m: Some(1.2) }; 4],
        ..Field::new(id, outer)
    }
}

fn add(area: &mut Area, field: Field) {
    Arc::make_mut(&mut area.fields).push(Arc::new(field));
}

fn add_hazard(area: &mut Area, hazard: Hazard) {
    Arc::make_mut(&mut area.hazards).push(Arc::new(hazard));
}

#[test]
fn nothing_is_wrong_in_the_sample_as_shipped() {
    let found = check(&sample(), &options());
    let wrong: Vec<_> = found.iter().filter(|f| f.severity == Severity::Wrong).collect();
    assert!(wrong.is_empty(), "{wrong:?}");
    // The gravest come first, and what is found does not depend on the run.
    assert!(found.windows(2).all(|w| w[0].severity <= w[1].severity));
    assert_eq!(found, check(&sample(), &options()));
}

#[test]
fn a_crossing_outline_is_wrong() {
    let (_, finding) = one(FindingKind::Outline, |a| {
        // Two neighbouring corners of a rectangle that change places make a bow tie: one crossing. A longer side keeps
        // its two halves from cancelling each other out.
        let mut field = rectangle("bow tie", empty_place(a), 300.0, 200.0);
        field.outer[3].y += 200.0;
        field.outer.swap(1, 2);
        add(a, field);
    });
    assert_eq!(finding.severity, Severity::Wrong);
    assert!(finding.sentence.contains("crosses itself") && finding.at.is_some(), "{finding:?}");
}

#[test]
fn a_side_without_length_is_dropped() {
    let (_, finding) = one(FindingKind::Outline, |a| {
        change(a, 5, |f| {
            f.outer.insert(2, f.outer[2]);
            f.edges.insert(2, BoundaryEdge { kind: EdgeKind::Wall, height_m: Some(1.0) });
        });
    });
    let mend = finding.mend.unwrap();
    let mut area = sample();
    change(&mut area, 5, |f| {
        f.outer.insert(2, f.outer[2]);
        f.edges.insert(2, BoundaryEdge { kind: EdgeKind::Wall, height_m: Some(1.0) });
    });
    area.apply(&mend).unwrap();
    assert_eq!(area.fields[5], sample().fields[5], "with the side goes what was said about it, and nothing else");
}

#[test]
fn an_outline_drawn_the_wrong_way_round_is_turned() {
    let (_, finding) = one(FindingKind::Outline, |a| change(a, 5, |f| f.outer.reverse()));
    assert!(finding.sentence.contains("inside out") && finding.mend.is_some(), "{finding:?}");
}

#[test]
fn too_many_sides_are_forgotten() {
    let (_, finding) = one(FindingKind::Outline, |a| change(a, 5, |f| f.edges.push(BoundaryEdge::UNKNOWN)));
    assert!(finding.mend.is_some(), "{finding:?}");
}

#[test]
fn a_hole_outside_is_deleted() {
    let (_, finding) = one(FindingKind::Outline, |a| {
        let at = empty_place(a);
        let hole = vec![at, at + Xy::new(0.0, 20.0), at + Xy::new(20.0, 20.0), at + Xy::new(20.0, 0.0)];
        change(a, 5, |f| f.holes.push(hole));
    });
    assert!(finding.mend.is_some(), "{finding:?}");
}

#[test]
fn a_field_drawn_twice_is_deleted_and_the_better_known_one_stays() {
    let (area, finding) = one(FindingKind::Duplicate, |a| {
        let copy = Field { id: "copy".into(), surveyed: None, name: "Copy".into(), ..(*a.fields[5]).clone() };
        add(a, copy);
    });
    assert_eq!(finding.severity, Severity::Wrong);
    let mut mended = area;
    mended.apply(&finding.mend.unwrap()).unwrap();
    assert!(!mended.fields.iter().any(|f| f.id == "copy"));
    // Never the home field, however little is known about it.
    let home = sample().home.unwrap().field_id;
    let (area, finding) = one(FindingKind::Duplicate, |a| {
        let field = a.fields.iter().find(|f| f.id == home).unwrap();
        let copy = Field { id: "copy".into(), surveyed: Some(TODAY), name: String::new(), ..(**field).clone() };
        add(a, copy);
    });
    let mut mended = area;
    mended.apply(&finding.mend.unwrap()).unwrap();
    assert!(mended.fields.iter().any(|f| f.id == home));
}

#[test]
fn overlaps_slivers_spikes_and_gaps_are_doubtful() {
    let (_, finding) = one(FindingKind::Overlap, |a| {
        let at = empty_place(a);
        add(a, rectangle("x", at, 300.0, 200.0));
        add(a, rectangle("y", at + Xy::new(250.0, 0.0), 300.0, 200.0));
    });
    assert_eq!(finding.subjects, [Subject::Field("x".into()), Subject::Field("y".into())]);
    let (_, finding) = one(FindingKind::Sliver, |a| add(a, rectangle("x", empty_place(a), 300.0, 10.0)));
    assert_eq!(finding.severity, Severity::Doubtful);
    let (_, finding) = one(FindingKind::Spike, |a| {
        let mut field = rectangle("x", empty_place(a), 300.0, 200.0);
        let (low, high) = (field.outer[1], field.outer[2]);
        let middle = (low + high) * 0.5;
        field
            .outer
            .splice(2..2, [middle - Xy::new(0.0, 1.0), middle + Xy::new(100.0, 0.0), middle + Xy::new(0.0, 1.0)]);
        field.edges = vec![field.edges[0]; field.outer.len()];
        add(a, field);
    });
    assert!(finding.mend.is_some());
}

#[test]
fn a_gap_is_closed_and_the_neighbours_corners_move_along() {
    let damage = |a: &mut Area| {
        let at = empty_place(a);
        add(a, rectangle("x", at, 300.0, 200.0));
        // 1.5 m beside it, and a third that shares a corner with the second.
        add(a, rectangle("y", at + Xy::new(301.5, 0.0), 300.0, 200.0));
        add(a, rectangle("z", at + Xy::new(301.5, 200.0), 300.0, 200.0));
    };
    let (area, finding) = one(FindingKind::Gap, damage);
    let mut mended = area.clone();
    mended.apply(&finding.mend.unwrap()).unwrap();
    let field = |a: &Area, id: &str| a.fields.iter().find(|f| f.id == id).unwrap().clone();
    assert_eq!(field(&mended, "x"), field(&area, "x"));
    let x = field(&mended, "x");
    assert!([x.outer[1], x.outer[2]].iter().all(|p| field(&mended, "y").outer.contains(p)));
    assert!(field(&mended, "z").outer.contains(&x.outer[2]));
}

#[test]
fn fields_and_hazards_off_the_terrain_are_found() {
    let (_, finding) = one(FindingKind::OutsideTerrain, |a| {
        let (_, high) = a.terrain.frame.bounds();
        add(a, rectangle("x", high + Xy::new(500.0, 500.0), 300.0, 200.0));
    });
    assert_eq!(finding.severity, Severity::Wrong);
    let (_, finding) = one(FindingKind::OutsideTerrain, |a| {
        let (low, high) = a.terrain.frame.bounds();
        add(a, rectangle("x", Xy::new((low.x + high.x) / 2.0, high.y - 100.0), 300.0, 200.0));
    });
    assert_eq!(finding.severity, Severity::Doubtful);
    let (_, finding) = one(FindingKind::OutsideTerrain, |a| {
        let (_, high) = a.terrain.frame.bounds();
        let shape = HazardShape::Point(high + Xy::new(10.0, 10.0));
        add_hazard(a, Hazard { height_m: Some(30.0), ..Hazard::new("x", HazardKind::Mast, shape) });
    });
    assert_eq!(finding.subjects, [Subject::Hazard("x".into())]);
    let (_, finding) = one(FindingKind::NoHeights, |a| {
        let middle = a.fields[5].centroid();
        let mut terrain = (*a.terrain).clone();
        let (row, col) = terrain.frame.cell_of(middle).unwrap();
        let cols = terrain.frame.cols;
        for r in row - 1..=row + 1 {
            terrain.heights_m[r * cols + col - 1..=r * cols + col + 1].fill(f32::NAN);
        }
        a.terrain = Arc::new(terrain);
    });
    assert!(finding.sentence.contains('%') && finding.severity == Severity::Doubtful, "{finding:?}");
}

#[test]
fn shapes_that_are_none_are_wrong() {
    let (_, finding) = one(FindingKind::Shape, |a| {
        let at = empty_place(a);
        add_hazard(a, Hazard::new("x", HazardKind::Wires, HazardShape::Line(vec![at])));
    });
    assert_eq!(finding.severity, Severity::Wrong);
    let (_, finding) = one(FindingKind::Shape, |a| {
        let at = empty_place(a);
        let line = HazardShape::Line(vec![at, at + Xy::new(80.0, 0.0)]);
        add_hazard(a, Hazard { pole_heights_m: vec![Some(9.0)], ..Hazard::new("x", HazardKind::Wires, line) });
    });
    assert!(finding.mend.is_some());
    let (_, finding) = one(FindingKind::Shape, |a| {
        let at = empty_place(a);
        let corner = |x: f64, y: f64| at + Xy::new(x, y);
        let outer = vec![corner(0.0, 0.0), corner(90.0, 90.0), corner(90.0, 0.0), corner(0.0, 90.0)];
        let zone = QuietZone { id: "x".into(), kind: QuietKind::Stock, name: "Yard".into(), outer, below_agl_m: 100.0 };
        Arc::make_mut(&mut a.quiet_zones).push(Arc::new(zone));
    });
    assert!(finding.sentence.contains("“Yard”"), "{finding:?}");
}

#[test]
fn heights_that_nothing_has_are_found() {
    let side = |kind, height_m| {
        move |a: &mut Area| change(a, 5, |f| f.edges[0] = BoundaryEdge { kind, height_m: Some(height_m) })
    };
    let (_, finding) = one(FindingKind::Height, side(EdgeKind::Hedge, 40.0));
    assert_eq!((finding.severity, finding.mend.is_some()), (Severity::Doubtful, false));
    assert!(finding.sentence.contains("hedge"), "{finding:?}");
    assert_eq!(one(FindingKind::Height, side(EdgeKind::Wires, 1.0)).1.severity, Severity::Doubtful);
    let (area, finding) = one(FindingKind::Height, side(EdgeKind::Wall, -1.0));
    assert_eq!(finding.severity, Severity::Wrong);
    let mut mended = area;
    mended.apply(&finding.mend.unwrap()).unwrap();
    assert_eq!(mended.fields[5].edges[0], BoundaryEdge { kind: EdgeKind::Wall, height_m: None });
    let wires = |height| {
        move |a: &mut Area| {
            let at = empty_place(a);
            let line = HazardShape::Line(vec![at, at + Xy::new(80.0, 0.0)]);
            add_hazard(a, Hazard { height_m: Some(height), ..Hazard::new("x", HazardKind::Wires, line) });
        }
    };
    assert_eq!(one(FindingKind::Height, wires(1.0)).1.severity, Severity::Doubtful);
    assert_eq!(one(FindingKind::Height, wires(f64::NAN)).1.severity, Severity::Wrong);
    let zone = |below| move |a: &mut Area| Arc::make_mut(&mut Arc::make_mut(&mut a.quiet_zones)[0]).below_agl_m = below;
    assert_eq!(one(FindingKind::Height, zone(-20.0)).1.severity, Severity::Wrong);
    assert_eq!(one(FindingKind::Height, zone(4_000.0)).1.severity, Severity::Doubtful);
}

#[test]
fn surveys_sides_and_calendars_that_are_missing_or_old_are_found() {
    let looked =
        |day: Option<i32>| move |a: &mut Area| change(a, 5, |f| f.surveyed = day.map(|d| Day { days_since_epoch: d }));
    assert_eq!(one(FindingKind::NoSurvey, looked(None)).1.severity, Severity::Incomplete);
    let today = TODAY.days_since_epoch;
    assert_eq!(one(FindingKind::OldSurvey, looked(Some(today - 366))).1.severity, Severity::Doubtful);
    assert!(!brought(looked(Some(today - 365))).1.iter().any(|f| f.kind == FindingKind::OldSurvey));
    assert_eq!(one(FindingKind::FutureDay, looked(Some(today + 1))).1.severity, Severity::Wrong);
    let mut short = options();
    short.old_after_days = 1;
    let all_old = check(&sample(), &short).iter().filter(|f| f.kind == FindingKind::OldSurvey).count();
    let surveyed = sample().fields.iter().filter(|f| f.surveyed.is_some()).count();
    assert!(all_old == surveyed && surveyed > 100, "{all_old} of {surveyed}");

    let at = |a: &Area| rectangle("x", empty_place(a), 300.0, 200.0);
    let (_, finding) = one(FindingKind::UnknownSides, |a| {
        let mut field = at(a);
        field.edges[2] = BoundaryEdge::UNKNOWN;
        add(a, field);
    });
    assert!(finding.sentence.contains("one side"), "{finding:?}");
    let calendar = |year| {
        move |a: &mut Area| {
            change(a, 5, |f| f.calendar = Calendar { year: Some(year), crop: "barley".into(), ..Calendar::default() });
        }
    };
    assert_eq!(one(FindingKind::PastCalendar, calendar(2025)).1.severity, Severity::Incomplete);
    assert!(!brought(calendar(2026)).1.iter().any(|f| f.kind == FindingKind::PastCalendar));
}

#[test]
fn identifiers_and_names_used_twice_are_found() {
    let (area, finding) = one(FindingKind::IdentifierTwice, |a| {
        let field = rectangle(&a.fields[5].id.clone(), empty_place(a), 300.0, 200.0);
        add(a, field);
    });
    let mut mended = area;
    mended.apply(&finding.mend.unwrap()).unwrap();
    let ids: std::collections::BTreeSet<_> = mended.fields.iter().map(|f| f.id.clone()).collect();
    assert_eq!(ids.len(), mended.fields.len());
    let (_, finding) = one(FindingKind::NoIdentifier, |a| {
        let shape = HazardShape::Point(empty_place(a));
        add_hazard(a, Hazard { height_m: Some(30.0), ..Hazard::new("", HazardKind::Mast, shape) });
    });
    assert!(finding.severity == Severity::Wrong && finding.mend.is_some());
    let (_, finding) = one(FindingKind::NameTwice, |a| {
        let name = a.fields.iter().find(|f| !f.name.is_empty()).unwrap().name.to_uppercase();
        let field = Field { name, ..rectangle("x", empty_place(a), 300.0, 200.0) };
        add(a, field);
    });
    assert_eq!((finding.severity, finding.subjects.len()), (Severity::Doubtful, 2));
}

#[test]
fn photographs_are_looked_for_where_the_folder_is_known() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("gate.jpg"), b"a photograph").unwrap();
    let mut area = sample();
    change(&mut area, 5, |f| {
        f.remarks.photographs = vec!["gate.jpg".into(), "lost.jpg".into(), "https://example.org/a.jpg".into()];
    });
    let of = |options: &CheckOptions| {
        let found = check(&area, options);
        found.into_iter().filter(|f| f.kind == FindingKind::NoPhotograph).collect::<Vec<_>>()
    };
    assert!(of(&options()).is_empty());
    let found = of(&CheckOptions { photographs: Some(folder.path().to_owned()), ..options() });
    assert!(found.len() == 1 && found[0].sentence.contains("lost.jpg"), "{found:?}");
}

#[test]
fn the_home_strip_must_lie_in_its_field_and_fit_it() {
    let home = |change: fn(&mut Home)| move |a: &mut Area| change(a.home.as_mut().unwrap());
    let (area, finding) = one(FindingKind::HomeOutside, home(|h| h.field_id = "nowhere".into()));
    assert_eq!(finding.subjects, [Subject::Home]);
    let mut mended = area;
    mended.apply(&finding.mend.unwrap()).unwrap();
    assert_eq!(mended.home.unwrap().field_id, sample().home.unwrap().field_id);
    let (_, finding) = one(FindingKind::HomeOutside, home(|h| h.position = h.position + Xy::new(0.0, 9_000.0)));
    assert_eq!(finding.severity, Severity::Wrong);
    let (_, finding) = one(FindingKind::HomeLength, home(|h| h.runway_length_m = 4_000.0));
    assert_eq!(finding.severity, Severity::Wrong);
    let (_, finding) = one(
        FindingKind::HomeOutside,
        home(|h| {
            let along = h.ends[0].threshold - h.ends[1].threshold;
            h.ends[0].threshold = h.ends[0].threshold + along * 2.0;
        }),
    );
    assert_eq!(finding.severity, Severity::Doubtful);
}
