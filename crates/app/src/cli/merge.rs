//! `merge`: two people's areas compared, and one made of both.

use super::args::MergeArgs;
use super::check::{capital, plain};
use super::{CliError, inputs, print, session, text};
use serde_json::{Value, json};
use sparefield_data::area::Edit;
use sparefield_data::area_file::{self, AreaFile, AreaFileError};
use sparefield_data::drills::Drills;
use sparefield_data::frame::Frame;
use sparefield_data::merge::{Difference, Land, Merge, MergeOptions, Take};
use sparefield_data::vector::{field_features, hazard_features, quiet_zone_features, write_geojson};
use sparefield_data::{Loaded, NoProgress};
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

/// Runs the subcommand.
///
/// # Errors
/// For bad input, or when the result or standard output cannot be written.
pub(super) fn run(args: &MergeArgs) -> Result<(), CliError> {
    let all_from = match args.take.trim().to_lowercase().as_str() {
        "mine" => Some(Take::Mine),
        "theirs" => Some(Take::Theirs),
        "newer" => None,
        other => return Err(CliError::BadInput(format!("--take: “{other}” is none of mine, theirs and newer"))),
    };
    let named = args.crs.as_deref().map(Frame::from_user).transpose();
    let named = named.map_err(|e| CliError::BadInput(format!("--crs: {e}")))?.map(Arc::new);
    check_out(args)?;
    if is_area_file(&args.mine) && named.is_some() {
        return Err(CliError::BadInput(
            "--crs: an area file is compared in its own reference system; leave it out".into(),
        ));
    }
    let mine = read(&args.mine, named.as_ref())?;
    let frame = Arc::clone(&mine.value.frame);
    let theirs = read(&args.theirs, Some(&frame))?;
    let base = args.base.as_deref().map(|path| read(path, Some(&frame))).transpose()?;
    let merge = Merge::between(&mine.value, &theirs.value, base.as_ref().map(|b| &b.value), &MergeOptions::default())
        .map_err(|e| CliError::BadInput(format!("{}: {e}", args.theirs.display())))?;
    let takes: Vec<Take> = merge.differences().iter().map(|d| all_from.unwrap_or(d.default)).collect();
    if let Some(out) = &args.out {
        let edit = merge.edit(&takes, &name(&args.theirs));
        if is_area_file(&args.mine) {
            write_area(&args.mine, out, &edit).map_err(|e| session::unusable(&e.into()))?;
        } else {
            write(out, &mine.value.after(&edit))?;
        }
    }
    let mut notes = Vec::new();
    for (path, loaded) in
        [(Some(&args.mine), Some(&mine)), (Some(&args.theirs), Some(&theirs)), (args.base.as_ref(), base.as_ref())]
    {
        if let (Some(path), Some(loaded)) = (path, loaded) {
            notes.extend(loaded.warnings.iter().map(|w| format!("{}: {w}", name(path))));
        }
    }
    notes.extend(merge.notes().iter().cloned());
    let answer = Answer { args, merge: &merge, takes: &takes, chosen: all_from.is_some(), notes };
    if args.json { print(&format!("{:#}\n", answer.document(&frame)?)) } else { print(&answer.people()) }
}

fn read(path: &Path, frame: Option<&Arc<Frame>>) -> Result<Loaded<Land>, CliError> {
    Land::read(&[path.to_owned()], frame).map_err(|e| session::unusable(&e))
}

/// Other programs keep other things in a GeoPackage, so its ending does not tell.
fn is_area_file(path: &Path) -> bool {
    area_file::check(path).is_ok()
}

/// Where the result is written must be none of the files read, and a file that can hold it.
fn check_out(args: &MergeArgs) -> Result<(), CliError> {
    let Some(out) = &args.out else { return Ok(()) };
    let bad = |why: &str| Err(CliError::BadInput(format!("--out: {}: {why}", out.display())));
    let read = [Some(&args.mine), Some(&args.theirs), args.base.as_ref()];
    let same =
        |path: &Path| std::fs::canonicalize(path).is_ok_and(|p| std::fs::canonicalize(out).is_ok_and(|o| o == p));
    if read.into_iter().flatten().any(|path| same(path)) {
        return bad("it is one of the files compared, and those are not written to; name another");
    }
    match (is_area_file(&args.mine), out.extension().is_some_and(|e| e.eq_ignore_ascii_case("gpkg"))) {
        (true, false) => {
            bad("mine is an area file, which no other file holds whole; name a new one that ends in .gpkg")
        }
        (false, true) => bad("mine is no area file, so none is made of it; name one that ends in .geojson"),
        (true, true) if out.exists() => bad("there is already a file of that name; name a new one"),
        _ => Ok(()),
    }
}

