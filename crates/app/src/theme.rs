//! Colours, text sizes and spacing: the only place that makes a colour.
//!
//! Everything comes from `assets/palette.toml`, which is part of the program; a test checks what the colours promise.

use egui::{Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Margin, Stroke, TextStyle};
use serde::Deserialize;
use std::sync::Arc;
use thiserror::Error;

const PALETTE: &str = include_str!("../../../assets/palette.toml");
const REGULAR: &[u8] = include_bytes!("../../../assets/fonts/B612-Regular.otf");
const BOLD: &[u8] = include_bytes!("../../../assets/fonts/B612-Bold.otf");
/// The packaged typeface, regular and bold, for pages to print.
pub(crate) const TYPEFACES: [&[u8]; 2] = [REGULAR, BOLD];

/// The name of the bold font family.
pub const BOLD_FAMILY: &str = "bold";

/// Why a palette could not be used.
#[derive(Debug, Error)]
#[error("the palette cannot be read: {0}; reinstall the program, or mend the palette file")]
pub struct PaletteError(#[from] Box<toml::de::Error>);

/// Which of the two colour schemes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default, serde::Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scheme {
    /// Ink on paper.
    #[default]
    Day,
    /// Light marks on dark paper, so that the eye stays used to the dark.
    Night,
}

/// Sizes of text in points.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sizes {
    /// Ordinary text.
    pub text: f32,
    /// The smallest text there is.
    pub small: f32,
    /// Headings.
    pub heading: f32,
    /// Numbers read at arm's length.
    pub large: f32,
}

/// The colours of one scheme.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Colours {
    /// The map's paper.
    #[serde(deserialize_with = "hex")]
    pub paper: Color32,
    /// Background of panels.
    #[serde(deserialize_with = "hex")]
    pub panel: Color32,
    /// Background of things set into a panel: text boxes, tracks of sliders, bars.
    #[serde(deserialize_with = "hex")]
    pub panel_sunken: Color32,
    /// Background of things lying on a panel: cards, menus, tooltips.
    #[serde(deserialize_with = "hex")]
    pub panel_raised: Color32,
    /// Text and marks.
    #[serde(deserialize_with = "hex")]
    pub ink: Color32,
    /// Less important text.
    #[serde(deserialize_with = "hex")]
    pub ink_soft: Color32,
    /// Separators and frames.
    #[serde(deserialize_with = "hex")]
    pub line: Color32,
    /// What is chosen or focused.
    #[serde(deserialize_with = "hex")]
    pub accent: Color32,
    /// Background of what is chosen.
    #[serde(deserialize_with = "hex")]
    pub accent_soft: Color32,
    /// Text of cautions.
    #[serde(deserialize_with = "hex")]
    pub caution: Color32,
    /// Background of cautions.
    #[serde(deserialize_with = "hex")]
    pub caution_soft: Color32,
    /// The map beyond the loaded terrain.
    #[serde(deserialize_with = "hex")]
    pub outside: Color32,
    /// Terrain cells without a height.
    #[serde(deserialize_with = "hex")]
    pub no_data: Color32,
    /// Hatch over terrain cells without a height.
    #[serde(deserialize_with = "hex")]
    pub no_data_hatch: Color32,
    /// Steep ground facing away from the light.
    #[serde(deserialize_with = "hex")]
    pub relief_shadow: Color32,
    /// Level ground.
    #[serde(deserialize_with = "hex")]
    pub relief_flat: Color32,
    /// Steep ground facing the light.
    #[serde(deserialize_with = "hex")]
    pub relief_light: Color32,
    /// Contours.
    #[serde(deserialize_with = "hex")]
    pub contour: Color32,
    /// Heavier, labelled contours.
    #[serde(deserialize_with = "hex")]
    pub contour_index: Color32,
    /// Ground in the flattest class.
    #[serde(deserialize_with = "hex")]
    pub slope_gentle: Color32,
    /// Ground in the steepest class.
    #[serde(deserialize_with = "hex")]
    pub slope_steep: Color32,
    /// Ground far below home.
    #[serde(deserialize_with = "hex")]
    pub below_home: Color32,
    /// Ground as high as home.
    #[serde(deserialize_with = "hex")]
    pub at_home: Color32,
    /// Ground far above home.
    #[serde(deserialize_with = "hex")]
    pub above_home: Color32,
    /// Water.
    #[serde(deserialize_with = "hex")]
    pub water: Color32,
    /// Edge of water.
    #[serde(deserialize_with = "hex")]
    pub water_line: Color32,
    /// Woods and trees.
    #[serde(deserialize_with = "hex")]
    pub wood: Color32,
    /// Buildings.
    #[serde(deserialize_with = "hex")]
    pub building: Color32,
    /// Lanes and tracks.
    #[serde(deserialize_with = "hex")]
    pub lane: Color32,
    /// Overhead wires and masts.
    #[serde(deserialize_with = "hex")]
    pub wires: Color32,
    /// Quiet zones.
    #[serde(deserialize_with = "hex")]
    pub quiet: Color32,
    /// Fields with length, height and approach in hand.
    #[serde(deserialize_with = "hex")]
    pub roomy: Color32,
    /// Fields with less in hand.
    #[serde(deserialize_with = "hex")]
    pub workable: Color32,
    /// Fields to take only if nothing better is in reach.
    #[serde(deserialize_with = "hex")]
    pub last_resort: Color32,
    /// Fields that do not pass a gate.
    #[serde(deserialize_with = "hex")]
    pub out: Color32,
    /// Fields before any ranking.
    #[serde(deserialize_with = "hex")]
    pub neutral: Color32,
    /// Rings of spare height, the zero ring first.
    #[serde(deserialize_with = "four_hex")]
    pub rings: [Color32; 4],
    /// The circuit into the chosen field.
    #[serde(deserialize_with = "hex")]
    pub circuit: Color32,
    /// The circuit it is compared with.
    #[serde(deserialize_with = "hex")]
    pub circuit_beside: Color32,
    /// What falls over land out of reach.
    #[serde(deserialize_with = "hex")]
    pub veil: Color32,
    /// How much of the land the veil hides, 0 to 1.
    pub veil_strength: f32,
    /// The aircraft.
    #[serde(deserialize_with = "hex")]
    pub aircraft: Color32,
    /// Light edge around marks that must stand out from the map.
    #[serde(deserialize_with = "hex")]
    pub halo: Color32,
}

