//! How things went over time, for plots: each path of one harness, the first-pass
//! yield by month, faults by kind.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::database::{StoreError, Value};
use super::filter::Filter;
use super::paths::MicroOhms;
use super::record::{Record, RecordError, Test};
use super::shop::TELLING;
use super::store::Store;
use crate::ringout::report::Verdict;

/// First runs are added up by quarters of an hour: every month of every time zone
/// in use begins at one (IANA time zone database; from memory).
const QUARTER_MS: i64 = 15 * 60 * 1000;

/// A reading of a path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Point {
    /// When.
    pub taken: Timestamp,
    /// Ohms; `None` where nothing came through or it did not settle.
    pub ohms: Option<MicroOhms>,
    /// Whether the whole run passed.
    pub passed: bool,
}

/// A path over time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Track {
    /// The path.
    pub path: String,
    /// A change from here on is more than clips and noise do.
    pub telling: MicroOhms,
    /// Its readings, the first first.
    pub points: Vec<Point>,
}

impl Track {
    /// The readings in ohms of runs that passed, first and last.
    #[must_use]
    pub fn ends(&self) -> Option<(MicroOhms, MicroOhms)> {
        let mut passed = self
            .points
            .iter()
            .filter(|point| point.passed)
            .filter_map(|point| point.ohms);
        let first = passed.next()?;
        Some((first, passed.next_back().unwrap_or(first)))
    }

    /// How much it rose over the runs that passed.
    #[must_use]
    pub fn rise(&self) -> MicroOhms {
        self.ends()
            .map_or(MicroOhms(0), |(first, last)| MicroOhms(last.0 - first.0))
    }
}

/// Every path of one harness over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Title of the plan.
    pub title: String,
    /// When the runs were, the first first.
    pub runs: Vec<Timestamp>,
    /// Its paths that a run which passed has read, the largest rise first.
    pub tracks: Vec<Track>,
    /// Paths that no run which passed has read.
    pub unread: Vec<String>,
    /// Runs by another state of the plan file, which are left out.
    pub other_plan: usize,
    /// Records that were altered, which are left out.
    pub altered: Vec<(i64, RecordError)>,
}

/// Why there is no course.
#[derive(Debug, thiserror::Error)]
pub enum CourseError {
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// No run.
    #[error(
        "no ring-out of that is kept; `loomproof records list` shows what is (--simulated looks \
         at simulated wires)"
    )]
    Nothing,
    /// Several plans.
    #[error("its ring-outs are of several plans: {}; say which with --plan", .0.join("; "))]
    Several(Vec<String>),
}

/// A month of first runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Month {
    /// The year.
    pub year: i16,
    /// The month, 1 to 12.
    pub month: i8,
    /// Harnesses or vehicles that were rung out for the first time.
    pub subjects: i64,
    /// How many of them passed.
    pub passed: i64,
}

/// How often a kind of fault was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KindCount {
    /// The kind, as spelled in `--fault`.
    pub kind: String,
    /// Thousandths of faults, as the shop view counts them.
    pub permille: i64,
}

impl Store {
    /// Every path of the harness that a filter names, over its ring-outs.
    ///
    /// # Errors
    /// [`CourseError`].
    pub fn course(&mut self, filter: &Filter, simulated: bool) -> Result<Course, CourseError> {
        let filter = Filter {
            test: Some(Test::Ringout),
            ..filter.clone()
        };
        let mut records: Vec<(Timestamp, Record)> = Vec::new();
        let mut altered = Vec::new();
        self.walk::<StoreError>(&filter, &mut |number, stored| {
            match stored.and_then(|stored| Ok((stored.sealed.record.at()?, stored.sealed.record))) {
                Ok((at, mut record)) if record.simulated == simulated => {
                    // Only the paths are wanted; the rest is large.
                    record.report = serde_json::Value::Null;
                    record.scan = None;
                    records.push((at, record));
                }
                Ok(_) => {}
                Err(error) => altered.push((number, error)),
            }
            Ok(())
        })?;
        records.sort_by_key(|(at, _)| *at);
        let mut titles: Vec<&String> = records.iter().map(|(_, record)| &record.title).collect();
        titles.sort_unstable();
        titles.dedup();
        if titles.len() > 1 {
            return Err(CourseError::Several(titles.into_iter().cloned().collect()));
        }
        let Some((_, latest)) = records.last() else {
            return Err(CourseError::Nothing);
        };
        let (title, digest) = (latest.title.clone(), latest.plan_digest.clone());
        let all = records.len();
        records.retain(|(_, record)| record.plan_digest == digest);
        let (tracks, unread) = tracks(&records).into_iter().partition(|track| {
            let track: &Track = track;
            track.ends().is_some()
        });
        let mut tracks: Vec<Track> = tracks;
        tracks.sort_by_key(|track| std::cmp::Reverse(track.rise()));
        let unread: Vec<Track> = unread;
        Ok(Course {
            title,
            runs: records.iter().map(|(at, _)| *at).collect(),
            tracks,
            unread: unread.into_iter().map(|track| track.path).collect(),
            other_plan: all - records.len(),
            altered,
        })
    }

