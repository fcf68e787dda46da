//! What stands on the ground: a surface model less the terrain.

use crate::grid::{GridFrame, SurfaceKind, Terrain};
use crate::position::Xy;
use rayon::prelude::*;

/// Heights of what stands on the ground, on the grid of the surface model; `NaN` where either is missing.
#[derive(Clone, Debug)]
pub struct Standing {
    /// Where the grid lies.
    pub frame: GridFrame,
    /// Height of the surface above the ground, metres, row-major from the north-west.
    pub heights_m: Vec<f32>,
    /// One standard error of a height, metres: that of the surface model and of the terrain together.
    pub error_m: f64,
    /// Whether the terrain is known to be bare ground. Otherwise trees may stand in it as well, and be missing here.
    pub over_bare_ground: bool,
}

impl Standing {
    /// A surface model less the terrain under it.
    ///
    /// # Accuracy
    /// A point-to-point error holds for the difference of two posts; one height alone errs by 1/√2 of it. The errors
    /// of the two models are taken as independent.
    #[must_use]
    pub fn between(surface: &Terrain, ground: &Terrain) -> Self {
        let frame = surface.frame;
        let mut heights_m = vec![f32::NAN; surface.heights_m.len()];
        if frame.cols > 0 {
            heights_m.par_chunks_mut(frame.cols).enumerate().for_each(|(row, line)| {
                for (col, height) in line.iter_mut().enumerate() {
                    let top = surface.post(row, col);
                    let under = ground.height_at(frame.centre(row, col));
                    if let (Some(top), Some(under)) = (top, under) {
                        *height = (top - under) as f32;
                    }
                }
            });
        }
        let (a, b) = (surface.accuracy.point_to_point_m, ground.accuracy.point_to_point_m);
        let error_m = ((a * a + b * b) / 2.0).sqrt();
        Self { frame, heights_m, error_m, over_bare_ground: ground.accuracy.kind == SurfaceKind::BareGround }
    }

    /// Height of what stands at a point, of the nearest post; `None` outside or without data.
    #[must_use]
    pub fn at(&self, p: Xy) -> Option<f64> {
        let (row, col) = self.frame.cell_of(p)?;
        let height = f64::from(*self.heights_m.get(row * self.frame.cols + col)?);
        height.is_finite().then_some(height)
    }
}
