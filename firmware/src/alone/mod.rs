//! The probe without a computer: it leads through the plan that it carries with a
//! two-line display, two buttons, a light and a beeper, and judges with core's judge.
//!
//! *Next* goes on; *repeat* takes the other choice, the lead before, or rings out
//! again. Each [`Alone::turn`] does one thing (one step of the scan at most), so that
//! whoever calls stays in command. Nothing is driven between two turns.

mod keeping;
mod run;
mod screens;
mod words;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use heapless::Vec;
use loomproof_core::image::{Head, ImageError, MAX_OPTIONS, NOT_ASKED, Verdict};
use loomproof_core::units::Micros;
use loomproof_core::wire::{LeadId, Refusal};

use crate::Clock;
use crate::instrument::Instrument;
use crate::memory::{Clips, Memory, PlanIn};
use keeping::Keeping;

/// What somebody pressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Button {
    /// Go on.
    Next,
    /// The other choice, back, again.
    Repeat,
}

/// What the light shows and the beeper sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signal {
    /// Nothing.
    Quiet,
    /// Ringing out.
    Busy,
    /// All as planned.
    Pass,
    /// Something is off, or cannot be told.
    Off,
    /// It would not drive.
    Refused,
}

/// What stands on the probe's case.
pub trait Panel {
    /// Shows two lines of at most [`loomproof_core::image::COLUMNS`] characters.
    fn show(&mut self, lines: [&str; 2]);

    /// A button that was pressed since it was last asked, let go of before.
    fn pressed(&mut self) -> Option<Button>;

    /// Light and beeper.
    fn signal(&mut self, signal: Signal);
}

/// What is off, in short.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// More ohms than planned between two points of a net.
    Open,
    /// More ohms than planned to chassis.
    NoGround,
    /// Less ohms than planned, or something hangs on it.
    Joined,
    /// A net touches another.
    Touch,
    /// Less current through a part than planned.
    PartOpen,
    /// More current through a part than planned.
    PartBridged,
    /// A reading did not settle.
    Creeps,
}

/// Something that is off, between the points of one lead or two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Finding {
    /// What.
    pub what: What,
    /// Where.
    pub lead: LeadId,
    /// And where.
    pub other: Option<LeadId>,
}

/// Findings that are shown one by one; more are counted.
pub const MOST_FINDINGS: usize = 12;

/// Why it cannot ring out by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cannot {
    Image(ImageError),
    /// The plan needs this many probe leads.
    Leads(u8),
    /// The clips were nulled after the plan was loaded.
    Nulled,
}

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// With a verdict; whether the result was kept.
    Verdict(Verdict, bool),
    /// The probe would not drive, or let go.
    Refused(Refusal),
    /// A lead of the probe does not work.
    Broken(LeadId),
}

/// What is on the display.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Screen {
    /// A host speaks.
    Host,
    Title,
    Cannot(Cannot),
    Question(u16),
    Choice(u16, u8),
    Clip(u16),
    Ready,
    Proving(u16),
    Ringing(u16),
    Ended(Ended),
    Finding(u8),
}

/// How long each of several things stands in the second line.
const STANDS: u32 = 1_500_000;

/// The probe by itself.
#[derive(Debug)]
pub struct Alone {
    screen: Screen,
    /// What was drawn last, and which of its second lines.
    drawn: Option<(Screen, u32)>,
    /// When the screen came up.
    since: Micros,
    head: Option<Head>,
    answers: [u8; MAX_OPTIONS as usize],
    variant: u16,
    findings: Vec<Finding, MOST_FINDINGS>,
    /// Quantities that are off, and that did not settle.
    off: u16,
    creeping: u16,
    keeping: Keeping,
    ended: Option<Ended>,
}

impl Default for Alone {
    fn default() -> Self {
        Self::new()
    }
}

