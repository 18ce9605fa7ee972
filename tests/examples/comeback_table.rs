//! How many readings a comeback takes, beside other ways to look: writes the page.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use clap::Parser;
use loomproof::bench::Settings;
use loomproof::comeback::next::settled;
use loomproof::comeback::split::Answers;
use loomproof::comeback::{Answer, Ask, Field, Inquiry, Position, VirtualVehicle, belief};
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::powered::Cause;
use loomproof_tests::comebacks::{causes_of, come_back, small};
use loomproof_tests::commit::checked_out;
use rand::SeedableRng;
use rand::seq::IndexedRandom as _;
use rand_chacha::ChaCha8Rng;

/// Lets virtual vehicles come back and counts readings and effort to the answer.
#[derive(Debug, Parser)]
struct Args {
    /// Writes the page to this file.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// Every so-manyth single fault of each plan.
    #[arg(long, default_value_t = 1)]
    every: usize,
    /// Pairs of faults, over all plans.
    #[arg(long, default_value_t = 500)]
    pairs: usize,
    /// Small cases for the optimum.
    #[arg(long, default_value_t = 30)]
    small: usize,
    /// Vehicles that are looked at at the same time.
    #[arg(long, default_value_t = 2)]
    threads: usize,
}

/// Plan and answers of its options.
const PLANS: [(&str, &[(&str, &str)]); 3] = [
    ("bakery-van", &[]),
    (
        "bakery-van",
        &[("second-battery", "yes"), ("rear-door", "sliding")],
    ),
    ("socket-13-pin", &[]),
];

/// Ways to choose the next ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    Ours,
    PlanOrder,
    HalfSplit,
}

const WAYS: [(Way, &str); 3] = [
    (Way::Ours, "comeback"),
    (Way::PlanOrder, "(a) plan order"),
    (Way::HalfSplit, "(b) half-split by hand"),
];

/// More asks than this are given up.
const MOST: usize = 60;

/// How one vehicle went.
struct Went {
    readings: usize,
    effort: f64,
    right: bool,
    /// What the answer names is wrong in the vehicle, if not everything that is.
    there: bool,
    settled: bool,
    /// The answer.
    said: String,
}

fn main() -> ExitCode {
    match run(&Args::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            ExitCode::from(2)
        }
    }
}

fn run(args: &Args) -> Result<(), String> {
    let mut page = String::from(HEAD);
    let _ = writeln!(
        page,
        "On commit `{}`: every {}th single fault of each plan, {} pairs drawn, {} small cases.\n",
        checked_out(),
        args.every,
        args.pairs,
        args.small
    );
    page.push_str(
        "| plan | faults in the vehicle | way | vehicles | readings, mean | 95 % | effort, mean \
         | 95 % | the fault is in the answer | what is named is there | settled |\n\
         |---|---|---|---|---|---|---|---|---|---|---|\n",
    );
    let mut ratios = Vec::new();
    for (name, answers) in PLANS {
        let plan = Plan::load(format!("fixtures/plans/{name}.toml").as_ref());
        let plan = plan.map_err(|error| error.render(false))?;
        let mut given = answers
            .iter()
            .map(|(option, value)| ((*option).to_owned(), (*value).to_owned()))
            .collect();
        let open = plan.unanswered(&given);
        for question in open {
            let value = question
                .default
                .clone()
                .or(question.choices.first().cloned());
            let _ = std::collections::BTreeMap::insert(
                &mut given,
                question.name.clone(),
                value.unwrap_or_default(),
            );
        }
        let job = plan
            .resolve(&given)
            .map_err(|problems| plan.render(&problems, false))?;
        let label = answers
            .iter()
            .map(|(option, value)| format!(" {option}={value}"));
        let label = format!("{name}{}", label.collect::<String>());
        let all = causes_of(&job)?;
        let singles: Vec<Vec<Cause>> = all
            .iter()
            .step_by(args.every.max(1))
            .map(|it| vec![it.clone()])
            .collect();
        let mut chance = ChaCha8Rng::seed_from_u64(7);
        let pairs: Vec<Vec<Cause>> = (0..args.pairs / PLANS.len())
            .map(|_| all.sample(&mut chance, 2).cloned().collect())
            .collect();
        for (sort, vehicles) in [("one", singles), ("two", pairs)] {
            let went = every(&job, &vehicles, args.threads)?;
            for causes in vehicles.iter().filter(|_| sort == "one") {
                if ratios.len() < args.small {
                    ratios.extend(small(&job, causes)?);
                }
            }
            for ((_, way), went) in WAYS.iter().zip(&went) {
                let _ = writeln!(page, "| {label} | {sort} | {way} {} |", row(went));
            }
            eprintln!("{label} {sort}: {} vehicles", vehicles.len());
        }
    }
    optimum(&mut page, &ratios);
    match &args.write {
        Some(file) => std::fs::write(file, page).map_err(|error| error.to_string()),
        None => {
            print!("{page}");
            Ok(())
        }
    }
}

