//! Merging two people's areas: what must hold whatever they did, and the rules of the defaults one by one.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use proptest::prelude::*;
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Home};
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use sparefield_data::frame::Frame;
use sparefield_data::merge::{Attribute, Difference, Kind, Land, Merge, MergeOptions, Status, Take};
use sparefield_data::sortie::{ExerciseMark, GivenVector, GivenWind, Original, Sortie};
use sparefield_data::track::{HeightChoice, HeightSource, from_bytes};
use sparefield_geometry::fields::model::{
    BoundaryEdge, Calendar, Day, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietKind, QuietZone, Stock, Surface,
};
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

/// The sample area with few things of our own on it.
fn area(fields: Vec<Field>, hazards: Vec<Hazard>, zones: Vec<QuietZone>) -> Area {
    static SAMPLE: OnceLock<Area> = OnceLock::new();
    let sample = SAMPLE.get_or_init(|| Area::sample(&NoProgress).unwrap());
    let shared = |fields: Vec<Field>| Arc::new(fields.into_iter().map(Arc::new).collect());
    Area {
        fields: shared(fields),
        hazards: Arc::new(hazards.into_iter().map(Arc::new).collect()),
        quiet_zones: Arc::new(zones.into_iter().map(Arc::new).collect()),
        home: None,
        ..sample.clone()
    }
}

fn square(id: &str, col: usize, row: usize) -> Field {
    let at = |x: f64, y: f64| Xy::new(512_000.0 + col as f64 * 300.0 + x, 5_790_000.0 + row as f64 * 300.0 + y);
    let mut field = Field::new(id, vec![at(0.0, 0.0), at(250.0, 0.0), at(250.0, 200.0), at(0.0, 200.0)]);
    field.name = format!("Field {col} {row}");
    field
}

fn tree(id: &str, col: usize) -> Hazard {
    let at = Xy::new(512_000.0 + col as f64 * 300.0, 5_791_900.0);
    Hazard { height_m: Some(12.0), ..Hazard::new(id, HazardKind::LoneTree, HazardShape::Point(at)) }
}

fn zone(id: &str, col: usize) -> QuietZone {
    let square = square(id, col, 7);
    QuietZone { id: id.into(), kind: QuietKind::Stock, name: String::new(), outer: square.outer, below_agl_m: 150.0 }
}

fn ancestor() -> Area {
    let fields = (0..6).map(|i| square(&format!("field-{i}"), i, 0)).collect();
    area(fields, (0..3).map(|i| tree(&format!("tree-{i}"), i)).collect(), vec![zone("quiet-1", 1)])
}

fn between(mine: &Area, theirs: &Area, base: Option<&Area>) -> Merge {
    let base = base.map(Land::from);
    Merge::between(&mine.into(), &theirs.into(), base.as_ref(), &MergeOptions::default()).unwrap()
}

fn taking(mine: &Area, merge: &Merge, take: Take) -> Area {
    mine.merged(merge, &vec![take; merge.differences().len()], "theirs").unwrap()
}

/// What is in an area, without identifiers and without order.
fn content(area: &Area) -> Vec<String> {
    let fields = area.fields.iter().map(|f| format!("{:?}", Field { id: String::new(), ..(**f).clone() }));
    let hazards = area.hazards.iter().map(|h| format!("{:?}", Hazard { id: String::new(), ..(**h).clone() }));
    let zones = area.quiet_zones.iter().map(|z| format!("{:?}", QuietZone { id: String::new(), ..(**z).clone() }));
    let mut all: Vec<String> = fields.chain(hazards).chain(zones).collect();
    all.sort();
    all
}

/// One thing a person did.
#[derive(Clone, Debug)]
enum Did {
    Renamed(usize, u8),
    Looked(usize, Surface, i32),
    SawStock(usize, Stock, Option<i32>),
    Painted(usize, usize, EdgeKind, Option<u8>),
    Pulled(usize, usize, f64, f64),
    Planned(usize, i32),
    Wrote(usize, u8),
    Added(usize, u8),
    Deleted(usize),
    Measured(usize, Option<u8>),
    Felled(usize),
    Raised(u8),
}

