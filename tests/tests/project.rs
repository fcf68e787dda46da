//! Rules of the project that no compiler checks.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().expect("the workspace is there")
}

fn read(path: &str) -> String {
    std::fs::read_to_string(root().join(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// Normal and build dependencies between the members of the workspace.
fn arrows() -> BTreeMap<String, Vec<String>> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout).expect("cargo prints JSON");
    let packages = metadata["packages"].as_array().expect("packages");
    let name = |p: &serde_json::Value| p["name"].as_str().expect("name").to_owned();
    let members: Vec<String> = packages.iter().map(name).collect();
    packages
        .iter()
        .map(|package| {
            let dependencies = package["dependencies"].as_array().expect("dependencies");
            let inside = dependencies
                .iter()
                .filter(|d| d["kind"].as_str() != Some("dev"))
                .map(name)
                .filter(|d| members.contains(d))
                .collect();
            (name(package), inside)
        })
        .collect()
}

#[test]
fn dependencies_point_from_app_to_data_to_geometry() {
    let allowed: BTreeMap<&str, &[&str]> = BTreeMap::from([
        ("sparefield-geometry", &[][..]),
        ("sparefield-data", &["sparefield-geometry"][..]),
        ("sparefield", &["sparefield-geometry", "sparefield-data"][..]),
        ("sample-terrain", &["sparefield-geometry", "sparefield-data"][..]),
        ("checks", &["sparefield-geometry", "sparefield-data", "sparefield", "sample-terrain"][..]),
    ]);
    let arrows = arrows();
    assert!(arrows.contains_key("sparefield-geometry"), "{arrows:?}");
    for (from, all) in arrows {
        let may = allowed.get(from.as_str()).unwrap_or_else(|| panic!("{from} has no place in the layout yet"));
        for to in all {
            assert!(may.contains(&to.as_str()), "{from} must not depend on {to}");
        }
    }
}

#[test]
fn geometry_reads_no_file_and_no_clock() {
    let mut folders = vec![root().join("crates/geometry/src")];
    let mut seen = 0;
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            seen += 1;
            let text = std::fs::read_to_string(&path).expect("source text");
            for word in ["std::fs", "std::net", "std::time", "std::env", "std::process", "println!", "unsafe {"] {
                assert!(!text.contains(word), "{} contains {word}", path.display());
            }
        }
    }
    assert!(seen > 5, "only {seen} files looked at");
}

#[test]
fn every_path_named_for_developers_exists() {
    let text = read("DEVELOPERS.md");
    let mut named = 0;
    for piece in text.split('`').skip(1).step_by(2) {
        let is_path = ["crates/", "assets/", "sample-terrain/", "tests/", "scripts/", ".ci/"]
            .iter()
            .any(|start| piece.starts_with(start));
        if !is_path || piece.contains(' ') {
            continue;
        }
        named += 1;
        assert!(root().join(piece).exists(), "DEVELOPERS.md names {piece}, which does not exist");
    }
    assert!(named > 20, "only {named} paths found in DEVELOPERS.md");
}

/// Every text file under version control that people read.
fn texts() -> Vec<(String, String)> {
    let output = Command::new("git").args(["ls-files", "-z"]).current_dir(root()).output();
    let names: Vec<String> = match output {
        Ok(output) if output.status.success() => {
            output.stdout.split(|b| *b == 0).filter_map(|n| String::from_utf8(n.to_vec()).ok()).collect()
        }
        // Not a checkout: the documents at least.
        _ => ["README.md", "DEVELOPERS.md"].map(str::to_owned).into(),
    };
    names
        .into_iter()
        .filter(|n| !n.is_empty() && n != "Cargo.lock" && n != "tests/tests/project.rs")
        .filter_map(|n| std::fs::read_to_string(root().join(&n)).ok().map(|text| (n, text)))
        .collect()
}

#[test]
fn nothing_names_the_machine_it_was_written_on() {
    // Put together here so that this file does not contain them either.
    let workplace = ["/", "work", "/"].concat();
    let home = ["/", "root", "/"].concat();
    let words = [workplace, home, ["seed ", "document"].concat(), ["tran", "script"].concat()];
    let texts = texts();
    assert!(texts.len() >= 2);
    for (name, text) in texts {
        let text = text.to_lowercase();
        for word in &words {
            assert!(!text.contains(word.as_str()), "{name} contains {word:?}");
        }
    }
}

#[test]
fn no_output_calls_a_field_safe() {
    for (name, text) in texts() {
        if !name.starts_with("crates/app/src") {
            continue;
        }
        for claim in ["is safe", "safe field", "safe to land", "guaranteed"] {
            assert!(!text.to_lowercase().contains(claim), "{name} says {claim:?}");
        }
    }
}
