//! What happens to an area file when the program is killed while it writes, when the disk is full, when another program
//! holds it, and when its bytes are damaged.
//!
//! The program that is killed is this test itself, started again by its own name with a seed in the environment. It
//! edits by a script that the seed alone decides, and says in a log what it is about to write and what was written. A
//! kill of the process leaves what it wrote in the system's memory, so this proves the order of writes, not the disk.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use checks::scenery::Dice;
use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Change, Edit, GonePlaces, Swap};
use sparefield_data::area_file::{self, AreaFile, AreaParts, TerrainSource, Trouble};
use sparefield_data::frame::Frame;
use sparefield_data::sortie::{ExerciseMark, GivenVector, GivenWind, Original, Sortie};
use sparefield_data::track::{HeightChoice, HeightSource, from_bytes};
use sparefield_geometry::fields::model::{
    BoundaryEdge, Day, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietZone, Stock, Surface,
};
use sparefield_geometry::grid::{GridFrame, SurfaceKind, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{LonLat, Xy};
use std::fmt::Write as _;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

const TODAY: Day = Day { days_since_epoch: 20_782 };
/// How often the process is killed.
const KILLS: u64 = 320;
/// Kills of one file before a new one is begun, so that files of many ages are met.
const KILLS_OF_ONE_FILE: u64 = 20;
const CHILD: &str = "SPAREFIELD_KILL_TEST_FOLDER";
const SEED: &str = "SPAREFIELD_KILL_TEST_SEED";

/// An area without terrain worth the name: what is kept in the file is what is tested.
fn empty() -> Area {
    let frame = Frame::utm_for(LonLat { lon_deg: -2.8, lat_deg: 52.3 }).unwrap();
    let grid = GridFrame { origin: Xy::new(500_000.0, 5_790_000.0), cell_m: 100.0, cols: 2, rows: 2 };
    let accuracy = TerrainAccuracy { point_to_point_m: 1.0, kind: SurfaceKind::BareGround };
    Area {
        title: "Area 0".into(),
        frame: Arc::new(frame),
        terrain: Arc::new(Terrain { frame: grid, heights_m: vec![0.0; 4], accuracy }),
        fields: Arc::default(),
        proposals: Arc::default(),
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        lanes: Arc::default(),
        layers: Arc::default(),
        home: None,
        start: None,
        drill_sets: Arc::default(),
        drill_results: Arc::default(),
        sorties: Arc::default(),
        provenance: Vec::new(),
        warnings: Vec::new(),
        is_sample: false,
        places: GonePlaces::default(),
    }
}

fn parts(area: &Area) -> AreaParts {
    AreaParts::of(area, TerrainSource::Nothing)
}

/// A field in a lattice of fields that share sides and corners.
fn field(cell: usize, dice: &mut Dice) -> Field {
    let at = |dx: f64, dy: f64| {
        let (column, row) = ((cell % 20) as f64, (cell / 20) as f64);
        Xy::new(500_000.0 + 100.0 * (column + dx), 5_790_000.0 + 150.0 * (row + dy))
    };
    let mut field = Field::new(format!("field-{cell}"), vec![at(0.0, 0.0), at(1.0, 0.0), at(1.0, 1.0), at(0.0, 1.0)]);
    for edge in &mut field.edges {
        *edge = BoundaryEdge { kind: EdgeKind::ALL[dice.below(7)], height_m: Some(dice.below(4) as f64 * 1.1) };
    }
    field.calendar.months[dice.below(12)] = Some(Surface::ALL[dice.below(8)]);
    field.remarks.photographs = (0..dice.below(3)).map(|n| format!("photograph {n}.jpg")).collect();
    field
}

/// A sortie with an original of its own, some of it large enough to be under way when the process is killed.
fn sortie(id: &str, dice: &mut Dice) -> Sortie {
    let mut text = format!("AXXX\nHFDTE010125\nLXXX{id}\n");
    for second in 0..=dice.below(2_000) {
        let (minute, second, place) = (second / 60, second % 60, dice.below(1_000));
        writeln!(text, "B10{minute:02}{second:02}5100{place:03}N00200000WA0010000100").unwrap();
    }
    let path = Path::new("flight.igc");
    let recording = from_bytes(path, text.as_bytes()).unwrap().value.swap_remove(0);
    let heights = HeightChoice::of(HeightSource::Pressure { qnh_hpa: 1_013.0 });
    Sortie::new(id.to_owned(), &recording, 0, Original::new(path, text.into_bytes()), heights)
}

/// What a user says of a sortie: corrections, a wind, a QNH, who flew.
fn said_of(old: &Sortie, number: u64, dice: &mut Dice) -> Sortie {
    let mark = |n: usize| ExerciseMark {
        kind: "practice-failure".into(),
        start_s: 100.0 * n as f64,
        end_s: 100.0 * n as f64 + 50.0,
        deleted: n % 2 == 1,
        note: format!("edit {number}"),
    };
    let surface = GivenVector { from_true_rad: dice.below(6) as f64, speed_ms: dice.below(12) as f64 };
    Sortie {
        pilot: format!("Pilot {}", dice.below(3)),
        marks: (0..dice.below(4)).map(mark).collect(),
        wind: (dice.below(2) == 0).then(|| GivenWind { surface: Some(surface), aloft: vec![(900.0, surface)] }),
        heights: HeightChoice::of(HeightSource::Pressure { qnh_hpa: 1_000.0 + dice.below(30) as f64 }),
        heights_by_user: true,
        ..old.clone()
    }
}

/// The `number`th edit of the script: decided by the seed, the number and the area as it is then.
fn scripted(seed: u64, number: u64, area: &Area) -> Edit {
    let dice = &mut Dice::new(seed ^ number.wrapping_mul(0xA076_1D64_78BD_642F));
    let mut changes = Vec::new();
    // Most gestures touch one thing, some a hundred: a kill must find both under way.
    let things = if dice.below(8) == 0 { 100 } else { 1 + dice.below(3) };
    let first = dice.below(400);
    for cell in (first..first + things).map(|c| c % 400) {
        let id = format!("field-{cell}");
        changes.push(match area.fields.iter().find(|f| f.id == id) {
            None => Change::Field(Swap::add(field(cell, dice))),
            Some(old) if dice.below(4) == 0 => Change::Field(Swap::remove(old)),
            Some(old) => {
                let mut new = (**old).clone();
                new.stock = Stock::ALL[dice.below(3)];
                new.notes = format!("seen for the {number}th time");
                new.edges[dice.below(4)] = BoundaryEdge { kind: EdgeKind::ALL[dice.below(7)], height_m: None };
                Change::Field(Swap::replace(old, new))
            }
        });
    }
    if dice.below(2) == 0 {
        let place = Xy::new(500_000.0 + dice.below(2_000) as f64, 5_790_000.0);
        let shape = HazardShape::Line(vec![place, place + Xy::new(80.0, 10.0)]);
        changes.push(Change::Hazard(Swap::add(Hazard::new(format!("wires-{number}"), HazardKind::Wires, shape))));
    } else if let Some(old) = area.hazards.first() {
        changes.push(Change::Hazard(Swap::remove(old)));
    }
    if dice.below(5) == 0 {
        let zone = QuietZone {
            id: format!("quiet-{number}"),
            kind: sparefield_geometry::fields::model::QuietKind::Houses,
            name: "Farm".into(),
            outer: field(dice.below(400), dice).outer,
            below_agl_m: 150.0,
        };
        changes.push(Change::QuietZone(Swap::add(zone)));
    }
    if dice.below(3) == 0 {
        let id = format!("sortie-{}", dice.below(12));
        changes.push(match area.sorties.iter().find(|s| s.id == id) {
            None => Change::Sortie(Swap::add(sortie(&id, dice))),
            Some(old) if dice.below(5) == 0 => Change::Sortie(Swap::remove(old)),
            Some(old) => Change::Sortie(Swap::replace(old, said_of(old, number, dice))),
        });
    }
    let title = Arc::new(area.title.clone());
    changes.push(Change::Title(Swap::replace(&title, format!("Area {}", number + 1))));
    Edit::new("a scripted gesture", changes)
}

/// Takes the script on from one number of edits to another.
fn play(area: &mut Area, seed: u64, edits: std::ops::Range<u64>) {
    for number in edits {
        let edit = scripted(seed, number, area);
        area.apply(&edit).unwrap();
    }
}

fn edits_in(parts: &AreaParts) -> u64 {
    parts.title.trim_start_matches("Area ").parse().unwrap()
}

/// The process that is killed.
#[test]
#[ignore = "started by the kill test alone"]
fn child() {
    let folder = std::env::var(CHILD).unwrap();
    let folder = Path::new(&folder);
    let seed: u64 = std::env::var(SEED).unwrap().parse().unwrap();
    let (mut file, found) = AreaFile::open(&folder.join("area.gpkg"), TODAY, &NoProgress).unwrap().value;
    let mut area = empty();
    play(&mut area, seed, 0..edits_in(&found));
    let mut log = std::fs::OpenOptions::new().append(true).create(true).open(folder.join("log")).unwrap();
    println!("ready");
    std::io::stdout().flush().unwrap();
    for number in edits_in(&found).. {
        let edit = scripted(seed, number, &area);
        area.apply(&edit).unwrap();
        log.write_all(format!("begin {number}\n").as_bytes()).unwrap();
        file.write(&edit).unwrap();
        log.write_all(format!("done {number}\n").as_bytes()).unwrap();
    }
}

fn start_child(folder: &Path, seed: u64) -> Child {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "child", "--ignored", "--nocapture"])
        .env(CHILD, folder)
        .env(SEED, seed.to_string())
        .stdout(Stdio::piped())
        .stderr(Stdio::inherit())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    assert!(lines.any(|line| line.unwrap().ends_with("ready")), "the child ended before it was ready");
    child
}

