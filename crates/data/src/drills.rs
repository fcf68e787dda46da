//! Drill sets and results between areas: from one frame to another, and as one JSON document that an instructor can hand
//! out and pilots can hand back.
//!
//! The document holds places in metres of the frame that it names, so that in an area of the same frame everyone gets
//! the same failures bit for bit.

use crate::error::{LoadError, LoadErrorKind, Loaded, Warning};
use crate::frame::{Crs, Frame, FrameError, Transformer};
use crate::vector;
use serde::{Deserialize, Serialize};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::drill::{DrillResult, DrillSet, Place};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};
use std::collections::HashSet;
use std::io::Write as _;
use std::path::Path;
use std::sync::Arc;

/// What the document says that it is.
const FORMAT: &str = "sparefield-drills";
/// Its version.
const VERSION: u32 = 1;
/// Largest document that is read, bytes.
const LARGEST: u64 = 256 << 20;

/// Drill sets and results in one frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drills {
    /// Sets.
    pub sets: Vec<Arc<DrillSet>>,
    /// Results.
    pub results: Vec<Arc<DrillResult>>,
}

#[derive(Serialize, Deserialize)]
struct Document {
    format: String,
    version: u32,
    crs: String,
    #[serde(default)]
    sets: Vec<serde_json::Value>,
    #[serde(default)]
    results: Vec<serde_json::Value>,
}

