//! Following a live position in the window: a receiver that talks, stops and talks again, a recorded flight played, and
//! what is kept of it.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{Window, app, area, opened, push, until};
use egui_kittest::kittest::Queryable;
use sparefield::command::Command;
use sparefield::model::{FollowCommand, Freshness, Mode, SourceForm, SourceKind};
use sparefield_data::area::Area;
use sparefield_data::live::State;
use sparefield_geometry::position::{Bearing, Xy};
use std::fmt::Write as _;
use std::io::Write as _;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};

fn follow(window: &mut Window, command: FollowCommand) {
    push(window, Command::Follow(command));
}

/// The sample area in Follow.
fn following(width: f32, height: f32) -> Window {
    let mut window = opened(width, height, Vec::new());
    window.get_by_label("Follow").click();
    window.run_steps(3);
    assert_eq!(app(&window).model.mode, Mode::Follow);
    window
}

/// A place so many metres east and north of home, as a receiver writes it.
fn nmea_place(area: &Area, east_m: f64, north_m: f64) -> String {
    let at = area.home.as_ref().unwrap().position + Xy::new(east_m, north_m);
    let place = area.frame.to_lonlat(at).unwrap();
    let part = |v: f64, width: usize| {
        let degrees = v.abs().floor();
        format!("{degrees:0width$.0}{:08.5}", (v.abs() - degrees) * 60.0)
    };
    let letter = |v: f64, [plus, minus]: [char; 2]| if v < 0.0 { minus } else { plus };
    format!(
        "{},{},{},{}",
        part(place.lat_deg, 2),
        letter(place.lat_deg, ['N', 'S']),
        part(place.lon_deg, 3),
        letter(place.lon_deg, ['E', 'W'])
    )
}

fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\r\n", sparefield_data::track::nmea::checksum(body))
}

/// One moment of a receiver.
fn moment(area: &Area, second: u32, east_m: f64, height_m: f64) -> String {
    let place = nmea_place(area, east_m, 0.0);
    let time = format!("{:02}{:02}{:02}.00", 9 + second / 3_600, second / 60 % 60, second % 60);
    sentence(&format!("GPGGA,{time},{place},1,08,0.9,{height_m:.1},M,48.0,M,,"))
        + &sentence(&format!("GPRMC,{time},A,{place},48.6,090.0,010625,,,A"))
}

fn connected(window: &mut Window) -> (TcpListener, TcpStream) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port().to_string();
    let form = SourceForm { kind: SourceKind::Tcp, host: "127.0.0.1".into(), nmea_port: port, ..SourceForm::default() };
    follow(window, FollowCommand::Form(form));
    window.get_by_label("Connect").click();
    window.run_steps(2);
    let (stream, _) = listener.accept().unwrap();
    (listener, stream)
}

fn state(window: &Window) -> Option<State> {
    app(window).model.follow.status.as_ref().map(|s| s.state)
}

fn is_current(window: &Window) -> bool {
    app(window).model.follow.freshness() == Freshness::Current
}

#[test]
fn the_list_follows_a_receiver_and_says_when_it_falls_silent() {
    let mut window = following(1280.0, 800.0);
    let before = app(&window).model.conditions.clone();
    let (_listener, mut receiver) = connected(&mut window);
    window.get_by_label_contains("Waiting for a position");
    let land = area(&window);
    receiver.write_all(moment(&land, 0, 0.0, 900.0).as_bytes()).unwrap();
    until(&mut window, "the fields are ranked from there", is_current);
    window.get_by_label("Live position");
    let model = &app(&window).model;
    let home = land.home.as_ref().unwrap().position;
    assert!(model.conditions.position.distance(home) < 0.1);
    assert!((model.assessment.as_ref().unwrap().state.height_amsl_m - 900.0).abs() < 1e-6);
    // The best field is in the glance, with how it lies from the nose.
    let best = model.choices()[0];
    let name = land.fields[best.index].label().to_owned();
    assert_eq!(model.selected, Some(best.index), "its circuit is flown without being asked for");
    assert!(window.get_all_by_label_contains(&format!("1. {name}, ")).any(|_| true));
    assert!(window.get_all_by_label_contains("below you").count() > 0, "it is over the home field");
    window.get_by_label_contains("above ground");
    // It moves on; the nose is the track less the drift of the wind.
    receiver.write_all(moment(&land, 1, 400.0, 890.0).as_bytes()).unwrap();
    until(&mut window, "it is ranked from the next place", |w| {
        let state = app(w).model.assessment.as_ref().unwrap().state;
        (state.position.x - home.x - 400.0).abs() < 0.5
    });
    let model = &app(&window).model;
    assert!(window.get_all_by_label_contains("o'clock").count() > 0);
    let heading = model.conditions.heading.unwrap();
    let track = model.follow.track.unwrap();
    assert!(heading.turn_to(track).abs() < 0.6 && heading != track, "{heading:?} {track:?}");
    // Silence: nothing is called current any more, and the window wakes by itself to say so.
    until(&mut window, "the silence is noticed", |w| state(w) == Some(State::Stale));
    assert!(matches!(app(&window).model.follow.freshness(), Freshness::Old(_)));
    window.get_by_label_contains("No new position for");
    window.get_by_label_contains("not where you are now");
    receiver.write_all(moment(&land, 9, 500.0, 880.0).as_bytes()).unwrap();
    until(&mut window, "it is live again", is_current);
    window.get_by_label("Live position");
    // The receiver's own word counts at once, before any time has passed.
    receiver.write_all(sentence("GPGGA,090010.00,,,,,0,00,99.9,,M,,M,,").as_bytes()).unwrap();
    until(&mut window, "the fix is gone", |w| !is_current(w));
    window.get_by_label("Rehearse").click();
    window.run_steps(3);
    let after = &app(&window).model.conditions;
    assert_eq!((after.position, after.height, after.heading), (before.position, before.height, before.heading));
}

