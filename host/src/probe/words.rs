//! What is wrong with the probe, and what to do, in plain words.

use loomproof_core::self_test::{Chip, Trouble};
use loomproof_core::units::{MicroVolts, Ohms};
use loomproof_core::wire::{Channel, LeadId, Refusal};

/// What is wrong, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Words {
    /// What is wrong.
    pub say: String,
    /// What to do.
    #[serde(rename = "do")]
    pub what: String,
}

fn channel(of: Channel) -> String {
    match of {
        Channel::Lead(LeadId(lead)) => format!("lead {}", u16::from(lead) + 1),
        Channel::Chassis => "chassis lead C2".to_owned(),
    }
}

fn eight(LeadId(first): LeadId) -> String {
    format!("leads {} to {}", u16::from(first) + 1, u16::from(first) + 8)
}

fn chip(kind: Chip, address: u8) -> (&'static str, String) {
    let first = u16::from(address);
    match kind {
        Chip::Drive => (
            "drive",
            format!("leads {} to {}", first * 16 + 1, first * 16 + 16),
        ),
        Chip::Gate => (
            "disconnect",
            format!("leads {} to {}", first * 16 + 1, first * 16 + 16),
        ),
        Chip::Select => (
            "sense select",
            format!("leads {} to {}", first * 64 + 1, first * 64 + 64),
        ),
    }
}

fn volts(MicroVolts(uv): MicroVolts) -> String {
    format!("{:.3} V", f64::from(uv) * 1e-6)
}

fn ohms(Ohms(ohms): Ohms) -> String {
    // No more than one digit means anything.
    let digit = 10_f64.powf(ohms.max(1.0).log10().floor());
    let rounded = (ohms / digit).round() * digit;
    if ohms < 2e3 {
        "less than 2 kΩ".to_owned()
    } else if rounded < 1e6 {
        format!("about {:.0} kΩ", rounded * 1e-3)
    } else {
        format!("about {:.0} MΩ", rounded * 1e-6)
    }
}

/// Where a lead is at fault: do without it, or repair.
fn use_another(of: Channel, part: &str) -> String {
    match of {
        Channel::Lead(_) => format!(
            "Do not clip this lead; use a probe with more leads, or have {part} of this lead looked at."
        ),
        Channel::Chassis => {
            format!("Do not use the probe in a vehicle; have {part} of C2 looked at.")
        }
    }
}

