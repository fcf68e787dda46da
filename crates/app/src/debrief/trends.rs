//! Trends over every sortie of an area: what was measured of each when it was looked through, filtered, and its middle
//! and spread. Nothing is analysed here.

use super::basis::Basis;
use super::{Debriefed, Sortie as Analysed, WindFrom};
use sparefield_data::sortie::{KeptExercise, KeptMeasures, Sortie};
use sparefield_geometry::air::WindVector;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Exercises over which the running middle is taken. Common practice, no source.
const RUNNING: usize = 10;
/// Knots in m/s.
const KNOT_MS: f64 = 1_852.0 / 3_600.0;
/// A wind along the strip below which it counts as none from ahead or behind, m/s (about 2 kt; common practice, no
/// source).
const ALONG_MS: f64 = 1.0;

/// What is kept of an analysed sortie; `basis` is what it was held against.
#[must_use]
pub fn measures(from: &Sortie, made: &Analysed, basis: &Basis) -> KeptMeasures {
    KeptMeasures {
        from: from.measured_from(),
        land: basis.land.clone(),
        held: basis.held.clone(),
        aircraft: made.ask.aircraft.name.clone(),
        own_base_leg_m: made.ask.aircraft.base_leg_distance_m,
        wind_ms: (made.wind_from != WindFrom::Nobody).then(|| made.wind.surface.speed_ms()),
        exercises: made.exercises.iter().map(|e| exercise(made, e)).collect(),
    }
}

fn exercise(made: &Analysed, one: &Debriefed) -> KeptExercise {
    let m = &one.measures;
    let landing = m.landing.and_then(|c| made.candidates.get(c));
    let best = one.hindsight.as_ref().and_then(|h| made.candidates.get(h.candidate));
    let wind: Option<WindVector> = (made.wind_from != WindFrom::Nobody).then_some(made.wind.surface);
    let along = landing.zip(wind).map(|(c, w)| w.headwind_ms(c.landing.heading));
    KeptExercise {
        start_s: one.exercise.start_s,
        choice_agl_m: m.aims.last().and_then(|a| made.flight.flying.get(a.from)?.height_agl_m),
        delay_s: m.to_glide_speed_s,
        base_leg_m: m.base_leg_distance_m,
        on_final_m: m.on_final_m,
        regret: landing.zip(best).map(|(l, b)| (f64::from(l.verdict as u8) - f64::from(b.verdict as u8)).max(0.0)),
        headwind_ms: along,
        crosswind_ms: along.zip(wind).map(|(a, w)| (w.speed_ms() * w.speed_ms() - a * a).max(0.0).sqrt()),
    }
}

/// What is looked at along time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Measure {
    /// Distance of the base leg.
    #[default]
    BaseLeg,
    /// Height at the last choice.
    Choice,
    /// Seconds to the gliding speed.
    Delay,
    /// Height on final.
    OnFinal,
    /// Verdicts below the best field.
    Regret,
}

impl Measure {
    /// Every measure, in the order offered.
    pub const ALL: [Self; 5] = [Self::BaseLeg, Self::Choice, Self::Delay, Self::OnFinal, Self::Regret];
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::BaseLeg => "base leg",
            Self::Choice => "last choice at",
            Self::Delay => "to gliding speed",
            Self::OnFinal => "on final at",
            Self::Regret => "verdicts below best",
        }
    }
    fn of(self, one: &KeptExercise) -> Option<f64> {
        let value = match self {
            Self::BaseLeg => one.base_leg_m,
            Self::Choice => one.choice_agl_m,
            Self::Delay => one.delay_s,
            Self::OnFinal => one.on_final_m,
            Self::Regret => one.regret,
        };
        value.filter(|v| v.is_finite())
    }
}

/// Classes of wind.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum WindClass {
    /// Any, also one that nobody knew.
    #[default]
    Any,
    /// Up to 5 kt at the surface.
    Light,
    /// 5 to 10 kt.
    Moderate,
    /// More than 10 kt.
    Strong,
    /// From ahead, along the strip landed on, more than across it.
    Ahead,
    /// Across the strip more than along it.
    Across,
    /// From behind.
    Behind,
}

