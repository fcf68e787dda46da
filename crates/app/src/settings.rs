//! The window's settings, kept between starts in the user's configuration folder.

use crate::model::Settings;
use std::io::Write;
use std::path::PathBuf;

fn file() -> Option<PathBuf> {
    directories::ProjectDirs::from("", "", "sparefield").map(|d| d.config_dir().join("window.toml"))
}

/// The kept settings; the defaults where there are none or they cannot be read, which is logged.
#[must_use]
pub fn load() -> Settings {
    let Some(path) = file() else { return Settings::default() };
    let text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Settings::default(),
        Err(e) => {
            log::warn!("{}: the window's settings could not be read ({e}); the defaults are used", path.display());
            return Settings::default();
        }
    };
    toml::from_str(&text).unwrap_or_else(|e| {
        log::warn!("{}: the window's settings are damaged ({e}); the defaults are used", path.display());
        Settings::default()
    })
}

/// Keeps the settings; a failure is logged, since the session goes on without.
pub fn save(settings: &Settings) {
    let Some(path) = file() else { return };
    let write = || -> std::io::Result<()> {
        let folder = path.parent().unwrap_or(&path);
        std::fs::create_dir_all(folder)?;
        let text = toml::to_string(settings).map_err(std::io::Error::other)?;
        let mut temporary = tempfile::NamedTempFile::new_in(folder)?;
        temporary.write_all(text.as_bytes())?;
        temporary.as_file().sync_all()?;
        temporary.persist(&path).map_err(|e| e.error)?;
        Ok(())
    };
    if let Err(e) = write() {
        log::warn!("{}: the window's settings could not be kept ({e})", path.display());
    }
}
