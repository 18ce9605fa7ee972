//! What somebody tells of the functions before anything is read.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::asks::{Asks, What};
use super::suspects::Forecast;

/// What somebody says of a function before anything is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Symptom {
    /// The function, by its number in the job.
    pub function: usize,
    /// How it does.
    pub how: How,
}

/// How a function does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// It works whenever it is to be on.
    Works,
    /// It does not, at least once.
    Fails,
    /// It is on when it is to be off.
    StaysOn,
}

/// The chance that a symptom is told wrongly (common practice).
pub(super) const MISTOLD: f64 = 0.02;

/// The chance of each symptom.
pub(super) fn told_each(asks: &Asks, forecasts: &[Forecast], symptoms: &[Symptom]) -> Vec<f64> {
    let each = symptoms.iter().map(|symptom| {
        let wanted = symptom.how != How::StaysOn;
        let own = asks.list.iter().zip(forecasts).filter(|(ask, _)| {
            let on = asks
                .on
                .get(ask.setting)
                .and_then(|on| on.get(symptom.function));
            ask.what == What::Function(symptom.function) && on.copied().flatten() == Some(wanted)
        });
        let chances = own.map(|(_, forecast)| {
            if forecast.known() {
                f64::from(f32::midpoint(forecast.least, forecast.most))
            } else {
                0.5
            }
        });
        let chance = match symptom.how {
            How::Works => chances.fold(1.0, f64::min),
            How::Fails => 1.0 - chances.fold(1.0, f64::min),
            How::StaysOn => chances.fold(0.0, f64::max),
        };
        MISTOLD + (1.0 - 2.0 * MISTOLD) * chance
    });
    each.collect()
}

/// The chance of all symptoms together.
pub(super) fn told(asks: &Asks, forecasts: &[Forecast], symptoms: &[Symptom]) -> f64 {
    told_each(asks, forecasts, symptoms).into_iter().product()
}
