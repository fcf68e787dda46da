//! How the pilot does over time, and what to practise next.

use crate::drill::pictures;
use crate::model::{DrillCommand, DrillPage, Model};
use crate::theme::{Theme, space};
use crate::views::sheet::paint;
use egui::{Button, Label, RichText, Ui, vec2};
use sparefield_data::quantity::format_day;
use sparefield_geometry::drill::{DrillResult, Progress};

/// Height of one plot, points.
const PLOT: f32 = 96.0;
/// Most of the weak points and missed fields that are told.
const MOST_TOLD: usize = 5;

/// The page.
pub(super) fn progress(ui: &mut Ui, model: &Model, theme: &Theme, push: &mut impl FnMut(DrillCommand)) {
    let soft = |text: String| Label::new(RichText::new(text).color(theme.colours.ink_soft)).wrap();
    let pilot = model.settings.pilot.trim();
    if pilot.is_empty() {
        ui.add(soft("Say under Fly who you are; results are then kept here, drill by drill.".to_owned()));
        return;
    }
    let results = model.drill_results();
    if results.is_empty() {
        ui.add(soft(format!("No results of {pilot} in this area yet. Fly a drill first.")));
        return;
    }
    let units = model.settings.units;
    let all = Progress::of(&results);
    let possible = results.iter().filter(|r| r.best_at_failure.is_some()).count();
    let stopped = results.iter().filter(|r| r.best_at_failure.is_some() && r.stopped_in_strip()).count();
    let text = format!("{pilot}: {stopped} of {possible} drills with a field in reach ended in the strip.");
    ui.add(Label::new(RichText::new(text).font(theme.bold_font(theme.sizes.text))).wrap());
    ui.add_space(space::TIGHT);
    let bad = |r: &&DrillResult| !r.stopped_in_strip();
    let mut plot = |title: &str,
                    trend: Option<String>,
                    least: f64,
                    of: &dyn Fn(&DrillResult) -> Option<f64>,
                    say: &dyn Fn(f64) -> String| {
        let values: Vec<(f64, bool)> = results.iter().filter_map(|r| Some((of(r)?, bad(r)))).collect();
        if values.is_empty() {
            return;
        }
        let heading = trend.map_or_else(|| title.to_owned(), |t| format!("{title} · {t}"));
        ui.add(Label::new(RichText::new(heading).size(theme.sizes.small)).wrap());
        let size = vec2(ui.available_width(), PLOT);
        paint::show(ui, &pictures::over_drills(title, &values, least, say, size), theme);
        ui.add_space(space::TIGHT);
    };
    let better = |delta: f64, say: &dyn Fn(f64) -> String| {
        let way = if delta <= 0.0 { "less" } else { "more" };
        format!("later half {} {way}", say(delta.abs()))
    };
    let seconds = |v: f64| format!("{v:.0} s");
    let score = |v: f64| format!("{v:.2}");
    let length = |v: f64| units.format_length(v);
    plot("Time to choose", all.time_trend_s.map(|d| better(d, &seconds)), 5.0, &|r| r.time_to_choose_s, &seconds);
    plot(
        "Regret in score against the best in reach",
        all.regret_trend.map(|d| better(d, &score)),
        0.1,
        &|r| Some(r.regret_at_failure?.score),
        &score,
    );
    plot(
        "Base leg, farther out or nearer than your own",
        all.base_leg_trend_m.map(|d| format!("spread of the {}", better(d, &length))),
        50.0,
        &DrillResult::base_leg_error_m,
        &length,
    );
    let text = "Each dot is a drill in the order flown; one that did not end in the strip stands out.";
    ui.add(soft(text.to_owned()));
    ui.add_space(space::LINE);
    ui.label(RichText::new("What costs most").font(theme.bold_font(theme.sizes.text)));
    for weak in all.weak.iter().take(MOST_TOLD) {
        let count = if weak.drills == 1 { "1 drill".to_owned() } else { format!("{} drills", weak.drills) };
        ui.add(Label::new(format!("{:.0} of 100: {}, {count}", 100.0 * weak.loss, weak.what)).wrap());
    }
    if !all.missed_fields.is_empty() {
        ui.add_space(space::TIGHT);
        ui.label(RichText::new("Best, and not chosen").font(theme.bold_font(theme.sizes.text)));
        for (name, count) in all.missed_fields.iter().take(MOST_TOLD) {
            ui.add(Label::new(format!("{count} × {name}")).wrap());
        }
    }
    ui.add_space(space::LINE);
    let help = "Of the failures you have not flown, one of a kind that costs you most is likelier to come";
    if ui.add(Button::new("Practise what is weak")).on_hover_text(help).clicked() {
        push(DrillCommand::Number(None));
        push(DrillCommand::Show(DrillPage::Fly));
        push(DrillCommand::Start);
    }
    ui.add_space(space::LINE);
    ui.label(RichText::new("Day by day").font(theme.bold_font(theme.sizes.text)));
    for day in all.series.iter().rev() {
        let time =
            day.time_to_choose_s.map_or_else(String::new, |m| format!(", middle time to choose {:.0} s", m.value));
        let text = format!(
            "{}: {}, {} of {} in the strip{time}",
            format_day(day.day),
            day.set_name,
            day.stopped,
            day.possible
        );
        ui.add(soft(text));
    }
}
