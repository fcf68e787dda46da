//! The options map in the whole window, by label, pointer and key.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, opened, push, until};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::model::{Cover, CoverCommand, CoverLook, Mode, RouteCommand};
use sparefield_geometry::position::Xy;

fn cover(window: &Window) -> &Cover {
    &app(window).model.cover
}

/// The sample area with its options map made.
fn with_map() -> Window {
    let mut window = opened(1280.0, 900.0, Vec::new());
    push(&mut window, Command::ShowFirstSteps(false));
    window.get_by_label("Options map").click();
    until(&mut window, "the options map is made", |w| cover(w).made.is_some() && cover(w).working.is_none());
    until(&mut window, "it shades the land", |w| cover(w).shade_is_current());
    window
}

/// The share of the ground that is covered, once it is of what is asked about.
fn share(window: &mut Window) -> f64 {
    until(window, "the land is shaded", |w| cover(w).shade_is_current());
    cover(window).shade.as_ref().unwrap().share
}

#[test]
fn a_height_is_asked_about_and_dusk_and_words_follow() {
    let mut window = with_map();
    assert_eq!(cover(&window).look, CoverLook::Uncovered);
    let first = share(&mut window);
    assert!(first > 0.05 && first < 0.95, "{first}");
    let percent = (first * 100.0).floor();
    window.get_by_label_contains(&format!("{percent:.0}\u{a0}% of the area has a field in reach."));
    // By arrow key on the slider, and no new map is made for it.
    let made = cover(&window).made.clone().unwrap();
    window.get_by_label("Height above the ground that is asked about").focus();
    window.run_steps(2);
    for _ in 0..4 {
        window.key_press(egui::Key::ArrowRight);
        window.run_steps(2);
    }
    let height = cover(&window).height_agl_m;
    assert!((height - 1_700.0 * 0.304_8).abs() < 16.0, "{height}");
    assert!(share(&mut window) > first);
    assert!(std::sync::Arc::ptr_eq(&made, cover(&window).made.as_ref().unwrap()));
    // The picture and its words are of one height: while the next is worked out, the last stays.
    push(&mut window, Command::Cover(CoverCommand::Height(900.0)));
    assert!(cover(&window).shade.is_some());
    assert!(share(&mut window) > first);
    let shade = cover(&window).shade.clone().unwrap();
    assert!((shade.height_agl_m - 900.0).abs() < 1e-9);
    let made = cover(&window).made.clone().unwrap();
    let enough = made.enough_agl_m.last().unwrap();
    let lit = |i: usize| shade.veil[i] < 255;
    assert!((0..enough.len()).all(|i| !lit(i) || enough[i] < 900.0));
    assert!((0..enough.len()).any(lit));
    push(&mut window, Command::Cover(CoverCommand::Height(457.2)));
    // More fields cover less, and how many is told from one map.
    window.get_by_label("two").click();
    until(&mut window, "two fields", |w| cover(w).made.as_ref().unwrap().ask.fields_needed == 2);
    let two = share(&mut window);
    window.get_by_label("how many").click();
    until(&mut window, "three fields", |w| cover(w).made.as_ref().unwrap().ask.fields_needed == 3);
    assert!(share(&mut window) < two);
    assert_eq!(cover(&window).made.as_ref().unwrap().enough_agl_m.len(), 3);
    window.get_by_label_contains("Clear: three fields or more");
}

#[test]
fn seasons_and_surveys_change_what_counts() {
    let mut window = with_map();
    let all = cover(&window).made.as_ref().unwrap().map.demands.len();
    push(&mut window, Command::Cover(CoverCommand::LookedAt(Some(sparefield::survey::filter::NotSince::Days(90)))));
    until(&mut window, "fewer fields count", |w| cover(w).made.as_ref().unwrap().ask.looked_at.is_some());
    let fewer = cover(&window).made.as_ref().unwrap().map.demands.len();
    assert!(fewer < all && fewer > 0, "{fewer} {all}");
    window.get_by_label_contains(&format!("{fewer} of "));
    push(&mut window, Command::Cover(CoverCommand::LookedAt(None)));
    let may = sparefield_data::quantity::parse_day("2027-05-15").unwrap();
    push(&mut window, Command::Cover(CoverCommand::On(Some(may))));
    until(&mut window, "May", |w| cover(w).made.as_ref().unwrap().ask.conditions.today == may);
    assert_ne!(cover(&window).made.as_ref().unwrap().map.demands.len(), all);
}

