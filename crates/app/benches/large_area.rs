//! The whole window over an area file of 20 000 fields with some 87 000 boundary sides: what every frame costs, and the
//! longest frame from something being done until what follows from it is done, too.
//!
//! A frame is everything but the graphics card: commands, panels, map, tessellation. Files, studies and assessments are
//! the window's own jobs on threads of their own; they run while frames are drawn, as they do for a pilot.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed bench")]

#[path = "../tests/scene/mod.rs"]
mod scene;

use criterion::{BenchmarkGroup, Criterion, SamplingMode, criterion_group, criterion_main, measurement::WallTime};
use egui::{Context, Event, Modifiers, PointerButton, Pos2, RawInput, Rect, Vec2, pos2};
use scene::{ORIGIN, Scene};
use sparefield::app::{App, StartWith};
use sparefield::command::Command;
use sparefield::edits::{describe, outline};
use sparefield::model::{AnnotateCommand, FindingsCommand, MergeCommand, MergeFiles, Mode, SurveyCommand, Thing};
use sparefield::survey::filter::Filter;
use sparefield_data::area_file::{AreaFile, AreaParts, TerrainSource};
use sparefield_data::frame::Frame;
use sparefield_data::terrain::write_geotiff;
use sparefield_geometry::fields::model::{Day, Field, Surface};
use sparefield_geometry::outline::CornerRef;
use sparefield_geometry::position::Xy;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

const TODAY: Day = Day { days_since_epoch: 20_782 };
const SCREEN: Vec2 = Vec2::new(1920.0, 1080.0);
/// A place of the map with nothing but the map under it.
const ON_MAP: Pos2 = pos2(1100.0, 540.0);
/// How far from its middle the area reaches, metres.
const HALF: Xy = Xy::new(33_000.0, 28_000.0);

/// Two area files in a folder: mine, and that of somebody who looked at every second field since.
fn files(folder: &Path) -> [PathBuf; 2] {
    let scene = Scene::new(20_000, 72.0, 50.0);
    let frame = Arc::new(Frame::from_user("EPSG:32630").unwrap());
    let ground = folder.join("ground.tif");
    write_geotiff(&ground, &scene.terrain.frame, frame.epsg(), &scene.terrain.heights_m).unwrap();
    let parts = |title: &str, fields: Vec<Arc<Field>>| AreaParts {
        title: title.to_owned(),
        frame: Arc::clone(&frame),
        fields: Arc::new(fields),
        proposals: Arc::default(),
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        lanes: Arc::default(),
        layers: Arc::default(),
        drill_sets: Arc::default(),
        drill_results: Arc::default(),
        sorties: Arc::default(),
        home: None,
        start: None,
        terrain: TerrainSource::Files { files: vec![ground.clone()], crs: None, grid_m: None },
    };
    let seen = |(i, field): (usize, &Arc<Field>)| {
        if i % 2 == 0 {
            return Arc::clone(field);
        }
        let mut outer = field.outer.clone();
        outer[0] = outer[0] + Xy::new(3.0, 2.0);
        Arc::new(Field { surface: Surface::Stubble, surveyed: Some(TODAY), outer, ..(**field).clone() })
    };
    let theirs = scene.fields.iter().enumerate().map(seen).collect();
    [("mine", scene.fields.clone()), ("theirs", theirs)].map(|(name, fields)| {
        let path = folder.join(format!("{name}.gpkg"));
        drop(AreaFile::create(&path, &parts(name, fields)).unwrap());
        path
    })
}

struct Window {
    ctx: Context,
    app: App,
    frames: u32,
}

impl Window {
    /// A window that opened the file and studied every field. Also tells the longest frame until then.
    fn open(path: &Path) -> (Self, Duration) {
        let ctx = Context::default();
        let start = StartWith { files: vec![path.to_owned()], today: TODAY, keep_settings: false };
        let app = App::new(&ctx, start).unwrap();
        let mut window = Self { ctx, app, frames: 0 };
        // Fonts and glyphs belong to no area.
        for _ in 0..3 {
            window.frame(Vec::new());
        }
        let mut longest = Duration::ZERO;
        while window.app.model.area.is_none() || window.app.model.assessing {
            longest = longest.max(window.frame(Vec::new()));
            std::thread::sleep(Duration::from_millis(2));
        }
        assert_eq!(window.area().fields.len(), 20_000);
        (window, longest)
    }

