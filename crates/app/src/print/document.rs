//! What a page says, block by block.

use crate::sheet::picture::Picture;

/// How a few words are set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Weight {
    /// As usual.
    #[default]
    Plain,
    /// Bold.
    Bold,
    /// Smaller weight in meaning: a source, a remark.
    Soft,
}

/// Words set in one way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// The words.
    pub text: String,
    /// How they are set.
    pub weight: Weight,
}

impl Run {
    /// Plain words.
    #[must_use]
    pub fn plain(text: impl Into<String>) -> Self {
        Self { text: text.into(), weight: Weight::Plain }
    }
    /// Bold words.
    #[must_use]
    pub fn bold(text: impl Into<String>) -> Self {
        Self { text: text.into(), weight: Weight::Bold }
    }
    /// Soft words.
    #[must_use]
    pub fn soft(text: impl Into<String>) -> Self {
        Self { text: text.into(), weight: Weight::Soft }
    }
}

/// What a paragraph is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Tone {
    /// A paragraph.
    #[default]
    Plain,
    /// The sentence that says it all.
    First,
    /// A remark.
    Soft,
    /// A caution.
    Caution,
}

/// A cell of a table.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Cell {
    /// Its words.
    pub text: String,
    /// Whether they are bold.
    pub bold: bool,
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self { text, bold: false }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self { text: text.to_owned(), bold: false }
    }
}

/// One block.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// The title of a page or of a part that begins one.
    Title(String),
    /// A heading; it stays with what follows.
    Heading(String),
    /// A paragraph.
    Text(Tone, Vec<Run>),
    /// Points, one below the other.
    List(Vec<Vec<Run>>),
    /// Things to tick off.
    Ticks(Vec<Vec<Run>>),
    /// Words with a box each, side by side.
    Choices(Vec<String>),
    /// Lines to write on.
    Lines(usize),
    /// A table; columns share the width by what they hold.
    Table {
        /// Names of the columns; empty for none.
        head: Vec<String>,
        /// Rows of cells.
        rows: Vec<Vec<Cell>>,
    },
    /// A drawing and what it shows.
    Figure(Picture, String),
    /// Blocks beside each other, each with its share of the width.
    Beside(Vec<(f32, Vec<Block>)>),
    /// Blocks that stay on one sheet where they fit on one.
    Together(Vec<Block>),
    /// What follows begins a sheet.
    NewSheet,
}

impl Block {
    /// A paragraph of plain words.
    #[must_use]
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text(Tone::Plain, vec![Run::plain(text)])
    }
    /// A remark.
    #[must_use]
    pub fn soft(text: impl Into<String>) -> Self {
        Self::Text(Tone::Soft, vec![Run::plain(text)])
    }
    /// The sentence that says it all.
    #[must_use]
    pub fn first(text: impl Into<String>) -> Self {
        Self::Text(Tone::First, vec![Run::plain(text)])
    }
    /// A caution.
    #[must_use]
    pub fn caution(text: impl Into<String>) -> Self {
        Self::Text(Tone::Caution, vec![Run::plain(text)])
    }
    /// Points of plain words.
    #[must_use]
    pub fn list<T: Into<String>>(points: impl IntoIterator<Item = T>) -> Self {
        Self::List(points.into_iter().map(|text| vec![Run::plain(text)]).collect())
    }
}

/// A page or several.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// What it is called; also the title of the file.
    pub title: String,
    /// What stands at the foot of every sheet.
    pub foot: String,
    /// Letters a third larger, to read in the hand outside.
    pub large: bool,
    /// What it says.
    pub blocks: Vec<Block>,
}

impl Document {
    /// An empty document with the caution that belongs on every sheet at its foot.
    #[must_use]
    pub fn new(title: impl Into<String>) -> Self {
        Self { title: title.into(), foot: FOOT.to_owned(), large: false, blocks: Vec::new() }
    }
    /// Adds a block.
    pub fn push(&mut self, block: Block) {
        self.blocks.push(block);
    }
}

/// What stands at the foot of every sheet.
const FOOT: &str =
    "Training and planning aid, not for navigation. Wires cannot be seen; land data may be wrong or old.";