/// Both schemes and the sizes, as read from a palette file.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Palette {
    /// Sizes of text.
    pub sizes: Sizes,
    /// Day colours.
    pub day: Colours,
    /// Night colours.
    pub night: Colours,
}

impl Palette {
    /// The palette inside the program.
    ///
    /// # Errors
    /// When the file that was compiled in is not a palette; a test rules that out.
    pub fn built_in() -> Result<Self, PaletteError> {
        Self::parse(PALETTE)
    }
    /// A palette from the text of a palette file.
    ///
    /// # Errors
    /// When a colour or size is missing, unknown or not written as `"#RRGGBB"`; the message names line and key.
    pub fn parse(text: &str) -> Result<Self, PaletteError> {
        toml::from_str(text).map_err(|e| PaletteError(Box::new(e)))
    }
}

/// Space between and inside things, in points.
pub mod space {
    /// Between things that belong together.
    pub const TIGHT: f32 = 4.0;
    /// Between lines of a list.
    pub const LINE: f32 = 8.0;
    /// Between groups, and around the content of a panel.
    pub const GROUP: f32 = 14.0;
}

/// One scheme ready for drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Theme {
    /// Which scheme.
    pub scheme: Scheme,
    /// Its colours.
    pub colours: Colours,
    /// Sizes of text.
    pub sizes: Sizes,
}

impl Theme {
    /// The theme of a scheme.
    #[must_use]
    pub fn new(palette: &Palette, scheme: Scheme) -> Self {
        let colours = match scheme {
            Scheme::Day => palette.day.clone(),
            Scheme::Night => palette.night.clone(),
        };
        Self { scheme, colours, sizes: palette.sizes }
    }

    /// Ordinary text.
    #[must_use]
    pub fn text_font(&self) -> FontId {
        FontId::proportional(self.sizes.text)
    }
    /// The smallest text.
    #[must_use]
    pub fn small_font(&self) -> FontId {
        FontId::proportional(self.sizes.small)
    }
    /// Bold text of a size in points.
    #[must_use]
    pub fn bold_font(&self, size: f32) -> FontId {
        FontId::new(size, FontFamily::Name(BOLD_FAMILY.into()))
    }

    /// Gives a window this theme: fonts are left alone, see [`install_fonts`].
    pub fn apply(&self, ctx: &egui::Context) {
        let base = match self.scheme {
            Scheme::Day => egui::Theme::Light,
            Scheme::Night => egui::Theme::Dark,
        };
        ctx.set_theme(base);
        ctx.set_style_of(base, self.style(base));
    }

