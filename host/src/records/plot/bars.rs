//! First-pass yield by month, and faults by kind, as bars with their figures.

use maud::html;

use super::{BLUE, GREY, INK, LETTER_WIDTH, clean, cut, line, plot, text, unit};
use crate::records::course::{KindCount, Month};

/// The most months; earlier ones are left out.
const MONTHS: usize = 36;

/// The most kinds; rarer ones are left out.
const KINDS: usize = 40;

/// Height of a full bar of the yield.
const FULL: f64 = 220.0;

/// Least width of a plot, so that its words have room.
const LEAST: f64 = 760.0;

/// First-pass yield by month; `of` says of what.
#[must_use]
pub fn monthly(months: &[Month], of: &str) -> String {
    const STEP: f64 = 56.0;
    const LEFT: f64 = 70.0;
    const TOP: f64 = 116.0;
    let (shown, earlier) = latest(months);
    let title = format!("First-pass yield by month: {of}");
    let right = (LEFT + STEP * shown.len() as f64 + 30.0).max(LEAST);
    let bottom = TOP + FULL;
    let share = |month: &Month| month.passed as f64 / month.subjects.max(1) as f64;
    let mut words: Vec<String> = vec![
        "Of the harnesses or vehicles with a number that were rung out for the first time in a \
         month, how many passed at once."
            .to_owned(),
    ];
    words.extend(shown.iter().map(|month| match month.subjects {
        0 => format!("{}: none.", name(month)),
        subjects => format!(
            "{}: {} of {subjects} right at the first run, {:.0} %.",
            name(month),
            month.passed,
            100.0 * share(month)
        ),
    }));
    let note = match (shown.len(), earlier) {
        (0, _) => "No run of a harness or vehicle with a number is kept.".to_owned(),
        (_, 0) => String::new(),
        (_, 1) => "1 earlier month with runs is not drawn.".to_owned(),
        (_, more) => format!("{more} earlier months with runs are not drawn."),
    };
    words.push(note.clone());
    let drawing = html! {
        (text(20.0, 50.0, "start", GREY, "Of those that were rung out for the first time in a \
            month, how many passed at once."))
        (text(20.0, 70.0, "start", GREY, &note))
        @for percent in [0, 25, 50, 75, 100] {
            @let y = bottom - FULL * f64::from(percent) / 100.0;
            (line((LEFT, y), (right - 20.0, y), "#b5bac1"))
            (text(LEFT - 8.0, y + 4.0, "end", INK, &format!("{percent} %")))
        }
        @for (at, month) in shown.iter().enumerate() {
            @let x = LEFT + STEP * (at as f64 + 0.5);
            @let height = FULL * share(month);
            g {
                title { (name(month)) ": " (month.passed) " of " (month.subjects) }
                rect x=(unit(x - 16.0)) y=(unit(bottom - height)) width="32"
                    height=(unit(height)) fill=(BLUE) {}
                @if month.subjects == 0 {
                    (text(x, bottom - 6.0, "middle", GREY, "none"))
                } @else {
                    (text(x, bottom - height - 21.0, "middle", INK, &month.passed.to_string()))
                    (text(x, bottom - height - 6.0, "middle", INK,
                        &format!("of {}", month.subjects)))
                }
                (text(x, bottom + 20.0, "middle", INK, &format!("{:02}", month.month)))
                @if at == 0 || month.month == 1 {
                    (text(x, bottom + 38.0, "middle", INK, &month.year.to_string()))
                }
            }
        }
        (line((LEFT, bottom), (right - 20.0, bottom), INK))
    };
    plot((right, bottom + 60.0), &title, &words, &drawing)
}

/// The months up to the last one without gaps, and how many earlier ones had runs.
fn latest(months: &[Month]) -> (Vec<Month>, usize) {
    let key = |month: &Month| (month.year, month.month);
    let (Some(first), Some(last)) = (months.first().map(key), months.last().map(key)) else {
        return (Vec::new(), 0);
    };
    let mut shown = Vec::new();
    let mut at = last;
    while at >= first && shown.len() < MONTHS {
        let found = months.iter().find(|month| key(month) == at);
        shown.push(found.copied().unwrap_or(Month {
            year: at.0,
            month: at.1,
            subjects: 0,
            passed: 0,
        }));
        at = match at {
            (year, 1) => (year - 1, 12),
            (year, month) => (year, month - 1),
        };
    }
    shown.reverse();
    (
        shown,
        months.iter().filter(|month| key(month) <= at).count(),
    )
}

fn name(month: &Month) -> String {
    format!("{:04}-{:02}", month.year, month.month)
}

/// Faults by kind; `of` says of what.
#[must_use]
pub fn faults(kinds: &[KindCount], of: &str) -> String {
    const STEP: f64 = 30.0;
    const LEFT: f64 = 220.0;
    const TOP: f64 = 90.0;
    let shown = kinds.get(..KINDS).unwrap_or(kinds);
    let title = format!("Faults by kind: {of}");
    let most = shown.iter().map(|kind| kind.permille).max().unwrap_or(0);
    let room = LEAST - LEFT - 20.0 - 10.0 * LETTER_WIDTH;
    let height = TOP + STEP * shown.len() as f64 + 20.0;
    let mut words: Vec<String> = vec![
        "How often each kind was found; a run that leaves four places counts a quarter at each."
            .to_owned(),
    ];
    words.extend(
        shown
            .iter()
            .map(|kind| format!("{}: {}.", kind.kind, count(kind))),
    );
    let note = match (shown.len(), kinds.len() - shown.len()) {
        (0, _) => "No fault is kept.".to_owned(),
        (_, 0) => String::new(),
        (_, 1) => "1 rarer kind is not drawn.".to_owned(),
        (_, more) => format!("{more} rarer kinds are not drawn."),
    };
    words.push(note.clone());
    let drawing = html! {
        (text(20.0, 50.0, "start", GREY, "How often each kind was found; a run that leaves four \
            places counts a quarter at each."))
        (text(20.0, 70.0, "start", GREY, &note))
        @for (at, kind) in shown.iter().enumerate() {
            @let y = TOP + STEP * at as f64;
            @let length = room * kind.permille as f64 / most.max(1) as f64;
            g {
                title { (clean(&kind.kind)) ": " (count(kind)) }
                (text(LEFT - 10.0, y + 15.0, "end", INK, &cut(&kind.kind, 27)))
                rect x=(unit(LEFT)) y=(unit(y)) width=(unit(length.max(1.0))) height="20"
                    fill=(BLUE) {}
                (text(LEFT + length + 8.0, y + 15.0, "start", INK, &count(kind)))
            }
        }
    };
    plot((LEAST, height), &title, &words, &drawing)
}

/// How often, without noughts behind.
fn count(kind: &KindCount) -> String {
    let text = format!("{}.{:03}", kind.permille / 1000, kind.permille % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn month(year: i16, month: i8) -> Month {
        Month {
            year,
            month,
            subjects: 3,
            passed: 2,
        }
    }

    #[test]
    fn the_latest_months_have_no_gaps_and_no_end_is_lost() {
        let all = [month(1970, 1), month(2025, 11), month(2026, 2)];
        let (shown, earlier) = latest(&all);
        assert_eq!((shown.len(), earlier), (MONTHS, 1));
        let runs: Vec<usize> = shown
            .iter()
            .enumerate()
            .filter_map(|(at, month)| (month.subjects > 0).then_some(at))
            .collect();
        assert_eq!(runs, [MONTHS - 4, MONTHS - 1]);
        assert_eq!(latest(&all[1..]).0.len(), 4);
        assert_eq!(latest(&[]), (Vec::new(), 0));
    }
}
