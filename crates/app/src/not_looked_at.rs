//! What no answer has looked at, said wherever answers stand: a list of reasons looks complete.

/// No ranking of fields.
pub const BY_RANKING: [&str; 4] = [
    "Wires, fences, ditches and animals that nobody entered.",
    "How well the circuit is flown. For the best fields it is flown by simulation, over the ground and the hazards that somebody entered; farther down the list its height is an estimate for joining from overhead, and nothing round it was looked at.",
    "What stands beyond the far end, should you run on.",
    "Gusts and sinking air.",
];

/// No circuit that is flown once.
pub const BY_CIRCUIT: &str = "One flight, flown exactly, in the wind as given. Not looked at: gusts, sinking air, \
                              wires nobody drew, and how well it is flown.";

/// No circuit that is flown many times.
pub const BY_FLIGHTS: &str = "Not counted: sinking air, wires and trees nobody drew, a wind that turns along the way, a pilot who \
                              changes his mind, slips or weaves on final, and what happens after touchdown. How far pilots \
                              and forecasts are off is assumed, so the share compares circuits; it is no chance of arriving.";

/// No climb-out.
pub const BY_CLIMB_OUT: &str = "Fields are those that would take the aircraft in this wind, each with the circuit \
flown by simulation after the reaction. The climb is straight and steady. Nothing is said about traffic, about how the \
engine fails, or about a pilot who is startled for longer.";
