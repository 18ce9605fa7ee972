//! What is wrong with the hook-up as a whole, which would else come out as a
//! fault at every wire: nothing is connected, or every clip sits one point on.

use loomproof_core::scan::Purpose;
use loomproof_core::units::Volts;
use loomproof_core::wire::{Reading, SenseMode};

use super::report::Advice;
use super::run::FOLLOWS;
use super::{Round, Taken};
use crate::circuit::build;
use crate::diagnosis::evidence::Evidence;
use crate::hookup::{Clip, Hookup};
use crate::plan::model::Job;

/// A driven lead below this gives current to something: 300 kΩ, the highest that
/// the probe measures, leave 3.3 V·300 k/301.4 k = 3.285 V on it.
const ALONE: Volts = Volts(3.25);

/// Fewer connections than these may well be open each by itself.
const FEWEST: usize = 2;

/// One reading in so many may stray, as where the search takes an explanation.
pub(super) const STRAY: usize = 20;

/// What is wrong with the whole, if the readings say that; `size` is how many faults
/// of the wiring it would take instead, `None` where none explain the readings.
pub(super) fn whole(
    job: &Job,
    rounds: &[Round<'_>],
    size: Option<usize>,
) -> Result<Option<Advice>, String> {
    // One fault is the simpler explanation.
    if size.is_some_and(|size| size < 2) {
        return Ok(None);
    }
    if nothing_is_connected(rounds) {
        return Ok(Some(Advice {
            say: "Nothing is connected: no probe lead reaches any other, nor chassis.".to_owned(),
            act: "See that the harness is there and its plugs are in, that the clips bite on bare \
                  metal and the probe's plugs are home; then ring out again, before you look for \
                  single faults."
                .to_owned(),
        }));
    }
    let [round] = rounds else {
        return Ok(None);
    };
    for (way, moved) in moved_along(round.hookup) {
        let Ok(model) = build(job, &moved) else {
            continue;
        };
        let Ok(evidence) = Evidence::new(&model, round.taken) else {
            continue;
        };
        if evidence.off().len() <= evidence.judged().len() / STRAY {
            return Ok(Some(Advice {
                say: format!(
                    "The clips sit one off, all of them: each probe lead is on the point of the \
                     one {way} it in the list."
                ),
                act: "Set them as `loomproof hookup` lists them, beginning with the first, and \
                      ring out again. Leave the wires as they are."
                    .to_owned(),
            }));
        }
    }
    Ok(None)
}

/// Whether connections were looked for and no reading shows any.
fn nothing_is_connected(rounds: &[Round<'_>]) -> bool {
    let taken = || rounds.iter().flat_map(|round| round.taken);
    let wanted = taken().filter(|taken| {
        matches!(
            taken.planned.purpose,
            Purpose::Continuity(..) | Purpose::Across(..)
        )
    });
    wanted.count() >= FEWEST && taken().all(shows_no_connection)
}

fn shows_no_connection(taken: &Taken) -> bool {
    let step = &taken.planned.step;
    step.senses
        .iter()
        .zip(&taken.readings)
        .all(|(sense, reading)| {
            let volts = match reading {
                Reading::Volts(volts) | Reading::NotSettled(volts) => volts.volts(),
                Reading::Above => ALONE,
                Reading::Below => Volts(0.0),
            };
            let driven = step.low.contains(sense.lead);
            match sense.mode {
                SenseMode::Plain if step.high.contains(sense.lead) => volts >= ALONE,
                SenseMode::PullDown if !driven && !step.high.contains(sense.lead) => {
                    volts <= FOLLOWS
                }
                _ => true,
            }
        })
}

/// The hook-up with every clip on the point of the next or the previous probe lead,
/// the one at the end on the point at the other end or on none.
fn moved_along(hookup: &Hookup) -> Vec<(&'static str, Hookup)> {
    let points: Vec<_> = hookup.clips.iter().map(|clip| &clip.point).collect();
    let count = points.len();
    let mut all = Vec::new();
    if count < 3 {
        return all;
    }
    for (way, by) in [("after", 1), ("before", count - 1)] {
        for around in [true, false] {
            let clips = hookup.clips.iter().enumerate().filter_map(|(at, clip)| {
                let ends = if by == 1 { at + 1 == count } else { at == 0 };
                let point = points.get((at + by) % count)?;
                (around || !ends).then(|| Clip {
                    lead: clip.lead,
                    point: (*point).clone(),
                })
            });
            let clips = clips.collect();
            let place = hookup.place;
            let mated = hookup.mated.clone();
            all.push((
                way,
                Hookup {
                    place,
                    clips,
                    mated,
                },
            ));
        }
    }
    all
}
