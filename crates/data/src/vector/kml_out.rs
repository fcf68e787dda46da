//! KML and KMZ out: a folder for each layer, columns as extended data.
//!
//! Source: OGC 12-007r2, *OGC KML 2.3*, 2015.

use super::export::{ExportLayer, not_written, on_globe, plain_text, whole_or_not};
use super::record::{Pair, Shape};
use super::xml::escaped;
use crate::error::LoadError;
use crate::frame::Frame;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

pub(crate) fn write(
    path: &Path,
    layers: &[ExportLayer],
    frame: &Frame,
    about: &[String],
    packed: bool,
) -> Result<Vec<PathBuf>, LoadError> {
    let text = document(path, layers, frame, about)?;
    if packed {
        let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        let options = zip::write::SimpleFileOptions::default();
        let pack = |archive: &mut zip::ZipWriter<_>| -> zip::result::ZipResult<()> {
            archive.start_file("doc.kml", options)?;
            archive.write_all(text.as_bytes())?;
            Ok(())
        };
        pack(&mut archive).map_err(|e| not_written(path, &e))?;
        let bytes = archive.finish().map_err(|e| not_written(path, &e))?.into_inner();
        whole_or_not(path, |file| file.write_all(&bytes))?;
    } else {
        whole_or_not(path, |file| file.write_all(text.as_bytes()))?;
    }
    Ok(vec![path.to_owned()])
}

fn document(path: &Path, layers: &[ExportLayer], frame: &Frame, about: &[String]) -> Result<String, LoadError> {
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.2\">\n<Document>\n",
    );
    // Writing to a string cannot fail.
    if !about.is_empty() {
        let _ = writeln!(out, "<description>{}</description>", escaped(&about.join("\n")));
    }
    for layer in layers {
        let _ = writeln!(out, "<Folder>\n<name>{}</name>", escaped(&layer.name));
        for feature in &layer.features {
            out.push_str("<Placemark>\n");
            let title = feature.properties.iter().find(|(name, _)| name == "name").map(|(_, value)| plain_text(value));
            if let Some(title) = title.filter(|t| !t.is_empty()) {
                let _ = writeln!(out, "<name>{}</name>", escaped(&title));
            }
            out.push_str("<ExtendedData>\n");
            for (name, value) in feature.properties.iter().filter(|(name, value)| name != "name" && !value.is_null()) {
                data(&mut out, name, &plain_text(value));
            }
            out.push_str("</ExtendedData>\n");
            geometry(&mut out, &on_globe(path, &feature.shape, frame)?);
            out.push_str("</Placemark>\n");
        }
        out.push_str("</Folder>\n");
    }
    out.push_str("</Document>\n</kml>\n");
    Ok(out)
}

fn data(out: &mut String, name: &str, value: &str) {
    let _ = writeln!(out, "<Data name=\"{}\"><value>{}</value></Data>", escaped(name), escaped(value));
}

fn coordinates(out: &mut String, pairs: &[Pair]) {
    out.push_str("<coordinates>");
    for (i, [lon, lat]) in pairs.iter().enumerate() {
        // Ten decimals are a hundredth of a millimetre.
        let _ = write!(out, "{}{lon:.10},{lat:.10}", if i == 0 { "" } else { " " });
    }
    out.push_str("</coordinates>");
}

fn geometry(out: &mut String, shape: &Shape) {
    match shape {
        Shape::Points(points) => {
            for point in points {
                out.push_str("<Point>");
                coordinates(out, std::slice::from_ref(point));
                out.push_str("</Point>\n");
            }
        }
        Shape::Lines(lines) => {
            let many = lines.len() > 1;
            out.push_str(if many { "<MultiGeometry>\n" } else { "" });
            for line in lines {
                out.push_str("<LineString>");
                coordinates(out, line);
                out.push_str("</LineString>\n");
            }
            out.push_str(if many { "</MultiGeometry>\n" } else { "" });
        }
        Shape::Polygons(polygons) => {
            for rings in polygons {
                out.push_str("<Polygon>");
                for (i, ring) in rings.iter().enumerate() {
                    let side = if i == 0 { "outerBoundaryIs" } else { "innerBoundaryIs" };
                    let _ = write!(out, "<{side}><LinearRing>");
                    coordinates(out, ring);
                    let _ = write!(out, "</LinearRing></{side}>");
                }
                out.push_str("</Polygon>\n");
            }
        }
        // Nothing else leaves the program.
        Shape::Nothing | Shape::Rings(_) | Shape::Several(_) => {}
    }
}
