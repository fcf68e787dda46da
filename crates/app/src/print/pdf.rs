//! Sheets as a PDF: vectors, and words that can be searched and copied.

use super::letters::{Face, Letters};
use super::paper::{Mark, Sheet};
use crate::sheet::picture::Dots;
use egui::{Color32, Pos2, vec2};
use pdf_writer::types::{
    CidFontType, FontFlags, LineCapStyle, LineJoinStyle, SystemInfo, TextRenderingMode, UnicodeCmap,
};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use skrifa::GlyphId;
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::Metrics;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::sync::Arc;

/// Both faces by whether they are bold, as named inside the file.
const FACES: [(bool, &[u8], &[u8]); 2] = [(false, b"F1", b"SPARES+B612"), (true, b"F2", b"SPARES+B612-Bold")];
/// Character identifiers that are glyph numbers, of no character collection.
const SYSTEM: SystemInfo<'_> = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };

/// The file; `None` when the packaged typefaces cannot be read.
///
/// # Source
/// ISO 32000-1:2008, 9.7 for fonts by glyph number and 9.10 for the words behind them.
#[must_use]
pub fn pdf(sheets: &[Sheet], title: &str) -> Option<Vec<u8>> {
    let letters = Letters::built_in()?;
    let mut next = 1;
    let mut id = || {
        next += 1;
        Ref::new(next - 1)
    };
    let (catalog, tree, info) = (id(), id(), id());
    let mut pdf = Pdf::new();
    pdf.catalog(catalog).pages(tree).lang(TextStr("en"));
    pdf.document_info(info).title(TextStr(title)).producer(TextStr(concat!("Sparefield ", env!("CARGO_PKG_VERSION"))));
    let fonts: Vec<Ref> = FACES.iter().map(|_| id()).collect();
    for (&(bold, _, name), &font) in FACES.iter().zip(&fonts) {
        write_font(&mut pdf, letters.face(bold), name, &used(sheets, bold), [font, id(), id(), id(), id()])?;
    }
    // Every opacity in use, as named states.
    let alphas = sheets.iter().flat_map(|s| &s.marks).filter_map(alpha_of).chain([SOLID]);
    let alphas: BTreeSet<u8> = alphas.collect();
    let states: BTreeMap<u8, Ref> = alphas.into_iter().map(|alpha| (alpha, id())).collect();
    for (alpha, state) in &states {
        pdf.ext_graphics(*state).non_stroking_alpha(f32::from(*alpha) / 255.0);
    }
    // Pictures in dots, each written once.
    let mut images: Vec<(&Arc<Dots>, Ref)> = Vec::new();
    for dots in sheets.iter().flat_map(|s| &s.marks).filter_map(dots_of) {
        if images.iter().any(|(known, _)| Arc::ptr_eq(known, dots)) {
            continue;
        }
        let image_id = id();
        let data = deflated(&dots.rgb)?;
        let mut image = pdf.image_xobject(image_id, &data);
        image.filter(Filter::FlateDecode);
        image.width(i32::try_from(dots.width).ok()?).height(i32::try_from(dots.height).ok()?);
        image.bits_per_component(8).color_space().device_rgb();
        image.finish();
        images.push((dots, image_id));
    }
    let place_of = |dots: &Arc<Dots>| images.iter().position(|(known, _)| Arc::ptr_eq(known, dots));
    let mut pages = Vec::new();
    for sheet in sheets {
        let (page_id, content_id) = (id(), id());
        let content = deflated(&drawn(sheet, &letters, &place_of))?;
        pdf.stream(content_id, &content).filter(Filter::FlateDecode);
        let mut page = pdf.page(page_id);
        page.media_box(Rect::new(0.0, 0.0, sheet.size.x, sheet.size.y)).parent(tree).contents(content_id);
        let mut resources = page.resources();
        let mut named = resources.fonts();
        for (&(_, name, _), font) in FACES.iter().zip(&fonts) {
            named.pair(Name(name), *font);
        }
        named.finish();
        let mut named = resources.ext_g_states();
        for (alpha, state) in &states {
            named.pair(Name(state_name(*alpha).as_bytes()), *state);
        }
        named.finish();
        let mut named = resources.x_objects();
        for (i, (_, image)) in images.iter().enumerate() {
            named.pair(Name(image_name(i).as_bytes()), *image);
        }
        named.finish();
        resources.finish();
        page.finish();
        pages.push(page_id);
    }
    let count = i32::try_from(pages.len()).ok()?;
    pdf.pages(tree).kids(pages).count(count);
    Some(pdf.finish())
}

/// The opacity of what covers all.
const SOLID: u8 = 255;

fn alpha_of(mark: &Mark) -> Option<u8> {
    match mark {
        Mark::Area { alpha, .. } => Some((alpha.clamp(0.0, 1.0) * 255.0).round() as u8),
        _ => None,
    }
}

