//! The boolean expression in a table's `when`.
//!
//! ```text
//! any        = all { "or" all }
//! all        = no { "and" no }
//! no         = "not" no | "(" any ")" | OPTION [ "==" VALUE ]
//! ```
//! A bare option stands for `option == yes`. Values with spaces are quoted.

use super::electrics::States;
use super::names::{list, suggest};
use super::plan_type::OptionQuestion;
use super::problem::{Complaint, Span, quote};
use std::ops::Range;

/// Deepest nesting of parentheses and `not`.
const DEEPEST: usize = 32;

/// A parsed `when`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Expression {
    /// The option (by its place in the list) is answered with this value.
    Is(usize, String),
    Not(Box<Expression>),
    All(Vec<Expression>),
    Any(Vec<Expression>),
}

impl Expression {
    /// Whether it holds under these answers, one per option in file order;
    /// `None` for an option that does not apply, which equals no value.
    pub(crate) fn holds(&self, answers: &[Option<String>]) -> bool {
        match self {
            Self::Is(option, value) => {
                let answer = answers.get(*option).and_then(Option::as_ref);
                answer == Some(value)
            }
            Self::Not(inner) => !inner.holds(answers),
            Self::All(parts) => parts.iter().all(|part| part.holds(answers)),
            Self::Any(parts) => parts.iter().any(|part| part.holds(answers)),
        }
    }
}

impl Expression {
    /// The same with the names of switches in the place of their numbers.
    pub(crate) fn states(&self, switches: &[OptionQuestion]) -> States {
        let all = |parts: &[Self]| parts.iter().map(|part| part.states(switches)).collect();
        match self {
            Self::Is(switch, state) => {
                let name = switches.get(*switch).map(|it| it.name.clone());
                States::Is(name.unwrap_or_default(), state.clone())
            }
            Self::Not(inner) => States::Not(Box::new(inner.states(switches))),
            Self::All(parts) => States::All(all(parts)),
            Self::Any(parts) => States::Any(all(parts)),
        }
    }

    /// Numbers of the options that it speaks of.
    pub(crate) fn options(&self, into: &mut Vec<usize>) {
        match self {
            Self::Is(option, _) => into.push(*option),
            Self::Not(inner) => inner.options(into),
            Self::All(parts) | Self::Any(parts) => {
                parts.iter().for_each(|part| part.options(into));
            }
        }
    }
}

/// A `when` with its place and text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Condition {
    pub(crate) expression: Expression,
    pub(crate) text: String,
    pub(crate) at: Span,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Token<'t> {
    Word(&'t str),
    Quoted(&'t str),
    Open,
    Close,
    Equals,
}

fn tokens(text: &str) -> Result<Vec<(Token<'_>, Range<usize>)>, Complaint> {
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(c) = text[at..].chars().next() {
        let rest = &text[at..];
        let (token, len) = match c {
            c if c.is_whitespace() => {
                at += c.len_utf8();
                continue;
            }
            '(' => (Token::Open, 1),
            ')' => (Token::Close, 1),
            '=' if rest.starts_with("==") => (Token::Equals, 2),
            '\'' | '"' => match rest[1..].find(c) {
                Some(len) => (Token::Quoted(&rest[1..=len]), len + 2),
                None => {
                    return Err(Complaint::new(
                        "this quotation mark is not closed",
                        format!("put {c} after the value too"),
                    )
                    .on(at..text.len()));
                }
            },
            c if word_character(c) => {
                let len = rest
                    .find(|c: char| !word_character(c))
                    .unwrap_or(rest.len());
                (Token::Word(&rest[..len]), len)
            }
            _ => return Err(stray(rest, at)),
        };
        found.push((token, at..at + len));
        at += len;
    }
    Ok(found)
}

fn word_character(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '-' | '_' | '.')
}

/// A sign that has no meaning here, with the word to write for it.
fn stray(rest: &str, at: usize) -> Complaint {
    let meant = [
        ("!=", "write `not option == value`"),
        ("!", "write `not`"),
        ("&&", "write `and`"),
        ("&", "write `and`"),
        ("||", "write `or`"),
        ("|", "write `or`"),
        ("=", "write `==`"),
    ];
    let hit = meant.iter().find(|(sign, _)| rest.starts_with(sign));
    let (sign, help) = hit.map_or_else(
        || {
            let len = rest.chars().next().map_or(0, char::len_utf8);
            (
                &rest[..len],
                "a condition knows names, values, and, or, not, == and parentheses",
            )
        },
        |(sign, help)| (*sign, *help),
    );
    Complaint::new(
        format!("{} does not belong in a condition", quote(sign)),
        help,
    )
    .on(at..at + sign.len())
}

/// What the names of an expression stand for.
#[derive(Debug, Clone, Copy)]
struct Subject {
    /// "option" or "switch".
    word: &'static str,
    /// The value that a bare name stands for.
    bare: &'static str,
    /// "answer" or "state".
    value: &'static str,
    /// What to do when there is none at all.
    declare: &'static str,
}

const OPTIONS: Subject = Subject {
    word: "option",
    bare: "yes",
    value: "answer",
    declare: "declare the option first: [option.NAME] with `ask`",
};

const SWITCHES: Subject = Subject {
    word: "switch",
    bare: "on",
    value: "state",
    declare: "declare the switch first: [switch.NAME]",
};

/// Reads a `when` about these options.
pub(crate) fn parse(text: &str, options: &[OptionQuestion]) -> Result<Expression, Complaint> {
    expression(text, options, OPTIONS)
}

