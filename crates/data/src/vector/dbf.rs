//! dBASE tables beside shapefiles.
//!
//! Read here and not by the `dbase` crate because that one passes over rows marked as deleted: every later row would
//! then belong to the wrong shape, and a wire's height to a hedge.

use super::codepage::CodePage;
use super::record::{Columns, Notes};
use super::source::{MOST_RECORDS, MOST_VALUES, too_many_records, too_many_values};
use crate::error::{LoadError, LoadErrorKind};
use serde_json::{Number, Value};
use std::path::Path;

const REMEDY: &str = "restore the .dbf file, or move it away to read the shapes without their columns";

/// One row: `None` when it is marked as deleted.
pub(crate) type Row = Option<Columns>;

struct Column {
    name: String,
    kind: u8,
    from: usize,
    length: usize,
}

/// Reads a whole table. The code page is that of the `.cpg` file, where there is one, else the table's own.
///
/// # Source
/// dBASE III and IV file format: header of 32 bytes, column descriptors of 32 bytes, rows of fixed width.
pub(crate) fn read(path: &Path, bytes: &[u8], cpg: Option<CodePage>, notes: &mut Notes) -> Result<Vec<Row>, LoadError> {
    let error = |kind, problem: &str, place: &str| LoadError::new(path, kind, problem, REMEDY).at(place);
    if bytes.is_empty() {
        return Err(error(LoadErrorKind::Empty, "the table is empty", ""));
    }
    let number = |at: usize, n: usize| -> Option<usize> {
        let part = bytes.get(at..at + n)?;
        Some(part.iter().rev().fold(0, |sum, b| sum * 256 + usize::from(*b)))
    };
    let (Some(rows), Some(header), Some(width), Some(&driver)) =
        (number(4, 4), number(8, 2), number(10, 2), bytes.get(29))
    else {
        return Err(error(LoadErrorKind::Truncated, "the table ends inside its header", ""));
    };
    if header < 33 || width < 1 {
        return Err(error(LoadErrorKind::Corrupt, "the table's header contradicts itself", "header"));
    }
    if header > bytes.len() {
        return Err(error(LoadErrorKind::Truncated, "the table ends inside its header", "header"));
    }
    let page = cpg.unwrap_or_else(|| match CodePage::from_driver(driver) {
        Ok(page) => page,
        Err(number) => {
            let which =
                if number == 0 { format!("language driver {driver:#04x}") } else { format!("code page {number}") };
            notes.add(
                "tables in an unknown code page",
                "table",
                format!(
                    "its {which} is not one that is read; letters beyond ASCII may be wrong (name the code page in a \
                     .cpg file to mend this)"
                ),
            );
            CodePage::Guess
        }
    });
    let columns = columns(&bytes[32..header], page, notes);
    let needed = columns.last().map_or(1, |c| c.from + c.length);
    if needed > width {
        return Err(error(LoadErrorKind::Corrupt, "its columns are wider than its rows", "header"));
    }
    let present = (bytes.len() - header) / width;
    if present < rows {
        let problem = format!("the table ends after {present} of {rows} rows");
        return Err(LoadError::new(path, LoadErrorKind::Truncated, problem, REMEDY).at(format!("row {}", present + 1)));
    }
    if rows > MOST_RECORDS {
        return Err(too_many_records(path));
    }
    if rows.saturating_mul(columns.len()) > MOST_VALUES {
        return Err(too_many_values(path));
    }
    let mut out = Vec::with_capacity(rows);
    for i in 0..rows {
        let at = header + i * width;
        let row = &bytes[at..at + width];
        out.push((row[0] != b'*').then(|| {
            let values = columns.iter().map(|c| {
                let place = || format!("row {}, column {}", i + 1, c.name);
                (c.name.clone(), value(c.kind, &row[c.from..c.from + c.length], page, notes, place))
            });
            Columns::new(values.collect())
        }));
    }
    Ok(out)
}

fn columns(descriptors: &[u8], page: CodePage, notes: &mut Notes) -> Vec<Column> {
    let mut columns = Vec::new();
    let mut from = 1;
    for descriptor in descriptors.chunks_exact(32) {
        // The list ends with a carriage return.
        if descriptor[0] == 0x0D {
            break;
        }
        let end = descriptor[..11].iter().position(|b| *b == 0).unwrap_or(11);
        let name = page.decode(&descriptor[..end]).trim().to_owned();
        let (kind, length) = (descriptor[11], usize::from(descriptor[16]));
        if !b"CNFDLIBOY+".contains(&kind) {
            notes.add(
                "columns of a type that is not read",
                format!("column {name}"),
                format!("columns of type “{}” are not read; it was left out", char::from(kind).escape_default()),
            );
        }
        // A column without width holds nothing, and a table may have any number of them.
        if length > 0 {
            columns.push(Column { name, kind, from, length });
        }
        from += length;
    }
    columns
}

fn value(kind: u8, bytes: &[u8], page: CodePage, notes: &mut Notes, place: impl Fn() -> String) -> Value {
    let text = || {
        let end = bytes.iter().position(|b| *b == 0).unwrap_or(bytes.len());
        page.decode(&bytes[..end]).trim().to_owned()
    };
    let float = |v: f64| Number::from_f64(v).map_or(Value::Null, Value::Number);
    match (kind, bytes.len()) {
        (b'C', _) => Value::String(text()),
        (b'N' | b'F', _) => {
            let text = text();
            // Stars fill a number that did not fit its column.
            if text.is_empty() || text.bytes().all(|b| b == b'*') {
                return Value::Null;
            }
            if let Ok(whole) = text.parse::<i64>() {
                return Value::Number(whole.into());
            }
            // Some writers use the comma of their country.
            match text.replace(',', ".").parse::<f64>() {
                Ok(v) if v.is_finite() => float(v),
                _ => {
                    notes.add(
                        "numbers that cannot be read",
                        place(),
                        format!("“{}” is not a number", super::columns::shortened(&text)),
                    );
                    Value::Null
                }
            }
        }
        (b'D', _) => {
            let text = text();
            if text.is_empty() || text.bytes().all(|b| b == b'0') { Value::Null } else { Value::String(text) }
        }
        (b'L', _) => match bytes.first() {
            Some(b'T' | b't' | b'Y' | b'y') => Value::Bool(true),
            Some(b'F' | b'f' | b'N' | b'n') => Value::Bool(false),
            _ => Value::Null,
        },
        (b'I' | b'+', 4) => {
            let mut four = [0; 4];
            four.copy_from_slice(bytes);
            Value::Number(i32::from_le_bytes(four).into())
        }
        (b'B' | b'O', 8) => {
            let mut eight = [0; 8];
            eight.copy_from_slice(bytes);
            float(f64::from_le_bytes(eight))
        }
        (b'Y', 8) => {
            let mut eight = [0; 8];
            eight.copy_from_slice(bytes);
            float(i64::from_le_bytes(eight) as f64 / 10_000.0)
        }
        _ => Value::Null,
    }
}
