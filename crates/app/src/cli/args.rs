//! What can be typed behind `sparefield`.
//!
//! Values stay text here; [`super::inputs`] reads them, so that every mistake is answered with the same kind of
//! sentence wherever it is typed.

use super::page::PageArgs;
use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Emergency landing fields for light, draggy aircraft: what is in reach, in which order, and why.
///
/// Without a subcommand the window opens, on the sample area or on the files named. A training and planning aid, not
/// for navigation.
#[derive(Debug, Parser)]
#[command(name = "sparefield", version, args_conflicts_with_subcommands = true, max_term_width = 100)]
pub struct Cli {
    /// An area file, or terrain, field and hazard files, to open in the window.
    pub files: Vec<PathBuf>,
    /// What to do without a window.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// What can be done without a window.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Ranks the fields in reach, with the reasons.
    Rank(RankArgs),
    /// Writes where the aircraft can glide to and how high it arrives.
    Reach(ReachArgs),
    /// Flies the circuit into one field: join, legs, heights at every key position, touchdown and stop.
    Circuit(CircuitArgs),
    /// The least height everywhere that keeps fields in reach, and which share of the area a height covers.
    Options(OptionsArgs),
    /// Cover along a route: where no field is in reach, for how long, and which height would do.
    Route(RouteArgs),
    /// What is in reach when the engine stops after take-off, height by height.
    ClimbOut(ClimbOutArgs),
    /// Writes the area card: a map with every field numbered, where no field is in reach, all fields, climb-outs.
    Card(CardArgs),
    /// Writes one field on one page: usable length for every wind, strips, slope, approach, and what was assumed.
    Sheet(SheetArgs),
    /// Suggests fields nobody has drawn, from terrain, land cover and a surface model: places to look at, unverified.
    Suggest(SuggestArgs),
    /// Lists the fields that need a look, in the order of a walk or flight from home, to print and tick off.
    CheckRound(CheckRoundArgs),
    /// Rehearses a failure: the engine stops, the clock runs, you choose, and what you chose is flown and scored.
    Drill(DrillArgs),
    /// Fan stops at the home strip: from which heights and headings a circuit onto it works in this wind, and what a
    /// pilot practised of it.
    FanStops(FanStopsArgs),
    /// Goes through the practice failures of recorded flights: what was done, and what else could have been.
    Debrief(DebriefArgs),
    /// Tells the glide curve from recorded glides, with its uncertainty, against the aircraft file.
    Fit(FitArgs),
    /// Finds what is wrong, doubtful or not known yet in an area; exit code 1 when something is wrong.
    Check(CheckArgs),
    /// Compares two people's areas, difference by difference, and makes one of both.
    Merge(MergeArgs),
    /// Takes fields, hazards, quiet zones and boundary edges from files of any format.
    Import(ImportArgs),
    /// Writes fields, hazards, quiet zones and boundary edges for other programs.
    Export(ExportArgs),
}

/// Arguments of `fan-stops`.
#[derive(Debug, Args)]
pub struct FanStopsArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// The drill set, by its name (or the start of it) or identifier; the first with fan stops when left out.
    #[arg(long, value_name = "NAME")]
    pub set: Option<String>,
    /// Show what this pilot practised of it, too.
    #[arg(long, value_name = "NAME")]
    pub pilot: Option<String>,
    /// Aircraft and wind; the set's aircraft when left out.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// The page.
    #[command(flatten)]
    pub page: PageArgs,
    /// Print one JSON document (SI units, unit in the key, degrees from true north).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `debrief`.
#[derive(Debug, Args)]
pub struct DebriefArgs {
    /// Recorded flights: GPX, IGC, NMEA, KML or CSV.
    #[arg(value_name = "TRACK", required = true)]
    pub tracks: Vec<PathBuf>,
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// Aircraft and wind; without a wind, what the turns of the flight tell is taken.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// Mark flying lower than this above the ground; 500 ft when left out.
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true)]
    pub low: Option<String>,
    /// Write the debrief here with its pictures: HTML for a browser, PDF to print, or PNG pictures, by the ending of the
    /// name.
    #[arg(long, value_name = "FILE.html|.pdf|.png")]
    pub report: Option<PathBuf>,
    /// Print one JSON document (SI units, unit in the key, degrees from true north, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `fit`.