impl Did {
    fn field(&self) -> Option<usize> {
        match self {
            Self::Renamed(i, _)
            | Self::Looked(i, ..)
            | Self::SawStock(i, ..)
            | Self::Painted(i, ..)
            | Self::Pulled(i, ..)
            | Self::Planned(i, _)
            | Self::Wrote(i, _)
            | Self::Deleted(i) => Some(*i),
            _ => None,
        }
    }
}

fn did() -> impl Strategy<Value = Did> {
    let surface = prop::sample::select(&Surface::ALL[..]);
    let stock = prop::sample::select(&Stock::ALL[..]);
    let kind = prop::sample::select(&EdgeKind::ALL[..]);
    let (day, i) = (20_000..20_700_i32, 0_usize..6);
    prop_oneof![
        (i.clone(), any::<u8>()).prop_map(|(i, n)| Did::Renamed(i, n)),
        (i.clone(), surface, day.clone()).prop_map(|(i, s, d)| Did::Looked(i, s, d)),
        (i.clone(), stock, prop::option::of(day)).prop_map(|(i, s, d)| Did::SawStock(i, s, d)),
        (i.clone(), 0_usize..4, kind, prop::option::of(1..20_u8)).prop_map(|(i, s, k, h)| Did::Painted(i, s, k, h)),
        (i.clone(), 0_usize..4, 1.0..20.0, 1.0..20.0).prop_map(|(i, c, x, y)| Did::Pulled(i, c, x, y)),
        (i.clone(), 2024..2028).prop_map(|(i, y)| Did::Planned(i, y)),
        (i.clone(), any::<u8>()).prop_map(|(i, n)| Did::Wrote(i, n)),
        (0_usize..6, 0..4_u8).prop_map(|(i, n)| Did::Added(i, n)),
        i.prop_map(Did::Deleted),
        (0_usize..3, prop::option::of(3..30_u8)).prop_map(|(i, h)| Did::Measured(i, h)),
        (0_usize..3).prop_map(Did::Felled),
        (60..250_u8).prop_map(Did::Raised),
    ]
}

fn after(base: &Area, all: &[Did]) -> Area {
    let mut fields: Vec<Field> = base.fields.iter().map(|f| (**f).clone()).collect();
    let mut hazards: Vec<Hazard> = base.hazards.iter().map(|h| (**h).clone()).collect();
    let mut zones: Vec<QuietZone> = base.quiet_zones.iter().map(|z| (**z).clone()).collect();
    for one in all {
        let id = |i: &usize| format!("field-{i}");
        if let Did::Deleted(i) = one {
            fields.retain(|f| f.id != id(i));
        } else if let Did::Added(col, n) = one {
            let (new, row) = (format!("field-new-{n}"), 1 + usize::from(*n % 2));
            let there = square(&new, *col, row);
            if fields.iter().all(|f| f.id != new && f.outer[0].distance(there.outer[0]) > 100.0) {
                fields.push(there);
            }
        } else if let Did::Felled(i) = one {
            hazards.retain(|h| h.id != format!("tree-{i}"));
        } else if let Did::Measured(i, height) = one {
            if let Some(hazard) = hazards.iter_mut().find(|h| h.id == format!("tree-{i}")) {
                hazard.height_m = height.map(f64::from);
            }
        } else if let Did::Raised(height) = one {
            zones[0].below_agl_m = f64::from(*height);
        }
        let Some(field) = one.field().and_then(|i| fields.iter_mut().find(|f| f.id == id(&i))) else { continue };
        match one {
            Did::Renamed(_, n) => field.name = format!("Name {n}"),
            Did::Looked(_, surface, day) => {
                (field.surface, field.surveyed) = (*surface, Some(Day { days_since_epoch: *day }));
            }
            Did::SawStock(_, stock, day) => {
                (field.stock, field.stock_seen) = (*stock, day.map(|d| Day { days_since_epoch: d }));
            }
            Did::Painted(_, side, kind, height) => {
                field.edges[*side] = BoundaryEdge { kind: *kind, height_m: height.map(f64::from) };
            }
            Did::Pulled(_, corner, x, y) => field.outer[*corner] = field.outer[*corner] + Xy::new(*x, *y),
            Did::Planned(_, year) => field.calendar = Calendar { year: Some(*year), ..Calendar::default() },
            Did::Wrote(_, n) => {
                field.remarks.access = format!("gate {n}");
                field.other = vec![("ref".into(), n.to_string())];
            }
            _ => {}
        }
    }
    area(fields, hazards, zones)
}

