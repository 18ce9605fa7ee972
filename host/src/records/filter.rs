//! Which records are meant.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::database::Value;
use super::record::Test;
use crate::ringout::report::Verdict;

/// Which records are meant; every part narrows it.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// Title of the plan.
    pub title: Option<String>,
    /// Serial number of the harness.
    pub unit: Option<String>,
    /// The vehicle.
    pub vehicle: Option<String>,
    /// The batch.
    pub batch: Option<String>,
    /// Who measured.
    pub who: Option<String>,
    /// What was done.
    pub test: Option<Test>,
    /// The verdict.
    pub verdict: Option<Verdict>,
    /// Not before.
    pub since: Option<Timestamp>,
    /// Before.
    pub until: Option<Timestamp>,
}

impl Filter {
    /// As conditions of a statement whose first values are `values`, of records
    /// behind a number.
    #[must_use]
    pub fn conditions(&self, after: i64, values: &mut Vec<Value>) -> String {
        values.push(after.into());
        let mut sql = format!("seq > ${}", values.len());
        let mut add = |condition: &str, value: Value| {
            values.push(value);
            sql.push_str(&format!(" AND {condition} ${}", values.len()));
        };
        let texts = [
            ("title =", &self.title),
            ("unit =", &self.unit),
            ("vehicle =", &self.vehicle),
            ("batch =", &self.batch),
            ("who =", &self.who),
        ];
        for (condition, text) in texts {
            if let Some(text) = text {
                add(condition, text.into());
            }
        }
        if let Some(test) = self.test {
            add("test =", test.word().into());
        }
        if let Some(verdict) = self.verdict {
            add("verdict =", verdict.word().into());
        }
        if let Some(since) = self.since {
            add("taken_ms >=", since.as_millisecond().into());
        }
        if let Some(until) = self.until {
            add("taken_ms <", until.as_millisecond().into());
        }
        sql
    }
}

/// Reads `2026-11-25` (midnight here) or an RFC 3339 time.
///
/// # Errors
/// How to write it.
pub fn time(text: &str) -> Result<Timestamp, String> {
    if let Ok(at) = text.parse::<Timestamp>() {
        return Ok(at);
    }
    text.parse::<Date>()
        .ok()
        .and_then(|date| date.to_zoned_datetime(TimeZone::system()).ok())
        .map(|zoned| zoned.timestamp())
        .ok_or_else(|| format!("{text}: write a day as 2026-11-25, or a time as RFC 3339"))
}
