//! The calibration plot, as SVG.

use std::fmt::Write as _;

use super::stats::{Bin, calibration_error};

/// Side of the square, and margin around it, in user units.
const SIDE: f64 = 360.0;
const MARGIN: f64 = 56.0;
/// Radius of a bin's dot for all runs together.
const RADIUS: f64 = 26.0;

/// Stated probability against observed share, a dot for each bin; its area
/// grows with the runs behind it.
#[must_use]
pub fn calibration(bins: &[Bin]) -> String {
    let all: usize = bins.iter().map(|bin| bin.runs).sum();
    let size = SIDE + 2.0 * MARGIN;
    let x = |share: f64| MARGIN + share * SIDE;
    let y = |share: f64| MARGIN + (1.0 - share) * SIDE;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {size} {size}\" \
         font-family=\"sans-serif\" font-size=\"13\">\n\
         <rect width=\"{size}\" height=\"{size}\" fill=\"#ffffff\"/>\n\
         <rect x=\"{MARGIN}\" y=\"{MARGIN}\" width=\"{SIDE}\" height=\"{SIDE}\" fill=\"none\" stroke=\"#444444\"/>\n\
         <line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"#999999\" stroke-dasharray=\"5 4\"/>\n",
        x(0.0),
        y(0.0),
        x(1.0),
        y(1.0)
    );
    for tenth in [0.0, 0.2, 0.4, 0.6, 0.8, 1.0] {
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{tenth}</text>\n\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{tenth}</text>",
            x(tenth),
            y(0.0) + 18.0,
            x(0.0) - 8.0,
            y(tenth) + 4.0
        );
    }
    let middle = size / 2.0;
    let _ = writeln!(
        out,
        "<text x=\"{middle}\" y=\"{:.1}\" text-anchor=\"middle\">stated probability of the best group</text>\n\
         <text x=\"16\" y=\"{middle}\" text-anchor=\"middle\" transform=\"rotate(-90 16 {middle})\">share that was right</text>\n\
         <text x=\"{middle}\" y=\"30\" text-anchor=\"middle\">{all} runs drawn from the priors, \
         expected calibration error {:.3}</text>",
        y(0.0) + 42.0,
        calibration_error(bins)
    );
    for bin in bins.iter().filter(|bin| bin.runs > 0) {
        let radius = (RADIUS * (bin.runs as f64 / all as f64).sqrt()).max(2.0);
        let _ = writeln!(
            out,
            "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"{radius:.1}\" fill=\"#2b6cb0\" fill-opacity=\"0.6\" \
             stroke=\"#1a4a80\"><title>{} runs, stated {:.3}, right {:.3}</title></circle>",
            x(bin.stated),
            y(bin.observed()),
            bin.runs,
            bin.stated,
            bin.observed()
        );
    }
    out.push_str("</svg>\n");
    out
}