impl Alone {
    /// At the start.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            screen: Screen::Title,
            drawn: None,
            since: Micros(0),
            head: None,
            answers: [NOT_ASKED; MAX_OPTIONS as usize],
            variant: 0,
            findings: Vec::new(),
            off: 0,
            creeping: 0,
            keeping: Keeping::none(),
            ended: None,
        }
    }

    /// How the last run ended; `None` while none has.
    #[must_use]
    pub fn ended(&self) -> Option<Ended> {
        self.ended
    }

    /// What the last run found, as far as there is room.
    #[must_use]
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// The variant that is rung out.
    #[must_use]
    pub fn variant(&self) -> u16 {
        self.variant
    }

    /// A host speaks: what was under way is over.
    pub fn leave(&mut self, panel: &mut impl Panel) {
        if self.screen != Screen::Host {
            self.screen = Screen::Host;
            self.drawn = None;
            self.head = None;
            self.keeping = Keeping::none();
            panel.signal(Signal::Quiet);
            panel.show(["Computer speaks", "wait, or press next"]);
        }
    }

    /// Goes on by one turn: a button, a step, the display.
    pub fn turn<D, G, S, A, T, R, W, C>(
        &mut self,
        instrument: &mut Instrument<D, G, S, A, T, R, W, C>,
        memory: &mut impl Memory,
        clips: &Clips,
        panel: &mut impl Panel,
    ) where
        D: SpiDevice,
        G: SpiDevice,
        S: SpiDevice,
        A: SpiDevice,
        T: InputPin,
        R: OutputPin,
        W: DelayNs,
        C: Clock,
    {
        let before = self.screen;
        let button = panel.pressed();
        match self.head {
            None => self.open(memory, button),
            Some(head) => {
                let done = match self.screen {
                    Screen::Proving(_) | Screen::Ringing(_) => {
                        self.run(&head, instrument, memory, panel)
                    }
                    _ => match button {
                        Some(button) => self.go(&head, button, (instrument.leads(), clips), memory),
                        None => Ok(()),
                    },
                };
                if let Err(error) = done {
                    // What was whole a moment ago no longer is.
                    self.head = None;
                    self.screen = Screen::Cannot(Cannot::Image(error));
                }
            }
        }
        let now = instrument.now();
        if self.screen != before {
            self.since = now;
        }
        self.draw(now, memory, panel);
    }

    /// Without a plan in use: looks for one at the start, and whenever a button is pressed.
    #[inline(never)]
    fn open(&mut self, memory: &mut impl Memory, button: Option<Button>) {
        if self.screen == Screen::Title || button.is_some() {
            self.screen = match Head::open(&mut PlanIn(memory)) {
                Ok(head) => {
                    self.head = Some(head);
                    Screen::Title
                }
                Err(error) => Screen::Cannot(Cannot::Image(error)),
            };
        }
    }

    /// A button was pressed.
    #[inline(never)]
    fn go(
        &mut self,
        head: &Head,
        button: Button,
        (leads, clips): (u8, &Clips),
        memory: &mut impl Memory,
    ) -> Result<(), ImageError> {
        let store = &mut PlanIn(memory);
        self.screen = match (self.screen, button) {
            (Screen::Title | Screen::Cannot(_) | Screen::Host, _) => {
                if leads < head.leads() {
                    Screen::Cannot(Cannot::Leads(head.leads()))
                } else if clips.check(head.leads()) != head.nulls() {
                    Screen::Cannot(Cannot::Nulled)
                } else {
                    self.ask(head, store, 0)?
                }
            }
            (Screen::Question(option), Button::Next) => {
                let first = self.other_choice(head, store, option, u8::MAX)?;
                Screen::Choice(option, first)
            }
            (Screen::Question(_), Button::Repeat) => Screen::Title,
            (Screen::Choice(option, choice), Button::Repeat) => {
                Screen::Choice(option, self.other_choice(head, store, option, choice)?)
            }
            (Screen::Choice(option, choice), Button::Next) => {
                self.answer(option, choice);
                self.ask(head, store, option + 1)?
            }
            (Screen::Clip(at), Button::Next) => {
                if at + 1 < head.clips(store, self.variant)? {
                    Screen::Clip(at + 1)
                } else {
                    Screen::Ready
                }
            }
            (Screen::Clip(at), Button::Repeat) => match at.checked_sub(1) {
                Some(before) => Screen::Clip(before),
                None => Screen::Title,
            },
            (Screen::Ready, Button::Repeat) => {
                Screen::Clip(head.clips(store, self.variant)?.saturating_sub(1))
            }
            (Screen::Ready, Button::Next) | (Screen::Ended(_), Button::Repeat) => {
                Screen::Proving(0)
            }
            (Screen::Ended(_), Button::Next) => self.finding(0),
            (Screen::Finding(at), Button::Next) => self.finding(at + 1),
            (Screen::Finding(_), Button::Repeat) => match self.ended {
                Some(ended) => Screen::Ended(ended),
                None => Screen::Ready,
            },
            (running @ (Screen::Proving(_) | Screen::Ringing(_)), _) => running,
        };
        Ok(())
    }

    fn finding(&self, at: u8) -> Screen {
        if usize::from(at) < self.findings.len() {
            Screen::Finding(at)
        } else {
            Screen::Ready
        }
    }

    fn answer(&mut self, option: u16, choice: u8) {
        if let Some(answer) = self.answers.get_mut(usize::from(option)) {
            *answer = choice;
        }
    }

    /// The next question that has a choice left, from this option on; then the hook-up.
    #[inline(never)]
    fn ask<M: Memory>(
        &mut self,
        head: &Head,
        store: &mut PlanIn<'_, M>,
        from: u16,
    ) -> Result<Screen, ImageError> {
        for option in from..head.options() {
            let first = self.other_choice(head, store, option, u8::MAX)?;
            if first != NOT_ASKED && self.other_choice(head, store, option, first)? != first {
                return Ok(Screen::Question(option));
            }
            self.answer(option, first);
        }
        let found = self.matching(head, store, head.options(), None)?;
        self.variant = found.map_or(0, |(variant, _)| variant);
        Ok(Screen::Clip(0))
    }

    /// The next choice of an option behind this one, round and round, that some
    /// variant has with the answers so far.
    #[inline(never)]
    fn other_choice<M: Memory>(
        &self,
        head: &Head,
        store: &mut PlanIn<'_, M>,
        option: u16,
        choice: u8,
    ) -> Result<u8, ImageError> {
        let after = self.matching(head, store, option, Some(choice))?;
        let any = match after {
            Some(found) => Some(found),
            None => self.matching(head, store, option, Some(u8::MAX))?,
        };
        Ok(any.map_or(NOT_ASKED, |(_, answer)| answer))
    }

    /// The first variant with the answers to all options before `option`; where a
    /// choice is given, the one with the least answer to it that is behind that (any
    /// is behind [`NOT_ASKED`]).
    #[inline(never)]
    fn matching<M: Memory>(
        &self,
        head: &Head,
        store: &mut PlanIn<'_, M>,
        option: u16,
        behind: Option<u8>,
    ) -> Result<Option<(u16, u8)>, ImageError> {
        let mut best: Option<(u16, u8)> = None;
        'variants: for variant in 0..head.variants() {
            for (at, answer) in (0..option).zip(&self.answers) {
                if head.answer(store, variant, at)? != *answer {
                    continue 'variants;
                }
            }
            let Some(behind) = behind else {
                return Ok(Some((variant, NOT_ASKED)));
            };
            let answer = head.answer(store, variant, option)?;
            let fits = behind == NOT_ASKED || answer > behind && answer != NOT_ASKED;
            if fits && best.is_none_or(|(_, least)| answer < least) {
                best = Some((variant, answer));
            }
        }
        Ok(best)
    }
}
