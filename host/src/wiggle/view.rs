//! What a terminal shows while joints are watched: a pure function of the state.
//!
//! Nothing is said by colour alone: what is open says OPEN, what came apart has its
//! count, and a bar is drawn with characters.

use std::fmt::Write as _;

use loomproof_core::units::{Micros, Ohms};

use super::spots::{Spot, Watch, spelled};
use super::tally::{Event, Line, Tally};
use crate::diagnosis::words::ohms_text;

/// The size of the smallest terminal.
pub const COLUMNS: usize = 80;
/// See [`COLUMNS`].
pub const ROWS: usize = 24;

/// Lines that are no joints: three above, the list's head, three below.
const FRAME: usize = 7;

/// Width of a bar.
const BAR: usize = 10;

/// A bar is full from a second on and has one mark at 10 µs and below.
const FULL: f64 = 1e6;
const LEAST: f64 = 10.0;

/// What is said above and below the joints.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Caption {
    /// Title of the plan.
    pub title: String,
    /// How it is watched: `battery off, in the vehicle`.
    pub how: String,
    /// What is certain.
    pub certain: String,
    /// What is asked for just now.
    pub ask: String,
    /// How it ends.
    pub end: String,
}

/// The size of a terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// Columns.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
}

/// The lines of a view; none is wider or more than the terminal takes.
#[must_use]
pub fn lines(
    watch: &Watch,
    tally: &Tally,
    caption: &Caption,
    Size { columns, rows }: Size,
) -> Vec<String> {
    let seen = watch.seen();
    let room = rows.saturating_sub(FRAME).max(1);
    let mut order = seen.clone();
    if seen.len() > room {
        // Those that came apart first, the last of them on top.
        order.sort_by_key(|spot| {
            let line = tally.lines.get(*spot);
            let last = line.filter(|line| line.count > 0).map(|line| line.last);
            (last.is_none(), std::cmp::Reverse(last), *spot)
        });
        order.truncate(room);
        order.sort_unstable();
    }
    let label = columns.saturating_sub(BAR + 46).max(12);
    let mut out = vec![
        two_ends(
            &format!("wiggle test: {}", caption.title),
            &clock(tally.lasted),
            columns,
        ),
        format!("{}; {} watched.", caption.how, joints(watch, &seen)),
        caption.certain.clone(),
        format!(
            "{:<label$} {:<BAR$} {:>5} {:>8} {:>8} {:>9}  now",
            "joint", "longest", "count", "longest", "last at", "worst Ω"
        ),
    ];
    for spot in &order {
        if let (Some(spot), Some(line)) = (watch.spots.get(*spot), tally.lines.get(*spot)) {
            out.push(row(spot, line, label));
        }
    }
    let hidden = seen.len() - order.len();
    out.push(match (hidden, tally.events.last()) {
        (0, None) => "Nothing came apart.".to_owned(),
        (n, None) => format!("Nothing came apart; lines that do not fit here: {n}."),
        (0, Some(event)) => format!("Last: {}", said(watch, event)),
        (n, Some(event)) => format!("Last: {} (quiet and not shown: {n})", said(watch, event)),
    });
    out.push(caption.ask.clone());
    out.push(caption.end.clone());
    out.iter().map(|line| cut(line, columns)).collect()
}

fn joints(watch: &Watch, seen: &[usize]) -> String {
    let spots = seen.iter().filter_map(|spot| watch.spots.get(*spot));
    let joints: usize = spots.map(|spot| spot.joints.len()).sum();
    let not = match watch.unwatched.len() {
        0 => String::new(),
        n => format!(" ({n} cannot be)"),
    };
    match joints {
        1 => format!("1 joint{not}"),
        n => format!("{n} joints{not}"),
    }
}

