//! The sheet before the job: cautions, faces, taps, wiring, hook-up.

use maud::{Markup, html};

use super::Input;
use super::face::{conductor_at, face, latch_words, lead_at};
use super::language::Language;
use super::marks::Marks;
use super::wire::coded;
use crate::diagnosis::words::Speaker;
use crate::plan::model::{Connector, End, Half, Job, Lead, RingOn, Side};
use loomproof_core::wire::Place;

/// Cautions.
pub(super) fn cautions(input: &Input<'_>, language: &Language) -> Markup {
    let names = input.keep_off.join(", ");
    html! {
        section id="cautions" class="cautions" aria-labelledby="h-cautions" {
            h2 id="h-cautions" { span class="sign" aria-hidden="true" { "⚠ " } (language.say("cautions.title")) }
            ul {
                li { strong { (language.say("cautions.battery")) } }
                li { strong { (language.say("cautions.restraint")) } }
                @if !names.is_empty() {
                    li { strong { (language.fill("cautions.keep_off", &[("names", &names)])) } }
                }
                li { (language.say("cautions.tips")) }
                @if !input.job.fuses.is_empty() { li { (language.say("cautions.fuse")) } }
                li { (language.say("cautions.maker")) }
            }
        }
    }
}

/// An end in words, short.
pub(super) fn end_text(end: &End, language: &Language) -> String {
    match end {
        End::Cavity(connector, cavity) => format!("{connector}:{cavity}"),
        End::Splice(name) => language.fill("wiring.splice", &[("name", name)]),
        End::Ring(name) => language.fill("wiring.ring", &[("name", name)]),
        End::Tap(name) => format!("{} {name}", language.say("taps.tap")),
        End::Plug(name, half, way) => format!(
            "{} {}:{way}",
            language.fill("wiring.plug", &[("name", name)]),
            if *half == Half::A { "A" } else { "B" }
        ),
        End::Part(name, terminal) => format!("{name}:{terminal}"),
        End::Cap => language.say("wiring.cap").to_owned(),
    }
}

/// A lead with its colour.
pub(super) fn lead_text(lead: &Lead) -> String {
    format!("{} ({}, {})", lead.name, lead.colour, lead.size_text)
}

/// Each connector's face with a table of who goes in.
pub(super) fn faces(input: &Input<'_>, marks: &Marks, language: &Language) -> Markup {
    html! {
        section id="faces" aria-labelledby="h-faces" {
            h2 id="h-faces" { (language.say("faces.title")) }
            p { (language.say("faces.key")) }
            @for (number, connector) in input.job.connectors.iter().enumerate() {
                (one_face(input.job, connector, marks, number, language))
            }
        }
    }
}

fn one_face(
    job: &Job,
    connector: &Connector,
    marks: &Marks,
    number: usize,
    language: &Language,
) -> Markup {
    let heading = language.fill("faces.heading", &[("name", &connector.name)]);
    let owner = language.say(if connector.of_harness {
        "faces.of_harness"
    } else {
        "faces.in_vehicle"
    });
    let side = language.say(match connector.access {
        Side::Wire => "faces.wire_side",
        Side::Mating => "faces.mating_side",
    });
    let used: Vec<u16> = (1..=connector.cavities)
        .filter(|cavity| {
            lead_at(job, &connector.name, *cavity).is_some()
                || conductor_at(job, &connector.name, *cavity).is_some()
        })
        .collect();
    html! {
        section class="connector" {
            h3 { (heading) ", " (owner) }
            p class="where" {
                @if let Some(place) = &connector.place { strong { (place) } "; " }
                (latch_words(connector, language)) "; " (side)
            }
            (face(job, connector, marks, number, language))
            @if used.is_empty() {
                p { (language.say("faces.untouched")) }
            } @else {
                table {
                    caption class="hidden" { (heading) }
                    thead { tr {
                        th scope="col" { (language.say("faces.cavity")) }
                        th scope="col" { (language.say("faces.who")) }
                        th scope="col" { (language.say("faces.to")) }
                    } }
                    tbody {
                        @for cavity in used { (cavity_row(job, connector, cavity, language)) }
                    }
                }
            }
        }
    }
}