fn deeds() -> impl Strategy<Value = Vec<Did>> {
    prop::collection::vec(did(), 0..10)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn an_area_merged_with_itself_does_not_change(mine in deeds(), base in deeds()) {
        let ancestor = ancestor();
        let mine = after(&ancestor, &mine);
        for base in [None, Some(&ancestor), Some(&after(&ancestor, &base))] {
            let merge = between(&mine, &mine, base);
            prop_assert!(merge.differences().is_empty(), "{:?}", merge.differences());
            prop_assert!(merge.edit(&[], "theirs").changes.is_empty());
        }
    }

    #[test]
    fn taking_one_side_throughout_gives_that_side(mine in deeds(), theirs in deeds(), with_base: bool) {
        let ancestor = ancestor();
        let (mine, theirs) = (after(&ancestor, &mine), after(&ancestor, &theirs));
        let merge = between(&mine, &theirs, with_base.then_some(&ancestor));
        prop_assert_eq!(content(&taking(&mine, &merge, Take::Theirs)), content(&theirs));
        prop_assert!(merge.edit(&vec![Take::Mine; merge.differences().len()], "theirs").changes.is_empty());
    }

    #[test]
    fn edits_of_different_things_are_both_kept_with_an_ancestor(mine in deeds(), theirs in deeds()) {
        let ancestor = ancestor();
        // Mine touches even fields and nothing else, theirs odd fields.
        let of = |all: &[Did], odd: usize| -> Vec<Did> {
            let fits = |d: &&Did| !matches!(d, Did::Deleted(_)) && d.field().is_some_and(|i| i % 2 == odd);
            all.iter().filter(fits).cloned().collect()
        };
        let (mine, theirs) = (of(&mine, 0), of(&theirs, 1));
        let both: Vec<Did> = mine.iter().chain(&theirs).cloned().collect();
        let (mine, theirs) = (after(&ancestor, &mine), after(&ancestor, &theirs));
        let merge = between(&mine, &theirs, Some(&ancestor));
        let merged = mine.merged(&merge, &merge.defaults(), "theirs").unwrap();
        prop_assert_eq!(content(&merged), content(&after(&ancestor, &both)));
    }

    #[test]
    fn the_order_of_things_does_not_matter(mine in deeds(), theirs in deeds(), turn in 1_usize..5, with_base: bool) {
        let ancestor = ancestor();
        let (mine, theirs) = (after(&ancestor, &mine), after(&ancestor, &theirs));
        let turned = |a: &Area| {
            let mut a = a.clone();
            let fields = Arc::make_mut(&mut a.fields);
            let by = turn % fields.len().max(1);
            fields.rotate_left(by);
            Arc::make_mut(&mut a.hazards).reverse();
            a
        };
        let base = with_base.then_some(&ancestor);
        let (one, two) = (between(&mine, &theirs, base), between(&turned(&mine), &turned(&theirs), base));
        prop_assert_eq!(one.differences(), two.differences());
    }

    #[test]
    fn each_sees_the_others_differences(mine in deeds(), theirs in deeds(), with_base: bool) {
        let ancestor = ancestor();
        let (mine, theirs) = (after(&ancestor, &mine), after(&ancestor, &theirs));
        let base = with_base.then_some(&ancestor);
        let list = |merge: &Merge, mirrored: bool| {
            let mut list: Vec<_> = merge
                .differences()
                .iter()
                .map(|d| {
                    let status = if mirrored { d.status.mirrored() } else { d.status };
                    format!("{:?} {:?} {status:?} {:?}", d.kind, d.attribute, d.before)
                })
                .collect();
            list.sort();
            list
        };
        prop_assert_eq!(list(&between(&mine, &theirs, base), false), list(&between(&theirs, &mine, base), true));
    }

    #[test]
    fn defaults_delete_nothing_and_every_mix_of_choices_fits(
        mine in deeds(),
        theirs in deeds(),
        choices in prop::collection::vec(any::<bool>(), 40),
        with_base: bool,
    ) {
        let ancestor = ancestor();
        let (mine, theirs) = (after(&ancestor, &mine), after(&ancestor, &theirs));
        let merge = between(&mine, &theirs, with_base.then_some(&ancestor));
        let merged = mine.merged(&merge, &merge.defaults(), "theirs").unwrap();
        for field in mine.fields.iter() {
            prop_assert!(merged.fields.iter().any(|f| f.id == field.id));
        }
        let takes: Vec<Take> = choices.iter().map(|t| if *t { Take::Theirs } else { Take::Mine }).collect();
        let mut mixed = mine.clone();
        let edit = merge.edit(&takes, "theirs");
        mixed.apply(&edit).unwrap();
        let mut ids: Vec<&str> = mixed.fields.iter().map(|f| f.id.as_str()).collect();
        ids.sort_unstable();
        ids.dedup();
        prop_assert_eq!(ids.len(), mixed.fields.len());
        mixed.apply(&edit.inverse()).unwrap();
        prop_assert_eq!(content(&mixed), content(&mine));
    }
}

