//! The probe with one lead in the hand: real, or on the virtual bench.

use std::time::{Duration, Instant};

use loomproof_core::units::Ohms;
use loomproof_core::wire::{ChassisCheck, Hello, LeadId, LeadSet, Place, Refusal};

use super::screen::Screen;
use crate::bench::{Bench, Settings, Tip};
use crate::commands::Failure;
use crate::commands::clipped::{VIRTUAL, real};
use crate::commands::jig::using::{JigArgs, Plugged};
use crate::commands::job::BenchArgs;
use crate::commands::ready::works;
use crate::commands::stopping::Stopping;
use crate::diagnosis::words::{Speaker, capital};
use crate::fault::{Fault, catalogue};
use crate::hookup::{Clip, Hookup, Point};
use crate::link::{Link, LinkError, VirtualProbe};
use crate::plan::model::Job;
use crate::touch::look::{LookError, apart, look};
use crate::touch::{Answer, Groups, Steady};

/// Without anything new for so long, nobody touches any more.
const QUIET: Duration = Duration::from_secs(180);

/// From one look to the next.
const EVERY: Duration = Duration::from_millis(30);

/// Looks at each distance where several clips share a net.
pub(super) const LOOKS: u32 = 4;

/// The virtual tip is still: so many looks are enough to see what it touches.
const ENOUGH: usize = 4;

/// The probe with one lead in the hand.
pub(in crate::commands) struct Hand<'a> {
    /// What the virtual bench really has.
    job: Job,
    bench: &'a BenchArgs,
    pub(super) simulated: bool,
    link: Option<Box<dyn Link>>,
    /// How the clips of the virtual bench really sit.
    hookup: Option<Hookup>,
    faults: Vec<Fault>,
    place: Place,
    tip: LeadId,
    others: LeadSet,
    steady: Steady,
    /// The resistors in the plug of the virtual bench's jig.
    code: Vec<(LeadId, Ohms)>,
    pub(super) screen: Screen,
}

impl<'a> Hand<'a> {
    /// The probe that was asked for; a real one is connected.
    ///
    /// # Errors
    /// [`Failure`] where a real one is not there, or is given what only the virtual one
    /// takes.
    pub(in crate::commands) fn new(
        probe: &str,
        job: &Job,
        bench: &'a BenchArgs,
    ) -> Result<Self, Failure> {
        let simulated = probe == VIRTUAL;
        let link: Option<Box<dyn Link>> = if simulated {
            None
        } else {
            Some(real(probe, bench)?)
        };
        let job = bench.really(job)?;
        Ok(Self {
            faults: bench.faults(&job)?,
            job,
            bench,
            simulated,
            link,
            hookup: None,
            place: Place::Vehicle,
            tip: LeadId(0),
            others: LeadSet::EMPTY,
            steady: Steady::default(),
            code: Vec::new(),
            screen: Screen::new(),
        })
    }

    pub(in crate::commands) fn is_virtual(&self) -> bool {
        self.simulated
    }

    /// Probe leads that there are.
    pub(in crate::commands) fn leads(&self) -> u8 {
        let link = self.link.as_ref();
        link.map_or(self.bench.simulated.leads, |link| link.hello().leads)
    }

    pub(in crate::commands) fn hello(&mut self) -> Result<Hello, Failure> {
        Ok(self.link()?.hello().clone())
    }

    pub(in crate::commands) fn link(&mut self) -> Result<&mut dyn Link, Failure> {
        match &mut self.link {
            Some(link) => Ok(link.as_mut()),
            None => Err(Failure::probe("the probe is not clipped yet".to_owned())),
        }
    }

    /// The jig that the harness is plugged into, where one was asked for.
    ///
    /// # Errors
    /// [`Failure`] where another is plugged in, or none, or it must not be used.
    pub(in crate::commands) fn plugged(
        &mut self,
        jig: &JigArgs,
        place: Place,
    ) -> Result<Option<Plugged>, Failure> {
        let real = self.link.as_mut().filter(|_| !self.simulated);
        jig.plugged(place, (real, &self.bench.simulated), &mut self.code)
    }

