//! A document as a file, by the ending of its name.

use super::{Document, Format, html, pdf, png, sheets};
use crate::theme::Palette;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Dots to the inch of pictures.
const DOTS: f32 = 200.0;

/// Why nothing was written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PrintError {
    /// The name says nothing about what is wanted.
    #[error("{} does not say what kind of file it is: end its name with .html, .pdf or .png", .0.display())]
    Kind(PathBuf),
    /// The folder or the file cannot be written.
    #[error("{} cannot be written ({source}); choose another name or folder", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The packaged typefaces cannot be read.
    #[error("the packaged typeface cannot be read; this program is damaged, install it again")]
    Typeface,
}

/// What was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Every file; pictures of several sheets are several.
    pub files: Vec<PathBuf>,
}

impl Written {
    /// Where to, in words.
    #[must_use]
    pub fn words(&self) -> String {
        match &self.files[..] {
            [one] => one.display().to_string(),
            [first, .., last] => format!("{} to {}", first.display(), last.display()),
            [] => String::new(),
        }
    }
}

/// Writes a document as HTML, PDF or pictures, as the ending of the path says. Of several sheets each picture's name
/// ends in its number.
///
/// # Errors
/// When the ending is none of them, or a file cannot be written.
pub fn save(path: &Path, document: &Document, format: Format, palette: &Palette) -> Result<Written, PrintError> {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    let laid = || sheets(document, format, palette).ok_or(PrintError::Typeface);
    let files = match ending.as_str() {
        "html" | "htm" => {
            write(path, html(document, palette).as_bytes())?;
            vec![path.to_owned()]
        }
        "pdf" => {
            let file = pdf(&laid()?, &document.title).ok_or(PrintError::Typeface)?;
            write(path, &file)?;
            vec![path.to_owned()]
        }
        "png" => {
            let laid = laid()?;
            let mut files = Vec::new();
            for (i, sheet) in laid.iter().enumerate() {
                let stem = path.file_stem().unwrap_or_default().to_string_lossy();
                let file = if laid.len() == 1 {
                    path.to_owned()
                } else {
                    path.with_file_name(format!("{stem}-{}.png", i + 1))
                };
                write(&file, &png(sheet, DOTS).ok_or(PrintError::Typeface)?)?;
                files.push(file);
            }
            files
        }
        _ => return Err(PrintError::Kind(path.to_owned())),
    };
    Ok(Written { files })
}

/// Writes a file so that a failure leaves what was there; it is not synced, since it can be made again at any time.
fn write(path: &Path, bytes: &[u8]) -> Result<(), PrintError> {
    let attempt = || -> std::io::Result<()> {
        let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
        if !folder.is_dir() {
            return Err(std::io::Error::new(std::io::ErrorKind::NotFound, "there is no such folder"));
        }
        let mut page = tempfile::Builder::new();
        // A page is for others to read, unlike what temporary files are made for.
        #[cfg(unix)]
        page.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let mut temporary = page.tempfile_in(folder)?;
        temporary.write_all(bytes)?;
        temporary.persist(path).map_err(|e| e.error)?;
        Ok(())
    };
    attempt().map_err(|source| PrintError::Write { path: path.to_owned(), source })
}