/// How many edits were acknowledged, and whether one more was under way.
///
/// An edit that is begun follows on those that were found when the file was last opened, also where the process was
/// killed before it could say that they were done.
fn logged(folder: &Path) -> (u64, bool) {
    let log = std::fs::read_to_string(folder.join("log")).unwrap_or_default();
    let number = |line: &str, word: &str| line.strip_prefix(word).map(|n| n.parse::<u64>().unwrap());
    let last = log.lines().next_back().unwrap_or_default();
    match number(last, "begin ") {
        Some(begun) => (begun, true),
        None => (number(last, "done ").map_or(0, |done| done + 1), false),
    }
}

#[test]
fn a_kill_at_any_moment_loses_at_most_the_edit_in_hand() {
    let mut dice = Dice::new(2026);
    let (mut under_way, mut lost, mut journals, mut edits) = (0, 0, 0, 0);
    for round in 0..KILLS / KILLS_OF_ONE_FILE {
        let folder = folder();
        let (path, seed) = (folder.path().join("area.gpkg"), 1_000 + round);
        drop(AreaFile::create(&path, &parts(&empty())).unwrap());
        let mut area = empty();
        for _ in 0..KILLS_OF_ONE_FILE {
            let mut child = start_child(folder.path(), seed);
            std::thread::sleep(Duration::from_micros(dice.below(30_000) as u64));
            child.kill().unwrap();
            child.wait().unwrap();
            journals += u32::from(folder.path().join("area.gpkg-wal").exists());
            let (acknowledged, in_hand) = logged(folder.path());
            let (file, found) = AreaFile::open(&path, TODAY, &NoProgress).unwrap().value;
            drop(file);
            let kept = edits_in(&found);
            let allowed = acknowledged..=acknowledged + u64::from(in_hand);
            assert!(allowed.contains(&kept), "{kept} edits in the file, {acknowledged} acknowledged");
            let before = edits_in(&parts(&area));
            play(&mut area, seed, before..kept);
            assert!(found == parts(&area), "round {round}: the file is not what {kept} edits make");
            let db = rusqlite::Connection::open(&path).unwrap();
            let whole: String = db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
            assert_eq!(whole, "ok");
            under_way += u32::from(in_hand);
            lost += u32::from(in_hand && kept == acknowledged);
        }
        edits += edits_in(&parts(&area));
    }
    println!(
        "{KILLS} kills among {edits} edits; {under_way} while an edit was written, {journals} left a log, {lost} \
         lost the edit in hand, none lost another"
    );
    // Without these the test would have looked at files at rest only.
    assert!(under_way > KILLS as u32 / 4 && lost > 5 && journals > 5, "{under_way}, {lost}, {journals}");
}

