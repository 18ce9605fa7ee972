//! The kit list as it is shown: a section of the sheet, a page of its own, and text.

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, html};

use super::kit::Kit;
use super::language::Language;
use super::wire::coded;
use super::{Input, clean, facts, head};

/// The section.
pub(super) fn section(kit: &Kit, language: &Language) -> Markup {
    html! {
        section id="kit" aria-labelledby="h-kit" {
            h2 id="h-kit" { (language.say("kit.title")) }
            p { (language.say("kit.note")) }
            h3 { (language.say("kit.leads")) }
            table {
                caption class="hidden" { (language.say("kit.leads")) }
                thead { tr {
                    th scope="col" { (language.say("kit.count")) }
                    th scope="col" { (language.say("kit.colour")) }
                    th scope="col" { (language.say("kit.size")) }
                    th scope="col" { (language.say("kit.names")) }
                } }
                tbody {
                    @for own in &kit.leads {
                        tr {
                            td { span aria-hidden="true" { "☐ " } (own.count) " ×" }
                            th scope="row" { (coded(&own.colour, language)) }
                            td { (own.size) ", " (own.metres) " m" }
                            td { (own.names.join(", ")) }
                        }
                    }
                }
            }
            h3 { (language.say("kit.parts")) }
            table {
                caption class="hidden" { (language.say("kit.parts")) }
                thead { tr {
                    th scope="col" { (language.say("kit.count")) }
                    th scope="col" { (language.say("kit.what")) }
                    th scope="col" { (language.say("kit.detail")) }
                    th scope="col" { (language.say("kit.goes")) }
                } }
                tbody {
                    @for own in &kit.parts {
                        tr {
                            td { span aria-hidden="true" { "☐ " } (own.count) " ×" }
                            th scope="row" { (language.say(own.sort.key())) }
                            td { (own.detail) }
                            td { (own.names.join(", ")) }
                        }
                    }
                }
            }
            h3 { (language.say("kit.wire")) }
            p { (language.say("kit.wire_note")) }
            ul {
                @for own in &kit.wire {
                    li {
                        (coded(&own.colour, language)) " " (own.size) ": " (own.metres) " m ("
                        (language.fill("kit.in_leads", &[("count", &own.leads.to_string())])) ")"
                    }
                }
            }
            h3 { (language.say("kit.not_needed")) }
            @if kit.not_needed.is_empty() { p { (language.say("kit.all_needed")) } }
            @else {
                ul {
                    @for own in &kit.not_needed {
                        li {
                            (language.say(own.sort.key())) " " b { (own.name) }
                            @if !own.detail.is_empty() { " (" (own.detail) ")" }
                        }
                    }
                }
            }
        }
    }
}

/// The kit list alone, as one HTML document.
#[must_use]
pub fn page(input: &Input<'_>, language: &Language) -> String {
    let title = language.say("kit.title");
    let document = html! {
        (DOCTYPE)
        html lang=(language.code()) {
            (head(&format!("{title}: {}", input.job.title), &[include_str!("sheet.css"), input.paper.rule()]))
            body {
                header {
                    p class="kind" { (title) }
                    h1 { (input.job.title) }
                    (facts(input, language))
                }
                main id="content" { (section(input.kit, language)) }
            }
        }
    };
    clean(&document.into_string())
}

/// The kit list as text for a terminal.
#[must_use]
pub fn text(kit: &Kit, language: &Language) -> String {
    let mut out = String::new();
    // Writing to a string does not fail.
    let _ = writeln!(out, "{}: {}", language.say("kit.title"), kit.title);
    let answers: Vec<String> = kit
        .answers
        .iter()
        .map(|(option, value)| format!("{option} = {value}"))
        .collect();
    if !answers.is_empty() {
        let _ = writeln!(
            out,
            "{}: {}",
            language.say("sheet.variant"),
            answers.join(", ")
        );
    }
    let _ = writeln!(out, "\n{}", language.say("kit.leads"));
    for own in &kit.leads {
        let _ = writeln!(
            out,
            "  {:>3} × {:<7} {:<9} {:>6} m  {}",
            own.count,
            own.colour,
            own.size,
            own.metres,
            own.names.join(", ")
        );
    }
    let _ = writeln!(out, "\n{}", language.say("kit.parts"));
    for own in &kit.parts {
        let _ = writeln!(
            out,
            "  {:>3} × {}, {}: {}",
            own.count,
            language.say(own.sort.key()),
            own.detail,
            own.names.join(", ")
        );
    }
    let _ = writeln!(out, "\n{}", language.say("kit.wire"));
    for own in &kit.wire {
        let leads = language.fill("kit.in_leads", &[("count", &own.leads.to_string())]);
        let _ = writeln!(
            out,
            "  {:<7} {:<9} {:>6} m ({leads})",
            own.colour, own.size, own.metres
        );
    }
    let _ = writeln!(out, "\n{}", language.say("kit.not_needed"));
    if kit.not_needed.is_empty() {
        let _ = writeln!(out, "  {}", language.say("kit.all_needed"));
    }
    for own in &kit.not_needed {
        let sort = language.say(own.sort.key());
        let detail = match own.detail.as_str() {
            "" => String::new(),
            detail => format!(" ({detail})"),
        };
        let _ = writeln!(out, "  {sort} {}{detail}", own.name);
    }
    out
}
