//! The table of a shapefile out, with widths as the data need them.
//!
//! Source: ESRI, *Shapefile Technical Description*, July 1998, and the dBASE III table file structure.

use super::export::{columns_of, plain_text};
use super::geojson_out::ExportFeature;
use super::record::Notes;
use crate::error::Warning;
use serde_json::Value;
use std::collections::HashSet;

/// The widest text that a table holds, bytes.
const WIDEST: usize = 254;
/// Letters of a column's name.
const LONGEST_NAME: usize = 10;
/// Columns that a table can have.
const MOST_COLUMNS: usize = 255;

/// Names that our own readers know in a shorter form.
const SHORT: [(&str, &str); 2] = [("below_agl_m", "below_m"), ("below_agl_ft", "below_agl")];

struct Column {
    source: String,
    name: String,
    /// Decimals of a number; `None` for text.
    decimals: Option<usize>,
    width: usize,
}

/// A table of the features' columns, and what did not fit into it.
pub(crate) fn table(features: &[&ExportFeature]) -> (Vec<u8>, Vec<Warning>) {
    let owned: Vec<ExportFeature> = features.iter().map(|f| (*f).clone()).collect();
    let mut warnings = Vec::new();
    let mut sources = columns_of(&owned);
    // What stands on the sides is longer than a table's text can be; it has a layer of lines of its own.
    if let Some(at) = sources.iter().position(|s| s == "edges") {
        sources.remove(at);
        let message = "what stands on the sides does not fit into its table; write the edges, too".to_owned();
        warnings.push(Warning { place: "column edges".into(), message });
    }
    if sources.len() > MOST_COLUMNS {
        let message = format!("a table holds {MOST_COLUMNS} columns; the rest were left out");
        warnings.push(Warning { place: String::new(), message });
        sources.truncate(MOST_COLUMNS);
    }
    let names = short_names(&sources);
    for (source, name) in sources.iter().zip(&names).filter(|(source, name)| source != name) {
        warnings
            .push(Warning { place: format!("column {source}"), message: format!("it is called “{name}” there") });
    }
    let columns: Vec<Column> =
        sources.into_iter().zip(names).map(|(source, name)| column(source, name, &owned)).collect();
    let mut cut = Notes::default();
    let cells: Vec<Vec<u8>> = owned.iter().map(|f| row(f, &columns, &mut cut)).collect();
    warnings.extend(cut.into_warnings());
    (bytes(&columns, &cells), warnings)
}

/// Names of ten letters at most, all different.
fn short_names(sources: &[String]) -> Vec<String> {
    let mut used: HashSet<String> =
        sources.iter().filter(|s| s.len() <= LONGEST_NAME).map(|s| s.to_uppercase()).collect();
    let mut own = HashSet::new();
    sources
        .iter()
        .map(|source| {
            if source.len() <= LONGEST_NAME && !source.is_empty() && own.insert(source.to_uppercase()) {
                return source.clone();
            }
            let known = SHORT.iter().find(|(long, _)| long == source).map(|(_, short)| (*short).to_owned());
            if let Some(short) = known.filter(|s| used.insert(s.to_uppercase())) {
                return short;
            }
            let mut n = 0_usize;
            loop {
                let suffix = if n == 0 { String::new() } else { format!("_{n}") };
                let name = format!("{}{suffix}", cut(source, LONGEST_NAME - suffix.len()));
                if !name.is_empty() && used.insert(name.to_uppercase()) {
                    return name;
                }
                n += 1;
            }
        })
        .collect()
}

/// The longest beginning of a text that fits into a number of bytes.
fn cut(text: &str, most: usize) -> &str {
    let mut end = most.min(text.len());
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    &text[..end]
}

fn value<'a>(feature: &'a ExportFeature, source: &str) -> Option<&'a Value> {
    let found = feature.properties.iter().find(|(name, _)| name == source).map(|(_, value)| value);
    found.filter(|v| !v.is_null())
}

fn column(source: String, name: String, features: &[ExportFeature]) -> Column {
    let values: Vec<_> = features.iter().filter_map(|f| value(f, &source)).collect();
    let numbers = !values.is_empty() && values.iter().all(|v| v.is_number());
    let texts: Vec<String> = values.iter().map(|v| plain_text(v)).collect();
    let widest = texts.iter().map(String::len).max().unwrap_or(1).clamp(1, WIDEST);
    let decimals = |text: &String| text.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    let plain = texts.iter().all(|t| !t.contains(['e', 'E']));
    if numbers && plain && widest <= 19 {
        let most = texts.iter().map(decimals).max().unwrap_or(0);
        let whole = texts.iter().map(|t| t.split('.').next().map_or(0, str::len)).max().unwrap_or(1);
        let width = if most == 0 { whole } else { whole + 1 + most };
        // More digits than a number's cell holds stay text and lose nothing.
        if width <= 19 {
            return Column { source, name, decimals: Some(most), width };
        }
    }
    Column { source, name, decimals: None, width: widest }
}

fn row(feature: &ExportFeature, columns: &[Column], notes: &mut Notes) -> Vec<u8> {
    let mut out = vec![b' '];
    for column in columns {
        let text = value(feature, &column.source).map(plain_text).unwrap_or_default();
        let cell = match column.decimals {
            Some(_) if text.is_empty() => String::new(),
            Some(decimals) => match text.parse::<f64>() {
                Ok(number) if decimals > 0 => format!("{number:.decimals$}"),
                _ => text,
            },
            None => text,
        };
        let kept = cut(&cell, column.width);
        if kept.len() < cell.len() {
            let place = if feature.id.is_empty() {
                column.source.clone()
            } else {
                format!("{}, {}", feature.id, column.source)
            };
            let message = format!("its text has {} bytes, and a table holds {WIDEST}; it was cut", cell.len());
            notes.add("texts that were cut", place, message);
        }
        let padding = column.width - kept.len();
        let blanks = std::iter::repeat_n(b' ', padding);
        if column.decimals.is_some() {
            out.extend(blanks);
            out.extend(kept.as_bytes());
        } else {
            out.extend(kept.as_bytes());
            out.extend(blanks);
        }
    }
    out
}

fn bytes(columns: &[Column], rows: &[Vec<u8>]) -> Vec<u8> {
    let header = 32 + 32 * columns.len() + 1;
    let length = 1 + columns.iter().map(|c| c.width).sum::<usize>();
    // dBASE III without memo; the day of the last change is not kept, so that the same data make the same file.
    let mut out = vec![3, 70, 1, 1];
    out.extend(u32::try_from(rows.len()).unwrap_or(u32::MAX).to_le_bytes());
    out.extend(u16::try_from(header).unwrap_or(u16::MAX).to_le_bytes());
    out.extend(u16::try_from(length).unwrap_or(u16::MAX).to_le_bytes());
    out.resize(32, 0);
    for column in columns {
        let mut descriptor = [0_u8; 32];
        let name = column.name.as_bytes();
        descriptor[..name.len().min(LONGEST_NAME)].copy_from_slice(&name[..name.len().min(LONGEST_NAME)]);
        descriptor[11] = if column.decimals.is_some() { b'N' } else { b'C' };
        descriptor[16] = column.width as u8;
        descriptor[17] = column.decimals.unwrap_or(0) as u8;
        out.extend(descriptor);
    }
    out.push(b'\r');
    for row in rows {
        out.extend(row);
    }
    out.push(0x1a);
    out
}