/// Reads an expression about these switches and their states.
pub(crate) fn parse_states(
    text: &str,
    switches: &[OptionQuestion],
) -> Result<Expression, Complaint> {
    expression(text, switches, SWITCHES)
}

fn expression(
    text: &str,
    options: &[OptionQuestion],
    subject: Subject,
) -> Result<Expression, Complaint> {
    let mut parser = Parser {
        text,
        tokens: tokens(text)?,
        next: 0,
        depth: 0,
        options,
        subject,
    };
    let expression = parser.any()?;
    match parser.peek() {
        None => Ok(expression),
        Some((_, range)) => {
            let help = "join two conditions by `and` or `or`";
            Err(Complaint::new("this comes after the end of the condition", help).on(range))
        }
    }
}

struct Parser<'t> {
    text: &'t str,
    tokens: Vec<(Token<'t>, Range<usize>)>,
    next: usize,
    depth: usize,
    options: &'t [OptionQuestion],
    subject: Subject,
}

impl<'t> Parser<'t> {
    fn peek(&self) -> Option<(Token<'t>, Range<usize>)> {
        self.tokens.get(self.next).cloned()
    }

    fn take(&mut self, wanted: Token<'_>) -> bool {
        let hit = self.peek().is_some_and(|(token, _)| token == wanted);
        self.next += usize::from(hit);
        hit
    }

    /// The end of the text, where something is missing.
    fn missing(&self, help: impl Into<String>) -> Complaint {
        let end = self.text.trim_end().len();
        Complaint::new("the condition ends too early", help).on(end..end)
    }

    fn any(&mut self) -> Result<Expression, Complaint> {
        let mut parts = vec![self.all()?];
        while self.take(Token::Word("or")) {
            parts.push(self.all()?);
        }
        Ok(single(parts, Expression::Any))
    }

    fn all(&mut self) -> Result<Expression, Complaint> {
        let mut parts = vec![self.no()?];
        while self.take(Token::Word("and")) {
            parts.push(self.no()?);
        }
        Ok(single(parts, Expression::All))
    }

    fn no(&mut self) -> Result<Expression, Complaint> {
        let Some((token, range)) = self.peek() else {
            return Err(self.missing(self.options_help()));
        };
        if self.depth >= DEEPEST {
            let help = "write it with fewer parentheses and `not`s";
            return Err(Complaint::new("this condition is nested too deeply", help).on(range));
        }
        self.depth += 1;
        self.next += 1;
        let result = match token {
            Token::Word("not") => self.no().map(|inner| Expression::Not(Box::new(inner))),
            Token::Open => self.any().and_then(|inner| {
                if self.take(Token::Close) {
                    Ok(inner)
                } else {
                    let help = "close it with `)`";
                    Err(Complaint::new("this parenthesis is not closed", help).on(range))
                }
            }),
            Token::Word(word) if !matches!(word, "and" | "or") => self.comparison(word, range),
            _ => {
                let word = self.subject.word;
                let message = format!("{} {word} name was expected here", article(word));
                Err(Complaint::new(message, self.options_help()).on(range))
            }
        };
        self.depth -= 1;
        result
    }

    fn comparison(&mut self, name: &str, range: Range<usize>) -> Result<Expression, Complaint> {
        let Subject {
            word,
            bare,
            value: kind,
            ..
        } = self.subject;
        let Some(option) = self.options.iter().position(|o| o.name == name) else {
            return Err(Complaint::new(
                format!("there is no {word} {}", quote(name)),
                suggest(
                    name,
                    self.options.iter().map(|o| o.name.as_str()),
                    self.options_help(),
                ),
            )
            .on(range));
        };
        let choices = &self.options[option].choices;
        let has = |value: &str| choices.iter().any(|choice| choice == value);
        let values = || list(choices.iter().map(String::as_str));
        if !self.take(Token::Equals) {
            if has(bare) {
                return Ok(Expression::Is(option, bare.to_owned()));
            }
            let message = if word == "option" {
                format!("option `{name}` is not answered by yes or no")
            } else {
                format!("{word} `{name}` has no state `{bare}`")
            };
            return Err(Complaint::new(
                message,
                format!("write `{name} == …` with one of {}", values()),
            )
            .on(range));
        }
        let help = if word == "option" {
            format!("option `{name}` is answered by {}", values())
        } else {
            format!("{word} `{name}` has the states {}", values())
        };
        match self.peek() {
            Some((Token::Word(value) | Token::Quoted(value), at)) => {
                self.next += 1;
                if has(value) {
                    return Ok(Expression::Is(option, value.to_owned()));
                }
                Err(Complaint::new(
                    format!("{word} `{name}` has no {kind} {}", quote(value)),
                    help,
                )
                .on(at))
            }
            Some((_, at)) => Err(Complaint::new("a value was expected here", help).on(at)),
            None => Err(self.missing(help)),
        }
    }

    fn options_help(&self) -> String {
        if self.options.is_empty() {
            return self.subject.declare.to_owned();
        }
        let names = self.options.iter().map(|o| o.name.as_str());
        format!("the {} are {}", plural(self.subject.word), list(names))
    }
}

fn article(word: &str) -> &'static str {
    if word == "option" { "an" } else { "a" }
}

fn plural(word: &str) -> &'static str {
    if word == "option" {
        "options"
    } else {
        "switches"
    }
}

fn single(mut parts: Vec<Expression>, join: fn(Vec<Expression>) -> Expression) -> Expression {
    if parts.len() == 1 {
        parts.remove(0)
    } else {
        join(parts)
    }
}

#[cfg(test)]
mod tests;