/// The words of one finding.
#[must_use]
pub fn words(trouble: &Trouble) -> Words {
    const REPAIR: &str = "Do not use this probe for a verdict until it is repaired.";
    let (say, what) = match *trouble {
        Trouble::Tripped => (
            "The comparators hold all drive off: a lead is above 4 V or below -0.5 V, or the trip circuit is stuck.".to_owned(),
            "Unclip every lead and test again; if it stays, have the trip circuit looked at.".to_owned(),
        ),
        Trouble::NoneAnswers(kind) => (
            format!("No {} chip answers: its chip select or its data line stands still.", chip(kind, 0).0),
            format!("Switch the probe off and on and test again. {REPAIR}"),
        ),
        Trouble::Silent(kind, address) => {
            let (name, leads) = chip(kind, address);
            (
                format!("{} chip {address} does not answer ({leads}).", capital(name)),
                format!("Switch the probe off and on and test again. {REPAIR}"),
            )
        }
        Trouble::Converter(level) => (
            format!("The converter gives {} whatever it is put on.", volts(level)),
            format!("Look at the converter, its chip select and its data line. {REPAIR}"),
        ),
        Trouble::Shift(level) => (
            format!("The wide range rests at {} instead of 1.650 V.", volts(level)),
            format!("Look at the wide divider, its switch and its 1.65 V. {REPAIR}"),
        ),
        Trouble::Gain(parts) => (
            format!(
                "The converter reads {:.1} % {}: its gain, or its reference against the drive supply.",
                f64::from(parts.abs()) / 100.0,
                if parts > 0 { "high" } else { "low" }
            ),
            format!("Look at the converter's reference and its buffer. {REPAIR}"),
        ),
        Trouble::Offset(uv) => (
            format!("The converter reads {:.1} mV at 0 V.", f64::from(uv) * 1e-3),
            format!("Look at the converter's buffer. {REPAIR}"),
        ),
        Trouble::BelowZero => (
            "The converter's zero is more than 0.2 mV too low: small resistances read as none.".to_owned(),
            format!("Look at the converter's buffer. {REPAIR}"),
        ),
        Trouble::WideStays => sense_bus("The wide divider does not switch off"),
        Trouble::PullUpStays => sense_bus("The weak pull-up does not switch off"),
        Trouble::PullUpDead => sense_bus("The weak pull-up does not reach the sense bus"),
        Trouble::PullDownStays => sense_bus("The weak pull-down does not switch off"),
        Trouble::PullDownDead => sense_bus("The weak pull-down does not reach the sense bus"),
        Trouble::BusHeld => (
            "The sense bus is held at 0 V with no lead on it: C2, or a lead that sits on chassis, never leaves it.".to_owned(),
            format!("Unclip every lead and test again: if it stays, it is C2. {REPAIR}"),
        ),
        Trouble::PinLow(of) => (
            format!("{} cannot drive high: its drive pin stays low.", capital(&channel(of))),
            use_another(of, "the drive chip"),
        ),
        Trouble::PinHigh(of) => (
            format!("{} cannot drive low: its drive pin stays high.", capital(&channel(of))),
            use_another(of, "the drive chip"),
        ),
        Trouble::NoDrive(Channel::Chassis) => (
            "Chassis lead C2 does not change when it is driven: its drive stays off, or on.".to_owned(),
            use_another(Channel::Chassis, "the switch"),
        ),
        Trouble::NoDrive(of) => (
            format!("{} cannot drive: its disconnect does not close.", capital(&channel(of))),
            use_another(of, "the disconnect, and its resistor,"),
        ),
        Trouble::AlwaysClosed(of) => (
            format!("{} is not let go of: its disconnect does not open.", capital(&channel(of))),
            format!("Do not clip this probe to a vehicle: this lead is not protected. {REPAIR}"),
        ),
        Trouble::LowSide(of, level) => (
            format!("{} driven low stands at {} under the pull-up.", capital(&channel(of)), volts(level)),
            use_another(of, "the resistors"),
        ),
        Trouble::NoSense(of) => (
            format!("{} cannot be read: its multiplexer channel does not close.", capital(&channel(of))),
            use_another(of, "the multiplexer channel, and its resistor,"),
        ),
        Trouble::AlwaysSensed(of) => (
            format!("{} never leaves the sense bus: its multiplexer channel does not open.", capital(&channel(of))),
            REPAIR.to_owned(),
        ),
        Trouble::Address { chip: half, line, high } => (
            format!(
                "Address line A{line} of sense select chip {half} stays {}: half of {} is read in place of the other half.",
                if high { "high" } else { "low" },
                chip(Chip::Select, half).1
            ),
            REPAIR.to_owned(),
        ),
        Trouble::MultiplexerOff(first) => (
            format!("{} cannot be read: their multiplexer is never enabled.", capital(&eight(first))),
            REPAIR.to_owned(),
        ),
        Trouble::MultiplexerOn(first) => (
            format!("The multiplexer of {} is always enabled.", eight(first)),
            REPAIR.to_owned(),
        ),
        Trouble::Leak(of, na) => (
            format!(
                "{} leaks {} nA {}; 10 nA are allowed.",
                capital(&channel(of)),
                na.abs(),
                if na > 0 { "into what it touches" } else { "out of what it touches" }
            ),
            "See that the lead touches nothing; clean and dry clip and socket, and test again. If it stays, do not clip this lead.".to_owned(),
        ),
        Trouble::Joined(a, b, between) => (
            format!(
                "{} and {} are joined by {} though they hang free.",
                capital(&channel(Channel::Lead(a))),
                channel(Channel::Lead(b)),
                ohms(between)
            ),
            "See that the two clips do not touch; clean and dry sockets and board, and test again. If it stays, clip neither.".to_owned(),
        ),
    };
    Words { say, what }
}

fn sense_bus(say: &str) -> (String, String) {
    (
        format!("{say}: its switch, or the pin of sense select chip 0 that sets it."),
        "Do not use this probe for a verdict until it is repaired.".to_owned(),
    )
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Why the probe would not drive its leads for the test.
#[must_use]
pub fn refused(refusal: Refusal) -> Words {
    let (say, what) = match refusal {
        Refusal::Live(lead, mv) => (
            format!("{lead} stands at {:.2} V.", f64::from(mv) * 1e-3),
            "Let every clip hang free and test again; if it stays, the lead is at fault.".to_owned(),
        ),
        Refusal::Moves(lead, ..) => (
            format!("{lead} does not hold still."),
            "Let every clip hang free, away from cables that carry current, and test again.".to_owned(),
        ),
        Refusal::Chassis(_) => (
            "Chassis leads C1 and C2 are not joined.".to_owned(),
            "Clip C1 and C2 together and test again; if it stays, a chassis lead is broken.".to_owned(),
        ),
        Refusal::Tripped => (
            "The comparators let go of all drive.".to_owned(),
            "Let every clip hang free and test again; if it stays, have the trip circuit looked at.".to_owned(),
        ),
        _ => (
            "A chip of the probe does not answer as it should, so no lead was driven.".to_owned(),
            "Do not use this probe for a verdict until it is repaired.".to_owned(),
        ),
    };
    Words { say, what }
}