impl WindClass {
    /// Every class, in the order offered.
    pub const ALL: [Self; 7] =
        [Self::Any, Self::Light, Self::Moderate, Self::Strong, Self::Ahead, Self::Across, Self::Behind];
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Any => "any wind",
            Self::Light => "up to 5 kt",
            Self::Moderate => "5 to 10 kt",
            Self::Strong => "over 10 kt",
            Self::Ahead => "from ahead on the strip",
            Self::Across => "across the strip",
            Self::Behind => "from behind on the strip",
        }
    }
    fn takes(self, sortie: &KeptMeasures, one: &KeptExercise) -> bool {
        let speed = |from: f64, to: f64| sortie.wind_ms.is_some_and(|v| v > from * KNOT_MS && v <= to * KNOT_MS);
        let strip = one.headwind_ms.zip(one.crosswind_ms);
        match self {
            Self::Any => true,
            Self::Light => sortie.wind_ms.is_some_and(|v| v <= 5.0 * KNOT_MS),
            Self::Moderate => speed(5.0, 10.0),
            Self::Strong => speed(10.0, f64::INFINITY),
            Self::Ahead => strip.is_some_and(|(ahead, across)| ahead > ALONG_MS && ahead >= across),
            Self::Across => strip.is_some_and(|(ahead, across)| across > ALONG_MS && across > ahead.abs()),
            Self::Behind => strip.is_some_and(|(ahead, _)| ahead < -ALONG_MS),
        }
    }
}

/// Which exercises are looked at.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Filter {
    /// The wind.
    pub wind: WindClass,
    /// Only this pilot.
    pub pilot: Option<String>,
    /// Only this aircraft, as the sortie names it or else as the aircraft file does.
    pub aircraft: Option<String>,
}

/// Number, middle and spread of one measure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// How many.
    pub count: usize,
    /// A quarter lies below.
    pub low: f64,
    /// Half lies below.
    pub middle: f64,
    /// Three quarters lie below.
    pub high: f64,
}

impl Spread {
    /// Of values in any order; `None` of none.
    #[must_use]
    pub fn of(values: &[f64]) -> Option<Self> {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let at = |share: f64| {
            let place = share * (sorted.len() - 1) as f64;
            let (below, part) = (place.floor() as usize, place.fract());
            sorted[below] + (sorted[(below + 1).min(sorted.len() - 1)] - sorted[below]) * part
        };
        (!sorted.is_empty()).then(|| Self { count: sorted.len(), low: at(0.25), middle: at(0.5), high: at(0.75) })
    }
}

/// One measure along time: the values in the order flown, and over the last ten of each the middle and spread.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Along {
    /// Values in the order flown.
    pub values: Vec<f64>,
    /// For each value.
    pub running: Vec<Spread>,
    /// Of all of them.
    pub spread: Option<Spread>,
}

/// What is shown of the trends.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Trends {
    /// Sorties in the area.
    pub sorties: usize,
    /// Those that have to be looked through before they count.
    pub missing: usize,
    /// Those that were not measured with what is there now; they count as they were measured.
    pub stale: StaleCount,
    /// Exercises that pass the filter.
    pub exercises: usize,
    /// Pilots that occur.
    pub pilots: Vec<String>,
    /// Aircraft that occur.
    pub aircraft: Vec<String>,
    /// In the order of [`Measure::ALL`].
    pub along: [Along; 5],
    /// The pilot's own base-leg distance by the aircraft file of the newest sortie, metres.
    pub own_base_leg_m: Option<f64>,
}

/// How many sorties were measured with something else than what is there now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct StaleCount {
    /// With other land.
    pub land: usize,
    /// With another aircraft or other rules.
    pub held: usize,
    /// Nobody knows with what.
    pub unknown: usize,
    /// In any of these.
    pub any: usize,
}

