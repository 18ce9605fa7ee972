//! What touching points found, in plain words.

use std::fmt::Write as _;

use super::report::{Report, Sits, Task};
use super::told::and;
use crate::ringout::report::Verdict;
use crate::ringout::text::{is_simulated, paragraph};

/// What has to be known before a tip is taken in the hand.
pub const CAUTION: &str = "Battery off. The tip drives a few milliamperes into what it touches: keep \
it off restraint circuits (airbag, pretensioner), high-voltage wiring and data-bus pairs, and never \
push it into a female terminal. The vehicle maker's service information, local codes and licensed \
practice come first.";

/// The report as a fitter reads it.
#[must_use]
pub fn render(report: &Report) -> String {
    let mut out = String::new();
    let (found, moved) = (report.clips.len(), report.elsewhere().count());
    let line = match (report.task, report.verdict) {
        (Task::Tell, Verdict::Pass) => {
            "TOLD: nothing that was touched speaks against the plan".to_owned()
        }
        (Task::Tell, Verdict::Faults) => {
            "TOLD: something answers otherwise than the plan says".to_owned()
        }
        (Task::Tell, _) => "NOTHING WAS TOUCHED".to_owned(),
        (Task::Prove, Verdict::Pass) => format!("PASS: all {found} clips sit where they should"),
        (Task::Prove, Verdict::Faults) if moved > 0 => {
            format!("FAULT: {moved} of {found} clips sit elsewhere than the hook-up says")
        }
        (_, Verdict::Faults) => "FAULT: what answered is not as the plan says".to_owned(),
        (Task::Prove, _) => format!("NOT PROVED: {found} clips found, others not"),
        (Task::Make, Verdict::Pass) => format!("MADE: all {found} clips found"),
        (Task::Make, _) => format!("NOT MADE: {found} clips found, others not"),
    };
    let place = match report.place.as_str() {
        "bench" => "on the bench",
        _ => "in the vehicle",
    };
    let _ = writeln!(out, "{line}\n{}, {place}, tip {}", report.title, report.tip);
    if is_simulated(&report.probe.board) {
        let board = &report.probe.board;
        let _ = writeln!(
            out,
            "({board} probe: a simulated harness; no real wire was measured)"
        );
    }
    if !report.answers.is_empty() {
        let answers = report.answers.iter();
        let answers: Vec<String> = answers.map(|(o, v)| format!("{o} = {v}")).collect();
        let _ = writeln!(out, "Variant: {}", answers.join(", "));
    }
    if report.broken_off {
        out.push_str("Broken off.\n");
    }
    if report.task == Task::Tell && !report.touches.is_empty() {
        out.push_str("\nTouched:\n");
        for touch in &report.touches {
            paragraph(&mut out, " - ", &touch.say);
        }
    }
    if moved > 0 {
        out.push('\n');
        for sits in report.elsewhere() {
            let meant = sits.meant.as_deref().unwrap_or_default();
            let say = format!(
                "{} sits on {}; it belongs on {meant}.",
                sits.lead, sits.point
            );
            paragraph(&mut out, " - ", &say);
        }
        paragraph(
            &mut out,
            "",
            "Do: Move these clips, or keep the hook-up as it is with `touch --make FILE` and ring \
             out with `ringout --clips FILE`.",
        );
    }
    if report.task == Task::Make && found > 0 {
        out.push_str("\nClips:\n");
        for sits in &report.clips {
            let _ = writeln!(out, "  {:<5} {}", sits.lead, sits.point);
        }
    }
    if !report.open.is_empty() {
        out.push_str("\nStill open:\n");
        for open in &report.open {
            paragraph(&mut out, " - ", open);
        }
    }
    out.push_str("\nNot tested: the wiring. Ring out for that.\n");
    out
}

impl Report {
    /// Clips that sit elsewhere than they should.
    pub fn elsewhere(&self) -> impl Iterator<Item = &Sits> {
        let clips = self.clips.iter();
        clips.filter(|sits| {
            sits.meant
                .as_ref()
                .is_some_and(|meant| *meant != sits.point)
        })
    }
}

/// Leads of one net that could not be told apart, and where they sit.
#[must_use]
pub fn not_apart(leads: &[String], points: &[String]) -> String {
    format!(
        "{} sit on {}; which is which the readings cannot tell. Read the numbers on all but \
         one of these clips and give them, each with `--sits LEAD=POINT`.",
        and(leads),
        and(points)
    )
}

