//! The numbers behind each number shown for a field: inputs, formula, source.

use super::approach::{APPROACH_WIND_HEIGHT_M, STEEPEST_GRADIENT};
use super::circuit_height::{CircuitSetting, overhead_from_landing};
use super::flown::CircuitBasis;
use super::rank::RankInput;
use super::study::FieldStudy;
use super::survey::{EXPECTED_CONFIDENCE, SurveyStanding, half_life_days, stock_half_life_days};
use super::verdict::{Quantity, RankedField, StripVerdict};
use crate::air::isa_density_ratio;
use crate::reach::Arrival;
use serde::Serialize;

/// How one shown number came about.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Working {
    /// What the number is, in words.
    pub label: String,
    /// The number.
    pub value: Quantity,
    /// The formula in words and signs.
    pub formula: String,
    /// What went in, by name.
    pub inputs: Vec<(String, Quantity)>,
    /// Published source, or "common practice, no source", or "from memory".
    pub source: &'static str,
}

fn working(
    label: &str,
    value: Quantity,
    formula: &str,
    inputs: Vec<(&str, Quantity)>,
    source: &'static str,
) -> Working {
    let inputs = inputs.into_iter().map(|(name, q)| (name.to_owned(), q)).collect();
    Working { label: label.into(), value, formula: formula.into(), inputs, source }
}

/// The workings of every number shown for a ranked field; `arrival` is the one it was ranked with.
///
/// Numbers that do not exist (no strip, not in reach, no terrain) are left out.
#[must_use]
pub fn workings(
    ranked: &RankedField,
    study: &FieldStudy,
    input: &RankInput<'_>,
    arrival: Option<Arrival>,
) -> Vec<Working> {
    let mut list = Vec::new();
    if let Some(strip) = &ranked.strip {
        lengths(strip, input, &mut list);
        approach(strip, study, input, &mut list);
        heights(ranked, strip, study, input, arrival, &mut list);
        slopes(strip, study, &mut list);
        list.push(working(
            "crosswind",
            Quantity::Speed(strip.crosswind_ms.abs()),
            "wind speed × sin(angle between wind and heading)",
            vec![
                ("wind", Quantity::Speed(input.wind.surface.speed_ms())),
                ("from", Quantity::Direction(input.wind.surface.from_bearing().unwrap_or_default())),
                ("heading", Quantity::Direction(strip.heading)),
                ("the aircraft's limit", Quantity::Speed(input.aircraft.max_crosswind_ms)),
            ],
            "trigonometry",
        ));
        list.push(working(
            "headwind",
            Quantity::Speed(strip.headwind_ms),
            "wind speed × cos(angle between wind and heading); negative is a tailwind",
            vec![
                ("wind", Quantity::Speed(input.wind.surface.speed_ms())),
                ("heading", Quantity::Direction(strip.heading)),
            ],
            "trigonometry",
        ));
    }
    survey(&ranked.survey, &mut list);
    let parts = ranked.criteria.iter().flat_map(|c| {
        let name = c.kind.words();
        [(name.to_owned(), Quantity::Number(c.value, 2)), (format!("weight of {name}"), Quantity::Number(c.weight, 2))]
    });
    list.push(Working {
        label: "score".into(),
        value: Quantity::Number(ranked.score, 2),
        formula: "sum of criterion × weight".into(),
        inputs: parts.collect(),
        source: "weights: common practice, no source; they can be changed",
    });
    list
}

