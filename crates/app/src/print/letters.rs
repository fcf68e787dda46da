//! The letters of printed pages: how wide they are, and where a line of them ends.

use super::document::{Run, Weight};
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::GlyphMetrics;
use skrifa::prelude::MetadataProvider;
use skrifa::{FontRef, GlyphId};

/// One face.
pub(super) struct Face {
    pub(super) font: FontRef<'static>,
    pub(super) data: &'static [u8],
}

impl Face {
    fn new(data: &'static [u8]) -> Option<Self> {
        Some(Self { font: FontRef::new(data).ok()?, data })
    }
    /// The glyph of a letter; that for "no such letter" where the face has none.
    pub(super) fn glyph(&self, letter: char) -> GlyphId {
        self.font.charmap().map(letter).unwrap_or(GlyphId::NOTDEF)
    }
    /// Widths of glyphs in thousandths of the size, and of the whole text.
    pub(super) fn metrics(&self) -> GlyphMetrics<'static> {
        GlyphMetrics::new(&self.font, Size::new(1_000.0), LocationRef::default())
    }
    /// Width of a text, points.
    pub(super) fn width(&self, text: &str, size: f32) -> f32 {
        let (map, metrics) = (self.font.charmap(), self.metrics());
        let of = |letter: char| metrics.advance_width(map.map(letter).unwrap_or(GlyphId::NOTDEF)).unwrap_or(0.0);
        text.chars().map(of).sum::<f32>() * size / 1_000.0
    }
}

/// Both faces of the page.
pub(super) struct Letters {
    pub(super) regular: Face,
    pub(super) bold: Face,
}

impl Letters {
    /// The packaged faces; `None` when they cannot be read, which the tests rule out.
    pub(super) fn built_in() -> Option<Self> {
        let [regular, bold] = crate::theme::TYPEFACES;
        Some(Self { regular: Face::new(regular)?, bold: Face::new(bold)? })
    }
    pub(super) fn face(&self, bold: bool) -> &Face {
        if bold { &self.bold } else { &self.regular }
    }
}

/// Words on one line, set in one way.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Piece {
    pub(super) x: f32,
    pub(super) width: f32,
    pub(super) text: String,
    pub(super) bold: bool,
    pub(super) soft: bool,
}

/// Breaks runs into lines no wider than `width`. A word wider than that is broken anywhere.
pub(super) fn lines(letters: &Letters, runs: &[Run], size: f32, width: f32, all_bold: bool) -> Vec<Vec<Piece>> {
    let mut out: Vec<Vec<Piece>> = vec![Vec::new()];
    let mut x = 0.0;
    for run in runs {
        let bold = all_bold || run.weight == Weight::Bold;
        let face = letters.face(bold);
        let space = face.width(" ", size);
        for word in run.text.split(|c: char| c.is_whitespace() && c != '\u{a0}').filter(|w| !w.is_empty()) {
            for part in parts(face, word, size, width) {
                let wide = face.width(&part, size);
                if x > 0.0 && x + space + wide > width {
                    out.push(Vec::new());
                    x = 0.0;
                }
                let at = if x > 0.0 { x + space } else { 0.0 };
                let soft = run.weight == Weight::Soft;
                x = at + wide;
                let line = out.last_mut();
                match line.and_then(|line| line.last_mut()) {
                    // One piece for as long as nothing changes, so that words can be selected and searched.
                    Some(last) if last.bold == bold && last.soft == soft && at > 0.0 => {
                        last.text.push(' ');
                        last.text.push_str(&part);
                        last.width = x - last.x;
                    }
                    _ => {
                        let piece = Piece { x: at, width: wide, text: part, bold, soft };
                        if let Some(line) = out.last_mut() {
                            line.push(piece);
                        }
                    }
                }
            }
        }
    }
    out.retain(|line| !line.is_empty());
    out
}

/// A word, or its parts where it is wider than a line.
fn parts(face: &Face, word: &str, size: f32, width: f32) -> Vec<String> {
    if face.width(word, size) <= width {
        return vec![word.to_owned()];
    }
    let mut out = vec![String::new()];
    for letter in word.chars() {
        let with = out.last().map_or_else(String::new, |part| format!("{part}{letter}"));
        let fits = face.width(&with, size) <= width;
        match out.last_mut() {
            Some(part) if fits || part.is_empty() => *part = with,
            _ => out.push(letter.to_string()),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn figures_have_one_width_and_every_mark_the_program_writes_has_a_glyph() {
        let letters = Letters::built_in().unwrap();
        for face in [&letters.regular, &letters.bold] {
            let one = face.width("1", 10.0);
            assert!(('0'..='9').all(|c| (face.width(&c.to_string(), 10.0) - one).abs() < 1e-3));
            for c in "°±×·–−’“”…é²≤½".chars() {
                assert_ne!(face.glyph(c), GlyphId::NOTDEF, "{c}");
            }
        }
    }

    proptest! {
        #[test]
        fn lines_keep_to_their_width_and_lose_no_word(text in "[a-z ]{0,200}", width in 30.0..400.0f32) {
            let letters = Letters::built_in().unwrap();
            let lines = lines(&letters, &[Run::plain(text.clone()), Run::bold("end")], 9.0, width, false);
            let words: String = lines.iter().flatten().map(|p| p.text.replace(' ', "")).collect();
            prop_assert_eq!(words, format!("{}end", text.replace(' ', "")));
            for piece in lines.iter().flatten() {
                prop_assert!(piece.x + piece.width <= width + 1e-3);
                let face = letters.face(piece.bold);
                prop_assert!((face.width(&piece.text, 9.0) - piece.width).abs() < 0.01 * piece.width.max(1.0));
            }
        }
    }
}
