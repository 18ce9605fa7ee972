//! What is wrong with a plan, where, and what to do about it.

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use std::ops::Range;

/// Byte range in the plan's text.
pub(crate) type Span = Range<usize>;

/// Most problems that are listed; the rest would be a consequence or a file
/// that is no plan at all.
const MOST_LISTED: usize = 500;

/// What kind of problem this is; it decides the command's exit status.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Class {
    /// A mistake in the plan or in the answers (exit status 2).
    Plan,
    /// Refused as unsafe (exit status 4 when there is nothing else).
    Unsafe,
}

/// A place in the plan's text.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Place {
    /// Byte range in the text.
    pub span: Range<usize>,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

/// A second place that belongs to a problem.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Secondary {
    /// Where.
    pub place: Place,
    /// What is there, in a few words.
    pub label: String,
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Problem {
    /// What is wrong.
    pub message: String,
    /// Where in the file; `None` when it is not in the file (an answer given
    /// on the command line, a file that cannot be opened).
    pub at: Option<Place>,
    /// What was expected, or what to do next.
    pub help: Option<String>,
    /// Where the other half of a conflict is.
    pub also: Option<Secondary>,
    /// Mistake or refusal.
    pub class: Class,
}

impl Problem {
    /// A problem that has no place in the file.
    pub(crate) fn placeless(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            message: message.into(),
            at: None,
            help: Some(help.into()),
            also: None,
            class: Class::Plan,
        }
    }
}

/// Whether there are problems and every one of them is a refusal: then the
/// command ends with "refused as unsafe" rather than with "plan error".
#[must_use]
pub fn only_unsafe(problems: &[Problem]) -> bool {
    !problems.is_empty() && problems.iter().all(|p| p.class == Class::Unsafe)
}

/// What a parser of one string says about it: which part, what is wrong, what
/// to write instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Complaint {
    /// The part of the string that is wrong; `None` for all of it.
    pub part: Option<Range<usize>>,
    /// What is wrong.
    pub message: String,
    /// What was expected, or what to do next.
    pub help: Option<String>,
}

impl Complaint {
    /// A complaint about the whole string.
    pub(crate) fn new(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self {
            part: None,
            message: message.into(),
            help: Some(help.into()),
        }
    }

    /// The same, about a part of the string.
    pub(crate) fn on(mut self, part: Range<usize>) -> Self {
        self.part = Some(part);
        self
    }
}

/// Collects problems while a plan is walked.
pub(crate) struct Problems<'s> {
    source: &'s str,
    line_starts: Vec<usize>,
    list: Vec<Problem>,
    more: usize,
}

impl<'s> Problems<'s> {
    /// An empty list for problems in this text.
    pub(crate) fn new(source: &'s str) -> Self {
        let line_starts = std::iter::once(0)
            .chain(source.match_indices('\n').map(|(at, _)| at + 1))
            .collect();
        Self {
            source,
            line_starts,
            list: Vec::new(),
            more: 0,
        }
    }

    /// The text that is being read.
    pub(crate) const fn source(&self) -> &'s str {
        self.source
    }

    pub(crate) const fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Line (from 0) of a byte position.
    pub(crate) fn line_of(&self, byte: usize) -> usize {
        self.line_starts
            .partition_point(|&start| start <= byte)
            .saturating_sub(1)
    }

    fn place(&self, span: &Span) -> Place {
        let start = boundary(self.source, span.start);
        let end = boundary(self.source, span.end).max(start);
        let line = self.line_of(start);
        let line_start = self.line_starts.get(line).copied().unwrap_or(0);
        let column = self
            .source
            .get(line_start..start)
            .map_or(0, |before| before.chars().count());
        Place {
            span: start..end,
            line: line + 1,
            column: column + 1,
        }
    }

    fn push(&mut self, problem: Problem) {
        if self.list.len() < MOST_LISTED {
            if !self.list.contains(&problem) {
                self.list.push(problem);
            }
        } else {
            self.more += 1;
        }
    }

    /// Notes a mistake at a place.
    pub(crate) fn note(&mut self, at: &Span, message: impl Into<String>, help: impl Into<String>) {
        let problem = Problem {
            at: Some(self.place(at)),
            ..Problem::placeless(message, help)
        };
        self.push(problem);
    }

    /// Notes a mistake that has a second place.
    pub(crate) fn note_pair(
        &mut self,
        at: &Span,
        message: impl Into<String>,
        help: impl Into<String>,
        other: &Span,
        label: impl Into<String>,
    ) {
        let problem = Problem {
            at: Some(self.place(at)),
            also: Some(Secondary {
                place: self.place(other),
                label: label.into(),
            }),
            ..Problem::placeless(message, help)
        };
        self.push(problem);
    }

    /// Refuses something as unsafe, with the place that makes it so.
    pub(crate) fn refuse(
        &mut self,
        at: &Span,
        message: impl Into<String>,
        help: impl Into<String>,
        because: Option<(&Span, String)>,
    ) {
        let also = because.map(|(span, label)| Secondary {
            place: self.place(span),
            label,
        });
        let problem = Problem {
            at: Some(self.place(at)),
            class: Class::Unsafe,
            also,
            ..Problem::placeless(message, help)
        };
        self.push(problem);
    }

    /// Notes a mistake that has no place in the file.
    pub(crate) fn note_placeless(&mut self, problem: Problem) {
        self.push(problem);
    }

    /// Everything noted, in file order, what has no place first.
    pub(crate) fn finish(mut self) -> Vec<Problem> {
        self.list
            .sort_by_key(|p| p.at.as_ref().map(|at| (at.span.start, at.span.end)));
        if self.more > 0 {
            self.list.push(Problem::placeless(
                format!("and {} more problems", self.more),
                "put these right first, then read the plan again",
            ));
        }
        self.list
    }
}

