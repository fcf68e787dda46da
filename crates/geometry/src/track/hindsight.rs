//! What would have worked: the best field from where the engine stopped, with the circuit into it.

use super::measures::{Against, Measures};
use super::phases::Flight;
use crate::air::Wind;
use crate::circuit::{Circuit, CircuitOptions, CircuitTask};
use crate::position::Bearing;
use crate::reach::AircraftState;

/// The best field in hindsight.
#[derive(Clone, Debug)]
pub struct Hindsight {
    /// Index into the candidates.
    pub candidate: usize,
    /// The circuit that would have worked, flown by simulation from the failure.
    pub circuit: Circuit,
}

/// Fields whose circuits are searched, best first.
const MOST_TRIED: usize = 16;
/// What the estimate may be wrong by and the field still be tried, metres.
const DOUBT_M: f64 = 30.0;

/// The state at the failure.
fn state(flight: &Flight, measures: &Measures) -> AircraftState {
    let at = measures.samples.start;
    AircraftState {
        position: measures.position,
        height_amsl_m: measures.height_amsl_m,
        heading: Some(Bearing::from_rad(flight.flying[at].heading_rad)),
    }
}

/// The circuit that the program would have flown from the failure to one landing, after the usual reaction time.
#[must_use]
pub fn circuit_to(
    flight: &Flight,
    measures: &Measures,
    candidate: usize,
    wind: &Wind,
    against: &Against<'_>,
) -> Option<Circuit> {
    let landing = against.needs.candidates().get(candidate)?.landing;
    let state = state(flight, measures);
    let options = CircuitOptions::default();
    let task =
        CircuitTask::new(against.aircraft, wind, landing, against.surroundings, options, state.height_amsl_m).ok()?;
    task.circuit(&task.start(&state, against.aircraft.reaction_time_s)).ok()
}

/// The best field from the failure: by verdict, then score, the first into which a circuit is found.
#[must_use]
pub fn best_field(flight: &Flight, measures: &Measures, wind: &Wind, against: &Against<'_>) -> Option<Hindsight> {
    let state = state(flight, measures);
    let heading = state.heading?.unit();
    let candidates = against.needs.candidates();
    let mut worth: Vec<usize> = (0..candidates.len())
        .filter(|&c| candidates[c].is_usable())
        .filter(|&c| {
            let spare = against.needs.spare_m(c, state.position, state.height_amsl_m, heading);
            spare.is_some_and(|s| s >= -DOUBT_M)
        })
        .collect();
    worth.sort_by(|&a, &b| {
        let (a, b) = (&candidates[a], &candidates[b]);
        a.verdict.cmp(&b.verdict).then(b.score.total_cmp(&a.score)).then(a.field.cmp(&b.field))
    });
    worth.into_iter().take(MOST_TRIED).find_map(|candidate| {
        circuit_to(flight, measures, candidate, wind, against).map(|circuit| Hindsight { candidate, circuit })
    })
}