fn cavity_row(job: &Job, connector: &Connector, cavity: u16, language: &Language) -> Markup {
    let end = End::Cavity(connector.name.clone(), cavity);
    let lead = lead_at(job, &connector.name, cavity);
    let conductor = conductor_at(job, &connector.name, cavity);
    html! {
        tr {
            th scope="row" { (cavity) }
            td {
                @if let Some(lead) = lead {
                    div { b { (lead.name) } " " (coded(&lead.colour, language)) " " (lead.size_text) }
                }
                @if let Some(conductor) = conductor {
                    div {
                        (language.fill("faces.vehicle_wire", &[("name", &conductor.name)]))
                        @if let Some(colour) = &conductor.colour { " " (coded(colour, language)) }
                    }
                }
            }
            td {
                @if let Some(lead) = lead {
                    (end_text(if lead.from == end { &lead.to } else { &lead.from }, language))
                } @else if let Some(function) = conductor.and_then(|own| own.function.as_ref()) {
                    (function)
                }
            }
        }
    }
}

/// The taps with the conductor to find.
pub(super) fn taps(input: &Input<'_>, language: &Language) -> Markup {
    let job = input.job;
    html! {
        section id="taps" aria-labelledby="h-taps" {
            h2 id="h-taps" { (language.say("taps.title")) }
            @if job.taps.is_empty() { p { (language.say("taps.none")) } }
            @for tap in &job.taps {
                @let conductor = job.conductors.iter().find(|own| own.name == tap.on);
                @let lead = job.leads.iter().find(|lead| {
                    let end = End::Tap(tap.name.clone());
                    lead.from == end || lead.to == end
                });
                section class="card" {
                    h3 { (language.say("taps.tap")) " " (tap.name) }
                    dl {
                        div { dt { (language.say("taps.place")) }
                            dd { (tap.place.as_deref().unwrap_or("–")) } }
                        div { dt { (language.say("taps.conductor")) }
                            dd {
                                b { (tap.on) } " "
                                @match conductor.and_then(|own| own.colour.as_ref()) {
                                    Some(colour) => {
                                        (coded(colour, language)) " " (language.colour(colour))
                                    }
                                    None => (language.say("colour.unknown")),
                                }
                            } }
                        @if let Some(function) = conductor.and_then(|own| own.function.as_ref()) {
                            div { dt { (language.say("taps.function")) } dd { (function) } }
                        }
                        @if let Some(conductor) = conductor {
                            div { dt { (language.say("taps.reach")) }
                                dd {
                                    @for (at, (connector, cavity)) in conductor.at.iter().enumerate() {
                                        @if at > 0 { ", " }
                                        (connector) ":" (cavity)
                                    }
                                } }
                        }
                        @if let Some(lead) = lead {
                            div { dt { (language.say("taps.lead")) }
                                dd { b { (lead.name) } " " (coded(&lead.colour, language)) " " (lead.size_text) } }
                        }
                    }
                }
            }
        }
    }
}

