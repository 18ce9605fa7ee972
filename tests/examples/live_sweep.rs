//! Everything that can be wrong with the battery on, at every place of the fixtures:
//! what shows, and whether it is named. Writes the page.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use clap::Parser;
use loomproof_tests::commit::checked_out;
use loomproof_tests::live_sweep::{Counts, Named, Site, Tried, by_kind};

/// Puts one fault after the other into powered virtual vehicles and checks them live.
#[derive(Debug, Parser)]
struct Args {
    /// Writes the page to this file.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// Every so-manyth of all faults.
    #[arg(long, default_value_t = 1)]
    every: usize,
    /// Only this kind.
    #[arg(long)]
    kind: Option<String>,
    /// Only this fixture.
    #[arg(long)]
    plan: Option<String>,
    /// Checks that go on at the same time.
    #[arg(long, default_value_t = 2)]
    threads: usize,
}

/// The fixtures that have something to switch on.
const PLANS: [&str; 3] = ["bakery-van", "socket-13-pin", "smallest"];

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
    let commit = checked_out();
    let mut all = Vec::new();
    for plan in PLANS {
        if args.plan.as_ref().is_none_or(|wanted| wanted == plan) {
            all.extend(sweep(plan, args)?);
        }
    }
    let page = page(&all, &commit, args);
    match &args.write {
        Some(file) => std::fs::write(file, page).map_err(|error| error.to_string()),
        None => {
            print!("{page}");
            Ok(())
        }
    }
}

/// All faults of one fixture, in the catalogue's order.
fn sweep(plan: &'static str, args: &Args) -> Result<Vec<Tried>, String> {
    let wrong: Vec<_> = Site::of(plan)?
        .all()
        .into_iter()
        .filter(|it| args.kind.as_ref().is_none_or(|kind| it.0.kind() == kind))
        .step_by(args.every.max(1))
        .collect();
    let count = wrong.len();
    let next = AtomicUsize::new(0);
    let found: Mutex<Vec<(usize, Tried)>> = Mutex::default();
    let work = || -> Result<(), String> {
        // Not to be shared: each of the checks' own circuits has its scratch.
        let site = Site::of(plan)?;
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(wrong) = wrong.get(at) else {
                return Ok(());
            };
            let tried = site
                .tried(wrong)
                .map_err(|error| format!("{plan} {}: {error}", wrong.0))?;
            if tried.shows && !matches!(tried.named, Named::Itself) {
                eprintln!(
                    "{plan} {}: {:?}: {}",
                    tried.spelled, tried.named, tried.said
                );
            }
            let mut found = found.lock().map_err(|error| error.to_string())?;
            found.push((at, tried));
            if found.len().is_multiple_of(50) {
                eprintln!("{plan}: {} of {count}", found.len());
            }
        }
    };
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..args.threads.max(1))
            .map(|_| scope.spawn(work))
            .collect();
        for worker in workers {
            worker.join().map_err(|_| "a check panicked".to_owned())??;
        }
        Ok::<(), String>(())
    })?;
    let mut found = found.into_inner().map_err(|error| error.to_string())?;
    found.sort_by_key(|(at, _)| *at);
    Ok(found.into_iter().map(|(_, tried)| tried).collect())
}

fn page(all: &[Tried], commit: &str, args: &Args) -> String {
    let mut page = format!(
        "# Faults found with the battery on\n\nWritten on commit `{commit}` by the example \
         `live_sweep`: {} of what the catalogue of faults and the bench of powered vehicles \
         know for the fixtures {}, one at a time, put into the powered bench (tolerances, noise) \
         and checked by `live` through the firmware and its frames. Left out: the \
         operator's own clips, and joints that open now and then (`wiggle`, \
         [wiggle.md](wiggle.md)).\n\n\
         *Shows*: some voltage or rhythm is off. What does not show changes nothing that the \
         clips of that hook-up can see with the battery on; the dead test looks at most of it. \
         *Named*: by kind and place in the best group, or the best group holds one that \
         shows the same on the bench at every point in every step (*alike*: to 0.15 V).\n\n\
         | kind | tried | shows | named | of these alike | share | groups > 1 | largest group |\n\
         |---|---:|---:|---:|---:|---:|---:|---:|\n",
        match args.every {
            0 | 1 => "everything".to_owned(),
            every => format!("every {every}th"),
        },
        PLANS.map(|plan| format!("`{plan}`")).join(", ")
    );
    let mut total = Counts::default();
    for (kind, counts) in by_kind(all) {
        row(&mut page, kind, &counts);
        total.tried += counts.tried;
        total.shows += counts.shows;
        total.named += counts.named;
        total.alike += counts.alike;
        total.larger += counts.larger;
        total.largest = total.largest.max(counts.largest);
    }
    row(&mut page, "**all**", &total);
    page.push_str("\n## Not named\n\n");
    let missed: Vec<&Tried> = all
        .iter()
        .filter(|it| it.shows && matches!(it.named, Named::Other | Named::Unexplained))
        .collect();
    if missed.is_empty() {
        page.push_str("None.\n");
    }
    for one in missed {
        let said = if one.said.is_empty() {
            "no cause found; said to be undecided".to_owned()
        } else {
            format!("said: `{}`", one.said)
        };
        let _ = writeln!(page, "- {}: `{}`: {said}", one.site, one.spelled);
    }
    let mut chatters = all
        .iter()
        .filter(|it| it.named == Named::Chatters)
        .peekable();
    if chatters.peek().is_some() {
        page.push_str(
            "\n## Not played\n\nA relay's pulling in takes away what holds it: it would \
             chatter, for which the bench has no state of rest.\n\n",
        );
    }
    for one in chatters {
        let _ = writeln!(page, "- {}: `{}`", one.site, one.spelled);
    }
    page
}

fn row(page: &mut String, kind: &str, counts: &Counts) {
    let share = if counts.shows == 0 {
        "–".to_owned()
    } else {
        format!("{:.1} %", 100.0 * counts.named as f64 / counts.shows as f64)
    };
    let _ = writeln!(
        page,
        "| {kind} | {} | {} | {} | {} | {share} | {} | {} |",
        counts.tried, counts.shows, counts.named, counts.alike, counts.larger, counts.largest
    );
}
