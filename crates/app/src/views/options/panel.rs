//! The controls of the options map, over the map.

use super::words;
use crate::command::Command;
use crate::model::{
    AnnotateCommand, COVER_HEIGHTS_M, ClimbOutCommand, CoverCommand, CoverLook, Mode, Model, RouteCommand,
    SurveyCommand, Thing,
};
use crate::not_looked_at;
use crate::survey::filter::NotSince;
use crate::theme::{Theme, chooser, space};
use crate::views::conditions::HeightRow;
use egui::{Align2, ComboBox, Context, Rect, RichText, Ui, Vec2};
use sparefield_data::quantity::format_day;
use sparefield_geometry::fields::model::{Day, MONTHS};

/// Width of the controls, points: a share of the map's within limits.
const WIDTH: (f32, f32) = (252.0, 330.0);
const WIDTH_SHARE: f32 = 0.44;
/// Middle of a month, days from its first.
const MID_MONTH: i32 = 14;

/// The button over the map, and the controls when they are open.
pub fn panel(ctx: &Context, map: Rect, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    // Where it is not drawn its controls would do nothing that is seen.
    if model.area.is_none() || model.mode == Mode::Debrief || model.drills() {
        return;
    }
    let mut push = |command| commands.push(Command::Cover(command));
    egui::Area::new(egui::Id::unique("options button"))
        .pivot(Align2::RIGHT_TOP)
        .fixed_pos(map.right_top() + Vec2::new(-86.0, 12.0))
        .order(egui::Order::Middle)
        .show(ctx, |ui| {
            let button = egui::Button::new("Options map").selected(model.cover.panel);
            let help = "From which height a field is in reach, everywhere and along a route (O)";
            if ui.add(button).on_hover_text(help).clicked() {
                push(CoverCommand::ShowPanel(!model.cover.panel));
            }
        });
    if !model.cover.panel {
        return;
    }
    let mut open = true;
    egui::Window::new("Options map")
        .id(egui::Id::unique("options map"))
        .open(&mut open)
        .collapsible(true)
        .auto_sized()
        .pivot(Align2::RIGHT_TOP)
        .default_pos(map.right_top() + Vec2::new(-12.0, 50.0))
        .constrain_to(map.shrink(12.0))
        .show(ctx, |ui| {
            ui.set_width((map.width() * WIDTH_SHARE).clamp(WIDTH.0, WIDTH.1));
            egui::ScrollArea::vertical().max_height((map.height() - 130.0).max(120.0)).show(ui, |ui| {
                controls(ui, model, theme, commands);
            });
        });
    if !open {
        commands.push(Command::Cover(CoverCommand::ShowPanel(false)));
    }
}

fn controls(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let cover = &model.cover;
    if cover.route.drawing {
        // The map is what is needed now.
        route(ui, model, theme, commands);
        return;
    }
    let mut shown = cover.shown;
    if ui.checkbox(&mut shown, "Show it on the map").changed() {
        commands.push(Command::Cover(CoverCommand::Show(shown)));
    }
    if !cover.shown {
        return;
    }
    ui.scope(|ui| look(ui, model, theme, commands));
    height(ui, model, commands);
    answer(ui, model, theme);
    ui.separator();
    what_counts(ui, model, theme, commands);
    ui.separator();
    route(ui, model, theme, commands);
    ui.separator();
    climb_outs(ui, model, theme, commands);
    ui.separator();
    surveys(ui, model, theme, commands);
    ui.separator();
    let ready = cover.made.is_some() && cover.working.is_none();
    let export = ui.add_enabled(ready, egui::Button::new("Export…"));
    let help = "Rasters, lines and covered land of this map, or the fields judged for this wind, for other programs";
    if export.on_hover_text(help).clicked() {
        commands.push(Command::ChooseLayerExport);
    }
    ui.separator();
    match &cover.made {
        Some(made) => {
            for words in not_looked_at::options_map_cautions(&made.map) {
                note(ui, theme, &words);
            }
        }
        None => note(ui, theme, not_looked_at::BY_OPTIONS_MAP),
    }
}

