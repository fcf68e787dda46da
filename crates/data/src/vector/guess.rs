//! What columns, words and layers of a file probably mean. A guess is shown and can be changed; it never turns a word
//! that could mean two surfaces into one of them.

use super::mapping::{Meaning, Purpose};
use super::record::{Layer, Shape, text_of};
use crate::quantity::parse_day;
use serde_json::Value;
use sparefield_geometry::fields::model::{EdgeKind, HazardKind, Surface};

/// Names that columns of one meaning have in English, German, French, Spanish, Italian, Dutch, Polish and Russian; written
/// without accents. Dictionary words, no source.
const NAMES: [(Meaning, &[&str]); 11] = [
    (
        Meaning::Id,
        &[
            "id",
            "fid",
            "identifier",
            "objectid",
            "gid",
            "uid",
            "uuid",
            "kennung",
            "nummer",
            "nr",
            "code",
            "numero",
            "identifiant",
        ],
    ),
    (
        Meaning::Name,
        &[
            "name",
            "fieldname",
            "title",
            "label",
            "bezeichnung",
            "feldname",
            "schlag",
            "schlagname",
            "flurname",
            "nom",
            "nombre",
            "nome",
            "naam",
            "nazwa",
            "название",
            "имя",
            "наименование",
        ],
    ),
    (
        Meaning::Surface,
        &[
            "surface",
            "landuse",
            "landcover",
            "landcovertype",
            "crop",
            "cover",
            "groundcover",
            "nutzung",
            "bewuchs",
            "kultur",
            "fruchtart",
            "culture",
            "occupation",
            "couverture",
            "cultivo",
            "uso",
            "coltura",
            "gewas",
            "uprawa",
            "культура",
            "покрытие",
        ],
    ),
    (
        Meaning::Stock,
        &[
            "stock",
            "livestock",
            "animals",
            "cattle",
            "vieh",
            "tiere",
            "weidetiere",
            "betail",
            "animaux",
            "ganado",
            "bestiame",
            "vee",
        ],
    ),
    (
        Meaning::Surveyed,
        &[
            "surveyed",
            "surveydate",
            "date",
            "visited",
            "checked",
            "lastseen",
            "datum",
            "begangen",
            "geprueft",
            "fecha",
            "data",
            "дата",
        ],
    ),
    (
        Meaning::Notes,
        &[
            "notes",
            "note",
            "remark",
            "remarks",
            "comment",
            "comments",
            "description",
            "desc",
            "cmt",
            "bemerkung",
            "bemerkungen",
            "notiz",
            "beschreibung",
            "remarque",
            "commentaire",
            "notas",
            "opmerking",
            "uwagi",
            "примечание",
            "описание",
        ],
    ),
    (Meaning::Edges, &["edges"]),
    (
        Meaning::Kind,
        &["kind", "type", "class", "category", "art", "typ", "klasse", "tipo", "soort", "rodzaj", "тип", "вид"],
    ),
    (
        Meaning::Height,
        &[
            "height",
            "heightm",
            "heightft",
            "heightagl",
            "hgt",
            "hoehe",
            "hauteur",
            "altura",
            "altezza",
            "hoogte",
            "wysokosc",
            "высота",
        ],
    ),
    (Meaning::Below, &["belowagl", "belowaglm", "belowaglft", "belowm", "minheight", "minimumheight", "mindesthoehe"]),
    (Meaning::Protects, &["protects", "protected", "schuetzt"]),
];

