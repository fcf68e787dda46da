use super::super::criteria::{ROOMY_FROM, WORKABLE_FROM};
use super::*;
use proptest::prelude::*;

/// 1 July 2026: 20 635 days after 1970-01-01, counted by hand from 2026-11-25 (20 782) back by 147 days.
const JULY: Day = Day { days_since_epoch: 20_635 };

fn seen(surface: Surface, days_ago: i32) -> Field {
    Field {
        surface,
        stock: Stock::None,
        surveyed: Some(Day { days_since_epoch: JULY.days_since_epoch - days_ago }),
        ..Field::default()
    }
}

fn on(field: &Field) -> SurveyStanding {
    SurveyStanding::of(field, Some(JULY))
}

#[test]
fn the_day_of_these_tests_is_the_first_of_july() {
    assert_eq!(JULY.civil(), (2026, 7, 1));
}

#[test]
fn pasture_halves_slower_than_a_crop_and_a_month_of_work_is_sharp() {
    // 60 days from 1 January fall in months without work: one half-life of pasture, two of a crop.
    let winter = Day { days_since_epoch: JULY.days_since_epoch - 181 };
    assert_eq!(winter.civil(), (2026, 1, 1));
    let after = |surface, days| {
        let field = Field { surface, surveyed: Some(winter), ..Field::default() };
        SurveyStanding::of(&field, Some(Day { days_since_epoch: winter.days_since_epoch + days })).confidence
    };
    assert!((after(Surface::GrazedGrass, 60) - 0.5).abs() < 0.01);
    assert!((after(Surface::ShortCrop, 60) - 0.25).abs() < 0.01);
    // Thirty days of April halve a short crop twice, thirty days of January once.
    let april = after(Surface::ShortCrop, 120) / after(Surface::ShortCrop, 90);
    assert!((april - 0.25).abs() < 0.02, "{april}");
    assert_eq!(after(Surface::Stubble, 0), 1.0);
    assert!(after(Surface::SoftOrWet, 5_000) < 1e-9);
}

#[test]
fn a_harvest_in_the_calendar_ends_a_survey_sharply() {
    let mut field = seen(Surface::GrazedGrass, 30);
    let before = on(&field).confidence;
    field.calendar.months[4] = Some(Surface::LongGrass);
    field.calendar.months[5] = Some(Surface::GrazedGrass);
    let turned = on(&field).confidence;
    // Thirty days, nearly all of June: three half-lives of ten days.
    assert!(before > 0.6 && (turned - 0.125).abs() < 0.02, "{before} {turned}");
    field.calendar.year = Some(2025);
    assert_eq!(on(&field).confidence, before);
}

#[test]
fn while_a_survey_is_trusted_the_calendar_is_silent() {
    let mut field = seen(Surface::GrazedGrass, 3);
    field.calendar.months[6] = Some(Surface::TallCrop);
    let standing = on(&field);
    assert_eq!((standing.surface.surface, standing.surface.source), (Surface::GrazedGrass, SurfaceSource::Seen));
    assert_eq!(standing.expected_now(), None);
    assert_eq!(standing.surface_value(), surface_value(Surface::GrazedGrass));
}

#[test]
fn when_time_has_passed_the_worse_of_seen_and_expected_counts() {
    let mut field = seen(Surface::GrazedGrass, 100);
    field.calendar.months[6] = Some(Surface::TallCrop);
    let standing = on(&field);
    assert_eq!((standing.surface.surface, standing.surface.source), (Surface::TallCrop, SurfaceSource::Expected));
    assert!(standing.surface.confidence < TRUSTED_FROM && standing.surface_value() < 0.35);
    // The calendar promises better than what was seen: what was seen counts.
    let mut field = seen(Surface::TallCrop, 100);
    field.calendar.months[6] = Some(Surface::Stubble);
    let standing = on(&field);
    assert_eq!((standing.surface.surface, standing.surface.source), (Surface::TallCrop, SurfaceSource::Seen));
    assert_eq!(standing.surface_value(), surface_value(Surface::TallCrop));
}

