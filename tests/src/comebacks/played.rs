//! A comeback from what is told to the vehicle that works again, by one way of asking.

use std::collections::BTreeSet;

use loomproof::bench::Settings;
use loomproof::comeback::asks::{OPENING, READING};
use loomproof::comeback::next::settled;
use loomproof::comeback::report::sets;
use loomproof::comeback::split::Answers;
use loomproof::comeback::{
    Answer, Ask, Field, How, Inquiry, Position, Reply, VirtualVehicle, belief,
};
use loomproof::plan::model::Job;
use loomproof::powered::Cause;

/// Ways to choose the next ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// What `comeback` proposes.
    Ours,
    /// Place by place, in the order of the plan.
    PlanOrder,
    /// The place that halves the number of suspects best, effort and odds aside.
    HalfSplit,
}

/// All ways, with their names in the table.
pub const WAYS: [(Way, &str); 3] = [
    (Way::Ours, "comeback"),
    (Way::PlanOrder, "(a) plan order"),
    (Way::HalfSplit, "(b) half-split by hand"),
];

/// More asks and looks than this are given up.
const MOST: usize = 60;

/// How one vehicle went.
#[derive(Debug, Clone, Default)]
pub struct Played {
    /// Readings, and looks whether a function works, until a cause was named first.
    pub readings: usize,
    /// Their effort.
    pub effort: f64,
    /// A cause was named, and of what was named first something was there.
    pub first: bool,
    /// Every reading up to the end.
    pub all_readings: usize,
    /// Looks at causes that were named, up to the end.
    pub looks: usize,
    /// Those at which nothing was found.
    pub in_vain: usize,
    /// The effort of everything up to the end.
    pub all_effort: f64,
    /// Every function works at the end.
    pub works: bool,
    /// What was named first.
    pub said: String,
}

/// Plays a vehicle that came back: asks until a cause is named, looks at what is named, puts
/// right what is found, tries the functions again, and goes on until all of them work or
/// nothing more is named. Nothing where a relay chatters once a part of it is put right: no
/// meter reads that.
///
/// # Errors
/// What cannot be computed.
pub fn play(
    job: &Job,
    causes: &[Cause],
    came: &Inquiry<'_>,
    failing: &[usize],
    way: Way,
) -> Result<Option<Played>, String> {
    let mut hand = Hand {
        wrong: causes.to_vec(),
        inquiry: came.clone(),
        failing: failing.to_vec(),
        position: Position::default(),
        cleared: BTreeSet::new(),
        played: Played::default(),
        way,
    };
    loop {
        let Ok(mut vehicle) = VirtualVehicle::new(job, &hand.wrong, &Settings::default()) else {
            return Ok(None);
        };
        let Ok(symptoms) = vehicle.symptoms(&hand.inquiry) else {
            return Ok(None);
        };
        let wrong = symptoms.iter().filter(|it| it.how != How::Works);
        let wrong: Vec<usize> = wrong.map(|it| it.function).collect();
        if wrong.is_empty() {
            hand.played.works = true;
            return Ok(Some(hand.played));
        }
        if hand.wrong.len() < causes.len() {
            hand.inquiry.suspect(&symptoms, false)?;
            hand.failing = wrong;
        }
        if !hand.round(&mut vehicle)? {
            return Ok(Some(hand.played));
        }
    }
}

/// Who plays.
struct Hand<'j> {
    /// What is still wrong.
    wrong: Vec<Cause>,
    inquiry: Inquiry<'j>,
    failing: Vec<usize>,
    position: Position,
    /// Names of what was looked at.
    cleared: BTreeSet<String>,
    played: Played,
    way: Way,
}

