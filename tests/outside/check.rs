//! One definition of a check, from which its test and its row of
//! `docs/outside-checks.md` are made.

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Status {
    /// Seen in the source named, or in a page that quotes it.
    Read,
    /// Computed beforehand with a program or formula that is not the code under test.
    Ran,
    /// Not read: plausibility only.
    Memory,
}

impl Status {
    /// The word in the page.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Ran => "ran",
            Self::Memory => "memory",
        }
    }
}

/// A value, theirs or ours.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number, in the unit that the check names.
    Number(f64),
    /// Anything else, as words.
    Words(String),
}

impl From<f64> for Value {
    fn from(number: f64) -> Self {
        Self::Number(number)
    }
}

impl From<String> for Value {
    fn from(words: String) -> Self {
        Self::Words(words)
    }
}

impl From<&str> for Value {
    fn from(words: &str) -> Self {
        Self::Words(words.to_owned())
    }
}

impl Value {
    fn printed(&self) -> String {
        match self {
            Self::Number(number) => significant(*number, 6),
            Self::Words(words) => words.clone(),
        }
    }
}

/// How far ours may be from theirs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limit {
    /// As a share of theirs.
    Share(f64),
    /// In the unit of the value.
    Off(f64),
    /// Theirs is the most that may be; ours is no less than this share of it.
    AtMost(f64),
    /// The very same.
    Same,
}

impl Limit {
    fn printed(self) -> String {
        match self {
            Self::Share(share) if share < 1e-6 => format!("{share:e}"),
            Self::Share(share) => format!("{} %", significant(share * 100.0, 3)),
            Self::Off(off) => format!("± {}", significant(off, 3)),
            Self::AtMost(share) => format!("{} to 100 %", significant(share * 100.0, 3)),
            Self::Same => "the same".to_owned(),
        }
    }
}

/// How ours is found.
pub type Ours = Box<dyn Fn() -> Value>;

/// One value from outside, and ours.
pub struct Check {
    /// What is compared, with its unit.
    pub what: String,
    /// Who says so, and where.
    pub source: &'static str,
    /// How that is known.
    pub status: Status,
    /// Their value.
    pub theirs: Value,
    /// How far ours may be off.
    pub limit: Limit,
    /// Our value.
    pub ours: Ours,
    /// The test that holds it, in the file of the source.
    pub test: &'static str,
}

/// A check once ours is known.
pub struct Held {
    /// Our value.
    pub ours: Value,
    /// Off by this: a share of theirs, or in the unit of the value.
    pub off: Option<f64>,
    /// Within the limit.
    pub good: bool,
}

impl Check {
    /// Finds our value and compares.
    #[must_use]
    pub fn held(&self) -> Held {
        let ours = (self.ours)();
        let (off, good) = match (&self.theirs, &ours, self.limit) {
            (Value::Number(theirs), Value::Number(ours), limit) => {
                let share = ours / theirs - 1.0;
                // What is not a number is never good.
                match limit {
                    Limit::Share(most) => (Some(share), share.abs() < most),
                    Limit::Off(most) => (Some(ours - theirs), (ours - theirs).abs() < most),
                    Limit::AtMost(least) => {
                        (Some(share), ours <= theirs && *ours >= theirs * least)
                    }
                    Limit::Same => (Some(share), (ours - theirs).abs() == 0.0),
                }
            }
            (theirs, ours, _) => (None, theirs == ours),
        };
        Held { ours, off, good }
    }

    /// The row of the page; `file` is where the test is.
    #[must_use]
    pub fn row(&self, file: &str) -> String {
        let held = self.held();
        let off = match (held.off, self.limit) {
            (None, _) if held.good => "none".to_owned(),
            (None, _) => "**differs**".to_owned(),
            // Below this the last digits of the machine's own logarithms show.
            (Some(off), _) if off.abs() < 1e-9 => "none".to_owned(),
            (Some(off), Limit::Off(_)) => significant(off, 2),
            (Some(off), _) => format!("{} %", significant(off * 100.0, 2)),
        };
        format!(
            "| {} | {} | {} | {} | {off} | {} | {} `{file}::{}` |\n",
            self.what,
            self.status.word(),
            self.theirs.printed(),
            held.ours.printed(),
            self.limit.printed(),
            if held.good { "" } else { "**missed**" },
            self.test,
        )
        .replace("|  `", "| `")
    }
}

