//! Lines, areas and points that are only drawn: somebody's roads, parishes or airspace under the fields.

use crate::error::{LoadError, Loaded};
use crate::frame::Frame;
use crate::vector::record::Shape;
use crate::vector::{VectorOptions, interpret, read_layer};
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
        let layer = read_layer(path)?;
        let name = path.file_stem().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        interpret(layer, frame, options, "shapes", |layer, placer, notes| {
            let mut made = Self { name, ..Self::default() };
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
                        Shape::Lines(lines) => {
                            made.lines.extend(lines.iter().map(|l| placed(l)).filter(|l| l.len() > 1));
                        }
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
                    notes.add(
                        "places outside the frame",
                        place,
                        "a part of it has no place in the frame and was left out",
                    );
                }
            }
            (made, count)
        })
    }

    /// Whether there is nothing to draw.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty() && self.areas.is_empty() && self.points.is_empty()
    }
}

/// Rings with three corners or more; an area without any is none.
fn area(rings: &[Vec<[f64; 2]>], placed: &mut impl FnMut(&[[f64; 2]]) -> Vec<Xy>) -> Option<Vec<Vec<Xy>>> {
    let rings: Vec<Vec<Xy>> = rings.iter().map(|r| placed(r)).filter(|r| r.len() > 2).collect();
    (!rings.is_empty()).then_some(rings)
}
