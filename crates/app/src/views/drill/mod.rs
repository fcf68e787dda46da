//! Drills in the window: what is drilled next, the failure with its clock, the result, progress, and the sets.

mod ahead;
mod choosing;
mod fan;
mod fly;
pub(crate) mod on_map;
mod progress;
mod result;
mod sets;

use crate::command::Command;
use crate::model::{DrillCommand, DrillPage, Model, RehearsePage, Stage};
use crate::theme::{Theme, chooser, space};
use egui::{Frame, Label, RichText, ScrollArea, Ui};

/// The switch between looking and drilling.
pub fn pages(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let now = model.drilling.page;
    row_of(
        ui,
        &RehearsePage::ALL,
        now,
        theme,
        |page| (page.words(), page.help()),
        |page| {
            commands.push(Command::Drill(DrillCommand::Page(page)));
        },
    );
    ui.add_space(space::TIGHT);
}

/// Buttons beside one another, one of them pressed.
fn row_of<T: Copy + PartialEq>(
    ui: &mut Ui,
    all: &[T],
    now: T,
    theme: &Theme,
    words: impl Fn(T) -> (&'static str, &'static str),
    mut push: impl FnMut(T),
) {
    ui.horizontal(|ui| {
        if all.len() > 3 {
            // Four names fill the column.
            ui.spacing_mut().item_spacing.x = space::TIGHT.min(4.0);
            ui.spacing_mut().button_padding.x = 5.0;
        }
        let gaps = ui.spacing().item_spacing.x * (all.len() - 1) as f32;
        let width = (ui.available_width() - gaps) / all.len() as f32;
        for one in all {
            let (name, help) = words(*one);
            let button = chooser(*one == now, name, theme).min_size(egui::vec2(width, 24.0));
            let response = ui.add(button);
            let response = if help.is_empty() { response } else { response.on_hover_text(help) };
            if response.clicked() {
                push(*one);
            }
        }
    });
}

/// The column on the Drill page.
pub fn panel(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    if model.shows_fan_stops() {
        pages_of_drills(ui, model, theme, commands);
        ScrollArea::vertical()
            .id_salt("fan stops")
            .auto_shrink(false)
            .show(ui, |ui| fan::fan(ui, model, theme, commands));
        return;
    }
    let mut push = |command| commands.push(Command::Drill(command));
    if let Some(session) = &model.drilling.session {
        match &session.stage {
            Stage::Running | Stage::Gliding => choosing::choosing(ui, model, session, theme, &mut push),
            Stage::Judging => {
                ui.horizontal(|ui| {
                    ui.spinner();
                    ui.label(if session.is_by_hand { "Judging your flight…" } else { "Flying what you chose…" });
                });
            }
            Stage::Ended(ended) => result::result(ui, model, ended, theme, &mut push),
        }
        return;
    }
    pages_of_drills(ui, model, theme, commands);
    let mut push = |command| commands.push(Command::Drill(command));
    let shows = model.drilling.shows;
    ScrollArea::vertical().id_salt(("drill page", shows.words())).auto_shrink(false).show(ui, |ui| match shows {
        DrillPage::Fly => fly::fly(ui, model, theme, &mut push),
        DrillPage::Progress => progress::progress(ui, model, theme, &mut push),
        // Shown above.
        DrillPage::FanStops => {}
        DrillPage::Sets => sets::sets(ui, model, theme, &mut push),
    });
}

/// The switch between the pages of drills, and what went wrong last.
fn pages_of_drills(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let shows = model.drilling.shows;
    row_of(
        ui,
        &DrillPage::ALL,
        shows,
        theme,
        |page| (page.words(), ""),
        |page| commands.push(Command::Drill(DrillCommand::Show(page))),
    );
    if let Some(problem) = &model.drilling.problem {
        ui.add(Label::new(RichText::new(problem).color(theme.colours.caution)).wrap());
    }
    ui.add_space(space::TIGHT);
}

/// The drawer under the map: the view ahead while the pilot flies, the heights of a drill that is over.
pub fn drawer(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let flown = model.drilling.session.as_ref().filter(|s| model.drills() && s.is_by_hand);
    if let Some(session) = flown.filter(|s| matches!(s.stage, Stage::Running | Stage::Gliding)) {
        ahead::drawer(ui, session, theme);
    }
    let over = model.drilling.session.as_ref().filter(|s| model.drills() && s.is_over());
    let Some(session) = over else { return };
    let frame = Frame::new().fill(theme.colours.panel).inner_margin(egui::Margin::symmetric(12, 8));
    egui::Panel::bottom("drill heights").resizable(false).frame(frame).show(ui, |ui| {
        result::drawer(ui, model, session, theme, &mut |command| commands.push(Command::Drill(command)));
    });
}
