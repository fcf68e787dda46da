//! Recorded flights as an area keeps them: what is known of each, and the bytes that its recorder wrote.
//!
//! The fixes are not kept a second time: they are read from the original whenever they are asked for, so a library of a
//! thousand sorties opens at once.

use crate::error::{LoadError, LoadErrorKind, Loaded};
use crate::track::csv::CsvMapping;
use crate::track::{self, HeightChoice, HeightSource, Recording, TrackOptions};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The file that a recorder wrote.
#[derive(Clone, Debug)]
pub struct Original {
    /// Names its content: two files of the same bytes have one key.
    pub key: String,
    /// The file's name, without its folder.
    pub file_name: String,
    /// The bytes, while they are in memory; else they are in the area file.
    pub held: Option<Arc<Vec<u8>>>,
}

/// The bytes follow from the key.
impl PartialEq for Original {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key && self.file_name == other.file_name
    }
}

impl Original {
    /// The original of a file's bytes.
    #[must_use]
    pub fn new(path: &Path, bytes: Vec<u8>) -> Self {
        let file_name = path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        Self { key: content_key(&bytes), file_name, held: Some(Arc::new(bytes)) }
    }
}

/// A name for some bytes; see [`Fingerprint`].
fn content_key(bytes: &[u8]) -> String {
    let mut print = Fingerprint::default();
    print.add(bytes);
    print.key()
}

/// Names content by two different hashes of 64 bits and its length. It tells contents apart, and guards nothing.
///
/// # Source
/// Fowler, Noll and Vo: FNV-1 and FNV-1a, 64 bits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fingerprint {
    one: u64,
    other: u64,
    length: u64,
}

impl Default for Fingerprint {
    fn default() -> Self {
        Self { one: 0xcbf2_9ce4_8422_2325, other: 0xcbf2_9ce4_8422_2325, length: 0 }
    }
}

impl Fingerprint {
    /// Adds bytes at the end.
    pub fn add(&mut self, bytes: &[u8]) {
        const PRIME: u64 = 0x100_0000_01b3;
        for &byte in bytes {
            self.one = self.one.wrapping_mul(PRIME) ^ u64::from(byte);
            self.other = (self.other ^ u64::from(byte)).wrapping_mul(PRIME);
        }
        self.length += bytes.len() as u64;
    }
    /// Adds another content as a whole, so that the order in which several are added does not matter.
    pub fn join(&mut self, part: &Self) {
        self.one = self.one.wrapping_add(part.one);
        self.other = self.other.wrapping_add(part.other);
        self.length += part.length;
    }
    /// The name.
    #[must_use]
    pub fn key(&self) -> String {
        format!("{:016x}{:016x}-{}", self.one, self.other, self.length)
    }
}

impl std::fmt::Write for Fingerprint {
    fn write_str(&mut self, text: &str) -> std::fmt::Result {
        self.add(text.as_bytes());
        Ok(())
    }
}

/// What the user said of one exercise. It stands whatever a later analysis finds.
#[derive(Clone, Debug, PartialEq)]
pub struct ExerciseMark {
    /// What kind of exercise: "practice-failure".
    pub kind: String,
    /// Seconds since the first used fix at which it begins.
    pub start_s: f64,
    /// … and ends.
    pub end_s: f64,
    /// Whether the user says that there is none here.
    pub deleted: bool,
    /// The user's note.
    pub note: String,
}

/// A wind as the user gave it, from true north.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GivenVector {
    /// Where it comes from, clockwise from true north, radians.
    pub from_true_rad: f64,
    /// How fast, m/s.
    pub speed_ms: f64,
}

/// The wind of a sortie as the user gave it, in the place of what its turns tell.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
pub struct GivenWind {
    /// At the surface, where it was given.
    pub surface: Option<GivenVector>,
    /// Aloft: height above mean sea level in metres, and the wind there.
    pub aloft: Vec<(f64, GivenVector)>,
}

impl GivenWind {
    /// Whether every number of it is one that a wind can have.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        let sound = |v: &GivenVector| v.from_true_rad.is_finite() && (0.0..=150.0).contains(&v.speed_ms);
        self.surface.iter().all(sound) && self.aloft.iter().all(|(h, v)| h.is_finite() && sound(v))
    }
}