/// Every lead with both ends, and what they meet.
pub(super) fn wiring(input: &Input<'_>, language: &Language) -> Markup {
    let job = input.job;
    let place = |name: &str| job.place_of(name).unwrap_or("–").to_owned();
    let mut parts: Vec<(String, String)> = Vec::new();
    for it in &job.splices {
        parts.push((
            language.fill("wiring.splice", &[("name", &it.name)]),
            place(&it.name),
        ));
    }
    for it in &job.plugs {
        parts.push((
            language.fill("wiring.plug", &[("name", &it.name)]),
            place(&it.name),
        ));
    }
    for it in &job.rings {
        let on = language.say(match it.on {
            RingOn::Chassis => "wiring.chassis",
            RingOn::BatteryPlus => "wiring.plus",
        });
        let name = language.fill("wiring.ring", &[("name", &it.name)]);
        parts.push((format!("{name}, {on}"), place(&it.name)));
    }
    let named = |key: &str, name: &str| format!("{} {name}", language.say(key));
    for it in &job.relays {
        parts.push((named("wiring.relay", &it.name), place(&it.name)));
    }
    for it in &job.diodes {
        parts.push((named("wiring.diode", &it.name), place(&it.name)));
    }
    for it in &job.lamps {
        let power = format!("{}, {} W", named("wiring.lamp", &it.name), it.power.0);
        parts.push((power, place(&it.name)));
    }
    for it in &job.fuses {
        let rating = format!("{}, {} A", named("wiring.fuse", &it.name), it.rating.0);
        parts.push((rating, place(&it.name)));
    }
    html! {
        section id="wiring" aria-labelledby="h-wiring" {
            h2 id="h-wiring" { (language.say("wiring.title")) }
            table {
                caption class="hidden" { (language.say("wiring.title")) }
                thead { tr {
                    th scope="col" { (language.say("wiring.lead")) }
                    th scope="col" { (language.say("wiring.from")) }
                    th scope="col" { (language.say("wiring.to")) }
                    th scope="col" { (language.say("wiring.length")) }
                } }
                tbody {
                    @for lead in &job.leads {
                        tr {
                            th scope="row" {
                                (lead.name) " " (coded(&lead.colour, language)) " "
                                span class="size" { (lead.size_text) }
                            }
                            td { (end_text(&lead.from, language)) }
                            td { (end_text(&lead.to, language)) }
                            td { (format!("{} m", lead.length.0)) }
                        }
                    }
                }
            }
            @if !parts.is_empty() {
                table {
                    caption class="hidden" { (language.say("wiring.what")) }
                    thead { tr {
                        th scope="col" { (language.say("wiring.what")) }
                        th scope="col" { (language.say("wiring.where")) }
                    } }
                    tbody {
                        @for (what, place) in parts {
                            tr { th scope="row" { (what) } td { (place) } }
                        }
                    }
                }
            }
        }
    }
}

/// Which probe lead sits on which test point.
pub(super) fn hookup(input: &Input<'_>, language: &Language) -> Markup {
    let speaker = Speaker::in_language(input.job, language.code());
    html! {
        section id="hookup" aria-labelledby="h-hookup" {
            h2 id="h-hookup" { (language.say("hookup.title")) }
            @match &input.hookups {
                Err(why) => p { (language.fill("hookup.none", &[("why", why)])) },
                Ok(hookups) => {
                    p { (language.say(match input.place {
                        Place::Vehicle => "hookup.chassis_vehicle",
                        Place::Bench => "hookup.chassis_bench",
                    })) }
                    @for (at, hookup) in hookups.iter().enumerate() {
                    @let round = (at + 1).to_string();
                    @let name = if hookups.len() > 1 {
                        language.fill("hookup.round", &[("round", &round)])
                    } else {
                        language.say("hookup.title").to_owned()
                    };
                    @if hookups.len() > 1 { h3 { (name) } }
                    table {
                        caption class="hidden" { (name) }
                        thead { tr {
                            th scope="col" { (language.say("hookup.lead")) }
                            th scope="col" { (language.say("hookup.point")) }
                            th scope="col" { (language.say("hookup.where")) }
                        } }
                        tbody {
                            @for clip in &hookup.clips {
                                tr {
                                    th scope="row" { (clip.lead) }
                                    td { (clip.point) }
                                    td { (speaker.where_there(&clip.point)) }
                                }
                            }
                        }
                    }
                    }
                }
            }
        }
    }
}

/// What must work in the end.
pub(super) fn functions(input: &Input<'_>, language: &Language) -> Markup {
    html! {
        @if !input.job.functions.is_empty() {
            section id="functions" aria-labelledby="h-functions" {
                h2 id="h-functions" { (language.say("functions.title")) }
                p { (language.say("functions.note")) }
                ul class="ticks" {
                    @for function in &input.job.functions {
                        li {
                            b { (function.name) } ". "
                            (language.say("functions.switch")) ": " (function.switch_on) ". "
                            (language.say("functions.seen")) ": " (function.seen_at.join(", "))
                        }
                    }
                }
            }
        }
    }
}
