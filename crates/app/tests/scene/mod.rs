//! An invented scene for pictures, tests and benches of the map: hills, fields, a line of wires, a ranking, rings.
//!
//! Rings and ranking are made up to look like an answer; nothing here is computed by the program's own geometry.
#![allow(dead_code, reason = "each user of the scene takes a different part of it")]

use sparefield::theme::Theme;
use sparefield::views::map::{
    AircraftMark, DistanceUnit, HomeMark, LitMask, MapInput, ReachOverlay, Readout, Ring, WindMark,
};
use sparefield_geometry::air::WindVector;
use sparefield_geometry::fields::model::{
    BoundaryEdge, EdgeKind, Field, Hazard, HazardKind, HazardShape, QuietKind, QuietZone, Stock, Surface,
};
use sparefield_geometry::fields::survey::SurveyStanding;
use sparefield_geometry::fields::verdict::{RankedField, StripVerdict, Verdict};
use sparefield_geometry::grid::{GridFrame, Terrain, TerrainAccuracy};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, LonLat, Xy};
use std::sync::Arc;

const FOOT_M: f64 = 0.304_8;

#[derive(Clone)]
pub(crate) struct Scene {
    pub(crate) terrain: Arc<Terrain>,
    pub(crate) fields: Vec<Arc<Field>>,
    pub(crate) hazards: Vec<Arc<Hazard>>,
    pub(crate) quiet_zones: Vec<Arc<QuietZone>>,
    pub(crate) lanes: Vec<Vec<Xy>>,
    pub(crate) home: HomeMark,
    pub(crate) ranked: Option<Vec<RankedField>>,
    pub(crate) reach: Option<Arc<ReachOverlay>>,
    pub(crate) aircraft: AircraftMark,
    pub(crate) wind: WindMark,
    pub(crate) selected: Option<usize>,
    pub(crate) hovered: Option<usize>,
    pub(crate) path: Option<Vec<Xy>>,
    pub(crate) revision: u64,
}

