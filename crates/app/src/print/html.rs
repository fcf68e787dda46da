//! A document as one HTML page with its drawings inside: opens in any browser, prints, needs nothing else.

use super::document::{Block, Document, Run, Tone, Weight};
use crate::sheet::picture::escape;
use crate::theme::Palette;
use std::fmt::Write as _;

const STYLE: &str = "\
@page { size: A4; margin: 12mm; }
body { font-family: 'B612', 'DejaVu Sans', Arial, sans-serif; font-size: 10pt; line-height: 1.35; color: #1f1d1a; \
background: #ffffff; max-width: 190mm; margin: 8mm auto; }
@media print { body { margin: 0; } }
body.large { font-size: 13pt; }
h1 { font-size: 1.7em; margin: 6mm 0 1mm; } h1:first-child { margin-top: 0; }
h2 { font-size: 1.15em; margin: 6mm 0 1.5mm; break-after: avoid; } .beside h2 { margin-top: 3mm; }
p { margin: 0 0 2mm; } .soft { color: #5b554c; } .first { font-size: 1.2em; font-weight: bold; }
.caution { color: #8a3b12; } .new { break-before: page; } .together { break-inside: avoid; }
.beside { display: grid; gap: 4mm; align-items: start; }
figure { margin: 0 0 2mm; break-inside: avoid; } figcaption { font-size: 0.9em; color: #5b554c; }
svg { max-width: 100%; height: auto; background: #f6f1e7; }
table { border-collapse: collapse; font-size: 0.9em; width: 100%; margin: 0 0 2mm; } tr { break-inside: avoid; }
th, td { text-align: left; vertical-align: top; padding: 0.7mm 3mm 0.7mm 0; border-bottom: 0.2mm solid #cfc5b4; }
th { color: #5b554c; font-weight: normal; } ul { margin: 0 0 2mm; padding-left: 5mm; font-size: 0.9em; }
ul.ticks { list-style: none; padding: 0; font-size: 1em; } .ticks li { display: flex; gap: 3mm; margin: 0 0 1.5mm; }
.box { flex: none; width: 5mm; height: 5mm; border: 0.5mm solid #000000; }
.choices { display: flex; flex-wrap: wrap; gap: 1.5mm 5mm; margin: 1mm 0 2mm; } .choices span { display: flex; gap: 2mm; }
.line { border-bottom: 0.25mm solid #777777; height: 9mm; } .foot { margin-top: 6mm; }
";

/// The page.
#[must_use]
pub fn html(document: &Document, palette: &Palette) -> String {
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{}</title>\n<style>\n{STYLE}</style>\n</head>\n<body{}>\n",
        escape(&document.title),
        if document.large { " class=\"large\"" } else { "" }
    );
    blocks(&mut out, &document.blocks, palette);
    let _ = write!(out, "<p class=\"caution foot\">{}</p>\n</body>\n</html>\n", escape(&document.foot));
    out
}

fn blocks(out: &mut String, all: &[Block], palette: &Palette) {
    let mut new = false;
    for block in all {
        let class = if std::mem::take(&mut new) { " class=\"new\"" } else { "" };
        let _ = match block {
            Block::NewSheet => {
                new = true;
                Ok(())
            }
            Block::Title(text) => writeln!(out, "<h1{class}>{}</h1>", escape(text)),
            Block::Heading(text) => writeln!(out, "<h2{class}>{}</h2>", escape(text)),
            Block::Text(tone, words) => {
                let class = match tone {
                    Tone::Plain => "",
                    Tone::First => " class=\"first\"",
                    Tone::Soft => " class=\"soft\"",
                    Tone::Caution => " class=\"caution\"",
                };
                writeln!(out, "<p{class}>{}</p>", runs(words))
            }
            Block::List(points) => {
                out.push_str("<ul>\n");
                for point in points {
                    let _ = writeln!(out, "<li>{}</li>", runs(point));
                }
                writeln!(out, "</ul>")
            }
            Block::Ticks(points) => {
                out.push_str("<ul class=\"ticks\">\n");
                for point in points {
                    let _ = writeln!(out, "<li><span class=\"box\"></span><span>{}</span></li>", runs(point));
                }
                writeln!(out, "</ul>")
            }
            Block::Choices(words) => {
                out.push_str("<div class=\"choices\">");
                for word in words {
                    let _ = write!(out, "<span><span class=\"box\"></span>{}</span>", escape(word));
                }
                writeln!(out, "</div>")
            }
            Block::Lines(count) => {
                out.push_str(&"<div class=\"line\"></div>\n".repeat(*count));
                Ok(())
            }
            Block::Table { head, rows } => {
                out.push_str("<table>\n");
                if !head.is_empty() {
                    let cells: Vec<String> = head.iter().map(|name| format!("<th>{}</th>", escape(name))).collect();
                    let _ = writeln!(out, "<thead><tr>{}</tr></thead>", cells.concat());
                }
                for row in rows {
                    let cells = row.iter().map(|cell| {
                        let text = escape(&cell.text);
                        if cell.bold { format!("<td><b>{text}</b></td>") } else { format!("<td>{text}</td>") }
                    });
                    let _ = writeln!(out, "<tr>{}</tr>", cells.collect::<String>());
                }
                writeln!(out, "</table>")
            }
            Block::Figure(picture, caption) => {
                let svg = picture.svg(&palette.day, &palette.sizes);
                let caption = match caption.as_str() {
                    "" => String::new(),
                    words => format!("<figcaption>{}</figcaption>", escape(words)),
                };
                writeln!(out, "<figure{class}>{svg}{caption}</figure>")
            }
            Block::Beside(columns) => {
                let shares: Vec<String> = columns.iter().map(|(share, _)| format!("{share}fr")).collect();
                let _ = writeln!(out, "<div class=\"beside\" style=\"grid-template-columns: {}\">", shares.join(" "));
                for (_, inside) in columns {
                    out.push_str("<div>\n");
                    blocks(out, inside, palette);
                    out.push_str("</div>\n");
                }
                writeln!(out, "</div>")
            }
            Block::Together(inside) => {
                out.push_str("<div class=\"together\">\n");
                blocks(out, inside, palette);
                writeln!(out, "</div>")
            }
        };
    }
}

fn runs(words: &[Run]) -> String {
    let one = |run: &Run| {
        let text = escape(&run.text);
        match run.weight {
            Weight::Plain => text,
            Weight::Bold => format!("<b>{text}</b>"),
            Weight::Soft => format!("<span class=\"soft\">{text}</span>"),
        }
    };
    words.iter().map(one).collect::<Vec<_>>().join(" ")
}
