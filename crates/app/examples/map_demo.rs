//! Draws the map of an invented scene into PNG files, by day and night, near and far: `cargo run --example map_demo`.

#[path = "../tests/scene/mod.rs"]
mod scene;

use egui_kittest::Harness;
use scene::Scene;
use sparefield::theme::{Palette, Scheme, Theme, install_fonts};
use sparefield::views::map::{Camera, Loading, MapState, map_view};
use std::path::PathBuf;

struct Shot {
    name: &'static str,
    size: [f32; 2],
    pixels_per_point: f32,
    scheme: Scheme,
    metres_per_point: f64,
    rank: Option<usize>,
    ranked: bool,
    pointer: Option<[f32; 2]>,
}

fn main() -> anyhow::Result<()> {
    let folder = std::env::args().nth(1).map_or_else(|| std::env::temp_dir().join("map-demo"), PathBuf::from);
    let only = std::env::args().nth(2);
    std::fs::create_dir_all(&folder)?;
    let base = Shot {
        name: "day",
        size: [940.0, 800.0],
        pixels_per_point: 1.0,
        scheme: Scheme::Day,
        metres_per_point: 8.5,
        rank: None,
        ranked: true,
        pointer: None,
    };
    let shots = [
        Shot { rank: Some(2), pointer: Some([300.0, 200.0]), ..base },
        Shot { name: "night", scheme: Scheme::Night, rank: Some(2), ..base },
        Shot { name: "near", metres_per_point: 1.6, rank: Some(2), ..base },
        Shot { name: "near-night", metres_per_point: 1.6, rank: Some(2), scheme: Scheme::Night, ..base },
        Shot { name: "closest", metres_per_point: 0.5, rank: Some(1), ..base },
        Shot { name: "far", metres_per_point: 30.0, ..base },
        Shot { name: "unranked", ranked: false, ..base },
        Shot { name: "wide", size: [1580.0, 1080.0], metres_per_point: 5.0, rank: Some(1), ..base },
        Shot {
            name: "dense",
            size: [640.0, 480.0],
            pixels_per_point: 2.0,
            metres_per_point: 6.0,
            rank: Some(3),
            ..base
        },
    ];
    let palette = Palette::built_in()?;
    for shot in shots.iter().filter(|s| only.as_ref().is_none_or(|o| o == s.name)) {
        let theme = Theme::new(&palette, shot.scheme);
        let mut scene = Scene::new(150, 22.0, 25.0);
        if !shot.ranked {
            (scene.ranked, scene.reach) = (None, None);
        }
        if let Some(rank) = shot.rank {
            scene.choose(rank);
        }
        let mut centre = scene.aircraft.position;
        if shot.metres_per_point < 2.0
            && let Some(i) = scene.selected
        {
            centre = scene.fields[i].centroid();
        }
        let mut state = MapState::new(Loading::Inline);
        state.set_camera(Camera { centre, metres_per_point: shot.metres_per_point });
        let inner = theme.clone();
        let mut harness = Harness::builder()
            .with_size(shot.size)
            .with_pixels_per_point(shot.pixels_per_point)
            .with_theme(if shot.scheme == Scheme::Day { egui::Theme::Light } else { egui::Theme::Dark })
            .with_context_setup(move |ctx| {
                install_fonts(ctx);
                theme.apply(ctx);
            })
            .wgpu()
            .build_ui(move |ui| {
                egui::CentralPanel::default().frame(egui::Frame::NONE).show(ui, |ui| {
                    scene.with_input(&inner, |input| {
                        let _ = map_view(ui, &mut state, input);
                    });
                });
            });
        if let Some([x, y]) = shot.pointer {
            harness.hover_at(egui::pos2(x, y));
        }
        harness.run_steps(4);
        let image = harness.render().map_err(anyhow::Error::msg)?;
        let path = folder.join(format!("{}.png", shot.name));
        image.save(&path)?;
        println!("{}", path.display());
    }
    Ok(())
}