impl Hand<'_> {
    /// Asks and looks until something was put right; not where nothing more is named.
    fn round(&mut self, vehicle: &mut VirtualVehicle) -> Result<bool, String> {
        let mut answers: Vec<Answer> = Vec::new();
        loop {
            if self.played.all_readings + self.played.looks >= MOST {
                return Ok(false);
            }
            let (next, named) = self.standing(&answers)?;
            if let Some(ask) = next {
                let (setting, open) = (self.position.setting, &self.position.open);
                self.played.all_effort += self.inquiry.asks.effort(&ask, setting, open);
                self.played.all_readings += 1;
                self.position = self.position.after(&self.inquiry.asks, &ask);
                // Where a relay chatters no meter shows a figure.
                let reply = vehicle.reply(&self.inquiry, &ask);
                let reply = reply.unwrap_or(Reply::NotPossible);
                answers.push(Answer { ask, reply });
                continue;
            }
            let first = self.played.looks == 0;
            if first {
                self.played.readings = self.played.all_readings;
                self.played.effort = self.played.all_effort;
            }
            if named.is_empty() {
                return Ok(false);
            }
            let found = self.look(&named);
            if first {
                self.played.first = found;
                let each = named.iter().take(4).map(|set| {
                    let set: Vec<String> = set.iter().map(ToString::to_string).collect();
                    set.join(" + ")
                });
                self.played.said = each.collect::<Vec<_>>().join(" or ");
            }
            if found {
                return Ok(true);
            }
            self.inquiry.looked(self.cleared.clone());
        }
    }

    /// The next ask, or else the causes that are named.
    fn standing(&mut self, answers: &[Answer]) -> Result<(Option<Ask>, Vec<Vec<Cause>>), String> {
        let weighed = self.inquiry.belief(answers)?;
        let inquiry = &self.inquiry;
        let barred: BTreeSet<Ask> = answers.iter().map(|it| it.ask).collect();
        let field = Field::new(&inquiry.asks, &inquiry.suspects, &weighed, &barred);
        let groups = field.groups(&weighed);
        let done = settled(&groups, answers.len());
        if !done && let Some(ask) = self.choose(&field) {
            return Ok((Some(ask), Vec::new()));
        }
        // Where nothing more is to be asked the likeliest group is looked at, decided or not.
        let first = groups.first();
        let sets = first.map_or_else(Vec::new, |group| sets(inquiry, group));
        let new = |set: &&[Cause]| set.iter().any(|it| !self.cleared.contains(&it.name()));
        let sets = sets.into_iter().filter(new);
        Ok((None, sets.map(<[Cause]>::to_vec).collect()))
    }

    /// Looks at one set after the other until something is found, and puts that right.
    fn look(&mut self, named: &[Vec<Cause>]) -> bool {
        for set in named {
            let mut found = false;
            for cause in set {
                self.played.looks += 1;
                self.played.all_effort += READING;
                let place = self.inquiry.asks.looked_at(self.inquiry.job, cause);
                if place.is_some_and(|place| self.position.open.insert(place)) {
                    self.played.all_effort += OPENING;
                }
                let before = self.wrong.len();
                self.wrong.retain(|it| !shows(it, cause));
                let there = self.wrong.len() < before;
                self.played.in_vain += usize::from(!there);
                self.cleared.insert(cause.name());
                found |= there;
            }
            if found {
                return true;
            }
        }
        false
    }

    fn choose(&self, field: &Field<'_>) -> Option<Ask> {
        let inquiry = &self.inquiry;
        let worth = || field.worth(&self.position).into_iter().map(|(_, it)| it);
        let on = on(inquiry, &self.failing);
        // By hand, one stays where the function should be on as long as that tells anything.
        let there = |ask: &Ask| ask.setting != on;
        match self.way {
            Way::Ours => field.best(&self.position).map(|it| it.ask),
            Way::PlanOrder => worth()
                .map(|it| it.ask)
                .min_by_key(|ask| (there(ask), *ask)),
            Way::HalfSplit => {
                let even = vec![1.0; field.members.len()];
                let half = |ask: &Ask| {
                    let at = belief::number(&inquiry.asks, ask).unwrap_or(0);
                    let forecasts: Vec<_> = field
                        .members
                        .iter()
                        .filter_map(|it| inquiry.suspects.get(*it)?.forecasts.get(at).copied())
                        .collect();
                    let classes = Answers::new(ask.what, &forecasts).split(&even);
                    let most = classes.iter().map(|class| class.iter().sum::<f64>());
                    most.fold(0.0, f64::max)
                };
                let halves = worth().map(|it| (it.ask, half(&it.ask)));
                let best = halves.min_by(|(a, own), (b, other)| {
                    there(a).cmp(&there(b)).then(own.total_cmp(other))
                });
                best.map(|(ask, _)| ask)
            }
        }
    }
}

/// Whether somebody who looks for `sought` sees `wrong`: it is at the same place (cavity,
/// tap, lead, part), or a lead that touches another is seen from either.
fn shows(wrong: &Cause, sought: &Cause) -> bool {
    let with = |one: &Cause, other: &Cause| {
        let touched = one.to_string();
        touched.ends_with(&format!("with={}", other.place()))
    };
    wrong.place() == sought.place() || with(wrong, sought) || with(sought, wrong)
}

/// The state in which a failing function is to be on.
fn on(inquiry: &Inquiry<'_>, failing: &[usize]) -> usize {
    let mut settings = inquiry.asks.on.iter();
    let on = settings.position(|on| {
        failing
            .first()
            .is_some_and(|at| on.get(*at).copied().flatten() == Some(true))
    });
    on.unwrap_or(0)
}