/// Words for surfaces that mean one thing only. Words such as grassland, pasture or arable do not: they say what the
/// land is used for and not what grows there today.
const SURFACES: [(Surface, &[&str]); 7] = [
    (
        Surface::Stubble,
        &[
            "stubble",
            "stoppel",
            "stoppelfeld",
            "stoppeln",
            "chaume",
            "chaumes",
            "rastrojo",
            "stoppie",
            "rzysko",
            "стерня",
        ],
    ),
    (
        Surface::GrazedGrass,
        &[
            "grazed",
            "grazed grass",
            "short grass",
            "mown",
            "mown grass",
            "kurzes gras",
            "gemaht",
            "abgeweidet",
            "herbe rase",
            "prairie fauchee",
        ],
    ),
    (
        Surface::LongGrass,
        &[
            "long grass",
            "tall grass",
            "hohes gras",
            "herbe haute",
            "hierba alta",
            "erba alta",
            "lang gras",
            "высокая трава",
        ],
    ),
    (Surface::ShortCrop, &["short crop", "young crop", "junge saat", "jeune culture", "всходы"]),
    (Surface::TallCrop, &["tall crop", "standing crop", "hohe frucht", "culture haute"]),
    (
        Surface::Ploughed,
        &[
            "ploughed",
            "plowed",
            "plough",
            "bare soil",
            "gepflugt",
            "umgebrochen",
            "laboure",
            "arado",
            "arato",
            "geploegd",
            "zaorane",
            "пашня",
            "вспахано",
        ],
    ),
    (
        Surface::SoftOrWet,
        &["soft or wet", "wet", "soft", "boggy", "marsh", "nass", "sumpf", "sumpfig", "marecage", "mokre", "болото"],
    ),
];

/// Words of what stands along a side and is no hazard by itself; with them a layer of lines is one of sides.
const EDGE_WORDS: [&str; 6] = ["hedge", "fence", "wall", "tree line", "tree-line", "tree_line"];
/// Of the texts of a column, this share must be of one kind to tell its meaning.
const SHARE: f64 = 0.6;

/// Small letters without accents; German umlauts as in names without them.
fn folded(text: &str) -> String {
    let mut out = String::new();
    for c in text.trim().to_lowercase().chars() {
        match c {
            'ä' | 'á' | 'à' | 'â' | 'ã' | 'å' | 'ą' => out.push('a'),
            'é' | 'è' | 'ê' | 'ë' | 'ę' => out.push('e'),
            'í' | 'ì' | 'î' | 'ï' => out.push('i'),
            'ó' | 'ò' | 'ô' | 'õ' | 'ö' => out.push('o'),
            'ú' | 'ù' | 'û' | 'ü' => out.push('u'),
            'ñ' | 'ń' => out.push('n'),
            'ç' | 'ć' => out.push('c'),
            'ś' => out.push('s'),
            'ź' | 'ż' => out.push('z'),
            'ł' => out.push('l'),
            'ß' => out.push_str("ss"),
            '_' | '-' => out.push(' '),
            c => out.push(c),
        }
    }
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The surface that a text names without doubt.
pub(crate) fn surface(text: &str) -> Option<Surface> {
    let plain = folded(text);
    Surface::from_words(text)
        .or_else(|| SURFACES.iter().find(|(_, words)| words.contains(&plain.as_str())).map(|(surface, _)| *surface))
}

/// How well a column's name fits a meaning: 3 for the very name, 2 for one of its words, 1 for a slip of the pen.
fn name_fits(column: &str, names: &[&str]) -> u8 {
    let plain = folded(column).replace("oe", "o").replace("ue", "u").replace("ae", "a");
    let joined: String = plain.chars().filter(|c| c.is_alphanumeric()).collect();
    let same = |name: &str| name.replace("oe", "o").replace("ue", "u").replace("ae", "a");
    if names.iter().any(|n| same(n) == joined) {
        return 3;
    }
    if plain.split(|c: char| !c.is_alphanumeric()).any(|word| word.len() > 2 && names.iter().any(|n| same(n) == word)) {
        return 2;
    }
    u8::from(joined.chars().count() > 4 && names.iter().any(|n| n.len() > 4 && one_slip(&joined, &same(n))))
}

/// Whether two words differ by one letter that is missing, too many or another, or by a cut end.
fn one_slip(a: &str, b: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let (short, long) = if a.len() <= b.len() { (&a, &b) } else { (&b, &a) };
    let head = short.iter().zip(long).take_while(|(x, y)| x == y).count();
    let tail = short.iter().rev().zip(long.iter().rev()).take_while(|(x, y)| x == y).count();
    match long.len() - short.len() {
        0 | 1 => head + tail + 1 >= long.len(),
        _ => false,
    }
}

/// What a column holds, as far as the guess looks at it.
pub(crate) struct Seen<'a> {
    pub(crate) name: &'a str,
    /// Some of its values that are not empty.
    pub(crate) values: &'a [String],
}

