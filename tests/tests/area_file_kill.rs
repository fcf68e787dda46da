//! What happens to an area file when the program is killed while it writes, when the disk is full, when another program
//! holds it, and when its bytes are damaged.
//!
//! The program that is killed is this test itself, started again by its own name with a seed in the environment. It
//! edits by a script that the seed alone decides, and says in a log what it is about to write and what was written. A
//! kill of the process leaves what it wrote in the system's memory, so this proves the order of writes, not the disk.

use sparefield_data::NoProgress;
use sparefield_data::area::{Area, Change, Edit, Swap};
use sparefield_data::area_file::{self, AreaFile, AreaParts, TerrainSource, Trouble};
use sparefield_data::frame::Frame;
use sparefield_geometry::fields::model::{
    BoundaryEdge, Day, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietZone, Stock, Surface,
};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::position::{LonLat, Xy};
use std::io::{Read as _, Seek as _, SeekFrom, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

const TODAY: Day = Day { days_since_epoch: 20_782 };
/// How often the process is killed.
const KILLS: u64 = 320;
/// Kills of one file before a new one is begun, so that files of many ages are met.
const KILLS_OF_ONE_FILE: u64 = 20;
const CHILD: &str = "SPAREFIELD_KILL_TEST_FOLDER";
const SEED: &str = "SPAREFIELD_KILL_TEST_SEED";

/// SplitMix64 (Steele, Lea and Flood, Fast splittable pseudorandom number generators, OOPSLA 2014).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }
    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
}

/// An area without terrain worth the name: what is kept in the file is what is tested.
fn empty() -> Area {
    let frame = Frame::utm_for(LonLat { lon_deg: -2.8, lat_deg: 52.3 }).unwrap();
    let grid = GridFrame { origin: Xy::new(500_000.0, 5_790_000.0), cell_m: 100.0, cols: 2, rows: 2 };
    Area {
        title: "Area 0".into(),
        frame: Arc::new(frame),
        terrain: Arc::new(Terrain::new(grid, vec![0.0; 4], TerrainAccuracy::default()).unwrap()),
        fields: Arc::default(),
        proposals: Arc::default(),
        hazards: Arc::default(),
        quiet_zones: Arc::default(),
        lanes: Arc::default(),
        home: None,
        start: None,
        provenance: Vec::new(),
        warnings: Vec::new(),
        is_sample: false,
    }
}

fn parts(area: &Area) -> AreaParts {
    AreaParts::of(area, TerrainSource::Nothing)
}
