//! Each path of one harness over time, a row for each, all to one scale.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, html};

use super::{BAND, BLUE, GREY, INK, clean, cut, day, line, plot, text, unit};
use crate::records::course::{Course, Point, Track};
use crate::records::paths::MicroOhms;

/// The most rows; those that rose least are left out.
const MOST: usize = 60;

/// Where names end, the rows' drawings begin and end, and the figures begin.
const NAMES: f64 = 240.0;
const LEFT: f64 = 256.0;
const RIGHT: f64 = 700.0;
const FIGURES: f64 = 716.0;
const WIDTH: f64 = 960.0;

/// Height of a row and of what stands above the first.
const ROW: f64 = 44.0;
const TOP: f64 = 100.0;

/// The longest name of a path, letters.
const NAME: usize = 30;

/// Each path of one harness over time.
#[must_use]
pub fn drift(course: &Course, subject: &str, zone: &TimeZone) -> String {
    let title = format!("Drift of {subject}: {}", course.title);
    let rows = course.tracks.get(..MOST).unwrap_or(&course.tracks);
    let scale = Scale::of(course, rows);
    let height = TOP + ROW * rows.len() as f64 + 84.0;
    let mut words = vec![format!(
        "Change in ohms of each path since the first run that passed. {} from {} to {}.",
        many(course.runs.len(), "ring-out", "ring-outs"),
        day(scale.first, zone),
        day(scale.last, zone),
    )];
    words.extend(rows.iter().map(|track| in_words(track, zone)));
    words.extend(left_out(course, rows.len()));
    let below = TOP + ROW * rows.len() as f64;
    let drawing = html! {
        (text(20.0, 50.0, "start", GREY, "Change of each path since the first run that passed; \
            every row to the same scale."))
        (text(20.0, 70.0, "start", GREY, "Grey band: what clips and noise do. Dot: a run that \
            passed. Square: one that did not."))
        (text(20.0, 90.0, "start", GREY, &format!("Cross at the top: nothing came through. Half \
            the height of a row: {:.2} Ω; what goes beyond stands at the edge.", scale.ohms)))
        @for (at, track) in rows.iter().enumerate() {
            (row(track, TOP + ROW * (at as f64 + 0.5), &scale, zone))
        }
        (line((LEFT, below), (RIGHT, below), INK))
        @for (at, anchor) in scale.ticks() {
            (line((scale.x(at), below), (scale.x(at), below + 6.0), INK))
            (text(scale.x(at), below + 22.0, anchor, INK, &day(at, zone)))
        }
        @for (at, say) in left_out(course, rows.len()).iter().enumerate() {
            (text(20.0, below + 46.0 + 18.0 * at as f64, "start", GREY, &cut(say, 120)))
        }
    };
    plot((WIDTH, height), &title, &words, &drawing)
}

/// What is not drawn.
fn left_out(course: &Course, rows: usize) -> Vec<String> {
    let mut say = Vec::new();
    if course.tracks.len() > rows {
        let more = course.tracks.len() - rows;
        say.push(format!(
            "{} that rose less are not drawn.",
            many(more, "path", "paths")
        ));
    }
    if !course.unread.is_empty() {
        say.push(format!(
            "No run that passed has read {}.",
            course.unread.join(", ")
        ));
    }
    if course.other_plan > 0 {
        say.push(format!(
            "{} by another state of the plan file left out.",
            many(course.other_plan, "run", "runs")
        ));
    }
    say
}

/// Times and ohms as lengths.
struct Scale {
    first: Timestamp,
    last: Timestamp,
    /// Ohms that half a row is high.
    ohms: f64,
}

impl Scale {
    fn of(course: &Course, rows: &[Track]) -> Self {
        let mut ohms = 0.0_f64;
        for track in rows {
            ohms = ohms.max(1.2 * track.telling.ohms().0);
            let Some((from, _)) = track.ends() else {
                continue;
            };
            // A broken path would leave all others flat: it is drawn at the edge.
            let passed = track.points.iter().filter(|point| point.passed);
            for change in passed.filter_map(|point| change(point, from)) {
                ohms = ohms.max(1.1 * change.abs());
            }
        }
        let first = course.runs.first().copied().unwrap_or_default();
        Self {
            first,
            last: course.runs.last().copied().unwrap_or(first),
            ohms: if ohms > 0.0 { ohms } else { 1.0 },
        }
    }