/// The meaning of every column; each meaning goes to one column at most.
pub(crate) fn meanings(columns: &[Seen<'_>]) -> Vec<Meaning> {
    let mut out = vec![Meaning::Other; columns.len()];
    let mut free = vec![true; columns.len()];
    let mut given: Vec<Meaning> = Vec::new();
    // The names of our own files first, then what fits best.
    for (i, column) in columns.iter().enumerate() {
        if let Some(meaning) = Meaning::of_column(column.name).filter(|m| !given.contains(m)) {
            (out[i], free[i]) = (meaning, false);
            given.push(meaning);
        }
    }
    for least in [3, 2, 1] {
        for (meaning, names) in NAMES {
            if given.contains(&meaning) || (meaning == Meaning::Id && least < 3) {
                continue;
            }
            let found = columns
                .iter()
                .enumerate()
                .find(|(i, c)| free[*i] && name_fits(c.name, names) >= least && values_allow(meaning, c.values));
            if let Some((i, _)) = found {
                (out[i], free[i]) = (meaning, false);
                given.push(meaning);
            }
        }
    }
    for (i, column) in columns.iter().enumerate().filter(|(i, _)| free[*i]) {
        let by_values = [Meaning::Surface, Meaning::Kind, Meaning::Surveyed];
        if let Some(meaning) = by_values.into_iter().find(|m| !given.contains(m) && values_say(*m, column.values)) {
            out[i] = meaning;
            given.push(meaning);
        }
    }
    out
}

fn share(values: &[String], of: impl Fn(&str) -> bool) -> f64 {
    if values.is_empty() { 0.0 } else { values.iter().filter(|v| of(v)).count() as f64 / values.len() as f64 }
}

/// Whether a column can have a meaning that its name suggests.
fn values_allow(meaning: Meaning, values: &[String]) -> bool {
    let number = |v: &str| v.trim().replace(',', ".").split(' ').next().is_some_and(|n| n.parse::<f64>().is_ok());
    match meaning {
        _ if values.is_empty() => true,
        // A word for the land's class counts as a kind only when it names one.
        Meaning::Kind => values_say(Meaning::Kind, values),
        Meaning::Surface => share(values, number) < SHARE,
        Meaning::Height | Meaning::Below => share(values, |v| number(v) || v.ends_with(['m', 't'])) >= SHARE,
        Meaning::Surveyed => share(values, |v| v.chars().filter(char::is_ascii_digit).count() >= 5) >= SHARE,
        _ => true,
    }
}

/// Whether a column's values alone tell its meaning.
fn values_say(meaning: Meaning, values: &[String]) -> bool {
    let fits = |v: &str| match meaning {
        Meaning::Surface => surface(v).is_some_and(|s| s != Surface::Unknown),
        Meaning::Kind => is_hazard_word(v) || is_edge_word(v),
        Meaning::Surveyed => v.contains(['-', '.', '/']) && parse_day(v).is_ok(),
        _ => false,
    };
    share(values, fits) >= SHARE
}

fn is_hazard_word(text: &str) -> bool {
    let plain = text.trim().to_lowercase().replace(['-', '_'], " ");
    HazardKind::from_words(&plain).is_some()
        || matches!(plain.as_str(), "other" | "quiet zone" | "quiet" | "quiet area")
}

/// Whether a text names a kind of hazard, a quiet zone, or what stands on a side.
pub(crate) fn is_kind(text: &str) -> bool {
    is_hazard_word(text) || is_edge_word(text)
}

fn is_edge_word(text: &str) -> bool {
    EdgeKind::from_words(text).is_some_and(|k| k != EdgeKind::Unknown)
}

/// What the records of a layer are, by shapes, columns and words.
///
/// An outline is a field unless its columns are those of a hazard; points and lines are hazards, but for layers of
/// lines that speak of hedges, fences or walls: those are the sides of fields.
pub(crate) fn purpose(layer: &Layer, meaning: &dyn Fn(&str) -> Meaning) -> Purpose {
    let (mut points, mut lines, mut areas) = (false, false, false);
    let (mut field_columns, mut hazard_columns) = (false, false);
    let (mut edge_words, mut hazard_words) = (false, false);
    for record in &layer.records {
        kinds_of(&record.shape, &mut points, &mut lines, &mut areas);
        for (name, value) in record.columns.entries() {
            if matches!(value, Value::Null) {
                continue;
            }
            match meaning(name) {
                Meaning::Surface | Meaning::Stock | Meaning::Surveyed | Meaning::Edges => field_columns = true,
                Meaning::Height | Meaning::Below => hazard_columns = true,
                Meaning::Kind => {
                    hazard_columns = true;
                    let text = text_of(value).to_lowercase();
                    edge_words |= EDGE_WORDS.contains(&text.trim());
                    hazard_words |= is_hazard_word(&text);
                }
                _ => {}
            }
        }
    }
    if lines && !areas && !points && edge_words {
        Purpose::Edges
    } else if field_columns && areas {
        if hazard_words { Purpose::Mixed } else { Purpose::Fields }
    } else if layer.format == "GPX" && areas {
        // Outlines walked or written out; what each is, its type says.
        Purpose::Mixed
    } else if layer.format == "GPX" && !hazard_words {
        // Waypoints and tracks are anything, and rarely in the way.
        Purpose::Nothing
    } else if field_columns && !layer.records.is_empty() {
        Purpose::Fields
    } else if hazard_columns || !areas {
        Purpose::Hazards
    } else if points || lines {
        Purpose::Mixed
    } else {
        Purpose::Fields
    }
}

fn kinds_of(shape: &Shape, points: &mut bool, lines: &mut bool, areas: &mut bool) {
    match shape {
        Shape::Nothing => {}
        Shape::Points(_) => *points = true,
        Shape::Lines(_) => *lines = true,
        Shape::Polygons(_) | Shape::Rings(_) => *areas = true,
        Shape::Several(shapes) => shapes.iter().for_each(|s| kinds_of(s, points, lines, areas)),
    }
}

/// What one record of a mixed layer is; its columns are named as in files of our own.
pub(crate) fn record_purpose(shape: &Shape, entries: &[(String, Value)]) -> Purpose {
    let (mut points, mut lines, mut areas) = (false, false, false);
    kinds_of(shape, &mut points, &mut lines, &mut areas);
    let text = |name: &str| {
        let found = entries.iter().find(|(key, _)| key.trim().eq_ignore_ascii_case(name));
        found.map(|(_, value)| text_of(value)).filter(|t| !t.is_empty())
    };
    let kind = text("kind");
    if lines
        && !areas
        && (text("field").is_some() || kind.as_deref().is_some_and(|k| is_edge_word(k) && !is_hazard_word(k)))
    {
        return Purpose::Edges;
    }
    let below = ["below_agl_m", "below_agl_ft", "below_agl", "below_m"].into_iter().any(|name| text(name).is_some());
    if !areas || below || kind.as_deref().is_some_and(is_hazard_word) { Purpose::Hazards } else { Purpose::Fields }
}
