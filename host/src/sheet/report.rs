//! The report after the job: verdict, findings on the faces, what was tested
//! and what was not, readings, what it rests on, signature.

use maud::{Markup, html};

use super::face::face;
use super::handover::{picture, shows};
use super::language::Language;
use super::marks::Marks;
use super::told::{self, told};
use super::{Input, Reported};
use crate::fault::kinds::not_tested;
use crate::ringout::findings::{Finding, Findings, letter};
use crate::ringout::report::{HandCheck, ReadingReport, Report, Verdict};
use crate::ringout::text::is_simulated;

/// Drawings in the report are numbered from here, those of the job from 0.
const DRAWINGS: usize = 1000;

/// The most readings that are off and printed; all are in the list that opens.
const MOST_READINGS: usize = 30;

/// The whole report.
pub(super) fn report(
    input: &Input<'_>,
    reported: &Reported,
    marks: &Marks,
    language: &Language,
) -> Markup {
    let report = &reported.report;
    html! {
        section id="report" aria-labelledby="h-report" {
            h2 id="h-report" { (language.say("report.title")) }
            (verdict(report, language))
            @if is_simulated(&report.probe.board) {
                p { strong { (language.fill("report.simulated", &[("board", &report.probe.board)])) } }
            }
            @if language.code() != "en" { p { (language.say("sheet.original")) } }
            (findings(input, report, marks, language))
            (open(report, language))
            (tested(report, language))
            (readings(report, language))
            (rests(reported, language))
        }
    }
}

fn verdict(report: &Report, language: &Language) -> Markup {
    let list = report
        .groups
        .first()
        .map(Findings::of)
        .unwrap_or_default()
        .list;
    let hand_open = report.hand_checks.iter().any(HandCheck::is_open);
    let (sign, key, say) = match report.verdict {
        Verdict::Pass if hand_open => ("✔", "pass", language.say("report.pass_open").to_owned()),
        Verdict::Pass => ("✔", "pass", language.say("report.pass_done").to_owned()),
        Verdict::Faults if report.lost => ("✘", "faults", language.say("report.lost").to_owned()),
        Verdict::Faults => {
            let count = list.len().to_string();
            (
                "✘",
                "faults",
                language.fill("report.faults", &[("count", &count)]),
            )
        }
        Verdict::Undecided => (
            "?",
            "undecided",
            language.say("report.undecided").to_owned(),
        ),
        Verdict::Refused => ("⛔", "refused", language.say("report.refused").to_owned()),
    };
    html! {
        div class={ "verdict " (key) } {
            p class="word" {
                span aria-hidden="true" { (sign) " " }
                (language.say(match report.verdict {
                    Verdict::Pass => "report.verdict_pass",
                    Verdict::Faults => "report.verdict_faults",
                    Verdict::Undecided => "report.verdict_undecided",
                    Verdict::Refused => "report.verdict_refused",
                }))
            }
            p { (say) }
            @if let Some(first) = &report.first {
                p { (told(&first.say, language)) }
                p { strong { (told(&first.act, language)) } }
            }
            @if let Some(refusal) = &report.refusal {
                p { (told(&refusal.say, language)) }
                p { strong { (told(&refusal.act, language)) } }
            }
        }
    }
}

fn findings(input: &Input<'_>, report: &Report, marks: &Marks, language: &Language) -> Markup {
    let best = report.groups.first().filter(|_| !report.lost);
    let list = best.map(Findings::of).unwrap_or_default().list;
    let marked = input
        .job
        .connectors
        .iter()
        .filter(|own| marks.on(&own.name));
    html! {
        @if let (Some(best), false) = (best, list.is_empty()) {
            h3 { (language.say("report.findings")) }
            @for (at, found) in list.iter().enumerate() {
                (finding(input, at + 1, found, language))
            }
            p { (language.fill("report.sure", &[("percent", &percent(best.probability))])) }
            @if let Some(next) = &report.next_reading {
                p { b { (language.say("report.next")) ": " } span lang="en" { (next.say) } }
            }
            p { (language.say("report.again")) }
            @for (at, connector) in marked.enumerate() {
                section class="connector" {
                    h4 {
                        (language.say("report.on_face")) ": "
                        (language.fill("faces.heading", &[("name", &connector.name)]))
                        @if let Some(place) = &connector.place { ", " (place) }
                    }
                    (face(input.job, connector, marks, DRAWINGS + at, language))
                }
            }
        }
    }
}

