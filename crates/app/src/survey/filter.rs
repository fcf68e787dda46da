//! Which fields are shown: by name, by when they were last looked at, by surface, by what is unknown about their sides.

use sparefield_data::area::Area;
use sparefield_data::quantity::{format_day, parse_day};
use sparefield_geometry::fields::model::{BoundaryEdge, Day, Field, Surface};
use sparefield_geometry::fields::survey::SurveyStanding;
use sparefield_geometry::position::Xy;

/// Since when nobody looked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum NotSince {
    /// Whenever: every field.
    #[default]
    Whenever,
    /// Not within so many days.
    Days(i32),
    /// Not on this day or later.
    Day(Day),
    /// Never looked at.
    Ever,
}

impl NotSince {
    /// The choices that are always offered.
    pub const OFFERED: [Self; 5] = [Self::Whenever, Self::Days(30), Self::Days(90), Self::Days(365), Self::Ever];
    /// What it means, behind "not looked at".
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::Whenever => "no matter when".to_owned(),
            Self::Days(1) => "for a day".to_owned(),
            Self::Days(n) => format!("for {n} days"),
            Self::Day(day) => format!("since {}", format_day(day)),
            Self::Ever => "ever".to_owned(),
        }
    }
    /// What somebody typed: `90`, `90d`, `90 days`, a date, `ever`, or `whenever`.
    ///
    /// # Errors
    /// One sentence.
    pub fn from_words(text: &str) -> Result<Self, String> {
        let plain = text.trim().to_lowercase();
        match plain.as_str() {
            "" | "no matter when" | "whenever" | "all" => return Ok(Self::Whenever),
            "ever" | "never" => return Ok(Self::Ever),
            _ => {}
        }
        let number = plain.trim_end_matches("days").trim_end_matches("day").trim_end_matches('d').trim();
        if let Ok(days) = number.parse::<i32>()
            && (0..=36_500).contains(&days)
            && number.len() < 8
        {
            return Ok(Self::Days(days));
        }
        parse_day(text).map(Self::Day).map_err(|_no_date| {
            format!("“{}” is neither days nor a date; write “90d”, “2026-09-01”, “ever” or “whenever”", text.trim())
        })
    }
    /// Whether a field was not looked at since then.
    #[must_use]
    pub fn holds(self, surveyed: Option<Day>, today: Day) -> bool {
        match (self, surveyed) {
            (Self::Whenever, _) | (_, None) => true,
            (Self::Ever, Some(_)) => false,
            (Self::Day(since), Some(day)) => day < since,
            (Self::Days(n), Some(day)) => today.days_since_epoch.saturating_sub(day.days_since_epoch) > n,
        }
    }
}

/// In which order fields are listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum SortBy {
    /// As in the area.
    #[default]
    Area,
    /// By name.
    Name,
    /// Longest not looked at first, never before all.
    Age,
    /// Largest first.
    Size,
    /// Longest from corner to corner first.
    Length,
}

impl SortBy {
    /// Every order.
    pub const ALL: [Self; 5] = [Self::Area, Self::Name, Self::Age, Self::Size, Self::Length];
    /// The order in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Area => "as drawn",
            Self::Name => "name",
            Self::Age => "oldest look first",
            Self::Size => "largest first",
            Self::Length => "longest first",
        }
    }
}

/// Which fields are shown.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Filter {
    /// Words that name, notes, crop or identifier hold, in any case.
    pub text: String,
    /// When nobody looked.
    pub not_since: NotSince,
    /// What was seen there.
    pub surface: Option<Surface>,
    /// At least one side of which nobody said what stands there.
    pub sides_unknown: bool,
    /// The order.
    pub sort: SortBy,
}

impl Filter {
    /// Whether it may leave fields out.
    #[must_use]
    pub fn is_on(&self) -> bool {
        let Self { text, not_since, surface, sides_unknown, sort: _ } = self;
        !text.trim().is_empty() || *not_since != NotSince::Whenever || surface.is_some() || *sides_unknown
    }
    /// Whether a field is shown.
    #[must_use]
    pub fn holds(&self, field: &Field, today: Day) -> bool {
        let wanted = self.text.trim().to_lowercase();
        let found = || {
            let texts = [&field.name, &field.id, &field.notes, &field.calendar.crop];
            texts.iter().any(|text| text.to_lowercase().contains(&wanted))
        };
        self.not_since.holds(field.surveyed, today)
            && self.surface.is_none_or(|s| field.surface == s)
            && (!self.sides_unknown || sides_unknown(field) > 0)
            && (wanted.is_empty() || found())
    }
    /// Indices of the fields shown, in order.
    #[must_use]
    pub fn shown(&self, area: &Area, today: Day) -> Vec<usize> {
        let fields = &area.fields;
        let mut shown: Vec<usize> = (0..fields.len()).filter(|&i| self.holds(&fields[i], today)).collect();
        match self.sort {
            SortBy::Area => {}
            SortBy::Name => shown.sort_by_cached_key(|&i| fields[i].label().to_lowercase()),
            SortBy::Age => shown.sort_by_key(|&i| fields[i].surveyed),
            SortBy::Size => largest_first(&mut shown, |i| fields[i].area_m2()),
            SortBy::Length => largest_first(&mut shown, |i| extent_m(&fields[i].outer)),
        }
        shown
    }
}

