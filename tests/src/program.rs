//! The built program, for checks that run it as a user would.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// The program, built once in the profile of the test that asks.
///
/// # Panics
/// When it cannot be built.
#[must_use]
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        let folder = std::env::current_exe().expect("this test is a file").parent().expect("deps").join("..");
        let folder = folder.canonicalize().expect("a folder");
        let mut build = Command::new(std::env::var("CARGO").unwrap_or_else(|_| "cargo".into()));
        build.args(["build", "--quiet", "--offline", "--package", "sparefield", "--bin", "sparefield"]);
        if folder.ends_with("release") {
            build.arg("--release");
        }
        let built = build.current_dir(env!("CARGO_MANIFEST_DIR")).status().expect("cargo runs");
        assert!(built.success());
        let program = folder.join("sparefield");
        assert!(program.is_file(), "{}", program.display());
        program
    })
}
