//! The area card in the window, by label and key.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod common;

use common::{app, opened, until};
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;

const FILE: &str = "File (.pdf to print, .png pictures, .html for a browser)";

#[test]
fn the_card_is_made_by_keyboard_and_said() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("card.html");
    let mut window = opened(1_280.0, 800.0, Vec::new());
    window.key_press_modifiers(Modifiers::COMMAND, Key::P);
    window.run_steps(4);
    // The name has the keyboard; what is suggested is replaced.
    window.key_press_modifiers(Modifiers::COMMAND, Key::A);
    window.run_steps(2);
    window.get_by_role_and_label(egui::accesskit::Role::TextInput, FILE).type_text(&path.display().to_string());
    window.run_steps(2);
    window.get_by_label("A5").click();
    window.run_steps(2);
    window.get_by_label("Make the card").click();
    window.run_steps(2);
    until(&mut window, "the card is made", |w| {
        app(w).model.notices.iter().any(|n| n.text.contains("The area card was written to"))
    });
    let page = std::fs::read_to_string(&path).unwrap();
    assert!(page.contains("Area card: ") && page.contains("Climb-out from"));
    assert!(window.query_by_label("Make the card").is_none());
}

#[test]
fn heights_that_are_none_are_told_and_escape_closes() {
    let mut window = opened(1_280.0, 800.0, Vec::new());
    window.get_by_label("Area").click();
    window.run_steps(3);
    window.get_by_label("Area card…").click();
    window.run_steps(4);
    window.get_by_label("Heights above the ground for the maps of options").focus();
    window.run_steps(2);
    window.key_press_modifiers(Modifiers::COMMAND, Key::A);
    window.run_steps(2);
    window.get_by_label("Heights above the ground for the maps of options").type_text("high");
    window.run_steps(2);
    assert!(window.query_by_label_contains("Heights: ").is_some());
    window.key_press(Key::Escape);
    window.run_steps(3);
    window.key_press(Key::Escape);
    window.run_steps(3);
    assert!(window.query_by_label("Make the card").is_none());
}