fn row(spot: &Spot, line: &Line, label: usize) -> String {
    let quiet = line.count == 0;
    let or = |text: String| if quiet { "-".to_owned() } else { text };
    let worst = line.worst.map_or("-".to_owned(), |Ohms(ohms)| {
        if ohms.is_finite() && ohms < 1e5 {
            ohms_text(ohms)
        } else {
            "open".to_owned()
        }
    });
    let worst = if quiet || worst == "open" {
        worst
    } else {
        "open".to_owned()
    };
    let now = match (line.open, quiet) {
        (true, _) => "OPEN",
        (false, true) => "ok",
        (false, false) => "closed",
    };
    let name = cut(&names(spot), label);
    let mut text = format!("{name:<label$} {:<BAR$} ", bar(line));
    let _ = write!(
        text,
        "{:>5} {:>8} {:>8} {worst:>9}  {now}",
        line.count,
        or(span(line.longest)),
        or(clock(line.last)),
    );
    text
}

/// The longest opening, on a scale of powers of ten.
fn bar(line: &Line) -> String {
    if line.count == 0 {
        return "·".repeat(BAR);
    }
    let longest = (line.longest as f64).clamp(LEAST, FULL);
    let share = (longest / LEAST).log10() / (FULL / LEAST).log10();
    let marks = ((share * BAR as f64).round() as usize).clamp(1, BAR);
    format!("{}{}", "#".repeat(marks), "·".repeat(BAR - marks))
}

/// The joints of a spot in a few letters: `X1:4, W1, T1`.
#[must_use]
pub fn names(spot: &Spot) -> String {
    let names: Vec<String> = spot.joints.iter().map(spelled).collect();
    names.join(" / ")
}

/// An event in one line.
#[must_use]
pub fn said(watch: &Watch, event: &Event) -> String {
    let spots = event.spots.iter().filter_map(|spot| watch.spots.get(*spot));
    let spots: Vec<String> = spots.map(names).collect();
    let times = match event.count {
        1 => String::new(),
        n => format!(", {n} times"),
    };
    let open = if event.open { ", still open" } else { "" };
    format!(
        "{} at {} for {}{times}{open}",
        spots.join(" or "),
        clock(event.at),
        span(event.longest)
    )
}

/// A time since the beginning: `01:02.345`.
#[must_use]
pub fn clock(microseconds: u64) -> String {
    let tenths = microseconds / 100_000;
    format!(
        "{:02}:{:02}.{}",
        tenths / 600,
        tenths / 10 % 60,
        tenths % 10
    )
}

/// How long something lasted.
#[must_use]
pub fn span(microseconds: u64) -> String {
    match microseconds {
        us if us >= 10_000_000 => format!("{} s", us / 1_000_000),
        us if us >= 1_000_000 => format!("{:.1} s", us as f64 / 1e6),
        us if us >= 10_000 => format!("{} ms", us / 1_000),
        us if us >= 1_000 => format!("{:.1} ms", us as f64 / 1e3),
        us => format!("{us} µs"),
    }
}

/// What is certain, in words.
#[must_use]
pub fn certain(shortest: Micros, leads: usize, groups: usize) -> String {
    let turns = match groups {
        0 | 1 => String::new(),
        n => format!("; {n} groups take turns, so each is watched 1/{n} of the time"),
    };
    let leads = match leads {
        1 => "1 lead".to_owned(),
        n => format!("{n} leads"),
    };
    format!(
        "On {leads} at once a dropout of {} is certain{turns}.",
        span(u64::from(shortest.0))
    )
}

fn two_ends(left: &str, right: &str, columns: usize) -> String {
    let room = columns.saturating_sub(right.chars().count() + 1);
    let left = cut(left, room);
    let gap = columns.saturating_sub(left.chars().count() + right.chars().count());
    format!("{left}{}{right}", " ".repeat(gap))
}

/// At most so many characters; `…` where more were there.
fn cut(text: &str, columns: usize) -> String {
    if text.chars().count() <= columns {
        return text.trim_end().to_owned();
    }
    let mut cut: String = text.chars().take(columns.saturating_sub(1)).collect();
    cut.push('…');
    cut
}

/// The lines with what came apart in red and what is open in reverse.
#[must_use]
pub fn coloured(lines: &[String]) -> Vec<String> {
    lines
        .iter()
        .map(|line| {
            if line.ends_with("OPEN") {
                format!("\u{1b}[7;31m{line}\u{1b}[0m")
            } else if line.ends_with("  closed") {
                format!("\u{1b}[31m{line}\u{1b}[0m")
            } else {
                line.clone()
            }
        })
        .collect()
}