#[derive(Debug, Args)]
pub struct FitArgs {
    /// Recorded flights with glides at several speeds: GPX, IGC, NMEA, KML or CSV.
    #[arg(value_name = "TRACK", required = true)]
    pub tracks: Vec<PathBuf>,
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// The aircraft to compare with: one of the examples by name (or the start of it), or an aircraft file.
    #[arg(long, value_name = "NAME|FILE.toml")]
    pub aircraft: Option<String>,
    /// Print one JSON document (SI units, unit in the key).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// Surveys older than this many days are out of date.
    #[arg(long, value_name = "DAYS", default_value = "365d")]
    pub since: String,
    /// The day for which surveys are judged; today when left out.
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub date: Option<String>,
    /// The folder in which photographs of fields are looked for; they are not looked for when left out.
    #[arg(long, value_name = "FOLDER")]
    pub photographs: Option<PathBuf>,
    /// Print one JSON document (positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `drill`.
#[derive(Debug, Args)]
pub struct DrillArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// The drill set, by its name (or the start of it) or identifier; the first when left out.
    #[arg(long, value_name = "NAME")]
    pub set: Option<String>,
    /// Drill sets from a document that was handed out, instead of those of the area.
    #[arg(long, value_name = "FILE.json")]
    pub sets: Option<PathBuf>,
    /// The number of the drill, from 1; when left out one is drawn, of what you are weak at more often.
    #[arg(long, value_name = "N")]
    pub number: Option<u32>,
    /// Seed of the number that is drawn.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub seed: u64,
    /// List the drill sets.
    #[arg(long, conflicts_with_all = ["number", "choose", "progress"])]
    pub list: bool,
    /// Show how this pilot does over time.
    #[arg(long, requires = "pilot")]
    pub progress: bool,
    /// Who flies; with an area file the result is kept there under this name.
    #[arg(long, value_name = "NAME")]
    pub pilot: Option<String>,
    /// Choose this field (its number in the list, identifier or name; with a landing direction in degrees from true
    /// north, or "none") instead of being asked; again for a change of mind.
    #[arg(long, value_name = "FIELD[:DIR]", requires = "after")]
    pub choose: Vec<String>,
    /// So many seconds after the engine stopped; one for each --choose.
    #[arg(long, value_name = "SECONDS", requires = "choose", allow_hyphen_values = true)]
    pub after: Vec<String>,
    /// The join to fly: straight in, base, downwind, crosswind or overhead.
    #[arg(long, value_name = "JOIN")]
    pub join: Option<String>,
    /// The hand to fly.
    #[arg(long, value_name = "left|right")]
    pub hand: Option<String>,
    /// Write drill sets and results here as a document to hand out; they can be read with --sets.
    #[arg(long, value_name = "FILE.json", conflicts_with_all = ["number", "choose", "progress"])]
    pub export: Option<PathBuf>,
    /// The day of the drill, for which surveys are judged; today when left out.
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub date: Option<String>,
    /// Print one JSON document (SI units, unit in the key, degrees from true north, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `merge`.
#[derive(Debug, Args)]
pub struct MergeArgs {
    /// Mine: an area file (GeoPackage), or fields or hazards (Shapefile, GeoJSON, KML, GeoPackage, GPX). It is never written to.
    pub mine: PathBuf,
    /// Theirs: another such file, of any of these kinds; may be in another reference system.
    pub theirs: PathBuf,
    /// What both came from: a backup, or the copy that was handed out. With it, what one side alone changed is taken.
    #[arg(long, value_name = "ANCESTOR")]
    pub base: Option<PathBuf>,
    /// Whose version is taken where they differ: mine, theirs, or by the rules (the newer survey for what grows, what
    /// only one knows, nothing of mine deleted).
    #[arg(long, value_name = "mine|theirs|newer", default_value = "newer")]
    pub take: String,
    /// Write what was made of both here: a new area file where mine is one, else GeoJSON; without it, differences are
    /// only listed.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// The projected system to compare in; that of my area file, or the UTM zone, when left out.
    #[arg(long, value_name = "EPSG:n")]
    pub crs: Option<String>,
    /// Print one JSON document (positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `import`.
#[derive(Debug, Args)]
pub struct ImportArgs {
    /// Shapefiles, GeoJSON, KML, KMZ, GeoPackage or GPX.
    #[arg(value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,
    /// The area file to add to (made when it is not there), or a new GeoJSON file.
    #[arg(long, value_name = "AREA.gpkg|OUT.geojson", required_unless_present = "preview")]
    pub into: Option<PathBuf>,
    /// Only look: print the layers, columns and what they probably mean, and write nothing.
    #[arg(long)]
    pub preview: bool,
    /// Only this layer of a file with several.
    #[arg(long, value_name = "NAME")]
    pub layer: Option<String>,
    /// What the records are; told from the file when left out.
    #[arg(long, value_name = "fields|hazards|edges|mixed")]
    pub what: Option<String>,
    /// What a column means: id, name, surface, stock, surveyed, notes, edges, kind, height, below, protects, field, keep
    /// or leave-out; may be repeated.
    #[arg(long, value_name = "COLUMN=MEANING")]
    pub map: Vec<String>,
    /// Which surface a word of the file stands for, such as "Grünland=grazed grass"; may be repeated.
    #[arg(long, value_name = "WORD=SURFACE")]
    pub surface: Vec<String>,
    /// The unit of heights that state none.
    #[arg(long, value_name = "m|ft")]
    pub height_unit: Option<String>,
    /// The order of dates such as 3/4/2026.
    #[arg(long, value_name = "day-first|month-first")]
    pub dates: Option<String>,
    /// The reference system of the files; it wins over what they state.
    #[arg(long, value_name = "EPSG:n")]
    pub crs: Option<String>,
    /// Take outlines and hazards that are there already once more.
    #[arg(long)]
    pub keep_duplicates: bool,
    /// Print one JSON document.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `export`.
#[derive(Debug, Args)]
pub struct ExportArgs {
    /// The area file to read; without it and without --terrain, the sample area.
    pub area_file: Option<PathBuf>,
    /// The area, when it is put together from files.
    #[command(flatten)]
    pub area: AreaArgs,
    /// Where to write; the ending chooses the format: .geojson, .shp, .kml, .kmz, .gpkg or .gpx.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// What to write; several separated by commas.
    #[arg(long, value_name = "fields|hazards|edges|quiet-zones|all", default_value = "all")]
    pub what: String,
    /// Print one JSON document.
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `rank`.
#[derive(Debug, Args)]
pub struct RankArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// The aircraft's state.
    #[command(flatten)]
    pub state: StateArgs,
    /// Aircraft and wind.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// Print one JSON document (SI units, unit in the key, degrees from true north, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `reach`.
#[derive(Debug, Args)]
pub struct ReachArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// The aircraft's state.
    #[command(flatten)]
    pub state: StateArgs,
    /// Aircraft and wind.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// Write the arrival height above mean sea level here, as a GeoTIFF in metres (float32).
    #[arg(long, value_name = "FILE.tif")]
    pub out: Option<PathBuf>,
    /// Write contours of spare height here, as GeoJSON in longitude and latitude.
    #[arg(long, value_name = "FILE.geojson")]
    pub rings: Option<PathBuf>,
    /// Print one JSON document (SI units, unit in the key, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `circuit`.
#[derive(Debug, Args)]
pub struct CircuitArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// The aircraft's state.
    #[command(flatten)]
    pub state: StateArgs,
    /// Aircraft and wind.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// The field to land in, by its identifier or its name; the first of the ranking when left out.
    #[arg(long, value_name = "ID")]
    pub field: Option<String>,
    /// The landing direction, degrees from true north; the strip nearest to it is taken.
    #[arg(long, value_name = "DEG")]
    pub strip: Option<String>,
    /// How the circuit begins: straight in, base, downwind, crosswind or overhead; any when left out.
    #[arg(long, value_name = "JOIN")]
    pub join: Option<String>,
    /// Which way it turns: left or right; the better when left out.
    #[arg(long, value_name = "HAND")]
    pub hand: Option<String>,
    /// Pass low over quiet zones where no other circuit works.
    #[arg(long)]
    pub over_quiet_zones: bool,
    /// How many times the circuit is flown by a pilot who is not exact, in wind that is not as forecast, at most a million.
    #[arg(long, value_name = "N", default_value_t = crate::circuits::many::SAMPLES as u64, value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub samples: u64,
    /// Write the flown track here, as GeoJSON with heights or as a GPX track, by the name's ending.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Print one JSON document (SI units, unit in the key, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// What counts as cover.
#[derive(Debug, Args)]
pub struct CoverArgs {
    /// How many fields must be in reach: 1, 2 or 3.
    #[arg(long, value_name = "1|2|3", default_value_t = 1)]
    pub fields_needed: usize,
    /// Count only fields that somebody looked at since: days such as 90d, a date, or ever.
    #[arg(long, value_name = "DAYS|DATE|ever", allow_hyphen_values = true)]
    pub looked_at_since: Option<String>,
}

/// Arguments of `options`.
#[derive(Debug, Args)]
pub struct OptionsArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// What counts.
    #[command(flatten)]
    pub choice: CoverArgs,
    /// Say which share of the area is covered from this height above the ground.
    #[arg(long, value_name = "HEIGHT")]
    pub at_height: Option<String>,
    /// Aircraft and wind.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// Take so many winds about the one given, 10 to 1000, for a wind that is not known exactly: which share of them covers
    /// each place, and the height that does in nine of ten.
    #[arg(long, value_name = "N")]
    pub winds: Option<usize>,
    /// How far the speed of the wind may be out, one standard deviation; 1.6 m/s when left out.
    #[arg(long, value_name = "SPEED", requires = "winds")]
    pub wind_speed_doubt: Option<String>,
    /// How far the direction of the wind may be out, one standard deviation; 30 degrees when left out.
    #[arg(long, value_name = "ANGLE", requires = "winds")]
    pub wind_direction_doubt: Option<String>,
    /// List the fields worth looking at: those that nobody looked at for too long, by the ground that each would cover from
    /// the height of --at-height if it turned out usable.
    #[arg(long)]
    pub surveys: bool,
    /// Write the least height above mean sea level here, as a GeoTIFF in metres (float32); with --winds that which is
    /// enough in nine winds of ten.
    #[arg(long, value_name = "FILE.tif")]
    pub out: Option<PathBuf>,
    /// Write the share of winds in which each place is covered from the height of --at-height here, as a GeoTIFF, 0 to 1.
    #[arg(long, value_name = "FILE.tif", requires = "winds")]
    pub share_out: Option<PathBuf>,
    /// Write how many fields are in reach from the height of --at-height here, as a GeoTIFF, up to --fields-needed.
    #[arg(long, value_name = "FILE.tif")]
    pub count_out: Option<PathBuf>,
    /// Write the land covered from the height of --at-height here, and the lines along which usual heights are just
    /// enough; the ending chooses the format: .geojson, .kml, .kmz or another that is written.
    #[arg(long, value_name = "FILE.geojson|.kml")]
    pub land_out: Option<PathBuf>,
    /// Print one JSON document (SI units, unit in the key, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `route`.
#[derive(Debug, Args)]
pub struct RouteArgs {
    /// A file with one line: a route or a track in GPX, or a line of any other format that can be read.
    #[arg(value_name = "FILE.gpx", required_unless_present = "from", conflicts_with = "from")]
    pub file: Option<PathBuf>,
    /// Find a route from here that stays covered, or else is without cover for as short as can be.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true, requires = "to")]
    pub from: Option<String>,
    /// To here.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true, requires = "from")]
    pub to: Option<String>,
    /// Past here on the way; may be given several times, in order.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true, requires = "from")]
    pub via: Vec<String>,
    /// Write the route found here, for a receiver.
    #[arg(long, value_name = "FILE.gpx", requires = "from")]
    pub out: Option<PathBuf>,
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// What counts.
    #[command(flatten)]
    pub choice: CoverArgs,
    /// Height above the ground at which it is flown.
    #[arg(long, value_name = "HEIGHT", conflicts_with = "height_amsl")]
    pub height: Option<String>,
    /// Height above mean sea level at which it is flown.
    #[arg(long, value_name = "HEIGHT")]
    pub height_amsl: Option<String>,
    /// Airspeed at which it is flown; the gliding speed when left out.
    #[arg(long, value_name = "SPEED")]
    pub speed: Option<String>,
    /// Aircraft and wind.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// Print one JSON document (SI units, unit in the key, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `climb-out`.
#[derive(Debug, Args)]
pub struct ClimbOutArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// The runway that is taken off from, by its name such as 24 or its direction such as 240; the one most into the
    /// wind when left out.
    #[arg(long, value_name = "NN|DEG")]
    pub runway: Option<String>,
    /// Height from one line to the next, from 50 ft to 1500 ft above the runway.
    #[arg(long, value_name = "HEIGHT", default_value = "100ft")]
    pub step: String,
    /// Angle of climb in still air, as the aircraft's handbook gives it; 7 degrees when left out.
    #[arg(long, value_name = "ANGLE")]
    pub climb: Option<String>,
    /// Aircraft and wind.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// The page.
    #[command(flatten)]
    pub page: PageArgs,
    /// Print one JSON document (SI units, unit in the key, degrees from true north, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `card`.
#[derive(Debug, Args)]
pub struct CardArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// Heights above the ground of the small maps that show where no field is in reach, up to four.
    #[arg(long, value_name = "HEIGHT,…", default_value = "1000ft,2000ft")]
    pub heights: String,
    /// Aircraft and wind.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// The pages.
    #[command(flatten)]
    pub page: PageArgs,
    /// Write the fields with their numbers and what was found of them here: .gpx for waypoints, .kml or .geojson for
    /// outlines.
    #[arg(long, value_name = "FILE.gpx|.kml|.geojson")]
    pub fields_out: Option<PathBuf>,
    /// Print one JSON document (SI units, unit in the key, degrees from true north, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `sheet`.
#[derive(Debug, Args)]
pub struct SheetArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// The field, by its identifier or its name.
    #[arg(long, value_name = "ID")]
    pub field: String,
    /// Another field beside it.
    #[arg(long, value_name = "ID")]
    pub compare: Option<String>,
    /// Aircraft and wind.
    #[command(flatten)]
    pub conditions: ConditionArgs,
    /// The page.
    #[command(flatten)]
    pub page: PageArgs,
    /// Print one JSON document (SI units, unit in the key, degrees from true north).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `suggest`.
#[derive(Debug, Args)]
pub struct SuggestArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// Middle of the search as latitude,longitude; with terrain of your own also the middle of what is loaded.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub at: Option<String>,
    /// Search only this far east, west, north and south of --at (of the home strip of the sample area).
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub within: Option<String>,
    /// Land-cover map: a GeoTIFF of class numbers.
    #[arg(long, value_name = "FILE.tif")]
    pub land_cover: Option<PathBuf>,
    /// What the classes of the land-cover map mean; those of ESA WorldCover when left out.
    #[arg(long, value_name = "FILE.toml", requires = "land_cover")]
    pub classes: Option<PathBuf>,
    /// Surface model: heights with what stands on the ground, as terrain files; several make one.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub surface_model: Vec<PathBuf>,
    /// Suggest also where fields are known.
    #[arg(long)]
    pub ignore_fields: bool,
    /// One of the example aircraft by name (or the start of it), or an aircraft file.
    #[arg(long, value_name = "NAME|FILE.toml")]
    pub aircraft: Option<String>,
    /// General safety factor on the landing distance.
    #[arg(long, value_name = "FACTOR", allow_hyphen_values = true)]
    pub safety_factor: Option<String>,
    /// Length a field must offer, instead of what the aircraft needs with its margins.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub length: Option<String>,
    /// Width of the strip, instead of the aircraft's with its margins.
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub width: Option<String>,
    /// Most suggestions, best first.
    #[arg(long, value_name = "N", default_value_t = 500)]
    pub most: usize,
    /// Write the suggestions here, as GeoJSON that can be read back as fields.
    #[arg(long, value_name = "FILE.geojson")]
    pub out: Option<PathBuf>,
    /// Print one JSON document (SI units, unit in the key, degrees from true north, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `check-round`.
#[derive(Debug, Args)]
pub struct CheckRoundArgs {
    /// The area.
    #[command(flatten)]
    pub area: AreaArgs,
    /// Fields not looked at for so long, or since a day: 90d, 2026-09-01, ever, or whenever for all fields.
    #[arg(long, value_name = "DAYS|DATE|ever", default_value = "90d", allow_hyphen_values = true)]
    pub since: String,
    /// Only fields whose name, identifier, notes or crop hold these words.
    #[arg(long, value_name = "WORDS")]
    pub text: Option<String>,
    /// The day for which surveys are judged; today when left out.
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub date: Option<String>,
    /// The page.
    #[command(flatten)]
    pub page: PageArgs,
    /// Print one JSON document (SI units, unit in the key, degrees from true north, positions as [lon, lat]).
    #[arg(long)]
    pub json: bool,
}

/// Which land.
#[derive(Debug, Args)]
#[command(next_help_heading = "Area")]
pub struct AreaArgs {
    /// An area file (GeoPackage); terrain named beside it takes the place of its own.
    #[arg(long, value_name = "FILE.gpkg")]
    pub area: Option<PathBuf>,
    /// Terrain: GeoTIFF, HGT (also zipped) or Esri ASCII grid; several files make one surface. Without it, the sample
    /// area.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub terrain: Vec<PathBuf>,
    /// Fields: GeoJSON, Shapefile, KML, KMZ, GeoPackage or GPX.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub fields: Vec<PathBuf>,
    /// Hazards such as wires, masts and woods, in the same formats.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub hazards: Vec<PathBuf>,
    /// Lines along the sides of fields with what stands there (columns kind, height_m), in the same formats.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub edges: Vec<PathBuf>,
    /// The projected system to compute in; the UTM zone when left out.
    #[arg(long, value_name = "EPSG:n")]
    pub crs: Option<String>,
    /// Side of a terrain cell; that of the terrain files when left out.
    #[arg(long, value_name = "METRES", allow_hyphen_values = true)]
    pub grid: Option<String>,
}

/// Where the engine stops.
#[derive(Debug, Args)]
#[command(next_help_heading = "State")]
pub struct StateArgs {
    /// Position as latitude,longitude; the home strip of the sample area when left out.
    #[arg(long, value_name = "LAT,LON", allow_hyphen_values = true)]
    pub at: Option<String>,
    /// Height above the ground there, such as 1500ft or 450m.
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true, conflicts_with = "height_amsl")]
    pub height: Option<String>,
    /// Height above mean sea level instead.
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true)]
    pub height_amsl: Option<String>,
    /// Heading in degrees from true north, or "any" to leave out the first turn.
    #[arg(long, value_name = "DEG|any", default_value = "any", allow_hyphen_values = true)]
    pub heading: String,
}

/// The height above ground taken when none is named.
pub const DEFAULT_HEIGHT: &str = "1500 ft";

/// Which aircraft, in which wind, by which rules.
#[derive(Debug, Args)]
#[command(next_help_heading = "Aircraft and wind")]
pub struct ConditionArgs {
    /// One of the example aircraft by name (or the start of it), or an aircraft file.
    #[arg(long, value_name = "NAME|FILE.toml")]
    pub aircraft: Option<String>,
    /// Wind at 10 m above the ground, where it comes from (true) and its speed in knots or a unit: 250/12, 250/20mph,
    /// 25012G20KT, calm.
    #[arg(long, value_name = "DIR/SPEED", allow_hyphen_values = true)]
    pub wind: Option<String>,
    /// Wind at a height above mean sea level, such as 2000ft:270/25; may be repeated.
    #[arg(long, value_name = "HEIGHT:DIR/SPEED", allow_hyphen_values = true)]
    pub wind_aloft: Vec<String>,
    /// How the surface wind grows with height: log (over open grass), power (exponent 0.15), or uniform.
    #[arg(long, value_name = "log|power|uniform", default_value = "log")]
    pub wind_profile: String,
    /// How far an obstacle under the approach moves the landing end: by the glide over it, or 8 or 10 times its height.
    #[arg(long, value_name = "glide|8|10", default_value = "glide")]
    pub obstacle_rule: String,
    /// General safety factor on the landing distance.
    #[arg(long, value_name = "FACTOR", allow_hyphen_values = true)]
    pub safety_factor: Option<String>,
    /// The day for which surveys are judged; today when left out.
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub date: Option<String>,
    /// Seed for random numbers: the flights of `circuit` by a pilot who is not exact draw some, nothing else does.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub seed: u64,
}
