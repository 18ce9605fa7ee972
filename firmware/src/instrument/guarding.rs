//! Guarding dead joints: see [`crate::guard`] for the numbers.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::spi::SpiDevice;
use heapless::Vec;
use loomproof_core::units::Micros;
use loomproof_core::wire::{Break, Breaks, Guard, LeadId, LeadSet, MAX_WATCHED, Place, Refusal};

use super::Instrument;
use super::watching::Window;
use crate::Clock;
use crate::ads8866::{CONVERSION, Sum};
use crate::guard::{self, BACK_ALONE, BELIEVED, CLOSED_ALONE, DISCHARGE, OPEN_ALONE, SETTLE_ALONE};
use crate::interlock::{self, RETURNS};
use crate::mcp23s17::MAX_CHIPS;
use crate::route::{Load, Route, bank_word, first_leads};

/// Which leads are open, and what of that is to be reported.
struct Book<'a> {
    breaks: &'a mut Breaks,
    /// When each of them was last seen to open.
    opened: Vec<Micros, MAX_WATCHED>,
    /// Leads that opened and found no room.
    others: LeadSet,
    /// The leads that are open now, bank by bank.
    open: [u16; MAX_CHIPS],
}

impl<'a> Book<'a> {
    fn new(breaks: &'a mut Breaks) -> Self {
        breaks.clear();
        Self {
            breaks,
            opened: Vec::new(),
            others: LeadSet::EMPTY,
            open: [0; MAX_CHIPS],
        }
    }

    /// Takes down which leads of a bank are open `at` that time; leads close only
    /// where that is to be believed.
    fn note(&mut self, bank: u8, open: u16, believed: bool, at: Micros) {
        let Some(was) = self.open.get_mut(usize::from(bank)) else {
            return;
        };
        let is = if believed { open } else { open | *was };
        let changed = is ^ *was;
        *was = is;
        if changed != 0 {
            for place in (0..16_u8).filter(|place| changed >> place & 1 == 1) {
                let lead = LeadId(bank * 16 + place);
                if is >> place & 1 == 1 {
                    self.opens(lead, at);
                } else {
                    self.closes(lead, at);
                }
            }
        }
    }

    fn opens(&mut self, lead: LeadId, at: Micros) {
        let mut known = self.breaks.iter_mut().zip(&mut self.opened);
        if let Some((found, opened)) = known.find(|(found, _)| found.lead == lead) {
            found.count = found.count.saturating_add(1);
            *opened = at;
            return;
        }
        let new = Break {
            lead,
            count: 1,
            first: at,
            longest: Micros(0),
            open_at_end: false,
        };
        if self.breaks.push(new).is_err() || self.opened.push(at).is_err() {
            self.others.insert(lead);
        }
    }

    fn closes(&mut self, lead: LeadId, at: Micros) {
        let mut known = self.breaks.iter_mut().zip(&self.opened);
        if let Some((found, opened)) = known.find(|(found, _)| found.lead == lead) {
            found.longest = Micros(at.0.saturating_sub(opened.0)).max(found.longest);
        }
    }

    fn is_open(&self, LeadId(lead): LeadId) -> bool {
        let word = self.open.get(usize::from(lead / 16));
        word.is_some_and(|word| word >> (lead % 16) & 1 == 1)
    }

    /// Ends the book; how many more leads opened than are in it.
    fn finish(mut self, took: Micros) -> u8 {
        let still: LeadSet = (0..loomproof_core::wire::MAX_LEADS as u8)
            .map(LeadId)
            .filter(|lead| self.is_open(*lead))
            .collect();
        for lead in still.iter() {
            self.closes(lead, took);
        }
        for found in self.breaks.iter_mut() {
            found.open_at_end = still.contains(found.lead);
        }
        u8::try_from(self.others.len()).unwrap_or(u8::MAX)
    }
}

