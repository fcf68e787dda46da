//! A flight while it is recorded: in memory for the area, and line by line on the disk in case the program ends.

use sparefield_data::area::Area;
use sparefield_data::live::LiveFix;
use sparefield_data::sortie::{Original, Sortie};
use sparefield_data::track::{self, Datum, HeightChoice, HeightSource};
use std::fmt::Write as _;
use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// The most fixes of one recording: a day at ten a second.
const MOST_RECORDED: usize = 864_000;
/// How the names of journals begin and end.
const BEGINS: &str = "unfinished-flight-";
const ENDS: &str = ".csv";

/// A flight being recorded.
#[derive(Debug)]
pub struct FlightLog {
    began: jiff::Timestamp,
    /// GPX of every fix so far.
    text: String,
    fixes: usize,
    journal: Option<(PathBuf, File)>,
}

impl FlightLog {
    /// Begins to record, with a journal in a folder where there is one. Says why there is no journal.
    #[must_use]
    pub fn begin(began: jiff::Timestamp, folder: Option<&Path>) -> (Self, Option<String>) {
        let mut log = Self { began, text: String::new(), fixes: 0, journal: None };
        let Some(folder) = folder else { return (log, None) };
        let path = folder.join(format!("{BEGINS}{}{ENDS}", began.strftime("%Y%m%d-%H%M%S")));
        let made = std::fs::create_dir_all(folder).and_then(|()| File::create_new(&path)).and_then(|mut file| {
            file.write_all(b"time,latitude,longitude,altitude\n")?;
            Ok(file)
        });
        match made {
            Ok(file) => {
                log.journal = Some((path, file));
                (log, None)
            }
            Err(e) => (log, Some(no_journal(&path, &e))),
        }
    }

    /// How many fixes there are.
    #[must_use]
    pub fn fixes(&self) -> usize {
        self.fixes
    }

    /// Adds a fix; one whose receiver tells no date gets `now`. Says once when the journal cannot be written any more.
    pub fn add(&mut self, fix: &LiveFix, now: jiff::Timestamp) -> Option<String> {
        if self.fixes >= MOST_RECORDED {
            return None;
        }
        self.fixes += 1;
        let (lat, lon, time) = (fix.place.lat_deg, fix.place.lon_deg, fix.time.unwrap_or(now));
        let _ = write!(self.text, "<trkpt lat=\"{lat:.7}\" lon=\"{lon:.7}\">");
        if let Some(height) = fix.height_amsl_m {
            let _ = write!(self.text, "<ele>{height:.1}</ele>");
        }
        let _ = writeln!(self.text, "<time>{time}</time></trkpt>");
        let (path, file) = self.journal.as_mut()?;
        let height = fix.height_amsl_m.map_or_else(String::new, |h| format!("{h:.1}"));
        let Err(e) = file.write_all(format!("{time},{lat:.7},{lon:.7},{height}\n").as_bytes()) else { return None };
        let told = no_journal(path, &e);
        self.journal = None;
        Some(told)
    }

    /// The recording as a sortie of an area; `None` where there is no usable fix in it.
    #[must_use]
    pub fn sortie(&self, area: &Area) -> Option<Sortie> {
        let bytes = self.bytes();
        let name = format!("flight-{}.gpx", self.began.strftime("%Y%m%d-%H%M%S"));
        let path = Path::new(&name);
        let recording = track::from_bytes(path, &bytes).ok()?.value.into_iter().next()?;
        // What comes in live counts from mean sea level already.
        let heights = HeightChoice::of(HeightSource::Satellite { datum: Datum::MeanSeaLevel });
        Some(Sortie::new(area.free_id("sortie"), &recording, 0, Original::new(path, bytes), heights))
    }

    /// Ends recording; gives the journal, to be taken away once the sortie is in the area's file.
    #[must_use]
    pub fn end(self) -> Option<PathBuf> {
        self.journal.map(|(path, _)| path)
    }

    /// The file that a recorder would have written.
    fn bytes(&self) -> Vec<u8> {
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"Sparefield\" \
             xmlns=\"http://www.topografix.com/GPX/1/1\">\n<trk><name>Flight of {}</name><trkseg>\n{}</trkseg></trk></gpx>\n",
            self.began.strftime("%-d %B %Y, %H:%M"),
            self.text
        )
        .into_bytes()
    }
}

fn no_journal(path: &Path, error: &std::io::Error) -> String {
    format!(
        "The flight is recorded in memory only, since {} cannot be written ({error}): it is lost if the program ends \
         before recording stops",
        path.display()
    )
}

/// Journals of flights whose recording was never ended, in a folder.
#[must_use]
pub fn unfinished(folder: &Path) -> Vec<PathBuf> {
    let is_journal = |path: &PathBuf| {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        name.starts_with(BEGINS) && name.ends_with(ENDS)
    };
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut found: Vec<PathBuf> = entries.map(|e| e.path()).filter(is_journal).collect();
    found.sort();
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_geometry::position::LonLat;
    use std::time::Instant;

    fn fix(second: i64, height_amsl_m: Option<f64>) -> LiveFix {
        LiveFix {
            time: jiff::Timestamp::from_second(1_750_000_000 + second).ok(),
            place: LonLat { lon_deg: -2.0, lat_deg: 51.0 + second as f64 * 1e-4 },
            height_amsl_m,
            speed_ms: None,
            track_deg: None,
            received: Instant::now(),
        }
    }

    #[test]
    fn a_journal_is_a_flight_that_can_be_read_again() {
        let folder = tempfile::tempdir().unwrap();
        let began = jiff::Timestamp::from_second(1_750_000_000).unwrap();
        let (mut log, trouble) = FlightLog::begin(began, Some(folder.path()));
        assert_eq!(trouble, None);
        for second in 0..30 {
            assert_eq!(log.add(&fix(second, (second > 4).then_some(300.0)), began), None);
        }
        // The program ends here; what was written is there.
        let left = unfinished(folder.path());
        assert_eq!(left.len(), 1);
        let again = track::read(&left[0]).unwrap().value.remove(0);
        assert_eq!((again.fixes.len(), again.duration_s()), (30, Some(29.0)));
        assert_eq!(again.fixes[3].satellite_height_m, None);
        assert_eq!(again.fixes[9].satellite_height_m, Some(300.0));
        assert_eq!(log.end(), Some(left[0].clone()));
    }

    #[test]
    fn without_a_journal_it_is_said_and_recorded_all_the_same() {
        let began = jiff::Timestamp::from_second(1_750_000_000).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("no folder");
        std::fs::write(&file, "").unwrap();
        let (mut log, trouble) = FlightLog::begin(began, Some(&file));
        assert!(trouble.unwrap().contains("in memory only"));
        assert_eq!(log.add(&fix(0, None), began), None);
        assert_eq!((log.fixes(), log.end()), (1, None));
        assert!(unfinished(Path::new("/nowhere")).is_empty());
    }
}
