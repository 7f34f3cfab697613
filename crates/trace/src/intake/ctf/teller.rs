//! Puts events into what was found: each with its time in nanoseconds, none earlier than the one before.

use super::layout::Layout;
use super::meaning::{Meaning, Thread};
use super::said::{Fields, Said};
use super::ticks::Scale;
use crate::event::{Cpu, Event, What};
use crate::intake::Found;
use crate::note::{At, Matter, Note, Place};

/// Tells the events of a stream.
pub struct Teller {
    source: u16,
    file: u16,
    /// How its clock is read, once a packet has said which it is.
    pub scale: Option<Scale>,
    last_ns: u64,
    said: Said,
    /// Events of which nothing is known, by their kind of stream and number.
    unknown: Vec<Vec<u64>>,
}

/// What is known of an event besides its fields.
pub struct Told {
    /// When.
    pub ticks: u64,
    /// On which cpu.
    pub cpu: Cpu,
    /// Its kind of stream.
    pub class: usize,
    /// Its number.
    pub number: usize,
    /// The byte of the file at which it stands.
    pub byte: u64,
}

impl Teller {
    /// Nothing has been told yet.
    pub fn new(layout: &Layout, source: u16, file: u16) -> Self {
        let count = |class: &Option<_>| class.as_ref().map_or(0, |class: &super::layout::Stream| class.events.len());
        let unknown = layout.streams.iter().map(|class| vec![0; count(class)]).collect();
        Self { source, file, scale: None, last_ns: 0, said: Said::default(), unknown }
    }

    /// A time in nanoseconds, if it is not before the last one, which it is otherwise.
    pub fn at_or_after(&mut self, ticks: u64) -> u64 {
        let told = self.scale.and_then(|scale| scale.ns(ticks)).unwrap_or(0);
        self.last_ns = self.last_ns.max(told);
        self.last_ns
    }

    /// Makes an event of fields.
    #[inline(always)]
    pub fn say<F: Fields>(
        &mut self,
        told: &Told,
        meaning: &Meaning<F::Number, F::Text>,
        fields: &F,
        found: &mut Found,
    ) {
        let Some(at_ns) = self.scale.as_ref().and_then(|scale| scale.ns(told.ticks)) else {
            return self.leave_out(told, Matter::OutOfRange, self.last_ns, found);
        };
        if at_ns < self.last_ns {
            return self.leave_out(told, Matter::OutOfOrder, at_ns, found);
        }
        self.last_ns = at_ns;
        if matches!(meaning, Meaning::Unknown) {
            self.unknown[told.class][told.number] += 1;
            return;
        }
        // The most frequent kind is put in its place at once, not by way of what can be any kind.
        match meaning {
            Meaning::Switch { from, state, to } => self.say_switch(told, at_ns, [from, to], state, fields, found),
            _ => self.say_rarer(told, at_ns, meaning, fields, found),
        }
    }

    /// The same, not as a part of the loop over the most frequent events.
    #[inline(never)]
    pub fn say_apart<F: Fields>(
        &mut self,
        told: &Told,
        meaning: &Meaning<F::Number, F::Text>,
        fields: &F,
        found: &mut Found,
    ) {
        self.say(told, meaning, fields, found);
    }

    #[inline(always)]
    fn say_switch<F: Fields>(
        &mut self,
        told: &Told,
        at_ns: u64,
        threads: [&Thread<F::Number, F::Text>; 2],
        state: &F::Number,
        fields: &F,
        found: &mut Found,
    ) {
        let not_utf8 = &mut false;
        match self.said.switch(threads, state, fields, found, not_utf8) {
            Some((from, to, leaves)) => {
                found.events.push(Event { at_ns, cpu: told.cpu, what: What::Switch { from, to, leaves } });
            }
            None => self.leave_out(told, Matter::Malformed, at_ns, found),
        }
        if *not_utf8 {
            self.note(told, Matter::NotUtf8, found);
        }
    }

    #[inline(never)]
    fn say_rarer<F: Fields>(
        &mut self,
        told: &Told,
        at_ns: u64,
        meaning: &Meaning<F::Number, F::Text>,
        fields: &F,
        found: &mut Found,
    ) {
        let not_utf8 = &mut false;
        match self.said.rarer(meaning, fields, found, not_utf8) {
            Some(what) => found.events.push(Event { at_ns, cpu: told.cpu, what }),
            None => self.leave_out(told, Matter::Malformed, at_ns, found),
        }
        if *not_utf8 {
            self.note(told, Matter::NotUtf8, found);
        }
    }

    /// Leaves an event out: it is lost, since its own instant.
    #[cold]
    fn leave_out(&self, told: &Told, matter: Matter, at_ns: u64, found: &mut Found) {
        self.note(told, matter, found);
        let what = if at_ns < self.last_ns {
            What::lost_since(1, at_ns.saturating_sub(1), self.last_ns)
        } else {
            What::lost(1)
        };
        found.events.push(Event { at_ns: self.last_ns, cpu: told.cpu, what });
    }

    #[cold]
    fn note(&self, told: &Told, matter: Matter, found: &mut Found) {
        let place = Place { source: self.source, at: At::Within { file: self.file, byte: told.byte } };
        found.notes.push(Note { place, matter });
    }

    /// Tells at the end how many events of which kinds were of no known meaning.
    pub fn tell_unknown(&self, layout: &Layout, place: Place, found: &mut Found) {
        let classes = layout.streams.iter().zip(&self.unknown);
        for (class, counts) in classes.filter_map(|(class, counts)| Some((class.as_ref()?, counts))) {
            for (event, count) in class.events.iter().zip(counts).filter(|(_, count)| **count > 0) {
                let name = event.as_ref().map_or("", |event| event.name.as_str());
                let kind = found.names.text(name);
                found.notes.push(Note { place, matter: Matter::Unknown { kind, count: *count } });
            }
        }
    }
}
