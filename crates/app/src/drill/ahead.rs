//! The land ahead as it is seen from the aircraft: relief, fields, woods and water, in perspective.
//!
//! The ground is cut into patches along lines of sight, which widen with distance as a picture does, and the patches are
//! painted from the farthest to the nearest, so that a ridge hides what lies behind it. Nothing stands on the ground: the
//! terrain knows no trees, hedges or wires.

use crate::drill::Rehearsal;
use egui::{Pos2, Vec2, pos2};
use sparefield_geometry::circuit::Motion;
use sparefield_geometry::fields::model::{HazardKind, HazardShape};
use sparefield_geometry::grid::{GridFrame, Terrain};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};
use sparefield_geometry::raster;

/// Side of a cell, metres, where the land is not too wide for it.
const CELL_M: f64 = 10.0;
/// Most cells along a side.
const MOST_CELLS: f64 = 1_200.0;
/// Farthest that is seen, metres.
const FARTHEST_M: f64 = 14_000.0;
/// Lines of sight across the picture, and patches along each.
const ACROSS: usize = 200;
const ALONG: usize = 100;
/// Half of the angle that is worked out, and half of that which a picture shows, radians: banked, corners show more.
const HALF_WORKED: f64 = 64.0 * std::f64::consts::PI / 180.0;
const HALF_SHOWN: f64 = 38.0 * std::f64::consts::PI / 180.0;
/// How far down the picture the horizon lies with wings level.
const HORIZON: f32 = 0.36;
/// Distance over which two thirds of the contrast is lost in the haze, metres. Common practice, no source.
const HAZE_M: f64 = 16_000.0;
/// Half of the stretch over which the slope of the ground is taken, metres.
const SLOPE_OVER_M: f64 = 30.0;
/// How much light a slope of 1 takes or gives: a fifth is full light, so that gentle land is seen.
const LIGHT: f64 = 5.0;

/// What covers a patch of ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    /// Nothing known.
    Open,
    /// A wood.
    Wood,
    /// Water.
    Water,
    /// A building.
    Building,
    /// A field, by its index.
    Field(usize),
}

impl Seen {
    const OTHERS: [Self; 4] = [Self::Open, Self::Wood, Self::Water, Self::Building];

    fn code(self) -> u16 {
        match self {
            Self::Open => 0,
            Self::Wood => 1,
            Self::Water => 2,
            Self::Building => 3,
            Self::Field(index) => u16::try_from(index + Self::OTHERS.len()).unwrap_or(0),
        }
    }
    fn of_code(code: u16) -> Self {
        let code = usize::from(code);
        Self::OTHERS.get(code).copied().unwrap_or_else(|| Self::Field(code - Self::OTHERS.len()))
    }
}

/// What covers the land around a failure, cell by cell.
#[derive(Debug)]
pub struct Scenery {
    frame: GridFrame,
    seen: Vec<u16>,
}

impl Scenery {
    /// The land as far as the glide could reach and a bit farther.
    #[must_use]
    pub fn of(rehearsal: &Rehearsal) -> Self {
        let failure = rehearsal.failure();
        let half_m = (rehearsal.farthest_m(failure.height_agl_m) * 1.3).min(FARTHEST_M);
        let cell_m = (2.0 * half_m / MOST_CELLS).max(CELL_M);
        let side = ((2.0 * half_m / cell_m).ceil() as usize).max(1);
        let origin = failure.position + Xy::new(-half_m, half_m);
        let frame = GridFrame { origin, cell_m, cols: side, rows: side };
        let mut scenery = Self { frame, seen: vec![Seen::Open.code(); frame.len()] };
        let area = rehearsal.area();
        for (index, field) in area.fields.iter().enumerate() {
            scenery.fill(&field.outer, &[], Seen::Field(index));
        }
        for hazard in area.hazards.iter() {
            let seen = match hazard.kind {
                HazardKind::Wood => Seen::Wood,
                HazardKind::Water => Seen::Water,
                HazardKind::Building => Seen::Building,
                _ => continue,
            };
            if let HazardShape::Area { outer, holes } = &hazard.shape {
                scenery.fill(outer, holes, seen);
            }
        }
        scenery
    }

    fn fill(&mut self, outer: &[Xy], holes: &[Vec<Xy>], seen: Seen) {
        let (cols, code) = (self.frame.cols, seen.code());
        raster::inside(&self.frame, outer, holes, |row, stretch| self.seen[row * cols..][stretch].fill(code));
    }

