//! The tables of the document.

const DOCUMENT: &str = include_str!("../../../docs/probe-hardware.md");

/// The cells of every table row of the document.
pub fn rows() -> Vec<Vec<String>> {
    DOCUMENT
        .lines()
        .filter_map(|line| line.strip_prefix('|')?.strip_suffix('|'))
        .map(|line| line.split('|').map(|cell| cell.trim().to_owned()).collect())
        .collect()
}

/// A printed number in base units, and half a unit of its last digit.
pub fn printed(cell: &str) -> (f64, f64) {
    let cell = cell.replace('−', "-").replace(',', "");
    let (number, unit) = cell.split_once(' ').unwrap_or((&cell, ""));
    let value: f64 = number
        .parse()
        .unwrap_or_else(|_| panic!("not a number: {cell:?}"));
    let decimals = number.split_once('.').map_or(0, |(_, digits)| digits.len());
    let scale = match unit {
        "mA" | "mV" | "ms" | "mW" | "mΩ" => 1e-3,
        "µA" | "µV" | "µs" => 1e-6,
        "nA" | "ns" | "nF" => 1e-9,
        "pF" => 1e-12,
        "kΩ" => 1e3,
        "MΩ" => 1e6,
        "%" => 1e-2,
        "V" | "A" | "W" | "Ω" | "s" | "τ" | "×" | "EUR" | "" => 1.0,
        other => panic!("unknown unit {other:?} in {cell:?}"),
    };
    (
        value * scale,
        0.5 * 10f64.powi(-i32::try_from(decimals).unwrap()) * scale,
    )
}

/// Notes it in `wrong` when the printed cell is not the computed number.
#[track_caller]
pub fn same(what: &str, cell: &str, computed: f64, wrong: &mut Vec<String>) {
    let (value, half) = printed(cell);
    if (value - computed).abs() > half * 1.000_001 {
        wrong.push(format!("{what}: printed {cell}, computed {computed:.6e}"));
    }
}

/// Rows of the bill of materials: part, number, price each, sum.
pub fn bill() -> Vec<(String, f64, f64, String)> {
    rows()
        .into_iter()
        .filter(|row| {
            row.len() == 5 && row[1].parse::<f64>().is_ok() && row[2].parse::<f64>().is_ok()
        })
        .map(|row| {
            (
                row[0].clone(),
                row[1].parse().unwrap(),
                row[2].parse().unwrap(),
                row[3].clone(),
            )
        })
        .collect()
}