#[test]
fn what_nobody_saw_stays_unknown_or_counts_as_worse() {
    let mut field = Field::default();
    assert_eq!(on(&field).surface.source, SurfaceSource::Unknown);
    let unknown = on(&field).surface_value();
    field.calendar.months[6] = Some(Surface::Stubble);
    assert_eq!(on(&field).surface_value(), unknown);
    assert_eq!(on(&field).surface_for_length(), Surface::Unknown);
    field.calendar.months[6] = Some(Surface::TallCrop);
    assert!(on(&field).surface_value() < unknown);
}

#[test]
fn animals_come_within_days_on_grass_and_are_not_forgotten() {
    let grass = on(&seen(Surface::GrazedGrass, 30));
    assert!(grass.stock_value() < ROOMY_FROM, "{}", grass.stock_value());
    assert!(on(&seen(Surface::Stubble, 30)).stock_value() > 0.8);
    let mut looked = seen(Surface::GrazedGrass, 30);
    looked.stock_seen = Some(Day { days_since_epoch: JULY.days_since_epoch - 1 });
    assert!(on(&looked).stock_value() > 0.9 && on(&looked).stock_age_days == Some(1));
    looked.stock = Stock::Present;
    assert_eq!(on(&looked).stock_value(), on(&Field { stock_seen: None, ..looked.clone() }).stock_value());
}

#[test]
fn days_that_are_not_known_are_worth_nothing() {
    let field = seen(Surface::Stubble, -1);
    for standing in [on(&field), SurveyStanding::of(&seen(Surface::Stubble, 3), None), on(&Field::default())] {
        assert_eq!((standing.age_days, standing.confidence, standing.is_doubtful()), (None, 0.0, true));
        assert!(standing.surface_value() < ROOMY_FROM);
    }
    let ages = (Day { days_since_epoch: i32::MIN }, Day { days_since_epoch: i32::MAX });
    let mut field = Field { surveyed: Some(ages.0), ..Field::default() };
    assert_eq!(SurveyStanding::of(&field, Some(ages.1)).age_days, None);
    field.surveyed = Some(Day { days_since_epoch: 0 });
    assert_eq!(SurveyStanding::of(&field, Some(ages.1)).confidence, 0.0);
}

fn any_calendar() -> impl Strategy<Value = Calendar> {
    let month = prop::option::of(prop::sample::select(Surface::ALL.to_vec()));
    let year = prop::option::of(2025..=2026_i32);
    (year, prop::array::uniform12(month)).prop_map(|(year, months)| Calendar { year, crop: String::new(), months })
}

proptest! {
    #[test]
    fn an_older_survey_is_never_worth_more(
        surface in prop::sample::select(Surface::ALL.to_vec()),
        stock in prop::sample::select(Stock::ALL.to_vec()),
        calendar in any_calendar(), young in 0..900_i32, older in 1..900_i32,
    ) {
        let [young, old] = [young, young + older].map(|days| {
            on(&Field { stock, calendar: calendar.clone(), ..seen(surface, days) })
        });
        prop_assert!(old.confidence <= young.confidence);
        prop_assert!(old.surface_value() <= young.surface_value());
        prop_assert!(old.stock_value() <= young.stock_value());
        prop_assert!(surface_value(old.surface.surface) <= surface_value(young.surface.surface));
        let factor = |s: SurveyStanding| surface_factor(s.surface_for_length()).0;
        prop_assert!(factor(old) >= factor(young));
    }

    #[test]
    fn a_calendar_promises_nothing(
        surface in prop::sample::select(Surface::ALL.to_vec()), calendar in any_calendar(), days in 0..900_i32,
    ) {
        let bare = seen(surface, days);
        let with = on(&Field { calendar, ..bare.clone() });
        let bare = on(&bare);
        // Never better than what was seen, never certain; it makes no survey younger and no unknown field good.
        prop_assert!(with.surface_value() <= surface_value(surface));
        prop_assert!(with.confidence <= bare.confidence);
        if with.surface.source == SurfaceSource::Expected {
            prop_assert!(with.surface.confidence < 1.0);
        }
        if surface == Surface::Unknown {
            prop_assert!(with.surface_value() < WORKABLE_FROM);
        }
        if with.surface_value() > bare.surface_value() {
            prop_assert!(with.expected == Some(surface) && with.is_doubtful());
        }
    }
}
