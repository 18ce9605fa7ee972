//! The label of a harness: who it is, in words and as a code that opens its sheet.

use maud::{DOCTYPE, Markup, html};

use super::code::{Code, SMALLEST_MM};
use super::language::Language;
use super::{Input, Reported, clean, head};
use crate::ringout::report::{HandCheck, Verdict};
use crate::ringout::text::is_simulated;

/// How big a label is, in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    /// Along the text.
    pub width: f64,
    /// Across it.
    pub height: f64,
}

/// Clear edge of the label, mm: printers do not reach the rim (common practice).
const EDGE: f64 = 2.0;

/// Digits of a digest that are printed, of 64: as many as the program shows elsewhere.
const DIGITS: usize = 12;

/// The longest number of a harness that fits, characters.
const LONGEST_UNIT: usize = 40;

impl Size {
    /// Fits a laser or thermal label as they are sold (common practice).
    pub const USUAL: Self = Self {
        width: 100.0,
        height: 50.0,
    };

    /// Reads `100x50`.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read(text: &str) -> Result<Self, String> {
        let numbers = text.split_once('x').and_then(|(width, height)| {
            let number = |text: &str| text.trim().parse::<f64>().ok();
            Some((number(width)?, number(height)?))
        });
        let (width, height) =
            numbers.ok_or("write the width and the height in millimetres, such as 100x50")?;
        if !((60.0..=200.0).contains(&width) && (30.0..=100.0).contains(&height)) {
            return Err("a label is 60 to 200 mm wide and 30 to 100 mm high".to_owned());
        }
        if width < height + 25.0 {
            return Err(
                "beside the code, which is as high as the label, the text needs 25 mm: \
                        take a wider label"
                    .to_owned(),
            );
        }
        Ok(Self { width, height })
    }

    /// The side of the code.
    fn code(self) -> f64 {
        self.height - 2.0 * EDGE
    }
}

/// The address that a sheet is found at: of the shop's folder, and the name of the file
/// in it, which is the harness's own number.
///
/// # Errors
/// What is wrong with the address of the folder.
pub fn address_of(folder: &str, unit: &str) -> Result<String, String> {
    let host = folder
        .strip_prefix("https://")
        .or_else(|| folder.strip_prefix("http://"))
        .ok_or("it begins with https:// (or http:// within the shop)")?;
    if host.is_empty() || host.starts_with('/') {
        return Err("it names no server".to_owned());
    }
    // RFC 3986, section 2: what an address may hold (from memory).
    let allowed = |c: char| c.is_ascii_alphanumeric() || "-._~:/[]@!$&'()*+,;=%".contains(c);
    if let Some(bad) = folder.chars().find(|c| !allowed(*c)) {
        return Err(format!(
            "'{bad}' does not belong in the address of a folder"
        ));
    }
    if !folder.ends_with('/') {
        return Err("it ends with /, being that of a folder of sheets".to_owned());
    }
    Ok(format!("{folder}{}", file_name(unit)))
}

/// The name that a harness's sheet has in that folder, as in an address.
fn file_name(unit: &str) -> String {
    let mut name = String::new();
    for byte in unit.bytes() {
        // RFC 3986, 2.3: unreserved characters stay as they are (from memory).
        if byte.is_ascii_alphanumeric() || b"-_~".contains(&byte) {
            name.push(char::from(byte));
        } else {
            name.push_str(&format!("%{byte:02X}"));
        }
    }
    name + ".html"
}