/// The nearest character boundary at or before `at`.
fn boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Whether a character spoils a line of text: controls, and what turns the order of
/// the characters behind it round, so that a text reads otherwise than it is
/// (Unicode UAX 9, explicit embeddings, overrides and isolates; from memory).
pub(crate) fn spoils(c: char) -> bool {
    c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// The user's own text, quoted for a message: shortened, characters that spoil
/// made visible.
pub(crate) fn quote(text: &str) -> String {
    let mut short: String = text.chars().take(60).collect::<String>();
    if short.len() < text.len() {
        short.push('…');
    }
    let visible: String = short
        .chars()
        .flat_map(|c| {
            if spoils(c) {
                c.escape_default().collect::<Vec<_>>()
            } else {
                vec![c]
            }
        })
        .collect();
    format!("`{visible}`")
}

/// The problems as text for a person, each with the lines of the plan it is
/// about. `path` and `source` are the plan's; `colour` is for a terminal.
#[must_use]
pub fn render(problems: &[Problem], path: &str, source: &str, colour: bool) -> String {
    let renderer = if colour {
        Renderer::styled()
    } else {
        Renderer::plain()
    };
    let mut out = String::new();
    for problem in problems {
        let level = match problem.class {
            Class::Plan => Level::ERROR,
            Class::Unsafe => Level::ERROR.with_name("refused"),
        };
        let mut group = level
            .primary_title(problem.message.as_str())
            .elements(Vec::<annotate_snippets::Message<'_>>::new());
        if let Some(at) = &problem.at {
            let mut places = vec![(at, None)];
            if let Some(also) = &problem.also {
                places.push((&also.place, Some(also.label.as_str())));
            }
            let (window, skipped_bytes, first_line) = window(source, &places);
            let local = |place: &Place| {
                let start = place.span.start.saturating_sub(skipped_bytes);
                let end = place.span.end.saturating_sub(skipped_bytes);
                start.min(window.len())..end.min(window.len())
            };
            let mut snippet = Snippet::source(window)
                .path(path)
                .line_start(first_line)
                .fold(true)
                .annotation(AnnotationKind::Primary.span(local(at)));
            if let Some(also) = &problem.also {
                let context = AnnotationKind::Context.span(local(&also.place));
                snippet = snippet.annotation(context.label(also.label.as_str()));
            }
            group = group.element(snippet);
        }
        if let Some(help) = &problem.help {
            group = group.element(Level::HELP.message(help.as_str()));
        }
        out.push_str(&renderer.render(&[group]));
        out.push_str("\n\n");
    }
    out
}

/// The whole lines that hold all the places, how many bytes stand before them
/// and the number of the first line. Keeps rendering quick in a long file.
fn window<'s>(source: &'s str, places: &[(&Place, Option<&str>)]) -> (&'s str, usize, usize) {
    let starts = places.iter().map(|(p, _)| p.span.start);
    let ends = places.iter().map(|(p, _)| p.span.end);
    let first = boundary(source, starts.min().unwrap_or(0));
    let last = boundary(source, ends.max().unwrap_or(0)).max(first);
    let from = source[..first].rfind('\n').map_or(0, |at| at + 1);
    let to = source[last..]
        .find('\n')
        .map_or(source.len(), |at| last + at);
    let line = places.iter().map(|(p, _)| p.line).min().unwrap_or(1);
    (&source[from..to], from, line)
}
