//! The glide curve as sorties tell it, beside that of the aircraft in use: from steady glides of one sortie or of several.

use crate::sheet::picture::{Ink, Mark, Picture};
use egui::{Align2, Pos2, Vec2, pos2};
use sparefield_data::quantity::{HeightUnit, SpeedUnit, UnitPrefs};
use sparefield_geometry::aircraft::Aircraft;
use sparefield_geometry::track::glide_fit::{FEWEST_POINTS, GlideFit, GlidePoint, fit, glide_points};
use sparefield_geometry::track::phases::Flight;
use std::fmt::Write as _;

/// What must be known of a curve that a track tells.
pub const CAUTIONS: [&str; 2] = [
    "Told from a track alone: airspeed is worked out from the ground speed and the wind, sink from the recorder's heights, \
     and rising or sinking air counts as the aircraft's. The ± is what glides differ by among themselves, no more.",
    "Told with the engine at idle; a stopped one may glide better or worse. The aircraft's handbook comes first.",
];
/// Standard deviations within which two curves agree. Common practice, no source.
const AGREE: f64 = 2.0;

/// What sorties tell of the glide curve.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct GlideTold {
    /// Sorties that were looked at.
    pub sorties: usize,
    /// Those whose wind is not known, so that they tell nothing.
    pub without_wind: usize,
    /// Those that could not be read or analysed.
    pub unread: usize,
    /// Steady stretches of their glides.
    pub points: Vec<GlidePoint>,
    /// The curve, where they tell one.
    pub fit: Option<GlideFit>,
}

impl GlideTold {
    /// Adds what a flight tells; the curve follows with [`GlideTold::settle`].
    pub fn add(&mut self, flight: &Flight) {
        self.sorties += 1;
        self.without_wind += usize::from(flight.wind.bands.is_empty());
        self.points.extend(glide_points(flight));
    }
    /// Finds the curve through everything added.
    #[must_use]
    pub fn settle(mut self) -> Self {
        self.fit = fit(&self.points);
        self
    }
    /// What one flight tells.
    #[must_use]
    pub fn of(flight: &Flight) -> Self {
        let mut told = Self::default();
        told.add(flight);
        told.settle()
    }

    /// From how much it is told, in words.
    #[must_use]
    pub fn from_words(&self) -> String {
        let stretches = match self.points.len() {
            1 => "one steady stretch of gliding".to_owned(),
            n => format!("{n} steady stretches of gliding"),
        };
        let mut text = match self.sorties {
            1 => format!("From {stretches} of one sortie."),
            n => format!("From {stretches} of {n} sorties."),
        };
        if self.without_wind > 0 && self.sorties > 1 {
            let _ = write!(text, " {} tell no wind, and so nothing here.", self.without_wind);
        }
        if self.unread > 0 {
            let _ = write!(text, " {} could not be read.", self.unread);
        }
        text
    }

    /// Why there is no curve; `None` where there is one.
    #[must_use]
    pub fn nothing(&self) -> Option<String> {
        let wind = if self.without_wind > 0 {
            " The wind is not known: fly full turns at each height, or give it on the Sortie page."
        } else {
            ""
        };
        self.fit.is_none().then(|| {
            format!(
                "A glide curve needs {FEWEST_POINTS} or more steady stretches at several speeds; these tell none.{wind}"
            )
        })
    }
}

/// A deviation in words, rounded up: none is ever shown as nothing.
fn off(sd: f64, step: f64, say: impl Fn(f64) -> String) -> String {
    say((sd / step).ceil().max(1.0) * step)
}

fn off_speed(sd_ms: f64, units: UnitPrefs) -> String {
    let step = if units.speed == SpeedUnit::Ms { 0.1 } else { units.speed.metres_per_second() };
    off(sd_ms, step, |v| units.format_speed(v))
}

fn off_sink(sd_ms: f64, units: UnitPrefs) -> String {
    /// Ten feet a minute, m/s.
    const TEN_FPM_MS: f64 = 10.0 * 0.304_8 / 60.0;
    let step = if units.height == HeightUnit::Ft { TEN_FPM_MS } else { 0.1 };
    off(sd_ms, step, |v| units.format_sink(v))
}

fn off_ratio(sd: f64) -> String {
    off(sd, 0.1, |v| format!("{v:.1}"))
}

