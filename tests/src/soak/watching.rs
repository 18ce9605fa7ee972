//! A day of watching joints, of which up to three let go at known times.
//!
//! Either window follows window, as the command does it, or the clock goes on between
//! (never for longer than the probe stays armed, with the ohms of a path read now and
//! then), and windows lie around every dropout. When the probe's clock wraps round,
//! nobody speaks: for long enough that its permission to drive must end, and the next
//! time for just not so long.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;
use std::time::Duration;

use loomproof::bench::hal::Shared;
use loomproof::bench::{Bench, Settings};
use loomproof::link::{Link, LinkError, Loopback, Session, VirtualProbe};
use loomproof::wiggle::round::{Rounds, Trouble};
use loomproof::wiggle::watchable::watchable;
use loomproof::wiggle::{Tally, Watch};
use loomproof_core::units::Micros;
use loomproof_core::wire::{Hello, LeadId, MAX_WATCH, Refusal, Reply, Request};

use super::drift::{Course, Moved};
use super::loose::{CERTAIN, Loose, OFTENER, happened, joints};
use super::memory::Samples;
use super::ringing::smallest;
use crate::campaign::site::Loaded;

/// Windows around a dropout begin so long before it, and end so long after its
/// beginning, µs.
const AROUND: u64 = 10_000;

/// The clock goes on by so much at most: the permission to drive lasts for 3 s, µs.
const SILENCE: u64 = 2_500_000;

/// A path is read so often: each so manyth time that the clock goes on.
const PATHS: u64 = 8;

/// Where the probe's clock of microseconds wraps round.
const WRAP: u64 = 1 << 32;

/// The permission to drive ends after so long, µs (docs/wire-format.md).
const PERMISSION: u64 = 3_000_000;

/// A path's ohms are believed to a milliohm.
const STEP: f64 = 1e-3;

/// How a soak goes.
#[derive(Debug, Clone, Copy)]
pub struct Way {
    /// Where the probe's clock stands at the beginning.
    pub from: Duration,
    /// How long, on that clock.
    pub span: Duration,
    /// Window follows window; else windows lie around the dropouts.
    pub unbroken: bool,
}

/// What a soak came to.
#[derive(Debug, Default)]
pub struct Watched {
    /// Time on the probe's clock, µs.
    pub lasted: u64,
    /// Of that, in windows, µs.
    pub watched: u64,
    /// Windows.
    pub windows: u64,
    /// Requests that were answered.
    pub requests: u64,
    /// How often the number of a request went round.
    pub numbers: u64,
    /// How often the probe's clock wrapped round.
    pub wraps: u64,
    /// How often a permission ended, and how often it held, while it did.
    pub silences: [u64; 2],
    /// Dropouts that lay within windows.
    pub dropouts: u64,
    /// Of those, counted.
    pub counted: u64,
    /// Dropouts that the beginning or end of a window cut.
    pub cut: u64,
    /// What was not as it should be.
    pub wrong: Vec<String>,
    /// The longest from a dropout to its time in the tally, µs.
    pub latest: u64,
    /// The tally's clock less the bench's in the end, µs.
    pub astray: i64,
    /// The path whose ohms moved most for their spread.
    pub moved: Option<Moved>,
    /// Paths whose ohms drifted.
    pub drifted: usize,
    /// What the list of all openings takes, which is kept for the report, bytes.
    pub listed: usize,
    /// This process.
    pub own: Samples,
}

/// The session, and what was asked over it.
struct Asked {
    session: Session<Loopback>,
    requests: u64,
    /// When the first window began, by the probe's clock.
    began: Option<u32>,
}

/// One end of it: the rounds have one, who is silent in between another.
struct Handle {
    hello: Hello,
    asked: Rc<RefCell<Asked>>,
}

impl Link for Handle {
    fn hello(&self) -> &Hello {
        &self.hello
    }

    fn exchange(&mut self, request: &Request) -> Result<Reply, LinkError> {
        let mut asked = self.asked.borrow_mut();
        asked.requests += 1;
        let reply = asked.session.exchange(request)?;
        if let Reply::Guarded { at, .. } = &reply {
            asked.began.get_or_insert(at.0);
        }
        Ok(reply)
    }
}

/// A soak under way.
struct Soak<'s> {
    site: &'s Loaded,
    watch: &'s Watch,
    loose: Vec<Loose>,
    bench: Shared,
    way: Way,
    end: u64,
    /// The bench's clock when the tally's stood at 0, µs.
    zero: u64,
    tally: Tally,
    courses: BTreeMap<(usize, LeadId), Course>,
    /// Paths in turn.
    turn: usize,
    /// How often the clock went on.
    leaps: u64,
    /// When the clock wraps round next.
    wrap: u64,
    out: Watched,
}

