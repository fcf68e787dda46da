//! Tables and wrapped paragraphs for a terminal.

use std::fmt;

/// Width of the lines, as most terminals have.
const WIDTH: usize = 96;
/// Width of the label before a reason.
const LABEL: usize = 11;

/// A table whose columns are as wide as their widest cell; the first three are set left, the others right.
pub(super) struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table with a heading.
    pub(super) fn new(heading: &[&str]) -> Self {
        Self { rows: vec![heading.iter().map(|&h| h.to_owned()).collect()] }
    }
    /// Adds a row.
    pub(super) fn row<const N: usize>(&mut self, cells: [String; N]) {
        self.rows.push(cells.into());
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let width = |col: usize| self.rows.iter().filter_map(|r| r.get(col)).map(|c| c.chars().count()).max();
        let widths: Vec<usize> = (0..columns).map(|col| width(col).unwrap_or(0)).collect();
        for row in &self.rows {
            let mut line = String::new();
            for (col, cell) in row.iter().enumerate() {
                let gap = " ".repeat(widths[col] - cell.chars().count());
                let cell = if (1..3).contains(&col) { format!("{cell}{gap}") } else { format!("{gap}{cell}") };
                line.push_str(if col == 0 { " " } else { "  " });
                line.push_str(&cell);
            }
            writeln!(f, "{}", line.trim_end())?;
        }
        Ok(())
    }
}

/// A labelled paragraph, wrapped behind its label.
pub(super) fn item(label: &str, words: &str) -> String {
    let mut out = format!("  {label:<LABEL$}");
    if label.is_empty() {
        "  - ".clone_into(&mut out);
    }
    let indent = out.chars().count();
    let mut column = indent;
    for word in words.split(' ').filter(|w| !w.is_empty()) {
        let length = word.chars().count();
        if column > indent && column + 1 + length > WIDTH {
            out.push('\n');
            out.push_str(&" ".repeat(indent));
            column = indent;
        }
        if column > indent {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up() {
        let mut table = Table::new(&["#", "field", "verdict", "land"]);
        table.row(["1".into(), "Ödland".into(), "roomy".into(), "250°".into()]);
        table.row(["10".into(), "A".into(), "last resort".into(), "360°".into()]);
        let text = table.to_string();
        assert_eq!(
            text,
            "  #  field   verdict      land\n  1  Ödland  roomy        250°\n 10  A       last resort  360°\n"
        );
    }

    #[test]
    fn long_reasons_wrap_behind_their_label() {
        let text = item("note", &"word ".repeat(40));
        assert!(text.lines().count() > 1);
        assert!(text.lines().all(|l| l.chars().count() <= WIDTH));
        assert!(text.lines().skip(1).all(|l| l.starts_with(&" ".repeat(LABEL + 2))));
    }
}