fn look(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let cover = &model.cover;
    ui.spacing_mut().item_spacing.x = space::TIGHT;
    ui.horizontal_wrapped(|ui| {
        ui.label("Show");
        for look in CoverLook::ALL {
            if ui.add(chooser(cover.look == look, look.words(), theme)).clicked() {
                commands.push(Command::Cover(CoverCommand::Look(look)));
            }
        }
    });
    if cover.look != CoverLook::Number {
        ui.horizontal_wrapped(|ui| {
            ui.label("In reach");
            for (count, words) in [(1, "one field"), (2, "two"), (3, "three")] {
                if ui.add(chooser(cover.fields_needed == count, words, theme)).clicked() {
                    commands.push(Command::Cover(CoverCommand::FieldsNeeded(count)));
                }
            }
        });
    }
}

/// The height asked about: dragged, typed with a unit, or changed by arrow keys.
fn height(ui: &mut Ui, model: &Model, commands: &mut Vec<Command>) {
    ui.horizontal_wrapped(|ui| {
        let row = HeightRow {
            label: "Above ground",
            asked: "Height above the ground that is asked about",
            value_m: model.cover.height_agl_m,
            range_m: COVER_HEIGHTS_M,
            step_m: 20.0,
        };
        if let Some(height_m) = row.show(ui, model.settings.units, commands) {
            commands.push(Command::Cover(CoverCommand::Height(height_m)));
        }
    });
}

fn answer(ui: &mut Ui, model: &Model, theme: &Theme) {
    let cover = &model.cover;
    if let Some(why) = &cover.problem {
        problem(ui, theme, why);
    }
    if let Some(shade) = &cover.shade {
        ui.add(egui::Label::new(RichText::new(words::share(model, shade)).strong()).wrap());
        if cover.look == CoverLook::Number {
            note(ui, theme, "Clear: three fields or more in reach. Light dusk: two. Deeper: one. Darkest: none.");
        }
    }
    if let Some(share) = cover.working {
        ui.horizontal(|ui| {
            ui.spinner();
            let words = if share > 0.0 {
                format!("Working out winds, {:.0} % done", share * 100.0)
            } else {
                "Working out least heights…".to_owned()
            };
            note(ui, theme, &words);
        });
    }
    if let Some((words, first)) = words::at_place(model, model.conditions.position) {
        let first = first.map_or_else(String::new, |first| format!("; {first}"));
        note(ui, theme, &format!("Where the aircraft is: {words}{first}."));
    }
}

fn what_counts(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let cover = &model.cover;
    let mut push = |command| commands.push(Command::Cover(command));
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = space::TIGHT;
        ui.label("Wind");
        let number = cover.look == CoverLook::Number;
        for (nine, words) in [(false, "this wind"), (true, "nine winds of ten")] {
            let chosen = (cover.nine_in_ten && !number) == nine;
            let button = ui.add_enabled(!(nine && number), chooser(chosen, words, theme));
            let help = "Twenty winds about the one set: speed out by 1.6 m/s and direction by 30°, as forecasts are";
            if button.on_hover_text(help).clicked() {
                push(CoverCommand::NineInTen(nine));
            }
        }
    });
    ui.horizontal(|ui| {
        let label = ui.label("Fields as of");
        let words = cover.on.map_or_else(|| "today".to_owned(), format_day);
        let combo = ComboBox::from_id_salt("cover day").selected_text(words).width(110.0).show_ui(ui, |ui| {
            if ui.selectable_label(cover.on.is_none(), "today").clicked() {
                push(CoverCommand::On(None));
            }
            for (day, words) in coming(model.today) {
                if ui.selectable_label(cover.on == Some(day), words).clicked() {
                    push(CoverCommand::On(Some(day)));
                }
            }
        });
        combo.response.labelled_by(label.id).on_hover_text("Crops and surveys as they will be by then");
    });
    ui.horizontal(|ui| {
        let label = ui.label("Count");
        let combo = ComboBox::from_id_salt("cover looked at").selected_text(counted(cover.looked_at)).width(180.0);
        let combo = combo.show_ui(ui, |ui| {
            let offered = [
                None,
                Some(NotSince::Ever),
                Some(NotSince::Days(365)),
                Some(NotSince::Days(90)),
                Some(NotSince::Days(30)),
            ];
            for since in offered {
                if ui.selectable_label(cover.looked_at == since, counted(since)).clicked() {
                    push(CoverCommand::LookedAt(since));
                }
            }
        });
        combo.response.labelled_by(label.id);
    });
    if let Some(made) = &cover.made {
        let (would, all) = (made.map.demands.len(), made.map.area.fields.len());
        note(ui, theme, &format!("{would} of {all} fields count and would take the aircraft in this wind."));
    }
}

