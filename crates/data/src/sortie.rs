//! Recorded flights as an area keeps them: what is known of each, and the bytes that its recorder wrote.
//!
//! The fixes are not kept a second time: they are read from the original whenever they are asked for, so a library of a
//! thousand sorties opens at once.

use crate::error::{LoadError, LoadErrorKind, Loaded};
use crate::track::csv::CsvMapping;
use crate::track::{self, HeightChoice, HeightSource, Recording, TrackOptions};
use jiff::Timestamp;
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

/// A name for some bytes: two different hashes of 64 bits and the length. It tells files apart, and guards nothing.
fn content_key(bytes: &[u8]) -> String {
    // Fowler, Noll and Vo: FNV-1 and FNV-1a, 64 bits.
    const PRIME: u64 = 0x100_0000_01b3;
    let (mut one, mut other) = (0xcbf2_9ce4_8422_2325_u64, 0xcbf2_9ce4_8422_2325_u64);
    for &byte in bytes {
        one = one.wrapping_mul(PRIME) ^ u64::from(byte);
        other = (other ^ u64::from(byte)).wrapping_mul(PRIME);
    }
    format!("{one:016x}{other:016x}-{}", bytes.len())
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
        }
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
