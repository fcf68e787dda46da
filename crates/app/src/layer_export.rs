//! The one core behind exports of the options map and of judged fields: rasters, lines, covered land, outlines and
//! waypoints for other programs, each with the cautions in the document.

use crate::area_card::{Row, why_out};
use crate::not_looked_at;
use crate::options_map::OptionsMap;
use serde_json::{Value, json};
use sparefield_data::area::Area;
use sparefield_data::quantity::{HeightUnit, UnitPrefs, format_bearing, format_day};
use sparefield_data::vector::{ExportFeature, ExportLayer, ExportShape, Format};
use sparefield_geometry::contour::{Patch, contours, patches};
use sparefield_geometry::fields::model::Day;
use sparefield_geometry::fields::verdict::Verdict;
use sparefield_geometry::grid::GridFrame;
use sparefield_geometry::position::{Bearing, Xy};

/// Heights above the ground whose lines are drawn and written, feet and metres: what is flown in circuits and across
/// country.
const LINES_FT: [f64; 4] = [1_000.0, 1_500.0, 2_000.0, 3_000.0];
const LINES_M: [f64; 4] = [300.0, 450.0, 600.0, 900.0];
const FOOT_M: f64 = 0.304_8;
/// So far above and below a height it counts how far, metres: farther off, the boundary of covered land keeps close to the
/// last cell that is covered.
const BOUNDARY_M: f64 = 50.0;

/// The heights whose lines are drawn and written, metres above the ground.
#[must_use]
pub fn line_heights_m(unit: HeightUnit) -> [f64; 4] {
    match unit {
        HeightUnit::Ft => LINES_FT.map(|ft| ft * FOOT_M),
        HeightUnit::M => LINES_M,
    }
}

/// For each least height above sea level the height above the ground that is enough, metres: infinite where none is, `NaN`
/// where the ground is not known.
#[must_use]
pub fn enough_agl_m(map: &OptionsMap, least_amsl_m: &[f32]) -> Vec<f32> {
    let one = |(least, ground): (&f32, &f32)| match (least.is_nan(), ground.is_nan()) {
        (_, true) => f32::NAN,
        (true, false) => f32::INFINITY,
        (false, false) => (least - ground).max(0.0),
    };
    least_amsl_m.iter().zip(&map.area.terrain.heights_m).map(one).collect()
}

/// How many fields are in reach from a height above the ground, up to as many as the map was asked for; `NaN` where the
/// ground is not known.
#[must_use]
pub fn count_raster(map: &OptionsMap, height_agl_m: f64) -> Vec<f32> {
    let each: Vec<Vec<f32>> =
        (1..=map.least.fields_needed()).map(|n| enough_agl_m(map, &map.least.raster(n))).collect();
    let count = |cell: usize| {
        let known = each.first().is_some_and(|first| !first[cell].is_nan());
        let covered = each.iter().filter(|enough| f64::from(enough[cell]) <= height_agl_m).count();
        if known { covered as f32 } else { f32::NAN }
    };
    (0..map.least.frame.len()).map(count).collect()
}

/// Lines along which a height above the ground is just enough.
#[must_use]
pub fn lines_at(frame: &GridFrame, enough_agl_m: &[f32], height_agl_m: f64) -> Vec<Vec<Xy>> {
    // Where no height does, more than any that is drawn.
    let at = |row: usize, col: usize| match enough_agl_m[row * frame.cols + col] {
        unknown if unknown.is_nan() => f64::NAN,
        enough => f64::from(enough.min(f32::MAX / 2.0)),
    };
    contours(frame, at, height_agl_m)
}

/// Land that is covered from a height above the ground.
#[must_use]
pub fn covered_land(frame: &GridFrame, enough_agl_m: &[f32], height_agl_m: f64) -> Vec<Patch> {
    let over = |row: usize, col: usize| height_agl_m - f64::from(enough_agl_m[row * frame.cols + col]);
    patches(frame, over, 0.0, BOUNDARY_M)
}

/// What the land covered from a height and the lines of the usual heights are made from.
#[derive(Clone, Copy, Debug)]
pub struct Covered<'a> {
    /// The map.
    pub map: &'a OptionsMap,
    /// Least heights above sea level that count instead of the map's, such as in nine winds of ten.
    pub instead: Option<&'a [f32]>,
    /// The height above the ground, metres.
    pub height_agl_m: f64,
    /// The unit of the lines.
    pub unit: HeightUnit,
}