fn counted(since: Option<NotSince>) -> String {
    match since {
        None => "every field".to_owned(),
        Some(NotSince::Ever) => "fields that were looked at".to_owned(),
        Some(NotSince::Days(n)) => format!("looked at within {n} days"),
        Some(since) => format!("looked at {}", since.words()),
    }
}

/// The middles of the months to come.
fn coming(today: Day) -> Vec<(Day, String)> {
    let (year, month, day) = today.civil();
    let mut out = Vec::new();
    let mut first = today.days_since_epoch - i32::from(day) + 1;
    let (mut year, mut month) = (year, usize::from(month) - 1);
    for _ in 0..12 {
        first += Day::days_in_month(year, month);
        (year, month) = if month == 11 { (year + 1, 0) } else { (year, month + 1) };
        out.push((Day { days_since_epoch: first + MID_MONTH }, format!("mid {} {year}", MONTHS[month])));
    }
    out
}

fn route(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let plan = &model.cover.route;
    let mut push = |command| commands.push(Command::Cover(CoverCommand::Route(command)));
    ui.label(RichText::new("Route").font(theme.bold_font(theme.sizes.text)));
    ui.horizontal_wrapped(|ui| {
        let (words, help) = if plan.drawing {
            ("Done", "End the route (Enter)")
        } else {
            ("Draw on the map", "Click its places on the map one after the other")
        };
        if ui.add(egui::Button::new(words).selected(plan.drawing)).on_hover_text(help).clicked() {
            push(RouteCommand::Draw(!plan.drawing));
        }
        if ui.button("Add aircraft's place").on_hover_text("The place where the aircraft is, at its end").clicked() {
            push(RouteCommand::AddAircraft);
        }
        if ui.button("Open…").on_hover_text("A route or track from a GPX file, or any line").clicked() {
            push(RouteCommand::PickFile);
        }
        if !plan.places.is_empty() {
            if ui.button("Take back").on_hover_text("The last place (Backspace while drawing)").clicked() {
                push(RouteCommand::TakeBack);
            }
            if ui.button("Clear").on_hover_text("No route").clicked() {
                push(RouteCommand::Clear);
            }
        }
    });
    if plan.drawing {
        note(ui, theme, "Click places on the map. Enter or a double click ends it, Backspace takes the last back.");
    }
    if !plan.places.is_empty() {
        let mut find = plan.find;
        if ui.checkbox(&mut find, "Find a way round what is not covered").changed() {
            push(RouteCommand::Find(find));
        }
        let mut level = plan.level;
        if ui.checkbox(&mut level, "Fly level, as high above its start").changed() {
            push(RouteCommand::Level(level));
        }
        if plan.places.len() == 1 {
            note(ui, theme, "One more place makes a route.");
        }
    }
    if let Some(why) = &plan.problem {
        problem(ui, theme, why);
    }
}

