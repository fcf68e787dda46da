//! The user's own aircraft, kept between starts as aircraft files in a folder of the program's: those that were made here.

use crate::page_place::plain_name;
use sparefield_data::aircraft_file::load;
use sparefield_data::aircraft_file_out::to_toml;
use sparefield_geometry::aircraft::Aircraft;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// What a fitted aircraft's name has between the aircraft's and the day.
const FITTED: &str = " as fitted ";

/// The folder, where the system has one for the user.
#[must_use]
pub fn own_folder() -> Option<PathBuf> {
    directories::ProjectDirs::from("", "", "sparefield").map(|d| d.data_dir().join("aircraft"))
}

/// Every aircraft kept in a folder, in the order of the files' names, and what could not be read, in a sentence each.
#[must_use]
pub fn kept(folder: &Path) -> (Vec<Aircraft>, Vec<String>) {
    let (mut all, mut problems) = (Vec::new(), Vec::new());
    let Ok(entries) = std::fs::read_dir(folder) else { return (all, problems) };
    let mut files: Vec<PathBuf> = entries.flatten().map(|e| e.path()).collect();
    files.retain(|p| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")));
    files.sort();
    for path in files {
        match load(&path) {
            Ok(loaded) => all.push(loaded.value),
            Err(e) => problems.push(e.to_string()),
        }
    }
    (all, problems)
}

/// A name for an aircraft with a fitted curve that no other of these has.
#[must_use]
pub fn fitted_name(aircraft: &str, day: &str, taken: &[Aircraft]) -> String {
    // An aircraft fitted again is still the same one.
    let base = aircraft.split_once(FITTED).map_or(aircraft, |(base, _)| base);
    let first = format!("{base}{FITTED}{day}");
    let mut name = first.clone();
    let mut number = 2u32;
    while taken.iter().any(|a| a.name == name) {
        name = format!("{first} ({number})");
        number += 1;
    }
    name
}

/// Keeps an aircraft in a folder as a new file; none that is there is written over.
///
/// # Errors
/// When the folder or the file cannot be written.
pub fn keep(folder: &Path, aircraft: &Aircraft, remarks: &[String]) -> std::io::Result<PathBuf> {
    std::fs::create_dir_all(folder)?;
    let mut temporary = tempfile::NamedTempFile::new_in(folder)?;
    temporary.write_all(to_toml(aircraft, remarks).as_bytes())?;
    temporary.as_file().sync_all()?;
    let stem = Some(plain_name(&aircraft.name)).filter(|n| !n.is_empty()).unwrap_or_else(|| "aircraft".to_owned());
    for number in 1u32.. {
        let name = if number == 1 { format!("{stem}.toml") } else { format!("{stem}-{number}.toml") };
        let path = folder.join(name);
        match temporary.persist_noclobber(&path) {
            Ok(_) => return Ok(path),
            Err(e) if e.error.kind() == std::io::ErrorKind::AlreadyExists => temporary = e.file,
            Err(e) => return Err(e.error),
        }
    }
    Err(std::io::ErrorKind::AlreadyExists.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_aircraft_is_kept_beside_others_and_comes_back() {
        let folder = tempfile::tempdir().unwrap();
        let inner = folder.path().join("aircraft");
        assert_eq!(kept(&inner), (Vec::new(), Vec::new()), "a folder that is not there holds none");
        let mut one = Aircraft::example_flexwing();
        one.name = "Mine: blue / red".into();
        let first = keep(&inner, &one, &["told by 3 sorties".into()]).unwrap();
        let text = std::fs::read_to_string(&first).unwrap();
        let second = keep(&inner, &one, &[]).unwrap();
        assert_ne!(first, second);
        assert_eq!(std::fs::read_to_string(&first).unwrap(), text, "the one before is as it was");
        std::fs::write(inner.join("broken.toml"), "name = ").unwrap();
        std::fs::write(inner.join("notes.txt"), "name = ").unwrap();
        let (all, problems) = kept(&inner);
        assert_eq!(all.iter().map(|a| a.name.as_str()).collect::<Vec<_>>(), [one.name.as_str(); 2]);
        assert!(problems.len() == 1 && problems[0].contains("broken.toml"), "{problems:?}");
    }

    #[test]
    fn a_fitted_aircraft_has_a_name_of_its_own() {
        let mut one = Aircraft::example_flexwing();
        one.name = "Mine".into();
        let first = fitted_name("Mine", "2026-11-26", &[one.clone()]);
        assert_eq!(first, "Mine as fitted 2026-11-26");
        let again = Aircraft { name: first.clone(), ..one.clone() };
        assert_eq!(fitted_name(&first, "2026-11-26", &[one, again.clone()]), "Mine as fitted 2026-11-26 (2)");
        assert_eq!(fitted_name(&first, "2026-12-01", &[again]), "Mine as fitted 2026-12-01");
    }
}
