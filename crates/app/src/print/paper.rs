//! Blocks placed on sheets of paper, as marks in points from the upper left corner.

use super::document::{Block, Cell, Document, Run, Tone};
use super::letters::{Letters, Piece, lines};
use crate::sheet::picture::{Dots, Mark as Drawn, Picture, Type};
use crate::theme::Palette;
use egui::{Align, Color32, Pos2, Vec2, pos2, vec2};
use std::sync::Arc;

/// The size of a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Format {
    /// 210 × 297 mm (ISO 216).
    #[default]
    A4,
    /// 148 × 210 mm (ISO 216), for a knee or a map case.
    A5,
}

/// Points in a millimetre.
const MM: f32 = 72.0 / 25.4;
/// Points in what a drawing calls a point, which a browser prints at 96 to the inch.
const DRAWN: f32 = 0.75;
const RULE: Color32 = Color32::from_gray(0xcc);

impl Format {
    /// Width and height, points.
    #[must_use]
    pub fn size(self) -> Vec2 {
        match self {
            Self::A4 => vec2(210.0, 297.0) * MM,
            Self::A5 => vec2(148.0, 210.0) * MM,
        }
    }
    fn margin(self) -> f32 {
        match self {
            Self::A4 => 12.0 * MM,
            Self::A5 => 9.0 * MM,
        }
    }
    /// Size of the text, points.
    fn text(self, large: bool) -> f32 {
        match (self, large) {
            (Self::A4, false) => 9.5,
            (Self::A4, true) => 12.5,
            (Self::A5, false) => 8.0,
            (Self::A5, true) => 10.5,
        }
    }
}

/// One mark on paper.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Mark {
    Image {
        corner: Pos2,
        size: Vec2,
        dots: Arc<Dots>,
    },
    Line {
        points: Vec<Pos2>,
        colour: Color32,
        width: f32,
        dash: Option<(f32, f32)>,
    },
    Area {
        points: Vec<Pos2>,
        colour: Color32,
        alpha: f32,
    },
    Disc {
        at: Pos2,
        radius: f32,
        colour: Color32,
    },
    /// `at` is the left end of the baseline.
    Text {
        at: Pos2,
        text: String,
        size: f32,
        bold: bool,
        colour: Color32,
        halo: Option<Color32>,
    },
}

impl Mark {
    fn moved(mut self, by: Vec2) -> Self {
        match &mut self {
            Self::Line { points, .. } | Self::Area { points, .. } => points.iter_mut().for_each(|p| *p += by),
            Self::Image { corner: at, .. } | Self::Disc { at, .. } | Self::Text { at, .. } => *at += by,
        }
        self
    }
}

/// One sheet of paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Its size, points.
    pub size: Vec2,
    pub(super) marks: Vec<Mark>,
}

/// Something that is not broken over two sheets.
struct Strip {
    height: f32,
    /// In points from its own upper left corner.
    marks: Vec<Mark>,
    /// Whether it stays on the sheet of what follows.
    with_next: bool,
    new_sheet: bool,
    /// What is repeated above it where it begins a sheet: the names of a table's columns.
    head: Option<Arc<Head>>,
}

/// Names of columns, laid out.
struct Head {
    height: f32,
    marks: Vec<Mark>,
}

impl Strip {
    fn gap(height: f32) -> Self {
        Self { height, marks: Vec::new(), with_next: false, new_sheet: false, head: None }
    }
}

struct Layout<'a> {
    letters: &'a Letters,
    palette: &'a Palette,
    text: f32,
}

