//! The ground under a printed map, in dots: light and shade as on the map of the window, in the day's colours.

use super::above::Placing;
use super::picture::{Dots, Mark, Picture};
use crate::theme::{Palette, Scheme, Theme, mix};
use crate::views::map::relief::{ContourLabel, ContourSteps, GroundLook, Pyramid, TILE_PX, TileKey, draw_tile};
use egui::Color32;
use sparefield_geometry::grid::Terrain;
use sparefield_geometry::position::Xy;
use std::sync::Arc;

/// Most dots along a side.
const MOST: i64 = 6_000;
/// Dots of a quiet ground for each point of a map: light and shade have no fine lines.
const QUIET_DOTS: f32 = 1.0;
/// How far a quiet ground is from the paper: lines, names and numbers stand on it.
const QUIET: f32 = 0.5;
/// Steps of colour that a quiet ground has: fewer than the eye tells apart, so that a map stays small.
const STEP: u8 = 3;

/// Dots of the ground as they lie on a map, of the same size as a level of tiles has.
pub(crate) struct Ground {
    /// Their colours, row by row from the north.
    pub dots: Vec<Color32>,
    /// Where contours can be labelled.
    pub labels: Vec<ContourLabel>,
    west: i64,
    north: i64,
    wide: i64,
    tall: i64,
    dot_m: f64,
}

impl Ground {
    /// The ground that a map shows; places outside the terrain are `outside`. `None` where nothing is to be drawn.
    pub(crate) fn of(
        pyramid: &Pyramid,
        theme: &Theme,
        placing: &Placing,
        per_point: f32,
        (steps, contours): (ContourSteps, bool),
        outside: Color32,
    ) -> Option<Self> {
        let level = Self::level(placing, per_point);
        let dot_m = TileKey::metres_per_pixel(level);
        let (low, high) = placing.corners();
        let (west, east) = ((low.x / dot_m).ceil() as i64, (high.x / dot_m).floor() as i64);
        let (south, north) = ((low.y / dot_m).ceil() as i64, (high.y / dot_m).floor() as i64);
        let (wide, tall) = (east - west, north - south);
        if !(1..=MOST).contains(&wide) || !(1..=MOST).contains(&tall) {
            return None;
        }
        let (dots, labels) = (vec![outside; (wide * tall) as usize], Vec::new());
        let mut ground = Self { dots, labels, west, north, wide, tall, dot_m };
        let side = TILE_PX as i64;
        let look = GroundLook { contours, ..GroundLook::default() };
        for tile_north in south.div_euclid(side)..=(north - 1).div_euclid(side) {
            for tile_east in west.div_euclid(side)..=(east - 1).div_euclid(side) {
                let key = TileKey { level, east: tile_east, north: tile_north };
                let Some(tile) = draw_tile(pyramid, key, steps, theme, look, &[]) else { continue };
                ground.labels.extend(tile.labels);
                for y in south.max(tile_north * side)..north.min((tile_north + 1) * side) {
                    let row = (tile_north + 1) * side - 1 - y;
                    for x in west.max(tile_east * side)..east.min((tile_east + 1) * side) {
                        let colour = tile.pixels[(row * side + x - tile_east * side) as usize];
                        if colour.a() == u8::MAX {
                            ground.dots[((north - 1 - y) * wide + x - west) as usize] = colour;
                        }
                    }
                }
            }
        }
        Some(ground)
    }

    /// The level of tiles whose dots are nearest to so many for each point of a map.
    pub(crate) fn level(placing: &Placing, per_point: f32) -> i32 {
        TileKey::level_for(f64::from(1.0 / (placing.scale * per_point)))
    }

    /// How many steps east and north of the frame's origin a dot lies, and its middle.
    pub(crate) fn place(&self, dot: usize) -> ((i64, i64), Xy) {
        let (x, y) = (self.west + dot as i64 % self.wide, self.north - 1 - dot as i64 / self.wide);
        ((x, y), Xy::new((x as f64 + 0.5) * self.dot_m, (y as f64 + 0.5) * self.dot_m))
    }

    /// The dots as a mark of the map; `rgb` says in which red, green and blue a colour is printed.
    pub(crate) fn mark(&self, placing: &Placing, rgb: impl Fn(Color32) -> [u8; 3]) -> Mark {
        let rgb = self.dots.iter().flat_map(|c| rgb(*c)).collect();
        let at = |x: i64, y: i64| placing.at(Xy::new(x as f64 * self.dot_m, y as f64 * self.dot_m));
        let (corner, far) = (at(self.west, self.north), at(self.west + self.wide, self.north - self.tall));
        let dots = Arc::new(Dots { width: self.wide as usize, height: self.tall as usize, rgb });
        Mark::Image { corner, size: far - corner, dots }
    }
}

/// A quiet ground for every map of a page, under its lines and words.
#[derive(Clone, Debug)]
pub struct Relief {
    pyramid: Pyramid,
    theme: Theme,
}