/// Watches; `tell` is called now and then with the time that is over, µs.
///
/// # Errors
/// What ends a watch, or does not work on the bench.
pub fn watch(way: Way, tell: &mut dyn FnMut(u64)) -> Result<Watched, String> {
    let site = smallest()?;
    let watch = watchable(&site.job, &site.model, site.site.place);
    let (loose, upsets) = joints(&watch, if way.unbroken { OFTENER } else { 1 })?;
    let settings = Settings {
        noise: true,
        ..site.nominal()
    };
    let made = Bench::upset(&site.job, &site.hookup, &[], &upsets, &settings);
    let probe = VirtualProbe::new(made.map_err(|error| error.to_string())?);
    let bench = probe.bench().clone();
    bench.wait(way.from);
    let session = probe.session().map_err(|error| error.to_string())?;
    let hello = session.hello().clone();
    let asked = Rc::new(RefCell::new(Asked {
        session,
        requests: 0,
        began: None,
    }));
    let handle = || Handle {
        hello: hello.clone(),
        asked: Rc::clone(&asked),
    };
    let (mut link, mut other) = (handle(), handle());
    let mut rounds = Rounds::dead(&mut link, site.site.place).map_err(|e| e.to_string())?;
    let now = bench.now() / 1_000;
    let micros = |span: Duration| u64::try_from(span.as_micros()).unwrap_or(u64::MAX);
    let mut soak = Soak {
        site: &site,
        watch: &watch,
        loose,
        bench,
        way,
        end: now + micros(way.span),
        zero: 0,
        tally: Tally::new(&watch),
        courses: BTreeMap::new(),
        turn: 0,
        leaps: 0,
        wrap: (now / WRAP + 1) * WRAP,
        out: Watched::default(),
    };
    // The first window says what the tally's clock begins with.
    let first = rounds.window(0, &watch.groups[0], Micros(1_000));
    first.map_err(|error| error.to_string())?;
    let began = u64::from(asked.borrow().began.ok_or("no window")?);
    soak.zero = now / WRAP * WRAP + began;
    let begun = soak.zero;
    let mut said = 0;
    while soak.now() < soak.end {
        soak.go_on(&mut rounds, &mut other)
            .map_err(|error| error.to_string())?;
        let over = soak.now() - begun;
        if over - said >= (soak.end - begun) / 100 {
            said = over;
            soak.out.own.take(soak.share(), None);
            tell(over);
        }
    }
    let mut out = soak.out;
    // Without a window since, the tally's clock stands at the last one's end.
    let last = soak.tally.lasted + soak.zero;
    let end = soak.bench.now() / 1_000;
    out.lasted = end - begun;
    out.astray += last as i64 - last.min(end) as i64;
    out.requests = asked.borrow().requests;
    out.numbers = out.requests / (u64::from(u16::MAX) + 1);
    let spots = soak.tally.events.iter().map(|it| size_of_val(&*it.spots));
    out.listed = size_of_val(&*soak.tally.events) + spots.sum::<usize>();
    let moved: Vec<Moved> = soak.courses.values().filter_map(Course::moved).collect();
    out.drifted = moved.iter().filter(|moved| moved.drifted(STEP)).count();
    let for_its_spread = |moved: &Moved| moved.by.abs() / moved.sigma;
    out.moved = moved
        .into_iter()
        .filter(|moved| moved.sigma > 0.0)
        .max_by(|a, b| for_its_spread(a).total_cmp(&for_its_spread(b)));
    if soak.tally.unexplained > 0 {
        let count = soak.tally.unexplained;
        out.wrong.push(format!("{count} that no joint explains"));
    }
    let bench = soak.bench.0.borrow();
    if let Some(trouble) = bench.trouble() {
        return Err(trouble.to_string());
    }
    Ok(out)
}

