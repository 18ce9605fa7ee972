//! The ends of a lead, as written: `X1:4`, `T1`, `S1`, `G1`, `D1-A:2`,
//! `R1:86`, `cap`.

use super::model::{End, Half};
use super::names::{Kind, Named, Names, list, suggest};
use super::problem::{Complaint, quote};

const WAYS_TO_WRITE: &str = "an end is CONNECTOR:CAVITY, the name of a tap, splice or ring, a \
                             plug half such as `D1-A`, a part's terminal such as `R1:86`, or `cap`";

/// Terminals of a part (relay numbers: DIN 72552, relay listing, read).
const fn terminals(kind: Kind, changeover: bool) -> &'static [&'static str] {
    match kind {
        Kind::Relay if changeover => &["85", "86", "30", "87", "87a"],
        Kind::Relay => &["85", "86", "30", "87"],
        Kind::Diode => &["A", "K"],
        _ => &["1", "2"],
    }
}

/// Whether a lead can end at a thing of this kind.
fn takes_leads(kind: Kind) -> bool {
    !matches!(
        kind,
        Kind::Option
            | Kind::Switch
            | Kind::Pin
            | Kind::Conductor
            | Kind::Load
            | Kind::Lead
            | Kind::Function
            | Kind::Drain
    )
}

/// Reads one end.
pub(crate) fn parse(text: &str, names: &Names) -> Result<End, Complaint> {
    if text == "cap" {
        return Ok(End::Cap);
    }
    if let Some(at) = text.find(char::is_whitespace) {
        return Err(
            Complaint::new(format!("{} has a gap in it", quote(text)), WAYS_TO_WRITE)
                .on(at..text.len()),
        );
    }
    let (name, rest) = match text.split_once(':') {
        None => (text, None),
        Some((name, rest)) => (name, Some((rest, name.len() + 1..text.len()))),
    };
    if let Some((stem, half)) = plug_half(name, names) {
        let ways = names.get(stem).and_then(|n| n.count);
        return plug_way(text, stem, half, ways, rest);
    }
    let Some(named) = names.get(name) else {
        return Err(unknown(name, names));
    };
    match named.kind {
        Kind::Connector => cavity(name, named, rest),
        Kind::Tap => plain(name, named.kind, rest).map(End::Tap),
        Kind::Splice => plain(name, named.kind, rest).map(End::Splice),
        Kind::Ring => plain(name, named.kind, rest).map(End::Ring),
        Kind::Plug => Err(Complaint::new(
            format!("`{name}` is an in-line plug: say which half"),
            format!("write `{name}-A` or `{name}-B`"),
        )),
        Kind::Relay | Kind::Diode | Kind::Lamp | Kind::Fuse => part(name, named, rest),
        Kind::Conductor => Err(Complaint::new(
            format!("`{name}` is a conductor of the vehicle; a lead reaches it through a tap"),
            format!("declare a tap with on = \"{name}\" and end the lead at that tap"),
        )),
        Kind::Switch | Kind::Load => Err(Complaint::new(
            format!(
                "`{name}` is a {} outside the harness; a lead reaches it through a connector",
                named.kind.word()
            ),
            format!("end the lead at one of the two cavities that {name} is `between`"),
        )),
        Kind::Pin => Err(Complaint::new(
            format!("`{name}` is a pin of the vehicle; a lead reaches it through its cavity"),
            "end the lead at the cavity that the pin is `at`, such as `X1:3`",
        )),
        Kind::Option | Kind::Lead | Kind::Function | Kind::Drain => Err(Complaint::new(
            format!(
                "`{name}` is a {}; a lead cannot end there",
                named.kind.word()
            ),
            WAYS_TO_WRITE,
        )),
    }
}

/// The plug and the half that `D1-A` stands for, when there is such a plug.
pub(crate) fn plug_half<'t>(name: &'t str, names: &Names) -> Option<(&'t str, Half)> {
    let (stem, half) = match (name.strip_suffix("-A"), name.strip_suffix("-B")) {
        (Some(stem), _) => (stem, Half::A),
        (_, Some(stem)) => (stem, Half::B),
        _ => return None,
    };
    let named = names.get(stem)?;
    (named.kind == Kind::Plug).then_some((stem, half))
}