fn only<'a>(merge: &'a Merge, attribute: &Attribute) -> &'a Difference {
    let mut found = merge.differences().iter().filter(|d| d.attribute == *attribute);
    match (found.next(), found.next()) {
        (Some(one), None) => one,
        _ => panic!("{:?}", merge.differences()),
    }
}

fn day(n: i32) -> Day {
    Day { days_since_epoch: n }
}

#[test]
fn strangers_with_one_identifier_stay_two_fields() {
    let mine = area(vec![square("field-1", 0, 0)], Vec::new(), Vec::new());
    let theirs = area(vec![square("field-1", 4, 3)], Vec::new(), Vec::new());
    let merge = between(&mine, &theirs, None);
    let statuses: Vec<Status> = merge.differences().iter().map(|d| d.status).collect();
    assert_eq!(statuses, [Status::OnlyMine, Status::OnlyTheirs]);
    let merged = mine.merged(&merge, &merge.defaults(), "theirs").unwrap();
    let ids: Vec<&str> = merged.fields.iter().map(|f| f.id.as_str()).collect();
    assert_eq!(ids, ["field-1", "field-1-2"]);
    // With the ancestor in hand it is the same field, moved.
    let merge = between(&mine, &theirs, Some(&mine));
    assert_eq!(only(&merge, &Attribute::Outline).status, Status::ChangedByThem);
}

#[test]
fn one_field_drawn_by_two_people_is_one_field() {
    let mine = area(vec![square("a", 0, 0)], Vec::new(), Vec::new());
    let mut drawn = square("b", 0, 0);
    for p in &mut drawn.outer {
        *p = *p + Xy::new(3.0, -2.0);
    }
    // They began at another corner, and say what stands on the side that is my side 2.
    drawn.outer.rotate_left(1);
    drawn.edges[1] = BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) };
    let theirs = area(vec![drawn], Vec::new(), Vec::new());
    let merge = between(&mine, &theirs, None);
    let outline = only(&merge, &Attribute::Outline);
    assert_eq!((outline.status, outline.default), (Status::Differs, Take::Mine));
    let side = only(&merge, &Attribute::Side(2));
    assert_eq!((side.default, side.because), (Take::Theirs, "only they know it"));
    let merged = mine.merged(&merge, &merge.defaults(), "theirs").unwrap();
    let [field] = merged.fields.as_slice() else { panic!() };
    assert_eq!((field.id.as_str(), &field.outer), ("a", &mine.fields[0].outer));
    assert_eq!(field.edges[2], BoundaryEdge { kind: EdgeKind::Hedge, height_m: Some(2.0) });
    assert_eq!(field.edges.iter().filter(|e| e.kind == EdgeKind::Unknown).count(), 3);
}

