//! The lead in the hand: real, or on the virtual bench; what it hears, and the points
//! that are asked for.

use std::collections::BTreeMap;
use std::io::IsTerminal as _;
use std::time::{Duration, Instant};

use console::Term;
use loomproof_core::wire::{ChassisCheck, Hello, LeadId, LeadSet, Place, Refusal};

use super::clipped::{VIRTUAL, real};
use super::job::BenchArgs;
use super::ready::works;
use super::stopping::Stopping;
use super::{Failure, note};
use crate::bench::{Bench, Tip};
use crate::diagnosis::words::{Speaker, capital};
use crate::fault::Fault;
use crate::hookup::{Clip, Hookup, Point};
use crate::link::{Link, LinkError, VirtualProbe};
use crate::plan::model::Job;
use crate::touch::clips::point;
use crate::touch::look::{LookError, apart, look};
use crate::touch::matching::{margin, matched};
use crate::touch::report::{Kind, Report, Sits, Task, Touch};
use crate::touch::told::{Teller, and};
use crate::touch::{Answer, Groups, Steady, text};

/// Without anything new for so long, nobody touches any more.
const QUIET: Duration = Duration::from_secs(180);

/// From one look to the next.
const EVERY: Duration = Duration::from_millis(30);

/// Looks at each distance where several clips share a net.
const LOOKS: u32 = 4;

/// The virtual tip is still: so many looks are enough to see what it touches.
const ENOUGH: usize = 4;

/// The probe with one lead in the hand.
pub(super) struct Hand<'a> {
    /// What the virtual bench really has.
    job: Job,
    bench: &'a BenchArgs,
    simulated: bool,
    link: Option<Box<dyn Link>>,
    /// How the clips of the virtual bench really sit.
    hookup: Option<Hookup>,
    faults: Vec<Fault>,
    place: Place,
    tip: LeadId,
    others: LeadSet,
    steady: Steady,
    screen: Screen,
}

