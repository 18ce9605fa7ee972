//! Parts of messages that are long to write.

use heapless::{String, Vec};
use loomproof_core::units::{MicroVolts, Micros, MilliVolts};
use loomproof_core::wire::*;

pub fn text(text: &str) -> String<32> {
    text.try_into().expect("short text")
}

pub fn full_nulls() -> Nulls {
    Nulls {
        first: LeadId(u8::MAX),
        clips: Vec::from([ClipOhms(u16::MAX); CLIPS_A_MESSAGE]),
    }
}

pub fn inspection(uv: i32) -> Inspection {
    let level = MicroVolts(uv);
    Inspection {
        drive: 0x0F,
        gate: 0x0F,
        select: 0x01,
        tripped: false,
        shift: level,
        up: level,
        down: level,
        lit: 2_048,
    }
}

pub fn proof(uv: i32) -> Proof {
    let level = MicroVolts(uv);
    Proof {
        pin_high: true,
        pin_low: true,
        shared: level,
        idle_up: level,
        idle_down: level,
        open_up: level,
        open_down: level,
        high_up: level,
        high_down: level,
        low_up: level,
        off_down: level,
    }
}

pub fn seen(micros: u32) -> Seen {
    let (level, span) = (MilliVolts((micros as i32).wrapping_neg()), Micros(micros));
    Seen {
        least: level,
        most: level,
        mean: level,
        looks: micros,
        high_at_start: true,
        high_at_end: false,
        rises: u16::MAX,
        falls: u16::MAX,
        high_for: span,
        first_edge: span,
        last_edge: span,
        first_rise: span,
        last_rise: span,
        high_between: span,
        shortest_low: span,
        longest_low: span,
        shortest_high: span,
        longest_high: span,
    }
}

pub fn watch(leads: LeadSet, micros: u32) -> Watch {
    Watch {
        leads,
        low: MilliVolts(i32::MIN),
        high: MilliVolts(i32::MIN),
        span: Micros(micros),
    }
}

pub fn guarded(breaks: Breaks, micros: u32) -> Reply {
    Reply::Guarded {
        breaks,
        more: 112,
        at: Micros(micros),
        took: Micros(micros),
        round: Micros(micros),
    }
}

pub fn broken(micros: u32) -> Break {
    Break {
        lead: LeadId(5),
        count: micros as u16,
        first: Micros(micros),
        longest: Micros(micros),
        open_at_end: true,
    }
}
