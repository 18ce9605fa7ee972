//! The file of a jig: read with every mistake shown at its place, and written.

use std::collections::BTreeMap;
use std::io::{ErrorKind, Read as _, Write as _};
use std::path::Path;

use loomproof_core::wire::{LeadId, MAX_LEADS};
use serde::Deserialize;
use toml::Spanned;

use super::code::{self, Code};
use super::{Jig, history, quoted};
use crate::plan::{Problems, Span, render, spoils};
use crate::whole_file::WholeFile;

/// How the name of a jig's file ends.
pub const ENDING: &str = ".jig.toml";

/// Version of the file's layout.
const FORMAT: i64 = 1;

/// The largest file that is read, bytes.
const MOST_BYTES: u64 = 1 << 18;

/// Most characters of a title or a point.
const LONGEST: usize = 120;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Text {
    jig: Spanned<i64>,
    title: Spanned<String>,
    number: Spanned<i64>,
    plans: Spanned<Vec<Spanned<String>>>,
    matings: Option<Spanned<i64>>,
    check_every: Option<Spanned<i64>>,
    leads: Spanned<BTreeMap<Spanned<String>, Spanned<String>>>,
}

/// A lead as it is written on its clip: `P5`.
#[must_use]
pub fn lead(text: &str) -> Option<LeadId> {
    let number: u8 = text.strip_prefix(['P', 'p'])?.parse().ok()?;
    let there = (1..=MAX_LEADS).contains(&usize::from(number));
    let lead = there.then(|| LeadId(number - 1))?;
    // P04 and P+4 are no way to write it.
    lead.to_string().eq_ignore_ascii_case(text).then_some(lead)
}

/// Reads a file; `colour` is for a terminal.
///
/// # Errors
/// Text for a file that is missing, or everything that is wrong with it.
pub fn load(path: &Path, colour: bool) -> Result<Jig, String> {
    let mut bytes = Vec::new();
    let name = path.display();
    let fail = |error: std::io::Error| match error.kind() {
        ErrorKind::NotFound => format!("{name}: {error}; check the path"),
        _ => format!("{name}: {error}; let it be read"),
    };
    if std::fs::metadata(path).map_err(fail)?.is_file() {
        let mut file = std::fs::File::open(path)
            .map_err(fail)?
            .take(MOST_BYTES + 1);
        file.read_to_end(&mut bytes).map_err(fail)?;
    } else {
        return Err(format!(
            "{name}: this is no ordinary file; give the file of the jig"
        ));
    }
    if bytes.len() as u64 > MOST_BYTES {
        return Err(format!(
            "{name}: this is larger than {} KiB, so not a jig's file; check the path",
            MOST_BYTES >> 10
        ));
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| format!("{name}: this is not text, so not a jig's file"))?;
    read(path, &text, colour)
}

/// Reads the text of a file.
///
/// # Errors
/// Text with everything that is wrong with it.
pub fn read(path: &Path, source: &str, colour: bool) -> Result<Jig, String> {
    let mut problems = Problems::new(source);
    let jig = match toml::from_str::<Text>(source) {
        Ok(text) => checked(path, text, &mut problems),
        Err(error) => {
            let at = error.span().unwrap_or(0..0);
            let help = "a jig's file has the keys jig, title, number, plans and [leads], and may have \
                        matings and check_every; docs/jigs.md shows one";
            problems.note(&at, error.message(), help);
            None
        }
    };
    let problems = problems.finish();
    match jig {
        Some(jig) if problems.is_empty() => Ok(jig),
        _ => Err(render(
            &problems,
            &path.display().to_string(),
            source,
            colour,
        )),
    }
}

fn checked(path: &Path, text: Text, problems: &mut Problems<'_>) -> Option<Jig> {
    if *text.jig.get_ref() != FORMAT {
        let help =
            "jig = 1 is the layout that this version reads; a later one needs a later version";
        problems.note(&text.jig.span(), "this layout is not known", help);
        return None;
    }
    line(&text.title, problems);
    let number = u16::try_from(*text.number.get_ref()).ok();
    let code = number.and_then(Code::new);
    if code.is_none() {
        let help = format!("give a number from 1 to {}", code::MOST);
        problems.note(&text.number.span(), "no jig can have this number", help);
    }
    if text.plans.get_ref().is_empty() {
        let help = "name the title of every plan whose harness fits into this jig";
        problems.note(&text.plans.span(), "the jig is for no plan", help);
    }
    for plan in text.plans.get_ref() {
        line(plan, problems);
    }
    let matings = count(text.matings.as_ref(), problems);
    let check_every = count(text.check_every.as_ref(), problems);
    let wires = wires(&text.leads, problems);
    let plans = text.plans.into_inner().into_iter();
    Some(Jig {
        path: path.to_owned(),
        title: text.title.into_inner(),
        code: code?,
        plans: plans.map(Spanned::into_inner).collect(),
        matings,
        check_every,
        wires,
    })
}

