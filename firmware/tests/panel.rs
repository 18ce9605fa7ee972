//! The panel: what stands on a display chip that is driven by its wires, buttons that
//! bounce, lights and beeps.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use loomproof_core::units::Micros;
use loomproof_firmware::alone::{Button, Panel as _, Signal};
use loomproof_firmware::panel::{
    BLINK, Bus, Front, Keys, LONG, Lamps, SETS_UP_AFTER, SHORT, STEADY,
};
use std::cell::RefCell;
use std::convert::Infallible;
use std::rc::Rc;

/// Nanoseconds that the slowest chip takes (HD44780U datasheet, instruction set and AC
/// characteristics at 190 kHz; from memory): 37 µs and 1.52 ms at 270 kHz.
const INSTRUCTION: u64 = 37_000 * 270 / 190;
const CLEARING: u64 = 1_520_000 * 270 / 190;
/// Shortest pulse of E (the same; from memory).
const PULSE: u64 = 450;
/// Between two half-bytes of the wake-up: 4.1 ms, then 100 µs (the same).
const WAKING: [u64; 3] = [4_100_000, 100_000, INSTRUCTION];

/// A display chip, by what its wires do.
struct Chip {
    now: u64,
    select: bool,
    enable: bool,
    data: u8,
    rises: u64,
    /// Until when it takes nothing.
    busy: u64,
    /// How often it was told to have eight wires since it lost step.
    woken: usize,
    four: bool,
    /// The first half of a byte.
    half: Option<u8>,
    ram: [[u8; 40]; 2],
    /// Where it writes next.
    at: (usize, usize),
    on: bool,
    two_lines: bool,
    forwards: bool,
    written: usize,
}

impl Default for Chip {
    fn default() -> Self {
        Self {
            now: 0,
            select: false,
            enable: false,
            data: 0,
            rises: 0,
            busy: 0,
            woken: 0,
            four: false,
            half: None,
            ram: [[b'?'; 40]; 2],
            at: (0, 0),
            on: false,
            two_lines: false,
            forwards: false,
            written: 0,
        }
    }
}

impl Chip {
    fn pulse(&mut self) {
        assert!(self.now - self.rises >= PULSE, "E was high too shortly");
        assert!(self.now >= self.busy, "it is busy still");
        let bits = self.data;
        if !self.four {
            assert!(!self.select, "a character before it is set up");
            match bits {
                3 => {
                    let wait = WAKING[self.woken.min(2)];
                    self.busy = self.now + wait;
                    self.woken += 1;
                }
                2 if self.woken >= 3 => {
                    self.four = true;
                    self.busy = self.now + INSTRUCTION;
                }
                other => panic!("{other:#x} while it is woken"),
            }
            return;
        }
        let Some(high) = self.half.take() else {
            self.half = Some(bits);
            return;
        };
        let byte = high << 4 | bits;
        self.busy = self.now + INSTRUCTION;
        if self.select {
            self.character(byte);
        } else {
            self.instruction(byte);
        }
    }

    fn character(&mut self, byte: u8) {
        assert!(self.forwards && self.two_lines);
        self.ram[self.at.0][self.at.1] = byte;
        self.at.1 = (self.at.1 + 1) % 40;
        self.written += 1;
    }

    fn instruction(&mut self, byte: u8) {
        match byte {
            0x80.. => {
                let at = usize::from(byte & 0x7F);
                self.at = if at < 0x40 { (0, at) } else { (1, at - 0x40) };
            }
            // Eight wires: it is being set up anew.
            0x30..=0x3F => {
                self.four = false;
                self.woken = 3;
            }
            0x20..=0x2F => self.two_lines = byte & 8 != 0,
            0x08..=0x0F => self.on = byte & 4 != 0,
            0x04..=0x07 => self.forwards = byte & 3 == 2,
            0x02..=0x03 => {
                self.at = (0, 0);
                self.busy = self.now + CLEARING;
            }
            0x01 => {
                self.ram = [[b' '; 40]; 2];
                self.at = (0, 0);
                self.busy = self.now + CLEARING;
            }
            other => panic!("instruction {other:#04x}"),
        }
    }
}

