//! GPX out: points as waypoints; outlines and lines as tracks, and a waypoint in the middle of each outline that has a
//! name, for receivers that know nothing but waypoints.
//!
//! Source: Topografix, *GPX 1.1 Schema Documentation*, 2004.

use super::export::{ExportLayer, on_globe, plain_text, whole_or_not};
use super::geojson_out::{ExportFeature, ExportShape};
use super::record::{Pair, Shape};
use super::xml::escaped;
use crate::error::{LoadError, Warning};
use crate::frame::Frame;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};

pub(crate) fn write(
    path: &Path,
    layers: &[ExportLayer],
    frame: &Frame,
    about: &[String],
    warnings: &mut Vec<Warning>,
) -> Result<Vec<PathBuf>, LoadError> {
    let (mut waypoints, mut tracks) = (String::new(), String::new());
    for layer in layers {
        for feature in &layer.features {
            let words = words(feature, &layer.name);
            match on_globe(path, &feature.shape, frame)? {
                Shape::Points(points) => write_points(&mut waypoints, "wpt", &points, &words),
                Shape::Lines(lines) => track(&mut tracks, &lines, &words),
                Shape::Polygons(polygons) => {
                    for rings in polygons {
                        let (outer, holes) = rings.split_at(1.min(rings.len()));
                        if !holes.is_empty() {
                            let message = "GPX knows no holes; only its outer ring was written".to_owned();
                            warnings.push(Warning { place: label(feature), message });
                        }
                        track(&mut tracks, outer, &words);
                    }
                    if let ExportShape::Area { outer, .. } = &feature.shape {
                        let middle = sparefield_geometry::fields::model::Field::new("", outer.clone()).centroid();
                        if let Shape::Points(points) = on_globe(path, &ExportShape::Point(middle), frame)? {
                            write_points(&mut waypoints, "wpt", &points, &words);
                        }
                    }
                }
                Shape::Nothing | Shape::Rings(_) | Shape::Several(_) => {}
            }
        }
    }
    let mut out = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"Sparefield\" \
         xmlns=\"http://www.topografix.com/GPX/1/1\">\n",
    );
    if !about.is_empty() {
        // Writing to a string cannot fail.
        let _ = writeln!(out, "<metadata><desc>{}</desc></metadata>", escaped(&about.join("\n")));
    }
    out.push_str(&waypoints);
    out.push_str(&tracks);
    out.push_str("</gpx>\n");
    whole_or_not(path, |file| file.write_all(out.as_bytes()))?;
    Ok(vec![path.to_owned()])
}

fn property(feature: &ExportFeature, wanted: &str) -> Option<String> {
    let found = feature.properties.iter().find(|(name, _)| name == wanted);
    found.map(|(_, value)| plain_text(value)).filter(|text| !text.is_empty())
}

fn label(feature: &ExportFeature) -> String {
    property(feature, "name").unwrap_or_else(|| feature.id.clone())
}

/// Name, description and type, in the order of the standard.
fn words(feature: &ExportFeature, layer: &str) -> String {
    let mut out = String::new();
    let name = label(feature);
    if !name.is_empty() {
        let _ = write!(out, "<name>{}</name>", escaped(&name));
    }
    let told: Vec<String> = feature
        .properties
        .iter()
        .filter(|(name, value)| !matches!(name.as_str(), "id" | "name" | "edges") && !plain_text(value).is_empty())
        .map(|(name, value)| format!("{name}: {}", plain_text(value)))
        .collect();
    if !told.is_empty() {
        let _ = write!(out, "<desc>{}</desc>", escaped(&told.join("; ")));
    }
    let kind = property(feature, "kind").unwrap_or_else(|| layer.to_owned());
    let _ = write!(out, "<type>{}</type>", escaped(&kind));
    out
}

fn write_points(out: &mut String, element: &str, points: &[Pair], words: &str) {
    for [lon, lat] in points {
        let _ = writeln!(out, "<{element} lat=\"{lat:.10}\" lon=\"{lon:.10}\">{words}</{element}>");
    }
}

fn track(out: &mut String, parts: &[Vec<Pair>], words: &str) {
    let _ = writeln!(out, "<trk>{words}");
    for part in parts {
        out.push_str("<trkseg>\n");
        write_points(out, "trkpt", part, "");
        out.push_str("</trkseg>\n");
    }
    out.push_str("</trk>\n");
}
