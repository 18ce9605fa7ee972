//! Windows of watching, with the fitter and the screen.

use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use console::Term;
use loomproof_core::units::Micros;
use loomproof_core::wire::{LeadId, LeadSet, MAX_WATCH};

use super::stopping::Stopping;
use crate::fault::Joint;
use crate::plan::model::End;
use crate::wiggle::report::Pulled;
use crate::wiggle::round::{Rounds, Trouble};
use crate::wiggle::spots::spelled;
use crate::wiggle::tally::Event;
use crate::wiggle::view::{COLUMNS, Caption, ROWS, Size, coloured, lines, said};
use crate::wiggle::{Tally, Watch};

/// A terminal that is held so long without a dropout is ticked off, microseconds.
const HELD: u64 = 2_000_000;

/// How long a hand needs to the next terminal.
const REACHED: u64 = 3_000_000;

/// A path is measured after so many windows of a group: nothing is watched meanwhile.
const BETWEEN_PATHS: usize = 8;

/// How watching goes on.
pub(super) struct Way {
    /// With the battery on.
    pub(super) live: bool,
    /// Nobody has to move a hand.
    pub(super) simulated: bool,
    /// When it ends, microseconds of the probe's clock; `None`: with Enter.
    pub(super) limit: Option<u64>,
    /// Terminals are pulled in turn.
    pub(super) pull: bool,
    /// Joints that were asked for; none: all.
    pub(super) only: Vec<Joint>,
    /// Ctrl-C ends it as well.
    pub(super) stop: Stopping,
}

/// How it ended.
#[derive(Default)]
pub(super) struct Ended {
    /// Terminals that were pulled.
    pub(super) pulled: Vec<Pulled>,
    /// Terminals were still to be pulled when it ended.
    pub(super) left: bool,
    /// What went wrong.
    pub(super) trouble: Option<Trouble>,
}

/// Watches until it ends.
pub(super) fn wiggle(
    rounds: Rounds<'_>,
    watch: &mut Watch,
    way: &Way,
    caption: Caption,
) -> (Tally, Ended) {
    let mut ended = Ended::default();
    let mut running = Running {
        rounds,
        tally: Tally::new(watch),
        way,
        screen: Screen::new(caption),
        enter: Enter::new(way.simulated),
        windows: vec![0; watch.groups.len()],
    };
    let outcome = running.go(watch, &mut ended);
    running.screen.leave();
    ended.trouble = outcome.err();
    (running.tally, ended)
}

struct Running<'r, 'l> {
    rounds: Rounds<'l>,
    tally: Tally,
    way: &'r Way,
    screen: Screen,
    enter: Enter,
    /// Windows that each group has had.
    windows: Vec<usize>,
}

impl Running<'_, '_> {
    fn go(&mut self, watch: &mut Watch, ended: &mut Ended) -> Result<(), Trouble> {
        if self.way.live {
            self.leave_out_strangers(watch)?;
        }
        self.screen.show(watch, &self.tally);
        if self.way.pull {
            return self.pull(watch, ended);
        }
        let all: Vec<usize> = (0..watch.groups.len()).collect();
        while !self.over() && !all.is_empty() {
            self.turn(watch, &all)?;
        }
        Ok(())
    }

    fn over(&self) -> bool {
        let late = self
            .way
            .limit
            .is_some_and(|limit| self.rounds.now() >= limit);
        late || self.enter.was_pressed() || self.way.stop.asked()
    }

    /// One window on each of these groups.
    fn turn(&mut self, watch: &Watch, groups: &[usize]) -> Result<Vec<Event>, Trouble> {
        let mut all = Vec::new();
        for at in groups {
            if self.over() {
                break;
            }
            let Some(group) = watch.groups.get(*at) else {
                continue;
            };
            let left = self
                .way
                .limit
                .map_or(u64::MAX, |limit| limit - self.rounds.now());
            let span = u32::try_from(left).map_or(MAX_WATCH, |left| Micros(left.min(MAX_WATCH.0)));
            let window = self.rounds.window(*at, group, span)?;
            let new = self.tally.window(watch, &window);
            if let Some(count) = self.windows.get_mut(*at)
                && let Some((lead, against)) = path_due(count, &group.against)
            {
                let open = window.loose.iter().any(|it| it.lead == lead);
                let ohms = self.rounds.ohms(lead, against)?;
                // An opening between two windows is no resistance of the path.
                if !open && ohms.0.is_finite() {
                    self.tally.measured(watch, *at, lead, ohms);
                }
            }
            self.screen.tell(watch, &new);
            self.screen.show(watch, &self.tally);
            all.extend(new);
        }
        Ok(all)
    }

    /// Live: a point that does not stand where the plan expects it says nothing of
    /// joints.
    fn leave_out_strangers(&mut self, watch: &mut Watch) -> Result<(), Trouble> {
        let mut strangers = LeadSet::EMPTY;
        for (at, group) in watch.groups.iter().enumerate() {
            let window = self.rounds.window(at, group, Micros(20_000))?;
            let away = window
                .loose
                .iter()
                .filter(|it| it.longest * 2 > window.took);
            for found in away {
                strangers.insert(found.lead);
            }
        }
        if strangers.is_empty() {
            return Ok(());
        }
        let names: Vec<String> = strangers.iter().map(|lead| lead.to_string()).collect();
        self.screen.say(&format!(
            "Not where the plan expects them with the switches like this, so not watched: {}. \
             `loomproof live` says more.",
            names.join(", ")
        ));
        for group in &mut watch.groups {
            for sign in &mut group.signs {
                for lead in strangers.iter() {
                    sign.sure.remove(lead);
                    sign.may.remove(lead);
                }
            }
            group.signs.retain(|sign| !sign.sure.is_empty());
            for lead in strangers.iter() {
                group.watched.remove(lead);
            }
        }
        watch.groups.retain(|group| !group.watched.is_empty());
        self.tally = Tally::new(watch);
        self.windows = vec![0; watch.groups.len()];
        Ok(())
    }

