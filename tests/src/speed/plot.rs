//! The growth plot, as SVG: both axes logarithmic.

use std::fmt::Write as _;

/// Size of the field, and margin around it, in user units.
const WIDE: f64 = 520.0;
const HIGH: f64 = 400.0;
const MARGIN: f64 = 64.0;

/// A curve with its name and colour.
#[derive(Debug, Clone)]
pub struct Curve {
    /// What it shows.
    pub name: String,
    /// Its colour.
    pub colour: &'static str,
    /// Test points, seconds.
    pub points: Vec<(f64, f64)>,
}

/// Seconds over test points.
#[must_use]
pub fn growth(curves: &[Curve]) -> String {
    let all = || curves.iter().flat_map(|curve| &curve.points);
    let span = |of: fn(&(f64, f64)) -> f64| {
        let fold = |(low, high): (f64, f64), v: f64| (low.min(v), high.max(v));
        all().map(of).fold((f64::INFINITY, 0.0), fold)
    };
    let (from, to) = span(|point| point.0);
    let (least, most) = span(|point| point.1);
    let (least, most) = (least.log10().floor(), most.log10().ceil());
    let x = |points: f64| MARGIN + (points / from).ln() / (to / from).ln() * WIDE;
    // Names stand above the field, two in a row; three rows fit into the margin.
    let rows = curves.len().div_ceil(2);
    let top = MARGIN + rows.saturating_sub(3) as f64 * 24.0;
    let y = |seconds: f64| top + (most - seconds.log10()) / (most - least) * HIGH;
    let (width, height) = (WIDE + 2.0 * MARGIN, top + HIGH + MARGIN);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         font-family=\"sans-serif\" font-size=\"13\">\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#ffffff\"/>\n\
         <rect x=\"{MARGIN}\" y=\"{top}\" width=\"{WIDE}\" height=\"{HIGH}\" fill=\"none\" stroke=\"#444444\"/>\n"
    );
    for decade in least as i32..=most as i32 {
        let at = y(10_f64.powi(decade));
        let _ = writeln!(
            out,
            "<line x1=\"{MARGIN}\" x2=\"{:.1}\" y1=\"{at:.1}\" y2=\"{at:.1}\" stroke=\"#dddddd\"/>\n\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            MARGIN + WIDE,
            MARGIN - 6.0,
            at + 4.0,
            match decade {
                ..-3 => format!("{} µs", 10_f64.powi(decade + 6)),
                -3..0 => format!("{} ms", 10_f64.powi(decade + 3)),
                _ => format!("{} s", 10_f64.powi(decade)),
            }
        );
    }
    for (points, _) in curves.iter().take(1).flat_map(|curve| &curve.points) {
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{points}</text>",
            x(*points),
            top + HIGH + 18.0
        );
    }
    let _ = writeln!(
        out,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">test points</text>",
        width / 2.0,
        top + HIGH + 42.0
    );
    for (at, curve) in curves.iter().enumerate() {
        let colour = curve.colour;
        let line: Vec<String> = curve
            .points
            .iter()
            .map(|(points, seconds)| format!("{:.1},{:.1}", x(*points), y(*seconds)))
            .collect();
        let _ = writeln!(
            out,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"2\"/>",
            line.join(" ")
        );
        for (points, seconds) in &curve.points {
            let _ = writeln!(
                out,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"3.5\" fill=\"{colour}\"><title>{points} points: \
                 {seconds:.2e} s</title></circle>",
                x(*points),
                y(*seconds)
            );
        }
        let (column, row) = ((at % 2) as f64, (at / 2) as f64);
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" fill=\"{colour}\">{}</text>",
            MARGIN + column * WIDE / 2.0,
            22.0 + row * 20.0,
            curve.name
        );
    }
    out.push_str("</svg>\n");
    out
}