impl StaleCount {
    /// In a sentence; `None` where there are none.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        let were = |n: usize| if n == 1 { "1 sortie was".to_owned() } else { format!("{n} sorties were") };
        let parts = [
            (self.land, "measured with other fields, hazards or terrain than this area has now"),
            (self.held, "measured with another aircraft or other rules than are in use"),
            (self.unknown, "measured before that was kept, so nobody knows with what"),
        ];
        let said: Vec<String> =
            parts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{} {what}", were(*n))).collect();
        (!said.is_empty()).then(|| format!("{}. They count as they were measured.", said.join("; ")))
    }
}

/// The aircraft of a sortie as people call it.
fn aircraft_of<'a>(sortie: &'a Sortie, kept: &'a KeptMeasures) -> &'a str {
    if sortie.aircraft.is_empty() { &kept.aircraft } else { &sortie.aircraft }
}

impl Trends {
    /// Over all sorties of an area. `now` is what they would be held against; without it none counts as stale.
    #[must_use]
    pub fn over(sorties: &[Arc<Sortie>], filter: &Filter, now: Option<&Basis>) -> Self {
        let mut all: Vec<(&Sortie, &KeptMeasures)> =
            sorties.iter().filter_map(|s| Some((s.as_ref(), s.measures()?.as_ref()))).collect();
        all.sort_by(|(a, _), (b, _)| a.started.cmp(&b.started).then_with(|| a.id.cmp(&b.id)));
        let named = |names: BTreeSet<&str>| names.into_iter().filter(|n| !n.is_empty()).map(str::to_owned).collect();
        let pilots = named(all.iter().map(|(s, _)| s.pilot.as_str()).collect());
        let aircraft = named(all.iter().map(|(s, k)| aircraft_of(s, k)).collect());
        let wanted = |name: &str, of: &Option<String>| of.as_deref().is_none_or(|of| of == name);
        let stale = now.map_or_else(StaleCount::default, |now| {
            all.iter().map(|(_, kept)| now.stale(kept)).fold(StaleCount::default(), |n, s| StaleCount {
                land: n.land + usize::from(s.land),
                held: n.held + usize::from(s.held),
                unknown: n.unknown + usize::from(s.unknown),
                any: n.any + usize::from(s.is_any()),
            })
        });
        let (missing, mut exercises) = (sorties.len() - all.len(), 0);
        all.retain(|(s, k)| wanted(&s.pilot, &filter.pilot) && wanted(aircraft_of(s, k), &filter.aircraft));
        let mut along: [Along; 5] = std::array::from_fn(|_| Along::default());
        for (kept, one) in all.iter().flat_map(|(_, k)| k.exercises.iter().map(move |e| (*k, e))) {
            if !filter.wind.takes(kept, one) {
                continue;
            }
            exercises += 1;
            for (along, measure) in along.iter_mut().zip(Measure::ALL) {
                along.values.extend(measure.of(one));
            }
        }
        for along in &mut along {
            let values = &along.values;
            along.running =
                (0..values.len()).filter_map(|i| Spread::of(&values[(i + 1).saturating_sub(RUNNING)..=i])).collect();
            along.spread = Spread::of(values);
        }
        let own_base_leg_m = all.last().map(|(_, k)| k.own_base_leg_m).filter(|d| d.is_finite() && *d > 0.0);
        Self { sorties: sorties.len(), missing, stale, exercises, pilots, aircraft, along, own_base_leg_m }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sparefield_data::sortie::{Measured, Original};
    use sparefield_data::track::{HeightChoice, HeightSource, from_bytes};
    use std::path::Path;

    fn sortie(number: u32, pilot: &str, wind_ms: f64, base_legs: &[f64]) -> Arc<Sortie> {
        let text = format!("AXXX\nHFDTE{:02}0125\nB1000005100000N00200000WA0010000100\n", number + 1);
        let path = Path::new("a.igc");
        let recording = from_bytes(path, text.as_bytes()).unwrap().value.swap_remove(0);
        let heights = HeightChoice::of(HeightSource::None);
        let mut made =
            Sortie::new(format!("sortie-{number}"), &recording, 0, Original::new(path, text.into_bytes()), heights);
        made.pilot = pilot.into();
        let one = |d: &f64| KeptExercise {
            base_leg_m: Some(*d),
            headwind_ms: Some(wind_ms),
            crosswind_ms: Some(0.0),
            ..KeptExercise::default()
        };
        made.measured = Measured(Some(Arc::new(KeptMeasures {
            from: made.measured_from(),
            land: if number == 0 { String::new() } else { "valley".into() },
            held: if number == 2 { "fast".into() } else { "slow".into() },
            aircraft: "By the file".into(),
            own_base_leg_m: 250.0,
            wind_ms: Some(wind_ms.abs()),
            exercises: base_legs.iter().map(one).collect(),
        })));
        Arc::new(made)
    }

    #[test]
    fn trends_run_in_the_order_flown_and_filters_take_what_they_say() {
        // Added in another order than flown.
        let all =
            [sortie(2, "Ash", 6.0, &[300.0]), sortie(0, "Ash", 1.0, &[100.0, 200.0]), sortie(1, "Elm", -4.0, &[250.0])];
        let trends = Trends::over(&all, &Filter::default(), None);
        assert_eq!((trends.sorties, trends.missing, trends.exercises), (3, 0, 4));
        assert_eq!(trends.along[0].values, [100.0, 200.0, 250.0, 300.0]);
        assert_eq!(trends.along[0].spread.unwrap().middle, 225.0);
        assert_eq!(trends.along[0].running[1], Spread { count: 2, low: 125.0, middle: 150.0, high: 175.0 });
        assert_eq!(
            (trends.pilots, trends.aircraft),
            (vec!["Ash".into(), "Elm".into()], vec!["By the file".to_owned()])
        );
        let only = |filter: Filter| Trends::over(&all, &filter, None).along[0].values.clone();
        assert_eq!(only(Filter { pilot: Some("Elm".into()), ..Filter::default() }), [250.0]);
        assert_eq!(only(Filter { wind: WindClass::Light, ..Filter::default() }), [100.0, 200.0]);
        assert_eq!(only(Filter { wind: WindClass::Behind, ..Filter::default() }), [250.0]);
        assert_eq!(only(Filter { wind: WindClass::Ahead, ..Filter::default() }), [300.0]);
        assert_eq!(only(Filter { aircraft: Some("Another".into()), ..Filter::default() }), [0.0; 0]);
    }

    #[test]
    fn a_sortie_that_changed_since_it_was_measured_is_missing() {
        let mut changed = (*sortie(0, "", 1.0, &[100.0])).clone();
        changed.heights.offset_m = 5.0;
        let trends = Trends::over(&[Arc::new(changed)], &Filter::default(), None);
        assert_eq!((trends.missing, trends.exercises, trends.along[0].spread), (1, 0, None));
    }

    #[test]
    fn what_was_measured_with_something_else_is_counted_and_said() {
        let all = [0, 1, 2].map(|n| sortie(n, "", 1.0, &[100.0]));
        let basis = |land: &str, held: &str| Basis { land: land.into(), held: held.into() };
        let count = |now: &Basis| Trends::over(&all, &Filter::default(), Some(now)).stale;
        assert_eq!(count(&basis("valley", "slow")), StaleCount { land: 0, held: 1, unknown: 1, any: 2 });
        let moved = count(&basis("hill", "slow"));
        assert_eq!(moved, StaleCount { land: 2, held: 1, unknown: 1, any: 3 });
        let said = moved.words().unwrap();
        assert!(
            said.starts_with("2 sorties were measured with other fields") && said.contains("1 sortie was"),
            "{said}"
        );
        assert_eq!(StaleCount::default().words(), None);
        // They still count.
        assert_eq!(Trends::over(&all, &Filter::default(), Some(&basis("hill", "x"))).exercises, 3);
    }
}