/// A word in letters five lines high, for eyes that are a metre away; as it is where it
/// does not fit into so many columns, or has letters that are not here.
#[must_use]
pub fn large(word: &str, columns: usize) -> String {
    let letters: Option<Vec<[&str; 5]>> = word.chars().map(letter).collect();
    let Some(letters) = letters else {
        return word.to_owned();
    };
    let wide: usize = letters.iter().map(|rows| rows[0].len() + 2).sum();
    if wide > columns {
        return word.to_owned();
    }
    let row = |at: usize| -> String {
        let parts = letters.iter().map(|rows| rows[at].replace('#', "█"));
        parts.map(|part| part + "  ").collect()
    };
    let rows: Vec<String> = (0..5).map(|at| row(at).trim_end().to_owned()).collect();
    format!("\n{}\n", rows.join("\n"))
}

fn letter(letter: char) -> Option<[&'static str; 5]> {
    let rows = match letter.to_ascii_uppercase() {
        'A' => [" # ", "# #", "###", "# #", "# #"],
        'B' => ["## ", "# #", "## ", "# #", "## "],
        'C' => ["###", "#  ", "#  ", "#  ", "###"],
        'D' => ["## ", "# #", "# #", "# #", "## "],
        'E' => ["###", "#  ", "## ", "#  ", "###"],
        'F' => ["###", "#  ", "## ", "#  ", "#  "],
        'G' => ["####", "#   ", "# ##", "#  #", "####"],
        'H' => ["# #", "# #", "###", "# #", "# #"],
        'I' => ["#", "#", "#", "#", "#"],
        'J' => ["  #", "  #", "  #", "# #", "###"],
        'K' => ["# #", "# #", "## ", "# #", "# #"],
        'L' => ["#  ", "#  ", "#  ", "#  ", "###"],
        'M' => ["#   #", "## ##", "# # #", "#   #", "#   #"],
        'N' => ["#  #", "## #", "# ##", "#  #", "#  #"],
        'O' => ["####", "#  #", "#  #", "#  #", "####"],
        'P' => ["###", "# #", "###", "#  ", "#  "],
        'Q' => ["####", "#  #", "#  #", "# ##", "####"],
        'R' => ["## ", "# #", "## ", "# #", "# #"],
        'S' => ["###", "#  ", "###", "  #", "###"],
        'T' => ["###", " # ", " # ", " # ", " # "],
        'U' => ["# #", "# #", "# #", "# #", "###"],
        'V' => ["# #", "# #", "# #", "# #", " # "],
        'W' => ["#   #", "#   #", "# # #", "## ##", "#   #"],
        'X' => ["# #", "# #", " # ", "# #", "# #"],
        'Y' => ["# #", "# #", " # ", " # ", " # "],
        'Z' => ["###", "  #", " # ", "#  ", "###"],
        '0' => ["###", "# #", "# #", "# #", "###"],
        '1' => [" #", "##", " #", " #", " #"],
        '2' => ["###", "  #", "###", "#  ", "###"],
        '3' => ["###", "  #", "###", "  #", "###"],
        '4' => ["# #", "# #", "###", "  #", "  #"],
        '5' => ["###", "#  ", "###", "  #", "###"],
        '6' => ["###", "#  ", "###", "# #", "###"],
        '7' => ["###", "  #", "  #", "  #", "  #"],
        '8' => ["###", "# #", "###", "# #", "###"],
        '9' => ["###", "# #", "###", "  #", "###"],
        ':' => [" ", "#", " ", "#", " "],
        '-' => ["  ", "  ", "##", "  ", "  "],
        ',' => [" ", " ", " ", "#", "#"],
        ' ' => ["  ", "  ", "  ", "  ", "  "],
        _ => return None,
    };
    Some(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_word_fits_or_stays_as_it_is() {
        let large_name = large("X1:4", 80);
        let rows: Vec<&str> = large_name.trim_matches('\n').lines().collect();
        assert_eq!(rows.len(), 5, "{large_name}");
        assert_eq!(rows[0], "█ █   █     █ █");
        assert_eq!(large("X1:4", 10), "X1:4");
        assert_eq!(large("X1:4 ± 2", 80), "X1:4 ± 2");
        for letter in ('A'..='Z').chain('0'..='9') {
            let rows = super::letter(letter).expect("a letter");
            assert!(
                rows.iter().all(|row| row.len() == rows[0].len()),
                "{letter}"
            );
        }
    }
}