/// What was measured of one exercise, as far as it runs over several sorties.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct KeptExercise {
    /// Seconds since the first fix at which it begins.
    pub start_s: f64,
    /// Height above ground at which the last choice was made, metres.
    pub choice_agl_m: Option<f64>,
    /// Seconds until the gliding speed was held.
    pub delay_s: Option<f64>,
    /// Distance of the base leg, metres.
    pub base_leg_m: Option<f64>,
    /// Height with wings level on final, metres.
    pub on_final_m: Option<f64>,
    /// Verdicts between the field flown to and the best in hindsight.
    pub regret: Option<f64>,
    /// Wind along the landing direction, m/s; positive from ahead.
    pub headwind_ms: Option<f64>,
    /// Wind across the landing direction, m/s.
    pub crosswind_ms: Option<f64>,
}

/// What was measured of a sortie when it was last looked through, so that trends need not look again.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct KeptMeasures {
    /// What they were computed from: [`Sortie::measured_from`].
    pub from: String,
    /// Names the land they were held against; empty where nobody kept it.
    pub land: String,
    /// Names the aircraft's numbers and the rules they were held against; empty where nobody kept it.
    pub held: String,
    /// The aircraft file they were held against.
    pub aircraft: String,
    /// That aircraft's own base-leg distance, metres.
    pub own_base_leg_m: f64,
    /// Speed of the surface wind they were computed in, m/s; `None` where nobody knew it.
    pub wind_ms: Option<f64>,
    /// The exercises, in order.
    pub exercises: Vec<KeptExercise>,
}

/// A place for kept measures. They follow from the sortie and what it was held against, and are no part of what it is:
/// two sorties are the same whether or not they were looked through.
#[derive(Clone, Debug, Default)]
pub struct Measured(pub Option<Arc<KeptMeasures>>);

impl PartialEq for Measured {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

/// Counts up when measures are computed otherwise than before, so that old ones are not taken for new.
const MEASURING: u32 = 1;

/// One recorded flight in an area.
#[derive(Clone, Debug, PartialEq)]
pub struct Sortie {
    /// Identifier, unique in its area.
    pub id: String,
    /// Name for people.
    pub name: String,
    /// The aircraft.
    pub aircraft: String,
    /// The pilot.
    pub pilot: String,
    /// Note.
    pub note: String,
    /// When its first used fix was recorded.
    pub started: Option<Timestamp>,
    /// How long it is, seconds.
    pub duration_s: Option<f64>,
    /// How many fixes it has.
    pub fixes: u32,
    /// From where its heights count.
    pub heights: HeightChoice,
    /// Whether the user chose that.
    pub heights_by_user: bool,
    /// What the columns of a table are, where the user said so.
    pub columns: Option<CsvMapping>,
    /// The file.
    pub original: Original,
    /// Which of the file's recordings it is, counted from 0.
    pub recording: u32,
    /// What the user said of its exercises.
    pub marks: Vec<ExerciseMark>,
    /// The wind as the user gave it; `None` takes what the turns tell.
    pub wind: Option<GivenWind>,
    /// What was measured when it was last looked through.
    pub measured: Measured,
}

impl Sortie {
    /// A sortie of one recording of a file, with nothing said of it yet.
    #[must_use]
    pub fn new(id: String, recording: &Recording, index: u32, original: Original, heights: HeightChoice) -> Self {
        Self {
            id,
            name: recording.name.clone(),
            aircraft: recording.aircraft.clone().unwrap_or_default(),
            pilot: recording.pilot.clone().unwrap_or_default(),
            note: String::new(),
            started: recording.started().filter(|_| recording.date_known),
            duration_s: recording.duration_s(),
            fixes: u32::try_from(recording.fixes.len()).unwrap_or(u32::MAX),
            heights,
            heights_by_user: false,
            columns: None,
            original,
            recording: index,
            marks: Vec::new(),
            wind: None,
            measured: Measured::default(),
        }
    }

    /// A sortie of which nothing but the identifier is known.
    #[must_use]
    pub(crate) fn unknown(id: String) -> Self {
        Self {
            id,
            name: String::new(),
            aircraft: String::new(),
            pilot: String::new(),
            note: String::new(),
            started: None,
            duration_s: None,
            fixes: 0,
            heights: HeightChoice::of(HeightSource::None),
            heights_by_user: false,
            columns: None,
            original: Original { key: String::new(), file_name: String::new(), held: None },
            recording: 0,
            marks: Vec::new(),
            wind: None,
            measured: Measured::default(),
        }
    }