/// A line of text that can be shown.
fn line(text: &Spanned<String>, problems: &mut Problems<'_>) {
    let it = text.get_ref();
    if it.trim().is_empty() || it.chars().any(spoils) || it.chars().count() > LONGEST {
        let help = format!("give one line of at most {LONGEST} characters");
        problems.note(&text.span(), "this cannot be shown as a line of text", help);
    }
}

fn count(number: Option<&Spanned<i64>>, problems: &mut Problems<'_>) -> Option<u32> {
    let number = number?;
    let given = u32::try_from(*number.get_ref()).ok();
    let count = given.filter(|count| *count > 0);
    if count.is_none() {
        let help = "give how often, from 1 on, or leave the key out";
        problems.note(&number.span(), "this is no number of matings", help);
    }
    count
}

fn wires(
    leads: &Spanned<BTreeMap<Spanned<String>, Spanned<String>>>,
    problems: &mut Problems<'_>,
) -> Vec<(LeadId, String)> {
    if leads.get_ref().is_empty() {
        let help = "name each lead with its point: P4 = \"X1:4\"";
        problems.note(&leads.span(), "no lead is wired to anything", help);
    }
    let mut wires: Vec<(LeadId, String, Span, Span)> = Vec::new();
    for (name, point) in leads.get_ref() {
        line(point, problems);
        let Some(lead) = lead(name.get_ref()) else {
            let help = format!("write it as on the probe: P4 to P{MAX_LEADS}");
            problems.note(&name.span(), "this is no lead of a probe", help);
            continue;
        };
        if code::LEADS.contains(&lead) {
            let help = "P1, P2 and P3 carry the jig's number; wire the points to P4 and further";
            problems.note(&name.span(), "this lead is taken", help);
            continue;
        }
        // A cavity is met at its mating side, whether that is written or not.
        let at = point.get_ref().trim_end_matches(" mating side").to_owned();
        if at.ends_with(" wire side") {
            let help = "a jig meets a cavity at its mating side; write the cavity alone: X1:4";
            problems.note(
                &point.span(),
                "a mating half does not reach the wire side",
                help,
            );
            continue;
        }
        let same = wires
            .iter()
            .find(|(other, there, _, _)| *other == lead || *there == at);
        if let Some((_, _, first, there)) = same {
            let (said, other) = if wires.iter().any(|(_, there, _, _)| *there == at) {
                ("this point has a lead already", there.clone())
            } else {
                ("this lead is wired already", first.clone())
            };
            let help = "every lead goes to one point, and every point to one lead";
            problems.note_pair(&point.span(), said, help, &other, "here first");
            continue;
        }
        wires.push((lead, at, name.span(), point.span()));
    }
    let mut wires: Vec<(LeadId, String)> = wires
        .into_iter()
        .map(|(lead, at, _, _)| (lead, at))
        .collect();
    wires.sort();
    wires
}

/// The text of a jig's file.
#[must_use]
pub fn text(jig: &Jig) -> String {
    let quote = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let plans: Vec<String> = jig.plans.iter().map(|plan| quote(plan)).collect();
    let [a, b, c] = jig.code.resistors().map(|(_, ohms)| ohms);
    let mut out = format!(
        "# Bench jig for {}.\n\
         # Its plug joins C1 and C2, and has {a}, {b} and {c} (1 %) from P1, P2 and P3\n\
         # to them.\n\
         jig = {FORMAT}\n\
         title = {}\n\
         number = {}\n\
         plans = [{}]\n",
        quoted(&jig.plans).replace('\n', " "),
        quote(&jig.title),
        jig.code.number(),
        plans.join(", ")
    );
    if let Some(matings) = jig.matings {
        out.push_str(&format!(
            "# How often the halves can be mated, by their maker.\nmatings = {matings}\n"
        ));
    }
    if let Some(every) = jig.check_every {
        out.push_str(&format!(
            "# Check with shorting plugs after so many.\ncheck_every = {every}\n"
        ));
    }
    out.push_str("\n# Which lead goes to which contact of the mating halves.\n[leads]\n");
    for (lead, point) in &jig.wires {
        out.push_str(&format!("{lead} = {}\n", quote(point)));
    }
    out
}