impl Relief {
    /// Of a terrain; `None` where the packaged palette cannot be read, and maps then have none.
    #[must_use]
    pub fn new(terrain: &Arc<Terrain>) -> Option<Self> {
        let palette = Palette::built_in().ok()?;
        Some(Self { pyramid: Pyramid::new(Arc::clone(terrain)), theme: Theme::new(&palette, Scheme::Day) })
    }

    /// Lays it under whatever is drawn on a map from then on.
    pub(crate) fn under(&self, p: &mut Picture, placing: &Placing) {
        let paper = self.theme.colours.paper;
        let steps = ContourSteps::for_zoom(1.0, self.pyramid.steepness(), false);
        let ground = Ground::of(&self.pyramid, &self.theme, placing, QUIET_DOTS, (steps, false), paper);
        p.marks.extend(ground.map(|ground| ground.mark(placing, |colour| quiet(colour, paper))));
    }
}

/// A colour nearer to the paper, in steps counted from it: red, green and blue.
fn quiet(colour: Color32, paper: Color32) -> [u8; 3] {
    let c = mix(colour, paper, QUIET);
    let step = |of: u8, from: u8| {
        let steps = (f32::from(of) - f32::from(from)) / f32::from(STEP);
        (f32::from(from) + steps.round() * f32::from(STEP)).clamp(0.0, 255.0) as u8
    };
    [step(c.r(), paper.r()), step(c.g(), paper.g()), step(c.b(), paper.b())]
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::vec2;
    use sparefield_data::NoProgress;
    use sparefield_data::area::Area;

    /// The dots of a quiet map of the whole sample area.
    fn drawn(size: egui::Vec2) -> (Picture, Arc<Dots>, Placing) {
        let area = Area::sample(&NoProgress).unwrap();
        let (low, high) = area.terrain.frame.bounds();
        let placing = Placing::around([low, high].into_iter(), size, 0.0).unwrap();
        let mut p = Picture::new(size, "test");
        Relief::new(&area.terrain).unwrap().under(&mut p, &placing);
        let Some(Mark::Image { dots, .. }) = p.marks.first() else { panic!("{:?}", p.marks) };
        let dots = Arc::clone(dots);
        (p, dots, placing)
    }

    #[test]
    fn a_quiet_ground_covers_the_map_is_light_and_small() {
        let size = vec2(700.0, 430.0);
        let (p, dots, _) = drawn(size);
        let Some(Mark::Image { corner, size: covered, .. }) = p.marks.first() else { panic!("an image") };
        // All of the map but less than two dots at its edges.
        assert!((0.0..3.0).contains(&corner.x) && (0.0..3.0).contains(&corner.y), "{corner:?}");
        assert!(size.x - covered.x < 6.0 && size.y - covered.y < 6.0, "{covered:?}");
        // Black and coloured words stand on it: no dot is darker than two thirds of white.
        let darkest = dots.rgb.chunks(3).map(|c| c.iter().map(|v| u32::from(*v)).sum::<u32>()).min().unwrap();
        assert!(darkest > 3 * 255 * 6 / 10, "{darkest}");
        // Hills are seen.
        let colours: std::collections::BTreeSet<&[u8]> = dots.rgb.chunks(3).collect();
        assert!(colours.len() > 8, "{}", colours.len());
        let bytes = dots.png().unwrap().len();
        assert!(bytes < 300_000, "{bytes}");
    }

    #[test]
    fn the_ground_lies_where_the_map_says() {
        // A wall of a cliff: the ground rises in the east half only, so shades change at the middle of the map.
        let area = Area::sample(&NoProgress).unwrap();
        let mut terrain = (*area.terrain).clone();
        let (rows, cols) = (terrain.frame.rows, terrain.frame.cols);
        for row in 0..rows {
            for col in 0..cols {
                let ridge = (col as f64 - cols as f64 * 0.5).abs() < 4.0;
                terrain.heights_m[row * cols + col] = if ridge { 300.0 } else { 100.0 };
            }
        }
        let terrain = Arc::new(terrain);
        let (low, high) = terrain.frame.bounds();
        let size = vec2(400.0, 400.0);
        let placing = Placing::around([low, high].into_iter(), size, 0.0).unwrap();
        let mut p = Picture::new(size, "test");
        Relief::new(&terrain).unwrap().under(&mut p, &placing);
        let Some(Mark::Image { corner, size: covered, dots }) = p.marks.first() else { panic!("an image") };
        let row = dots.height / 2;
        let at = |x: usize| &dots.rgb[(row * dots.width + x) * 3..][..3];
        let level = at(dots.width / 10);
        let other: Vec<usize> = (0..dots.width).filter(|x| at(*x) != level).collect();
        let (first, last) = (*other.first().unwrap(), *other.last().unwrap());
        let x = |dot: usize| corner.x + (dot as f32 + 0.5) / dots.width as f32 * covered.x;
        let middle = placing.at((low + high) * 0.5).x;
        assert!((x(first) - middle).abs() < 8.0 && (x(last) - middle).abs() < 8.0, "{} {} {middle}", x(first), x(last));
    }
}
