//! Lines, areas and points that are only drawn: somebody's roads, parishes or airspace under the fields.

use crate::error::{LoadError, Loaded};
use crate::frame::Frame;
use crate::vector::record::{Layer, Notes, Shape};
use crate::vector::{Placer, VectorOptions, interpret, source};
use sparefield_geometry::position::Xy;
use std::path::Path;

/// A layer to draw, in metres of the frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BackgroundLayer {
    /// Name for people, after the file.
    pub name: String,
    /// Lines.
    pub lines: Vec<Vec<Xy>>,
    /// Areas, each as rings; what is inside an even number of them is outside.
    pub areas: Vec<Vec<Vec<Xy>>>,
    /// Points.
    pub points: Vec<Xy>,
}

impl BackgroundLayer {
    /// Reads a layer from any vector file that fields can be read from; its columns are not looked at.
    ///
    /// # Errors
    /// When the file cannot be read or its reference system is not known. Records without a place in the frame are
    /// warnings.
    pub fn open(path: &Path, frame: &Frame, options: &VectorOptions) -> Result<Loaded<Self>, LoadError> {
        let name = path.file_stem().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        let mut all = Loaded { value: Self { name, ..Self::default() }, warnings: Vec::new(), provenance: Vec::new() };
        for layer in source::layers(path, options.layer.as_deref())? {
            let read = interpret(layer, frame, options.crs_override.as_ref(), "shapes", shapes)?;
            all.value.lines.extend(read.value.lines);
            all.value.areas.extend(read.value.areas);
            all.value.points.extend(read.value.points);
            all.warnings.extend(read.warnings);
            all.provenance.extend(read.provenance);
        }
        Ok(all)
    }

    /// Whether there is nothing to draw.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty() && self.areas.is_empty() && self.points.is_empty()
    }
}

/// Every shape of a layer, and how many there are.
fn shapes(layer: Layer, placer: &Placer<'_>, notes: &mut Notes) -> (BackgroundLayer, usize) {
    let mut made = BackgroundLayer::default();
    let mut count = 0;
    notes.append(layer.notes);
    for record in layer.records {
        let place = record.place();
        let mut missing = false;
        let mut placed = |pairs: &[[f64; 2]]| -> Vec<Xy> {
            let line: Vec<Xy> = pairs.iter().filter_map(|&pair| placer(pair)).collect();
            missing |= line.len() < pairs.len();
            line
        };
        for shape in record.shape.flatten() {
            count += 1;
            match shape {
                Shape::Points(points) => made.points.extend(placed(&points)),
                Shape::Lines(lines) => made.lines.extend(lines.iter().map(|l| placed(l)).filter(|l| l.len() > 1)),
                Shape::Polygons(polygons) => {
                    for rings in &polygons {
                        made.areas.extend(area(rings, &mut placed));
                    }
                }
                Shape::Rings(rings) => made.areas.extend(area(&rings, &mut placed)),
                Shape::Nothing | Shape::Several(_) => count -= 1,
            }
        }
        if missing {
            let what = "a part of it has no place in the frame and was left out";
            notes.add("places outside the frame", place, what);
        }
    }
    (made, count)
}

/// Rings with three corners or more; an area without any is none.
fn area(rings: &[Vec<[f64; 2]>], placed: &mut impl FnMut(&[[f64; 2]]) -> Vec<Xy>) -> Option<Vec<Vec<Xy>>> {
    let rings: Vec<Vec<Xy>> = rings.iter().map(|r| placed(r)).filter(|r| r.len() > 2).collect();
    (!rings.is_empty()).then_some(rings)
}
