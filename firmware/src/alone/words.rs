//! Lines of the display, put together without formatting machinery.

use heapless::String;
use loomproof_core::image::COLUMNS;
use loomproof_core::wire::{ChassisCheck, LeadId, Refusal};

use super::What;

/// One line of the display.
pub type Line = String<COLUMNS>;

/// Adds as much of a text as the line holds.
#[inline(never)]
pub fn add(line: &mut Line, text: &str) {
    for letter in text.chars() {
        if line.push(letter).is_err() {
            break;
        }
    }
}

/// A line of this text.
#[must_use]
#[inline(never)]
pub fn line(text: &str) -> Line {
    let mut line = Line::new();
    add(&mut line, text);
    line
}

/// Adds a whole number.
#[inline(never)]
pub fn add_number(line: &mut Line, number: u32) {
    let mut digits = [0; 10];
    let mut rest = number;
    let mut used = 0;
    for place in &mut digits {
        *place = (rest % 10) as u8;
        rest /= 10;
        used += 1;
        if rest == 0 {
            break;
        }
    }
    for digit in digits.iter().take(used).rev() {
        let _ = line.push(char::from(b'0' + digit));
    }
}

/// Adds the name of a probe lead, as on its clip.
pub fn add_lead(line: &mut Line, lead: LeadId) {
    add(line, "P");
    add_number(line, u32::from(lead.0) + 1);
}

/// Adds volts with a digit behind the point.
fn add_volts(line: &mut Line, mv: i32) {
    if mv < 0 {
        add(line, "-");
    }
    let tenths = (mv.unsigned_abs().saturating_add(50)) / 100;
    add_number(line, tenths / 10);
    add(line, ".");
    add_number(line, tenths % 10);
    add(line, " V");
}

/// `12 of 140`, behind some words.
#[must_use]
#[inline(never)]
pub fn progress(words: &str, now: u32, all: u32) -> Line {
    let mut line = line(words);
    add_number(&mut line, now);
    add(&mut line, " of ");
    add_number(&mut line, all);
    line
}

/// What is off.
#[must_use]
pub fn what(what: What) -> &'static str {
    match what {
        What::Open => "Open or poor joint",
        What::NoGround => "No way to chassis",
        What::Joined => "Joined wrongly",
        What::Touch => "Wires touch",
        What::PartOpen => "Part open or turned",
        What::PartBridged => "Part bridged",
        What::Creeps => "Does not settle",
    }
}

/// Why the probe would not drive, and the lead that it is about.
#[must_use]
#[inline(never)]
pub fn refusal(refusal: Refusal) -> (Line, Option<LeadId>) {
    match refusal {
        Refusal::Live(lead, mv) => {
            let mut words = line("Live: ");
            add_volts(&mut words, mv);
            (words, Some(lead))
        }
        Refusal::Moves(lead, ..) => (line("Voltage moves"), Some(lead)),
        Refusal::Chassis(ChassisCheck::Voltage(mv)) => {
            let mut words = line("C2 to C1: ");
            add_volts(&mut words, mv);
            (words, None)
        }
        Refusal::Chassis(_) => (line("Check chassis clips"), None),
        Refusal::Tripped => (line("Voltage: let go"), None),
        Refusal::NoSuchLead(lead) => (line("Probe: lead missing"), Some(lead)),
        _ => (line("Probe at fault"), None),
    }
}
