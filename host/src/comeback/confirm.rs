//! What shows that a repair was the right one.

use super::asks::What;
use super::next::Group;
use super::report::Came;
use super::text;
use super::told::How;

/// What must be seen after the repair.
pub(super) fn confirm(came: &Came<'_, '_>, best: &Group) -> Vec<String> {
    let inquiry = came.inquiry;
    let asks = &inquiry.asks;
    let mut list = Vec::new();
    let wrong = came
        .symptoms
        .iter()
        .filter(|symptom| symptom.how != How::Works);
    for symptom in wrong {
        let wanted = symptom.how == How::Fails;
        let on = asks
            .on
            .iter()
            .position(|on| on.get(symptom.function).copied().flatten() == Some(wanted));
        if let Some(setting) = on {
            list.push(text::must(inquiry, symptom.function, setting, wanted));
        }
    }
    let Some(suspect) = best
        .members
        .first()
        .and_then(|at| inquiry.suspects.get(*at))
    else {
        return list;
    };
    // The reading that the repair changes most, at a place that is open already.
    let each = asks
        .list
        .iter()
        .zip(&inquiry.healthy)
        .zip(suspect.forecasts.iter());
    let changes = each.filter_map(|((ask, healthy), faulty)| {
        let sharp = healthy.most - healthy.least < 1.0;
        let gap = (healthy.least - faulty.most).max(faulty.least - healthy.most);
        let telling =
            matches!(ask.what, What::Volts(_)) && sharp && gap > 1.0 && !came.barred.contains(ask);
        let closed = asks
            .needs_open(ask)
            .is_some_and(|it| !came.position.open.contains(&it));
        telling.then_some((closed, asks.moves(0, ask.setting), -gap, *ask))
    });
    let best = changes.min_by(|a, b| {
        let (a, b) = ((a.0, a.1, a.2), (b.0, b.1, b.2));
        a.partial_cmp(&b).unwrap_or(std::cmp::Ordering::Equal)
    });
    list.extend(best.and_then(|(.., ask)| text::must_show(inquiry, &ask)));
    list
}