    fn area(&self) -> Arc<sparefield_data::area::Area> {
        self.app.model.area.clone().unwrap()
    }

    fn frame(&mut self, events: Vec<Event>) -> Duration {
        self.frames += 1;
        let input = RawInput {
            screen_rect: Some(Rect::from_min_size(Pos2::ZERO, SCREEN)),
            time: Some(f64::from(self.frames) / 60.0),
            events,
            ..RawInput::default()
        };
        let begun = Instant::now();
        let app = &mut self.app;
        let mut output = self.ctx.run_ui(input, |ui| {
            app.logic(ui.ctx());
            app.draw(ui);
        });
        output.textures_delta.clear();
        assert!(!self.ctx.tessellate(output.shapes, output.pixels_per_point).is_empty());
        begun.elapsed()
    }

    /// Does something and tells the longest frame until nothing more follows from it, or for some seconds where all
    /// fields have to be studied anew.
    fn longest(&mut self, command: Command) -> Duration {
        self.app.push(command);
        let (mut longest, begun) = (Duration::ZERO, Instant::now());
        let mut quiet = 0;
        while quiet < 4 && begun.elapsed() < Duration::from_secs(3) {
            longest = longest.max(self.frame(Vec::new()));
            let model = &self.app.model;
            let checking = model.findings.shown && model.findings.of != Some(model.land_revision);
            quiet = if model.assessing || model.keeping.waiting > 0 || checking { 0 } else { quiet + 1 };
            std::thread::sleep(Duration::from_millis(2));
        }
        longest
    }

    fn annotate(&mut self, command: AnnotateCommand) -> Duration {
        self.longest(Command::Annotate(command))
    }

    fn choose(&mut self, count: usize) -> Duration {
        let things = self.area().fields.iter().take(count).map(|f| Thing::Field(f.id.clone())).collect();
        self.annotate(AnnotateCommand::Choose(things))
    }