impl Drills {
    /// Writes the document, whole or not at all; over a file of that name.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path, frame: &Frame) -> Result<(), LoadError> {
        let cannot = |e: serde_json::Error| {
            LoadError::new(path, LoadErrorKind::BadValue, format!("it was not written: {e}"), "report this")
        };
        let document = Document {
            format: FORMAT.to_owned(),
            version: VERSION,
            crs: frame.epsg().map_or_else(|| frame.crs().definition().to_owned(), |code| format!("EPSG:{code}")),
            sets: self.sets.iter().map(|s| serde_json::to_value(&**s)).collect::<Result<_, _>>().map_err(cannot)?,
            results: self
                .results
                .iter()
                .map(|r| serde_json::to_value(&**r))
                .collect::<Result<_, _>>()
                .map_err(cannot)?,
        };
        vector::whole_or_not(path, |file| {
            let mut buffered = std::io::BufWriter::new(file);
            serde_json::to_writer_pretty(&mut buffered, &document)?;
            buffered.write_all(b"\n")?;
            buffered.flush()
        })
    }

    /// Reads a document into a frame. A set or result that is not understood is left out and told.
    ///
    /// # Errors
    /// When it cannot be read or is another kind of file.
    pub fn read(path: &Path, frame: &Frame) -> Result<Loaded<Self>, LoadError> {
        let fail = |kind, problem: String, remedy: &str| LoadError::new(path, kind, problem, remedy);
        let unreadable = |e: std::io::Error| fail(LoadErrorKind::Unreadable, e.to_string(), "check its name and place");
        let size = std::fs::metadata(path).map_err(unreadable)?.len();
        if size > LARGEST {
            return Err(fail(LoadErrorKind::TooLarge, "it is larger than 256 MB".into(), "export fewer results"));
        }
        let text = std::fs::read_to_string(path).map_err(unreadable)?;
        let document: Document = serde_json::from_str(&text).map_err(|e| {
            fail(LoadErrorKind::Corrupt, format!("it is no document of drills ({e})"), "export it again")
        })?;
        if document.format != FORMAT || document.version > VERSION {
            let problem = format!("it is a {} of version {}", document.format, document.version);
            let remedy = "this program reads sparefield-drills of version 1; export it again, or use a newer program";
            return Err(fail(LoadErrorKind::Unsupported, problem, remedy));
        }
        let crs = |e: FrameError| fail(LoadErrorKind::Crs, e.to_string(), "export it from an area nearby");
        let own = Crs::from_user(&document.crs).and_then(Frame::from_crs).map_err(crs)?;
        let (mut drills, mut warnings) = (Self::default(), Vec::new());
        let mut told = |what: &str, number: usize, e: String| {
            warnings
                .push(Warning { place: format!("{what} {}", number + 1), message: format!("{e}; it was left out") });
        };
        for (i, value) in document.sets.into_iter().enumerate() {
            match serde_json::from_value::<DrillSet>(value) {
                Ok(set) if set.id.is_empty() => told("set", i, "it has no identifier".into()),
                Ok(set) => match set.validate() {
                    Ok(()) => drills.sets.push(Arc::new(set)),
                    Err(e) => told("set", i, e.to_string()),
                },
                Err(e) => told("set", i, format!("it is not understood ({e})")),
            }
        }
        for (i, value) in document.results.into_iter().enumerate() {
            match serde_json::from_value::<DrillResult>(value) {
                Ok(result) if result.id.is_empty() => told("result", i, "it has no identifier".into()),
                Ok(result) => drills.results.push(Arc::new(result)),
                Err(e) => told("result", i, format!("it is not understood ({e})")),
            }
        }
        let value = drills.in_frame(&own, frame).map_err(crs)?;
        Ok(Loaded { value, warnings, provenance: vec![format!("{}: drills, {}", path.display(), document.crs)] })
    }

    /// The same in another frame: places moved, directions turned by the difference of grid north.
    ///
    /// # Errors
    /// When a place has no image in the other frame.
    pub fn in_frame(&self, from: &Frame, to: &Frame) -> Result<Self, FrameError> {
        if from.crs() == to.crs() {
            return Ok(self.clone());
        }
        let step = Transformer::new(from.crs(), to)?;
        let place = |p: Xy| step.to_frame(p.x, p.y);
        let turn = |p: Xy| Ok::<_, FrameError>(from.grid_convergence_rad(p)? - to.grid_convergence_rad(place(p)?)?);
        let set = |s: &Arc<DrillSet>| -> Result<Arc<DrillSet>, FrameError> {
            let mut moved = (**s).clone();
            let mut first = None;
            for at in &mut moved.places {
                let points = match at {
                    Place::Route { line, .. } => line.as_mut_slice(),
                    Place::Area { outer } => outer.as_mut_slice(),
                    Place::Circle { centre, .. } => std::slice::from_mut(centre),
                    Place::HomeStrip { .. } => &mut [],
                };
                first = first.or(points.first().copied());
                for p in points {
                    *p = place(*p)?;
                }
            }
            // With fan stops at home alone there is no place to measure at; grid north then differs by a degree or two.
            let by = first.map(turn).transpose()?.unwrap_or_default();
            for wind in &mut moved.winds {
                wind.from_grid = wind.from_grid.map(|b| Bearing::from_rad(b.rad() + by));
            }
            Ok(Arc::new(moved))
        };
        let result = |r: &Arc<DrillResult>| -> Result<Arc<DrillResult>, FrameError> {
            let mut moved = (**r).clone();
            let by = turn(r.position)?;
            moved.position = place(r.position)?;
            let turned = |angle: &mut f64| *angle = math::wrap_tau(*angle + by);
            turned(&mut moved.heading_grid_rad);
            moved.choices.iter_mut().for_each(|c| turned(&mut c.heading_grid_rad));
            let standings = [
                &mut moved.chosen_at_failure,
                &mut moved.best_at_failure,
                &mut moved.chosen_at_choice,
                &mut moved.best_at_choice,
            ];
            standings.into_iter().flatten().for_each(|s| turned(&mut s.heading_grid_rad));
            for wind in [&mut moved.told_wind, &mut moved.true_wind] {
                if let Some(from) = wind.from_bearing() {
                    *wind = WindVector::coming_from(Bearing::from_rad(from.rad() + by), wind.speed_ms());
                }
            }
            Ok(Arc::new(moved))
        };
        Ok(Self {
            sets: self.sets.iter().map(set).collect::<Result<_, _>>()?,
            results: self.results.iter().map(result).collect::<Result<_, _>>()?,
        })
    }

    /// What of these an area that has `mine` lacks.
    ///
    /// A result is known by its identifier. A set is the same as one of mine that has its identifier and seed; then
    /// mine stays as it is. One with the identifier of another set gets a free one.
    #[must_use]
    pub fn lacking(&self, mine: &Self) -> Self {
        let mut ids: HashSet<&str> = mine.sets.iter().map(|s| s.id.as_str()).collect();
        let known: HashSet<(&str, u64)> = mine.sets.iter().map(|s| (stem(&s.id), s.seed)).collect();
        let results: HashSet<&str> = mine.results.iter().map(|r| r.id.as_str()).collect();
        let mut new: Vec<Arc<DrillSet>> = Vec::new();
        for set in self.sets.iter().filter(|s| !known.contains(&(stem(&s.id), s.seed))) {
            if ids.insert(&set.id) {
                new.push(Arc::clone(set));
            } else {
                let free = (2..).map(|n| format!("{}{APART}{n}", stem(&set.id)));
                let taken = |id: &String| ids.contains(id.as_str()) || new.iter().any(|s| s.id == *id);
                let id = free.into_iter().find(|id| !taken(id)).unwrap_or_default();
                new.push(Arc::new(DrillSet { id, ..(**set).clone() }));
            }
        }
        let lacks = |r: &&Arc<DrillResult>| !results.contains(r.id.as_str());
        Self { sets: new, results: self.results.iter().filter(lacks).cloned().collect() }
    }
}

