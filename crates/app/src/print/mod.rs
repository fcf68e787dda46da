//! Pages to print: what they say, once, and then as one HTML file, as a PDF, or as a picture.
//!
//! A [`Document`] is a list of blocks without any place on paper. [`html`] leaves placing them to the browser;
//! [`sheets`] places them on sheets of a size, which [`pdf`] and [`png`] then write. Nothing here
//! knows what the pages are about.

mod document;
mod html;
mod letters;
mod paper;
mod pdf;
mod raster;
mod save;

pub use document::{Block, Cell, Document, Run, Tone, Weight};
pub use html::html;
pub use paper::{Format, Sheet, sheets};
pub use pdf::pdf;
pub use raster::png;
pub use save::{PrintError, Written, save};