    /// Asks for every terminal in turn.
    fn pull(&mut self, watch: &Watch, ended: &mut Ended) -> Result<(), Trouble> {
        let mut terminals: Vec<(usize, &Joint)> = Vec::new();
        for spot in watch.seen() {
            let joints = watch.spots.get(spot).into_iter().flat_map(|it| &it.joints);
            let joints = joints.filter(|joint| {
                let at = matches!(joint, Joint::At(end) if *end != End::Cap);
                at && (self.way.only.is_empty() || self.way.only.contains(joint))
            });
            terminals.extend(joints.map(|joint| (spot, joint)));
        }
        let count = terminals.len();
        for (number, (spot, joint)) in terminals.into_iter().enumerate() {
            if self.over() {
                ended.left = true;
                return Ok(());
            }
            let name = spelled(joint);
            let asked = format!("Pull {name} and hold ({} of {count}).", number + 1);
            self.screen.ask(&asked);
            let groups: Vec<usize> = (0..watch.groups.len())
                .filter(|at| {
                    let group = watch.groups.get(*at);
                    group.is_some_and(|it| it.signs.iter().any(|sign| sign.spot == spot))
                })
                .collect();
            let reached = if self.way.simulated { 0 } else { REACHED };
            let quiet_from = self.rounds.now() + reached;
            let mut until = quiet_from + HELD;
            let mut held = true;
            while self.rounds.now() < until && !self.over() {
                let new = self.turn(watch, &groups)?;
                if held && new.iter().any(|event| event.spots.contains(&spot)) {
                    // Known now; what else it does is counted for as long again.
                    held = false;
                    until = self.rounds.now() + HELD;
                }
            }
            let whole = self.rounds.now() >= until;
            if whole || !held {
                let mark = if held { "held" } else { "CAME APART" };
                self.screen.say(&format!("{name}: {mark}."));
                ended.pulled.push(Pulled { place: name, held });
            } else {
                ended.left = true;
            }
        }
        Ok(())
    }
}

/// The lead of a group whose path is to be measured after this window, if one is;
/// counts the windows.
fn path_due(
    windows: &mut usize,
    against: &[(LeadId, Option<LeadId>)],
) -> Option<(LeadId, Option<LeadId>)> {
    *windows += 1;
    let due = windows.is_multiple_of(BETWEEN_PATHS);
    let turn = (*windows / BETWEEN_PATHS).checked_rem(against.len())?;
    against.get(turn).copied().filter(|_| due)
}

/// Enter, waited for beside the watching.
struct Enter(Arc<AtomicBool>);

impl Enter {
    /// The virtual bench ends by itself; where nobody types, the input's end is no
    /// Enter.
    fn new(simulated: bool) -> Self {
        let pressed = Arc::new(AtomicBool::new(false));
        if !simulated || std::io::stdin().is_terminal() {
            let flag = Arc::clone(&pressed);
            std::thread::spawn(move || {
                let mut line = String::new();
                if std::io::stdin()
                    .lock()
                    .read_line(&mut line)
                    .is_ok_and(|read| read > 0)
                {
                    flag.store(true, Ordering::Relaxed);
                }
            });
        }
        Self(pressed)
    }

    fn was_pressed(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// Standard error: a view where it is a terminal, else a line for each opening.
struct Screen {
    term: Option<Term>,
    colour: bool,
    caption: Caption,
}

impl Screen {
    fn new(caption: Caption) -> Self {
        let term = Term::stderr();
        let attended = std::io::stderr().is_terminal();
        // https://no-color.org: set and not empty.
        let plain = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let screen = Self {
            term: attended.then_some(term),
            colour: !plain,
            caption,
        };
        match &screen.term {
            Some(term) => drop(term.clear_screen()),
            None => {
                let caption = &screen.caption;
                super::note(&format!("{}. {}", caption.how, caption.certain));
            }
        }
        screen
    }

    fn show(&self, watch: &Watch, tally: &Tally) {
        let Some(term) = &self.term else { return };
        let size = term.size_checked().map(|(rows, columns)| Size {
            columns: usize::from(columns),
            // The last line stays free for the cursor.
            rows: usize::from(rows).saturating_sub(1),
        });
        let size = size.unwrap_or(Size {
            columns: COLUMNS,
            rows: ROWS - 1,
        });
        let mut view = lines(watch, tally, &self.caption, size);
        if self.colour {
            view = coloured(&view);
        }
        let view: Vec<String> = view
            .iter()
            .map(|line| format!("{line}\u{1b}[K\r\n"))
            .collect();
        let mut err = std::io::stderr().lock();
        let _ = write!(err, "\u{1b}[H{}\u{1b}[J", view.concat());
        let _ = err.flush();
    }

    /// Beeps, and says what opened where no view shows it.
    fn tell(&self, watch: &Watch, events: &[Event]) {
        if events.is_empty() {
            return;
        }
        eprint!("\u{7}");
        if self.term.is_none() {
            for event in events {
                super::note(&said(watch, event));
            }
        }
    }

    fn ask(&mut self, text: &str) {
        self.caption.ask = text.to_owned();
        if self.term.is_none() {
            super::note(text);
        }
    }

    fn say(&mut self, text: &str) {
        if self.term.is_none() {
            super::note(text);
        } else {
            text.clone_into(&mut self.caption.ask);
        }
    }

    fn leave(&self) {
        if self.term.is_some() {
            super::note("");
        }
    }
}