#[test]
fn the_newer_survey_wins_and_stock_keeps_its_day() {
    let base = square("a", 0, 0);
    let mine = Field { surface: Surface::GrazedGrass, stock: Stock::None, surveyed: Some(day(20_000)), ..base.clone() };
    let newer =
        Field { surface: Surface::TallCrop, stock: Stock::Unknown, surveyed: Some(day(20_500)), ..base.clone() };
    let (mine, theirs) = (area(vec![mine], vec![], vec![]), area(vec![newer], vec![], vec![]));
    let merge = between(&mine, &theirs, None);
    assert_eq!(only(&merge, &Attribute::Survey).because, "their survey is newer");
    assert_eq!(only(&merge, &Attribute::Stock).default, Take::Mine, "unknown never replaces what somebody saw");
    let merged = mine.merged(&merge, &merge.defaults(), "theirs").unwrap();
    let field = &merged.fields[0];
    assert_eq!((field.surface, field.surveyed), (Surface::TallCrop, Some(day(20_500))));
    // The stock was looked for on the older day, and that must not become the newer one.
    assert_eq!((field.stock, field.stock_seen), (Stock::None, Some(day(20_000))));
    // The other way round nothing of mine is older.
    let merge = between(&theirs, &mine, None);
    assert_eq!(only(&merge, &Attribute::Survey).default, Take::Mine);
}

#[test]
fn deletions_are_taken_only_when_chosen() {
    let base = ancestor();
    let theirs = after(&base, &[Did::Deleted(2), Did::Felled(1)]);
    let merge = between(&base, &theirs, Some(&base));
    assert!(merge.differences().iter().all(|d| (d.status, d.default) == (Status::DeletedByThem, Take::Mine)));
    assert_eq!(merge.differences().len(), 2);
    assert_eq!(merge.differences()[0].theirs.as_deref(), Some("deleted"));
    let merged = taking(&base, &merge, Take::Theirs);
    assert_eq!((merged.fields.len(), merged.hazards.len()), (5, 2));
    // What I deleted stays deleted although they still have it; what they changed since is shown as such.
    let merge = between(&theirs, &base, Some(&base));
    assert!(merge.differences().iter().all(|d| (d.status, d.default) == (Status::DeletedByMe, Take::Mine)));
    let merge = between(&theirs, &after(&base, &[Did::Renamed(2, 7)]), Some(&base));
    assert!(merge.differences().iter().any(|d| d.status == Status::ChangedByBoth && d.default == Take::Mine));
}

#[test]
fn areas_in_other_frames_are_the_same_areas() {
    let mine = Area::sample(&NoProgress).unwrap();
    let land = Land::from(&mine);
    // The zone beside, and the British grid, on another datum.
    for code in [32_631, 27_700] {
        let frame = Arc::new(Frame::from_user(&format!("EPSG:{code}")).unwrap());
        let theirs = land.in_frame(&frame).unwrap();
        assert!(theirs.fields.as_ref().unwrap()[0].outer[0].distance(mine.fields[0].outer[0]) > 1_000.0);
        let merge = Merge::between(&land, &theirs, None, &MergeOptions::default()).unwrap();
        assert!(merge.differences().is_empty(), "{code}: {:?}", merge.differences());
    }
}

