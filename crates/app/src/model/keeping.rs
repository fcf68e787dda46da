//! How the area is kept: in which file, and whether everything is in it.

use std::path::{Path, PathBuf};

/// Where the area is kept and how that stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Keeping {
    /// The area's file; `None` while it has none.
    pub path: Option<PathBuf>,
    /// Edits that are not in the file yet.
    pub waiting: usize,
    /// Why the next one could not be written.
    pub problem: Option<String>,
    /// The pilot wants to close the window although edits wait.
    pub asks_to_close: bool,
}

impl Keeping {
    /// One line for the pilot; `None` while there is nothing to say.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        let name = self.path.as_deref().and_then(Path::file_name)?.to_string_lossy();
        Some(match (self.waiting, &self.problem) {
            (0, None) => format!("All changes are kept in {name}"),
            (_, None) => format!("Keeping changes in {name}…"),
            (0, Some(problem)) => problem.clone(),
            (1, Some(problem)) => format!("1 change is not kept yet. {problem}"),
            (n, Some(problem)) => format!("{n} changes are not kept yet. {problem}"),
        })
    }
}