type Shared = Rc<RefCell<Chip>>;

/// An output of the board: a wire of the chip, or a lamp.
enum Wire {
    Select(Shared),
    Enable(Shared),
    Data(Shared, u8),
    Lamp(Rc<RefCell<bool>>),
}

impl ErrorType for Wire {
    type Error = Infallible;
}

impl OutputPin for Wire {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.set(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.set(true);
        Ok(())
    }
}

impl Wire {
    fn set(&self, high: bool) {
        match self {
            Self::Select(chip) => chip.borrow_mut().select = high,
            Self::Data(chip, bit) => {
                let mut chip = chip.borrow_mut();
                chip.data = chip.data & !(1 << bit) | u8::from(high) << bit;
            }
            Self::Enable(chip) => {
                let mut chip = chip.borrow_mut();
                match (chip.enable, high) {
                    (false, true) => chip.rises = chip.now,
                    (true, false) => chip.pulse(),
                    _ => {}
                }
                chip.enable = high;
            }
            Self::Lamp(lamp) => *lamp.borrow_mut() = high,
        }
    }
}

struct Waits(Shared);

impl DelayNs for Waits {
    fn delay_ns(&mut self, ns: u32) {
        self.0.borrow_mut().now += u64::from(ns);
    }
}

struct Key(Rc<RefCell<bool>>);

impl ErrorType for Key {
    type Error = Infallible;
}

impl InputPin for Key {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(!*self.0.borrow())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(*self.0.borrow())
    }
}

/// A panel with its chip, fingers and lamps.
struct Bench {
    front: Front<Wire, Key, Waits>,
    chip: Shared,
    next: Rc<RefCell<bool>>,
    repeat: Rc<RefCell<bool>>,
    lamps: [Rc<RefCell<bool>>; 3],
}

impl Bench {
    fn new() -> Self {
        let chip = Shared::default();
        let (next, repeat) = (Rc::default(), Rc::default());
        let lamps: [Rc<RefCell<bool>>; 3] = Default::default();
        let lamp = |n: usize| Wire::Lamp(Rc::clone(&lamps[n]));
        let data = |bit| Wire::Data(chip.clone(), bit);
        let bus = Bus {
            select: Wire::Select(chip.clone()),
            enable: Wire::Enable(chip.clone()),
            data: [data(0), data(1), data(2), data(3)],
            delay: Waits(chip.clone()),
        };
        let keys = Keys {
            next: Key(Rc::clone(&next)),
            repeat: Key(Rc::clone(&repeat)),
        };
        let lit = Lamps {
            green: lamp(0),
            red: lamp(1),
            beeper: lamp(2),
        };
        let front = Front::new(bus, keys, lit);
        Self {
            front,
            chip,
            next,
            repeat,
            lamps,
        }
    }

    /// A panel that is up, nothing pressed.
    fn up() -> Self {
        let mut bench = Self::new();
        bench.passes(SETS_UP_AFTER.0 + 1_000);
        assert!(bench.chip.borrow().on);
        bench
    }

    /// The main loop comes round every millisecond for so many microseconds.
    fn passes(&mut self, micros: u32) {
        for _ in 0..micros.div_ceil(1000) {
            self.chip.borrow_mut().now += 1_000_000;
            self.tend();
        }
    }

    fn tend(&mut self) {
        let now = self.chip.borrow().now / 1000;
        self.front.tend(Micros(now as u32));
    }

    /// What stands there.
    fn lines(&self) -> [String; 2] {
        let chip = self.chip.borrow();
        chip.ram.map(|line| {
            let line: String = line[..20].iter().map(|byte| char::from(*byte)).collect();
            line.trim_end().to_owned()
        })
    }