#[test]
fn many_winds_are_worked_out_with_progress_and_given_up_when_not_wanted() {
    let mut window = with_map();
    window.get_by_label("nine winds of ten").click();
    until(&mut window, "the first winds are done", |w| cover(w).working.is_some_and(|share| share > 0.0));
    window.get_by_label_contains("Working out winds");
    window.get_by_label("this wind").click();
    until(&mut window, "nothing is worked out", |w| cover(w).working.is_none());
    assert!(cover(&window).made.as_ref().unwrap().many.is_none());
}

#[test]
fn a_route_is_drawn_and_its_profile_pointed_at() {
    let mut window = with_map();
    window.get_by_label("Draw on the map").click();
    window.run_steps(3);
    assert!(cover(&window).route.drawing);
    for at in [egui::pos2(420.0, 300.0), egui::pos2(600.0, 420.0), egui::pos2(500.0, 560.0)] {
        window.hover_at(at);
        window.run_steps(1);
        window.drag_at(at);
        window.drop_at(at);
        window.run_steps(2);
    }
    assert_eq!(cover(&window).route.places.len(), 3);
    window.key_press(egui::Key::Backspace);
    window.run_steps(2);
    assert_eq!(cover(&window).route.places.len(), 2);
    window.key_press(egui::Key::Enter);
    until(&mut window, "the route is flown", |w| cover(w).route.made.is_some() && !cover(w).route.working);
    assert!(!cover(&window).route.drawing);
    let straight = cover(&window).route.made.clone().unwrap();
    window.get_by_label_contains("Route of ");
    window.get_by_label_contains("Heights along the route").focus();
    window.run_steps(2);
    window.key_press(egui::Key::ArrowRight);
    window.run_steps(2);
    let pointed = cover(&window).route.pointed_m.unwrap();
    assert!((pointed - 0.01 * straight.route.length_m).abs() < 0.01, "{pointed}");
    window.get_by_label_contains("Here: ");
    // Another height, and a way round: the route is flown again.
    push(&mut window, Command::Cover(CoverCommand::Route(RouteCommand::Find(true))));
    until(&mut window, "a way is found", |w| {
        cover(w).route.made.as_ref().is_some_and(|m| m.found.is_some()) && !cover(w).route.working
    });
    let round = cover(&window).route.made.clone().unwrap();
    assert!(round.route.uncovered_m() <= straight.route.uncovered_m() + 60.0);
    window.get_by_label("Clear route").click();
    window.run_steps(3);
    assert!(cover(&window).route.places.is_empty() && window.query_by_label("Clear route").is_none());
}

#[test]
fn a_route_is_read_from_a_file_and_nonsense_is_refused_in_words() {
    let mut window = with_map();
    let folder = tempfile::tempdir().unwrap();
    let (good, bad) = (folder.path().join("way.gpx"), folder.path().join("none.gpx"));
    let text = "<gpx version=\"1.1\" creator=\"test\" xmlns=\"http://www.topografix.com/GPX/1/1\"><rte>\
                <rtept lat=\"52.2722\" lon=\"-2.825\"/><rtept lat=\"52.26\" lon=\"-2.75\"/></rte></gpx>";
    std::fs::write(&good, text).unwrap();
    std::fs::write(&bad, "<gpx><wpt lat=\"52.27\" lon=\"-2.8\"/></gpx>").unwrap();
    push(&mut window, Command::Cover(CoverCommand::Route(RouteCommand::Read(bad))));
    until(&mut window, "it is refused", |w| cover(w).route.problem.is_some());
    assert!(cover(&window).route.problem.as_ref().unwrap().contains("no line"));
    push(&mut window, Command::Cover(CoverCommand::Route(RouteCommand::Read(good))));
    until(&mut window, "it is flown", |w| cover(w).route.made.is_some());
    assert_eq!(cover(&window).route.from_file.as_deref(), Some("way.gpx"));
    assert!(cover(&window).route.problem.is_none());
}