fn largest_first(shown: &mut Vec<usize>, key: impl Fn(usize) -> f64) {
    let mut keyed: Vec<(f64, usize)> = shown.iter().map(|&i| (key(i), i)).collect();
    keyed.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    *shown = keyed.into_iter().map(|(_, i)| i).collect();
}

/// Largest distance between two corners, metres.
#[must_use]
pub fn extent_m(outer: &[Xy]) -> f64 {
    let pairs = outer.iter().enumerate().flat_map(|(i, a)| outer[i + 1..].iter().map(move |b| a.distance(*b)));
    pairs.fold(0.0, f64::max)
}

/// How many sides of a field nobody looked at.
#[must_use]
pub fn sides_unknown(field: &Field) -> usize {
    field.edges.iter().filter(|e| **e == BoundaryEdge::UNKNOWN).count()
}

/// What the filter shows of an area, kept until the area, the filter or the day changes.
#[derive(Clone, Debug, Default)]
pub struct Shown {
    made_for: Option<(u64, Filter, Day)>,
    /// Indices of the fields shown, in order.
    pub order: Vec<usize>,
    hidden: Vec<bool>,
    doubtful: Vec<bool>,
}

impl Shown {
    /// Brings it up to date; `revision` is that of the area's land.
    pub fn follow(&mut self, area: &Area, revision: u64, filter: &Filter, today: Day) {
        let current = self.made_for.as_ref().is_some_and(|(r, f, d)| (*r, f, *d) == (revision, filter, today));
        if current {
            return;
        }
        self.order = filter.shown(area, today);
        self.hidden = vec![true; area.fields.len()];
        for &i in &self.order {
            self.hidden[i] = false;
        }
        let standing = area.fields.iter().map(|f| SurveyStanding::of(f, Some(today)));
        self.doubtful = standing.map(|s| s.is_doubtful()).collect();
        self.made_for = Some((revision, filter.clone(), today));
    }
    /// Whether the filter leaves a field out.
    #[must_use]
    pub fn hides(&self, index: usize) -> bool {
        self.hidden.get(index).copied().unwrap_or(false)
    }
    /// Whether nobody looked at a field, or so long ago that it may be another by now.
    #[must_use]
    pub fn doubts(&self, index: usize) -> bool {
        self.doubtful.get(index).copied().unwrap_or(true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TODAY: Day = Day { days_since_epoch: 20_782 };

    fn ago(days: i32) -> Day {
        Day { days_since_epoch: TODAY.days_since_epoch - days }
    }

    #[test]
    fn what_people_type_is_understood() {
        for (text, expected) in [
            ("90d", NotSince::Days(90)),
            ("90", NotSince::Days(90)),
            ("7 days", NotSince::Days(7)),
            ("1 day", NotSince::Days(1)),
            ("2026-11-25", NotSince::Day(TODAY)),
            ("20261125", NotSince::Day(TODAY)),
            ("Ever", NotSince::Ever),
            ("whenever", NotSince::Whenever),
        ] {
            assert_eq!(NotSince::from_words(text), Ok(expected), "{text}");
        }
        for text in ["soon", "-3d", "99999999999d"] {
            assert!(NotSince::from_words(text).unwrap_err().contains("90d"), "{text}");
        }
    }

    #[test]
    fn not_looked_at_counts_days_and_never() {
        let holds = |since: NotSince, day| since.holds(day, TODAY);
        assert!(!holds(NotSince::Days(30), Some(ago(30))) && holds(NotSince::Days(30), Some(ago(31))));
        assert!(
            holds(NotSince::Days(30), None) && holds(NotSince::Ever, None) && !holds(NotSince::Ever, Some(ago(900)))
        );
        assert!(!holds(NotSince::Day(TODAY), Some(ago(0))) && holds(NotSince::Day(TODAY), Some(ago(1))));
        assert!(holds(NotSince::Whenever, Some(ago(0))));
    }

    #[test]
    fn text_is_looked_for_in_name_notes_and_crop() {
        let mut field = Field { name: "Long Acre".into(), notes: "gate in the north".into(), ..Field::default() };
        field.calendar.crop = "Winter Wheat".into();
        let filter = |text: &str| Filter { text: text.into(), ..Filter::default() };
        for text in ["acre", " GATE ", "wheat", ""] {
            assert!(filter(text).holds(&field, TODAY), "{text}");
        }
        assert!(!filter("barley").holds(&field, TODAY));
        assert!(!Filter { sides_unknown: true, ..Filter::default() }.holds(&field, TODAY));
        field.edges = vec![BoundaryEdge::UNKNOWN];
        assert!(Filter { sides_unknown: true, ..Filter::default() }.holds(&field, TODAY));
        assert!(!Filter { surface: Some(Surface::Stubble), ..Filter::default() }.holds(&field, TODAY));
    }

    #[test]
    fn the_extent_is_the_longest_diagonal() {
        let square = [(0.0, 0.0), (30.0, 0.0), (30.0, 40.0), (0.0, 40.0)].map(|(x, y)| Xy::new(x, y));
        assert_eq!(extent_m(&square), 50.0);
        assert_eq!(extent_m(&[]), 0.0);
    }
}
