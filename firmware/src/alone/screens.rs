//! What stands on the display.

use loomproof_core::image::{Head, ImageError, Verdict};
use loomproof_core::units::Micros;
use loomproof_core::wire::LeadId;

use super::words::{self, Line, add, add_lead, line, progress};
use super::{Alone, Cannot, Ended, Panel, STANDS, Screen};
use crate::memory::{Memory, PlanIn};

impl Alone {
    /// Draws what changed.
    #[inline(never)]
    pub(super) fn draw(&mut self, now: Micros, memory: &mut impl Memory, panel: &mut impl Panel) {
        let phase = now.0.wrapping_sub(self.since.0) / STANDS;
        if self.drawn == Some((self.screen, phase)) || self.screen == Screen::Host {
            return;
        }
        self.drawn = Some((self.screen, phase));
        let lines = self.lines(phase, &mut PlanIn(memory));
        let [first, second] = lines.unwrap_or([line("Plan is damaged"), line("load it again")]);
        panel.show([&first, &second]);
    }

    #[inline(never)]
    fn lines<M: Memory>(
        &self,
        phase: u32,
        store: &mut PlanIn<'_, M>,
    ) -> Result<[Line; 2], ImageError> {
        let Some(head) = self.head else {
            return Ok(match self.screen {
                Screen::Cannot(Cannot::Image(ImageError::Nothing)) => {
                    [line("No plan in the probe"), line("load one by computer")]
                }
                Screen::Cannot(Cannot::Image(ImageError::Unreadable)) => {
                    [line("No memory for a plan"), line("use a computer")]
                }
                _ => [line("Plan is damaged"), line("load it again")],
            });
        };
        Ok(match self.screen {
            Screen::Title | Screen::Host => {
                let title = head.title(store)?;
                let (first, second) = title.lines();
                [line(first), line(second)]
            }
            Screen::Cannot(Cannot::Leads(leads)) => {
                let mut second = line("needs ");
                words::add_number(&mut second, u32::from(leads));
                [line("Too few probe leads"), second]
            }
            Screen::Cannot(_) => [line("Clips nulled since"), line("load the plan again")],
            Screen::Question(option) => {
                let question = head.question(store, option)?;
                let (first, second) = question.lines();
                [line(first), line(second)]
            }
            Screen::Choice(option, choice) => [
                line(head.choice(store, option, choice)?.as_str()),
                line("yes:next no:repeat"),
            ],
            Screen::Clip(at) => match head.clip(store, self.variant, at)? {
                Some(clip) => self.spot(&head, store, clip.lead, phase)?,
                None => [Line::new(), Line::new()],
            },
            Screen::Ready => [line("Battery off?"), line("next: ring out")],
            Screen::Proving(at) => [
                line("Testing the leads"),
                progress(
                    "",
                    u32::from(at),
                    u32::from(head.clips(store, self.variant)?),
                ),
            ],
            Screen::Ringing(at) => [
                line("Ringing out"),
                progress(
                    "",
                    u32::from(at),
                    u32::from(head.steps_of(store, self.variant)?),
                ),
            ],
            Screen::Ended(ended) => self.end_lines(&head, store, ended, phase)?,
            Screen::Finding(at) => match self.findings.get(usize::from(at)) {
                Some(finding) => {
                    let lead = match finding.other {
                        Some(other) if phase % 4 >= 2 => other,
                        _ => finding.lead,
                    };
                    let [name, place] = self.spot(&head, store, lead, 0)?;
                    let second = if phase.is_multiple_of(2) { name } else { place };
                    [line(words::what(finding.what)), second]
                }
                None => [Line::new(), Line::new()],
            },
        })
    }

    /// How a run ended.
    #[inline(never)]
    fn end_lines<M: Memory>(
        &self,
        head: &Head,
        store: &mut PlanIn<'_, M>,
        ended: Ended,
        phase: u32,
    ) -> Result<[Line; 2], ImageError> {
        let (first, lead) = match ended {
            Ended::Verdict(verdict, kept) => {
                let mut first = line(match verdict {
                    Verdict::Pass => "PASS",
                    Verdict::Faults => "FAULTS: ",
                    Verdict::Undecided => "CANNOT TELL: ",
                });
                if verdict != Verdict::Pass {
                    let count = self.findings.len() as u32;
                    words::add_number(&mut first, count);
                    if self.findings.is_full() {
                        add(&mut first, " or more");
                    }
                }
                let second = match (kept, verdict) {
                    (false, _) => "NOT KEPT: collect",
                    (true, Verdict::Pass) => "kept",
                    (true, _) => "next: where",
                };
                return Ok([first, line(second)]);
            }
            Ended::Refused(refusal) => words::refusal(refusal),
            Ended::Broken(lead) => (line("Probe lead broken"), Some(lead)),
        };
        let second = match lead {
            Some(lead) => {
                let [name, place] = self.spot(head, store, lead, 0)?;
                if phase.is_multiple_of(2) { name } else { place }
            }
            None => line("repeat: try again"),
        };
        Ok([first, second])
    }

    /// A lead with the name of its point; place and way to touch it in turn.
    #[inline(never)]
    fn spot<M: Memory>(
        &self,
        head: &Head,
        store: &mut PlanIn<'_, M>,
        lead: LeadId,
        phase: u32,
    ) -> Result<[Line; 2], ImageError> {
        let mut first = Line::new();
        add_lead(&mut first, lead);
        for at in 0..head.clips(store, self.variant)? {
            if let Some(clip) = head.clip(store, self.variant, at)?
                && clip.lead == lead
            {
                let spot = head.spot(store, clip.point)?;
                add(&mut first, " ");
                add(&mut first, spot.name.as_str());
                let second = if phase.is_multiple_of(2) {
                    spot.place
                } else {
                    spot.how
                };
                return Ok([first, line(second.as_str())]);
            }
        }
        Ok([first, line("not clipped")])
    }
}