/// A copy of my area file with the edit in it, and with everything else that mine holds.
fn write_area(mine: &Path, out: &Path, edit: &Edit) -> Result<(), AreaFileError> {
    area_file::copy(mine, out)?;
    let written = AreaFile::open(out, inputs::today(), &NoProgress).and_then(|l| {
        let (mut file, _) = l.value;
        file.write(edit)
    });
    if written.is_err() {
        // It was made a moment ago, and is not what was asked for.
        drop(std::fs::remove_file(out));
    }
    written
}

/// Fields where there are any, else hazards and quiet zones.
fn write(out: &Path, land: &Land) -> Result<(), CliError> {
    let features = if let Some(fields) = &land.fields {
        field_features(fields)
    } else {
        let mut features = hazard_features(land.hazards.as_deref().unwrap_or_default());
        features.extend(quiet_zone_features(land.quiet_zones.as_deref().unwrap_or_default()));
        features
    };
    write_geojson(out, &features, &land.frame).map_err(|e| CliError::Failure(e.to_string()))
}

fn name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |n| n.to_string_lossy().into_owned())
}

struct Answer<'a> {
    args: &'a MergeArgs,
    merge: &'a Merge,
    takes: &'a [Take],
    /// Whether whose version is taken was said, and not worked out by the rules.
    chosen: bool,
    notes: Vec<String>,
}

impl Answer<'_> {
    fn because(&self, difference: &Difference) -> &'static str {
        if self.chosen { "as asked" } else { difference.because }
    }

    fn document(&self, frame: &Frame) -> Result<Value, CliError> {
        let list = self
            .merge
            .differences()
            .iter()
            .zip(self.takes)
            .map(|(d, take)| {
                let plain = |text: &Option<String>| text.as_deref().map(plain);
                Ok(json!({
                    "thing": d.kind.words(),
                    "id": d.id,
                    "name": d.label,
                    "attribute": d.attribute.words(),
                    "status": d.status.words(),
                    "mine": plain(&d.mine),
                    "theirs": plain(&d.theirs),
                    "before": plain(&d.before),
                    "taken": if *take == Take::Mine { "mine" } else { "theirs" },
                    "because": self.because(d),
                    "position": d.at.map(|at| session::lon_lat(frame, at)).transpose()?,
                }))
            })
            .collect::<Result<Vec<_>, CliError>>()?;
        Ok(json!({
            "mine": self.args.mine,
            "theirs": self.args.theirs,
            "base": self.args.base,
            "crs": frame.epsg().map(|code| format!("EPSG:{code}")),
            "out": self.args.out,
            "notes": self.notes,
            "differences": list,
            "drill_sets_taken": self.merge.drills().sets.len(),
            "drill_results_taken": self.merge.drills().results.len(),
        }))
    }

    fn people(&self) -> String {
        let base = self
            .args
            .base
            .as_ref()
            .map_or_else(|| "no common ancestor".to_owned(), |base| format!("common ancestor {}", name(base)));
        let mut out = format!("Mine {}, theirs {}, {base}\n", name(&self.args.mine), name(&self.args.theirs));
        let differences = self.merge.differences();
        let _ = match differences.len() {
            0 => writeln!(out, "Nothing differs."),
            1 => writeln!(out, "One difference"),
            n => writeln!(out, "{n} differences"),
        };
        let mut pair = None;
        for (difference, take) in differences.iter().zip(self.takes) {
            if pair != Some(difference.pair) {
                pair = Some(difference.pair);
                let _ = writeln!(out, "\n{} {}", capital(difference.kind.words()), difference.label);
            }
            let _ = writeln!(out, "  {}: {}", capital(&difference.attribute.words()), difference.status.words());
            let nothing = "not there".to_owned();
            let versions = [("mine", &difference.mine), ("theirs", &difference.theirs)];
            for (whose, words) in versions {
                let _ = writeln!(out, "{}", text::item(whose, words.as_ref().unwrap_or(&nothing)));
            }
            if let Some(before) = &difference.before {
                let _ = writeln!(out, "{}", text::item("before", before));
            }
            let taken = if *take == Take::Mine { "mine" } else { "theirs" };
            let _ = writeln!(out, "{}", text::item("taken", &format!("{taken}: {}", self.because(difference))));
        }
        let drills = self.merge.drills();
        if *drills != Drills::default() {
            let _ = writeln!(
                out,
                "\nDrill sets that only they have: {}; results of drills: {}. Both are taken whatever is chosen.",
                drills.sets.len(),
                drills.results.len()
            );
        }
        for note in &self.notes {
            let _ = writeln!(out, "{}", text::item("", note));
        }
        match &self.args.out {
            Some(file) => {
                let _ = writeln!(out, "\nWritten to {}", file.display());
            }
            None if !differences.is_empty() => out.push_str("\nNothing was written; name a file with --out.\n"),
            None => {}
        }
        out
    }
}