    fn at(&self, p: Xy) -> Seen {
        let cell = self.frame.cell_of(p).map(|(row, col)| row * self.frame.cols + col);
        cell.and_then(|i| self.seen.get(i)).map_or(Seen::Open, |code| Seen::of_code(*code))
    }
}

/// A patch of ground in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Patch {
    /// Corners in points.
    pub corners: [Pos2; 4],
    /// What covers it.
    pub seen: Seen,
    /// How the light falls on its corners, −1 in shadow to 1 towards the light.
    pub light: [f32; 4],
    /// How much of it the haze hides, 0 to 1.
    pub haze: f32,
}

/// What is seen ahead.
#[derive(Clone, Debug, Default)]
pub struct Ahead {
    /// The horizon from left to right, points.
    pub horizon: [Pos2; 2],
    /// The ground, the farthest first.
    pub patches: Vec<Patch>,
}

/// A place on the ground along a line of sight, where it is in the picture, and its light; where its height is known.
struct Post {
    at: Xy,
    seen: Option<(Pos2, f32)>,
}

/// A camera at an aircraft, looking where it heads.
struct Eye {
    at: Xy,
    height_amsl_m: f64,
    forward: Xy,
    bank: (f64, f64),
    centre: Pos2,
    focal: f64,
}

impl Eye {
    fn new(from: &Motion, size: Vec2) -> Self {
        Self {
            at: from.position,
            height_amsl_m: from.height_amsl_m,
            forward: from.heading().unit(),
            bank: math::sin_cos(from.bank_rad),
            centre: pos2(size.x / 2.0, size.y * HORIZON),
            focal: f64::from(size.x) / 2.0 / math::tan(HALF_SHOWN),
        }
    }
    /// From points right of and above the middle to the picture: in a bank to the right the horizon rises to the right.
    fn turned(&self, right: f64, up: f64) -> Pos2 {
        let (sin, cos) = self.bank;
        let (x, down) = (right * cos - up * sin, -right * sin - up * cos);
        pos2(self.centre.x + x as f32, self.centre.y + down as f32)
    }
    fn seen(&self, p: Xy, height_amsl_m: f64) -> Pos2 {
        let way = p - self.at;
        let ahead = way.dot(self.forward).max(1.0);
        let right = way.cross(self.forward);
        let per_m = self.focal / ahead;
        self.turned(right * per_m, (height_amsl_m - self.height_amsl_m) * per_m)
    }
}

/// Puts what is seen from a state into a picture of some size, points.
#[must_use]
pub fn ahead(terrain: &Terrain, scenery: &Scenery, from: &Motion, size: Vec2) -> Ahead {
    let eye = Eye::new(from, size);
    let far = f64::from(size.x + size.y);
    let horizon = [eye.turned(-far, 0.0), eye.turned(far, 0.0)];
    let Some(under) = terrain.height_at(from.position) else { return Ahead { horizon, patches: Vec::new() } };
    let nearest_m = (0.3 * (from.height_amsl_m - under)).max(6.0);
    let distance = |row: usize| nearest_m * math::exp(math::ln(FARTHEST_M / nearest_m) * row as f64 / ALONG as f64);
    let ways: Vec<Xy> = (0..=ACROSS)
        .map(|col| {
            let aside = HALF_WORKED * (2.0 * col as f64 / ACROSS as f64 - 1.0);
            let way = Bearing::from_rad(from.heading_rad + aside).unit();
            // Lines of equal distance ahead are level in the picture.
            way * (1.0 / way.dot(eye.forward))
        })
        .collect();
    let line = |row: usize| -> Vec<Post> {
        let away = distance(row);
        let post = |way: &Xy| {
            let at = from.position + *way * away;
            let seen = terrain.height_at(at).map(|h| (eye.seen(at, h), light_on(terrain, at)));
            Post { at, seen }
        };
        ways.iter().map(post).collect()
    };
    let mut patches = Vec::with_capacity(ACROSS * ALONG);
    let mut behind = line(ALONG);
    for row in (0..ALONG).rev() {
        let front = line(row);
        let haze = (1.0 - math::exp(-distance(row) / HAZE_M)) as f32;
        for (back, near) in behind.windows(2).zip(front.windows(2)) {
            let corners = (back[0].seen, back[1].seen, near[1].seen, near[0].seen);
            let (Some(a), Some(b), Some(c), Some(d)) = corners else { continue };
            let seen = scenery.at((back[0].at + near[1].at) * 0.5);
            patches.push(Patch { corners: [a.0, b.0, c.0, d.0], seen, light: [a.1, b.1, c.1, d.1], haze });
        }
        behind = front;
    }
    Ahead { horizon, patches }
}