    /// Names everything of the sortie that its measures are computed from.
    #[must_use]
    pub fn measured_from(&self) -> String {
        let Self { heights, columns, original, recording, marks, wind, .. } = self;
        let all = format!("{MEASURING} {} {recording} {heights:?} {columns:?} {wind:?} {marks:?}", original.key);
        content_key(all.as_bytes())
    }

    /// What was measured, unless the sortie has been changed since.
    #[must_use]
    pub fn measures(&self) -> Option<&Arc<KeptMeasures>> {
        self.measured.0.as_ref().filter(|m| m.from == self.measured_from())
    }

    /// Reads its recording again: from memory, or from the area file at `area`. Takes as long as reading the file did.
    ///
    /// # Errors
    /// When the original is not there any more or cannot be read.
    pub fn read(&self, area: Option<&Path>) -> Result<Loaded<Recording>, LoadError> {
        let name = PathBuf::from(&self.original.file_name);
        let bytes = match (&self.original.held, area) {
            (Some(bytes), _) => Arc::clone(bytes),
            (None, Some(area)) => Arc::new(crate::area_file::original(area, &self.original.key)?),
            (None, None) => return Err(self.lost(&name)),
        };
        let options = TrackOptions { csv: self.columns.clone() };
        let Loaded { value, warnings, provenance } = track::from_bytes_with(&name, &bytes, &options)?;
        let recording = value.into_iter().nth(self.recording as usize).ok_or_else(|| self.lost(&name))?;
        Ok(Loaded { value: recording, warnings, provenance })
    }

    fn lost(&self, name: &Path) -> LoadError {
        let problem = format!("the recording of the sortie “{}” is not there", self.name);
        LoadError::new(name, LoadErrorKind::NothingHere, problem, "add the recorder's file again")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_names_content_and_not_names() {
        let of = |name: &str, bytes: &[u8]| Original::new(Path::new(name), bytes.to_vec()).key;
        assert_eq!(of("a.igc", b"AXXX"), of("/elsewhere/b.igc", b"AXXX"));
        assert_ne!(of("a.igc", b"AXXX"), of("a.igc", b"AXXY"));
        assert_ne!(of("a.igc", b""), of("a.igc", b"\0"));
    }

    #[test]
    fn measures_count_only_for_what_they_were_computed_from_and_make_no_other_sortie() {
        let bare = Sortie::unknown("sortie-1".into());
        let kept = |s: &Sortie| KeptMeasures { from: s.measured_from(), ..KeptMeasures::default() };
        let looked_through = Sortie { measured: Measured(Some(Arc::new(kept(&bare)))), ..bare.clone() };
        assert_eq!(looked_through, bare);
        assert!(bare.measures().is_none() && looked_through.measures().is_some());
        // Who flew changes nothing that was measured; heights, wind and corrections do.
        assert!(Sortie { pilot: "Ash".into(), ..looked_through.clone() }.measures().is_some());
        let heights = HeightChoice { offset_m: 3.0, ..bare.heights };
        assert!(Sortie { heights, ..looked_through.clone() }.measures().is_none());
        assert!(Sortie { wind: Some(GivenWind::default()), ..looked_through.clone() }.measures().is_none());
        let mark = ExerciseMark { kind: "x".into(), start_s: 0.0, end_s: 9.0, deleted: false, note: String::new() };
        assert!(Sortie { marks: vec![mark], ..looked_through }.measures().is_none());
    }

    #[test]
    fn a_sortie_reads_its_own_recording_and_says_when_it_is_lost() {
        let flight = |lat: &str, day: u32| {
            format!(
                "<trk><trkseg><trkpt lat=\"{lat}\" lon=\"1\"><time>2025-06-0{day}T09:00:00Z</time></trkpt></trkseg></trk>"
            )
        };
        let text = format!("<gpx>{}{}</gpx>", flight("51", 1), flight("52", 2));
        let path = Path::new("two.gpx");
        let loaded = track::from_bytes(path, text.as_bytes()).unwrap();
        let original = Original::new(path, text.into_bytes());
        let none = HeightChoice::of(HeightSource::None);
        let sortie = Sortie::new("sortie-1".into(), &loaded.value[1], 1, original, none);
        assert_eq!(sortie.read(None).unwrap().value, loaded.value[1]);
        assert_eq!(sortie.started.unwrap().to_string(), "2025-06-02T09:00:00Z");
        let mut lost = sortie.clone();
        lost.original.held = None;
        assert_eq!(lost, sortie, "the bytes follow from the key");
        assert!(lost.read(None).unwrap_err().to_string().contains("add the recorder's file again"));
    }
}