impl<D, G, S, A, T, R, W, C> Instrument<D, G, S, A, T, R, W, C>
where
    D: SpiDevice,
    G: SpiDevice,
    S: SpiDevice,
    A: SpiDevice,
    T: InputPin,
    R: OutputPin,
    W: DelayNs,
    C: Clock,
{
    /// Watches joints for a while. Returns the window and how many more leads let go
    /// than `breaks` has room for.
    ///
    /// # Errors
    /// Why it was not carried out or was broken off; nothing is driven then.
    pub fn guard(
        &mut self,
        guard: &Guard,
        place: Place,
        breaks: &mut Breaks,
    ) -> Result<(Window, u8), Refusal> {
        guard::check(guard, place, self.leads())?;
        if self.tripped()? {
            self.front.let_go_of_all()?;
            return Err(Refusal::Tripped);
        }
        let mut book = Book::new(breaks);
        let outcome = self.hold_and_watch(guard, &mut book);
        let open = self.front.let_go();
        if self.tripped()? && !matches!(outcome, Err(Refusal::Live(..))) {
            return Err(Refusal::Tripped);
        }
        open?;
        let window = outcome?;
        Ok((window, book.finish(window.took)))
    }

    fn hold_and_watch(&mut self, guard: &Guard, book: &mut Book<'_>) -> Result<Window, Refusal> {
        let driven = guard.low.joined(&guard.watched);
        self.must_be_dead(&driven)?;
        if self.tripped()? {
            return Err(Refusal::Tripped);
        }
        self.watchable = first_leads(self.leads());
        for lead in guard.low.iter() {
            self.watchable.remove(lead);
        }
        self.drained = LeadSet::EMPTY;
        self.recovery = BACK_ALONE;
        self.resettle = Micros(0);
        let mut watched = guard.watched.iter();
        let window = match (watched.next(), watched.next()) {
            (Some(lead), None) => {
                self.front.go(Route::Lead(lead, Load::Plain))?;
                self.front.drive(&guard.watched, &guard.low)?;
                self.looked = self.clock.now();
                self.read_one(guard, lead, book)?
            }
            _ => {
                self.front.go(Route::Empty(Load::Wide))?;
                self.front.hold_and_pull(&guard.low, &guard.watched)?;
                self.looked = self.clock.now();
                self.poll_pins(guard, book)?
            }
        };
        // What was charged would read as live before the next request.
        self.front.turn_low()?;
        self.front.turn_watched_low()?;
        self.front.wait(DISCHARGE);
        Ok(window)
    }

    /// Polls the drive pins, bank by bank, with the parts of a look at another lead
    /// between the rounds.
    fn poll_pins(&mut self, guard: &Guard, book: &mut Book<'_>) -> Result<Window, Refusal> {
        let mut banks = [0; MAX_CHIPS];
        for (bank, word) in banks.iter_mut().enumerate() {
            *word = bank_word(&guard.watched, bank);
        }
        let mut window = Window {
            at: self.clock.now(),
            ..Window::default()
        };
        let mut last = Micros(0);
        // The lead of a look under way; when it was sampled.
        let mut look: Option<(LeadId, Micros)> = None;
        loop {
            for (bank, watched) in (0..).zip(banks) {
                if watched != 0 {
                    let pins = self.front.pins(bank)?;
                    let now = self.clock.now();
                    // A trip resets the chips: what was just read is then no level.
                    if self.tripped()? {
                        return Err(Refusal::Tripped);
                    }
                    let at = Micros(now.0.wrapping_sub(window.at.0));
                    let since = now.0.wrapping_sub(self.looked.0);
                    let believed = look.is_none() && since > BELIEVED.0;
                    book.note(bank, pins & watched, believed, at);
                }
            }
            let at = Micros(self.clock.now().0.wrapping_sub(window.at.0));
            window.round = Micros(at.0.saturating_sub(last.0)).max(window.round);
            last = at;
            if at >= guard.span && look.is_none() {
                window.took = at;
                return Ok(window);
            }
            match look {
                None if self.watch_is_due() => {
                    if let Some(lead) = self.next_to_look_at(book, guard) {
                        self.front.peek(lead)?;
                        look = Some((lead, self.clock.now()));
                    }
                    self.looked = self.clock.now();
                    // However short, it feeds the watchdog of a board.
                    self.front.wait(Micros(0));
                }
                Some((lead, since)) if interlock::passed(since, self.clock.now(), CONVERSION) => {
                    look = None;
                    let mv = self.front.peeked()?;
                    self.judge_look(lead, mv)?;
                }
                _ => {}
            }
        }
    }

    /// The lead that came back last, or the next in turn; none that is pulled up and
    /// open, which a look would draw down.
    fn next_to_look_at(&mut self, book: &Book<'_>, guard: &Guard) -> Option<LeadId> {
        let now = self.clock.now();
        if let Some((lead, _, since)) = self.doubted
            && !interlock::passed(since, now, RETURNS)
        {
            return Some(lead);
        }
        self.doubted = None;
        let open = |lead: &LeadId| guard.watched.contains(*lead) && book.is_open(*lead);
        self.next_in_turn().filter(|lead| !open(lead))
    }

    /// What a look at another lead says: outside the limits it has to come back, once.
    fn judge_look(&mut self, lead: LeadId, mv: i32) -> Result<(), Refusal> {
        let doubted = self.doubted.take().filter(|(doubted, ..)| *doubted == lead);
        if doubted.is_some_and(|(_, left, _)| interlock::returns(left, mv)) {
            return Err(Refusal::Live(lead, mv));
        }
        if !interlock::harmless_while_driving(mv) {
            let left = self.must_come_back(lead)?;
            self.doubted = Some((lead, left, self.clock.now()));
            self.front.go(Route::Empty(Load::Wide))?;
            self.looked = self.clock.now();
        }
        Ok(())
    }

    /// Reads one lead without a break, but for the looks at others.
    fn read_one(
        &mut self,
        guard: &Guard,
        lead: LeadId,
        book: &mut Book<'_>,
    ) -> Result<Window, Refusal> {
        let route = Route::Lead(lead, Load::Plain);
        let low = guard.low.len();
        let opens = guard::level_alone(OPEN_ALONE, low);
        let closes = guard::level_alone(CLOSED_ALONE, low);
        let (bank, bit) = (lead.0 / 16, 1 << (lead.0 % 16));
        self.watchable.remove(lead);
        self.pause(SETTLE_ALONE, route)?;
        self.front.sample()?;
        let mut window = Window {
            at: self.clock.now(),
            ..Window::default()
        };
        let mut sampled = Micros(0);
        // Open and not yet looked at through the wide divider.
        let mut beyond = false;
        loop {
            let code = self.front.convert()?;
            let at = Micros(self.clock.now().0.wrapping_sub(window.at.0));
            if self.tripped()? {
                return Err(Refusal::Tripped);
            }
            let mut one = Sum::default();
            one.add(code);
            let was = book.is_open(lead);
            let is = one.mean().0 > if was { closes } else { opens };
            beyond |= is && !was;
            // The conversion that has just been read was sampled a while ago.
            book.note(bank, if is { bit } else { 0 }, true, sampled);
            window.round = Micros(at.0.saturating_sub(sampled.0)).max(window.round);
            sampled = at;
            if at >= guard.span {
                window.took = at;
                return Ok(window);
            }
            if self.watch_is_due() {
                if beyond {
                    // The converter cannot tell the end of its span from beyond it.
                    beyond = false;
                    let mv = self.front.glance(lead, route, BACK_ALONE)?;
                    if !interlock::harmless_while_driving(mv) {
                        return Err(Refusal::Live(lead, mv));
                    }
                    self.looked = self.clock.now();
                } else {
                    self.watch(route)?;
                }
                let now = self.clock.now();
                sampled = Micros(now.0.wrapping_sub(window.at.0));
                window.round = Micros(sampled.0.saturating_sub(at.0)).max(window.round);
            }
        }
    }
}