    /// Takes the harness out of the virtual bench's jig; its points stay.
    pub(in crate::commands) fn unplug(&mut self, hookup: &Hookup) {
        let parts = catalogue::all(&self.job, hookup).into_iter();
        self.faults
            .extend(parts.filter(|fault| matches!(fault, Fault::Missing(_))));
        self.job.leads.clear();
    }

    /// Takes a lead into the hand, the others clipped like this; or, with clips that are
    /// known, the others anyhow: on the virtual bench in an order that the seed draws.
    ///
    /// # Errors
    /// [`Failure`] where the virtual bench cannot be like that.
    pub(in crate::commands) fn take(
        &mut self,
        hookup: &Hookup,
        tip: LeadId,
        anyhow: Option<&Vec<Clip>>,
    ) -> Result<(), Failure> {
        self.place = hookup.place;
        self.tip = tip;
        let mut real = hookup.clone();
        self.others = match anyhow {
            None => hookup.clips.iter().map(|clip| clip.lead).collect(),
            Some(known) => {
                let all = (0..self.leads()).map(LeadId).filter(|lead| *lead != tip);
                shuffle(&mut real, all.clone(), known, self.bench.simulated.seed);
                all.collect()
            }
        };
        self.hookup = Some(real);
        self.put(&[], false)
    }

    /// Puts the tip of the virtual bench there; nothing happens to a real one.
    ///
    /// # Errors
    /// [`Failure`] where there is no such point.
    pub(super) fn put(&mut self, on: &[Point], chassis: bool) -> Result<(), Failure> {
        let Some(hookup) = self.hookup.as_ref().filter(|_| self.simulated) else {
            return Ok(());
        };
        let tip = Tip {
            lead: self.tip,
            on: on.to_vec(),
            chassis,
        };
        let settings = Settings {
            code: self.code.clone(),
            ..self.bench.simulated.settings()?
        };
        let bench = Bench::touched(&self.job, hookup, &self.faults, &tip, &settings)?;
        let probe = VirtualProbe::with_flash(bench, self.bench.simulated.flash()?);
        self.link = Some(Box::new(probe.session()?));
        self.steady = Steady::default();
        Ok(())
    }

    /// Lets the probe show that its leads work where they are clipped.
    ///
    /// # Errors
    /// [`Failure`] with everything that is wrong with it.
    pub(in crate::commands) fn prove_itself(&mut self, hookup: &Hookup) -> Result<(), Failure> {
        let leads: Vec<LeadId> = self.others.iter().chain([self.tip]).collect();
        let refusal = works(self.link()?, &leads, hookup.place)?;
        match refusal {
            Some(Refusal::Live(lead, mv)) => {
                let error = LookError::Live(lead, mv);
                Err(failed(&error, Some((&self.job, hookup))))
            }
            // Said again by the first look, or gone by then.
            _ => Ok(()),
        }
    }

    /// Looks through all clips, the tip in the air.
    ///
    /// # Errors
    /// [`Failure`] where something is live.
    pub(in crate::commands) fn groups(&mut self, stop: &Stopping) -> Result<Groups, Failure> {
        let (place, others) = (self.place, self.others);
        let mut all = others;
        all.insert(self.tip);
        let link = self.link()?;
        let found = Groups::find(
            |lead| look(&mut stop.until(&mut *link), place, lead, &all),
            &others,
        );
        let groups = found.map_err(|error| failed(&error, self.spoken()))?;
        // The tip was not in the air after all.
        for group in &groups.apart {
            if group.contains(self.tip) {
                return Err(Failure::usage(format!(
                    "{} touches something already; hold it in the air and begin again",
                    self.tip
                )));
            }
        }
        Ok(groups)
    }

    pub(super) fn spoken(&self) -> Option<(&Job, &Hookup)> {
        Some((&self.job, self.hookup.as_ref()?))
    }