/// How each vehicle goes, way by way.
fn every(job: &Job, vehicles: &[Vec<Cause>], threads: usize) -> Result<Vec<Vec<Went>>, String> {
    let next = AtomicUsize::new(0);
    let went: Mutex<Vec<Vec<Went>>> = Mutex::new(WAYS.iter().map(|_| Vec::new()).collect());
    let work = || -> Result<(), String> {
        while let Some(causes) = vehicles.get(next.fetch_add(1, Ordering::Relaxed)) {
            let Some((_, inquiry, failing)) = come_back(job, causes)? else {
                continue;
            };
            for (at, (way, _)) in WAYS.iter().enumerate() {
                let vehicle = VirtualVehicle::new(job, causes, &Settings::default());
                let vehicle = vehicle.map_err(|error| error.to_string())?;
                let one = one(vehicle, inquiry.clone(), (&failing, causes), *way)?;
                if !one.right && *way == Way::Ours {
                    let causes: Vec<String> = causes.iter().map(ToString::to_string).collect();
                    eprintln!("not in the answer: {}: {}", causes.join(" + "), one.said);
                }
                let mut went = went.lock().map_err(|error| error.to_string())?;
                if let Some(all) = went.get_mut(at) {
                    all.push(one);
                }
            }
        }
        Ok(())
    };
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(work)).collect();
        for worker in workers {
            worker
                .join()
                .map_err(|_| "a vehicle panicked".to_owned())??;
        }
        Ok::<(), String>(())
    })?;
    went.into_inner().map_err(|error| error.to_string())
}

const HEAD: &str = "\
# Comebacks: readings to the answer

Written by the example `comeback_table`. Virtual vehicles with one or two faults come back; the \
truth is the powered bench (tolerances, meter noise ±0.05 V), never the model that asks. Counted \
are vehicles in which a function fails. Effort: 1 a reading or look, 0.5 a switch moved, 10 a \
place opened (common practice); every place is closed at the start. All ways stop by the same \
rule and weigh suspects the same way; they differ in what they ask next: (a) goes through the \
places in the order of the plan, with the failing function on; (b) takes, effort and odds \
aside, the place that halves the number of suspects best. The fault is in the answer if it, or \
one that nothing that can be asked tells from it, is in the first group; of two faults both \
have to be in it, as one set. What is named is there if a set of the first group has nothing in \
it that is not wrong in the vehicle: of two faults one may be named, and the other is found when \
the repaired vehicle is asked about again. Vehicles in which the fault is not in the answer are \
told on standard error. Every fault counts the same here, however rare it is by its prior: where \
two explain the answers, the rarer one is not named.

";

fn row(went: &[Went]) -> String {
    let count = went.len();
    if count == 0 {
        return "| 0 | | | | | | |".to_owned();
    }
    let figures = |values: Vec<f64>| {
        let mut values = values;
        values.sort_by(f64::total_cmp);
        let mean = values.iter().sum::<f64>() / count as f64;
        let at = (count * 95).div_ceil(100).saturating_sub(1);
        (mean, values.get(at).copied().unwrap_or(0.0))
    };
    let readings = figures(went.iter().map(|it| it.readings as f64).collect());
    let effort = figures(went.iter().map(|it| it.effort).collect());
    let share = |of: &dyn Fn(&Went) -> bool| {
        100.0 * went.iter().filter(|it| of(it)).count() as f64 / count as f64
    };
    format!(
        "| {count} | {:.1} | {:.0} | {:.1} | {:.1} | {:.0} % | {:.0} % | {:.0} %",
        readings.0,
        readings.1,
        effort.0,
        effort.1,
        share(&|it| it.right),
        share(&|it| it.there),
        share(&|it| it.settled)
    )
}