#[test]
fn the_home_strip_is_never_left_without_its_field() {
    let mine = Area::sample(&NoProgress).unwrap();
    let home = mine.home.clone().unwrap();
    let mut theirs = mine.clone();
    Arc::make_mut(&mut theirs.fields).retain(|f| f.id != home.field_id);
    theirs.home = None;
    let merge = between(&mine, &theirs, None);
    let merged = taking(&mine, &merge, Take::Theirs);
    assert!(merged.home.is_some() && merged.fields.iter().any(|f| f.id == home.field_id));
    // A longer strip of theirs is offered, and points at my field whatever they call it.
    let mut theirs = mine.clone();
    let field = Arc::make_mut(&mut theirs.fields).iter_mut().find(|f| f.id == home.field_id).unwrap();
    Arc::make_mut(field).id = "strip-field".into();
    theirs.home = Some(Home { runway_length_m: 333.0, field_id: "strip-field".into(), ..home.clone() });
    let merge = between(&mine, &theirs, Some(&mine));
    assert_eq!(merge.differences().len(), 1, "{:?}", merge.differences());
    let merged = mine.merged(&merge, &merge.defaults(), "theirs").unwrap();
    let after = merged.home.unwrap();
    assert_eq!((after.runway_length_m, after.field_id), (333.0, home.field_id));
}

#[test]
fn a_field_file_says_nothing_about_hazards() {
    let mine = Area::sample(&NoProgress).unwrap();
    let fields = mine.fields.iter().map(|f| (**f).clone()).collect();
    let theirs = Land::of_fields((*mine.frame).clone(), fields);
    let merge = Merge::between(&(&mine).into(), &theirs, None, &MergeOptions::default()).unwrap();
    assert!(merge.differences().is_empty());
}

/// A recorded flight of one fix on a day of January.
fn flight(id: &str, day: u32) -> Sortie {
    let text = format!("AXXX\nHFDTE{day:02}0125\nB1000005100000N00200000WA0010000100\n");
    let path = Path::new("flight.igc");
    let recording = from_bytes(path, text.as_bytes()).unwrap().value.swap_remove(0);
    let none = HeightChoice::of(HeightSource::None);
    Sortie::new(id.into(), &recording, 0, Original::new(path, text.into_bytes()), none)
}

fn with_flights(flights: Vec<Sortie>) -> Area {
    Area { sorties: Arc::new(flights.into_iter().map(Arc::new).collect()), ..ancestor() }
}

fn keys(area: &Area) -> Vec<&str> {
    let mut keys: Vec<&str> = area.sorties.iter().map(|s| s.original.key.as_str()).collect();
    keys.sort_unstable();
    keys
}

#[test]
fn sorties_that_only_they_have_come_along_and_none_of_mine_is_lost() {
    let mine = with_flights(vec![flight("sortie-1", 1), flight("sortie-2", 2)]);
    // Theirs has the second as its first, and one more under an identifier that is another of mine.
    let theirs = with_flights(vec![flight("sortie-1", 2), flight("sortie-2", 3)]);
    let merge = between(&mine, &theirs, None);
    let differences = merge.differences();
    assert_eq!(differences.len(), 1, "{differences:#?}");
    assert_eq!((differences[0].kind, differences[0].status), (Kind::Sortie, Status::OnlyTheirs));
    for take in [Take::Mine, Take::Theirs] {
        let merged = taking(&mine, &merge, take);
        assert!(mine.sorties.iter().all(|s| merged.sorties.contains(s)), "mine are all there");
        assert_eq!(merged.sorties.len(), if take == Take::Mine { 2 } else { 3 });
    }
    let merged = taking(&mine, &merge, Take::Theirs);
    assert!(merged.sorties[2].original.held.is_some() && merged.sorties[2].id != "sortie-2");
    assert!(between(&merged, &theirs, None).differences().is_empty(), "nothing is taken twice");
    let back = between(&theirs, &mine, None);
    assert_eq!(keys(&taking(&theirs, &back, Take::Theirs)), keys(&merged), "both come to the same flights");
    // What I took away since the common ancestor stays away.
    let base = with_flights(vec![flight("sortie-1", 2), flight("sortie-2", 3)]);
    let merge = between(&mine, &theirs, Some(&base));
    assert_eq!((merge.differences()[0].status, merge.differences()[0].default), (Status::DeletedByMe, Take::Mine));
}

