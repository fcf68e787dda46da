//! Shapefiles out: one for each layer and kind of shape, with table, reference system and code page.
//!
//! Source: ESRI, *Shapefile Technical Description*, July 1998; the table as dBASE III has it.

use super::dbf_out;
use super::export::{ExportLayer, not_written, on_globe, temporary_beside};
use super::geojson_out::ExportFeature;
use super::record::{Pair, Shape};
use crate::error::{LoadError, Warning};
use crate::frame::Frame;
use shapefile::{Point, Polygon, PolygonRing, Polyline, ShapeWriter};
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// WGS 84 as Esri writes it into `.prj` files.
const WGS84: &str = "GEOGCS[\"GCS_WGS_1984\",DATUM[\"D_WGS_1984\",SPHEROID[\"WGS_1984\",6378137.0,298.257223563]],\
                     PRIMEM[\"Greenwich\",0.0],UNIT[\"Degree\",0.0174532925199433]]";

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Points,
    Lines,
    Areas,
}

pub(crate) fn write(
    path: &Path,
    layers: &[ExportLayer],
    frame: &Frame,
    warnings: &mut Vec<Warning>,
) -> Result<Vec<PathBuf>, LoadError> {
    let mut sets: Vec<(String, Kind, Vec<(&ExportFeature, Shape)>)> = Vec::new();
    for layer in layers {
        let mut sorted = [(Kind::Areas, Vec::new()), (Kind::Lines, Vec::new()), (Kind::Points, Vec::new())];
        for feature in &layer.features {
            let shape = on_globe(path, &feature.shape, frame)?;
            let kind = match shape {
                Shape::Points(_) => Kind::Points,
                Shape::Lines(_) => Kind::Lines,
                _ => Kind::Areas,
            };
            if let Some((_, all)) = sorted.iter_mut().find(|(k, _)| *k == kind) {
                all.push((feature, shape));
            }
        }
        let several = sorted.iter().filter(|(_, all)| !all.is_empty()).count() > 1;
        for (kind, all) in sorted.into_iter().filter(|(_, all)| !all.is_empty()) {
            let name = match (several, kind) {
                (false, _) => layer.name.clone(),
                (true, Kind::Points) => format!("{}-points", layer.name),
                (true, Kind::Lines) => format!("{}-lines", layer.name),
                (true, Kind::Areas) => format!("{}-areas", layer.name),
            };
            sets.push((name, kind, all));
        }
    }
    let one = sets.len() == 1;
    let stem = super::source::stem(path);
    let mut written = Vec::new();
    for (name, kind, all) in sets {
        let target =
            if one { path.to_owned() } else { path.with_file_name(format!("{stem}-{}.shp", name.replace(' ', "-"))) };
        let features: Vec<&ExportFeature> = all.iter().map(|(feature, _)| *feature).collect();
        let (table, more) = dbf_out::table(&features);
        warnings.extend(more.into_iter().map(|w| Warning { place: format!("{name}, {}", w.place), ..w }));
        let (shp, shx) = shapes(kind, &all).map_err(|e| not_written(&target, &e))?;
        let parts: [(&str, Vec<u8>); 5] = [
            ("dbf", table),
            ("shx", shx),
            ("prj", WGS84.as_bytes().to_vec()),
            ("cpg", b"UTF-8".to_vec()),
            ("shp", shp),
        ];
        save(&target, &parts)?;
        written.push(target);
    }
    Ok(written)
}

/// Writes every part under another name first and gives them their names when all are there, the main file last.
fn save(target: &Path, parts: &[(&str, Vec<u8>)]) -> Result<(), LoadError> {
    use std::io::Write as _;
    let mut waiting = Vec::new();
    for (ending, bytes) in parts {
        let attempt = || -> std::io::Result<tempfile::NamedTempFile> {
            let mut file = temporary_beside(target)?;
            file.write_all(bytes)?;
            file.as_file().sync_all()?;
            Ok(file)
        };
        waiting.push((target.with_extension(ending), attempt().map_err(|e| not_written(target, &e))?));
    }
    for (name, file) in waiting {
        file.persist(&name).map_err(|e| not_written(&name, &e.error))?;
    }
    Ok(())
}

fn points(pairs: &[Pair]) -> Vec<Point> {
    pairs.iter().map(|[x, y]| Point::new(*x, *y)).collect()
}

/// The main file and its index.
fn shapes(kind: Kind, all: &[(&ExportFeature, Shape)]) -> Result<(Vec<u8>, Vec<u8>), shapefile::Error> {
    let (mut shp, mut shx) = (Cursor::new(Vec::new()), Cursor::new(Vec::new()));
    {
        let mut writer = ShapeWriter::with_shx(&mut shp, &mut shx);
        for (_, shape) in all {
            match (kind, shape) {
                (Kind::Points, Shape::Points(pairs)) => {
                    if let Some([x, y]) = pairs.first() {
                        writer.write_shape(&Point::new(*x, *y))?;
                    }
                }
                (Kind::Lines, Shape::Lines(lines)) => {
                    writer.write_shape(&Polyline::with_parts(lines.iter().map(|l| points(l)).collect()))?;
                }
                (_, Shape::Polygons(polygons)) => {
                    let rings = polygons.iter().flat_map(|rings| {
                        rings.iter().enumerate().map(|(i, ring)| {
                            let ring = points(ring);
                            // The writer turns each ring the way round that the format asks for.
                            if i == 0 { PolygonRing::Outer(ring) } else { PolygonRing::Inner(ring) }
                        })
                    });
                    writer.write_shape(&Polygon::with_rings(rings.collect()))?;
                }
                _ => {}
            }
        }
        writer.finalize()?;
    }
    Ok((shp.into_inner(), shx.into_inner()))
}