fn one(
    mut vehicle: VirtualVehicle,
    mut inquiry: Inquiry<'_>,
    (failing, wrong): (&[usize], &[Cause]),
    way: Way,
) -> Result<Went, String> {
    // Used as when it was told what fails: what blows a fuse has blown it.
    let used = vehicle.symptoms(&inquiry);
    used.map_err(|error| error.to_string())?;
    let mut answers: Vec<Answer> = Vec::new();
    let mut position = Position::default();
    let mut effort = 0.0;
    loop {
        let weighed = inquiry.belief(&answers)?;
        let barred: BTreeSet<Ask> = answers.iter().map(|it| it.ask).collect();
        let (done, next, there, said) = {
            let field = Field::new(&inquiry.asks, &inquiry.suspects, &weighed, &barred);
            let groups = field.groups(&weighed);
            let done = settled(&groups, answers.len());
            let next = if done || answers.len() >= MOST {
                None
            } else {
                choose(&inquiry, &field, &position, way, failing)
            };
            let first = groups.first().map_or(&[][..], |group| &group.members);
            let said = first
                .iter()
                .filter_map(|at| inquiry.suspects.get(*at))
                .take(4);
            let said = said.map(|it| {
                let causes: Vec<String> = it.causes.iter().map(ToString::to_string).collect();
                causes.join(" + ")
            });
            let said = said.collect::<Vec<_>>().join(" or ");
            let named = first.iter().filter_map(|at| inquiry.suspects.get(*at));
            // The most causes of a set of which each is there.
            let there = named.filter_map(|suspect| {
                let there = |own: &Cause| wrong.iter().any(|it| it.name() == own.name());
                (suspect.causes.iter().all(there)).then_some(suspect.causes.len())
            });
            (done, next, there.max().unwrap_or(0), said)
        };
        let Some(ask) = next else {
            return Ok(Went {
                readings: answers.len(),
                effort,
                right: there == wrong.len(),
                there: there > 0,
                settled: done,
                said,
            });
        };
        effort += inquiry.asks.effort(&ask, position.setting, &position.open);
        position = position.after(&inquiry.asks, &ask);
        let reply = vehicle
            .reply(&inquiry, &ask)
            .map_err(|error| error.to_string())?;
        answers.push(Answer { ask, reply });
    }
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

fn choose(
    inquiry: &Inquiry<'_>,
    field: &Field<'_>,
    position: &Position,
    way: Way,
    failing: &[usize],
) -> Option<Ask> {
    let worth = || field.worth(position).into_iter().map(|(_, it)| it);
    let on = on(inquiry, failing);
    // By hand, one stays where the function should be on as long as that tells anything.
    let there = |ask: &Ask| ask.setting != on;
    match way {
        Way::Ours => field.best(position).map(|it| it.ask),
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
            worth()
                .map(|it| it.ask)
                .min_by(|a, b| there(a).cmp(&there(b)).then(half(a).total_cmp(&half(b))))
        }
    }
}

fn optimum(page: &mut String, ratios: &[(f64, f64)]) {
    let _ = writeln!(
        page,
        "\n## Beside the optimum\n\nSmall cases: the six most probable groups of a vehicle and \
         seven asks, at most two a place; (c) is the least expected effort over all orders of \
         asks, worked out exhaustively.\n"
    );
    let count = ratios.len();
    if count == 0 {
        page.push_str("No case.\n");
        return;
    }
    let ours: f64 = ratios.iter().map(|it| it.0).sum::<f64>() / count as f64;
    let best: f64 = ratios.iter().map(|it| it.1).sum::<f64>() / count as f64;
    let worst = ratios.iter().map(|it| it.0 / it.1).fold(0.0, f64::max);
    let _ = writeln!(
        page,
        "| cases | comeback, mean effort | (c) optimum, mean effort | ratio of means | worst case \
         |\n|---|---|---|---|---|\n| {count} | {ours:.2} | {best:.2} | {:.3} | {worst:.2} |",
        ours / best
    );
}
