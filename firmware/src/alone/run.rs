//! A run by itself: the leads, then the scan, step by step.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use loomproof_core::image::{Head, ImageError, Judged, Kept, Verdict};
use loomproof_core::judge::Side;
use loomproof_core::scan::Purpose;
use loomproof_core::self_test::channel_troubles;
use loomproof_core::wire::{Channel, LeadId, Refusal, SenseMode};

use super::{Alone, Ended, Finding, Panel, Screen, Signal, What};
use crate::Clock;
use crate::instrument::{Instrument, Readings};
use crate::memory::{Memory, PlanIn};

impl Alone {
    /// One turn of a run: a lead is tested, or a step carried out and judged.
    pub(super) fn run<D, G, S, A, T, R, W, C>(
        &mut self,
        head: &Head,
        instrument: &mut Instrument<D, G, S, A, T, R, W, C>,
        memory: &mut impl Memory,
        panel: &mut impl Panel,
    ) -> Result<(), ImageError>
    where
        D: SpiDevice,
        G: SpiDevice,
        S: SpiDevice,
        A: SpiDevice,
        T: InputPin,
        R: OutputPin,
        W: DelayNs,
        C: Clock,
    {
        let outcome = match self.screen {
            Screen::Proving(0) => {
                self.begin(panel);
                // A block is erased now, while nothing is driven or watched.
                let gone = instrument.let_go_of_all();
                if gone.is_ok() {
                    self.keeping.begin(memory);
                }
                let armed = gone.and_then(|()| instrument.arm());
                armed.map(|()| Screen::Proving(1))
            }
            Screen::Proving(at) => {
                match head.clip(&mut PlanIn(memory), self.variant, at - 1)? {
                    Some(clip) => match works(instrument, Channel::Lead(clip.lead)) {
                        Ok(true) => Ok(Screen::Proving(at + 1)),
                        Ok(false) => Ok(self.end(Ended::Broken(clip.lead), panel)),
                        Err(refusal) => Err(refusal),
                    },
                    // The run looks at all leads anew, as it does for a host.
                    None => instrument.arm().map(|()| Screen::Ringing(0)),
                }
            }
            Screen::Ringing(at) => self.step(head, instrument, memory, (at, panel))?,
            other => Ok(other),
        };
        match outcome {
            Ok(screen) => self.screen = screen,
            Err(refusal) => {
                let _ = instrument.let_go_of_all();
                self.screen = self.end(Ended::Refused(refusal), panel);
            }
        }
        Ok(())
    }

    fn begin(&mut self, panel: &mut impl Panel) {
        panel.signal(Signal::Busy);
        self.findings.clear();
        self.off = 0;
        self.creeping = 0;
        self.ended = None;
    }

    fn end(&mut self, ended: Ended, panel: &mut impl Panel) -> Screen {
        panel.signal(match ended {
            Ended::Verdict(Verdict::Pass, _) => Signal::Pass,
            Ended::Verdict(..) => Signal::Off,
            Ended::Refused(_) | Ended::Broken(_) => Signal::Refused,
        });
        self.ended = Some(ended);
        Screen::Ended(ended)
    }

    #[inline(never)]
    fn step<D, G, S, A, T, R, W, C>(
        &mut self,
        head: &Head,
        instrument: &mut Instrument<D, G, S, A, T, R, W, C>,
        memory: &mut impl Memory,
        (at, panel): (u16, &mut impl Panel),
    ) -> Result<Result<Screen, Refusal>, ImageError>
    where
        D: SpiDevice,
        G: SpiDevice,
        S: SpiDevice,
        A: SpiDevice,
        T: InputPin,
        R: OutputPin,
        W: DelayNs,
        C: Clock,
    {
        let Some(planned) = head.step(&mut PlanIn(memory), self.variant, at)? else {
            return self.verdict(head, instrument, memory, panel);
        };
        let mut readings = Readings::new();
        if let Err(refusal) = instrument.step(&planned.step, head.place(), &mut readings) {
            return Ok(Err(refusal));
        }
        let mut noted = None;
        let (mut off, mut creeping) = (0, 0);
        head.judge(
            &mut PlanIn(memory),
            (self.variant, at),
            &planned.step,
            &readings,
            &mut |judged| {
                match judged.side {
                    Side::Within => return,
                    Side::NotSettled => creeping += 1,
                    Side::Low | Side::High => off += 1,
                }
                let finding = finding(planned.purpose, judged);
                // One for each step, or for each net that is touched.
                if noted.is_none_or(|other| finding.other != other) {
                    noted = Some(finding.other);
                    let _ = self.findings.push(finding);
                }
            },
        )?;
        self.off = self.off.saturating_add(off);
        self.creeping = self.creeping.saturating_add(creeping);
        self.keeping.add(memory, &readings);
        Ok(Ok(Screen::Ringing(at + 1)))
    }

    /// Every step was carried out.
    fn verdict<D, G, S, A, T, R, W, C>(
        &mut self,
        head: &Head,
        instrument: &mut Instrument<D, G, S, A, T, R, W, C>,
        memory: &mut impl Memory,
        panel: &mut impl Panel,
    ) -> Result<Result<Screen, Refusal>, ImageError>
    where
        D: SpiDevice,
        G: SpiDevice,
        S: SpiDevice,
        A: SpiDevice,
        T: InputPin,
        R: OutputPin,
        W: DelayNs,
        C: Clock,
    {
        if let Err(refusal) = instrument.let_go_of_all() {
            return Ok(Err(refusal));
        }
        let steps = head.steps_of(&mut PlanIn(memory), self.variant)?;
        let verdict = if self.off > 0 {
            Verdict::Faults
        } else if self.creeping > 0 || steps == 0 {
            Verdict::Undecided
        } else {
            Verdict::Pass
        };
        let digest = head.digest(&mut PlanIn(memory))?;
        let result = Kept {
            number: 0,
            verdict,
            variant: self.variant,
            readings: 0,
            image: head.check(),
            check: 0,
            digest,
        };
        let kept = self.keeping.end(memory, result);
        Ok(Ok(self.end(Ended::Verdict(verdict, kept), panel)))
    }
}

/// Whether a channel of the probe works, by core's self-test.
#[inline(never)]
fn works<D, G, S, A, T, R, W, C>(
    instrument: &mut Instrument<D, G, S, A, T, R, W, C>,
    channel: Channel,
) -> Result<bool, Refusal>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    T: InputPin,
    R: OutputPin,
    W: DelayNs,
    C: Clock,
{
    let proof = instrument.prove(channel)?;
    Ok(channel_troubles(channel, &proof) == [None, None])
}

/// What a quantity that is off says, in short.
fn finding(purpose: Purpose, judged: Judged) -> Finding {
    let (lead, other) = purpose.leads();
    let high = judged.side == Side::High;
    let what = match purpose {
        _ if judged.side == Side::NotSettled => What::Creeps,
        // The difference of both ends tells more than either.
        Purpose::Continuity(_, Some(_)) | Purpose::Pair(..) if judged.against.is_some() == high => {
            What::Open
        }
        Purpose::Continuity(_, None) if high => What::NoGround,
        Purpose::Continuity(..) | Purpose::Pair(..) => What::Joined,
        Purpose::Isolation(_) | Purpose::Walk(_) => What::Touch,
        Purpose::Across(..) if judged.against.is_some() == high => What::PartOpen,
        Purpose::Across(..) => What::PartBridged,
    };
    let touched = |sensed: LeadId| (judged.mode != SenseMode::Plain).then_some(sensed);
    Finding {
        what,
        lead,
        other: other.or_else(|| touched(judged.lead)),
    }
}