fn dots_of(mark: &Mark) -> Option<&Arc<Dots>> {
    match mark {
        Mark::Image { dots, .. } => Some(dots),
        _ => None,
    }
}

fn image_name(number: usize) -> String {
    format!("I{number}")
}

fn state_name(alpha: u8) -> String {
    format!("A{alpha}")
}

/// Glyphs in use and the letters they stand for.
fn used(sheets: &[Sheet], of: bool) -> BTreeSet<char> {
    let texts = sheets.iter().flat_map(|sheet| &sheet.marks).filter_map(|mark| match mark {
        Mark::Text { text, bold, .. } if *bold == of => Some(text),
        _ => None,
    });
    texts.flat_map(|text| text.chars()).collect()
}

/// The number of a glyph as the file writes it.
fn number(glyph: GlyphId) -> u16 {
    u16::try_from(glyph.to_u32()).unwrap_or(0)
}

fn write_font(pdf: &mut Pdf, face: &Face, name: &[u8], used: &BTreeSet<char>, ids: [Ref; 5]) -> Option<()> {
    let [font, cid, descriptor, file, to_unicode] = ids;
    let metrics = Metrics::new(&face.font, Size::new(1_000.0), LocationRef::default());
    pdf.type0_font(font)
        .base_font(Name(name))
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(cid)
        .to_unicode(to_unicode);
    let mut words = pdf.cid_font(cid);
    words.subtype(CidFontType::Type0).base_font(Name(name)).system_info(SYSTEM).font_descriptor(descriptor);
    let mut widths = words.widths();
    let advance = face.metrics();
    for letter in used {
        let glyph = face.glyph(*letter);
        widths.consecutive(number(glyph), [advance.advance_width(glyph).unwrap_or(0.0)]);
    }
    widths.finish();
    words.finish();
    let bounds = metrics
        .bounds
        .map_or(Rect::new(0.0, -300.0, 1_000.0, 1_000.0), |b| Rect::new(b.x_min, b.y_min, b.x_max, b.y_max));
    pdf.font_descriptor(descriptor)
        .name(Name(name))
        .flags(FontFlags::NON_SYMBOLIC)
        .bbox(bounds)
        .italic_angle(0.0)
        .ascent(metrics.ascent)
        .descent(metrics.descent)
        .cap_height(metrics.cap_height.unwrap_or(metrics.ascent))
        // Thickness of upright strokes, which readers use only where the face itself is missing; from memory.
        .stem_v(80.0)
        .font_file3(file);
    let data = deflated(face.data)?;
    pdf.stream(file, &data).filter(Filter::FlateDecode).pair(Name(b"Subtype"), Name(b"OpenType"));
    let mut map = UnicodeCmap::<u16>::new(Name(b"Words"), SYSTEM);
    for letter in used {
        map.pair(number(face.glyph(*letter)), *letter);
    }
    let map = map.finish();
    pdf.cmap(to_unicode, map.as_slice()).name(Name(b"Words")).system_info(SYSTEM);
    Some(())
}

fn deflated(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut encoder = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(bytes).ok()?;
    encoder.finish().ok()
}

/// What is drawn on a sheet. The file counts upwards from the lower left corner.
fn drawn(sheet: &Sheet, letters: &Letters, place_of: &dyn Fn(&Arc<Dots>) -> Option<usize>) -> Vec<u8> {
    let mut out = Content::new();
    out.set_line_cap(LineCapStyle::RoundCap).set_line_join(LineJoinStyle::RoundJoin);
    let up = |p: &Pos2| (p.x, sheet.size.y - p.y);
    let mut state = SOLID;
    for mark in &sheet.marks {
        // Words, lines and discs are solid; only areas let something through.
        let alpha = alpha_of(mark).unwrap_or(SOLID);
        if alpha != state {
            out.set_parameters(Name(state_name(alpha).as_bytes()));
            state = alpha;
        }
        match mark {
            Mark::Image { corner, size, dots } => {
                if let Some(number) = place_of(dots) {
                    let (x, y) = up(&(*corner + vec2(0.0, size.y)));
                    out.save_state().transform([size.x, 0.0, 0.0, size.y, x, y]);
                    out.x_object(Name(image_name(number).as_bytes())).restore_state();
                }
            }
            Mark::Line { points, colour, width, dash } => {
                let [r, g, b] = rgb(*colour);
                out.set_stroke_rgb(r, g, b).set_line_width(*width);
                match dash {
                    Some((on, off)) => out.set_dash_pattern([*on, *off], 0.0),
                    None => out.set_dash_pattern([], 0.0),
                };
                if path(&mut out, points, up) {
                    out.stroke();
                }
            }
            Mark::Area { points, colour, .. } => {
                let [r, g, b] = rgb(*colour);
                out.set_fill_rgb(r, g, b);
                if path(&mut out, points, up) {
                    out.close_path().fill_nonzero();
                }
            }
            Mark::Disc { at, radius, colour } => {
                let [r, g, b] = rgb(*colour);
                out.set_fill_rgb(r, g, b);
                disc(&mut out, up(at), *radius);
            }
            Mark::Text { at, text, size, bold, colour, halo } => {
                let face = letters.face(*bold);
                let glyphs: Vec<u8> = text.chars().flat_map(|c| number(face.glyph(c)).to_be_bytes()).collect();
                let (x, y) = up(at);
                let words = |out: &mut Content, mode: TextRenderingMode| {
                    out.begin_text().set_font(Name(FACES[usize::from(*bold)].1), *size).set_text_rendering_mode(mode);
                    out.next_line(x, y).show(Str(&glyphs)).end_text();
                };
                if let Some(halo) = halo {
                    let [r, g, b] = rgb(*halo);
                    out.set_stroke_rgb(r, g, b).set_line_width(size * 0.25).set_dash_pattern([], 0.0);
                    words(&mut out, TextRenderingMode::Stroke);
                }
                let [r, g, b] = rgb(*colour);
                out.set_fill_rgb(r, g, b);
                words(&mut out, TextRenderingMode::Fill);
            }
        }
    }
    out.finish().to_vec()
}

