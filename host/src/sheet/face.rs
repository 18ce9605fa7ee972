//! A connector's face from the wire side, with its latch, its cavities and who
//! is in each.

use maud::{Markup, html};

use super::language::Language;
use super::marks::Marks;
use crate::plan::model::{Conductor, Connector, End, Job, Latch, Lead};

/// Size of a cavity in the drawing.
const CELL: (usize, usize) = (60, 46);

/// Room around the cavities, with the latch.
const EDGE: usize = 22;

/// Columns from which on a drawing may be moved sideways on a phone.
const WIDE: usize = 8;

/// The lead of the harness that ends in a cavity.
pub(super) fn lead_at<'j>(job: &'j Job, connector: &str, cavity: u16) -> Option<&'j Lead> {
    let end = End::Cavity(connector.to_owned(), cavity);
    let mut leads = job.leads.iter();
    leads.find(|lead| lead.from == end || lead.to == end)
}

/// The conductor of the vehicle that is reached in a cavity.
pub(super) fn conductor_at<'j>(
    job: &'j Job,
    connector: &str,
    cavity: u16,
) -> Option<&'j Conductor> {
    job.conductors.iter().find(|conductor| {
        let mut at = conductor.at.iter();
        at.any(|(own, number)| own == connector && *number == cavity)
    })
}

/// One cavity in words.
fn cell(
    job: &Job,
    connector: &Connector,
    cavity: u16,
    marks: &Marks,
    language: &Language,
) -> String {
    let number = cavity.to_string();
    let lead = lead_at(job, &connector.name, cavity);
    let conductor = conductor_at(job, &connector.name, cavity);
    let lead_text = lead.map(|lead| format!("{} {}", lead.name, lead.colour));
    let key = match (lead, conductor) {
        (Some(_), Some(_)) => "faces.cell_both",
        (Some(_), None) => "faces.cell_new",
        (None, Some(_)) => "faces.cell_there",
        (None, None) => "faces.cell_empty",
    };
    let said = language.fill(
        key,
        &[
            ("cavity", &number),
            ("lead", lead_text.as_deref().unwrap_or_default()),
            (
                "conductor",
                conductor.map_or("", |conductor| &conductor.name),
            ),
        ],
    );
    let findings = marks.at(&connector.name, cavity);
    if findings.is_empty() {
        return said;
    }
    let numbers: Vec<String> = findings.iter().map(ToString::to_string).collect();
    language.fill(
        "faces.cell_marked",
        &[("cell", &said), ("finding", &numbers.join(", "))],
    )
}

/// The whole face in words, row by row.
fn words(job: &Job, connector: &Connector, marks: &Marks, language: &Language) -> String {
    let mut said = vec![latch_words(connector, language).to_owned()];
    for (at, row) in connector.face.iter().enumerate() {
        let cells: Vec<String> = row
            .iter()
            .map(|cavity| match cavity {
                Some(cavity) => cell(job, connector, *cavity, marks, language),
                None => language.say("faces.cell_none").to_owned(),
            })
            .collect();
        let row = (at + 1).to_string();
        said.push(language.fill("faces.row", &[("row", &row), ("cells", &cells.join("; "))]));
    }
    said.join(". ")
}

/// Where the latch is, in words.
pub(super) fn latch_words<'l>(connector: &Connector, language: &'l Language) -> &'l str {
    language.say(match connector.latch {
        Some(Latch::Top) => "faces.latch_top",
        Some(Latch::Bottom) => "faces.latch_bottom",
        Some(Latch::Left) => "faces.latch_left",
        Some(Latch::Right) => "faces.latch_right",
        None => "faces.latch_unknown",
    })
}

