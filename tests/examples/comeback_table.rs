//! How many readings a comeback takes, beside other ways to look: writes the page.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use clap::Parser;
use loomproof::plan::Plan;
use loomproof::plan::model::Job;
use loomproof::powered::Cause;
use loomproof_tests::comebacks::{Played, WAYS, Workshop, causes_of, play, small};
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
        "On commit `{}`: {} of each plan, {} pairs drawn, {} small cases.\n",
        checked_out(),
        match args.every {
            0 | 1 => "every single fault".to_owned(),
            every => format!("every {every}th single fault"),
        },
        args.pairs,
        args.small
    );
    page.push_str(
        "| plan | faults in the vehicle | way | vehicles | readings until a cause is named, mean \
         | 95 % | their effort, mean | 95 % | what is named first is there | looks in vain, mean \
         | effort until all works, mean | 95 % | all works in the end |\n\
         |---|---|---|---|---|---|---|---|---|---|---|---|---|\n",
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
        let workshop = Workshop::new(&job);
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
            let went = every(&job, &workshop, &vehicles, args.threads)?;
            for causes in vehicles.iter().filter(|_| sort == "one") {
                if ratios.len() < args.small {
                    ratios.extend(small(&workshop, causes)?);
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
fn every(
    job: &Job,
    workshop: &Workshop<'_>,
    vehicles: &[Vec<Cause>],
    threads: usize,
) -> Result<Vec<Vec<Played>>, String> {
    let next = AtomicUsize::new(0);
    let went: Mutex<Vec<Vec<Played>>> = Mutex::new(WAYS.iter().map(|_| Vec::new()).collect());
    let work = || -> Result<(), String> {
        while let Some(causes) = vehicles.get(next.fetch_add(1, Ordering::Relaxed)) {
            let Some((_, inquiry, failing)) = workshop.come_back(causes)? else {
                continue;
            };
            let each = WAYS
                .iter()
                .map(|(way, _)| play(job, causes, &inquiry, &failing, *way));
            let each: Option<Vec<Played>> = each.collect::<Result<_, _>>()?;
            let Some(each) = each else { continue };
            let ours = each.first().filter(|it| !(it.first && it.works));
            if let Some(ours) = ours {
                let causes: Vec<String> = causes.iter().map(ToString::to_string).collect();
                let how = if ours.works {
                    "found later"
                } else {
                    "not found"
                };
                eprintln!(
                    "{how}: {}: first {}, {} looks",
                    causes.join(" + "),
                    ours.said,
                    ours.looks
                );
            }
            let mut went = went.lock().map_err(|error| error.to_string())?;
            for (all, own) in went.iter_mut().zip(each) {
                all.push(own);
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
aside, the place that halves the number of suspects best. Where a cause or a group of causes is \
named, or nothing more can be asked and one is the likeliest, somebody looks at each of it (effort 1, and 10 where the place is closed). What is not \
so is told, and the asking goes on; what is found is put right, every function is tried again, \
and if one still fails the asking begins anew, with what was opened still open. It ends when \
every function works, when nothing more is named, or after 60 readings and looks. Every fault \
counts the same here, however rare it is by its prior: where two explain the answers, the \
commoner one is named first. Vehicles in which what is named first is not there are told on \
standard error.

";

/// Mean and 95th percentile.
fn figures(mut values: Vec<f64>) -> (f64, f64) {
    values.sort_by(f64::total_cmp);
    let count = values.len().max(1);
    let mean = values.iter().sum::<f64>() / count as f64;
    let at = (count * 95).div_ceil(100).saturating_sub(1);
    (mean, values.get(at).copied().unwrap_or(0.0))
}

fn row(went: &[Played]) -> String {
    let count = went.len();
    if count == 0 {
        return "| 0 | | | | | | | | | |".to_owned();
    }
    let of = |value: &dyn Fn(&Played) -> f64| figures(went.iter().map(value).collect());
    let readings = of(&|it| it.readings as f64);
    let effort = of(&|it| it.effort);
    let in_vain = of(&|it| it.in_vain as f64);
    let all = of(&|it| it.all_effort);
    let share = |of: &dyn Fn(&Played) -> bool| {
        100.0 * went.iter().filter(|it| of(it)).count() as f64 / count as f64
    };
    format!(
        "| {count} | {:.1} | {:.0} | {:.1} | {:.1} | {:.0} % | {:.1} | {:.1} | {:.1} | {:.0} %",
        readings.0,
        readings.1,
        effort.0,
        effort.1,
        share(&|it| it.first),
        in_vain.0,
        all.0,
        all.1,
        share(&|it| it.works)
    )
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
