//! Plots of the records as SVG that needs nothing else: no script, no font, no
//! network. Everything drawn is also in words (`<title>`, `<desc>`), and nothing is
//! told by colour alone.

mod bars;
mod drift;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use maud::{Markup, PreEscaped, html};

pub use bars::{faults, monthly};
pub use drift::drift;

use crate::plan::spoils;

/// Ink, and what stands back behind it. The darker ones have a contrast of 4.5 and
/// more on white (WCAG 2.1, 1.4.3; from memory).
const INK: &str = "#1a1a1a";
const GREY: &str = "#595959";
const BAND: &str = "#e3e6ea";
const BLUE: &str = "#1f5fbf";

/// Size of the letters, user units, and about what one takes of a line.
const LETTER: f64 = 13.0;
const LETTER_WIDTH: f64 = 7.4;

/// A whole plot: its size, its heading in one line, all of it in words, the drawing.
fn plot((width, height): (f64, f64), title: &str, words: &[String], drawing: &Markup) -> String {
    let (title, words) = (clean(title), clean(&words.join("\n")));
    let room = ((width - 40.0) / LETTER_WIDTH / 1.2) as usize;
    let picture = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {width:.0} {height:.0}"))
            width=(format!("{width:.0}")) height=(format!("{height:.0}"))
            role="img" aria-labelledby="plot-title plot-words"
            font-family="sans-serif" font-size=(LETTER) fill=(INK) {
            title id="plot-title" { (title) }
            desc id="plot-words" { (words) }
            rect width="100%" height="100%" fill="#ffffff" {}
            text x="20" y="28" font-size="16" font-weight="bold" { (cut(&title, room)) }
            (drawing)
        }
    };
    format!("{}\n", picture.into_string())
}

/// A line of text at a place, its begin, middle or end there.
fn text(x: f64, y: f64, anchor: &str, fill: &str, say: &str) -> Markup {
    html! {
        text x=(unit(x)) y=(unit(y)) text-anchor=(anchor) fill=(fill) { (clean(say)) }
    }
}

fn line((x1, y1): (f64, f64), (x2, y2): (f64, f64), stroke: &str) -> Markup {
    html! {
        line x1=(unit(x1)) y1=(unit(y1)) x2=(unit(x2)) y2=(unit(y2)) stroke=(stroke) {}
    }
}

/// A length as it is written.
fn unit(value: f64) -> PreEscaped<String> {
    PreEscaped(format!("{value:.1}"))
}

/// Text that XML takes and nobody reads the wrong way round.
fn clean(text: &str) -> String {
    text.replace(|c| spoils(c) && c != '\n', "\u{fffd}")
}

/// At most so many letters, the rest as three dots.
fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{kept}…")
}

/// A day as it is here.
fn day(at: Timestamp, zone: &TimeZone) -> String {
    at.to_zoned_datetime(zone.clone())
        .strftime("%Y-%m-%d")
        .to_string()
}