#[test]
fn the_list_of_surveys_becomes_a_check_round() {
    let mut window = with_map();
    push(&mut window, Command::Cover(CoverCommand::Surveys(true)));
    until(&mut window, "the list is there", |w| cover(w).surveys.is_some());
    let found = cover(&window).surveys.as_ref().unwrap().2.clone();
    assert!(found.list.len() > 3);
    let first = found.map.area.fields[found.list[0].field].label().to_owned();
    window.get_by_label_contains(&format!("1. {first}: "));
    // It lies below what is seen of the list.
    window.get_by_label("Make a check round of these").click_accesskit();
    until(&mut window, "the round is made", |w| app(w).model.survey.round.is_some());
    assert_eq!(app(&window).model.mode, Mode::Annotate);
    assert_eq!(app(&window).model.survey.round.as_ref().unwrap().stops.len(), found.list.len());
}

#[test]
fn a_place_far_outside_is_no_route() {
    let mut window = with_map();
    for place in [Xy::new(510_000.0, 5_790_000.0), Xy::new(910_000.0, 5_790_000.0)] {
        push(&mut window, Command::Cover(CoverCommand::Route(RouteCommand::Add(place))));
    }
    push(&mut window, Command::Cover(CoverCommand::Route(RouteCommand::Find(true))));
    until(&mut window, "it is refused", |w| cover(w).route.problem.is_some());
    assert!(cover(&window).route.problem.as_ref().unwrap().contains("outside the terrain"));
}

#[test]
fn the_map_and_judged_fields_are_written_for_other_programs() {
    let mut window = with_map();
    let folder = tempfile::tempdir().unwrap();
    let write = |window: &mut Window, what: &str, name: &str| {
        window.get_by_label("Export…").click_accesskit();
        window.run_steps(3);
        window.get_by_label_contains(what).click();
        window.run_steps(2);
        let path = folder.path().join(name);
        window.get_by_label_contains("File (.").focus();
        window.run_steps(2);
        window.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
        window.run_steps(2);
        window.event(egui::Event::Text(path.display().to_string()));
        window.run_steps(2);
        window.get_by_label("Write").click();
        until(window, "it is written", |w| {
            app(w).model.notices.iter().any(|n| n.text.contains(&path.display().to_string()))
        });
        std::fs::read(&path).unwrap()
    };
    let land = write(&mut window, "Land covered from", "land.geojson");
    let land: serde_json::Value = serde_json::from_slice(&land).unwrap();
    let features = land["features"].as_array().unwrap();
    // What is written is what is shown.
    let covered_m2: f64 = features.iter().filter_map(|f| f["properties"]["area_m2"].as_f64()).sum();
    let made = cover(&window).made.clone().unwrap();
    let frame = made.map.least.frame;
    let shown_m2 = share(&mut window) * frame.len() as f64 * frame.cell_m * frame.cell_m;
    assert!((covered_m2 / shown_m2 - 1.0).abs() < 0.03, "{covered_m2} {shown_m2}");
    let count = write(&mut window, "How many fields are in reach from", "count.tif");
    assert!(count.starts_with(b"II*\0") || count.starts_with(b"MM\0*"));
    let fields = String::from_utf8(write(&mut window, "Fields with numbers", "fields.gpx")).unwrap();
    assert_eq!(fields.matches("<wpt ").count(), made.map.area.fields.len());
    assert!(fields.contains("not for navigation"));
    // A name that says another kind of file is refused before anything is written.
    window.get_by_label("Export…").click_accesskit();
    window.run_steps(3);
    window.get_by_label_contains("Least height above sea level").click();
    window.run_steps(2);
    window.get_by_label_contains("File (.").focus();
    window.run_steps(2);
    window.key_press_modifiers(egui::Modifiers::COMMAND, egui::Key::A);
    window.run_steps(2);
    window.event(egui::Event::Text("least.gpx".to_owned()));
    window.run_steps(2);
    window.get_by_label_contains("The name has to end in one of .tif");
}