    fn look_at(&mut self, half: Xy) {
        self.app.show(ORIGIN - half, ORIGIN + half);
        self.frame(vec![Event::PointerMoved(ON_MAP)]);
        // Tiles of relief are drawn on another thread.
        for _ in 0..100 {
            self.frame(Vec::new());
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// One frame of the map dragged to and fro.
    fn pan(&mut self) -> Duration {
        let press = |pressed| Event::PointerButton {
            pos: ON_MAP,
            button: PointerButton::Primary,
            pressed,
            modifiers: Modifiers::NONE,
        };
        if self.frames.is_multiple_of(64) {
            self.frame(vec![press(false), Event::PointerMoved(ON_MAP)]);
            self.frame(vec![press(true)]);
            self.frame(vec![Event::PointerMoved(ON_MAP + Vec2::new(30.0, 0.0))]);
        }
        let side = if self.frames.is_multiple_of(2) { 30.0 } else { 34.0 };
        self.frame(vec![Event::PointerMoved(ON_MAP + Vec2::new(side, 0.0))])
    }

    fn zoom(&mut self) -> Duration {
        let factor = if self.frames.is_multiple_of(2) { 1.01 } else { 1.0 / 1.01 };
        self.frame(vec![Event::Zoom(factor)])
    }
}

/// Measures only what `each` tells.
fn told(group: &mut BenchmarkGroup<'_, WallTime>, name: &str, mut each: impl FnMut() -> Duration) {
    group.bench_function(name, |b| b.iter_custom(|count| (0..count).map(|_| each()).sum()));
}

fn frames(c: &mut Criterion, window: &mut Window) {
    let mut group = c.benchmark_group("frame of the window");
    group.sample_size(20);
    for mode in Mode::ALL {
        window.longest(Command::SetMode(mode));
        for (scale, half) in
            [("all 20 000 fields", HALF), ("a quarter of the fields", HALF * 0.5), ("a few", HALF * 0.05)]
        {
            window.look_at(half);
            let name = |what: &str| format!("{mode:?}, {scale}, {what}");
            told(&mut group, &name("still"), || window.frame(Vec::new()));
            told(&mut group, &name("panned"), || window.pan());
            told(&mut group, &name("zoomed"), || window.zoom());
        }
    }
    group.finish();
}

fn edits(c: &mut Criterion, window: &mut Window) {
    window.longest(Command::SetMode(Mode::Annotate));
    window.look_at(HALF);
    let mut group = c.benchmark_group("longest frame after");
    group.sample_size(10).sampling_mode(SamplingMode::Flat);
    let mut turn = 0;
    told(&mut group, "a corner moved", || {
        turn += 1;
        let area = window.area();
        let field = &area.fields[turn * 7_919 % area.fields.len()];
        let to = field.outer[0] + Xy::new(0.5, 0.25);
        let made = outline::move_corner(&area, &field.id, CornerRef::outer(0), to, true);
        assert!(made.is_ok());
        window.annotate(AnnotateCommand::Do(Box::new(made)))
    });
    told(&mut group, "a corner move undone", || window.longest(Command::Undo));
    told(&mut group, "one field chosen", || {
        window.choose(0);
        window.choose(1)
    });
    told(&mut group, "all fields chosen", || {
        window.choose(0);
        window.choose(usize::MAX)
    });
    window.choose(usize::MAX);
    told(&mut group, "nothing, while all fields are chosen", || window.frame(Vec::new()));
    let mut surfaces = [Surface::Stubble, Surface::GrazedGrass].into_iter().cycle();
    let mut change = |window: &Window| {
        let surface = surfaces.next().unwrap();
        let ids = window.app.model.annotating.fields();
        let begun = Instant::now();
        // The view makes the edit within the frame in which it is clicked.
        let made = describe::change_fields(&window.area(), ids, "surface", |f| f.surface = surface);
        (made, begun.elapsed())
    };
    told(&mut group, "the surface of all chosen fields changed", || {
        let (made, making) = change(window);
        assert_eq!(made.as_ref().unwrap().changes.len(), 20_000);
        window.annotate(AnnotateCommand::Do(Box::new(made))).max(making)
    });
    told(&mut group, "that change undone", || {
        let (made, _) = change(window);
        window.annotate(AnnotateCommand::Do(Box::new(made)));
        window.longest(Command::Undo)
    });
    told(&mut group, "a lasso round a quarter of the fields", || {
        window.choose(0);
        let corner = |x: f64, y: f64| ORIGIN + Xy::new(HALF.x * x, HALF.y * y);
        let lasso = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)].map(|(x, y)| corner(x, y));
        let longest = window.annotate(AnnotateCommand::Lasso(lasso.to_vec()));
        assert!(window.app.model.annotating.chosen.len() > 3_000);
        longest
    });
    window.choose(0);
    let mut filters = ["17", "", "2 of 3"].into_iter().cycle();
    told(&mut group, "the list filtered by a word", || {
        let filter = Filter { text: filters.next().unwrap().to_owned(), ..Filter::default() };
        window.longest(Command::Survey(SurveyCommand::SetFilter(filter)))
    });
    window.longest(Command::Survey(SurveyCommand::SetFilter(Filter::default())));
    told(&mut group, "the check of the area asked for", || {
        window.longest(Command::Findings(FindingsCommand::Show(false)));
        window.longest(Command::Findings(FindingsCommand::Show(true)))
    });
    window.longest(Command::Findings(FindingsCommand::Show(false)));
    group.finish();
}

fn merging(c: &mut Criterion, window: &mut Window, theirs: &Path) {
    let mut group = c.benchmark_group("longest frame after");
    group.sample_size(10).sampling_mode(SamplingMode::Flat);
    let compare = |window: &mut Window| {
        let files = MergeFiles { theirs: vec![theirs.to_owned()], base: Vec::new() };
        let mut longest = window.longest(Command::Merge(MergeCommand::Compare(files)));
        while window.app.model.merging.is_none() {
            longest = longest.max(window.frame(Vec::new()));
            std::thread::sleep(Duration::from_millis(2));
        }
        longest
    };
    told(&mut group, "a merge with 10 000 changed fields compared", || compare(window));
    told(&mut group, "nothing, while a merge is looked at", || window.frame(Vec::new()));
    told(&mut group, "what the rules say taken from a merge", || {
        compare(window);
        let longest = window.longest(Command::Merge(MergeCommand::TakeThese));
        assert!(window.app.model.merging.is_none());
        window.longest(Command::Undo);
        longest
    });
    group.finish();
}

fn large_area(c: &mut Criterion) {
    // Beside the build and not in a folder for temporary files, which is often kept in memory.
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let [mine, theirs] = files(folder.path());
    let (mut window, opening) = Window::open(&mine);
    println!("longest frame while the area opened and was studied: {opening:.1?}");
    frames(c, &mut window);
    edits(c, &mut window);
    merging(c, &mut window, &theirs);
}

criterion_group!(benches, large_area);
criterion_main!(benches);
