//! Which terrain belongs to an area, named so that a folder with both can be moved.

use super::backup::folder_of;
use serde::{Deserialize, Serialize};
use std::path::{Component, Path, PathBuf};

/// The terrain of an area.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum TerrainSource {
    /// None was named.
    #[default]
    Nothing,
    /// That of the sample area, inside the program.
    Sample,
    /// Files.
    Files {
        /// The files: relative to the area's file in the file, absolute in the program.
        files: Vec<PathBuf>,
        /// The reference system, by the user's word, of files that state none.
        #[serde(default)]
        crs: Option<String>,
        /// Side of a terrain cell, metres; `None` for the spacing of the files.
        #[serde(default)]
        grid_m: Option<f64>,
    },
}

impl TerrainSource {
    /// As it is written in a file at `path`.
    pub(super) fn relative_to(&self, path: &Path) -> Self {
        self.mapped(|file| relative(file, folder_of(path)))
    }
    /// As it is used, read from a file at `path`.
    pub(super) fn resolved_at(&self, path: &Path) -> Self {
        self.mapped(|file| folder_of(path).join(file))
    }
    fn mapped(&self, change: impl Fn(&Path) -> PathBuf) -> Self {
        match self {
            Self::Files { files, crs, grid_m } => {
                Self::Files { files: files.iter().map(|f| change(f)).collect(), crs: crs.clone(), grid_m: *grid_m }
            }
            other => other.clone(),
        }
    }
}

/// A file as seen from a folder, with `/` between its parts; absolute where they share nothing but the root.
pub(super) fn relative(file: &Path, folder: &Path) -> PathBuf {
    let whole = |p: &Path| std::fs::canonicalize(p).or_else(|_missing| std::path::absolute(p)).unwrap_or(p.to_owned());
    let (file, folder) = (whole(file), whole(folder));
    let shared = file.components().zip(folder.components()).take_while(|(a, b)| a == b);
    let (shared, beyond_root) =
        shared.fold((0, false), |(n, named), (part, _)| (n + 1, named || matches!(part, Component::Normal(_))));
    if !beyond_root {
        return file;
    }
    let up = folder.components().skip(shared).map(|_| "..".to_owned());
    let down = file.components().skip(shared).map(|c| c.as_os_str().to_string_lossy().into_owned());
    PathBuf::from(up.chain(down).collect::<Vec<_>>().join("/"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_may_be_moved_with_all_that_is_in_it() {
        let folder = tempfile::tempdir().unwrap();
        let areas = folder.path().join("areas");
        std::fs::create_dir(&areas).unwrap();
        let source = |file: &str| TerrainSource::Files {
            files: vec![folder.path().join(file)],
            crs: Some("EPSG:27700".into()),
            grid_m: Some(2.0),
        };
        let written = source("heights/a.tif").relative_to(&areas.join("home.gpkg"));
        let TerrainSource::Files { files, .. } = &written else { panic!("{written:?}") };
        assert_eq!(files, &[PathBuf::from("../heights/a.tif")]);
        let json = serde_json::to_string(&written).unwrap();
        assert_eq!(serde_json::from_str::<TerrainSource>(&json).unwrap(), written);
        let moved = written.resolved_at(Path::new("/elsewhere/areas/home.gpkg"));
        let TerrainSource::Files { files, .. } = moved else { panic!() };
        assert_eq!(files, [PathBuf::from("/elsewhere/areas/../heights/a.tif")]);
    }

    #[test]
    fn files_that_share_only_the_root_keep_their_whole_name() {
        let named = relative(Path::new("/media/heights.tif"), Path::new("/home/pilot"));
        assert_eq!(named, PathBuf::from("/media/heights.tif"));
    }
}
