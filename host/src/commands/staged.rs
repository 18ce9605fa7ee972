//! The stage that a verb works in: said first, and refused where it forbids the
//! verb.

use super::{Failure, note};
use crate::stage::{Act, Stage};

/// Where the job stands.
#[derive(Debug, Clone, clap::Args)]
pub struct StageArgs {
    /// Where the job stands, where it is not the stage that this test belongs to:
    /// arrival, identify, battery-off, ring-out, first-power, live-check, trim-on,
    /// recheck, hand-over. Refused where the stage forbids the test.
    #[arg(long, value_name = "STAGE", value_parser = stage)]
    stage: Option<Stage>,
}

fn stage(word: &str) -> Result<Stage, String> {
    Stage::of(word).ok_or_else(|| {
        let words: Vec<&str> = Stage::all().map(Stage::word).collect();
        format!("the stages are {}", words.join(", "))
    })
}

impl StageArgs {
    /// The stage that was given.
    pub fn given(&self) -> Option<Stage> {
        self.stage
    }

    /// Says the stage, which is `usual` unless another was given.
    ///
    /// # Errors
    /// [`Failure`], refused as unsafe, where the stage forbids it.
    pub fn enter(&self, usual: Stage, act: Act) -> Result<Stage, Failure> {
        let stage = self.stage.unwrap_or(usual);
        stage.permit(act).map_err(Failure::refused)?;
        note(&stage.say());
        Ok(stage)
    }
}