/// The document on sheets of a format; `None` when the packaged typefaces cannot be read.
#[must_use]
pub fn sheets(document: &Document, format: Format, palette: &Palette) -> Option<Vec<Sheet>> {
    let letters = Letters::built_in()?;
    let layout = Layout { letters: &letters, palette, text: format.text(document.large) };
    let (size, margin) = (format.size(), format.margin());
    let strips = layout.blocks(&document.blocks, size.x - 2.0 * margin);
    let foot = layout.text * 2.2;
    let room = size.y - 2.0 * margin - foot;
    let mut pages: Vec<Vec<Mark>> = Vec::new();
    let mut page: Vec<Mark> = Vec::new();
    let mut down = 0.0;
    // What a strip needs on its sheet: a heading goes together with all of it and the first of what it heads.
    let mut needs: Vec<f32> = strips.iter().map(|strip| strip.height).collect();
    for i in (0..strips.len().saturating_sub(1)).rev() {
        if strips[i].with_next {
            needs[i] += needs[i + 1];
        }
    }
    for (strip, needed) in strips.into_iter().zip(needs) {
        let fits = down + needed <= room;
        if (strip.new_sheet || !fits) && down > 0.0 {
            pages.push(std::mem::take(&mut page));
            down = 0.0;
            if let Some(head) = &strip.head {
                page.extend(head.marks.iter().cloned().map(|mark| mark.moved(vec2(margin, margin))));
                down = head.height;
            }
        }
        if down == 0.0 && strip.marks.is_empty() {
            // No gap at the head of a sheet.
            continue;
        }
        page.extend(strip.marks.into_iter().map(|mark| mark.moved(vec2(margin, margin + down))));
        down += strip.height;
    }
    if !page.is_empty() || pages.is_empty() {
        pages.push(page);
    }
    let count = pages.len();
    let sheets = pages.into_iter().enumerate().map(|(i, mut marks)| {
        let small = format.text(false) * 0.8;
        let base = size.y - margin;
        let number = if count == 1 { String::new() } else { format!("{} of {count}", i + 1) };
        let wide = letters.regular.width(&number, small);
        let colour = layout.palette.day.ink_soft;
        let mut words = |x: f32, text: String| {
            marks.push(Mark::Text { at: pos2(x, base), text, size: small, bold: false, colour, halo: None });
        };
        let told = lines(&letters, &[Run::plain(&document.foot)], small, size.x - 2.0 * margin - wide - 12.0, false);
        // One line: on a narrow sheet the caution at the foot ends with its first sentence.
        if let [line] = &told[..] {
            for piece in line {
                words(margin + piece.x, piece.text.clone());
            }
        } else {
            let first = document.foot.split_inclusive('.').next().unwrap_or_default().to_owned();
            words(margin, first);
        }
        if count > 1 {
            words(size.x - margin - wide, number);
        }
        Sheet { size, marks }
    });
    Some(sheets.collect())
}

