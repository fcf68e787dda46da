//! Sentences into fixes as they come: a fix is handed on as soon as its moment is complete, and at the latest when the
//! line falls silent.

use super::{LiveFix, News};
use crate::track::clock;
use crate::track::nmea::{Epoch, Gatherer, Sentence, parse};
use jiff::civil::Date;
use std::time::Instant;

/// Puts the sentences of a stream together.
#[derive(Debug, Default)]
pub(super) struct Assembler {
    gatherer: Gatherer,
    /// Whether the open moment was handed on already.
    told: bool,
    /// The last date that a sentence gave, with the time of day it belongs to.
    date: Option<(Date, f64)>,
}

impl Assembler {
    /// Takes one line.
    pub(super) fn line(&mut self, line: &[u8], received: Instant) -> Vec<News> {
        let Some(begin) = line.iter().position(|b| *b == b'$') else { return vec![News::Rejected] };
        let Ok(sentence) = parse(&line[begin..]) else { return vec![News::Rejected] };
        if sentence == Sentence::Other {
            return Vec::new();
        }
        let mut news = Vec::new();
        if let Some(before) = self.gatherer.take(sentence) {
            if !std::mem::take(&mut self.told) {
                news.push(self.news(&before, received));
            }
            self.told = false;
        }
        if let Some(open) = self.gatherer.open().copied() {
            let complete = open.height_msl_m.is_some() && open.speed_ms.is_some() && open.date.is_some();
            if complete && open.valid && !self.told {
                self.told = true;
                news.push(self.news(&open, received));
            }
        }
        news
    }

    /// The line is silent: what came so far is all of its moment.
    pub(super) fn silence(&mut self, received: Instant) -> Option<News> {
        let open = self.gatherer.open().copied()?;
        if std::mem::replace(&mut self.told, true) {
            return None;
        }
        Some(self.news(&open, received))
    }

    fn news(&mut self, epoch: &Epoch, received: Instant) -> News {
        if let (Some(date), Some(time)) = (epoch.date, epoch.time_s) {
            self.date = Some((date, time));
        }
        let place = epoch.place.filter(|p| !(p.lon_deg == 0.0 && p.lat_deg == 0.0) && p.lat_deg.abs() < 90.0);
        let Some(place) = place.filter(|_| epoch.valid) else { return News::NoFix };
        News::Fix(LiveFix {
            time: self.moment(epoch),
            place,
            height_amsl_m: epoch.height_msl_m,
            speed_ms: epoch.speed_ms,
            track_deg: epoch.track_deg,
            received,
        })
    }

    /// The moment of a fix, with the last date known; after midnight the next.
    fn moment(&self, epoch: &Epoch) -> Option<jiff::Timestamp> {
        let (date, at) = self.date?;
        let time = epoch.time_s?;
        let date = if at - time > clock::DAY_S / 2.0 { date.tomorrow().ok()? } else { date };
        clock::moment(date, time)
    }
}