fn survey(standing: &SurveyStanding, list: &mut Vec<Working>) {
    const SOURCE: &str = "common practice, no source";
    if let (Some(age), Some(month)) = (standing.age_days, standing.month) {
        let (seen, now) = (standing.seen.words(), half_life_days(standing.seen, month));
        let mut inputs = vec![
            ("looked at, days ago".to_owned(), Quantity::Days(age)),
            (format!("half-life of {seen} in {}", standing.month_words()), Quantity::Number(now, 0)),
        ];
        if let Some(expected) = standing.expected {
            inputs.push((
                format!("the calendar expects {}, trusted to", expected.words()),
                Quantity::Number(EXPECTED_CONFIDENCE, 2),
            ));
        }
        list.push(Working {
            label: "trust in the survey".into(),
            value: Quantity::Number(standing.confidence, 2),
            formula: "½ to the power of the sum of days in each month ÷ half-life of that month; shorter in months of \
                      harvest, ploughing and drilling and where the calendar changes; what was seen counts in full \
                      from 0.50 up, and below that the worse of seen and expected"
                .into(),
            inputs,
            source: SOURCE,
        });
    }
    if let Some(age) = standing.stock_age_days {
        let half_life = Quantity::Number(stock_half_life_days(standing.seen), 0);
        list.push(working(
            "trust in what was seen of animals",
            Quantity::Number(standing.stock_confidence, 2),
            "½ to the power of days ÷ half-life",
            vec![("looked for, days ago", Quantity::Days(age)), ("half-life in days", half_life)],
            SOURCE,
        ));
    }
}

fn lengths(strip: &StripVerdict, input: &RankInput<'_>, list: &mut Vec<Working>) {
    let aircraft = input.aircraft;
    list.push(working(
        "strip length",
        Quantity::Length(strip.length_m),
        "longest rectangle of strip width + 2 × margin along the heading inside the field, less 2 × margin",
        vec![("width", Quantity::Length(strip.width_m)), ("margin", Quantity::Length(aircraft.edge_margin_m))],
        "geometry",
    ));
    let mut inputs = vec![
        ("strip length", Quantity::Length(strip.length_m)),
        ("taken by the approach", Quantity::Length(strip.displacement_m)),
    ];
    let governing = strip.obstacles.first().filter(|o| o.displacement_m > 0.0);
    if let Some(o) = governing {
        inputs.push(("top above the landing end", Quantity::Height(o.height_m)));
        inputs.push(("distance before the landing end", Quantity::Length(o.before_threshold_m)));
        inputs.push(("approach gradient", Quantity::Slope(strip.approach_gradient)));
        inputs.push(("steepest gradient counted", Quantity::Slope(STEEPEST_GRADIENT)));
    }
    let governs = governing.map_or_else(String::new, |o| {
        format!("; {} governs{}", o.what, if o.assumed { ", its height is assumed" } else { "" })
    });
    let rule = input.options.obstacle_rule;
    list.push(working(
        "usable length",
        Quantity::LengthAtLeast(strip.usable_length_m),
        &format!("strip length − most that any obstacle takes ({}, less its distance){governs}", rule.words()),
        inputs,
        rule.source(),
    ));
    let mut inputs = vec![("landing distance from 50 ft".to_owned(), Quantity::Length(strip.landing_distance_m))];
    inputs.extend(strip.factors.iter().map(|f| (format!("{} ({})", f.what, f.source), Quantity::Number(f.value, 3))));
    list.push(Working {
        label: "needed length".into(),
        value: Quantity::LengthAtMost(strip.needed_length_m),
        formula: "landing distance × every factor".into(),
        inputs,
        source: "UK CAA Safety Sense 09; CAT.POL.A.330",
    });
}

fn approach(strip: &StripVerdict, study: &FieldStudy, input: &RankInput<'_>, list: &mut Vec<Working>) {
    let aircraft = input.aircraft;
    list.push(working(
        "approach gradient",
        Quantity::Slope(strip.approach_gradient),
        "sink ÷ (√(V² − crosswind²) − headwind), V and sink true at approach speed",
        vec![
            ("approach speed", Quantity::Speed(aircraft.approach_speed_ms)),
            ("sink at it", Quantity::Speed(aircraft.glide.sink_ms(aircraft.approach_speed_ms, 1.0))),
            ("headwind", Quantity::Speed(strip.headwind_ms)),
            ("crosswind", Quantity::Speed(strip.crosswind_ms.abs())),
            ("wind height above ground", Quantity::Height(APPROACH_WIND_HEIGHT_M)),
            ("air density, share of sea level", Quantity::Number(isa_density_ratio(elevation(study, input)), 3)),
        ],
        "wind triangle and parabolic glide curve",
    ));
}