impl Soak<'_> {
    /// The bench's clock, µs.
    fn now(&self) -> u64 {
        self.bench.now() / 1_000
    }

    fn share(&self) -> f64 {
        let over = self.now() + self.way.span.as_micros() as u64 - self.end;
        over as f64 / self.way.span.as_micros() as f64
    }

    fn go_on(&mut self, rounds: &mut Rounds<'_>, other: &mut Handle) -> Result<(), Trouble> {
        let now = self.now();
        if now + 2 * SILENCE > self.wrap {
            return self.be_silent(rounds, other);
        }
        if self.way.unbroken {
            for group in 0..self.watch.groups.len() {
                self.window(rounds, group, MAX_WATCH)?;
            }
            if self.out.windows.is_multiple_of(8) {
                self.path(rounds)?;
            }
            return Ok(());
        }
        let next = |it: &Loose| (it.first_from(now + AROUND / 2), it.group, it.long);
        let next = self.loose.iter().map(next).min();
        let Some((at, group, long)) = next else {
            return Ok(());
        };
        let until = at - AROUND;
        if until > now {
            self.wait((until - now).min(SILENCE));
            if until - now <= SILENCE {
                return Ok(());
            }
            self.leaps += 1;
            if self.leaps.is_multiple_of(PATHS) {
                return self.path(rounds);
            }
            other.exchange(&Request::Nulls(LeadId(0)))?;
            return Ok(());
        }
        let span = at + long + AROUND - now;
        self.window(
            rounds,
            group,
            Micros(u32::try_from(span).unwrap_or(u32::MAX)),
        )
    }

    fn wait(&self, micros: u64) {
        self.bench.wait(Duration::from_micros(micros));
    }

    /// The clock wraps round while nobody speaks.
    fn be_silent(&mut self, rounds: &mut Rounds<'_>, other: &mut Handle) -> Result<(), Trouble> {
        let ends = self.out.wraps.is_multiple_of(2);
        let long = if ends {
            PERMISSION + 100_000
        } else {
            PERMISSION - 100_000
        };
        // Somebody speaks until shortly before.
        while self.now() + long / 2 < self.wrap {
            self.wait((self.wrap - long / 2 - self.now()).min(SILENCE));
            // What takes no time and lets nothing go.
            other.exchange(&Request::Nulls(LeadId(0)))?;
            if self.now() + long / 2 >= self.wrap {
                break;
            }
        }
        self.wait(long);
        self.out.wraps += 1;
        self.wrap += WRAP;
        let group = &self.watch.groups[0];
        let window = rounds.window(0, group, Micros(1_000));
        match (ends, window) {
            (true, Err(Trouble::Refused(Refusal::NotArmed))) | (false, Ok(_)) => {
                self.out.silences[usize::from(!ends)] += 1;
            }
            (_, outcome) => {
                let silent = Duration::from_micros(long);
                let what = format!("after {silent:?} of silence: {outcome:?}");
                self.out.wrong.push(what);
            }
        }
        let reply = other.exchange(&Request::Arm(self.site.site.place))?;
        if reply != Reply::Armed {
            return Err(Trouble::WrongReply);
        }
        Ok(())
    }

    /// The ohms of the next path.
    fn path(&mut self, rounds: &mut Rounds<'_>) -> Result<(), Trouble> {
        let all = self.watch.groups.iter().enumerate();
        let all: Vec<_> = all
            .flat_map(|(at, group)| group.against.iter().map(move |pair| (at, *pair)))
            .collect();
        let Some((group, (lead, against))) = all.get(self.turn % all.len().max(1)).copied() else {
            return Ok(());
        };
        self.turn += 1;
        let from = self.now();
        let ohms = rounds.ohms(lead, against)?.0;
        let during = |it: &Loose| {
            let at = it.first_from(from.saturating_sub(it.long));
            at <= self.now()
        };
        if !self.loose.iter().any(during) {
            let share = self.share();
            let course = self.courses.entry((group, lead)).or_default();
            course.add(share, ohms);
        }
        Ok(())
    }

    /// One window, held against what happened in it.
    fn window(&mut self, rounds: &mut Rounds<'_>, at: usize, span: Micros) -> Result<(), Trouble> {
        let group = &self.watch.groups[at];
        let before = self.now();
        let window = rounds.window(at, group, span)?;
        let new = self.tally.window(self.watch, &window);
        let began = self.zero + window.began;
        let ends = began + window.took;
        // It began and ended while it was asked for, by the bench's clock.
        self.out.astray += i64::from(began < before) + i64::from(ends > self.now());
        self.out.windows += 1;
        self.out.watched += window.took;
        for it in &self.loose {
            if !group.signs.iter().any(|sign| sign.spot == it.spot) {
                continue;
            }
            let (within, cut) = happened(it, began, ends);
            let mine = new.iter().filter(|event| event.spots == [it.spot]);
            let counted: u64 = mine.clone().map(|event| u64::from(event.count)).sum();
            if counted < within.len() as u64 || counted > within.len() as u64 + cut {
                self.out.wrong.push(format!(
                    "spot {}: {counted} instead of {within:?} and {cut} cut, {window:?}",
                    it.spot
                ));
            }
            self.out.dropouts += within.len() as u64;
            self.out.counted += counted.min(within.len() as u64);
            self.out.cut += cut;
            if cut == 0
                && let (Some(event), [at]) = (mine.clone().next(), within.as_slice())
            {
                let seen = self.zero + event.at;
                let late = seen.checked_sub(*at);
                if late.is_none_or(|late| late > CERTAIN)
                    || event.longest.abs_diff(it.long) > 2 * CERTAIN
                {
                    self.out
                        .wrong
                        .push(format!("a dropout at {at} of {} µs: {event:?}", it.long));
                }
                self.out.latest = self.out.latest.max(late.unwrap_or_default());
            }
        }
        let known = |spots: &[usize]| {
            let [spot] = spots else { return false };
            self.loose.iter().any(|it| it.spot == *spot)
        };
        let strangers = new.iter().filter(|event| !known(&event.spots));
        let strangers: Vec<String> = strangers
            .map(|it| format!("nothing let go: {it:?}"))
            .collect();
        self.out.wrong.extend(strangers);
        Ok(())
    }
}