/// How light from the north-west falls on a place; level ground has none of it.
fn light_on(terrain: &Terrain, p: Xy) -> f32 {
    let rise = |off: Xy| Some((terrain.height_at(p + off)? - terrain.height_at(p - off)?) / (2.0 * SLOPE_OVER_M));
    let slopes = rise(Xy::new(SLOPE_OVER_M, 0.0)).zip(rise(Xy::new(0.0, SLOPE_OVER_M)));
    slopes.map_or(0.0, |(east, north)| ((east - north) * LIGHT).clamp(-1.0, 1.0) as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_geometry::grid::TerrainAccuracy;

    fn level() -> Terrain {
        let frame = GridFrame { origin: Xy::new(-16_000.0, 16_000.0), cell_m: 100.0, cols: 321, rows: 321 };
        Terrain { frame, heights_m: vec![0.0; frame.len()], accuracy: TerrainAccuracy::default() }
    }
    fn square(at: Xy) -> Scenery {
        let frame = GridFrame { origin: Xy::new(-3_000.0, 3_000.0), cell_m: 10.0, cols: 601, rows: 601 };
        let mut scenery = Scenery { frame, seen: vec![0; frame.len()] };
        let half = 150.0;
        let corner = |x: f64, y: f64| at + Xy::new(x * half, y * half);
        let ring = [corner(-1.0, -1.0), corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0)];
        scenery.fill(&ring, &[], Seen::Field(7));
        scenery
    }
    fn flying(bank_deg: f64) -> Motion {
        Motion {
            position: Xy::default(),
            height_amsl_m: 300.0,
            heading_rad: std::f64::consts::FRAC_PI_2,
            bank_rad: bank_deg.to_radians(),
            level_speed_ms: 20.0,
            time_s: 0.0,
        }
    }
    fn middle_of_field(picture: &Ahead) -> Pos2 {
        let own: Vec<&Patch> = picture.patches.iter().filter(|p| p.seen == Seen::Field(7)).collect();
        assert!(own.len() > 20, "{}", own.len());
        let sum = own.iter().fold(Vec2::ZERO, |sum, p| sum + p.corners[0].to_vec2());
        (sum / own.len() as f32).to_pos2()
    }

    #[test]
    fn a_field_is_seen_where_the_angles_say() {
        let size = Vec2::new(800.0, 300.0);
        let focal = 400.0 / math::tan(38f64.to_radians());
        // Dead ahead in the east, 1 500 m off and 300 m below: 11.3° under the horizon.
        let at = middle_of_field(&ahead(&level(), &square(Xy::new(1_500.0, 0.0)), &flying(0.0), size));
        let down = (300.0 / 1_500.0 * focal) as f32;
        assert!((at.x - 400.0).abs() < 8.0 && (at.y - (300.0 * HORIZON + down)).abs() < 8.0, "{at:?}");
        // Half a mile to the right, which is south: to the right in the picture.
        let at = middle_of_field(&ahead(&level(), &square(Xy::new(1_500.0, -800.0)), &flying(0.0), size));
        assert!((at.x - (400.0 + 800.0 / 1_500.0 * focal as f32)).abs() < 12.0, "{at:?}");
    }

    #[test]
    fn in_a_bank_to_the_right_the_horizon_rises_to_the_right() {
        let size = Vec2::new(800.0, 300.0);
        let scenery = square(Xy::new(1_500.0, 0.0));
        let [left, right] = ahead(&level(), &scenery, &flying(30.0), size).horizon;
        let slope = (left.y - right.y) / (right.x - left.x);
        assert!((f64::from(slope) - math::tan(30f64.to_radians())).abs() < 1e-3, "{slope}");
        let [left, right] = ahead(&level(), &scenery, &flying(0.0), size).horizon;
        assert!((left.y - right.y).abs() < 1e-3 && left.x < 0.0 && right.x > 800.0);
    }

    #[test]
    fn nothing_is_drawn_where_the_ground_is_not_known_and_far_comes_first() {
        let away = Motion { position: Xy::new(1e6, 0.0), ..flying(0.0) };
        assert!(ahead(&level(), &square(Xy::default()), &away, Vec2::new(800.0, 300.0)).patches.is_empty());
        let picture = ahead(&level(), &square(Xy::default()), &flying(0.0), Vec2::new(800.0, 300.0));
        assert!(picture.patches.windows(2).all(|p| p[0].haze >= p[1].haze));
    }
}