/// The text behind the colon and where it stands.
type Rest<'t> = Option<(&'t str, std::ops::Range<usize>)>;

fn unknown(name: &str, names: &Names) -> Complaint {
    let halves: Vec<String> = names
        .of_kind(|kind| kind == Kind::Plug)
        .flat_map(|plug| [format!("{plug}-A"), format!("{plug}-B")])
        .collect();
    let candidates = names
        .of_kind(|kind| takes_leads(kind) && kind != Kind::Plug)
        .chain(halves.iter().map(String::as_str))
        .chain(["cap"]);
    let message = if name.is_empty() {
        "the name is missing".to_owned()
    } else {
        format!("nothing in this plan is called {}", quote(name))
    };
    Complaint::new(message, suggest(name, candidates, WAYS_TO_WRITE)).on(0..name.len())
}

fn cavity(name: &str, named: &Named, rest: Rest<'_>) -> Result<End, Complaint> {
    let Some((digits, at)) = rest else {
        return Err(Complaint::new(
            format!("`{name}` is a connector: say which cavity"),
            format!("write `{name}:1` for cavity 1"),
        ));
    };
    number(digits, named.count, "connector", name, "cavities")
        .map(|cavity| End::Cavity(name.to_owned(), cavity))
        .map_err(|complaint| complaint.on(at))
}

/// A number from 1 to `most` (as far as that is known).
fn number(
    digits: &str,
    most: Option<u16>,
    what: &str,
    name: &str,
    units: &str,
) -> Result<u16, Complaint> {
    let most_said = most.map_or_else(
        || "a number from 1 on".to_owned(),
        |most| format!("{what} `{name}` has {units} 1 to {most}"),
    );
    let is_number = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
    if !is_number {
        let message = format!("{} is not a number", quote(digits));
        return Err(Complaint::new(message, most_said));
    }
    if digits.starts_with('0') && digits != "0" {
        let message = format!("{} starts with a zero", quote(digits));
        return Err(Complaint::new(message, "write the number without it"));
    }
    let value = digits.parse::<u16>().ok().filter(|v| *v >= 1);
    value
        .filter(|v| most.is_none_or(|most| *v <= most))
        .ok_or_else(|| {
            let message = format!("{what} `{name}` has no {} {digits}", singular(units));
            Complaint::new(message, most_said)
        })
}

fn singular(units: &str) -> &str {
    if units == "cavities" { "cavity" } else { "way" }
}

fn plug_way(
    text: &str,
    stem: &str,
    half: Half,
    ways: Option<u16>,
    rest: Rest<'_>,
) -> Result<End, Complaint> {
    match rest {
        None if ways.is_none_or(|ways| ways == 1) => Ok(End::Plug(stem.to_owned(), half, 1)),
        None => Err(Complaint::new(
            format!("plug `{stem}` has several ways: say which"),
            format!("write `{text}:1` for way 1"),
        )),
        Some((digits, at)) => number(digits, ways, "plug", stem, "ways")
            .map(|way| End::Plug(stem.to_owned(), half, way))
            .map_err(|complaint| complaint.on(at)),
    }
}

fn plain(name: &str, kind: Kind, rest: Rest<'_>) -> Result<String, Complaint> {
    match rest {
        None => Ok(name.to_owned()),
        Some((_, at)) => Err(Complaint::new(
            format!("{} `{name}` has no numbered terminals", kind.word()),
            format!("write `{name}`"),
        )
        .on(at.start.saturating_sub(1)..at.end)),
    }
}

