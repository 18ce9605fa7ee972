//! Review of a plan as an electrical design, before anyone crimps.
//!
//! The plan is split into parts that share no wire ([`parts`]); each part is
//! resolved in every combination of the options that concern it, made a
//! powered network ([`network`]), and solved with core's nodal solver in every
//! state of its switches and relays ([`states`]). The rules ([`rules`]) look
//! at what comes out. `docs/review.md` lists them.

pub mod combinations;
pub mod covering;
pub mod elements;
pub mod finding;
pub mod islands;
pub mod network;
pub mod part;
pub mod parts;
pub mod peaks;
pub mod report;
pub mod route;
pub mod rules;
pub mod states;
pub mod text;
mod vehicle;
pub mod wire;

use std::collections::{BTreeMap, HashMap};

use crate::plan::model::Job;
use crate::plan::{Plan, Problem};

pub use finding::{Finding, Level};
pub use report::Review;

use combinations::Combinations;
use part::{Networks, Part};
use report::{StatesLine, VariantsLine};
use rules::current::LeadLine;
use rules::sides::Crossed;
use rules::structure::{NOT_PROVED, NOTHING_PLUGGED};

/// How much is looked at.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Answers that are given; every other option takes each of its values.
    pub fixed: BTreeMap<String, String>,
    /// Most combinations of switches in one cluster; past that a covering set.
    pub most_states: usize,
}

/// Combinations of switches that are all looked at unless said otherwise.
pub const MOST_STATES: usize = 1 << 16;

impl Default for Settings {
    fn default() -> Self {
        Self {
            fixed: BTreeMap::new(),
            most_states: MOST_STATES,
        }
    }
}

/// What the rules found in one part in one combination of options.
struct Looked {
    findings: Vec<Finding>,
    crossed: Vec<Crossed>,
    leads: Vec<LeadLine>,
    states: StatesLine,
}

