//! Words of a plan cut to the probe's display: printable ASCII, a line each.

use loomproof_core::image::{COLUMNS, NAME};

use crate::hookup::Point;
use crate::plan::model::{End, Half, Job, Side};

/// The letters of the word that are left of one that is cut.
const LEFT: usize = 4;

/// As printable ASCII: umlauts and accents are written round, anything else
/// that there is not becomes a question mark.
#[must_use]
pub fn plain(text: &str) -> String {
    let mut out = String::new();
    for letter in text.chars() {
        match letter {
            ' '..='~' => out.push(letter),
            'ä' | 'æ' => out.push_str("ae"),
            'ö' | 'œ' => out.push_str("oe"),
            'ü' => out.push_str("ue"),
            'Ä' => out.push_str("Ae"),
            'Ö' => out.push_str("Oe"),
            'Ü' => out.push_str("Ue"),
            'ß' => out.push_str("ss"),
            'à' | 'á' | 'â' | 'ã' | 'å' => out.push('a'),
            'è' | 'é' | 'ê' | 'ë' => out.push('e'),
            'ì' | 'í' | 'î' | 'ï' => out.push('i'),
            'ò' | 'ó' | 'ô' | 'õ' | 'ø' => out.push('o'),
            'ù' | 'ú' | 'û' => out.push('u'),
            'ç' => out.push('c'),
            'ñ' => out.push('n'),
            'Ω' => out.push_str("ohm"),
            '–' | '—' | '−' => out.push('-'),
            '’' | '‘' => out.push('\''),
            letter if letter.is_whitespace() => out.push(' '),
            _ => out.push('?'),
        }
    }
    out
}

/// As much of a text as so many columns hold: words are shortened from the last
/// one on (`left kick panelling` → `left kick pane.`), then the end is cut off.
#[must_use]
pub fn fitted(text: &str, columns: usize) -> String {
    let text = plain(text);
    let mut words: Vec<String> = text.split_whitespace().map(str::to_owned).collect();
    let width = |words: &[String]| words.iter().map(|word| word.len() + 1).sum::<usize>();
    for at in (0..words.len()).rev() {
        let over = width(&words).saturating_sub(columns + 1);
        let Some(word) = words
            .get_mut(at)
            .filter(|word| over > 0 && word.len() > LEFT + 1)
        else {
            continue;
        };
        let keep = word.len().saturating_sub(over + 1).max(LEFT);
        if keep + 1 < word.len() {
            word.truncate(keep);
            word.push('.');
        }
    }
    let mut line = words.join(" ");
    line.truncate(columns);
    line.trim_end().to_owned()
}

/// A name in so many columns. Its end, which tells cavities apart, stays.
fn named(name: &str, columns: usize) -> String {
    let name = plain(name);
    if name.len() <= columns {
        return name;
    }
    let end = name.rfind(':').map_or(name.len(), |at| at);
    let (front, end) = name.split_at(end);
    let keep = columns.saturating_sub(end.len() + 1);
    let front: String = front.chars().take(keep).collect();
    let mut short = format!("{front}~{end}");
    short.truncate(columns);
    short
}

/// Where a probe lead sits, a line each: place, name, how it is touched.
#[must_use]
pub fn spot(job: &Job, point: &Point) -> [String; 3] {
    let how = match point {
        Point::Cavity {
            side: Side::Wire, ..
        } => "from the wire side",
        Point::Cavity {
            side: Side::Mating, ..
        } => "through mating half",
        Point::Tap(_) => "at the tap's lead",
        Point::Ring(_) => "at the ring terminal",
        Point::Terminal(End::Plug(_, Half::A, _)) => "in-line plug, half A",
        Point::Terminal(End::Plug(_, Half::B, _)) => "in-line plug, half B",
        Point::Terminal(End::Splice(_)) => "at the splice",
        Point::Terminal(_) => "at the terminal",
    };
    let part = point.part();
    [
        fitted(job.place_of(part).unwrap_or("as in the plan"), COLUMNS),
        named(&point.to_string(), NAME),
        fitted(how, COLUMNS),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_fit_and_stay_readable() {
        assert_eq!(fitted("left kick panel", 20), "left kick panel");
        assert_eq!(fitted("left kick panelling", 15), "left kick pane.");
        assert_eq!(
            fitted("under the left kick panel", 20),
            "under the left kick"
        );
        assert_eq!(fitted("Türgriff hinten – groß", 20), "Tuerg. hint. - gross");
        assert_eq!(fitted("aaaaaaaaaaaaaaaaaaaaaaaaaaaaa", 20).len(), 20);
        assert_eq!(fitted("", 20), "");
        assert_eq!(named("X1:4", 15), "X1:4");
        assert_eq!(named("LOADBAYCONNECTOR:12", 15), "LOADBAYCONN~:12");
        assert_eq!(plain("3 Ω\u{202e}"), "3 ohm?");
        for columns in 0..30 {
            for text in [
                "a bc def ghij klmno pqrstu",
                "ö ß Ω",
                "front passenger footwell",
            ] {
                assert!(fitted(text, columns).len() <= columns, "{text} {columns}");
                assert!(named(text, columns).len() <= columns, "{text} {columns}");
            }
        }
    }
}