    fn style(&self, base: egui::Theme) -> egui::Style {
        let c = &self.colours;
        let mut style = egui::Style { visuals: base.default_visuals(), ..egui::Style::default() };
        style.text_styles = [
            (TextStyle::Body, self.text_font()),
            (TextStyle::Button, self.text_font()),
            (TextStyle::Monospace, self.text_font()),
            (TextStyle::Small, self.small_font()),
            (TextStyle::Heading, self.bold_font(self.sizes.heading)),
        ]
        .into();
        style.animation_time = 0.12;

        let s = &mut style.spacing;
        s.item_spacing = egui::vec2(space::LINE, 6.0);
        s.window_margin = Margin::same(12);
        s.menu_margin = Margin::same(6);
        s.button_padding = egui::vec2(10.0, 5.0);
        s.indent = 16.0;
        s.interact_size = egui::vec2(40.0, 26.0);
        s.icon_width = 18.0;
        s.icon_width_inner = 10.0;
        s.icon_spacing = 7.0;
        s.slider_rail_height = 4.0;
        s.scroll = egui::style::ScrollStyle::thin();

        let v = &mut style.visuals;
        let radius = CornerRadius::same(3);
        v.override_text_color = None;
        v.weak_text_color = Some(c.ink_soft);
        v.panel_fill = c.panel;
        v.window_fill = c.panel_raised;
        v.window_stroke = Stroke::new(1.0, c.line);
        v.window_corner_radius = CornerRadius::same(5);
        v.menu_corner_radius = CornerRadius::same(4);
        let shadow = egui::Shadow { offset: [0, 3], blur: 14, spread: 0, color: with_alpha(shadow_ink(), 0.18) };
        v.window_shadow = shadow;
        v.popup_shadow = shadow;
        v.extreme_bg_color = c.panel_raised;
        v.text_edit_bg_color = Some(c.panel_raised);
        v.faint_bg_color = mix(c.panel, c.panel_sunken, 0.5);
        v.code_bg_color = c.panel_sunken;
        v.hyperlink_color = c.accent;
        v.warn_fg_color = c.caution;
        v.error_fg_color = c.caution;
        v.selection.bg_fill = c.accent_soft;
        v.selection.stroke = Stroke::new(1.5, c.accent);
        v.button_frame = true;
        v.slider_trailing_fill = true;
        v.handle_shape = egui::style::HandleShape::Circle;
        v.indent_has_left_vline = false;

        let w = &mut v.widgets;
        for (visuals, fill, edge, text) in [
            (&mut w.noninteractive, c.panel, c.line, c.ink),
            // Boxes to tick have no text of their own: their edge must be seen.
            (&mut w.inactive, c.panel_sunken, mix(c.line, c.ink_soft, 0.55), c.ink),
            (&mut w.hovered, mix(c.panel_sunken, c.accent_soft, 0.7), mix(c.line, c.accent, 0.5), c.ink),
            (&mut w.active, c.accent_soft, c.accent, c.ink),
            (&mut w.open, c.panel_raised, c.accent, c.ink),
        ] {
            visuals.bg_fill = fill;
            visuals.weak_bg_fill = fill;
            visuals.bg_stroke = Stroke::new(1.0, edge);
            visuals.fg_stroke = Stroke::new(1.0, text);
            visuals.corner_radius = radius;
            visuals.expansion = 0.0;
        }
        w.active.fg_stroke.width = 1.5;
        w.hovered.fg_stroke.width = 1.5;
        style
    }
}

/// Puts the program's typeface into a window, with egui's own fonts behind it for symbols it lacks.
///
/// B612 was drawn for cockpit displays: figures of one width, and 0/O, 1/l/I that cannot be mistaken.
pub fn install_fonts(ctx: &egui::Context) {
    let mut fonts = FontDefinitions::default();
    for (name, bytes) in [("b612", REGULAR), ("b612-bold", BOLD)] {
        fonts.font_data.insert(name.to_owned(), Arc::new(FontData::from_static(bytes)));
    }
    let fallback = fonts.families.get(&FontFamily::Proportional).cloned().unwrap_or_default();
    let family = |first: &str| {
        let mut names = vec![first.to_owned()];
        names.extend(fallback.iter().cloned());
        names
    };
    fonts.families.insert(FontFamily::Proportional, family("b612"));
    fonts.families.insert(FontFamily::Name(BOLD_FAMILY.into()), family("b612-bold"));
    ctx.set_fonts(fonts);
}

