//! Asks the plan's open questions in the terminal.

use std::collections::BTreeMap;
use std::io::Write as _;

use super::wrapping::for_stderr;
use super::{Failure, note};
use crate::plan::Plan;

/// Asks on standard error and reads a line; `None` where the input has ended.
///
/// # Errors
/// Where no line can be read.
pub fn line(prompt: &str) -> std::io::Result<Option<String>> {
    eprint!("{}", for_stderr(prompt));
    let _ = std::io::stderr().flush();
    let mut line = String::new();
    let read = std::io::stdin().read_line(&mut line)?;
    Ok((read > 0).then_some(line))
}

/// Asks, in file order, every question that is not answered yet.
///
/// # Errors
/// [`Failure`] when the input ends before an answer.
pub fn ask(plan: &Plan, answers: &mut BTreeMap<String, String>) -> Result<(), Failure> {
    loop {
        let Some(question) = plan.unanswered(answers).into_iter().next() else {
            return Ok(());
        };
        let (name, choices) = (question.name.clone(), question.choices.clone());
        let default = question.default.clone();
        let hint = default
            .as_ref()
            .map_or(String::new(), |d| format!(", Enter = {d}"));
        let prompt = format!("{} [{}{hint}] ", question.ask, choices.join(" / "));
        let Ok(Some(line)) = line(&prompt) else {
            return Err(Failure::usage(format!(
                "no answer to \"{}\"; give it with --answer {name}=…, or --defaults",
                question.ask
            )));
        };
        let given = line.trim();
        let answer = if given.is_empty() {
            default
        } else {
            Some(given.to_owned())
        };
        match answer {
            Some(value) if choices.contains(&value) => {
                answers.insert(name, value);
            }
            _ => note(&format!("Please answer one of: {}", choices.join(", "))),
        }
    }
}
