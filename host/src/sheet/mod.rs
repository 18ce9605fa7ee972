//! The job sheet and report: one HTML file with everything in it, to be read on
//! a phone, printed, signed and kept.
//!
//! Every text of a plan goes through [`maud`], which escapes it. Text of the
//! sheet's own is in a [`Language`] (`languages/*.toml`). Every drawing says
//! in words what it shows.

mod code;
mod face;
mod handover;
mod job;
pub mod kit;
pub mod kit_list;
pub mod label;
pub mod language;
mod marks;
mod order;
pub mod photo;
mod report;
mod told;
mod wire;

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::hookup::Hookup;
use crate::plan::model::Job;
use crate::plan::spoils;
use crate::records::record::Subject;
use crate::ringout::report::Report;
use kit::Kit;
use language::Language;
use loomproof_core::wire::Place;
use marks::Marks;
use photo::Photo;

/// Paper that the sheet is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4, 210 mm by 297 mm.
    A4,
    /// US letter, 8.5 in by 11 in.
    Letter,
}

impl Paper {
    /// Its rule for printing.
    fn rule(self) -> &'static str {
        match self {
            Self::A4 => "@page { size: A4; margin: 12mm; }",
            Self::Letter => "@page { size: letter; margin: 12mm; }",
        }
    }
}

/// A report with what is known about the run.
#[derive(Debug, Clone)]
pub struct Reported {
    /// The report.
    pub report: Report,
    /// When it was taken, as it is here; unknown for a scan kept in a file.
    pub taken: Option<String>,
    /// Digest of the record and the chain up to it, where it is one.
    pub record: Option<(String, String)>,
}

/// Everything that a sheet is made of.
#[derive(Debug)]
pub struct Input<'a> {
    /// The job.
    pub job: &'a Job,
    /// Bench or vehicle.
    pub place: Place,
    /// Connectors that nobody may touch.
    pub keep_off: &'a [String],
    /// The hook-up, round by round, or why there is none.
    pub hookups: Result<&'a [Hookup], String>,
    /// The report, where the job was rung out.
    pub reported: Option<&'a Reported>,
    /// Whose job it is and of what.
    pub subject: &'a Subject,
    /// When the sheet is written, as it is here.
    pub written: &'a str,
    /// Paper that it is printed on.
    pub paper: Paper,
    /// What goes into the bag.
    pub kit: &'a Kit,
    /// What did not work, or was noticed, when the vehicle came in.
    pub arrival: &'a [String],
    /// Photos, by finding or place.
    pub photos: &'a [Photo],
}

/// What a sheet may load: nothing. Styles and photos are in the file.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";

/// The sheet as one HTML document.
#[must_use]
pub fn sheet(input: &Input<'_>, language: &Language) -> String {
    let title = if input.reported.is_some() {
        language.say("sheet.title_report")
    } else {
        language.say("sheet.title_job")
    };
    let marks = Marks::of(input.job, input.reported.map(|reported| &reported.report));
    let document = html! {
        (DOCTYPE)
        html lang=(language.code()) {
            (head(&format!("{title}: {}", input.job.title), &[include_str!("sheet.css"), input.paper.rule()]))
            body {
                a class="skip" href="#content" { (language.say("sheet.skip")) }
                header {
                    p class="kind" { (title) }
                    h1 { (input.job.title) }
                    (facts(input, language))
                }
                (contents(input, language))
                main id="content" {
                    @if let Some(reported) = input.reported {
                        (report::report(input, reported, &marks, language))
                    }
                    (job::cautions(input, language))
                    (kit_list::section(input.kit, language))
                    (order::order(input, language))
                    (job::faces(input, &marks, language))
                    (job::taps(input, language))
                    (job::wiring(input, language))
                    (job::hookup(input, language))
                    (job::functions(input, language))
                    (handover::handover(input, language))
                    (report::signature(input, language))
                }
            }
        }
    };
    clean(&document.into_string())
}

/// Without characters that no HTML document may hold (HTML Living Standard,
/// 13.2.3.5: noncharacters and controls; from memory), or that turn the order of
/// what follows round (Unicode UAX 9, explicit embeddings, overrides and
/// isolates; from memory).
fn clean(text: &str) -> String {
    let bad = |c: char| spoils(c) && !matches!(c, '\n' | '\t');
    text.replace(bad, "\u{fffd}")
}

fn facts(input: &Input<'_>, language: &Language) -> Markup {
    let job = input.job;
    let place = language.say(match input.place {
        Place::Bench => "sheet.bench",
        Place::Vehicle => "sheet.vehicle",
    });
    let subject = input.subject;
    let names = [
        ("sheet.who", &subject.who),
        ("sheet.vehicle_number", &subject.vehicle),
        ("sheet.unit", &subject.unit),
        ("sheet.batch", &subject.batch),
    ];
    html! {
        dl class="facts" {
            @for (key, name) in names {
                div {
                    dt { (language.say(key)) }
                    dd {
                        @match name {
                            Some(name) => (name),
                            None => span class="blank" { (language.say("sheet.blank")) },
                        }
                    }
                }
            }
            div { dt { (language.say("sheet.place")) } dd { (place) } }
            div { dt { (language.say("sheet.supply")) } dd { (format!("{:.0} V", job.supply.0)) } }
            div {
                dt { (language.say("sheet.variant")) }
                dd {
                    @if job.answers.is_empty() { (language.say("sheet.no_options")) }
                    @for (at, (option, value)) in job.answers.iter().enumerate() {
                        @if at > 0 { ", " }
                        (option) " = " (value)
                    }
                }
            }
            div { dt { (language.say("sheet.printed")) } dd { (input.written) } }
            div { dt { (language.say("sheet.program")) } dd { "loomproof " (env!("CARGO_PKG_VERSION")) } }
            div class="wide" { dt { (language.say("sheet.plan_digest")) } dd class="digest" { (job.digest) } }
        }
    }
}

fn contents(input: &Input<'_>, language: &Language) -> Markup {
    let parts = [
        ("report", "report.title"),
        ("cautions", "cautions.title"),
        ("kit", "kit.title"),
        ("order", "order.title"),
        ("faces", "faces.title"),
        ("taps", "taps.title"),
        ("wiring", "wiring.title"),
        ("hookup", "hookup.title"),
        ("functions", "functions.title"),
        ("handover", "handover.title"),
        ("signature", "report.signature"),
    ];
    html! {
        nav aria-label=(language.say("sheet.contents")) {
            ul {
                @for (id, key) in parts {
                    @if (id != "report" || input.reported.is_some())
                        && (id != "functions" || !input.job.functions.is_empty()) {
                        li { a href={ "#" (id) } { (language.say(key)) } }
                    }
                }
            }
        }
    }
}

/// The head of a document that needs no network.
fn head(title: &str, styles: &[&str]) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta http-equiv="Content-Security-Policy" content=(POLICY);
            title { (title) }
            style { @for style in styles { (PreEscaped(style)) } }
        }
    }
}

#[cfg(test)]
mod tests;