/// A hash of a lattice point in [0, 1).
fn noise(x: i64, y: i64, seed: u64) -> f64 {
    let mut h = (x as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (y as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F) ^ seed;
    h ^= h >> 29;
    h = h.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    h ^= h >> 32;
    (h >> 11) as f64 / (1u64 << 53) as f64
}

fn smooth(x: f64, y: f64, seed: u64) -> f64 {
    let (x0, y0) = (x.floor(), y.floor());
    let fade = |t: f64| t * t * t * (t * (t * 6.0 - 15.0) + 10.0);
    let (u, v) = (fade(x - x0), fade(y - y0));
    let n = |dx: i64, dy: i64| noise(x0 as i64 + dx, y0 as i64 + dy, seed);
    let a = n(0, 0) + (n(1, 0) - n(0, 0)) * u;
    let b = n(0, 1) + (n(1, 1) - n(0, 1)) * u;
    a + (b - a) * v
}

/// Ground height of the invented hills at a place, metres above sea level.
pub(crate) fn ground(p: Xy) -> f64 {
    let (x, y) = ((p.x - ORIGIN.x) / 1_000.0, (p.y - ORIGIN.y) / 1_000.0);
    let mut sum = 0.0;
    let (mut size, mut scale) = (150.0, 0.16);
    for octave in 0..6 {
        sum += size * (smooth(x * scale + 31.0, y * scale - 17.0, octave) - 0.5);
        size *= 0.48;
        scale *= 2.03;
    }
    // A valley running from south-west to north-east, with its river.
    let across = (x - y) * 0.707 + 1.2 * math::sin(0.45 * (x + y));
    let valley = 95.0 * (1.0 - math::exp(-(across / 2.6) * (across / 2.6)));
    60.0 + valley + sum * (0.35 + valley / 130.0)
}

pub(crate) const ORIGIN: Xy = Xy::new(512_000.0, 5_645_000.0);

impl Scene {
    /// The scene with about `count` fields; the terrain is `km` kilometres on a side with posts `cell_m` apart.
    pub(crate) fn new(count: usize, km: f64, cell_m: f64) -> Self {
        let n = (km * 1_000.0 / cell_m) as usize + 1;
        let half = (n - 1) as f64 * cell_m / 2.0;
        let frame = GridFrame { origin: Xy::new(ORIGIN.x - half, ORIGIN.y + half), cell_m, cols: n, rows: n };
        let heights_m = (0..n * n)
            .map(|i| {
                let p = frame.centre(i / n, i % n);
                let gap = (p - ORIGIN - Xy::new(half * 0.82, half * 0.8)).norm() < half * 0.12;
                if gap { f32::NAN } else { ground(p) as f32 }
            })
            .collect();
        let terrain = Arc::new(Terrain { frame, heights_m, accuracy: TerrainAccuracy::default() });
        let fields = fields(count);
        let river: Vec<Xy> = (-60..=60).map(|k| river_at(f64::from(k) * 0.2)).collect();
        let mut scene = Self {
            terrain,
            hazards: hazards(&river).into_iter().map(Arc::new).collect(),
            quiet_zones: vec![Arc::new(QuietZone {
                id: String::new(),
                kind: QuietKind::Houses,
                name: "Lower stables".into(),
                outer: (0..20)
                    .map(|k| {
                        let a = f64::from(k) / 20.0 * math::TAU;
                        ORIGIN + Xy::new(-1_900.0 + 420.0 * math::cos(a), 700.0 + 330.0 * math::sin(a))
                    })
                    .collect(),
                below_agl_m: 150.0,
            })],
            lanes: lanes(),
            home: HomeMark {
                from: ORIGIN + Xy::new(1_500.0, -2_100.0),
                to: ORIGIN + Xy::new(1_850.0, -1_950.0),
                name: "Home strip".into(),
            },
            ranked: None,
            reach: None,
            aircraft: AircraftMark {
                position: ORIGIN + Xy::new(350.0, 260.0),
                heading: Some(Bearing::from_deg(300.0)),
                ground_velocity_ms: Bearing::from_deg(304.0).unit() * 17.0,
                label: vec!["1,500 ft above ground".into(), "1,830 ft above sea".into()],
            },
            wind: WindMark {
                wind: WindVector::coming_from(Bearing::from_deg(250.0), 6.2),
                label: "250/12 kt".into(),
                streaks: false,
            },
            selected: None,
            hovered: None,
            path: None,
            revision: 1,
            fields: fields.into_iter().map(Arc::new).collect(),
        };
        scene.answer();
        scene
    }

    /// Makes up reach and ranking for where the aircraft is.
    pub(crate) fn answer(&mut self) {
        let at = self.aircraft.position;
        let ground = |p: Xy| self.terrain.height_at(p).unwrap_or(0.0);
        let top = ground(at) + 1_500.0 * FOOT_M;
        let drift = self.wind.wind.xy();
        let spare = |p: Xy| {
            let d = p - at;
            let along = d.dot(drift) / d.norm().max(1.0);
            let glide = 5.6 * (1.0 + along / 24.0);
            top - d.norm() / glide - ground(p) - 60.0
        };
        let cell_m = 25.0;
        let side = 320;
        let frame = GridFrame {
            origin: at + Xy::new(-cell_m * f64::from(side / 2), cell_m * f64::from(side / 2)),
            cell_m,
            cols: side as usize,
            rows: side as usize,
        };
        let grid: Vec<f32> =
            (0..frame.len()).map(|i| spare(frame.centre(i / frame.cols, i % frame.cols)) as f32).collect();
        let rings = [(0.0, "in reach"), (150.0, "+150 ft"), (300.0, "+300 ft"), (600.0, "+600 ft")]
            .into_iter()
            .map(|(ft, label)| Ring {
                level_m: ft * FOOT_M,
                label: label.into(),
                lines: vec![ring(at, |p| spare(p) - ft * FOOT_M)],
            })
            .collect();
        let lit = LitMask::from_spare_heights(frame, &grid);
        self.reach = Some(Arc::new(ReachOverlay { rings, lit, picture: None }));

        let mut order: Vec<(usize, f64, Option<Verdict>)> = self
            .fields
            .iter()
            .enumerate()
            .map(|(i, f)| {
                let s = spare(f.centroid());
                let luck = noise(i as i64, 7, 3);
                let verdict = if s < 0.0 || luck < 0.2 {
                    Verdict::Out
                } else if luck > 0.68 && s > 45.0 {
                    Verdict::Roomy
                } else if luck > 0.38 {
                    Verdict::Workable
                } else {
                    Verdict::LastResort
                };
                (i, luck + s / 2_000.0, Some(verdict))
            })
            .collect();
        order.sort_by(|a, b| a.2.cmp(&b.2).then(b.1.total_cmp(&a.1)));
        let wind = self.wind.wind;
        let ranked = order
            .iter()
            .enumerate()
            .map(|(k, &(index, score, verdict))| RankedField {
                index,
                rank: k + 1,
                verdict: verdict.unwrap_or(Verdict::Out),
                score,
                arrival_height_m: None,
                circuit_height_m: None,
                spare_height_m: Some(spare(self.fields[index].centroid())),
                circuit: sparefield_geometry::fields::flown::CircuitBasis::Estimated,
                strip: Some(strip(&self.fields[index], wind)),
                survey: SurveyStanding::of(&self.fields[index], None),
                criteria: Vec::new(),
                reasons: Vec::new(),
            })
            .collect::<Vec<_>>();
        self.ranked = Some(ranked);
    }

    /// Chooses the field of a rank, with a glide to it.
    pub(crate) fn choose(&mut self, rank: usize) {
        self.selected = self.ranked.as_ref().and_then(|r| r.get(rank - 1)).map(|r| r.index);
        self.path = self.selected.map(|i| {
            let to = self.fields[i].centroid();
            let from = self.aircraft.position;
            let middle = (from + to) * 0.5 + Xy::new(to.y - from.y, from.x - to.x) * 0.06;
            (0..=20)
                .map(|k| {
                    let t = f64::from(k) / 20.0;
                    from * ((1.0 - t) * (1.0 - t)) + middle * (2.0 * t * (1.0 - t)) + to * (t * t)
                })
                .collect()
        });
    }

    /// Hands the scene to a closure as the map takes it.
    pub(crate) fn with_input<R>(&self, theme: &Theme, draw: impl FnOnce(&MapInput<'_>) -> R) -> R {
        let doubtful = |i: usize| noise(i as i64, 3, 11) < 0.15;
        let format_height = |m: f64| format!("{:.0} ft", m / FOOT_M);
        let to_lonlat = |p: Xy| LonLat::new(-1.7 + (p.x - ORIGIN.x) / 70_000.0, 52.1 + (p.y - ORIGIN.y) / 111_200.0);
        let readout = |p: Xy| Readout {
            parts: vec![
                self.terrain.height_at(p).map_or("no height here".into(), |h| format!("ground {}", format_height(h))),
                "arrive 640 ft above it".into(),
                "spare +310 ft".into(),
            ],
        };
        let hover_text = |i: usize| format!("{}: short by 60 m", self.fields[i].label());
        draw(&MapInput {
            cover: &[],
            theme,
            terrain: Some(&self.terrain),
            hands: sparefield::views::map::Hands::default(),
            ground: sparefield::views::map::relief::GroundLook::default(),
            layers: &[],
            revision: self.revision,
            fields: &self.fields,
            doubtful: &doubtful,
            dimmed: &|_| false,
            hazards: &self.hazards,
            quiet_zones: &self.quiet_zones,
            lanes: &self.lanes,
            home: Some(&self.home),
            ranked: self.ranked.as_deref(),
            reach: self.reach.as_ref(),
            aircraft: Some(&self.aircraft),
            wind: Some(&self.wind),
            every_side: false,
            selected: self.selected,
            hovered: self.hovered,
            path: self.path.as_deref(),
            circuits: sparefield::views::map::ShownCircuits::default(),
            height_in_feet: true,
            distance_unit: DistanceUnit::Kilometres,
            format_height: &format_height,
            to_lonlat: &to_lonlat,
            readout: &readout,
            hover_text: &hover_text,
        })
    }
}

fn river_at(t: f64) -> Xy {
    // Where `across` of the valley is zero.
    let w = -1.2 * math::sin(0.45 * 2.0 * t) / 0.707 / 2.0;
    ORIGIN + Xy::new(t + w, t - w) * 1_000.0
}

fn ring(at: Xy, spare: impl Fn(Xy) -> f64) -> Vec<Xy> {
    (0..=360)
        .map(|deg| {
            let unit = Bearing::from_deg(f64::from(deg)).unit();
            let (mut low, mut high) = (0.0, 6_000.0);
            for _ in 0..40 {
                let mid = (low + high) / 2.0;
                if spare(at + unit * mid) > 0.0 { low = mid } else { high = mid }
            }
            at + unit * low
        })
        .collect()
}

/// So many fields on a lattice just large enough, since some places of it are left empty.
fn fields(count: usize) -> Vec<Field> {
    let least = (count as f64).sqrt().ceil() as i64 + 1;
    (least..2 * least + 8).map(|side| lattice(count, side)).find(|fields| fields.len() == count).unwrap_or_default()
}

/// At most so many fields on a skewed lattice with corners pulled about, anticlockwise.
fn lattice(count: usize, side: i64) -> Vec<Field> {
    let corner = |r: i64, c: i64| {
        let jitter = |k: u64| noise(r, c, k) - 0.5;
        let (x, y) = ((c as f64 - side as f64 / 2.0) * 360.0, (r as f64 - side as f64 / 2.0) * 300.0);
        ORIGIN + Xy::new(x + 0.18 * y + 150.0 * jitter(1), y - 0.12 * x + 130.0 * jitter(2))
    };
    let mut out = Vec::new();
    for r in 0..side {
        for c in 0..side {
            if out.len() >= count {
                return out;
            }
            if noise(r, c, 5) < 0.22 {
                continue;
            }
            let ring = [corner(r, c), corner(r, c + 1), corner(r + 1, c + 1), corner(r + 1, c)];
            let centre = ring.iter().fold(Xy::default(), |a, &p| a + p) * 0.25;
            if distance_to_river(centre) < 190.0 {
                continue;
            }
            let mut outer: Vec<Xy> = ring.iter().map(|&p| centre + (p - centre) * 0.93).collect();
            if noise(r, c, 9) < 0.35 {
                // A bend in one side.
                let mid = (outer[0] + outer[1]) * 0.5;
                outer.insert(1, mid + (centre - mid) * 0.22);
            }
            let kinds = [EdgeKind::Hedge, EdgeKind::TreeLine, EdgeKind::Fence, EdgeKind::Hedge, EdgeKind::Wires];
            let edges = (0..outer.len())
                .map(|k| {
                    let kind = kinds[(r * 3 + c + k as i64) as usize % kinds.len()];
                    let height = match kind {
                        EdgeKind::TreeLine => 12.0,
                        EdgeKind::Wires => 8.0,
                        EdgeKind::Fence => 1.2,
                        _ => 2.5,
                    };
                    BoundaryEdge { kind, height_m: Some(height) }
                })
                .collect();
            out.push(Field {
                id: format!("F{}", out.len() + 1),
                name: format!("Invented field {}", out.len() + 1),
                outer,
                holes: Vec::new(),
                edges,
                surface: Surface::GrazedGrass,
                stock: Stock::Unknown,
                surveyed: None,
                notes: String::new(),
                other: Vec::new(),
                ..Field::default()
            });
        }
    }
    out
}

fn distance_to_river(p: Xy) -> f64 {
    (-60..=60).map(|k| river_at(f64::from(k) * 0.2).distance(p)).fold(f64::INFINITY, f64::min)
}

/// The longer middle line of a field, flown into the wind.
fn strip(field: &Field, wind: WindVector) -> StripVerdict {
    let n = field.outer.len();
    let (p, q, r, s) = (field.outer[0], field.outer[n - 3], field.outer[n - 2], field.outer[n - 1]);
    let west = (p + s) * 0.5;
    let east = (q + r) * 0.5;
    let (mut start, mut end) = (west + (east - west) * 0.1, west + (east - west) * 0.9);
    let heading = (end - start).bearing().unwrap_or_default();
    let heading = if wind.headwind_ms(heading) < 0.0 {
        core::mem::swap(&mut start, &mut end);
        heading.reversed()
    } else {
        heading
    };
    let length_m = start.distance(end);
    StripVerdict {
        heading,
        start,
        end,
        width_m: 20.0,
        length_m,
        displacement_m: length_m * 0.22,
        usable_length_m: length_m * 0.78,
        needed_length_m: 180.0,
        expected_length_m: 126.0,
        aim_from_start_m: length_m * 0.25,
        start_amsl_m: Some(100.0),
        landing_distance_m: 150.0,
        factors: Vec::new(),
        obstacles: Vec::new(),
        approach_gradient: 0.2,
        slope: None,
        cross_slope: None,
        slope_error: None,
        roughness_m: None,
        headwind_ms: wind.headwind_ms(heading),
        crosswind_ms: wind.crosswind_ms(heading),
    }
}

fn hazard(kind: HazardKind, shape: HazardShape, height_m: Option<f64>) -> Hazard {
    Hazard {
        id: String::new(),
        kind,
        shape,
        height_m,
        pole_heights_m: Vec::new(),
        name: String::new(),
        other: Vec::new(),
    }
}

fn hazards(river: &[Xy]) -> Vec<Hazard> {
    let mut out = Vec::new();
    let at = |x: f64, y: f64| ORIGIN + Xy::new(x, y);
    let mut banks: Vec<Xy> = river.iter().map(|&p| p + Xy::new(28.0, -28.0)).collect();
    banks.extend(river.iter().rev().map(|&p| p + Xy::new(-28.0, 28.0)));
    out.push(hazard(HazardKind::Water, HazardShape::Area { outer: banks, holes: Vec::new() }, None));
    for (k, (x, y, size)) in
        [(-1_200.0, 1_500.0, 420.0), (2_300.0, 900.0, 520.0), (-2_600.0, -1_700.0, 610.0)].into_iter().enumerate()
    {
        let outer = (0..26)
            .map(|i| {
                let a = f64::from(i) / 26.0 * math::TAU;
                let r = size * (0.6 + 0.4 * noise(i.into(), k as i64, 21));
                at(x + r * math::cos(a), y + 0.7 * r * math::sin(a))
            })
            .collect();
        out.push(hazard(HazardKind::Wood, HazardShape::Area { outer, holes: Vec::new() }, None));
    }
    out.push(hazard(
        HazardKind::Wires,
        HazardShape::Line(vec![at(-4_200.0, 2_300.0), at(-900.0, 980.0), at(900.0, 1_250.0), at(4_500.0, -600.0)]),
        Some(12.0),
    ));
    out.push(hazard(HazardKind::Mast, HazardShape::Point(at(1_250.0, 620.0)), Some(45.0)));
    for k in 0..12 {
        let p = at(3_400.0 * (noise(k, 1, 31) - 0.5), 3_000.0 * (noise(k, 2, 31) - 0.5));
        out.push(hazard(HazardKind::LoneTree, HazardShape::Point(p), None));
    }
    for k in 0..60 {
        let (u, v) = (noise(k, 1, 41) - 0.5, noise(k, 2, 41) - 0.5);
        let c = at(-700.0 + 700.0 * u * (1.0 - v.abs()), -950.0 + 480.0 * v);
        let (w, h) = (8.0 + 8.0 * noise(k, 3, 41), 7.0 + 5.0 * noise(k, 4, 41));
        let outer = [(-w, -h), (w, -h), (w, h), (-w, h)].map(|(x, y)| c + Xy::new(x + 0.3 * y, y - 0.3 * x)).to_vec();
        out.push(hazard(HazardKind::Building, HazardShape::Area { outer, holes: Vec::new() }, Some(9.0)));
    }
    out
}

fn lanes() -> Vec<Vec<Xy>> {
    (0..7)
        .map(|k: i64| {
            let (mut p, mut heading) = (ORIGIN + Xy::new(-700.0, -950.0), noise(k, 0, 51) * math::TAU);
            (0..60)
                .map(|i| {
                    let here = p;
                    heading += 0.5 * (noise(k, i, 52) - 0.5);
                    p = p + Bearing::from_rad(heading).unit() * 90.0;
                    here
                })
                .collect()
        })
        .collect()
}