/// Best glide in words.
#[must_use]
pub fn best(told: &GlideFit, units: UnitPrefs) -> String {
    format!(
        "{} ± {} at {:.1} ± {} to 1",
        units.format_speed(told.best_speed_ms.0),
        off_speed(told.best_speed_ms.1, units),
        told.best_ratio.0,
        off_ratio(told.best_ratio.1)
    )
}

/// How a told curve stands to the aircraft's, in a sentence.
#[must_use]
pub fn compared(told: &GlideFit, aircraft: &Aircraft) -> String {
    let (own, (ratio, sd)) = (aircraft.glide.best_glide_ratio(), told.best_ratio);
    if ((ratio - own) / sd.max(1e-6)).abs() <= AGREE {
        "The aircraft in use agrees within two standard deviations.".to_owned()
    } else if ratio < own {
        "It glides worse than the aircraft in use says, by more than two standard deviations.".to_owned()
    } else {
        "It glides better than the aircraft in use says, by more than two standard deviations.".to_owned()
    }
}

/// Rows of a table: at which speed, the sink of the aircraft in use there, and as told. Best glide comes first.
#[must_use]
pub fn rows(told: &GlideFit, aircraft: &Aircraft, units: UnitPrefs) -> Vec<[String; 3]> {
    let own = &aircraft.glide;
    let mut rows = vec![
        [
            "Best glide at".to_owned(),
            units.format_speed(own.best_glide_speed_ms()),
            format!("{} ± {}", units.format_speed(told.best_speed_ms.0), off_speed(told.best_speed_ms.1, units)),
        ],
        [
            "Best ratio".to_owned(),
            format!("{:.1}", own.best_glide_ratio()),
            format!("{:.1} ± {}", told.best_ratio.0, off_ratio(told.best_ratio.1)),
        ],
    ];
    let speeds = [aircraft.min_glide_speed_ms, own.best_glide_speed_ms(), aircraft.approach_speed_ms];
    let fast = (aircraft.approach_speed_ms + aircraft.max_speed_ms) / 2.0;
    let mut speeds: Vec<f64> = speeds.into_iter().chain([fast]).collect();
    speeds.sort_by(f64::total_cmp);
    speeds.dedup_by(|a, b| (*a - *b).abs() < 0.5);
    for v in speeds {
        let (sink, sd) = told.sink_ms(v);
        let beyond = if v < told.flown_ms.0 || v > told.flown_ms.1 { ", not flown" } else { "" };
        rows.push([
            format!("Sink at {}", units.format_speed(v)),
            units.format_sink(own.sink_ms(v, 1.0)),
            format!("{} ± {}{beyond}", units.format_sink(sink), off_sink(sd, units)),
        ]);
    }
    rows
}