fn rgb(colour: Color32) -> [f32; 3] {
    [colour.r(), colour.g(), colour.b()].map(|c| f32::from(c) / 255.0)
}

fn path(out: &mut Content, points: &[Pos2], up: impl Fn(&Pos2) -> (f32, f32)) -> bool {
    if points.len() < 2 || !points.iter().all(|p| p.is_finite()) {
        return false;
    }
    for (i, p) in points.iter().enumerate() {
        let (x, y) = up(p);
        if i == 0 {
            out.move_to(x, y)
        } else {
            out.line_to(x, y)
        };
    }
    true
}

/// A circle of four cubic curves, whose handles are 0.5523 of the radius (4/3·(√2 − 1)).
fn disc(out: &mut Content, (x, y): (f32, f32), r: f32) {
    let k = r * 4.0 / 3.0 * (core::f32::consts::SQRT_2 - 1.0);
    out.move_to(x + r, y);
    out.cubic_to(x + r, y + k, x + k, y + r, x, y + r);
    out.cubic_to(x - k, y + r, x - r, y + k, x - r, y);
    out.cubic_to(x - r, y - k, x - k, y - r, x, y - r);
    out.cubic_to(x + k, y - r, x + r, y - k, x + r, y);
    out.close_path().fill_nonzero();
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::print::{Block, Document, Format, png, sheets};
    use crate::theme::Palette;
    use std::io::Read as _;

    fn sample() -> Vec<Sheet> {
        let palette = Palette::built_in().unwrap();
        let mut document = Document::new("Trial");
        document.push(Block::Title("Übung (1)".into()));
        document.push(Block::Ticks(vec![vec![crate::print::Run::bold("Surface")]]));
        document.push(Block::NewSheet);
        document.push(Block::list(["one", "two"]));
        sheets(&document, Format::A5, &palette).unwrap()
    }

    #[test]
    fn the_file_holds_every_sheet_and_words_by_glyph() {
        let sheets = sample();
        let file = pdf(&sheets, "Trial").unwrap();
        assert!(file.starts_with(b"%PDF-"));
        let text = String::from_utf8_lossy(&file);
        assert!(text.contains("/Count 2") && text.contains("/FontFile3") && text.contains("/ToUnicode"));
        // The words behind the glyphs, for searching and copying.
        let letters = Letters::built_in().unwrap();
        for letter in "Surface".chars() {
            let glyph = number(letters.bold.glyph(letter));
            let pair = format!("<{glyph:04X}> <{:04X}>", u32::from(letter));
            assert!(text.contains(&pair), "{letter}: {pair}");
        }
        // Both faces and both sheets unpack.
        let mut unpacked = 0;
        let mut rest = &file[..];
        while let Some(at) = rest.windows(7).position(|w| w == b"stream\n") {
            rest = &rest[at + 7..];
            let mut out = Vec::new();
            unpacked += usize::from(flate2::read::ZlibDecoder::new(rest).read_to_end(&mut out).is_ok());
        }
        assert_eq!(unpacked, 4);
    }

    #[test]
    fn a_picture_has_the_size_of_its_sheet_and_ink_on_it() {
        let sheets = sample();
        let file = png(&sheets[0], 72.0).unwrap();
        let picture = image::load_from_memory(&file).unwrap().to_luma8();
        assert_eq!(picture.dimensions(), (420, 596));
        let dark = picture.pixels().filter(|p| p.0[0] < 100).count();
        assert!((50..20_000).contains(&dark), "{dark} dark pixels");
        assert!(png(&sheets[0], 10_000.0).is_none() && png(&sheets[0], f32::NAN).is_none());
    }
}
