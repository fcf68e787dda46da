//! Pictures of a sheet on the screen.

use crate::sheet::picture::{Dots, Ink, Mark, Picture, Type};
use crate::theme::Theme;
use egui::epaint::{Mesh, TextShape, Vertex};
use egui::{Pos2, Rect, Response, Sense, Shape, Stroke, Ui, Vec2, WidgetInfo};

/// Shows a picture with its words for people who do not see it.
pub(crate) fn show(ui: &mut Ui, picture: &Picture, theme: &Theme) -> Response {
    let (rect, response) = ui.allocate_exact_size(picture.size, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(egui::Role::Image, true, &picture.words));
    paint(ui, rect, picture, theme);
    response
}

/// Paints a picture into a rectangle of its size.
pub(crate) fn paint(ui: &Ui, rect: Rect, picture: &Picture, theme: &Theme) {
    if !ui.is_rect_visible(rect) {
        return;
    }
    let painter = ui.painter().with_clip_rect(rect.intersect(ui.clip_rect()));
    painter.rect_filled(rect, 6.0, theme.colours.paper);
    let place = |p: &Pos2| *p + rect.min.to_vec2();
    let all = |points: &[Pos2]| points.iter().map(place).collect::<Vec<_>>();
    for mark in &picture.marks {
        match mark {
            Mark::Image { corner, size, dots } => {
                painter.add(Shape::mesh(image(place(corner), *size, dots)));
            }
            Mark::Line { points, ink, width, dash } => {
                let stroke = Stroke::new(*width, ink.colour(&theme.colours));
                match dash {
                    Some((line, gap)) => painter.extend(Shape::dashed_line(&all(points), stroke, *line, *gap)),
                    None => {
                        painter.add(Shape::line(all(points), stroke));
                    }
                }
            }
            Mark::Area { points, ink, alpha } => {
                let fill = crate::theme::with_alpha(ink.colour(&theme.colours), *alpha);
                painter.add(Shape::convex_polygon(all(points), fill, Stroke::NONE));
            }
            Mark::Band { upper, lower, ink, alpha } => {
                let fill = crate::theme::with_alpha(ink.colour(&theme.colours), *alpha);
                painter.add(Shape::mesh(band(&all(upper), &all(lower), fill)));
            }
            Mark::Dot { at, radius, ink } => {
                painter.circle_filled(place(at), *radius, ink.colour(&theme.colours));
            }
            Mark::Text { at, anchor, text, font, ink } => {
                let font = match font {
                    Type::Small => theme.small_font(),
                    Type::SmallBold => theme.bold_font(theme.sizes.small),
                };
                let colour = ink.colour(&theme.colours);
                let galley = painter.layout_no_wrap(text.clone(), font, colour);
                let corner = anchor.anchor_size(place(at), galley.size()).min;
                let halo = Ink::Paper.colour(&theme.colours);
                for off in [Vec2::new(-1.2, 0.0), Vec2::new(1.2, 0.0), Vec2::new(0.0, -1.2), Vec2::new(0.0, 1.2)] {
                    let shape = TextShape::new(corner + off, galley.clone(), halo).with_override_text_color(halo);
                    painter.add(shape);
                }
                painter.galley(corner, galley, colour);
            }
        }
    }
}

/// A picture in dots: a corner of triangles for each dot, colours running from one to the next.
fn image(corner: Pos2, size: Vec2, dots: &Dots) -> Mesh {
    let mut mesh = Mesh::default();
    let (wide, high) = (dots.width.max(1), dots.height.max(1));
    for (i, c) in dots.rgb.chunks_exact(3).enumerate() {
        let share = Vec2::new((i % wide) as f32 + 0.5, (i / wide) as f32 + 0.5) / Vec2::new(wide as f32, high as f32);
        mesh.vertices.push(Vertex::untextured(corner + share * size, egui::Color32::from_rgb(c[0], c[1], c[2])));
    }
    for row in 1..dots.height {
        for col in 1..dots.width {
            let at = (row * wide + col) as u32;
            let above = at - wide as u32;
            mesh.indices.extend([above - 1, above, at - 1, above, at - 1, at]);
        }
    }
    mesh
}

/// Triangles between two lines with as many points.
fn band(upper: &[Pos2], lower: &[Pos2], fill: egui::Color32) -> Mesh {
    let mut mesh = Mesh::default();
    for (up, low) in upper.iter().zip(lower) {
        let at = mesh.vertices.len() as u32;
        mesh.vertices.push(Vertex::untextured(*up, fill));
        mesh.vertices.push(Vertex::untextured(*low, fill));
        if at > 0 {
            mesh.indices.extend([at - 2, at - 1, at, at - 1, at, at + 1]);
        }
    }
    mesh
}