impl Layout<'_> {
    fn blocks(&self, blocks: &[Block], width: f32) -> Vec<Strip> {
        let mut out: Vec<Strip> = Vec::new();
        let mut new_sheet = false;
        for block in blocks {
            if *block == Block::NewSheet {
                new_sheet = true;
                continue;
            }
            let mut strips = self.block(block, width, !out.is_empty());
            if let Some(first) = strips.first_mut() {
                first.new_sheet = std::mem::take(&mut new_sheet);
            }
            out.append(&mut strips);
        }
        out
    }

    fn block(&self, block: &Block, width: f32, after: bool) -> Vec<Strip> {
        let (text, ink) = (self.text, self.palette.day.ink);
        let soft = self.palette.day.ink_soft;
        match block {
            Block::NewSheet => Vec::new(),
            Block::Title(words) => {
                let runs = [Run::plain(words)];
                let mut strips = self.words(&runs, text * 1.7, width, true, ink);
                for strip in &mut strips {
                    strip.with_next = true;
                }
                strips.push(Strip { with_next: true, ..Strip::gap(text * 0.3) });
                if after {
                    strips.insert(0, Strip::gap(text * 1.2));
                }
                strips
            }
            Block::Heading(words) => {
                let mut strips = vec![Strip::gap(text * 1.0)];
                strips.extend(self.words(&[Run::plain(words)], text * 1.15, width, true, ink));
                strips.push(Strip::gap(text * 0.3));
                for strip in &mut strips {
                    strip.with_next = true;
                }
                strips
            }
            Block::Text(tone, runs) => {
                let (size, bold, colour) = match tone {
                    Tone::Plain => (text, false, ink),
                    Tone::First => (text * 1.2, true, ink),
                    Tone::Soft => (text, false, soft),
                    Tone::Caution => (text, false, self.palette.day.caution),
                };
                let mut strips = self.words(runs, size, width, bold, colour);
                strips.push(Strip::gap(text * 0.45));
                strips
            }
            Block::List(points) => {
                let mut strips: Vec<Strip> = points.iter().map(|point| self.point(point, text * 0.9, width)).collect();
                strips.push(Strip::gap(text * 0.5));
                strips
            }
            Block::Ticks(points) => {
                let mut strips: Vec<Strip> = points.iter().map(|point| self.tick(point, width)).collect();
                strips.push(Strip::gap(text * 0.5));
                strips
            }
            Block::Choices(words) => vec![self.choices(words, width)],
            Block::Lines(count) => {
                let height = 9.0 * MM;
                let line = || Mark::Line {
                    points: vec![pos2(0.0, height - 1.0), pos2(width, height - 1.0)],
                    colour: Color32::from_gray(0x77),
                    width: 0.7,
                    dash: None,
                };
                (0..*count).map(|_| Strip { marks: vec![line()], ..Strip::gap(height) }).collect()
            }
            Block::Table { head, rows } => self.table(head, rows, width),
            Block::Figure(picture, caption) => vec![self.figure(picture, caption, width)],
            Block::Beside(columns) => self.beside(columns, width),
            Block::Together(inside) => vec![stacked(self.blocks(inside, width))],
        }
    }

    /// Lines of text, each a strip of its own.
    fn words(&self, runs: &[Run], size: f32, width: f32, bold: bool, colour: Color32) -> Vec<Strip> {
        let told = lines(self.letters, runs, size, width, bold);
        told.into_iter().map(|line| self.line(line, size, 0.0, colour)).collect()
    }

    fn line(&self, pieces: Vec<Piece>, size: f32, indent: f32, colour: Color32) -> Strip {
        let marks = pieces.into_iter().map(|piece| Mark::Text {
            at: pos2(indent + piece.x, size * 1.02),
            text: piece.text,
            size,
            bold: piece.bold,
            colour: if piece.soft { self.palette.day.ink_soft } else { colour },
            halo: None,
        });
        Strip { marks: marks.collect(), ..Strip::gap(size * 1.32) }
    }

    /// Lines as one strip, indented.
    fn indented(&self, runs: &[Run], size: f32, width: f32, indent: f32) -> Strip {
        let told = lines(self.letters, runs, size, width - indent, false);
        let ink = self.palette.day.ink;
        stacked(told.into_iter().map(|line| self.line(line, size, indent, ink)).collect())
    }

    fn point(&self, runs: &[Run], size: f32, width: f32) -> Strip {
        let mut strip = self.indented(runs, size, width, size * 1.2);
        strip.marks.push(Mark::Disc {
            at: pos2(size * 0.45, size * 0.7),
            radius: size * 0.13,
            colour: self.palette.day.ink,
        });
        strip
    }

    fn tick(&self, runs: &[Run], width: f32) -> Strip {
        let side = self.text * 1.1;
        let mut strip = self.indented(runs, self.text, width, side + self.text * 0.7);
        strip.marks.push(self.boxed(pos2(0.0, 1.0), side));
        strip.height = strip.height.max(side + 2.0) + self.text * 0.35;
        strip
    }

    fn boxed(&self, at: Pos2, side: f32) -> Mark {
        let corner = |x: f32, y: f32| at + vec2(x * side, y * side);
        let points = vec![corner(0.0, 0.0), corner(1.0, 0.0), corner(1.0, 1.0), corner(0.0, 1.0), corner(0.0, 0.0)];
        Mark::Line { points, colour: self.palette.day.ink, width: 1.0, dash: None }
    }

    fn choices(&self, words: &[String], width: f32) -> Strip {
        let (size, side) = (self.text, self.text * 1.1);
        let (mut x, mut y) = (0.0, 0.0);
        let mut marks = Vec::new();
        for word in words {
            let wide = side + size * 0.6 + self.letters.regular.width(word, size);
            if x > 0.0 && x + wide > width {
                (x, y) = (0.0, y + size * 1.7);
            }
            marks.push(self.boxed(pos2(x, y + 1.0), side));
            marks.push(Mark::Text {
                at: pos2(x + side + size * 0.6, y + size),
                text: word.clone(),
                size,
                bold: false,
                colour: self.palette.day.ink,
                halo: None,
            });
            x += wide + size * 1.4;
        }
        Strip { marks, ..Strip::gap(y + size * 2.0) }
    }

    fn table(&self, head: &[String], rows: &[Vec<Cell>], width: f32) -> Vec<Strip> {
        let size = self.text * 0.9;
        let count = rows.iter().map(Vec::len).chain([head.len()]).max().unwrap_or(0);
        if count == 0 {
            return Vec::new();
        }
        let gap = size * 0.9;
        let wish = |column: usize| {
            let cells = rows.iter().filter_map(|row| row.get(column));
            let cells = cells.map(|cell| self.letters.face(cell.bold).width(&cell.text, size));
            let name = head.get(column).map_or(0.0, |name| self.letters.regular.width(name, size));
            cells.fold(name, f32::max)
        };
        let longest = |column: usize| {
            let cells = rows.iter().filter_map(|row| row.get(column));
            let words =
                cells.flat_map(|cell| cell.text.split(' ').map(|word| self.letters.face(cell.bold).width(word, size)));
            words.fold(0.0, f32::max)
        };
        let wishes: Vec<(f32, f32)> = (0..count).map(|column| (wish(column), longest(column))).collect();
        let widths = shared(&wishes, width - gap * (count - 1) as f32);
        let row = |cells: &[(Run, Color32)]| {
            let (mut x, mut height, mut marks) = (0.0, size * 1.32, Vec::new());
            for ((run, colour), wide) in cells.iter().zip(&widths) {
                let strip = stacked(self.words(std::slice::from_ref(run), size, *wide, false, *colour));
                height = height.max(strip.height);
                marks.extend(strip.marks.into_iter().map(|mark| mark.moved(vec2(x, 0.0))));
                x += wide + gap;
            }
            let below = height + 1.4;
            marks.push(Mark::Line {
                points: vec![pos2(0.0, below), pos2(width, below)],
                colour: RULE,
                width: 0.5,
                dash: None,
            });
            Strip { marks, ..Strip::gap(below + 1.4) }
        };
        let (ink, soft) = (self.palette.day.ink, self.palette.day.ink_soft);
        let (mut out, mut again) = (Vec::new(), None);
        if !head.is_empty() {
            let cells: Vec<_> = head.iter().map(|name| (Run::plain(name), soft)).collect();
            let names = row(&cells);
            again = Some(Arc::new(Head { height: names.height, marks: names.marks.clone() }));
            out.push(Strip { with_next: true, ..names });
        }
        for cells in rows {
            let cells: Vec<_> = cells
                .iter()
                .map(|cell| (if cell.bold { Run::bold(&cell.text) } else { Run::plain(&cell.text) }, ink))
                .collect();
            out.push(Strip { head: if out.len() > 1 { again.clone() } else { None }, ..row(&cells) });
        }
        out.push(Strip::gap(self.text * 0.6));
        out
    }

    fn figure(&self, picture: &Picture, caption: &str, width: f32) -> Strip {
        let scale = DRAWN.min(width / picture.size.x.max(1.0));
        let mut marks =
            vec![Mark::Area { points: rectangle(picture.size * scale), colour: self.palette.day.paper, alpha: 1.0 }];
        marks.extend(picture.marks.iter().map(|mark| self.drawn(mark, scale)));
        let below = picture.size.y * scale + 3.0;
        let told = if caption.is_empty() {
            Vec::new()
        } else {
            let soft = self.palette.day.ink_soft;
            self.words(&[Run::plain(caption)], self.text * 0.9, width, false, soft)
        };
        let words = stacked(told);
        marks.extend(words.marks.into_iter().map(|mark| mark.moved(vec2(0.0, below))));
        Strip { marks, ..Strip::gap(below + words.height + self.text * 0.4) }
    }

    fn drawn(&self, mark: &Drawn, scale: f32) -> Mark {
        let at = |p: &Pos2| pos2(p.x * scale, p.y * scale);
        let colour = |ink: crate::sheet::picture::Ink| ink.colour(&self.palette.day);
        match mark {
            Drawn::Image { corner, size, dots } => {
                Mark::Image { corner: at(corner), size: *size * scale, dots: Arc::clone(dots) }
            }
            Drawn::Line { points, ink, width, dash } => Mark::Line {
                points: points.iter().map(at).collect(),
                colour: colour(*ink),
                width: width * scale,
                dash: dash.map(|(on, off)| (on * scale, off * scale)),
            },
            Drawn::Area { points, ink, alpha } => {
                Mark::Area { points: points.iter().map(at).collect(), colour: colour(*ink), alpha: *alpha }
            }
            Drawn::Band { upper, lower, ink, alpha } => Mark::Area {
                points: upper.iter().chain(lower.iter().rev()).map(at).collect(),
                colour: colour(*ink),
                alpha: *alpha,
            },
            Drawn::Dot { at: middle, radius, ink } => {
                Mark::Disc { at: at(middle), radius: radius * scale, colour: colour(*ink) }
            }
            Drawn::Text { at: place, anchor, text, font, ink } => {
                let size = self.palette.sizes.small * scale;
                let bold = *font == Type::SmallBold;
                let wide = self.letters.face(bold).width(text, size);
                let left = match anchor.x() {
                    Align::Min => 0.0,
                    Align::Center => wide / 2.0,
                    Align::Max => wide,
                };
                // The same baseline as in the SVG: about a third of the size below the middle of the letters.
                let down = match anchor.y() {
                    Align::Min => 0.85,
                    Align::Center => 0.35,
                    Align::Max => -0.2,
                } * size;
                Mark::Text {
                    at: at(place) + vec2(-left, down),
                    text: text.clone(),
                    size,
                    bold,
                    colour: colour(*ink),
                    halo: Some(self.palette.day.paper),
                }
            }
        }
    }

    fn beside(&self, columns: &[(f32, Vec<Block>)], width: f32) -> Vec<Strip> {
        let gap = 4.0 * MM;
        let shares: f32 = columns.iter().map(|(share, _)| share).sum();
        let room = width - gap * columns.len().saturating_sub(1) as f32;
        let (mut x, mut height, mut marks) = (0.0, 0.0f32, Vec::new());
        for (share, blocks) in columns {
            let wide = room * share / shares.max(f32::MIN_POSITIVE);
            let strip = stacked(self.blocks(blocks, wide));
            height = height.max(strip.height);
            marks.extend(strip.marks.into_iter().map(|mark| mark.moved(vec2(x, 0.0))));
            x += wide + gap;
        }
        vec![Strip { marks, ..Strip::gap(height) }]
    }
}