    /// Waits for something new; `None` where somebody ends it, or nothing came.
    pub(super) fn hear(&mut self, stop: &Stopping) -> Result<Option<Answer>, Failure> {
        let (place, tip, others) = (self.place, self.tip, self.others);
        let until = Instant::now() + QUIET;
        let mut looks = 0;
        while !stop.asked() && Instant::now() < until && !(self.simulated && looks == ENOUGH) {
            looks += 1;
            match look(&mut stop.until(self.link()?), place, tip, &others) {
                Ok(seen) => {
                    if let Some(answer) = self.steady.feed(&seen) {
                        return Ok(Some(answer));
                    }
                }
                Err(LookError::Link(LinkError::Stopped)) => break,
                Err(error) => return Err(failed(&error, self.spoken())),
            }
            if !self.simulated {
                std::thread::sleep(EVERY);
            }
        }
        Ok(None)
    }

    /// How far each lead of a net lies from the tip, in ohms and in their order; `None`
    /// where the tip slipped.
    pub(super) fn distances(&mut self, net: &LeadSet) -> Result<Option<Vec<f64>>, Failure> {
        let (place, tip) = (self.place, self.tip);
        let mut all = Vec::new();
        for lead in net.iter() {
            let mut sum = 0.0;
            for _ in 0..LOOKS {
                match apart(self.link()?, place, (tip, lead), net) {
                    Ok(Some(ohms)) => sum += ohms.0,
                    Ok(None) => return Ok(None),
                    Err(error) => return Err(failed(&error, self.spoken())),
                }
            }
            all.push(sum / f64::from(LOOKS));
        }
        Ok(Some(all))
    }
}

/// Puts clips on in any order, but those that are known.
fn shuffle(hookup: &mut Hookup, leads: impl Iterator<Item = LeadId>, known: &[Clip], seed: u64) {
    let mut left: Vec<LeadId> = leads
        .filter(|lead| known.iter().all(|clip| clip.lead != *lead))
        .collect();
    // Vigna, splitmix64 (from memory).
    let mut state = seed;
    let mut draw = |below: usize| {
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % below.max(1) as u64) as usize
    };
    for clip in &mut hookup.clips {
        let sits = known.iter().find(|it| it.point == clip.point);
        match sits {
            Some(known) => clip.lead = known.lead,
            None if left.is_empty() => {}
            None => clip.lead = left.swap_remove(draw(left.len())),
        }
    }
    hookup.clips.sort_by_key(|clip| clip.lead);
}

/// A look that failed, in words.
pub(in crate::commands) fn failed(error: &LookError, spoken: Option<(&Job, &Hookup)>) -> Failure {
    let battery_off = "Nothing is driven. Disconnect the battery, wait as the vehicle maker's \
                       service information says, and begin again.";
    match error {
        LookError::Live(lead, mv) => {
            let named = spoken.map(|(job, hookup)| Speaker::new(job).probe_lead(hookup, *lead));
            let named = named.unwrap_or_else(|| lead.to_string());
            let volts = f64::from(*mv) / 1e3;
            Failure::refused(format!("{named} is live: {volts:.1} V. {battery_off}"))
        }
        LookError::Unsteady => {
            Failure::refused(format!("{}. {battery_off}", capital(&error.to_string())))
        }
        LookError::Refused(Refusal::Chassis(ChassisCheck::Voltage(mv))) => {
            Failure::refused(format!(
                "there are {:.2} V between the two chassis leads. Put both on bare chassis metal; \
                 on the bench clip them to each other.",
                f64::from(*mv) / 1e3
            ))
        }
        LookError::Refused(Refusal::Chassis(_)) => Failure::refused(
            "the two chassis leads do not sit on one piece of metal. Put both on bare, clean \
             chassis metal; on the bench clip them to each other."
                .to_owned(),
        ),
        other => Failure::probe(other.to_string()),
    }
}