/// The colour between two, `t` = 0 giving the first; mixed in sRGB as screens show it.
#[must_use]
pub fn mix(a: Color32, b: Color32, t: f32) -> Color32 {
    let t = t.clamp(0.0, 1.0);
    let part = |x: u8, y: u8| (f32::from(x) + (f32::from(y) - f32::from(x)) * t).round() as u8;
    Color32::from_rgba_premultiplied(part(a.r(), b.r()), part(a.g(), b.g()), part(a.b(), b.b()), part(a.a(), b.a()))
}

/// A button that is one of several to choose from: all are framed, and the chosen one is filled.
pub fn chooser<'a>(chosen: bool, words: &'a str, theme: &Theme) -> egui::Button<'a> {
    let c = &theme.colours;
    let button = egui::Button::new(words).selected(chosen).frame(true).frame_when_inactive(true);
    let edge = if chosen { c.accent } else { c.line };
    button.fill(if chosen { c.accent_soft } else { c.panel_raised }).stroke(Stroke::new(1.0, edge))
}

/// An opaque colour made translucent; `alpha` from 0 to 1.
#[must_use]
pub fn with_alpha(colour: Color32, alpha: f32) -> Color32 {
    colour.gamma_multiply(alpha.clamp(0.0, 1.0))
}

/// White with a coverage from 0 to 255: the texels of pattern textures, coloured where they are drawn.
#[must_use]
pub fn coverage(alpha: u8) -> Color32 {
    Color32::from_white_alpha(alpha)
}

/// A pixel of an image as it lies under the map: a third of its colour taken away, so that marks stay on top.
#[must_use]
pub fn soften([red, green, blue, opacity]: [u8; 4]) -> Color32 {
    // Luma of ITU-R BT.601 in 1/256.
    let grey = (77 * u32::from(red) + 150 * u32::from(green) + 29 * u32::from(blue)) / 256;
    let part = |c: u8| ((2 * u32::from(c) + grey) / 3) as u8;
    Color32::from_rgba_unmultiplied(part(red), part(green), part(blue), opacity)
}

/// The text colour that reads best on a filled mark.
#[must_use]
pub fn on_fill(fill: Color32, colours: &Colours) -> Color32 {
    let light = |c: Color32| 0.299 * f32::from(c.r()) + 0.587 * f32::from(c.g()) + 0.114 * f32::from(c.b());
    let (ink, halo) = (colours.ink, colours.halo);
    if (light(fill) - light(ink)).abs() > (light(fill) - light(halo)).abs() { ink } else { halo }
}

fn shadow_ink() -> Color32 {
    Color32::BLACK
}

fn parse_hex(text: &str) -> Option<Color32> {
    let digits = text.strip_prefix('#')?;
    if digits.len() != 6 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let n = u32::from_str_radix(digits, 16).ok()?;
    Some(Color32::from_rgb((n >> 16) as u8, (n >> 8) as u8, n as u8))
}

fn hex<'de, D: serde::Deserializer<'de>>(d: D) -> Result<Color32, D::Error> {
    let text = String::deserialize(d)?;
    parse_hex(&text).ok_or_else(|| serde::de::Error::custom(format!("\"{text}\" is not a colour like \"#1F1D1A\"")))
}

fn four_hex<'de, D: serde::Deserializer<'de>>(d: D) -> Result<[Color32; 4], D::Error> {
    let texts = <[String; 4]>::deserialize(d)?;
    let mut out = [Color32::TRANSPARENT; 4];
    for (slot, text) in out.iter_mut().zip(&texts) {
        *slot = parse_hex(text)
            .ok_or_else(|| serde::de::Error::custom(format!("\"{text}\" is not a colour like \"#1F1D1A\"")))?;
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_palette_with_a_bad_colour_is_refused_with_its_text() {
        let bad = PALETTE.replacen("#F6F1E7", "F6F1E7", 1);
        let said = Palette::parse(&bad).unwrap_err().to_string();
        assert!(said.contains("\"F6F1E7\" is not a colour"), "{said}");
    }

    #[test]
    fn mixing_ends_at_both_colours() {
        let p = Palette::built_in().unwrap();
        assert_eq!(mix(p.day.paper, p.day.ink, 0.0), p.day.paper);
        assert_eq!(mix(p.day.paper, p.day.ink, 1.0), p.day.ink);
    }
}