/// The label as one HTML document.
///
/// # Errors
/// A sentence where no label can be made: no number, a bad address, more than fits.
pub fn label(
    input: &Input<'_>,
    size: Size,
    folder: Option<&str>,
    language: &Language,
) -> Result<String, String> {
    let unit = input.subject.unit.as_deref();
    let unit = unit.ok_or("a label is of one harness: say its number with --unit")?;
    if unit.chars().count() > LONGEST_UNIT {
        return Err(format!(
            "a number of more than {LONGEST_UNIT} characters does not fit on a label"
        ));
    }
    let says = match folder {
        Some(folder) => {
            address_of(folder, unit).map_err(|why| format!("--address {folder}: {why}"))?
        }
        None => plain(input, unit),
    };
    let code = Code::of(&says)?;
    #[allow(clippy::cast_precision_loss, reason = "at most 185 modules")]
    let module = size.code() / code.modules() as f64;
    if module < SMALLEST_MM {
        return Err(format!(
            "the code would have squares of {module:.2} mm, and below {SMALLEST_MM} mm no phone \
             reads it: take a higher label (--label-size) or, with a shorter address, --address"
        ));
    }
    let title = language.fill("label.title", &[("unit", unit)]);
    let (width, height) = (size.width, size.height);
    let page = format!(
        "@page {{ size: {width}mm {height}mm; margin: 0; }}\
         .label {{ width: {width}mm; height: {height}mm; padding: {EDGE}mm; }}"
    );
    let sizes = [width.to_string(), height.to_string()];
    let sizes = [("width", sizes[0].as_str()), ("height", sizes[1].as_str())];
    let words = language.fill("label.code", &[("text", &says)]);
    let document = html! {
        (DOCTYPE)
        html lang=(language.code()) {
            (head(&title, &[include_str!("label.css"), &page]))
            body {
                main {
                    div class="off-paper" {
                        h1 { (title) }
                        p { (language.fill("label.print", &sizes)) }
                        p {
                            (language.say("label.says")) " "
                            @if folder.is_some() { a href=(says) { (says) } }
                            @else { span class="plain" { (says) } }
                        }
                        @if folder.is_some() {
                            p { (language.fill("label.put", &[("file", &file_name(unit))])) }
                        }
                    }
                    div class="scroll" tabindex="0" role="group" aria-label=(title) {
                        div class="label" {
                            (code.draw(size.code(), &words))
                            (text(input, unit, folder.map(|_| says.as_str()), language))
                        }
                    }
                }
            }
        }
    };
    Ok(clean(&document.into_string()))
}

/// What stands beside the code.
fn text(input: &Input<'_>, unit: &str, address: Option<&str>, language: &Language) -> Markup {
    let job = input.job;
    let answers: Vec<String> = job
        .answers
        .iter()
        .map(|(option, value)| format!("{option} = {value}"))
        .collect();
    html! {
        div class="text" {
            p class="unit" { (unit) }
            p class="name" { (job.title) }
            @if let Some(batch) = &input.subject.batch {
                p { (language.say("sheet.batch")) " " (batch) }
            }
            p { (language.say("label.plan")) " " span class="digest" { (digits(&job.digest)) } }
            @if let Some(reported) = input.reported { (result(reported, language)) }
            @if let Some(address) = address { p class="address" { (address) } }
            @if !answers.is_empty() { p class="small" { (answers.join(", ")) } }
        }
    }
}

/// What was found, when, and in which record.
fn result(reported: &Reported, language: &Language) -> Markup {
    let report = &reported.report;
    let open = report.hand_checks.iter().any(HandCheck::is_open);
    html! {
        p class="result" {
            (language.say("label.ringout")) ": "
            b { (language.say(word(report.verdict))) }
            @if report.verdict == Verdict::Pass && open { ", " (language.say("label.hand_open")) }
        }
        @if is_simulated(&report.probe.board) { p { b { (language.say("label.simulated")) } } }
        @if let Some(taken) = &reported.taken { p { (taken) } }
        @if let Some((digest, _)) = &reported.record {
            p { (language.say("report.record")) " " span class="digest" { (digits(digest)) } }
        }
    }
}

fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "report.verdict_pass",
        Verdict::Faults => "report.verdict_faults",
        Verdict::Undecided => "report.verdict_undecided",
        Verdict::Refused => "report.verdict_refused",
    }
}

/// The first digits of a digest.
fn digits(digest: &str) -> &str {
    digest.get(..DIGITS).unwrap_or(digest)
}

/// What the code says without an address: one line each, in English whatever the
/// label's language is, so that two shops read the same.
fn plain(input: &Input<'_>, unit: &str) -> String {
    let job = input.job;
    let mut lines = vec![format!("unit {unit}")];
    if let Some(batch) = &input.subject.batch {
        lines.push(format!("batch {batch}"));
    }
    lines.push(job.title.clone());
    lines.push(format!("plan {}", digits(&job.digest)));
    if let Some(reported) = input.reported {
        let simulated = if is_simulated(&reported.report.probe.board) {
            " (simulated)"
        } else {
            ""
        };
        let taken = reported.taken.as_deref().unwrap_or_default();
        let verdict = reported.report.verdict.word();
        let line = format!("ring-out {verdict}{simulated} {taken}");
        lines.push(line.trim_end().to_owned());
        if let Some((digest, _)) = &reported.record {
            lines.push(format!("record {}", digits(digest)));
        }
    }
    clean(&lines.join("\n"))
}