/// Asserts that every check of a test holds.
///
/// # Panics
/// When one does not, with all of them; when the test holds nothing.
pub fn hold(checks: &[Check], test: &str) {
    let mut missed = Vec::new();
    let mut count = 0;
    for check in checks.iter().filter(|check| check.test == test) {
        count += 1;
        let held = check.held();
        println!(
            "{}: theirs {:?}, ours {:?}",
            check.what, check.theirs, held.ours
        );
        if !held.good {
            missed.push(format!(
                "{} ({}): theirs {:?}, ours {:?}, allowed {:?}",
                check.what, check.source, check.theirs, held.ours, check.limit
            ));
        }
    }
    assert!(count > 0, "{test} holds no check");
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}

/// Asserts that the tests of a file are those that its checks name.
///
/// # Panics
/// When a check has no test, or a test no check.
pub fn every_check_has_a_test(checks: &[Check], tests: &[&str]) {
    let named: std::collections::BTreeSet<&str> = checks.iter().map(|check| check.test).collect();
    let there: std::collections::BTreeSet<&str> = tests.iter().copied().collect();
    assert_eq!(named, there);
}

/// The tests of a source: one for each name, and one that no check is left out.
#[macro_export]
#[doc(hidden)]
macro_rules! checked {
    ($($(#[$said:meta])* $name:ident),+ $(,)?) => {
        #[cfg(test)]
        mod tests {
            $(
                $(#[$said])*
                #[test]
                fn $name() {
                    $crate::outside::check::hold(&super::checks(), stringify!($name));
                }
            )+

            #[test]
            fn every_check_has_a_test() {
                $crate::outside::check::every_check_has_a_test(&super::checks(), &[$(stringify!($name)),+]);
            }
        }
    };
}

/// A number with so many significant digits and no trailing zeros.
#[must_use]
pub fn significant(number: f64, digits: usize) -> String {
    if number == 0.0 || !number.is_finite() {
        return format!("{number}");
    }
    let power = number.abs().log10().floor();
    if !(-4.0..7.0).contains(&power) {
        let text = format!("{number:.*e}", digits.saturating_sub(1));
        return match text.split_once('e') {
            Some((mantissa, exponent)) if mantissa.contains('.') => format!(
                "{}e{exponent}",
                mantissa.trim_end_matches('0').trim_end_matches('.')
            ),
            _ => text,
        };
    }
    let places = (digits as f64 - 1.0 - power).max(0.0) as usize;
    let text = format!("{number:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(theirs: f64, ours: f64, limit: Limit) -> Check {
        Check {
            what: "a length, m".to_owned(),
            source: "a ruler",
            status: Status::Ran,
            theirs: theirs.into(),
            limit,
            ours: Box::new(move || ours.into()),
            test: "a_test",
        }
    }

    #[test]
    fn what_is_off_is_not_good() {
        for (limit, good, bad) in [
            (Limit::Share(0.01), 2.019, 2.021),
            (Limit::Off(0.01), 1.991, 1.989),
            (Limit::AtMost(0.85), 1.71, 1.69),
            (Limit::AtMost(0.85), 2.0, 2.001),
            (Limit::Same, 2.0, 2.000_000_1),
            (Limit::Share(0.01), 2.0, f64::NAN),
            (Limit::Off(0.01), 2.0, f64::NAN),
            (Limit::AtMost(0.5), 2.0, f64::NAN),
        ] {
            assert!(check(2.0, good, limit).held().good, "{limit:?}");
            assert!(!check(2.0, bad, limit).held().good, "{limit:?}");
        }
        let bad = check(2.0, 3.0, Limit::Same);
        assert!(bad.row("f").contains("**missed**") && bad.row("f").contains("50 %"));
        assert!(!check(2.0, 2.0, Limit::Same).row("f").contains("missed"));
    }

    #[test]
    #[should_panic(expected = "a ruler")]
    fn a_missed_check_fails_its_test() {
        hold(&[check(2.0, 3.0, Limit::Share(0.1))], "a_test");
    }

    #[test]
    #[should_panic(expected = "no check")]
    fn a_test_without_checks_fails() {
        hold(&[], "a_test");
    }

    #[test]
    fn digits_that_count() {
        for (number, printed) in [
            (33.308, "33.308"),
            (0.000_44, "0.00044"),
            (2.0, "2"),
            (1e-10, "1e-10"),
            (-0.012_34, "-0.0123"),
            (120_000.0, "120000"),
        ] {
            assert_eq!(
                significant(number, if number < 0.0 { 3 } else { 6 }),
                printed
            );
        }
    }
}