#[test]
fn what_both_say_of_a_sortie_is_chosen_part_by_part() {
    let mark = |start_s: f64| ExerciseMark {
        kind: "practice-failure".into(),
        start_s,
        end_s: start_s + 60.0,
        deleted: false,
        note: String::new(),
    };
    let calm = GivenWind { surface: Some(GivenVector { from_true_rad: 1.0, speed_ms: 4.0 }), aloft: Vec::new() };
    let mut own = flight("sortie-1", 1);
    (own.pilot, own.marks) = ("Ash".into(), vec![mark(10.0)]);
    let mut other = flight("evening", 1);
    (other.pilot, other.aircraft, other.wind) = ("Elm".into(), "Blue".into(), Some(calm));
    (other.marks, other.heights_by_user) = (vec![mark(20.0)], true);
    let (mine, theirs) = (with_flights(vec![own.clone()]), with_flights(vec![other.clone()]));
    let merge = between(&mine, &theirs, None);
    let default = |a: &Attribute| only(&merge, a).default;
    // What only they said is taken; where both said something, mine stays unless chosen.
    for (attribute, take) in [
        (Attribute::Pilot, Take::Mine),
        (Attribute::Corrections, Take::Mine),
        (Attribute::Aircraft, Take::Theirs),
        (Attribute::Wind, Take::Theirs),
        (Attribute::Heights, Take::Theirs),
    ] {
        assert_eq!(default(&attribute), take, "{attribute:?}");
    }
    assert_eq!(merge.differences().len(), 5);
    assert!(only(&merge, &Attribute::Corrections).theirs.as_ref().unwrap().contains("0:20 to 1:20"));
    let merged = mine.merged(&merge, &merge.defaults(), "theirs").unwrap();
    let made = &merged.sorties[0];
    assert_eq!((made.id.as_str(), made.pilot.as_str(), made.aircraft.as_str()), ("sortie-1", "Ash", "Blue"));
    assert_eq!((&made.wind, &made.marks, made.heights_by_user), (&other.wind, &own.marks, true));
    let all = taking(&mine, &merge, Take::Theirs);
    assert_eq!(*all.sorties[0], Sortie { id: "sortie-1".into(), ..other });
}

#[test]
fn their_recorders_bytes_come_out_of_their_file_into_mine() {
    let folder = tempfile::tempdir().unwrap();
    let (own, other) = (folder.path().join("mine.gpkg"), folder.path().join("theirs.gpkg"));
    let keep = |path: &Path, flights: Vec<Sortie>| {
        let area = with_flights(flights);
        drop(AreaFile::create(path, &AreaParts::of(&area, TerrainSource::Sample)).unwrap());
    };
    keep(&own, vec![flight("sortie-1", 1)]);
    keep(&other, vec![flight("sortie-1", 2), flight("sortie-2", 3)]);
    // One recording is lost in theirs.
    let lost = flight("x", 3).original.key;
    let db = rusqlite::Connection::open(&other).unwrap();
    db.execute("DELETE FROM sortie_originals WHERE key = ?1", [&lost]).unwrap();
    drop(db);
    let read = |path: &PathBuf| Land::read(std::slice::from_ref(path), None).unwrap().value;
    let merge = Merge::between(&read(&own), &read(&other), None, &MergeOptions::default()).unwrap();
    assert!(merge.notes().len() == 1 && merge.notes()[0].contains("cannot be taken along"), "{:?}", merge.notes());
    let edit = merge.edit(&merge.defaults(), "theirs");
    let (mut file, parts) = AreaFile::open(&own, day(0), &NoProgress).unwrap().value;
    assert_eq!(parts.sorties.len(), 1);
    file.write(&edit).unwrap();
    drop(file);
    let new = flight("x", 2).original;
    let bytes = sparefield_data::area_file::original(&own, &new.key).unwrap();
    assert_eq!(bytes, **new.held.as_ref().unwrap());
    assert_eq!(read(&own).sorties.unwrap().len(), 2);
}