/// The height of the ground that circuits and density are reckoned for, as in the ranking.
fn elevation(study: &FieldStudy, input: &RankInput<'_>) -> f64 {
    let threshold = study.strips.iter().find_map(|s| s.ends[0].threshold_amsl_m);
    study.ground_amsl_m.or(threshold).unwrap_or(input.wind.ground_amsl_m)
}

fn heights(
    ranked: &RankedField,
    strip: &StripVerdict,
    study: &FieldStudy,
    input: &RankInput<'_>,
    arrival: Option<Arrival>,
    list: &mut Vec<Working>,
) {
    let (Some(arrival), Some(above)) = (arrival, ranked.arrival_height_m) else { return };
    list.push(working(
        "arrival height",
        Quantity::HeightAtLeast(above),
        "height on arriving over the middle of the field − height of the ground at the landing end",
        vec![
            ("arrival above sea level", Quantity::Height(arrival.height_amsl_m)),
            ("landing end above sea level", Quantity::Height(arrival.height_amsl_m - above)),
        ],
        "reach",
    ));
    if ranked.circuit != CircuitBasis::Estimated {
        flown_heights(ranked, above, list);
        return;
    }
    let setting = CircuitSetting::new(input.aircraft, input.wind, elevation(study, input));
    let along = strip.heading.unit();
    let (length, taken, needed) = (strip.length_m, strip.displacement_m, strip.needed_length_m);
    let over = overhead_from_landing(study.centre, strip.start, along, length, taken, needed);
    let Some(circuit) = setting.height(strip.heading, arrival.track, over) else { return };
    let inputs = circuit.parts.iter().map(|p| (p.what, Quantity::Height(p.loss_m))).collect();
    list.push(working(
        "circuit height",
        Quantity::HeightAtMost(circuit.total_m),
        "sum of the height lost in each part of a join from over the middle of the field, the cheaper hand",
        inputs,
        "estimate: wind triangle, glide curve, turns at constant incidence (Welch, Welch & Irving)",
    ));
    list.push(working(
        "spare height",
        Quantity::HeightAtLeast(above - circuit.total_m),
        "arrival height − circuit height",
        vec![
            ("arrival height", Quantity::HeightAtLeast(above)),
            ("circuit height", Quantity::HeightAtMost(circuit.total_m)),
        ],
        "arithmetic",
    ));
}

/// Heights where the circuit was flown: what it leaves is what counts, and its height is the difference.
fn flown_heights(ranked: &RankedField, above: f64, list: &mut Vec<Working>) {
    let (Some(needed), Some(spare)) = (ranked.circuit_height_m, ranked.spare_height_m) else { return };
    list.push(working(
        "spare height",
        Quantity::HeightAtLeast(spare),
        "height that the circuit which needs least leaves over the aiming point, flown from the aircraft's place",
        vec![("arrival height", Quantity::HeightAtLeast(above))],
        "simulation of a point mass with the glide curve, bank, roll and layered wind",
    ));
    list.push(working(
        "circuit height",
        Quantity::HeightAtMost(needed),
        "arrival height − spare height: less than a circuit from overhead where a shorter join serves",
        vec![("arrival height", Quantity::HeightAtLeast(above)), ("spare height", Quantity::HeightAtLeast(spare))],
        "arithmetic",
    ));
}

fn slopes(strip: &StripVerdict, study: &FieldStudy, list: &mut Vec<Working>) {
    let (Some(slope), Some(across), Some(error)) = (strip.slope, strip.cross_slope, strip.slope_error) else { return };
    let point = study.accuracy.map_or(f64::NAN, |a| a.point_to_point_m);
    list.push(working(
        "slope",
        Quantity::Slope(slope),
        "mean plane of the terrain under the strip, along the heading; ± error between posts ÷ length",
        vec![
            ("error between posts", Quantity::Height(point)),
            ("strip length", Quantity::Length(strip.length_m)),
            ("standard error of the slope", Quantity::Slope(error)),
        ],
        "least squares; the terrain's stated accuracy",
    ));
    list.push(working(
        "slope across",
        Quantity::Slope(across),
        "the same plane, across the heading, rising to the right",
        vec![("roughness", Quantity::Height(strip.roughness_m.unwrap_or(f64::NAN)))],
        "least squares",
    ));
}