/// Reviews a plan.
///
/// # Errors
/// What is wrong with the plan in some variant; the messages name the answers
/// that lead there.
pub fn review(plan: &Plan, settings: &Settings) -> Result<Review, Vec<Problem>> {
    let mut problems: Vec<Problem> = Vec::new();
    let mut findings = Vec::new();
    let mut crossed = Vec::new();
    let mut leads: Vec<LeadLine> = Vec::new();
    let mut states = StatesLine::default();
    let mut variants = VariantsLine {
        variants: u64::try_from(combinations::count(plan, &settings.fixed)).unwrap_or(u64::MAX),
        complete: true,
        ..VariantsLine::default()
    };
    // Answers that are wrong by themselves.
    let mut answers: BTreeMap<String, String> = plan
        .options()
        .iter()
        .filter_map(|option| Some((option.name.clone(), option.choices.first()?.clone())))
        .collect();
    answers.extend(settings.fixed.clone());
    if plan.known_answers(&answers).is_err() {
        return Err(plan.resolve(&answers).err().unwrap_or_default());
    }
    empty_variants(plan, settings, &mut problems);
    for (part, combinations) in parts::split(plan, &settings.fixed) {
        variants.parts += 1;
        variants.complete &= combinations.complete;
        let mut gathered = Gathered::default();
        for (answers, told) in combinations.answers.iter().zip(&combinations.told) {
            variants.looked_at += 1;
            match part.resolve_part(answers) {
                Ok(job) => {
                    let looked = look(&job, settings.most_states);
                    states.add(&looked.states);
                    gathered.add(looked, told);
                }
                Err(found) => {
                    for problem in found {
                        let same = |it: &Problem| it.at.is_some() && it.at == problem.at;
                        if !problems.iter().any(same) {
                            problems.push(problem);
                        }
                    }
                }
            }
        }
        gathered.finish(&combinations, &mut findings, &mut crossed, &mut leads);
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    rules::sides::report(&crossed, &mut findings);
    rules::colours::check(plan, &settings.fixed, &mut findings);
    places(&mut findings);
    findings.sort_by(|a, b| (a.level, a.rule, &a.place).cmp(&(b.level, b.rule, &b.place)));
    Ok(Review::new(
        plan, settings, variants, states, leads, findings,
    ))
}

/// Makes one note of the places of several parts of which the plan says
/// nothing.
fn places(findings: &mut Vec<Finding>) {
    for rule in [NOT_PROVED, NOTHING_PLUGGED] {
        let (own, others) = std::mem::take(findings)
            .into_iter()
            .partition(|it| it.rule == rule);
        *findings = others;
        let mut merged: Vec<Finding> = Vec::new();
        let own: Vec<Finding> = own;
        for finding in own {
            match merged.iter_mut().find(|it| it.variants == finding.variants) {
                Some(known) => {
                    let place = sorted(&format!("{}, {}", known.place, finding.place));
                    known.say = rules::structure::words(rule, &place);
                    known.place = place;
                }
                None => merged.push(finding),
            }
        }
        findings.extend(merged);
    }
}

/// Cavities by connector and number.
fn sorted(places: &str) -> String {
    let mut places: Vec<&str> = places.split(", ").collect();
    places.sort_by_key(|place| {
        let (name, cavity) = place.split_once(':').unwrap_or((place, ""));
        (name, cavity.parse::<u16>().unwrap_or(0))
    });
    places.join(", ")
}

/// Findings of one part over its combinations.
#[derive(Default)]
struct Gathered {
    findings: Vec<Finding>,
    at: HashMap<(String, String, String, String), usize>,
    crossed: Vec<Crossed>,
    leads: Vec<LeadLine>,
}

impl Gathered {
    fn add(&mut self, looked: Looked, told: &BTreeMap<String, String>) {
        for mut finding in looked.findings {
            let (rule, place, say, fix) = finding.key();
            let key = (
                rule.to_owned(),
                place.to_owned(),
                say.to_owned(),
                fix.to_owned(),
            );
            if let Some(&at) = self.at.get(&key) {
                self.findings[at].variants.push(told.clone());
            } else {
                finding.variants = vec![told.clone()];
                self.at.insert(key, self.findings.len());
                self.findings.push(finding);
            }
        }
        for mut crossed in looked.crossed {
            match self.crossed.iter_mut().find(|it| it.say == crossed.say) {
                Some(known) => known.variants.push(told.clone()),
                None => {
                    crossed.variants = vec![told.clone()];
                    self.crossed.push(crossed);
                }
            }
        }
        for line in looked.leads {
            match self.leads.iter_mut().find(|it| it.lead == line.lead) {
                Some(known) if known.amperes >= line.amperes => {}
                Some(known) => *known = line,
                None => self.leads.push(line),
            }
        }
    }

    fn finish(
        mut self,
        combinations: &Combinations,
        findings: &mut Vec<Finding>,
        crossed: &mut Vec<Crossed>,
        leads: &mut Vec<LeadLine>,
    ) {
        for finding in &mut self.findings {
            let variants = std::mem::take(&mut finding.variants);
            // A combination can find the same twice, in two of its states.
            let unique: std::collections::BTreeSet<_> = variants.into_iter().collect();
            finding.variants =
                combinations::simplest(unique.into_iter().collect(), &combinations.told);
        }
        for it in &mut self.crossed {
            it.variants =
                combinations::simplest(std::mem::take(&mut it.variants), &combinations.told);
        }
        findings.extend(self.findings);
        crossed.extend(self.crossed);
        leads.extend(self.leads);
    }
}

/// All rules on one job.
fn look(job: &Job, most_states: usize) -> Looked {
    let mut found = Vec::new();
    let mut crossed = Vec::new();
    let networks = Networks::new(job);
    let mut part = Part::new(job, &networks, most_states);
    rules::structure::check(job, &mut found);
    rules::functions::check(&part, &mut found);
    rules::sides::crossed(job, part.with.network, &mut crossed);
    let structural = found.len();
    rules::sneak::check(&mut part, &mut found);
    let mut peaks = peaks::peaks(&mut part);
    rules::fuses::shorts(&mut part, &mut peaks, &mut found);
    rules::current::check(&part, &peaks, &mut found);
    rules::fuses::check(&mut part, &peaks, &mut found);
    rules::relays::check(&mut part, &peaks, &mut found);
    rules::outputs::check(&part, &peaks, &mut found);
    if let Some(trouble) = part.with.trouble {
        // What was computed beside it is not to be trusted.
        found.truncate(structural);
        let say = format!(
            "Some state could not be computed ({trouble:?}); what it would show is not known."
        );
        let fix = "look for a value that cannot be right, such as a very small resistance; or split the plan into two jobs";
        let source = finding::source::COMPUTED;
        found.push(Finding::new(
            "not-computed",
            Level::Wrong,
            source,
            "plan",
            say,
            fix,
        ));
    }
    Looked {
        leads: rules::current::lines(&part, &peaks),
        states: StatesLine::of(&part),
        findings: found,
        crossed,
    }
}

/// Variants in which no lead is left.
fn empty_variants(plan: &Plan, settings: &Settings, problems: &mut Vec<Problem>) {
    let leads = &plan.lists.leads;
    let conditions: Option<Vec<_>> = leads.iter().map(|lead| lead.when.as_ref()).collect();
    let Some(conditions) = conditions else { return };
    let universe = combinations::concerning(plan, &conditions, &settings.fixed);
    for answers in &universe.answers {
        let values = plan.known_values(answers);
        if !conditions
            .iter()
            .any(|condition| condition.expression.holds(&values))
        {
            problems.extend(plan.resolve(answers).err().unwrap_or_default());
            return;
        }
    }
}