/// Both curves, sink downwards along airspeed, with the stretches and the band of one standard deviation.
#[must_use]
pub fn picture(told: &GlideTold, aircraft: &Aircraft, size: Vec2, units: UnitPrefs) -> Picture {
    let mut p = Picture::new(size, "Sink along airspeed: the aircraft in use broken, as told by the flights solid");
    let (left, right, top, bottom) = (82.0, 10.0, 8.0, 20.0);
    let slow = told.points.iter().map(|q| q.speed_ms).fold(aircraft.min_glide_speed_ms, f64::min).max(1.0);
    let fast = told.points.iter().map(|q| q.speed_ms).fold(aircraft.approach_speed_ms * 1.15, f64::max);
    let speeds: Vec<f64> = (0..=40).map(|i| slow + (fast - slow) * f64::from(i) / 40.0).collect();
    let own = |v: f64| aircraft.glide.sink_ms(v, 1.0);
    let deepest = speeds.iter().map(|v| own(*v)).chain(told.points.iter().map(|q| q.sink_ms)).fold(1.0, f64::max);
    let deepest = speeds.iter().filter_map(|v| told.fit.map(|f| f.sink_ms(*v).0)).fold(deepest, f64::max) * 1.1;
    let x = |v: f64| left + ((v - slow) / (fast - slow).max(0.1)) as f32 * (size.x - left - right);
    let y = |sink: f64| top + (sink.clamp(0.0, deepest) / deepest) as f32 * (size.y - top - bottom);
    for share in [0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0] {
        let sink = deepest * share / 1.1;
        p.line([pos2(left, y(sink)), pos2(size.x - right, y(sink))], Ink::Line, 1.0);
        p.text(pos2(left - 5.0, y(sink)), Align2::RIGHT_CENTER, units.format_sink(sink), Ink::Soft);
    }
    for (share, anchor) in [(0.0, Align2::LEFT_TOP), (0.5, Align2::CENTER_TOP), (1.0, Align2::RIGHT_TOP)] {
        let v = slow + (fast - slow) * share;
        p.text(pos2(x(v), size.y - bottom + 4.0), anchor, units.format_speed(v), Ink::Soft);
    }
    let way = |of: &dyn Fn(f64) -> f64| -> Vec<Pos2> { speeds.iter().map(|v| pos2(x(*v), y(of(*v)))).collect() };
    if let Some(fit) = told.fit {
        let (upper, lower) =
            (way(&|v| fit.sink_ms(v).0 - fit.sink_ms(v).1), way(&|v| fit.sink_ms(v).0 + fit.sink_ms(v).1));
        p.marks.push(Mark::Band { upper, lower, ink: Ink::Accent, alpha: 0.22 });
    }
    for q in &told.points {
        p.dot(pos2(x(q.speed_ms), y(q.sink_ms)), if told.points.len() > 200 { 1.2 } else { 2.0 }, Ink::Soft);
    }
    p.dashed(way(&own), Ink::Ink, 1.5, (5.0, 4.0));
    if let Some(fit) = told.fit {
        p.line(way(&|v| fit.sink_ms(v).0), Ink::Accent, 2.0);
    }
    p
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_geometry::aircraft::GlideCurve;

    fn told(ratio: f64) -> GlideTold {
        let curve = GlideCurve::from_best_glide(22.0, ratio).unwrap();
        let points = (0..30u32)
            .map(|i| {
                let speed_ms = 19.0 + 0.3 * f64::from(i);
                let off = if i % 2 == 0 { 0.05 } else { -0.05 };
                GlidePoint {
                    time_s: f64::from(i),
                    speed_ms,
                    load_factor: 1.0,
                    sink_ms: curve.sink_ms(speed_ms, 1.0) + off,
                }
            })
            .collect();
        GlideTold { sorties: 2, points, ..GlideTold::default() }.settle()
    }

    #[test]
    fn what_is_told_stands_beside_the_aircraft_and_says_how_it_differs() {
        let aircraft = Aircraft::example_flexwing();
        let units = UnitPrefs::default();
        for (ratio, words) in [(6.0, "agrees"), (5.0, "worse"), (7.5, "better")] {
            let told = told(ratio);
            let fit = told.fit.unwrap();
            assert!(compared(&fit, &aircraft).contains(words), "{ratio}: {fit:?}");
            let rows = rows(&fit, &aircraft, units);
            assert!(rows.len() >= 5 && rows[1][2].contains('±'), "{rows:?}");
            // Half-way to the maximum nobody flew.
            assert!(rows.last().unwrap()[2].ends_with("not flown"), "{rows:?}");
            assert!(
                told.nothing().is_none() && told.from_words().contains("30 steady stretches of gliding of 2 sorties")
            );
        }
        // However well a curve is told, it is not told exactly.
        let exact = GlideFit { best_ratio: (6.0, 0.0), best_speed_ms: (22.0, 0.001), ..told(6.0).fit.unwrap() };
        let said = best(&exact, units);
        assert!(said.contains("± 0.1 to 1") && said.replace('\u{a0}', " ").contains("± 1 mph"), "{said}");
        let nothing = GlideTold { sorties: 1, without_wind: 1, ..GlideTold::default() }.settle();
        assert!(nothing.nothing().unwrap().contains("wind is not known"));
        // Wild points stay on the picture.
        let mut wild = told(6.0);
        wild.points[0].sink_ms = -9.0;
        let size = egui::vec2(320.0, 160.0);
        for mark in picture(&wild, &aircraft, size, units).marks {
            if let Mark::Dot { at, .. } = mark {
                assert!((0.0..=size.x).contains(&at.x) && (0.0..=size.y).contains(&at.y), "{at:?}");
            }
        }
    }
}