impl<'a> Hand<'a> {
    /// The probe that was asked for; a real one is connected.
    ///
    /// # Errors
    /// [`Failure`] where a real one is not there, or is given what only the virtual one
    /// takes.
    pub(super) fn new(probe: &str, job: &Job, bench: &'a BenchArgs) -> Result<Self, Failure> {
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
            screen: Screen::new(),
        })
    }

    pub(super) fn is_virtual(&self) -> bool {
        self.simulated
    }

    /// Probe leads that there are.
    pub(super) fn leads(&self) -> u8 {
        let link = self.link.as_ref();
        link.map_or(self.bench.simulated.leads, |link| link.hello().leads)
    }

    pub(super) fn hello(&mut self) -> Result<Hello, Failure> {
        Ok(self.link()?.hello().clone())
    }

    pub(super) fn link(&mut self) -> Result<&mut dyn Link, Failure> {
        match &mut self.link {
            Some(link) => Ok(link.as_mut()),
            None => Err(Failure::probe("the probe is not clipped yet".to_owned())),
        }
    }

    /// Takes a lead into the hand, the others clipped like this; or, with clips that are
    /// known, the others anyhow: on the virtual bench in an order that the seed draws.
    ///
    /// # Errors
    /// [`Failure`] where the virtual bench cannot be like that.
    pub(super) fn take(
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
    fn put(&mut self, on: &[Point], chassis: bool) -> Result<(), Failure> {
        let Some(hookup) = self.hookup.as_ref().filter(|_| self.simulated) else {
            return Ok(());
        };
        let tip = Tip {
            lead: self.tip,
            on: on.to_vec(),
            chassis,
        };
        let settings = self.bench.simulated.settings()?;
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
    pub(super) fn prove_itself(&mut self, hookup: &Hookup) -> Result<(), Failure> {
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
    pub(super) fn groups(&mut self, stop: &Stopping) -> Result<Groups, Failure> {
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

    fn spoken(&self) -> Option<(&Job, &Hookup)> {
        Some((&self.job, self.hookup.as_ref()?))
    }

    /// Waits for something new; `None` where somebody ends it, or nothing came.
    fn hear(&mut self, stop: &Stopping) -> Result<Option<Answer>, Failure> {
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
    fn distances(&mut self, net: &LeadSet) -> Result<Option<Vec<f64>>, Failure> {
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
pub(super) fn failed(error: &LookError, spoken: Option<(&Job, &Hookup)>) -> Failure {
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

/// Names what is touched, until nobody touches any more.
pub(super) fn tell(
    (job, hookup, groups): (&Job, &Hookup, &Groups),
    (hand, stop): (&mut Hand<'_>, &Stopping),
    plays: &[String],
    report: &mut Report,
) -> Result<(), Failure> {
    let teller = Teller::new(job, hookup, groups);
    if hand.simulated {
        for played in plays {
            let (on, chassis) = spots(job, played)?;
            hand.put(&on, chassis)?;
            if let Some(answer) = hand.hear(stop)? {
                let touch = teller.tell(&answer);
                hand.screen.show(&touch.large, &touch.say);
                report.touches.push(touch);
            }
        }
        return hand.put(&[], false);
    }
    note("Touch any point. Ctrl-C ends it.");
    while let Some(answer) = hand.hear(stop)? {
        let touch = teller.tell(&answer);
        if answer.is_air() {
            hand.screen.quiet(&touch.say);
            continue;
        }
        hand.screen.show(&touch.large, &touch.say);
        report.touches.push(touch);
    }
    Ok(())
}

/// What a virtual tip touches.
fn spots(job: &Job, played: &str) -> Result<(Vec<Point>, bool), Failure> {
    let (mut on, mut chassis) = (Vec::new(), false);
    for name in played.split('+').map(str::trim) {
        match name {
            "air" => {}
            "chassis" => chassis = true,
            other => on.push(point(job, other).ok_or_else(|| {
                Failure::usage(format!(
                    "--plays {played}: the plan has no point {other}; give points such as X1:4, \
                     `chassis` or `air`"
                ))
            })?),
        }
    }
    Ok((on, chassis))
}

/// How asking for a point ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Heard {
    /// Something answered.
    Found,
    /// It is asked for again later.
    Later,
    /// Nothing more is asked for.
    Stopped,
}

/// One point that was touched when it was asked for.
struct Row {
    point: Point,
    /// Distances of the leads of its group.
    ohms: Vec<f64>,
}

/// The points that were touched, by the group that answered; `None` for the chassis.
pub(super) struct Placed<'a> {
    teller: Teller<'a>,
    job: &'a Job,
    hookup: &'a Hookup,
    groups: &'a Groups,
    task: Task,
    rows: BTreeMap<Option<usize>, Vec<Row>>,
    known: Vec<Clip>,
    asked: Option<String>,
}

impl<'a> Placed<'a> {
    pub(super) fn new(
        (job, hookup, groups): (&'a Job, &'a Hookup, &'a Groups),
        task: Task,
    ) -> Self {
        Self {
            teller: Teller::new(job, hookup, groups),
            job,
            hookup,
            groups,
            task,
            rows: BTreeMap::new(),
            known: Vec::new(),
            asked: None,
        }
    }

    /// A clip whose number was read.
    pub(super) fn sits(&mut self, clip: &Clip) {
        self.known.push(clip.clone());
    }

    /// Nothing answered there.
    pub(super) fn open(&self, point: &Point, report: &mut Report) {
        report.open.push(format!(
            "{point}: no clip answered. See that one sits there and touches metal."
        ));
    }

    /// Asks for a point until something answers there.
    ///
    /// # Errors
    /// [`Failure`] where nothing can be told.
    pub(super) fn ask(
        &mut self,
        hand: &mut Hand<'_>,
        stop: &Stopping,
        (point, at, count): (&Point, usize, usize),
        report: &mut Report,
    ) -> Result<Heard, Failure> {
        let speaker = Speaker::new(self.job);
        self.asked = Some(point.to_string());
        hand.screen.ask(
            &point.to_string(),
            &format!("Touch {} ({at} of {count}).", speaker.point(point)),
        );
        hand.put(std::slice::from_ref(point), false)?;
        loop {
            let Some(answer) = hand.hear(stop)? else {
                return Ok(if hand.simulated && !stop.asked() {
                    Heard::Later
                } else {
                    Heard::Stopped
                });
            };
            let group = match &answer {
                Answer::Chassis if !self.teller.on_chassis(&point.end()) => {
                    return Ok(Heard::Later);
                }
                Answer::Chassis if self.groups.chassis.is_empty() => return Ok(Heard::Later),
                Answer::Chassis => Some(None),
                Answer::Leads(leads) => match self.groups.of(leads).as_slice() {
                    [one] => Some(Some(*one)),
                    _ => None,
                },
                _ => None,
            };
            let Some(group) = group else {
                let touch = self.teller.tell(&answer);
                if answer.is_air() {
                    hand.screen.quiet(&touch.say);
                } else {
                    hand.screen.show(&touch.large, &touch.say);
                }
                if hand.simulated {
                    return Ok(Heard::Later);
                }
                continue;
            };
            let leads = self.leads(group);
            let ohms = match leads.len() {
                1 => Some(vec![0.0]),
                _ => hand.distances(&leads)?,
            };
            let Some(ohms) = ohms else {
                continue;
            };
            let touch = self.touched(point, &leads, group);
            hand.screen.show(&touch.large, &touch.say);
            report.touches.push(touch);
            self.rows.entry(group).or_default().push(Row {
                point: point.clone(),
                ohms,
            });
            return Ok(Heard::Found);
        }
    }

    fn leads(&self, group: Option<usize>) -> LeadSet {
        match group {
            None => self.groups.chassis,
            Some(at) => self.groups.apart.get(at).copied().unwrap_or_default(),
        }
    }

    fn touched(&self, point: &Point, leads: &LeadSet, group: Option<usize>) -> Touch {
        let names: Vec<String> = leads.iter().map(|lead| lead.to_string()).collect();
        let verb = if names.len() == 1 {
            "answers"
        } else {
            "answer"
        };
        let mut say = format!("{point}: {} {verb}", and(&names));
        let meant = self.hookup.clips.iter().find(|clip| clip.point == *point);
        let meant = meant.filter(|clip| self.task == Task::Prove && !leads.contains(clip.lead));
        if let Some(clip) = meant {
            say.push_str(&format!("; {} should", clip.lead));
        }
        say.push('.');
        let kind = match (meant, group) {
            (Some(_), _) => Kind::NotByPlan,
            (None, None) => Kind::Chassis,
            (None, Some(_)) => Kind::Point,
        };
        Touch {
            asked: self.asked.clone(),
            say,
            leads: names.clone(),
            candidates: vec![point.to_string()],
            ..Touch::of(kind, &and(&names))
        }
    }

    /// Finds which lead sits where.
    pub(super) fn finish(self, report: &mut Report) {
        let mut clips: Vec<Clip> = self.known.clone();
        for (group, rows) in &self.rows {
            let known = |lead: LeadId| self.known.iter().any(|clip| clip.lead == lead);
            let all: Vec<LeadId> = self.leads(*group).iter().collect();
            let leads: Vec<(usize, LeadId)> = all
                .into_iter()
                .enumerate()
                .filter(|(_, lead)| !known(*lead))
                .collect();
            let costs: Vec<Vec<f64>> = rows
                .iter()
                .map(|row| {
                    let ohms = leads.iter().map(|(at, _)| row.ohms.get(*at).copied());
                    ohms.map(|ohms| ohms.unwrap_or(f64::NAN)).collect()
                })
                .collect();
            let found = matched(&costs, margin(LOOKS));
            let mut taken: Vec<LeadId> = Vec::new();
            let mut points: Vec<String> = Vec::new();
            for (row, column) in rows.iter().zip(&found) {
                match column.and_then(|column| leads.get(column)) {
                    Some((_, lead)) => {
                        taken.push(*lead);
                        clips.push(Clip {
                            lead: *lead,
                            point: row.point.clone(),
                        });
                    }
                    None => points.push(row.point.to_string()),
                }
            }
            let left = leads.iter().filter(|(_, lead)| !taken.contains(lead));
            let left: Vec<String> = left.map(|(_, lead)| lead.to_string()).collect();
            if points.is_empty() {
                continue;
            }
            report.open.push(if left.len() == points.len() {
                text::not_apart(&left, &points)
            } else {
                format!(
                    "{} answer at {}: not one clip for each point, so which sits where is not \
                     known.",
                    and(&left),
                    and(&points)
                )
            });
        }
        clips.sort_by_key(|clip| clip.lead);
        report.clips = clips.iter().map(|clip| self.said(clip)).collect();
    }

    fn said(&self, clip: &Clip) -> Sits {
        let meant = self.hookup.point(clip.lead);
        let meant = meant.filter(|_| self.task == Task::Prove);
        Sits {
            lead: clip.lead.to_string(),
            point: clip.point.to_string(),
            meant: meant.map(ToString::to_string),
        }
    }
}

/// Standard error: one large line where it is a terminal, else a line for each touch.
struct Screen(Option<Term>);

impl Screen {
    fn new() -> Self {
        let attended = std::io::stderr().is_terminal();
        Self(attended.then(Term::stderr))
    }

    /// Something new, with a beep.
    fn show(&self, large: &str, say: &str) {
        if self.0.is_some() {
            eprint!("\u{7}");
        }
        self.write(large, say);
    }

    /// What is asked for, without one.
    fn ask(&self, large: &str, say: &str) {
        self.write(large, say);
    }

    /// The tip is off: what was told stays in sight on a terminal.
    fn quiet(&self, say: &str) {
        if self.0.is_some() {
            note(&format!("    ({say})"));
        }
    }

    fn write(&self, large: &str, say: &str) {
        match &self.0 {
            None => note(say),
            Some(term) => {
                let (_, columns) = term.size();
                let _ = term.clear_screen();
                note(&format!(
                    "{}\n{say}",
                    crate::touch::text::large(large, usize::from(columns))
                ));
            }
        }
    }
}