/// A folder in memory where there is one: a killed process leaves what it wrote with the system, disk or not, and without
/// waiting for a disk more edits are met.
fn folder() -> tempfile::TempDir {
    tempfile::tempdir_in("/dev/shm").or_else(|_none| tempfile::tempdir()).unwrap()
}

/// A file with some content in a folder of its own, with the area that it holds.
fn some_file(edits: u64) -> (tempfile::TempDir, std::path::PathBuf, Area) {
    let folder = folder();
    let path = folder.path().join("area.gpkg");
    let mut area = empty();
    play(&mut area, 7, 0..edits);
    drop(AreaFile::create(&path, &parts(&area)).unwrap());
    (folder, path, area)
}

#[test]
fn a_file_that_another_program_holds_is_told_and_the_edit_can_be_tried_again() {
    let (_folder, path, mut area) = some_file(10);
    let (mut file, _) = AreaFile::open(&path, TODAY, &NoProgress).unwrap().value;
    let second = AreaFile::open(&path, TODAY, &NoProgress).unwrap_err();
    assert_eq!(second.trouble, Trouble::InUse);
    assert!(second.to_string().contains("another window of Sparefield"), "{second}");
    // Looking is allowed meanwhile.
    assert!(area_file::read(&path, &NoProgress).unwrap().value == parts(&area));
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE; CREATE TABLE theirs (x); INSERT INTO theirs VALUES (1)").unwrap();
    let edit = scripted(7, 10, &area);
    let told = file.write(&edit).unwrap_err();
    assert_eq!(told.trouble, Trouble::InUse);
    assert!(told.to_string().contains("another program has it open"), "{told}");
    other.execute_batch("COMMIT").unwrap();
    file.write(&edit).unwrap();
    area.apply(&edit).unwrap();
    assert!(area_file::read(&path, &NoProgress).unwrap().value == parts(&area));
    let theirs: i64 = other.query_row("SELECT x FROM theirs", [], |row| row.get(0)).unwrap();
    assert_eq!(theirs, 1);
}

