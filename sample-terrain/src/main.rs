//! Writes the invented demonstration area into a folder: `sample-terrain FOLDER`.

use anyhow::{Context, Result, bail};
use std::path::PathBuf;

fn main() -> Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder] = &arguments[..] else {
        bail!("name one folder to write to, for example: cargo run -p sample-terrain -- sample-terrain");
    };
    let folder = PathBuf::from(folder);
    if !folder.is_dir() {
        bail!("{} is not a folder; make it first", folder.display());
    }
    let area = sample_terrain::features::make(sample_terrain::SEED);
    for (name, content) in sample_terrain::write::files(&area)? {
        let path = folder.join(name);
        std::fs::write(&path, &content).with_context(|| format!("writing {}", path.display()))?;
        eprintln!("{}: {} bytes", path.display(), content.len());
    }
    let path = folder.join("sortie.gpx");
    let sortie = sample_terrain::sortie::gpx(sample_terrain::sortie::SORTIE_SEED)?;
    std::fs::write(&path, &sortie).with_context(|| format!("writing {}", path.display()))?;
    eprintln!("{}: {} bytes", path.display(), sortie.len());
    eprintln!("{} fields, {} hazards", area.fields.len(), area.hazards.len());
    Ok(())
}