fn finding(input: &Input<'_>, number: usize, finding: &Finding<'_>, language: &Language) -> Markup {
    let several = finding.either.len() > 1;
    let count = finding.either.len().to_string();
    html! {
        section class="card finding" {
            h4 {
                span class="flag-text" { (language.fill("report.finding", &[("number", &number.to_string())])) }
            }
            @if several { p { (language.fill("report.one_of", &[("count", &count)])) } }
            @for (at, fault) in finding.either.iter().enumerate() {
                div class="either" {
                    p {
                        b {
                            @if several { (letter(at)) ") " }
                            (language.say_or(&format!("kind.{}", fault.kind), "kind.other"))
                            " – " (fault.place)
                        }
                    }
                    @match told::fault(input.job, fault, language) {
                        Some(words) => {
                            p { (words.say) }
                            p { b { (language.say("report.do")) ": " } (words.act) }
                        }
                        None => {
                            p lang="en" { (fault.say) }
                            p {
                                b { (language.say("report.do")) ": " }
                                span lang="en" { (fault.act) }
                            }
                        }
                    }
                }
            }
            @for photo in input.photos.iter().filter(|photo| shows(photo, number, finding)) {
                (picture(input.job, photo, language))
            }
        }
    }
}

fn percent(share: f64) -> String {
    if share > 0.995 {
        "> 99".to_owned()
    } else {
        format!("{:.0}", share * 100.0)
    }
}

fn open(report: &Report, language: &Language) -> Markup {
    html! {
        @if !report.still_to_do.is_empty() {
            h3 { (language.say("report.still")) }
            ul { @for one in &report.still_to_do { li { (told(&one.say, language)) } } }
        }
        @if !report.undecided.is_empty() {
            h3 { (language.say("report.open")) }
            ul { @for one in &report.undecided { li { (told(&one.say, language)) } } }
        }
    }
}

fn tested(report: &Report, language: &Language) -> Markup {
    let count = |purpose: &str| report.taken_for(purpose);
    let more = count("walk") + count("pair");
    let names = [
        ("continuity", count("continuity").to_string()),
        ("isolation", count("isolation").to_string()),
        ("across", count("across").to_string()),
        ("more", more.to_string()),
        ("covered", report.coverage.covered.to_string()),
        ("all", report.coverage.faults.to_string()),
    ];
    let names: Vec<(&str, &str)> = names
        .iter()
        .map(|(name, text)| (*name, text.as_str()))
        .collect();
    let by_kind = report.coverage.not_tested();
    html! {
        @if report.verdict != Verdict::Refused {
            h3 { (language.say("report.tested")) }
            p { (language.fill("report.tested_say", &names)) }
        }
        h3 { (language.say("report.not_tested")) }
        ul {
            @if by_kind.is_empty() { li { (language.say("report.not_tested_nothing")) } }
            @for (kind, places) in &by_kind {
                li {
                    @if language.code() == "en" { (not_tested(kind)) }
                    @else { (language.say_or(&format!("kind.{kind}"), "kind.other")) ":" }
                    " " (places.join(", "))
                }
            }
            @if report.place == "bench" { li { (language.say("report.bench_limits")) } }
            li { (language.say("report.limits")) }
        }
    }
}

