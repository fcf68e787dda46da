//! A route over the options map: its places, how it is flown, and its cover.

use crate::options_map::{FoundRoute, Route};
use sparefield_geometry::position::Xy;
use std::path::PathBuf;
use std::sync::Arc;

/// What the pilot can do about a route.
#[derive(Clone, Debug, PartialEq)]
pub enum RouteCommand {
    /// Begin to draw one on the map, or end that.
    Draw(bool),
    /// Add a place at its end.
    Add(Xy),
    /// Add the place where the aircraft is.
    AddAircraft,
    /// Take back the last place.
    TakeBack,
    /// No route.
    Clear,
    /// Find a way round ground without cover between its places, or fly straight lines.
    Find(bool),
    /// Fly level, as high above the start as asked, or as high above the ground all along.
    Level(bool),
    /// Ask for a file with a route.
    PickFile,
    /// Take the route of a file.
    Take(Vec<Xy>, String),
    /// Read the route of a file.
    Read(PathBuf),
    /// It could not be read or flown, and why.
    Refuse(String),
    /// Point at a place along it, metres from its start, or at none.
    PointAt(Option<f64>),
}

/// A route and its cover, for what it was asked.
#[derive(Clone, Debug)]
pub struct RouteMade {
    /// Its line: the places, or what was found between them.
    pub line: Vec<Xy>,
    /// What was found, where that was asked for.
    pub found: Option<FoundRoute>,
    /// Its cover.
    pub route: Route,
}

/// The state of it.
#[derive(Clone, Debug, Default)]
pub struct RoutePlan {
    /// Whether clicks on the map add places.
    pub drawing: bool,
    /// Its places.
    pub places: Vec<Xy>,
    /// The file it came from.
    pub from_file: Option<String>,
    /// Whether a way round ground without cover is found between its places.
    pub find: bool,
    /// Whether it is flown level.
    pub level: bool,
    /// Its cover.
    pub made: Option<Arc<RouteMade>>,
    /// Whether that is being worked out.
    pub working: bool,
    /// Why it could not be.
    pub problem: Option<String>,
    /// The place pointed at, metres from the start.
    pub pointed_m: Option<f64>,
}

impl RoutePlan {
    /// Applies a command.
    pub fn apply(&mut self, command: &RouteCommand, aircraft: Xy) {
        match command {
            RouteCommand::Draw(drawing) => {
                self.drawing = *drawing;
                if *drawing && self.from_file.is_some() {
                    *self = Self { drawing: true, find: self.find, level: self.level, ..Self::default() };
                }
            }
            RouteCommand::Add(place) => self.add(*place),
            RouteCommand::AddAircraft => self.add(aircraft),
            RouteCommand::TakeBack => drop(self.places.pop()),
            RouteCommand::Clear => *self = Self { find: self.find, level: self.level, ..Self::default() },
            RouteCommand::Find(find) => self.find = *find,
            RouteCommand::Level(level) => self.level = *level,
            RouteCommand::Take(line, name) => {
                *self = Self { find: false, level: self.level, ..Self::default() };
                self.places.clone_from(line);
                self.from_file = Some(name.clone());
            }
            RouteCommand::Refuse(why) => {
                self.problem = Some(why.clone());
                return;
            }
            RouteCommand::PointAt(along) => {
                self.pointed_m = *along;
                return;
            }
            RouteCommand::PickFile | RouteCommand::Read(_) => {}
        }
        self.problem = None;
        if self.places.len() < 2 {
            self.made = None;
        }
    }

    fn add(&mut self, place: Xy) {
        if self.places.last() != Some(&place) {
            self.places.push(place);
        }
    }
}