fn part(name: &str, named: &Named, rest: Rest<'_>) -> Result<End, Complaint> {
    let known = terminals(named.kind, named.changeover.unwrap_or(true));
    let word = named.kind.word();
    let has = format!(
        "{word} `{name}` has terminals {}",
        list(known.iter().copied())
    );
    let Some((terminal, at)) = rest else {
        return Err(Complaint::new(
            format!("`{name}` is a {word}: say which terminal"),
            format!("write `{name}:{}`; {has}", known[0]),
        ));
    };
    if known.contains(&terminal) {
        return Ok(End::Part(name.to_owned(), terminal.to_owned()));
    }
    let help = if terminal == "87a" && named.kind == Kind::Relay {
        format!("{has}; a relay with 87a has contacts = \"changeover\"")
    } else {
        has
    };
    let message = format!("{word} `{name}` has no terminal {}", quote(terminal));
    Err(Complaint::new(message, help).on(at))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names() -> Names {
        let mut names = Names::default();
        for (name, kind, count) in [
            ("X1", Kind::Connector, Some(6)),
            ("K1", Kind::Conductor, None),
            ("T1", Kind::Tap, None),
            ("S1", Kind::Splice, None),
            ("G1", Kind::Ring, None),
            ("P1", Kind::Plug, Some(1)),
            ("P2", Kind::Plug, Some(3)),
            ("R1", Kind::Relay, None),
            ("D1", Kind::Diode, None),
            ("L1", Kind::Lamp, None),
            ("W1", Kind::Lead, None),
        ] {
            names.enter(name, kind, &(0..0));
            names.set_count(name, kind, count);
        }
        names.set_changeover("R1", false);
        names
    }

    #[test]
    fn reads_every_sort_of_end() {
        let s = str::to_owned;
        for (text, end) in [
            ("X1:4", End::Cavity(s("X1"), 4)),
            ("T1", End::Tap(s("T1"))),
            ("S1", End::Splice(s("S1"))),
            ("G1", End::Ring(s("G1"))),
            ("P1-A", End::Plug(s("P1"), Half::A, 1)),
            ("P1-B:1", End::Plug(s("P1"), Half::B, 1)),
            ("P2-B:3", End::Plug(s("P2"), Half::B, 3)),
            ("R1:86", End::Part(s("R1"), s("86"))),
            ("D1:K", End::Part(s("D1"), s("K"))),
            ("cap", End::Cap),
        ] {
            assert_eq!(parse(text, &names()), Ok(end), "{text}");
        }
    }

    #[test]
    fn says_what_is_wrong_with_an_end() {
        for (text, message, help) in [
            ("X1:7", "connector `X1` has no cavity 7", "cavities 1 to 6"),
            ("X1:0", "connector `X1` has no cavity 0", "cavities 1 to 6"),
            ("X1:99999999", "has no cavity 99999999", "cavities 1 to 6"),
            ("X1:04", "`04` starts with a zero", "without it"),
            ("X1:a", "`a` is not a number", "cavities 1 to 6"),
            ("X1", "say which cavity", "write `X1:1`"),
            (
                "X2:1",
                "nothing in this plan is called `X2`",
                "did you mean `X1`?",
            ),
            ("T1:1", "tap `T1` has no numbered terminals", "write `T1`"),
            ("P1", "say which half", "`P1-A` or `P1-B`"),
            ("P2-A", "several ways", "write `P2-A:1`"),
            (
                "P3-A",
                "nothing in this plan is called `P3-A`",
                "did you mean `P1-A`?",
            ),
            ("R1:87a", "no terminal `87a`", "changeover"),
            ("R1", "say which terminal", "write `R1:85`"),
            ("L1:3", "lamp `L1` has no terminal `3`", "1 or 2"),
            ("K1", "through a tap", "declare a tap"),
            ("W1", "`W1` is a lead", "CONNECTOR:CAVITY"),
            ("X1 :4", "has a gap", "CONNECTOR:CAVITY"),
            (":4", "the name is missing", "CONNECTOR:CAVITY"),
        ] {
            let complaint = parse(text, &names()).unwrap_err();
            assert!(complaint.message.contains(message), "{text}: {complaint:?}");
            assert!(
                complaint.help.as_ref().unwrap().contains(help),
                "{text}: {complaint:?}"
            );
        }
    }
}