    /// First-pass yield month by month, of all plans or of one.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn months(
        &mut self,
        title: Option<&str>,
        simulated: bool,
        zone: &TimeZone,
    ) -> Result<Vec<Month>, StoreError> {
        let (of_plan, values) = of_plan(title, simulated);
        let rows = self.db.query(
            &format!(
                "SELECT at_ms / {QUARTER_MS}, COUNT(*), \
                 CAST(SUM(CASE WHEN verdict = 'pass' THEN 1 ELSE 0 END) AS BIGINT) \
                 FROM first_run WHERE {of_plan} GROUP BY at_ms / {QUARTER_MS} \
                 ORDER BY at_ms / {QUARTER_MS}"
            ),
            &values,
        )?;
        let mut months: Vec<Month> = Vec::new();
        // Of a day's month is asked only where another one has begun.
        let mut until = Timestamp::MIN;
        for row in &rows {
            let at = row.int(0).saturating_mul(QUARTER_MS);
            let Ok(at) = Timestamp::from_millisecond(at) else {
                continue;
            };
            if at >= until {
                let here = at.to_zoned_datetime(zone.clone());
                let next = here.last_of_month().and_then(|last| last.tomorrow());
                let next = next.and_then(|next| next.start_of_day());
                until = next.map_or(at, |next| next.timestamp());
                months.push(Month {
                    year: here.year(),
                    month: here.month(),
                    subjects: 0,
                    passed: 0,
                });
            }
            if let Some(own) = months.last_mut() {
                own.subjects += row.int(1);
                own.passed += row.int(2);
            }
        }
        Ok(months)
    }

    /// Faults by kind, the most frequent first, of all plans or of one.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn kinds(
        &mut self,
        title: Option<&str>,
        simulated: bool,
    ) -> Result<Vec<KindCount>, StoreError> {
        let (of_plan, values) = of_plan(title, simulated);
        let rows = self.db.query(
            &format!(
                "SELECT kind, CAST(SUM(permille) AS BIGINT) FROM fault WHERE {of_plan} \
                 GROUP BY kind ORDER BY SUM(permille) DESC, kind"
            ),
            &values,
        )?;
        let count = |row: &super::database::Row| KindCount {
            kind: row.text(0).to_owned(),
            permille: row.int(1),
        };
        Ok(rows.iter().map(count).collect())
    }
}

fn of_plan(title: Option<&str>, simulated: bool) -> (&'static str, Vec<Value>) {
    match title {
        None => ("simulated = $1", vec![simulated.into()]),
        Some(title) => (
            "simulated = $1 AND title = $2",
            vec![simulated.into(), title.into()],
        ),
    }
}

/// The paths in the order of their first reading, each with its readings.
fn tracks(records: &[(Timestamp, Record)]) -> Vec<Track> {
    let mut at: BTreeMap<String, usize> = BTreeMap::new();
    let mut tracks: Vec<Track> = Vec::new();
    for (taken, record) in records {
        for path in &record.paths {
            let index = *at.entry(path.name()).or_insert_with(|| {
                tracks.push(Track {
                    path: path.name(),
                    telling: MicroOhms(0),
                    points: Vec::new(),
                });
                tracks.len() - 1
            });
            let Some(track) = tracks.get_mut(index) else {
                continue;
            };
            // As the shop view judges a rise: between two readings.
            let telling = TELLING * std::f64::consts::SQRT_2 * path.sigma.ohms().0;
            let telling = MicroOhms::of(loomproof_core::units::Ohms(telling));
            track.telling = track.telling.max(telling);
            track.points.push(Point {
                taken: *taken,
                ohms: path.ohms,
                passed: record.verdict == Verdict::Pass,
            });
        }
    }
    tracks
}
