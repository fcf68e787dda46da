//! Asking the system's dialogue for files on a thread of its own: it may stay open for long.

use crate::model::Source;
use crate::page_place::plain_name;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// What files are asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PickFor {
    /// Photographs of the fields with these identifiers.
    Photographs(Vec<String>),
    /// Where a check round is written.
    Round,
    /// What fields are suggested from.
    Source(Source),
    /// A recorded flight to play again.
    Flight,
    /// A route to look at.
    Route,
    /// A document of drill sets to take in.
    DrillSets,
    /// Where a drill set is written that is handed out: its identifier and its name.
    HandOut(String, String),
}

/// A dialogue that is open.
pub struct Picking {
    /// What for.
    pub what: PickFor,
    picked: Receiver<Vec<PathBuf>>,
}

impl Picking {
    /// Opens the dialogue; `wake` is called when it closes.
    ///
    /// # Errors
    /// When the system refuses a thread.
    pub fn start(what: PickFor, from: Option<&Path>, wake: impl Fn() + Send + 'static) -> std::io::Result<Self> {
        let (send, picked) = channel();
        let mut dialog = rfd::AsyncFileDialog::new();
        if let Some(folder) = from {
            dialog = dialog.set_directory(folder);
        }
        let asked = what.clone();
        std::thread::Builder::new().name("choose files".into()).spawn(move || {
            let one = |file: Option<rfd::FileHandle>| file.iter().map(|f| f.path().to_owned()).collect();
            let files: Vec<PathBuf> = match asked {
                PickFor::Photographs(_) => {
                    let dialog = dialog.set_title("Photographs of a field").add_filter("Photographs", &IMAGE_ENDINGS);
                    let files = pollster::block_on(dialog.pick_files()).unwrap_or_default();
                    files.iter().map(|f| f.path().to_owned()).collect()
                }
                PickFor::Round => {
                    let dialog = dialog.set_title("Save the check round").set_file_name("check-round.pdf");
                    one(pollster::block_on(dialog.save_file()))
                }
                // Files are known by their contents; a filter by their endings would hide some.
                PickFor::Source(source) => one(pollster::block_on(dialog.set_title(source.words()).pick_file())),
                PickFor::Flight => one(pollster::block_on(dialog.set_title("A recorded flight").pick_file())),
                PickFor::Route => one(pollster::block_on(dialog.set_title("A route").pick_file())),
                PickFor::DrillSets => one(pollster::block_on(dialog.set_title("A document of drill sets").pick_file())),
                PickFor::HandOut(_, name) => {
                    let name = format!("{}.json", plain_name(&name));
                    let dialog = dialog.set_title("Hand out a drill set").set_file_name(name);
                    one(pollster::block_on(dialog.save_file()))
                }
            };
            // Nobody waits any more when the window is closed.
            drop(send.send(files));
            wake();
        })?;
        Ok(Self { what, picked })
    }

    /// The files once the dialogue is closed, none where nothing was chosen; `None` while it is open.
    #[must_use]
    pub fn poll(&self) -> Option<Vec<PathBuf>> {
        match self.picked.try_recv() {
            Ok(files) => Some(files),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Vec::new()),
        }
    }
}

/// How names of photographs end. Nothing else is handed to the system to open: an area file from somebody else could
/// name a program.
pub const IMAGE_ENDINGS: [&str; 10] = ["jpg", "jpeg", "png", "webp", "gif", "bmp", "tif", "tiff", "heic", "avif"];

/// Whether a path or address looks like a photograph by its ending.
#[must_use]
pub fn is_photograph(path: &str) -> bool {
    let ending = Path::new(path).extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    IMAGE_ENDINGS.contains(&ending.as_str())
}

/// Whether a photograph is noted by its address in the net.
#[must_use]
pub fn is_address(path: &str) -> bool {
    let plain = path.to_lowercase();
    plain.starts_with("https://") || plain.starts_with("http://")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_photographs_are_opened() {
        for (path, yes) in
            [("a/b.JPG", true), ("north.jpeg", true), ("run.exe", false), ("x.desktop", false), ("", false)]
        {
            assert_eq!(is_photograph(path), yes, "{path}");
        }
        assert!(is_address("HTTPS://example.org/a.jpg") && !is_address("file:///etc/passwd") && !is_address("a.jpg"));
    }
}
