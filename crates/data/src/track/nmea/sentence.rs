//! Single sentences of NMEA 0183.
//!
//! Source: NMEA 0183 as its receivers' manuals describe it: `$`, two letters for the talker and three for the sentence,
//! fields between commas, `*` and two hexadecimal digits, the exclusive or of every byte between `$` and `*`.

use crate::track::clock;
use jiff::civil::Date;
use sparefield_geometry::position::LonLat;

/// No sentence is longer, bytes: the standard allows 82, some receivers write more.
pub(crate) const LONGEST: usize = 256;
/// Metres per second in a knot (exact: 1 852 m in an hour).
const KNOT_MS: f64 = 1_852.0 / 3_600.0;

/// What a sentence says, of what is used here.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sentence {
    /// A fix: GGA or GNS.
    Fix {
        /// Seconds since midnight, UTC.
        time_s: Option<f64>,
        /// Where, unless the fields are empty.
        place: Option<LonLat>,
        /// Whether the receiver says that it is a fix.
        valid: bool,
        /// Height above mean sea level, metres.
        height_msl_m: Option<f64>,
        /// The geoid above the ellipsoid as the receiver knows it, metres.
        geoid_m: Option<f64>,
    },
    /// The recommended minimum: RMC.
    Minimum {
        /// Seconds since midnight, UTC.
        time_s: Option<f64>,
        /// The date.
        date: Option<Date>,
        /// Where, unless the fields are empty.
        place: Option<LonLat>,
        /// Whether the receiver says that it is a fix.
        valid: bool,
        /// Speed over the ground, m/s.
        speed_ms: Option<f64>,
        /// Track over the ground, degrees from true north.
        track_deg: Option<f64>,
    },
    /// The date and time: ZDA.
    Clock {
        /// Seconds since midnight, UTC.
        time_s: Option<f64>,
        /// The date.
        date: Option<Date>,
    },
    /// Any other sentence.
    Other,
}

/// Why a line is not a sentence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotASentence {
    /// It does not have the form of one.
    Form,
    /// Its checksum says that it was damaged on the way.
    Checksum,
}

/// Reads one line, with or without a checksum.
///
/// # Errors
/// When it is no sentence, or its checksum is wrong.
pub fn parse(line: &[u8]) -> Result<Sentence, NotASentence> {
    let line = line.trim_ascii();
    let body = line.strip_prefix(b"$").ok_or(NotASentence::Form)?;
    if body.len() > LONGEST || !body.is_ascii() {
        return Err(NotASentence::Form);
    }
    let text = std::str::from_utf8(body).map_err(|_not_ascii| NotASentence::Form)?;
    let text = match text.split_once('*') {
        None => text,
        Some((said, sum)) => {
            let stated = sum.get(..2).and_then(|hex| u8::from_str_radix(hex, 16).ok()).ok_or(NotASentence::Checksum)?;
            if checksum(said) != stated {
                return Err(NotASentence::Checksum);
            }
            said
        }
    };
    let fields: Vec<&str> = text.split(',').map(str::trim).collect();
    let field = |i: usize| fields.get(i).copied().unwrap_or_default();
    let address = field(0);
    if address.len() != 5 || !address.bytes().all(|b| b.is_ascii_alphanumeric()) {
        // Makers' own sentences begin with P and have addresses of any length.
        return if address.starts_with('P') { Ok(Sentence::Other) } else { Err(NotASentence::Form) };
    }
    if address.starts_with('P') {
        return Ok(Sentence::Other);
    }
    let number = |i: usize| field(i).parse::<f64>().ok().filter(|v| v.is_finite());
    let place = |i: usize| {
        let lat = angle(field(i), field(i + 1), ["N", "S"], 90.0)?;
        LonLat::new(angle(field(i + 2), field(i + 3), ["E", "W"], 180.0)?, lat)
    };
    Ok(match &address[2..] {
        "GGA" => Sentence::Fix {
            time_s: clock::time_of_day(field(1)),
            place: place(2),
            // 0 is no fix; 6 is reckoned, 7 typed in, 8 simulated.
            valid: matches!(field(6), "1" | "2" | "3" | "4" | "5"),
            height_msl_m: number(9).filter(|h| crate::track::height_on_earth(*h)),
            geoid_m: number(11),
        },
        "GNS" => Sentence::Fix {
            time_s: clock::time_of_day(field(1)),
            place: place(2),
            // One letter for each system: N is no fix, E reckoned, M typed in, S simulated.
            valid: field(6).contains(['A', 'D', 'P', 'R', 'F']),
            height_msl_m: number(9).filter(|h| crate::track::height_on_earth(*h)),
            geoid_m: number(10),
        },
        "RMC" => Sentence::Minimum {
            time_s: clock::time_of_day(field(1)),
            date: clock::short_date(field(9)),
            place: place(3),
            valid: field(2) == "A",
            speed_ms: number(7).filter(|v| *v >= 0.0).map(|v| v * KNOT_MS),
            track_deg: number(8),
        },
        "ZDA" => Sentence::Clock {
            time_s: clock::time_of_day(field(1)),
            date: (|| Date::new(field(4).parse().ok()?, field(3).parse().ok()?, field(2).parse().ok()?).ok())(),
        },
        _ => Sentence::Other,
    })
}

/// The exclusive or of every byte.
pub fn checksum(text: &str) -> u8 {
    text.bytes().fold(0, |sum, b| sum ^ b)
}

/// Degrees from `dddmm.mmmm` and a letter. Some recorders put a sign before the figure as well; then it is the sign that
/// counts, and the letter that is always the same.
fn angle(figure: &str, letter: &str, letters: [&str; 2], most: f64) -> Option<f64> {
    let (negative, digits) = figure.strip_prefix('-').map_or((false, figure), |rest| (true, rest));
    if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit() || b == b'.') {
        return None;
    }
    let whole = digits.split('.').next().unwrap_or_default().len();
    let (degrees, minutes) = digits.split_at_checked(whole.checked_sub(2)?)?;
    let degrees = if degrees.is_empty() { 0.0 } else { degrees.parse::<f64>().ok()? };
    let minutes = minutes.parse::<f64>().ok().filter(|m| *m < 60.0)?;
    let angle = degrees + minutes / 60.0;
    let sign = match letter {
        l if l == letters[0] => 1.0,
        l if l == letters[1] => -1.0,
        _ => return None,
    };
    (angle <= most).then_some(if negative { -angle } else { sign * angle })
}
