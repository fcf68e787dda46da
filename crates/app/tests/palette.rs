//! What the palette promises, recomputed from `assets/palette.toml`: contrast, the order of the rings by lightness, and
//! differences that people with any colour vision can see.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]
#![allow(clippy::disallowed_methods, reason = "an independent check of colours, compared with tolerances")]

use egui::Color32;
use sparefield::theme::{Colours, Palette, on_fill};

/// Linear light of an sRGB value (IEC 61966-2-1).
fn linear(v: u8) -> f64 {
    let v = f64::from(v) / 255.0;
    if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
}

fn linear_rgb(c: Color32) -> [f64; 3] {
    [linear(c.r()), linear(c.g()), linear(c.b())]
}

/// Contrast ratio (Web Content Accessibility Guidelines 2.2, relative luminance and contrast ratio).
fn contrast(a: Color32, b: Color32) -> f64 {
    let luminance = |c: Color32| {
        let [r, g, b] = linear_rgb(c);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// CIE L*a*b* for D65 from linear sRGB (matrix of IEC 61966-2-1, white point of CIE 15).
fn lab([r, g, b]: [f64; 3]) -> [f64; 3] {
    let x = 0.412_456_4 * r + 0.357_576_1 * g + 0.180_437_5 * b;
    let y = 0.212_672_9 * r + 0.715_152_2 * g + 0.072_175_0 * b;
    let z = 0.019_333_9 * r + 0.119_192_0 * g + 0.950_304_1 * b;
    let f = |t: f64| {
        let d: f64 = 6.0 / 29.0;
        if t > d.powi(3) { t.cbrt() } else { t / (3.0 * d * d) + 4.0 / 29.0 }
    };
    let (fx, fy, fz) = (f(x / 0.950_47), f(y), f(z / 1.088_83));
    [116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)]
}

/// Colour difference CIEDE2000 (Sharma, Wu & Dalal, "The CIEDE2000 color-difference formula: implementation notes",
/// Color Research & Application 30 (2005), equations 2 to 22).
fn ciede2000(p: [f64; 3], q: [f64; 3]) -> f64 {
    let chroma = |c: [f64; 3]| c[1].hypot(c[2]);
    let mean7 = ((chroma(p) + chroma(q)) / 2.0).powi(7);
    let g = 0.5 * (1.0 - (mean7 / (mean7 + 25f64.powi(7))).sqrt());
    let prime = |c: [f64; 3]| {
        let a = (1.0 + g) * c[1];
        let hue = if a == 0.0 && c[2] == 0.0 { 0.0 } else { c[2].atan2(a).to_degrees().rem_euclid(360.0) };
        (c[0], a.hypot(c[2]), hue)
    };
    let ((l1, c1, h1), (l2, c2, h2)) = (prime(p), prime(q));
    let grey = c1 * c2 == 0.0;
    let dh = match h2 - h1 {
        _ if grey => 0.0,
        d if d > 180.0 => d - 360.0,
        d if d < -180.0 => d + 360.0,
        d => d,
    };
    let (dl, dc) = (l2 - l1, c2 - c1);
    let dh_big = 2.0 * (c1 * c2).sqrt() * (dh / 2.0).to_radians().sin();
    let (l, c) = ((l1 + l2) / 2.0, (c1 + c2) / 2.0);
    let h = match h1 + h2 {
        s if grey => s,
        s if (h1 - h2).abs() <= 180.0 => s / 2.0,
        s if s < 360.0 => (s + 360.0) / 2.0,
        s => (s - 360.0) / 2.0,
    };
    let cos = |deg: f64| deg.to_radians().cos();
    let t = 1.0 - 0.17 * cos(h - 30.0) + 0.24 * cos(2.0 * h) + 0.32 * cos(3.0 * h + 6.0) - 0.20 * cos(4.0 * h - 63.0);
    let turn = 30.0 * (-((h - 275.0) / 25.0).powi(2)).exp();
    let rc = 2.0 * (c.powi(7) / (c.powi(7) + 25f64.powi(7))).sqrt();
    let sl = 1.0 + 0.015 * (l - 50.0).powi(2) / (20.0 + (l - 50.0).powi(2)).sqrt();
    let (sc, sh) = (1.0 + 0.045 * c, 1.0 + 0.015 * c * t);
    let rt = -(2.0 * turn).to_radians().sin() * rc;
    let (x, y, z) = (dl / sl, dc / sc, dh_big / sh);
    (x * x + y * y + z * z + rt * y * z).sqrt()
}

/// Full colour-vision deficiency as a matrix on linear sRGB (Machado, Oliveira & Fernandes, "A physiologically-based
/// model for simulation of color vision deficiency", IEEE TVCG 15 (2009), severity 1.0; values from memory).
const SIGHT: [(&str, [[f64; 3]; 3]); 4] = [
    ("normal", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    (
        "protan",
        [[0.152_286, 1.052_583, -0.204_868], [0.114_503, 0.786_281, 0.099_216], [-0.003_882, -0.048_116, 1.051_998]],
    ),
    (
        "deutan",
        [[0.367_322, 0.860_646, -0.227_968], [0.280_085, 0.672_501, 0.047_413], [-0.011_820, 0.042_940, 0.968_881]],
    ),
    (
        "tritan",
        [[1.255_528, -0.076_749, -0.178_779], [-0.078_411, 0.930_809, 0.147_602], [0.004_733, 0.691_367, 0.303_900]],
    ),
];

fn seen(c: Color32, sight: &[[f64; 3]; 3]) -> [f64; 3] {
    let rgb = linear_rgb(c);
    lab(sight.map(|row| row.iter().zip(rgb).map(|(m, v)| m * v).sum::<f64>().clamp(0.0, 1.0)))
}

fn schemes() -> [(&'static str, Colours); 2] {
    let p = Palette::built_in().unwrap();
    [("day", p.day), ("night", p.night)]
}

#[test]
fn ciede2000_gives_the_published_differences() {
    // Sharma, Wu & Dalal (2005), table 1, pairs 1, 7, 9, 17, 25 and 33.
    for (p, q, expected) in [
        ([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485], 2.0425),
        ([50.0, 0.0, 0.0], [50.0, -1.0, 2.0], 2.3669),
        ([50.0, 2.49, -0.001], [50.0, -2.49, 0.0009], 7.1792),
        ([50.0, 2.5, 0.0], [73.0, 25.0, -18.0], 27.1492),
        ([60.2574, -34.0099, 36.2677], [60.4626, -34.1751, 39.4387], 1.2644),
        ([6.7747, -0.2908, -2.4247], [5.8714, -0.0985, -2.2286], 0.6377),
    ] {
        let got = ciede2000(p, q);
        assert!((got - expected).abs() < 1e-4, "{p:?} {q:?}: {got} instead of {expected}");
        assert!((ciede2000(q, p) - got).abs() < 1e-9);
    }
}

#[test]
fn a_wrong_colour_would_be_noticed() {
    // Red and green of one lightness: far apart to most, close to a deutan eye. The simulation must show that.
    let (red, green) = (Color32::from_rgb(0xC0, 0x50, 0x40), Color32::from_rgb(0x70, 0x85, 0x30));
    let far = |k: usize| ciede2000(seen(red, &SIGHT[k].1), seen(green, &SIGHT[k].1));
    assert!(far(0) > 2.5 * far(2), "{} {}", far(0), far(2));
}

#[test]
fn text_reads_on_everything_it_is_written_on() {
    for (name, c) in schemes() {
        let pairs = [
            ("ink on paper", c.ink, c.paper),
            ("ink on panel", c.ink, c.panel),
            ("ink on sunken panel", c.ink, c.panel_sunken),
            ("ink on raised panel", c.ink, c.panel_raised),
            ("ink on chosen", c.ink, c.accent_soft),
            ("ink on level ground", c.ink, c.relief_flat),
            ("ink on halo", c.ink, c.halo),
            ("soft ink on panel", c.ink_soft, c.panel),
            ("soft ink on sunken panel", c.ink_soft, c.panel_sunken),
            ("soft ink on raised panel", c.ink_soft, c.panel_raised),
            ("accent on panel", c.accent, c.panel),
            ("accent on chosen", c.accent, c.accent_soft),
            ("caution on its ground", c.caution, c.caution_soft),
            ("caution on panel", c.caution, c.panel),
            ("quiet zone on halo", c.quiet, c.halo),
            ("circuit on halo", c.circuit, c.halo),
            ("number in a roomy disc", on_fill(c.roomy, &c), c.roomy),
        ];
        for (what, text, ground) in pairs {
            let ratio = contrast(text, ground);
            assert!(ratio >= 4.5, "{name}: {what} has contrast {ratio:.2}, less than 4.5");
        }
    }
}

#[test]
fn large_marks_stand_out_from_the_ground() {
    for (name, c) in schemes() {
        let marks = [
            ("roomy", c.roomy),
            ("workable", c.workable),
            ("last resort", c.last_resort),
            ("out", c.out),
            ("neutral", c.neutral),
            ("wires", c.wires),
            ("aircraft", c.aircraft),
            ("circuit", c.circuit),
            ("circuit beside", c.circuit_beside),
            ("ring 0", c.rings[0]),
            ("ring 1", c.rings[1]),
            ("ring 2", c.rings[2]),
        ];
        for (what, mark) in marks {
            for (ground, colour) in [("paper", c.paper), ("level ground", c.relief_flat)] {
                let ratio = contrast(mark, colour);
                assert!(ratio >= 3.0, "{name}: {what} on {ground} has contrast {ratio:.2}, less than 3");
            }
        }
        // The highest ring is the least urgent line and the thinnest; its label is ink. It must still be seen.
        let ratio = contrast(c.rings[3], c.relief_flat);
        assert!(ratio >= 2.2, "{name}: ring 3 has contrast {ratio:.2}");
    }
}

#[test]
fn rings_are_ordered_by_lightness_for_every_eye() {
    for (name, c) in schemes() {
        for (sight, matrix) in &SIGHT {
            let lightness = c.rings.map(|r| seen(r, matrix)[0]);
            let steps: Vec<f64> = lightness.windows(2).map(|w| w[1] - w[0]).collect();
            let sign = if name == "day" { 1.0 } else { -1.0 };
            assert!(steps.iter().all(|d| d * sign > 7.0), "{name}, {sight}: lightness {lightness:.1?}");
        }
    }
}

#[test]
fn rings_and_fields_differ_for_every_eye() {
    for (name, c) in schemes() {
        for (sight, matrix) in &SIGHT {
            for pair in c.rings.windows(2) {
                let d = ciede2000(seen(pair[0], matrix), seen(pair[1], matrix));
                assert!(d >= 10.0, "{name}, {sight}: neighbouring rings differ by {d:.1}");
            }
            let fields = [c.roomy, c.workable, c.last_resort, c.out];
            for (i, a) in fields.iter().enumerate() {
                for (j, b) in fields.iter().enumerate().skip(i + 1) {
                    let d = ciede2000(seen(*a, matrix), seen(*b, matrix));
                    assert!(d >= 12.0, "{name}, {sight}: fields {i} and {j} differ by {d:.1}");
                }
            }
        }
    }
}

#[test]
fn sizes_keep_the_least_that_can_be_read() {
    let sizes = Palette::built_in().unwrap().sizes;
    assert!(sizes.small >= 12.0 && sizes.text >= 14.0 && sizes.large >= 20.0);
}