/// Writes the file, whole or not at all; an old one is not replaced.
///
/// # Errors
/// A sentence where it cannot be written.
pub fn write(jig: &Jig) -> Result<(), String> {
    let path = &jig.path;
    let fail = |error: std::io::Error| format!("{}: {error}", path.display());
    let file = path.file_name().and_then(|file| file.to_str());
    if !file.is_some_and(|file| file.len() > ENDING.len() && file.ends_with(ENDING)) {
        return Err(format!(
            "{}: let the name of a jig's file end in {ENDING}, so that it is found in its folder",
            path.display()
        ));
    }
    let history = history::path(path);
    for there in [path, &history] {
        if there.exists() {
            return Err(format!(
                "{}: there is such a file already; give another name, or take that one away",
                there.display()
            ));
        }
    }
    let mut file = WholeFile::beside(path).map_err(fail)?;
    file.write_all(text(jig).as_bytes()).map_err(fail)?;
    file.put().map_err(fail)
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "jig = 1\ntitle = \"Van\"\nnumber = 17\nplans = [\"Bakery van\"]\n\
                        matings = 500\n[leads]\nP4 = \"X1:3\"\nP10 = \"T1\"\n";

    fn trouble(text: &str) -> String {
        read(Path::new("van.jig.toml"), text, false).expect_err("something is wrong")
    }

    #[test]
    fn what_is_written_reads_back() {
        let jig = read(Path::new("van.jig.toml"), GOOD, false).expect("good");
        assert_eq!(
            jig.wires,
            [(LeadId(3), "X1:3".to_owned()), (LeadId(9), "T1".to_owned())]
        );
        let again = read(Path::new("van.jig.toml"), &text(&jig), false);
        assert_eq!(again.as_ref(), Ok(&jig));
        let odd = Jig {
            title: "a \"quoted\" # title".to_owned(),
            plans: vec!["\\ and \"".to_owned(), "two".to_owned()],
            check_every: Some(7),
            matings: None,
            ..jig
        };
        assert_eq!(read(&odd.path, &text(&odd), false), Ok(odd));
    }

    #[test]
    fn every_mistake_is_shown_where_it_is() {
        let wrong = GOOD
            .replace("17", "145")
            .replace("500", "0")
            .replace("P4", "P2")
            .replace("[\"Bakery van\"]", "[]");
        let said = trouble(&wrong);
        for part in [
            "--> van.jig.toml:3:10",
            "no jig can have this number",
            "--> van.jig.toml:4:9",
            "the jig is for no plan",
            "--> van.jig.toml:5:11",
            "--> van.jig.toml:7:1",
            "P1, P2 and P3 carry the jig's number",
        ] {
            assert!(said.contains(part), "{part} is not in:\n{said}");
        }
        for (from, to, part) in [
            ("jig = 1", "jig = 2", "this layout is not known"),
            ("title", "titel", "unknown field `titel`"),
            ("\"T1\"", "\"X1:3\"", "this point has a lead already"),
            ("P10", "P200", "no lead of a probe"),
            ("P10", "p4", "this lead is wired already"),
            ("P10", "\"P+9\"", "no lead of a probe"),
            (
                "\"T1\"",
                "\"X1:3 mating side\"",
                "this point has a lead already",
            ),
            (
                "\"T1\"",
                "\"X1:4 wire side\"",
                "does not reach the wire side",
            ),
            ("\"Van\"", "\"\\u202e\"", "cannot be shown"),
            ("P4 = \"X1:3\"\nP10 = \"T1\"\n", "", "no lead is wired"),
            ("[leads]", "[leads", "van.jig.toml:6"),
        ] {
            let said = trouble(&GOOD.replace(from, to));
            assert!(said.contains(part), "{part} is not in:\n{said}");
        }
    }

    #[test]
    fn a_file_is_written_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut jig = read(Path::new("van.jig.toml"), GOOD, false).expect("good");
        jig.path = folder.path().join("van.jig.toml");
        write(&jig).expect("written");
        assert_eq!(load(&jig.path, false).as_ref(), Ok(&jig));
        assert!(write(&jig).is_err_and(|error| error.contains("already")));
        jig.path = folder.path().join("van.toml");
        assert!(write(&jig).is_err_and(|error| error.contains(ENDING)));
    }
}
