//! Mean sea level above the WGS 84 ellipsoid, by the EGM96 geoid.

use flate2::read::ZlibDecoder;
use sparefield_geometry::position::LonLat;
use std::io::Read as _;
use std::sync::OnceLock;

/// EGM96 every 15 minutes of arc, packed by `assets/geoid/pack.py`.
static PACKED: &[u8] = include_bytes!("../../../../assets/geoid/egm96-15.packed");
const ROWS: usize = 721;
const COLS: usize = 1_440;
/// Posts in a degree.
const PER_DEGREE: f64 = 4.0;

/// The geoid above the ellipsoid at a place, metres: height above mean sea level = height above the ellipsoid − this.
///
/// # Accuracy
/// Between posts the surface is bilinear: within 0.06 m of NGA's own test values (see the test below). The geoid itself
/// is good to about a metre (Lemoine et al., *The Development of the Joint NASA GSFC and NIMA Geopotential Model
/// EGM96*, NASA/TP-1998-206861, 1998; figure from memory).
pub fn undulation_m(place: LonLat) -> f64 {
    static GRID: OnceLock<Vec<i16>> = OnceLock::new();
    let grid = GRID.get_or_init(unpack);
    let lat = if place.lat_deg.is_finite() { place.lat_deg.clamp(-90.0, 90.0) } else { 0.0 };
    let lon = if place.lon_deg.is_finite() { (place.lon_deg + 180.0).rem_euclid(360.0) } else { 0.0 };
    let (row, col) = ((90.0 - lat) * PER_DEGREE, lon * PER_DEGREE);
    let (north, west) = ((row as usize).min(ROWS - 2), (col as usize).min(COLS - 1));
    let (down, right) = (row - north as f64, col - west as f64);
    let post = |r: usize, c: usize| f64::from(grid.get(r * COLS + c % COLS).copied().unwrap_or(0)) / 100.0;
    let along = |r: usize| post(r, west) * (1.0 - right) + post(r, west + 1) * right;
    along(north) * (1.0 - down) + along(north + 1) * down
}

/// Heights in centimetres, rows from the north, each row eastwards from 180° W.
fn unpack() -> Vec<i16> {
    let mut folded = Vec::new();
    // The bytes are the program's own; a test reads them all.
    if let Err(e) = ZlibDecoder::new(PACKED).read_to_end(&mut folded) {
        log::error!("the geoid inside the program cannot be unpacked: {e}");
    }
    let mut bytes = folded.into_iter();
    let mut grid: Vec<i16> = Vec::with_capacity(ROWS * COLS);
    for at in 0..ROWS * COLS {
        let mut number = 0_i32;
        for shift in (0..28).step_by(7) {
            let Some(byte) = bytes.next() else { return grid };
            number |= i32::from(byte & 127) << shift;
            if byte < 128 {
                break;
            }
        }
        let step = if number % 2 == 0 { number / 2 } else { -(number + 1) / 2 };
        let before = |back: usize| at.checked_sub(back).and_then(|i| grid.get(i)).map_or(0, |v| i32::from(*v));
        let guess = if at % COLS == 0 { before(COLS) } else { before(1) + before(COLS) - before(COLS + 1) };
        // Above the first row there is nothing.
        let guess = if at < COLS && at > 0 { before(1) } else { guess };
        grid.push((guess + step) as i16);
    }
    grid
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_geoid_is_where_nga_says_it_is() {
        // The places and heights that NGA publishes with its EGM96 interpolation program (INPUT.DAT, OUTPUT.DAT; from
        // memory). Its spline between the posts and our straight lines differ by some centimetres.
        let published = [
            (38.628_155, 269.779_155, -31.628),
            (-14.621_217, 305.021_114, -2.969),
            (46.874_319, 102.448_729, -43.575),
            (-23.617_446, 133.874_712, 15.871),
            (38.625_473, 359.999_5, 50.066),
            (-0.466_744, 0.002_3, 17.329),
        ];
        for (lat_deg, lon_deg, expected) in published {
            let found = undulation_m(LonLat { lon_deg, lat_deg });
            assert!((found - expected).abs() < 0.06, "{lat_deg} {lon_deg}: {found}, not {expected}");
        }
    }

    #[test]
    fn the_whole_grid_is_there_and_goes_round_the_earth() {
        assert_eq!(unpack().len(), ROWS * COLS);
        let at = |lon_deg, lat_deg| undulation_m(LonLat { lon_deg, lat_deg });
        assert!((at(0.0, 90.0) - at(137.0, 90.0)).abs() < 0.011, "one height at the pole");
        assert!((at(-180.0, 10.1) - at(180.0, 10.1)).abs() < 1e-9);
        assert!((at(179.999_99, 10.1) - at(-179.999_99, 10.1)).abs() < 0.01, "no step at the date line");
        // The lowest place of the geoid lies south of India, as every map of it shows.
        assert!(at(78.75, 4.75) < -106.0);
        assert!(at(f64::NAN, f64::INFINITY).is_finite());
    }
}