/// Strips one below the other as one.
fn stacked(strips: Vec<Strip>) -> Strip {
    let (mut height, mut marks) = (0.0, Vec::new());
    for strip in strips {
        marks.extend(strip.marks.into_iter().map(|mark| mark.moved(vec2(0.0, height))));
        height += strip.height;
    }
    Strip { marks, ..Strip::gap(height) }
}

fn rectangle(size: Vec2) -> Vec<Pos2> {
    vec![pos2(0.0, 0.0), pos2(size.x, 0.0), pos2(size.x, size.y), pos2(0.0, size.y)]
}

/// Widths of columns within a room, from what each wants and the width of its longest word: each what it wants where that
/// fits. Else the wider ones share what the narrow leave: room for a word, where there is, and the rest by the roots of
/// what they want, so that one that says ten times as much gets about three times the width.
fn shared(wishes: &[(f32, f32)], room: f32) -> Vec<f32> {
    let total: f32 = wishes.iter().map(|(wish, _)| wish).sum();
    if total <= room {
        let more = (room - total) / wishes.len().max(1) as f32;
        return wishes.iter().map(|(wish, _)| wish + more).collect();
    }
    // The width above which columns are cut down, found by halving.
    let (mut low, mut high) = (0.0, wishes.iter().map(|(wish, _)| *wish).fold(0.0, f32::max));
    for _ in 0..40 {
        let cap = (low + high) / 2.0;
        if wishes.iter().map(|(wish, _)| wish.min(cap)).sum::<f32>() > room { high = cap } else { low = cap }
    }
    let base = |(wish, word): (f32, f32)| if wish > low { word.min(low) } else { wish };
    let left = room - wishes.iter().map(|w| base(*w)).sum::<f32>();
    let roots: f32 = wishes.iter().filter(|(wish, _)| *wish > low).map(|(wish, _)| wish.sqrt()).sum();
    let width = |w: &(f32, f32)| base(*w) + if w.0 > low { left.max(0.0) * w.0.sqrt() / roots } else { 0.0 };
    wishes.iter().map(width).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::Align2;
    use proptest::prelude::*;

    fn inside(sheet: &Sheet) -> bool {
        let fits = |p: &Pos2| p.x >= -1.0 && p.y >= -1.0 && p.x <= sheet.size.x + 1.0 && p.y <= sheet.size.y + 1.0;
        let letters = Letters::built_in().unwrap();
        sheet.marks.iter().all(|mark| match mark {
            Mark::Line { points, .. } | Mark::Area { points, .. } => points.iter().all(fits),
            Mark::Image { corner, size, .. } => fits(corner) && fits(&(*corner + *size)),
            Mark::Disc { at, .. } => fits(at),
            Mark::Text { at, text, size, bold, .. } => {
                fits(at) && fits(&(*at + vec2(letters.face(*bold).width(text, *size), 0.0)))
            }
        })
    }

    fn said(sheets: &[Sheet]) -> String {
        let words = sheets.iter().flat_map(|sheet| &sheet.marks).filter_map(|mark| match mark {
            Mark::Text { text, .. } => Some(text.as_str()),
            _ => None,
        });
        words.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_heading_is_never_the_last_on_a_sheet() {
        let palette = Palette::built_in().unwrap();
        for lines in 30..70u16 {
            let mut document = Document::new("Trial");
            for line in 0..lines {
                document.push(Block::text(format!("line {line}")));
            }
            document.push(Block::Heading("Heading".into()));
            let picture = Picture::new(vec2(400.0, f32::from(lines)), "after");
            document.push(Block::Figure(picture, "after".into()));
            for format in [Format::A4, Format::A5] {
                let sheets = sheets(&document, format, &palette).unwrap();
                let with = |words: &str| sheets.iter().position(|s| said(std::slice::from_ref(s)).contains(words));
                assert_eq!(with("Heading"), with("after"), "{lines}");
            }
        }
    }

    #[test]
    fn drawings_are_scaled_into_their_column_and_every_sheet_carries_the_caution() {
        let palette = Palette::built_in().unwrap();
        let mut picture = Picture::new(vec2(1_400.0, 700.0), "wide");
        picture.text(pos2(1_390.0, 690.0), Align2::RIGHT_BOTTOM, "corner", crate::sheet::picture::Ink::Ink);
        let mut document = Document::new("Trial");
        document.push(Block::Beside(vec![
            (1.0, vec![Block::Figure(picture.clone(), "one".into())]),
            (2.0, vec![Block::Figure(picture, "two".into())]),
        ]));
        document.push(Block::NewSheet);
        document.push(Block::Title("Second".into()));
        for format in [Format::A4, Format::A5] {
            let sheets = sheets(&document, format, &palette).unwrap();
            assert_eq!(sheets.len(), 2);
            assert!(sheets.iter().all(inside));
            assert!(sheets.iter().all(|s| said(std::slice::from_ref(s)).contains("not for navigation")));
            assert!(said(&sheets).contains("2 of 2"));
        }
    }

    #[test]
    fn the_names_of_columns_stand_on_every_sheet_of_a_table() {
        let palette = Palette::built_in().unwrap();
        let rows: Vec<Vec<Cell>> = (0..150).map(|i| vec![Cell::from(format!("row {i}")), "x".into()]).collect();
        let mut document = Document::new("Trial");
        document.push(Block::Table { head: vec!["Number".into(), "Other".into()], rows });
        for format in [Format::A4, Format::A5] {
            let sheets = sheets(&document, format, &palette).unwrap();
            assert!(sheets.len() > 2);
            for sheet in &sheets {
                let words = said(std::slice::from_ref(sheet));
                assert_eq!(words.matches("Number").count(), 1, "{words}");
                assert!(inside(sheet));
            }
            assert!((0..150).all(|i| said(&sheets).contains(&format!("row {i} "))));
        }
    }

    proptest! {
        #[test]
        fn nothing_leaves_the_sheet_and_nothing_is_lost(
            words in prop::collection::vec("[a-zA-Z0-9]{1,40}", 1..120),
            columns in 1usize..6,
            large in any::<bool>(),
        ) {
            let palette = Palette::built_in().unwrap();
            let mut document = Document { large, ..Document::new("Trial") };
            let rows: Vec<Vec<Cell>> =
                words.chunks(columns).map(|row| row.iter().map(|w| Cell::from(w.as_str())).collect()).collect();
            document.push(Block::Table { head: Vec::new(), rows });
            document.push(Block::list(words.clone()));
            for format in [Format::A4, Format::A5] {
                let sheets = sheets(&document, format, &palette).unwrap();
                prop_assert!(sheets.iter().all(inside));
                let letters: usize = words.iter().map(String::len).sum();
                let found = said(&sheets).replace(' ', "").len();
                prop_assert!(found >= 2 * letters);
            }
        }
    }
}