#[test]
fn rubbish_and_impossible_places_change_nothing_and_are_told() {
    let mut window = following(900.0, 600.0);
    let (_listener, mut receiver) = connected(&mut window);
    let land = area(&window);
    receiver.write_all(&[0xff; 5_000]).unwrap();
    receiver.write_all(b"\r\n$GPGGA,junk*00\r\n").unwrap();
    receiver.write_all(moment(&land, 0, 0.0, 700.0).as_bytes()).unwrap();
    until(&mut window, "the fields are ranked", is_current);
    // Far outside the area's terrain: a plain sentence and no ranking.
    receiver.write_all(moment(&land, 1, 500_000.0, 700.0).as_bytes()).unwrap();
    until(&mut window, "it cannot be ranked there", |w| app(w).model.cannot_assess.is_some());
    let why = app(&window).model.cannot_assess.clone().unwrap();
    window.get_by_label(&why);
    // Without a height nothing is ranked either.
    let place = nmea_place(&land, 0.0, 0.0);
    let flat = sentence(&format!("GPRMC,090002.00,A,{place},40.0,090.0,010625,,,A"));
    receiver.write_all(flat.as_bytes()).unwrap();
    until(&mut window, "the missing height is told", |w| app(w).model.follow.problem.is_some());
    window.get_by_label_contains("gives no height");
}

#[test]
fn what_is_missing_is_asked_for_and_a_flight_that_is_not_there_is_told() {
    let mut window = following(1280.0, 800.0);
    let form = SourceForm { kind: SourceKind::Replay, ..SourceForm::default() };
    follow(&mut window, FollowCommand::Form(form.clone()));
    window.get_by_label("Connect").click();
    window.run_steps(3);
    window.get_by_label_contains("Choose a recorded flight");
    assert_eq!(app(&window).model.follow.source, None);
    follow(&mut window, FollowCommand::Form(SourceForm { file: "/nowhere/a.igc".into(), ..form }));
    window.get_by_label("Connect").click();
    until(&mut window, "the file is missed", |w| state(w) == Some(State::Ended));
    window.get_by_label_contains("no such file");
    window.get_by_label("Disconnect").click();
    window.run_steps(3);
    window.get_by_label("Connect");
}

/// A flight round home of so many seconds, as a receiver's log.
fn flight(land: &Area, folder: &Path, seconds: u32) -> PathBuf {
    let mut text = String::new();
    for second in 0..seconds {
        let out = f64::from(second % 240);
        let east = if out < 120.0 { out * 25.0 } else { (240.0 - out) * 25.0 };
        let _ = write!(text, "{}", moment(land, second, east - 1_500.0, 800.0));
    }
    let path = folder.join("flight.log");
    std::fs::write(&path, text).unwrap();
    path
}