fn readings(report: &Report, language: &Language) -> Markup {
    let off: Vec<&ReadingReport> = report
        .readings
        .iter()
        .filter(|reading| reading.verdict != "within")
        .collect();
    let first: Vec<&ReadingReport> = off.iter().copied().take(MOST_READINGS).collect();
    let left = (off.len() - first.len()).to_string();
    let all: Vec<&ReadingReport> = report.readings.iter().collect();
    let count = all.len().to_string();
    html! {
        h3 { (language.say("report.readings")) }
        @if off.is_empty() { p { (language.say("report.readings_none")) } }
        @else { (reading_table(&first, language.say("report.readings"), language)) }
        @if first.len() < off.len() {
            p { (language.fill("report.readings_more", &[("count", &left)])) }
        }
        @if !all.is_empty() {
            @let title = language.fill("report.readings_all", &[("count", &count)]);
            details {
                summary { (title) }
                (reading_table(&all, &title, language))
            }
        }
    }
}

fn reading_table(readings: &[&ReadingReport], title: &str, language: &Language) -> Markup {
    html! {
        table class="readings" {
            caption class="hidden" { (title) }
            thead { tr {
                th scope="col" { (language.say("report.point")) }
                th scope="col" { (language.say("report.measured")) }
                th scope="col" { (language.say("report.expected")) }
                th scope="col" { (language.say("report.judged")) }
            } }
            tbody {
                @for reading in readings {
                    tr {
                        th scope="row" {
                            (reading.point)
                            @if let Some(minus) = &reading.minus { " – " (minus) }
                            span class="size" { " " (reading.high.join(" ")) "↑" }
                        }
                        td { (reading.measured_uv.map_or("–".to_owned(), volts)) }
                        td {
                            (volts(reading.expected_low_uv))
                            @if reading.expected_high_uv != reading.expected_low_uv {
                                " … " (volts(reading.expected_high_uv))
                            }
                            " ± " (volts(5 * reading.sigma_uv))
                        }
                        td { (language.say(match reading.verdict.as_str() {
                            "within" => "report.within",
                            "low" => "report.low",
                            "high" => "report.high",
                            _ => "report.unsettled",
                        })) }
                    }
                }
            }
        }
    }
}

/// Microvolts with a unit that suits them.
fn volts(uv: i64) -> String {
    #[allow(clippy::cast_precision_loss, reason = "a few million")]
    let v = uv as f64;
    match uv.abs() {
        0..10_000 => format!("{:.2} mV", v / 1e3),
        10_000..1_000_000 => format!("{:.0} mV", v / 1e3),
        _ => format!("{:.3} V", v / 1e6),
    }
}

fn rests(reported: &Reported, language: &Language) -> Markup {
    let report = &reported.report;
    let taken = reported.taken.as_deref();
    html! {
        h3 { (language.say("report.versions")) }
        dl class="facts" {
            div { dt { (language.say("report.taken")) }
                dd { (taken.unwrap_or(language.say("report.not_kept"))) } }
            div { dt { (language.say("report.probe")) }
                dd { (report.probe.board) " " (report.probe.serial) } }
            div { dt { (language.say("report.firmware")) } dd { (report.probe.build) } }
            div class="wide" { dt { (language.say("sheet.plan_digest")) }
                dd class="digest" { (report.plan_digest) } }
            @if let Some((digest, chain)) = &reported.record {
                div class="wide" { dt { (language.say("report.record")) } dd class="digest" { (digest) } }
                div class="wide" { dt { (language.say("report.chain")) } dd class="digest" { (chain) } }
            }
        }
    }
}

/// Lines to sign on.
pub(super) fn signature(input: &Input<'_>, language: &Language) -> Markup {
    html! {
        section id="signature" aria-labelledby="h-signature" class="signature" {
            h2 id="h-signature" { (language.say("report.signature")) }
            p { (language.say("report.signed")) }
            div class="lines" {
                p { (input.subject.who.as_deref().unwrap_or_default()) span { (language.say("report.fitter")) } }
                p { span { (language.say("report.date")) } }
                p { span { (language.say("report.signature")) } }
            }
            p { (language.say("handover.taken_over")) }
            div class="lines" {
                p { span { (language.say("handover.taken_by")) } }
                p { span { (language.say("report.date")) } }
                p { span { (language.say("report.signature")) } }
            }
        }
    }
}