/// The land covered from a height, and the lines along which the usual heights and that one are just enough.
#[must_use]
pub fn lines_and_land(of: &Covered<'_>) -> Vec<ExportLayer> {
    let map = of.map;
    let (frame, needed) = (&map.least.frame, map.least.fields_needed());
    let enough = match of.instead {
        Some(least) => enough_agl_m(map, least),
        None => enough_agl_m(map, &map.least.raster(needed)),
    };
    let units = UnitPrefs { height: of.unit, ..UnitPrefs::default() };
    let wind = map.wind.surface;
    let place = map.area.home.as_ref().map_or_else(|| map.area.centre(), |home| home.position);
    let from_deg = wind.from_bearing().map(|from| map.area.to_true(from, place).deg().round());
    let common = |what: &str, height_m: f64| -> Vec<(String, Value)> {
        let words = units.format_height(height_m).replace('\u{a0}', " ");
        vec![
            ("name".into(), json!(format!("{what} {words} above the ground"))),
            ("height_agl_m".into(), json!(to_a_tenth(height_m))),
            ("fields_needed".into(), json!(needed)),
            ("winds".into(), json!(if of.instead.is_some() { "nine of ten" } else { "as given" })),
            ("wind_from_deg".into(), json!(from_deg)),
            ("wind_speed_ms".into(), json!(to_a_tenth(wind.speed_ms()))),
            ("aircraft".into(), json!(map.conditions.aircraft.name)),
            ("day".into(), json!(format_day(map.conditions.today))),
        ]
    };
    let land = covered_land(frame, &enough, of.height_agl_m).into_iter().map(|patch| {
        let mut properties = common("covered from", of.height_agl_m);
        // Rounded down: cover is not to be flattered.
        properties.push(("area_m2".into(), json!(patch.area_m2().floor())));
        ExportFeature {
            id: String::new(),
            shape: ExportShape::Area { outer: patch.outer, holes: patch.holes },
            properties,
        }
    });
    let mut heights = line_heights_m(of.unit).to_vec();
    if heights.iter().all(|h| (h - of.height_agl_m).abs() > 0.5) {
        heights.push(of.height_agl_m);
        heights.sort_by(f64::total_cmp);
    }
    let lines = heights.into_iter().filter_map(|height_m| {
        let lines = lines_at(frame, &enough, height_m);
        let shape = ExportShape::Lines(lines);
        (shape != ExportShape::Lines(Vec::new())).then(|| ExportFeature {
            id: String::new(),
            shape,
            properties: common("in reach from", height_m),
        })
    });
    let layers =
        [ExportLayer::new("covered land", land.collect()), ExportLayer::new("lines of least height", lines.collect())];
    layers.into_iter().filter(|layer| !layer.features.is_empty()).collect()
}

/// Sentences that stand in a document of the options map.
#[must_use]
pub fn cautions_of_map(map: &OptionsMap) -> Vec<String> {
    not_looked_at::options_map_cautions(map)
}

/// Sentences that stand in a document of judged fields.
#[must_use]
pub fn cautions_of_fields(area: &Area, wind_words: &str, aircraft: &str, today: Day) -> Vec<String> {
    let basis = format!(
        "Judged for {aircraft}, wind {wind_words}, {}, with height in plenty. Another wind, another day or another \
         aircraft is another judgement.",
        format_day(today)
    );
    std::iter::once(basis).chain(not_looked_at::ranking_cautions(area)).collect()
}

/// Fields with what was found of them for the present wind: outlines, or waypoints in their middle for GPX.
#[must_use]
pub fn judged_fields(format: Format, area: &Area, rows: &[Row], units: UnitPrefs) -> Vec<ExportLayer> {
    let feature = |row: &Row| {
        let field = &area.fields[row.judged.index];
        let mut properties: Vec<(String, Value)> = Vec::new();
        let mut put = |key: &str, value: Value| properties.push((key.to_owned(), value));
        put("name", json!(format!("{} {}", row.number, field.label())));
        put("number", json!(row.number));
        put("id", json!(field.id));
        put("verdict", json!(row.judged.verdict.words()));
        if let Some(strip) = row.judged.strip.as_ref() {
            let convergence = area.convergence_rad(field.centroid());
            let heading = Bearing::from_rad(strip.heading.rad() + convergence);
            put("land_deg", json!(heading.deg().round()));
            put("land", json!(format_bearing(heading)));
            // Rounded down, and what is needed up.
            put("usable_length_m", json!(strip.usable_length_m.floor()));
            put("needed_length_m", json!(strip.needed_length_m.ceil()));
            put("usable", json!(units.format_length_at_least(strip.usable_length_m).replace('\u{a0}', " ")));
        }
        if row.judged.verdict == Verdict::Out
            && let Some(why) = why_out(area, row, units)
        {
            put("why_out", json!(why));
        }
        put("surface", json!(field.surface.words()));
        put("last_looked_at", json!(field.surveyed.map_or_else(|| "never".to_owned(), format_day)));
        let shape = match format {
            Format::Gpx => ExportShape::Point(field.centroid()),
            _ => ExportShape::Area { outer: field.outer.clone(), holes: field.holes.clone() },
        };
        ExportFeature { id: field.id.clone(), shape, properties }
    };
    vec![ExportLayer::new("fields judged for this wind", rows.iter().map(feature).collect())]
}

fn to_a_tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}
