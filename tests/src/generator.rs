//! Harness plans drawn from a seed: the same recipe, the same text, on every
//! machine.
//!
//! A plan is put together from the circuits that add-on harnesses are made of
//! (`circuits`), in proportions like those of the plans in `fixtures/plans`,
//! until it has as many test points on the bench as asked for. Then the open
//! lead ends are given cavities (`housings`) and the whole is written as
//! TOML ([`write`]). Everything in it is invented.

mod circuits;
mod draft;
mod housings;
mod write;

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;

use draft::Draft;

/// What kind of harness is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Form {
    /// All connectors are the harness's own; it is tested alone.
    Bench,
    /// It is fitted: taps on conductors, terminals in connectors that the
    /// vehicle has, rings on chassis and battery plus.
    Vehicle,
}

/// Fewest test points of a recipe.
pub const LEAST_POINTS: u16 = 8;

/// Most test points of a recipe: the leads of the largest probe.
pub const MOST_POINTS: u16 = 128;

/// What a plan is drawn from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Recipe {
    /// Chance starts here.
    pub seed: u64,
    /// Test points on the bench that have to be touched, [`LEAST_POINTS`] to
    /// [`MOST_POINTS`]; what is outside is brought in.
    pub points: u16,
    /// Bench or vehicle.
    pub form: Form,
}

impl Recipe {
    /// A short name, such as `bench-032-s7`.
    #[must_use]
    pub fn name(&self) -> String {
        let form = match self.form {
            Form::Bench => "bench",
            Form::Vehicle => "vehicle",
        };
        format!("{form}-{:03}-s{}", self.points, self.seed)
    }

    /// The recipe of a name that [`Recipe::name`] made.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        let (form, rest) = name.split_once('-')?;
        let (points, seed) = rest.split_once("-s")?;
        Some(Self {
            seed: seed.parse().ok()?,
            points: points.parse().ok()?,
            form: match form {
                "bench" => Form::Bench,
                "vehicle" => Form::Vehicle,
                _ => return None,
            },
        })
    }

    /// The plan's text.
    #[must_use]
    pub fn text(&self) -> String {
        let points = self.points.clamp(LEAST_POINTS, MOST_POINTS);
        let mut rng = ChaCha8Rng::seed_from_u64(
            self.seed ^ u64::from(points) << 40 ^ u64::from(self.form == Form::Vehicle) << 50,
        );
        let mut draft = Draft::default();
        circuits::fill(&mut draft, &mut rng, points, self.form);
        housings::conductors(&mut draft, &mut rng);
        housings::seat(&mut draft, &mut rng, self.form);
        write::plan(&draft, &format!("Drawn harness {}", self.name()))
    }
}
