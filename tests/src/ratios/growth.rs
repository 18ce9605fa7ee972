//! How the time of a system grows, as a plot of what `docs/speed.md` says.

use super::document::WAYS;
use crate::speed::plot::{Curve, growth};

/// The plot that the page shows, beside it.
pub const PLOT: &str = "speed.svg";

/// Core's row of the page; its numbers are microseconds, all others times core.
pub const CORE: &str = "core, µs a system";

/// Rows that are shown beside core, with their colours: ngspice, dense LU and
/// sparse Cholesky factored for every pattern, the same by faer, dense LU of the
/// islands.
const SHOWN: [(usize, &str); 6] = [
    (0, "#b35900"),
    (2, "#b00020"),
    (4, "#6a3d9a"),
    (5, "#d81b60"),
    (6, "#00838f"),
    (7, "#33691e"),
];

/// The medians of a row; none where a cell has no number.
fn row(page: &str, name: &str) -> Option<Vec<f64>> {
    let start = format!("| {name} | ");
    let cells = page.lines().find_map(|line| line.strip_prefix(&start))?;
    let cells = cells.strip_suffix(" |")?.split(" | ");
    cells
        .map(|cell| cell.split(' ').next()?.parse().ok())
        .collect()
}

/// The plot, from the page's own numbers. Rows of what was not run are left out.
///
/// # Errors
/// A page without its sizes or without core.
pub fn plot(page: &str) -> Result<String, String> {
    let head = page.lines().find_map(|line| line.strip_prefix("|  | "));
    let head = head.and_then(|cells| cells.strip_suffix(" |"));
    let cells = head.ok_or("the page names no sizes")?.split(" | ");
    let sizes: Option<Vec<f64>> = cells
        .map(|cell| cell.strip_suffix(" points")?.parse().ok())
        .collect();
    let sizes = sizes.ok_or("the page names no sizes")?;
    let core = row(page, CORE).ok_or("the page has no row of core")?;
    let seconds: Vec<f64> = core.iter().map(|micros| micros * 1e-6).collect();
    let curve = |name: &str, colour, seconds: Vec<f64>| Curve {
        name: name.to_owned(),
        colour,
        points: sizes.iter().copied().zip(seconds).collect(),
    };
    let mut curves = vec![curve("core", "#00508c", seconds.clone())];
    for (way, colour) in SHOWN {
        if let Some(times) = row(page, WAYS[way]) {
            let seconds = seconds.iter().zip(times).map(|(core, times)| core * times);
            // The first words are enough beside a curve.
            let name = WAYS[way].split(',').next().unwrap_or_default();
            curves.push(curve(name, colour, seconds.collect()));
        }
    }
    if curves.iter().any(|curve| curve.points.len() != sizes.len()) {
        return Err("a row of the page has other sizes".to_owned());
    }
    Ok(growth(&curves))
}