/// Climb-outs over it: off every end of the home strip, from one height above the runway.
fn climb_outs(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let mut shown = model.climb_outs.on_options_map;
    let has_home = model.area.as_ref().is_some_and(|area| area.home.is_some());
    let tick = ui.add_enabled(has_home, egui::Checkbox::new(&mut shown, "Climb-outs off the home strip"));
    let tick = tick.on_hover_text("Glides ahead, fields in reach and the turn back, off every end of the runway");
    if tick.on_disabled_hover_text("This area has no home strip").changed() {
        commands.push(Command::ClimbOut(ClimbOutCommand::OnOptionsMap(shown)));
    }
    if !shown || !has_home {
        return;
    }
    crate::views::climb_out::height_line(ui, model, commands);
    if let Some(why) = &model.climb_outs.problem {
        problem(ui, theme, why);
    }
    if model.climb_outs.working.is_some() {
        ui.horizontal(|ui| {
            ui.spinner();
            note(ui, theme, "Flying the climb-outs…");
        });
    }
}

fn surveys(ui: &mut Ui, model: &Model, theme: &Theme, commands: &mut Vec<Command>) {
    let cover = &model.cover;
    let mut wanted = cover.wants_surveys;
    let words = "Which survey helps most";
    if ui.checkbox(&mut wanted, words).on_hover_text("Fields nobody looked at, by what they would cover").changed() {
        commands.push(Command::Cover(CoverCommand::Surveys(wanted)));
    }
    if !wanted {
        return;
    }
    if cover.surveying {
        ui.horizontal(|ui| {
            ui.spinner();
            note(ui, theme, "Trying fields that nobody looked at for too long…");
        });
    }
    let Some((_, height, found)) = &cover.surveys else { return };
    let units = model.settings.units;
    note(
        ui,
        theme,
        &format!(
            "From {} above the ground, fields looked at lately leave {} without cover. Each of these would cover this much \
             more after those before it, if it turned out to be short grass without stock:",
            units.format_height(*height),
            words::ground(found.uncovered_m2),
        ),
    );
    let Some(area) = &model.area else { return };
    let mut things = Vec::new();
    for (number, step) in found.list.iter().enumerate() {
        let Some(field) = found.map.area.fields.get(step.field) else { continue };
        let text = format!("{}. {}: {} more", number + 1, field.label(), words::ground(step.gain_m2));
        if step.suggested {
            // It is no field of the area yet, so it cannot be chosen; a click shows where it lies.
            let row = ui.selectable_label(false, format!("{text} (suggested)"));
            let help = "Suggested by the computer and not accepted; accept it in Annotate, then go and look";
            if row.on_hover_text(help).clicked() {
                commands.push(Command::Reveal(field.centroid()));
            }
            continue;
        }
        let Some(index) = area.fields.iter().position(|f| f.id == field.id) else { continue };
        things.push(Thing::Field(field.id.clone()));
        let row = ui.selectable_label(model.selected == Some(index), text);
        let row = row.on_hover_text(format!(
            "{}; alone it would cover {}",
            words::looked_at(step.surveyed),
            words::ground(step.alone_m2)
        ));
        if row.hovered() {
            commands.push(Command::Hover(Some(index)));
        }
        if row.clicked() {
            commands.push(Command::Select(Some(index)));
        }
    }
    if found.list.is_empty() {
        note(ui, theme, "None of them would cover a hectare more.");
        return;
    }
    ui.add_space(space::TIGHT);
    let help = "A walk or flight past these fields, with what to look at, to print";
    if ui.button("Make a check round of these").on_hover_text(help).clicked() {
        commands.push(Command::SetMode(Mode::Annotate));
        commands.push(Command::Annotate(AnnotateCommand::Choose(things)));
        commands.push(Command::Survey(SurveyCommand::MakeRound));
    }
}

fn note(ui: &mut Ui, theme: &Theme, words: &str) {
    let text = RichText::new(words).size(theme.sizes.small).color(theme.colours.ink_soft);
    ui.add(egui::Label::new(text).wrap());
}

fn problem(ui: &mut Ui, theme: &Theme, why: &str) {
    let text = RichText::new(why).size(theme.sizes.small).color(theme.colours.caution);
    ui.add(egui::Label::new(text).wrap());
}