/// Stands before the number by which sets of one identifier are told apart.
const APART: &str = " #";

/// An identifier without the number by which it was told apart from another.
fn stem(id: &str) -> &str {
    match id.rsplit_once(APART) {
        Some((stem, number)) if number.parse::<u32>().is_ok() => stem,
        _ => id,
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::area::Area;
    use crate::error::NoProgress;
    use sparefield_geometry::circuit::Join;
    use sparefield_geometry::drill::{
        Cell, ChangeOfMind, ChoiceMade, HeightBand, Outcome, Regret, Standing, Told, TurnBand, WindBand,
    };
    use sparefield_geometry::fields::model::Day;
    use sparefield_geometry::fields::verdict::Verdict;
    use sparefield_geometry::position::LonLat;

    fn sample() -> (Area, Drills) {
        let area = Area::sample(&NoProgress).unwrap();
        let drills = Drills { sets: area.drill_sets.to_vec(), results: vec![Arc::new(result("r1"))] };
        (area, drills)
    }

    pub(crate) fn result(id: &str) -> DrillResult {
        let standing = Standing {
            field_id: "F007".into(),
            field_name: "Long Ley “north”".into(),
            heading_grid_rad: 0.1 + 0.2,
            verdict: Verdict::Workable,
            score: 1.0 / 3.0,
            spare_height_m: Some(41.7),
        };
        let choice = ChoiceMade {
            at_s: 5.25,
            field_id: "F007".into(),
            field_name: "Long Ley “north”".into(),
            heading_grid_rad: 0.1 + 0.2,
            join: Some(Join::Base),
            hand: None,
            height_m: 301.5,
        };
        let change = ChangeOfMind {
            at_s: 12.5,
            height_m: 260.1,
            from_field_id: "F008".into(),
            to_field_id: "F007".into(),
            still_open: true,
            first_still_open: false,
        };
        let wind = WindVector { east_ms: 2.1, north_ms: -4.3 };
        DrillResult {
            id: id.into(),
            pilot: "Pat Ärmel".into(),
            day: Day { days_since_epoch: 20_782 },
            set_id: "drills-home".into(),
            set_name: "Fan stops at home".into(),
            set_seed: u64::MAX - 1,
            number: 3,
            aircraft: "Two-seat flexwing (example)".into(),
            position: Xy::new(512_345.678_9, 5_791_234.567_8),
            height_agl_m: 304.8,
            heading_grid_rad: 1.234_567_890_123,
            told: Told::Direction,
            told_wind: wind,
            true_wind: WindVector { east_ms: 1.9, ..wind },
            cell: Cell { wind: WindBand::Moderate, height: HeightBand::Cruise, turn: TurnBand::Behind },
            choices: vec![choice],
            time_to_choose_s: Some(5.25),
            chosen_at_failure: Some(standing.clone()),
            best_at_failure: Some(Standing { spare_height_m: None, ..standing.clone() }),
            chosen_at_choice: None,
            best_at_choice: Some(standing),
            regret_at_failure: Some(Regret { score: 0.07, spare_height_m: 3.3 }),
            regret_at_choice: None,
            best_turn_rad: Some(-2.9),
            outcome: Outcome::Overran { by_m: 12.3 },
            changes: vec![change],
            commit_height_m: None,
            join: Some(Join::StraightIn),
            hand: None,
            base_leg_distance_m: None,
            base_leg_constant_m: 250.0,
            short_margin_m: Some(20.0),
            long_margin_m: Some(-12.3),
            least_clearance_m: Some(61.0),
            robustness: None,
            by_hand: None,
        }
    }

    #[test]
    fn a_document_comes_back_bit_for_bit() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("drills.json");
        let (area, drills) = sample();
        drills.write(&path, &area.frame).unwrap();
        let again = Drills::read(&path, &area.frame).unwrap();
        assert_eq!((again.value, again.warnings), (drills, Vec::new()));
    }

    #[test]
    fn in_another_frame_places_and_directions_are_the_same_on_the_globe() {
        let (area, drills) = sample();
        let other = Frame::from_user("EPSG:27700").unwrap();
        let moved = drills.in_frame(&area.frame, &other).unwrap();
        for (a, b) in drills.sets.iter().zip(&moved.sets) {
            for (p, q) in a.places.iter().zip(&b.places) {
                if let (Place::Circle { centre, .. }, Place::Circle { centre: other_centre, .. }) = (p, q) {
                    let near = |l: LonLat, m: LonLat| {
                        assert!((l.lon_deg - m.lon_deg).abs() < 1e-4 && (l.lat_deg - m.lat_deg).abs() < 1e-4);
                    };
                    near(area.frame.to_lonlat(*centre).unwrap(), other.to_lonlat(*other_centre).unwrap());
                    let (from, to) = (a.winds[0].from_grid.unwrap(), b.winds[0].from_grid.unwrap());
                    let (from, to) = (
                        area.frame.true_bearing(from, *centre).unwrap(),
                        other.true_bearing(to, *other_centre).unwrap(),
                    );
                    assert!(from.turn_to(to).abs() < 1e-3, "{from:?} {to:?}");
                }
            }
        }
        let back = moved.in_frame(&other, &area.frame).unwrap();
        assert!(back.results[0].position.distance(drills.results[0].position) < 0.01);
        assert!((back.results[0].heading_grid_rad - drills.results[0].heading_grid_rad).abs() < 1e-6);
    }

    #[test]
    fn only_what_is_lacking_is_added_and_only_once() {
        let (_, drills) = sample();
        assert_eq!(drills.lacking(&drills), Drills::default());
        let same_name = DrillSet { seed: 5, ..(*drills.sets[0]).clone() };
        let theirs = Drills { sets: vec![Arc::new(same_name)], results: vec![Arc::new(result("r2"))] };
        let lacking = theirs.lacking(&drills);
        assert_eq!((lacking.sets[0].id.as_str(), lacking.results.len()), ("drills-home #2", 1));
        let mut both = drills.clone();
        both.sets.extend(lacking.sets);
        both.results.extend(lacking.results);
        assert_eq!(theirs.lacking(&both), Drills::default());
    }

    #[test]
    fn what_is_no_document_of_drills_is_refused_with_a_sentence() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("drills.json");
        let frame = Area::sample(&NoProgress).unwrap().frame;
        let told = |text: &str| {
            std::fs::write(&path, text).unwrap();
            Drills::read(&path, &frame).unwrap_err().to_string()
        };
        assert!(told("no").contains("it is no document of drills"));
        assert!(
            told("{\"format\":\"other\",\"version\":1,\"crs\":\"EPSG:32630\"}").contains("it is a other of version 1")
        );
        assert!(told("{\"format\":\"sparefield-drills\",\"version\":2,\"crs\":\"EPSG:32630\"}").contains("version 2"));
        assert!(told("{\"format\":\"sparefield-drills\",\"version\":1,\"crs\":\"EPSG:0\"}").contains("export it from"));
        // One bad set costs itself.
        std::fs::write(
            &path,
            "{\"format\":\"sparefield-drills\",\"version\":1,\"crs\":\"EPSG:32630\",\"sets\":[{\"id\":\"x\"}]}",
        )
        .unwrap();
        let read = Drills::read(&path, &frame).unwrap();
        assert_eq!((read.value, read.warnings.len()), (Drills::default(), 1));
    }
}