/// The drawing; `number` sets its names apart from those of other drawings.
pub(super) fn face(
    job: &Job,
    connector: &Connector,
    marks: &Marks,
    number: usize,
    language: &Language,
) -> Markup {
    let columns = connector.face.iter().map(Vec::len).max().unwrap_or(1);
    let rows = connector.face.len();
    let (width, height) = (columns * CELL.0 + 2 * EDGE, rows * CELL.1 + 2 * EDGE);
    let title = language.fill("faces.drawing", &[("name", &connector.name)]);
    let (title_id, words_id) = (format!("face{number}"), format!("face{number}-words"));
    let least = if columns > WIDE { columns * 36 } else { 0 };
    html! {
        div.face.wide[columns > WIDE] tabindex=[(columns > WIDE).then_some("0")]
            role=[(columns > WIDE).then_some("region")]
            aria-label=[(columns > WIDE).then_some(title.as_str())] {
            svg role="img" aria-labelledby={ (title_id) " " (words_id) }
                viewBox={ "0 0 " (width) " " (height) }
                style={ "max-width:" (width) "px;min-width:" (least) "px" } {
                title id=(title_id) { (title) }
                desc id=(words_id) { (words(job, connector, marks, language)) }
                rect class="shell" x=(EDGE - 6) y=(EDGE - 6) width=(columns * CELL.0 + 12)
                    height=(rows * CELL.1 + 12) rx="8" {}
                @if let Some(latch) = connector.latch {
                    (latch_drawing(latch, (width, height), language))
                }
                @for (row, cells) in connector.face.iter().enumerate() {
                    @for (column, cavity) in cells.iter().enumerate() {
                        @if let Some(cavity) = cavity {
                            (cavity_drawing(job, connector, *cavity, marks,
                                (EDGE + column * CELL.0, EDGE + row * CELL.1)))
                        }
                    }
                }
            }
        }
    }
}

fn cavity_drawing(
    job: &Job,
    connector: &Connector,
    cavity: u16,
    marks: &Marks,
    (x, y): (usize, usize),
) -> Markup {
    let lead = lead_at(job, &connector.name, cavity);
    let conductor = conductor_at(job, &connector.name, cavity);
    let class = match (lead, conductor) {
        (Some(_), _) => "new",
        (None, Some(_)) => "there",
        (None, None) => "empty",
    };
    let name = lead
        .map(|lead| (lead.name.as_str(), lead.colour.as_str()))
        .or_else(|| conductor.map(|own| (own.name.as_str(), own.colour.as_deref().unwrap_or(""))));
    let middle = x + CELL.0 / 2;
    let findings = marks.at(&connector.name, cavity);
    // Beside the flag.
    let aside = if findings.is_empty() { 0 } else { 8 };
    html! {
        rect class=(class) x=(x + 2) y=(y + 2) width=(CELL.0 - 4) height=(CELL.1 - 4) rx="4" {}
        text class="number" x=(middle + aside) y=(y + 17) { (cavity) }
        @if let Some((name, colour)) = name {
            text class="name" x=(middle) y=(y + 29) { (short(name)) }
            text class="name" x=(middle) y=(y + 40) { (colour) }
        }
        @if !findings.is_empty() {
            path class="flag" d={ "M" (x + 2) " " (y + 2) "h20v14h-20z" } {}
            text class="flagged" x=(x + 12) y=(y + 13) {
                @for (at, number) in findings.iter().enumerate() {
                    @if at > 0 { "," }
                    (number)
                }
            }
        }
    }
}

/// A name that fits into a cavity; the table has it in full.
fn short(name: &str) -> String {
    if name.chars().count() <= 8 {
        return name.to_owned();
    }
    name.chars().take(7).chain(['…']).collect()
}

fn latch_drawing(latch: Latch, (width, height): (usize, usize), language: &Language) -> Markup {
    let (middle, centre) = (width / 2, height / 2);
    let (x, y, w, h) = match latch {
        Latch::Top => (middle - 34, 1, 68, 15),
        Latch::Bottom => (middle - 34, height - 16, 68, 15),
        Latch::Left => (1, centre.saturating_sub(34), 15, 68),
        Latch::Right => (width - 16, centre.saturating_sub(34), 15, 68),
    };
    let turned = matches!(latch, Latch::Left | Latch::Right);
    let (tx, ty) = (x + w / 2, y + h / 2);
    html! {
        rect class="latch" x=(x) y=(y) width=(w) height=(h) rx="3" {}
        text class="latch-word" x=(tx) y=(ty + 4)
            transform=[turned.then(|| format!("rotate(-90 {tx} {ty})"))] {
            (language.say("faces.latch"))
        }
    }
}
