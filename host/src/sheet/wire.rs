//! A wire as it looks: its base colour with the tracer as a stripe along it.

use maud::{Markup, html};

use super::language::Language;

/// How the colours of IEC 60757 are drawn (common practice).
const PAINTS: [(&str, &str); 15] = [
    ("BK", "#1a1a1a"),
    ("BN", "#6b3f1d"),
    ("RD", "#c4161c"),
    ("OG", "#f07f13"),
    ("YE", "#f7d117"),
    ("GN", "#1e8a3c"),
    ("BU", "#1f5fbf"),
    ("VT", "#7d3fa0"),
    ("GY", "#8b8f94"),
    ("WH", "#ffffff"),
    ("PK", "#f29ab8"),
    ("GD", "#b8902e"),
    ("TQ", "#2aa9a0"),
    ("SR", "#c5c9cd"),
    ("GNYE", "#1e8a3c"),
];

fn paint(code: &str) -> &'static str {
    let found = PAINTS.iter().find(|(own, _)| *own == code);
    found.map_or("#ffffff", |(_, paint)| paint)
}

/// A piece of wire, with its colour in words.
pub(super) fn wire(colour: &str, language: &Language) -> Markup {
    let (base, tracer) = match colour.split_once('/') {
        Some((base, tracer)) => (base, Some(tracer)),
        None if colour == "GNYE" => ("GN", Some("YE")),
        None => (colour, None),
    };
    html! {
        svg class="wire" role="img" aria-label=(language.colour(colour)) viewBox="0 0 44 14"
            width="44" height="14" {
            rect x="1" y="2" width="42" height="10" rx="4" fill=(paint(base)) stroke="#000" {}
            @if let Some(tracer) = tracer {
                rect x="1.5" y="5" width="41" height="4" fill=(paint(tracer)) stroke="#000"
                    stroke-width="0.25" {}
            }
        }
    }
}

/// A wire with its code written beside it.
pub(super) fn coded(colour: &str, language: &Language) -> Markup {
    html! { span class="coded" { (wire(colour, language)) " " b { (colour) } } }
}
