//! What can go wrong with an area file, each in one sentence that says what to do.

use crate::error::{LoadError, LoadErrorKind, one_line};
use rusqlite::ErrorCode;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What kind of trouble an area file is in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Trouble {
    /// The disk is full.
    Full,
    /// The file or its folder may not be written.
    ReadOnly,
    /// Another program has it open and does not let go.
    InUse,
    /// The content is damaged.
    Damaged,
    /// A later version of the program wrote it.
    Newer,
    /// It is something else than an area file.
    NotAnArea,
    /// It is not there, or not where it was.
    Gone,
    /// There is a file of that name already.
    Exists,
    /// The caller asked to stop.
    Cancelled,
    /// Reading or writing failed in another way.
    Failed,
}

/// An area file could not be used. Prints as one sentence: which file, what is wrong, what to do.
#[derive(Debug, Error)]
#[error("{}: {problem}; {remedy}", path.display())]
pub struct AreaFileError {
    /// The file.
    pub path: PathBuf,
    /// What kind of trouble it is.
    pub trouble: Trouble,
    /// What is wrong.
    pub problem: String,
    /// What the reader of the message can do.
    pub remedy: String,
}

impl AreaFileError {
    pub(super) fn new(path: &Path, trouble: Trouble, problem: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { path: path.to_owned(), trouble, problem: one_line(problem.into()), remedy: one_line(remedy.into()) }
    }

    /// What SQLite said, in words.
    pub(super) fn from_sqlite(path: &Path, error: &rusqlite::Error) -> Self {
        let new = |trouble, problem: &str, remedy: &str| Self::new(path, trouble, problem, remedy);
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => new(
                Trouble::Full,
                "the disk is full, so the last change is not kept yet",
                "make room on the disk and try again; everything kept before is in the file",
            ),
            Some(ErrorCode::ReadOnly) if extended(error) == Some(rusqlite::ffi::SQLITE_READONLY_DBMOVED) => gone(path),
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => new(
                Trouble::InUse,
                "another program has it open and does not let it be written",
                "close it there, or finish editing there, and try again",
            ),
            Some(ErrorCode::DatabaseCorrupt) => damaged(path, "its content is damaged"),
            Some(ErrorCode::NotADatabase) => new(
                Trouble::NotAnArea,
                "it is not a GeoPackage, or its first bytes are damaged",
                "choose an area file, or restore this one from a copy",
            ),
            Some(ErrorCode::CannotOpen) if !path.exists() => gone(path),
            // The log is made beside the file, so its folder must allow that.
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen) => read_only(path),
            Some(ErrorCode::OperationInterrupted) => new(Trouble::Cancelled, "reading it was stopped", "open it again"),
            Some(ErrorCode::SystemIoFailure) if extended(error) == Some(rusqlite::ffi::SQLITE_IOERR_SHORT_READ) => {
                damaged(path, "it ends too early")
            }
            Some(ErrorCode::SystemIoFailure) => Self::new(
                path,
                Trouble::Failed,
                format!("the disk reported an error ({error})"),
                "check the disk and its free room, and try again",
            ),
            _ => damaged(path, &format!("its tables are not as they should be ({error})")),
        }
    }

    pub(super) fn from_io(path: &Path, error: &std::io::Error) -> Self {
        use std::io::ErrorKind as K;
        match error.kind() {
            K::NotFound => gone(path),
            K::PermissionDenied | K::ReadOnlyFilesystem => read_only(path),
            K::StorageFull | K::QuotaExceeded => {
                Self::new(path, Trouble::Full, "the disk is full", "make room on the disk and try again")
            }
            K::AlreadyExists => exists(path),
            _ => Self::new(
                path,
                Trouble::Failed,
                format!("the disk reported an error ({error})"),
                "check the disk and try again",
            ),
        }
    }
}

fn extended(error: &rusqlite::Error) -> Option<i32> {
    error.sqlite_error().map(|e| e.extended_code)
}

pub(super) fn gone(path: &Path) -> AreaFileError {
    let remedy = "put it back where it was, or save a copy elsewhere";
    AreaFileError::new(path, Trouble::Gone, "it is not there, or was moved or deleted", remedy)
}

pub(super) fn exists(path: &Path) -> AreaFileError {
    AreaFileError::new(path, Trouble::Exists, "there is a file of this name already", "choose another name")
}

pub(super) fn read_only(path: &Path) -> AreaFileError {
    AreaFileError::new(
        path,
        Trouble::ReadOnly,
        "the file or its folder may not be written, so changes cannot be kept",
        "save a copy elsewhere, or allow writing and try again",
    )
}

/// A damaged file; names the newest backup that lies beside it.
pub(super) fn damaged(path: &Path, problem: &str) -> AreaFileError {
    let remedy = match super::backup::newest(path) {
        Some(backup) => format!(
            "leave it as it is and open the backup {} instead",
            backup.file_name().unwrap_or_default().to_string_lossy()
        ),
        None => "leave it as it is and restore it from a copy of your own".to_owned(),
    };
    AreaFileError::new(path, Trouble::Damaged, problem, remedy)
}

impl From<AreaFileError> for LoadError {
    fn from(error: AreaFileError) -> Self {
        let kind = match error.trouble {
            Trouble::Damaged => LoadErrorKind::Corrupt,
            Trouble::Newer | Trouble::NotAnArea => LoadErrorKind::Unsupported,
            Trouble::Cancelled => LoadErrorKind::Cancelled,
            _ => LoadErrorKind::Unreadable,
        };
        Self::new(&error.path, kind, error.problem, error.remedy)
    }
}
