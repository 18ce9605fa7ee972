//! Generated plans are plans like any other.

use std::collections::{BTreeMap, BTreeSet};

use loomproof::circuit::build;
use loomproof::fault::catalogue;
use loomproof::hookup::propose;
use loomproof::plan::model::{End, Job};
use loomproof::plan::{read, render};
use loomproof_core::wire::Place;
use loomproof_tests::campaign::site::{Source, generated, hook_up};
use loomproof_tests::generator::{Form, LEAST_POINTS, MOST_POINTS, Recipe};
use proptest::prelude::*;

fn job(recipe: Recipe) -> Job {
    let text = recipe.text();
    let plan = read("drawn", &text)
        .unwrap_or_else(|problems| panic!("{}", render(&problems, "drawn", &text, false)));
    plan.resolve(&BTreeMap::new())
        .unwrap_or_else(|problems| panic!("{}", plan.render(&problems, false)))
}

/// Points on the bench that have to be touched: terminals, taps and rings.
fn points(job: &Job) -> usize {
    let ends = job.leads.iter().flat_map(|lead| [&lead.from, &lead.to]);
    let cavities = ends.filter(|end| matches!(end, End::Cavity(..))).count();
    cavities + job.taps.len() + job.rings.len()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Any seed and size gives a plan that is read without a problem, has the
    /// points asked for, a hook-up and a circuit.
    #[test]
    fn any_seed_gives_a_plan(
        seed in any::<u64>(),
        size in LEAST_POINTS..=MOST_POINTS,
        vehicle in any::<bool>(),
    ) {
        let form = if vehicle { Form::Vehicle } else { Form::Bench };
        let recipe = Recipe { seed, points: size, form };
        prop_assert_eq!(Recipe::of_name(&recipe.name()), Some(recipe));
        prop_assert_eq!(recipe.text(), recipe.text());
        let job = job(recipe);
        prop_assert_eq!(points(&job), usize::from(size));
        let mut places = vec![Place::Bench];
        places.extend(vehicle.then_some(Place::Vehicle));
        for place in places {
            let (leads, hookup) = hook_up(&job, place, 16).unwrap();
            prop_assert!(hookup.clips.len() <= usize::from(leads));
            build(&job, &hookup).unwrap();
            prop_assert!(!catalogue::all(&job, &hookup).is_empty());
        }
        prop_assert_eq!(vehicle, !job.taps.is_empty());
    }
}

/// The campaign's generated harnesses: at least 30, all different, half of
/// them in the vehicle, from the least to the most points, with everything
/// that a harness is made of.
#[test]
fn the_campaign_has_all_sorts() {
    let recipes: Vec<Recipe> = generated(1)
        .map(|site| match site.source {
            Source::Drawn(recipe) => recipe,
            Source::Fixture(name) => panic!("{name} is not generated"),
        })
        .collect();
    assert!(recipes.len() >= 30);
    let vehicle = recipes.iter().filter(|r| r.form == Form::Vehicle).count();
    assert_eq!(vehicle * 2, recipes.len());
    let sizes: BTreeSet<u16> = recipes.iter().map(|r| r.points).collect();
    assert_eq!(sizes.first(), Some(&LEAST_POINTS));
    assert_eq!(sizes.last(), Some(&MOST_POINTS));
    let jobs: Vec<Job> = recipes.iter().map(|recipe| job(*recipe)).collect();
    let wirings: BTreeSet<String> = jobs.iter().map(|job| format!("{:?}", job.leads)).collect();
    assert_eq!(wirings.len(), jobs.len(), "no two are wired alike");
    let sum = |count: fn(&Job) -> usize| jobs.iter().map(count).sum::<usize>();
    let leads = sum(|job| job.leads.len());
    let most = [
        ("splices", sum(|job| job.splices.len())),
        ("relays", sum(|job| job.relays.len())),
        ("diodes", sum(|job| job.diodes.len())),
        ("lamps", sum(|job| job.lamps.len())),
        ("fuses", sum(|job| job.fuses.len())),
        ("plugs", sum(|job| job.plugs.len())),
        ("taps", sum(|job| job.taps.len())),
        ("rings", sum(|job| job.rings.len())),
        (
            "caps",
            sum(|job| job.leads.iter().filter(|l| l.to == End::Cap).count()),
        ),
    ];
    println!("{leads} leads, {most:?}");
    for (what, count) in most {
        // The fixtures have one for every 5 to 40 leads.
        assert!(
            count * 60 >= leads && count * 3 <= leads,
            "{count} {what} for {leads} leads"
        );
    }
}

/// Every seed draws another harness.
#[test]
fn seeds_differ() {
    let text = |seed| {
        let recipe = Recipe {
            seed,
            points: 24,
            form: Form::Bench,
        };
        recipe.text().split_once('\n').unwrap().1.to_owned()
    };
    let texts: BTreeSet<String> = (0..50).map(text).collect();
    assert_eq!(texts.len(), 50);
    let job = job(Recipe {
        seed: 1,
        points: 64,
        form: Form::Bench,
    });
    assert!(propose(&job, Place::Bench, 64).is_ok());
}