    fn lamps(&self) -> [bool; 3] {
        [0, 1, 2].map(|n| *self.lamps[n].borrow())
    }
}

#[test]
fn two_lines_stand_on_the_chip() {
    let mut bench = Bench::new();
    bench.front.show(["Two wires and a tap", ""]);
    bench.passes(SETS_UP_AFTER.0 / 2);
    assert!(!bench.chip.borrow().on, "it has no supply for long enough");
    bench.passes(SETS_UP_AFTER.0);
    assert!(bench.chip.borrow().on);
    assert_eq!(bench.lines(), ["Two wires and a tap", ""]);
    bench.front.show(["P12 X1:4", "left kick panel, 20c"]);
    bench.tend();
    assert_eq!(bench.lines(), ["P12 X1:4", "left kick panel, 20c"]);
    bench
        .front
        .show(["12 \u{3a9}~\\", "a line of more than twenty letters"]);
    bench.tend();
    assert_eq!(bench.lines(), ["12 ???", "a line of more than"]);
    assert_eq!(bench.chip.borrow().ram[0][20..], [b' '; 20]);
}

#[test]
fn only_what_changes_is_written_and_nothing_takes_long() {
    let mut bench = Bench::up();
    bench.front.show(["Ringing out", "9 of 140"]);
    bench.tend();
    let before = bench.chip.borrow().written;
    bench.front.show(["Ringing out", "10 of 140"]);
    bench.tend();
    assert_eq!(bench.lines()[1], "10 of 140");
    let written = bench.chip.borrow().written - before;
    assert!((1..=9).contains(&written), "{written} of 40");
    let start = bench.chip.borrow().now;
    bench.tend();
    assert_eq!(bench.chip.borrow().now, start, "nothing changed");
    bench
        .front
        .show(["abcdefghijklmnopqrst", "ABCDEFGHIJKLMNOPQRST"]);
    bench.tend();
    let took = bench.chip.borrow().now - start;
    println!("both lines take {} us", took / 1000);
    assert!(took < 5_000_000);
}

#[test]
fn a_display_that_lost_step_is_mended_by_a_press() {
    let mut bench = Bench::up();
    bench.front.show(["Battery off?", "next: ring out"]);
    bench.tend();
    let spoilt: [fn(&mut Chip); 4] = [
        |_| {},
        // A spike on E: from here on halves of bytes are taken for each other.
        |chip| chip.half = Some(0),
        |chip| chip.half = Some(2),
        // Back to what it is after power-on.
        |chip| (chip.four, chip.woken, chip.on) = (false, 0, false),
    ];
    for spoil in spoilt {
        spoil(&mut bench.chip.borrow_mut());
        bench.chip.borrow_mut().ram = [[b'#'; 40]; 2];
        *bench.next.borrow_mut() = true;
        let start = bench.chip.borrow().now;
        bench.passes(2 * STEADY.0);
        let took = bench.chip.borrow().now - start - 2 * u64::from(STEADY.0) * 1000;
        println!("setting up takes {} us", took / 1000);
        assert!(took < 20_000_000);
        assert_eq!(bench.lines(), ["Battery off?", "next: ring out"]);
        assert!(bench.chip.borrow().on);
        *bench.next.borrow_mut() = false;
        bench.passes(2 * STEADY.0);
    }
}