#[test]
fn damage_is_a_sentence_or_an_area_and_never_a_crash() {
    let (_folder, path, _) = some_file(30);
    let whole = std::fs::read(&path).unwrap();
    let mut dice = Dice::new(99);
    let (mut told, mut opened) = (0, 0);
    let mut look = |bytes: &[u8]| {
        std::fs::write(&path, bytes).unwrap();
        match AreaFile::open(&path, TODAY, &NoProgress) {
            Ok(loaded) => {
                // What opens can also be written to, or says why not.
                let (mut file, found) = loaded.value;
                let old = Arc::new(found.title.clone());
                let edit = Edit::new("rename", vec![Change::Title(Swap::replace(&old, "Other".into()))]);
                if let Err(e) = file.write(&edit) {
                    assert!(e.to_string().contains("area.gpkg"), "{e}");
                }
                opened += 1;
            }
            Err(problem) => {
                let words = problem.to_string();
                assert!(words.contains("area.gpkg") && words.contains("; "), "{words}");
                told += 1;
            }
        }
    };
    for _ in 0..300 {
        let mut bytes = whole.clone();
        for _ in 0..=dice.below(4) {
            let at = dice.below(bytes.len());
            bytes[at] ^= 1 << dice.below(8);
        }
        look(&bytes);
    }
    for _ in 0..100 {
        look(&whole[..dice.below(whole.len())]);
    }
    assert!(told > 100 && opened > 20, "{told} told, {opened} opened");
}
