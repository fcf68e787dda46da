//! A flight turned into what the map draws.

use crate::circuits::flights::{Flight, Flights};
use crate::circuits::words;
use crate::model::Model;
use crate::views::map::{CircuitMark, CloudMark, FlownMark, GateMark, KeyMark, RibbonPoint, ShownCircuits, TurnMark};
use sparefield_data::quantity::UnitPrefs;
use sparefield_geometry::circuit::{KeyName, LegFlown};
use sparefield_geometry::math;
use sparefield_geometry::position::{Bearing, Xy};
use std::sync::Arc;

/// Turns through less than this carry no label.
const LEAST_TURN_RAD: f64 = 0.35;

/// Marks of the flights shown, made once for each answer, and of the aircraft at the present moment.
#[derive(Default)]
pub struct CircuitMarks {
    of: Option<(Arc<Flights>, bool)>,
    chosen: Option<CircuitMark>,
    beside: Option<CircuitMark>,
    cloud: Option<CloudMark>,
    cloud_shown: bool,
    flown: Vec<FlownMark>,
}

impl CircuitMarks {
    /// Follows the model.
    pub fn refresh(&mut self, model: &Model) {
        let circuits = &model.circuits;
        let made = circuits.made.as_ref();
        let same = match (&self.of, made) {
            (Some((of, current)), Some(made)) => Arc::ptr_eq(of, made) && *current == circuits.current,
            (of, made) => of.is_none() && made.is_none(),
        };
        if !same {
            let name = |i: usize| model.area.as_ref().and_then(|a| a.fields.get(i)).map_or("another", |f| f.label());
            let units = model.settings.units;
            self.chosen = circuits.chosen().map(|f| mark(f, units, &name));
            self.beside = circuits.other().map(|f| mark(f, units, &name));
            let many = circuits.many().filter(|_| circuits.current).and_then(|m| m.as_ref().ok());
            self.cloud = many.map(|(many, told)| CloudMark {
                touchdowns: many.touchdowns().map(|t| (t.at, t.stopped_in_strip)).collect(),
                words: format!("Touchdowns. {}", told.sentence),
            });
            self.of = made.map(|m| (Arc::clone(m), circuits.current));
        }
        self.cloud_shown = circuits.cloud;
        self.flown.clear();
        if circuits.at_s > 0.0 || circuits.playing {
            for (flight, is_beside) in
                circuits.chosen().map(|f| (f, false)).into_iter().chain(circuits.other().map(|f| (f, true)))
            {
                self.flown.extend(flown(model, flight, is_beside));
            }
        }
    }

    /// As the map takes them.
    #[must_use]
    pub fn shown(&self) -> ShownCircuits<'_> {
        ShownCircuits {
            chosen: self.chosen.as_ref(),
            beside: self.beside.as_ref(),
            cloud: self.cloud.as_ref().filter(|_| self.cloud_shown),
            flown: &self.flown,
        }
    }
}

fn flown(model: &Model, flight: &Flight, is_beside: bool) -> Option<FlownMark> {
    let moment = flight.at(model.circuits.at_s)?;
    let units = model.settings.units;
    let at = moment.motion.position;
    let what = words::moment(&moment, model.convergence_rad(at), units);
    let whose = if is_beside { "Aircraft on the circuit compared with" } else { "Aircraft on its circuit" };
    Some(FlownMark {
        at,
        heading: moment.motion.heading(),
        bank_rad: moment.motion.bank_rad,
        height: words::height_above(moment.height_m, units),
        words: format!("{whose}, {}: {what}", words::clock(moment.motion.time_s)),
        is_beside,
    })
}

fn mark<'a>(flight: &Flight, units: UnitPrefs, name: &dyn Fn(usize) -> &'a str) -> CircuitMark {
    let circuit = &flight.circuit;
    let landing = &flight.answer.landing;
    let track = circuit.track.iter().map(|p| RibbonPoint {
        at: p.motion.position,
        height_m: p.motion.height_amsl_m - landing.aim_amsl_m,
        turning: p.turning,
    });
    // The aircraft's own mark stands where the engine stops.
    let keys = circuit.keys.iter().filter(|k| k.name != KeyName::EngineStops).map(|k| KeyMark {
        at: k.position,
        label: match k.name {
            KeyName::Touchdown => "touchdown".to_owned(),
            name => format!("{} {}", words::short(name), words::height_above(k.height_m, units)),
        },
        matters: matches!(k.name, KeyName::TurnToBase | KeyName::TurnToFinal | KeyName::Touchdown),
    });
    let gate = flight.answer.last_change.as_ref().map(|change| GateMark {
        at: change.commit.at.position,
        heading: change.commit.at.heading(),
        label: format!(
            "last change {}\nsecond: {}",
            units.format_height_at_most(change.commit.height_m),
            name(change.field)
        ),
    });
    CircuitMark {
        track: track.collect(),
        keys: keys.collect(),
        turns: turns(flight, units),
        aim: landing.aim,
        touchdown: circuit.touchdown,
        stop: circuit.stop,
        gate,
    }
}

fn turns(flight: &Flight, units: UnitPrefs) -> Vec<TurnMark> {
    let circuit = &flight.circuit;
    let middle = |leg: &LegFlown| {
        let half = leg.start_s + leg.duration_s / 2.0;
        let i = circuit.track.partition_point(|p| p.motion.time_s < half);
        circuit.track.get(i).map(|p| p.motion)
    };
    let mark = |leg: &LegFlown| {
        let turned_rad = leg.turned_rad.filter(|t| t.abs() >= LEAST_TURN_RAD)?;
        let motion = middle(leg)?;
        // The centre lies abeam on the side of the turn.
        let away = Bearing::from_rad(motion.heading_rad - math::PI / 2.0 * turned_rad.signum());
        let outward: Xy = away.unit();
        let label = format!("turn −{}", units.format_height_at_most(leg.lost_m));
        Some(TurnMark { at: motion.position, outward, label })
    };
    circuit.legs.iter().filter_map(mark).collect()
}
