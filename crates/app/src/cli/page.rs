//! Options of every subcommand that writes a page to print, and writing it.

use super::CliError;
use crate::print::{self, Document, Format, PrintError};
use crate::theme::Palette;
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// A page to print.
#[derive(Args, Debug)]
pub struct PageArgs {
    /// Write the page here: HTML for a browser, PDF to print, or PNG pictures, by the ending of the name.
    #[arg(long, value_name = "FILE.pdf|.html|.png")]
    pub out: Option<PathBuf>,
    /// Size of the sheets of a PDF or of pictures.
    #[arg(long, value_enum, default_value_t = Paper::A4)]
    pub paper: Paper,
}

/// Size of a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Paper {
    /// 210 × 297 mm.
    A4,
    /// 148 × 210 mm.
    A5,
}

impl PageArgs {
    /// The format of the sheets.
    pub(super) fn format(&self) -> Format {
        match self.paper {
            Paper::A4 => Format::A4,
            Paper::A5 => Format::A5,
        }
    }

    /// Writes the page.
    ///
    /// # Errors
    /// Bad input where the name's ending says no kind of file; a failure where it cannot be written.
    pub(super) fn save(&self, path: &Path, document: &Document, palette: &Palette) -> Result<(), CliError> {
        save(path, document, self.format(), palette)
    }
}

/// Writes a page.
///
/// # Errors
/// As [`PageArgs::save`].
pub(super) fn save(path: &Path, document: &Document, format: Format, palette: &Palette) -> Result<(), CliError> {
    match print::save(path, document, format, palette) {
        Ok(_) => Ok(()),
        Err(e @ PrintError::Kind(_)) => Err(CliError::BadInput(e.to_string())),
        Err(e) => Err(CliError::Failure(e.to_string())),
    }
}