    fn x(&self, at: Timestamp) -> f64 {
        let all = self.last.duration_since(self.first).as_secs_f64();
        let part = at.duration_since(self.first).as_secs_f64();
        // One run alone stands in the middle.
        let share = if all > 0.0 { part / all } else { 0.5 };
        LEFT + 8.0 + (RIGHT - LEFT - 16.0) * share
    }

    /// How far above the middle of its row a change stands.
    fn up(&self, change: f64) -> f64 {
        (ROW / 2.0 - 4.0) * (change / self.ohms).clamp(-1.0, 1.0)
    }

    fn ticks(&self) -> Vec<(Timestamp, &'static str)> {
        if self.first == self.last {
            return vec![(self.first, "middle")];
        }
        vec![(self.first, "start"), (self.last, "end")]
    }
}

fn change(point: &Point, from: MicroOhms) -> Option<f64> {
    Some(point.ohms?.ohms().0 - from.ohms().0)
}

fn row(track: &Track, middle: f64, scale: &Scale, zone: &TimeZone) -> Markup {
    let Some((from, to)) = track.ends() else {
        return html! {};
    };
    let band = scale.up(track.telling.ohms().0);
    let passed: Vec<String> = track
        .points
        .iter()
        .filter(|point| point.passed)
        .filter_map(|point| {
            let y = middle - scale.up(change(point, from)?);
            Some(format!("{:.1},{y:.1}", scale.x(point.taken)))
        })
        .collect();
    let figures = format!("{} → {} {}", short(from), short(to), mark(track));
    html! {
        g {
            title { (clean(&in_words(track, zone))) }
            (text(NAMES, middle + 4.0, "end", INK, &cut(&track.path, NAME)))
            rect x=(unit(LEFT)) y=(unit(middle - band)) width=(unit(RIGHT - LEFT))
                height=(unit(2.0 * band)) fill=(BAND) {}
            (line((LEFT, middle - ROW / 2.0), (RIGHT, middle - ROW / 2.0), "#b5bac1"))
            (line((LEFT, middle), (RIGHT, middle), "#8a9099"))
            polyline points=(passed.join(" ")) fill="none" stroke=(BLUE) stroke-width="1.5" {}
            @for point in &track.points {
                (dot(point, from, middle, scale))
            }
            (text(FIGURES, middle + 4.0, "start", INK, &figures))
        }
    }
}

fn dot(point: &Point, from: MicroOhms, middle: f64, scale: &Scale) -> Markup {
    let x = scale.x(point.taken);
    let Some(change) = change(point, from) else {
        let y = middle - ROW / 2.0 + 6.0;
        return html! {
            path d=(format!("M{:.1} {:.1}l8 8m0 -8l-8 8", x - 4.0, y - 4.0)) stroke=(INK)
                stroke-width="2" fill="none" {}
        };
    };
    let y = middle - scale.up(change);
    html! {
        @if point.passed {
            circle cx=(unit(x)) cy=(unit(y)) r="3.5" fill=(BLUE) {}
        } @else {
            rect x=(unit(x - 4.0)) y=(unit(y - 4.0)) width="8" height="8" fill="#ffffff"
                stroke=(INK) stroke-width="1.5" {}
        }
    }
}

/// Whether it rose or fell by more than clips and noise do.
fn mark(track: &Track) -> &'static str {
    let rise = track.rise();
    if rise.0 >= track.telling.0 {
        "▲ rose"
    } else if -rise.0 >= track.telling.0 {
        "▼ fell"
    } else {
        "steady"
    }
}

fn short(ohms: MicroOhms) -> String {
    format!("{:.2} Ω", ohms.ohms().0)
}

fn in_words(track: &Track, zone: &TimeZone) -> String {
    let Some((from, to)) = track.ends() else {
        return format!("{}: not read by any run that passed.", track.path);
    };
    let mut say = format!(
        "{}: {} at first, {} at last, {} (clips and noise: up to {}).",
        track.path,
        short(from),
        short(to),
        match mark(track) {
            "steady" => "steady",
            mark => mark.split_once(' ').map_or(mark, |(_, word)| word),
        },
        short(track.telling)
    );
    for point in track.points.iter().filter(|point| !point.passed) {
        let ohms = point
            .ohms
            .map_or_else(|| "nothing came through".to_owned(), short);
        say.push_str(&format!(
            " In the run of {} that did not pass: {ohms}.",
            day(point.taken, zone)
        ));
    }
    say
}

fn many(number: usize, one: &str, several: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { several })
}
