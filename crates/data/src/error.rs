//! What readers give back: a value with warnings and where it came from, or one sentence that says what to do.

use std::fmt;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What is wrong with a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum LoadErrorKind {
    /// The file is not there or may not be read.
    Unreadable,
    /// The file is empty.
    Empty,
    /// The file ends too early.
    Truncated,
    /// The content contradicts itself or the format.
    Corrupt,
    /// The format, or a part of it, is not one that is read here.
    Unsupported,
    /// The coordinate reference system is missing or not understood.
    Crs,
    /// The file holds nothing for the area asked for.
    NothingHere,
    /// A value is outside what is allowed.
    BadValue,
    /// The file asks for more memory than is allowed.
    TooLarge,
    /// The caller asked to stop.
    Cancelled,
}

/// A file could not be used. Prints as one sentence: which file, where in it, what is wrong, what to do.
#[derive(Debug, Error)]
pub struct LoadError {
    /// The file.
    pub path: PathBuf,
    /// Where in the file ("line 7", "tile 12", "record 3"); may be empty.
    pub place: String,
    /// What is wrong.
    pub problem: String,
    /// What the reader of the message can do.
    pub remedy: String,
    /// The kind, for callers that act on it.
    pub kind: LoadErrorKind,
}

impl LoadError {
    /// An error in a file, without a place.
    pub fn new(path: &Path, kind: LoadErrorKind, problem: impl Into<String>, remedy: impl Into<String>) -> Self {
        let (problem, remedy) = (one_line(problem.into()), one_line(remedy.into()));
        Self { path: path.to_owned(), place: String::new(), problem, remedy, kind }
    }
    /// The same error with a place in the file.
    #[must_use]
    pub fn at(mut self, place: impl Into<String>) -> Self {
        self.place = one_line(place.into());
        self
    }
    /// An operating-system error on opening or reading.
    pub fn from_io(path: &Path, error: &std::io::Error) -> Self {
        use std::io::ErrorKind as K;
        let (kind, problem, remedy) = match error.kind() {
            K::NotFound => (LoadErrorKind::Unreadable, "there is no such file".to_owned(), "check the name"),
            K::PermissionDenied => {
                (LoadErrorKind::Unreadable, "it may not be read".to_owned(), "check the file's permissions")
            }
            K::IsADirectory => (LoadErrorKind::Unreadable, "it is a folder".to_owned(), "name a file in it"),
            K::UnexpectedEof => {
                (LoadErrorKind::Truncated, "it ends too early".to_owned(), "copy or download the file again")
            }
            _ => (LoadErrorKind::Unreadable, format!("reading failed ({error})"), "check the disk and try again"),
        };
        Self::new(path, kind, problem, remedy)
    }
}

/// A message on one line and of a length that people read: libraries put lines of a damaged file into theirs.
pub(crate) fn one_line(text: String) -> String {
    const LONGEST: usize = 400;
    if text.len() <= LONGEST && !text.contains(char::is_control) {
        return text;
    }
    let spaced: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let line = words.join(" ");
    if line.chars().count() <= LONGEST {
        return line;
    }
    line.chars().take(LONGEST).chain(['…']).collect()
}

impl fmt::Display for LoadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.path.display())?;
        if !self.place.is_empty() {
            write!(f, ", {}", self.place)?;
        }
        write!(f, ": {}", self.problem)?;
        if !self.remedy.is_empty() {
            write!(f, "; {}", self.remedy)?;
        }
        Ok(())
    }
}

/// Something in a file that was passed over, repaired or assumed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// Where ("record 3", "line 7"); may be empty.
    pub place: String,
    /// What was found and what was done, as a sentence without a full stop.
    pub message: String,
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.place.is_empty() { f.write_str(&self.message) } else { write!(f, "{}: {}", self.place, self.message) }
    }
}

/// A value read from files, with what was passed over and where it came from.
#[derive(Clone, Debug)]
pub struct Loaded<T> {
    /// The value.
    pub value: T,
    /// What was repaired, assumed or left out.
    pub warnings: Vec<Warning>,
    /// One line for each source: file, format, reference system.
    pub provenance: Vec<String>,
}

/// How far a long task is, and whether to stop. Cheap to call often.
pub trait Progress: Sync {
    /// Reports a share from 0 to 1.
    fn report(&self, share: f64);
    /// Whether the caller wants the task to stop.
    fn cancelled(&self) -> bool;
}

/// Progress that nobody watches and nobody stops.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoProgress;

impl Progress for NoProgress {
    fn report(&self, _share: f64) {}
    fn cancelled(&self) -> bool {
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_is_one_line_whatever_a_file_says() {
        let error =
            LoadError::new(Path::new("a.gpkg"), LoadErrorKind::Corrupt, "malformed (x\n  y\u{0}\tz)", "try\nagain");
        assert_eq!(error.at("row 1\n").to_string(), "a.gpkg, row 1: malformed (x y z); try again");
        let long = LoadError::new(Path::new("a"), LoadErrorKind::Corrupt, "é".repeat(10_000), "");
        assert!(long.to_string().chars().count() < 420);
    }
}