#[test]
fn a_recorded_flight_is_played_recorded_anew_and_kept() {
    let folder = tempfile::tempdir().unwrap();
    let mut window = following(1280.0, 800.0);
    let land = area(&window);
    let path = flight(&land, folder.path(), 120);
    let form = SourceForm { kind: SourceKind::Replay, file: path.display().to_string(), ..SourceForm::default() };
    follow(&mut window, FollowCommand::Form(form));
    follow(&mut window, FollowCommand::Speed(0.0));
    window.get_by_label("Connect").click();
    until(&mut window, "it is ranked at the beginning", is_current);
    window.get_by_label("Record").click();
    window.run_steps(2);
    window.get_by_label("60×").click();
    until(&mut window, "the flight is over", |w| state(w) == Some(State::Ended));
    window.get_by_label("The recorded flight is over");
    until(&mut window, "nothing is current any more", |w| !is_current(w));
    let recorded = app(&window).model.follow.recorded.unwrap();
    assert!(recorded >= 118, "{recorded}");
    window.get_by_label_contains("Stop recording").click();
    window.run_steps(3);
    let land = area(&window);
    let sortie = &land.sorties[0];
    assert_eq!(sortie.fixes as usize, recorded);
    let again = sortie.read(None).unwrap().value;
    assert!(again.fixes.iter().all(|f| f.fault.is_none()));
    let heights = again.height_range(|f| again.height_amsl_m(f, &sortie.heights));
    assert_eq!(heights, Some((800.0, 800.0)));
    // It is an edit like every other.
    assert!(app(&window).model.history.undo_words().unwrap().starts_with("record"));
    push(&mut window, Command::Undo);
    assert!(area(&window).sorties.is_empty());
}

#[test]
fn the_track_is_up_when_asked_for_and_the_map_stays_over_the_aircraft() {
    let mut window = following(1280.0, 800.0);
    let (_listener, mut receiver) = connected(&mut window);
    let land = area(&window);
    receiver.write_all(moment(&land, 0, 0.0, 700.0).as_bytes()).unwrap();
    until(&mut window, "the fields are ranked", is_current);
    window.run_steps(3);
    let view = app(&window).map_view().unwrap();
    let at = app(&window).model.conditions.position;
    assert!((view.to_screen(at) - view.rect.center()).length() < 1.0, "north up, in the middle");
    window.get_by_label("Track up").click();
    window.run_steps(4);
    let view = app(&window).map_view().unwrap();
    let track = app(&window).model.follow.track.unwrap();
    assert!(track.turn_to(Bearing::from_deg(90.0)).abs() < 0.05, "due east but for the convergence");
    let ahead = view.to_screen(at + track.unit() * 1_000.0) - view.to_screen(at);
    assert!(ahead.x.abs() < 0.5 && ahead.y < 0.0, "{ahead:?}");
    assert!(view.to_screen(at).y > view.rect.center().y + 50.0, "more is seen of what lies ahead");
    // Moved away by hand, it stays there until called back.
    follow(&mut window, FollowCommand::LookedAway);
    receiver.write_all(moment(&land, 1, 900.0, 690.0).as_bytes()).unwrap();
    until(&mut window, "the aircraft is further on", |w| app(w).model.conditions.position.distance(at) > 800.0);
    assert_eq!(app(&window).map_view().unwrap().camera.centre, view.camera.centre);
    window.get_by_label("Back to the aircraft").click();
    window.run_steps(4);
    assert!(app(&window).map_view().unwrap().camera.centre.distance(view.camera.centre) > 800.0);
    window.get_by_label("Rehearse").click();
    window.run_steps(4);
    assert!(app(&window).map_view().unwrap().is_north_up());
}

/// Bytes of memory that this process holds.
fn resident() -> usize {
    let pages = std::fs::read_to_string("/proc/self/statm").unwrap();
    pages.split_whitespace().nth(1).unwrap().parse::<usize>().unwrap() * 4_096
}

/// Takes minutes; run it with `--ignored`. What it checks is memory, not time.
#[test]
#[ignore = "two hours of flight take some minutes"]
fn two_hours_of_flight_leave_memory_flat() {
    let folder = tempfile::tempdir().unwrap();
    let mut window = following(1280.0, 800.0);
    let land = area(&window);
    let path = flight(&land, folder.path(), 7_200);
    let form = SourceForm { kind: SourceKind::Replay, file: path.display().to_string(), ..SourceForm::default() };
    follow(&mut window, FollowCommand::Form(form));
    follow(&mut window, FollowCommand::Speed(60.0));
    window.get_by_label("Connect").click();
    until(&mut window, "it is ranked at the beginning", |w| app(w).model.assessment.is_some());
    let (mut settled, mut most) = (0, 0);
    let began = std::time::Instant::now();
    while state(&window) != Some(State::Ended) {
        window.step();
        std::thread::sleep(std::time::Duration::from_millis(20));
        if settled == 0 && began.elapsed().as_secs() > 20 {
            settled = resident();
        }
        most = most.max(resident());
    }
    println!("{} MB after 20 s, at most {} MB in {} s", settled >> 20, most >> 20, began.elapsed().as_secs());
    assert!(settled > 0 && most < settled + (64 << 20), "{settled} {most}");
}
