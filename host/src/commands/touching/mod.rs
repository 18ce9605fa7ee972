//! The lead in the hand: what it hears, and the points that are asked for.

mod hand;
mod placed;
mod screen;

use super::stopping::Stopping;
use super::{Failure, note};
use crate::hookup::{Hookup, Point};
use crate::plan::model::Job;
use crate::touch::Groups;
use crate::touch::clips::point;
use crate::touch::report::Report;
use crate::touch::told::Teller;

pub(super) use hand::{Hand, failed};
pub(super) use placed::{Heard, Placed};

/// Names what is touched, until nobody touches any more.
pub(super) fn tell(
    (job, hookup, groups): (&Job, &Hookup, &Groups),
    (hand, stop): (&mut Hand<'_>, &Stopping),
    plays: &[String],
    report: &mut Report,
) -> Result<(), Failure> {
    let teller = Teller::new(job, hookup, groups);
    if hand.simulated {
        for played in plays {
            let (on, chassis) = spots(job, played)?;
            hand.put(&on, chassis)?;
            if let Some(answer) = hand.hear(stop)? {
                let touch = teller.tell(&answer);
                hand.screen.show(&touch.large, &touch.say);
                report.touches.push(touch);
            }
        }
        return hand.put(&[], false);
    }
    note("Touch any point. Ctrl-C ends it.");
    while let Some(answer) = hand.hear(stop)? {
        let touch = teller.tell(&answer);
        if answer.is_air() {
            hand.screen.quiet(&touch.say);
            continue;
        }
        hand.screen.show(&touch.large, &touch.say);
        report.touches.push(touch);
    }
    Ok(())
}

/// What a virtual tip touches.
fn spots(job: &Job, played: &str) -> Result<(Vec<Point>, bool), Failure> {
    let (mut on, mut chassis) = (Vec::new(), false);
    for name in played.split('+').map(str::trim) {
        match name {
            "air" => {}
            "chassis" => chassis = true,
            other => on.push(point(job, other).ok_or_else(|| {
                Failure::usage(format!(
                    "--plays {played}: the plan has no point {other}; give points such as X1:4, \
                     `chassis` or `air`"
                ))
            })?),
        }
    }
    Ok((on, chassis))
}