#[test]
fn a_press_counts_once_however_it_bounces() {
    let mut bench = Bench::up();
    assert_eq!(bench.front.pressed(), None);
    for n in 0..15 {
        *bench.next.borrow_mut() = n % 2 == 0;
        bench.passes(1_000);
        assert_eq!(bench.front.pressed(), None, "it bounces still");
    }
    bench.passes(STEADY.0 + 1_000);
    assert_eq!(bench.front.pressed(), Some(Button::Next));
    // Held for ten seconds, then let go, which bounces as well.
    bench.passes(10_000_000);
    assert_eq!(bench.front.pressed(), None);
    for n in 0..15 {
        *bench.next.borrow_mut() = n % 2 == 0;
        bench.passes(1_000);
    }
    *bench.next.borrow_mut() = false;
    bench.passes(2 * STEADY.0);
    assert_eq!(bench.front.pressed(), None);
    *bench.repeat.borrow_mut() = true;
    bench.passes(2 * STEADY.0);
    assert_eq!(bench.front.pressed(), Some(Button::Repeat));
}

#[test]
fn a_button_that_is_stuck_or_pressed_with_the_other_is_not_pressed() {
    let mut bench = Bench::new();
    *bench.next.borrow_mut() = true;
    bench.passes(1_000_000);
    assert_eq!(bench.front.pressed(), None, "stuck from the start");
    *bench.next.borrow_mut() = false;
    bench.passes(2 * STEADY.0);
    *bench.next.borrow_mut() = true;
    *bench.repeat.borrow_mut() = true;
    bench.passes(2 * STEADY.0);
    assert_eq!(bench.front.pressed(), None);
    *bench.next.borrow_mut() = false;
    *bench.repeat.borrow_mut() = false;
    bench.passes(2 * STEADY.0);
    assert_eq!(bench.front.pressed(), None);
}

/// Beeps that begin within this span, and how long all of them sound together, in
/// milliseconds.
fn beeps(bench: &mut Bench, micros: u32) -> (usize, usize) {
    let (mut begun, mut sounds, mut before) = (0, 0, bench.lamps()[2]);
    for _ in 0..micros / 1000 {
        bench.passes(1_000);
        let [_, _, beeper] = bench.lamps();
        begun += usize::from(beeper && !before);
        sounds += usize::from(beeper);
        before = beeper;
    }
    (begun, sounds)
}

#[test]
fn lights_and_beeps_tell_good_from_off_and_from_refused() {
    let second = 1_000_000;
    for (signal, steady, number, length) in [
        (Signal::Quiet, Some([false, false]), 0, 0),
        (Signal::Busy, None, 0, 0),
        (Signal::Pass, Some([true, false]), 1, LONG.0),
        (Signal::Off, Some([false, true]), 3, SHORT.0),
        (Signal::Refused, None, 2, LONG.0),
    ] {
        let mut bench = Bench::up();
        bench.front.signal(signal);
        let (begun, sounds) = beeps(&mut bench, 4 * second);
        assert_eq!(begun, number, "{signal:?}");
        let planned = number * length as usize / 1000;
        assert!(
            sounds.abs_diff(planned) <= number,
            "{signal:?}: {sounds} ms"
        );
        let mut seen = Vec::new();
        for _ in 0..8 {
            bench.passes(BLINK.0 / 2);
            let [green, red, _] = bench.lamps();
            seen.push([green, red]);
        }
        match steady {
            Some(steady) => assert!(seen.iter().all(|lit| *lit == steady), "{signal:?}"),
            None => {
                let lit = seen.iter().filter(|lit| **lit != [false, false]).count();
                assert_eq!(lit, 4, "{signal:?} blinks: {seen:?}");
            }
        }
    }
}

/// The clock wraps after 71 minutes.
#[test]
fn nothing_beeps_again_when_the_clock_wraps() {
    let mut bench = Bench::up();
    bench.front.signal(Signal::Pass);
    bench.passes(2_000_000);
    assert_eq!(bench.lamps(), [true, false, false]);
    let round = u64::from(u32::MAX) * 1000;
    bench.chip.borrow_mut().now += round - 2_000_000_000;
    assert_eq!(beeps(&mut bench, 4_000_000), (0, 0));
    // A new verdict is heard.
    bench.front.signal(Signal::Off);
    assert_eq!(beeps(&mut bench, 4_000_000).0, 3);
}
