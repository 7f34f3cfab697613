//! Turns recorded events into what was seen: names, ids and cpus become those of the system.

use super::subject::{self, Subject};
use super::{Map, Span};
use crate::event::{Cpu, Event, Leaves, What, Word};
use crate::moment::Clock;
use crate::names::{Name, Named, Names};
use crate::seen::{Happening, Seen, Start, Who};
use model::System;
use quantity::{CoreId, PartitionId};
use std::collections::BTreeMap;
use std::num::NonZeroU32;

/// Maps the events of one source.
#[derive(Debug)]
pub struct Mapper<'a> {
    system: &'a System,
    map: &'a Map,
    clock: Clock,
    /// Who each name is as a thread, once asked for.
    threads: Vec<Option<Threads>>,
    /// Whether each name is that of a thread which was woken and has not waited since, or may be: recorders tell of one waking
    /// twice, and what is seen first may be the second.
    awake: Vec<bool>,
    /// Core by cpu number, once asked for.
    cores: BTreeMap<u16, Option<CoreId>>,
    /// Whom a word is said of by which name, once asked for.
    subjects: BTreeMap<(Word, Name), Option<Subject>>,
    /// By kind and name, or number of a cpu: in how many events it stands.
    unmapped: BTreeMap<(Kind, u32), u64>,
}

/// Who a thread is.
#[derive(Debug, Clone, Copy)]
struct Threads {
    /// `None`: the idle thread.
    who: Option<Who>,
    jobs: bool,
}

/// What kind of thing the map does not name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Cpu,
    Thread,
    Mark,
    Span,
    Flow,
    Word,
}

impl Kind {
    fn word(self) -> &'static str {
        match self {
            Self::Cpu => "cpu",
            Self::Thread => "thread",
            Self::Mark => "mark",
            Self::Span => "span",
            Self::Flow => "flow",
            Self::Word => "name",
        }
    }
}

/// Something that neither the map nor the system names.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Unmapped {
    /// What kind of thing: cpu, thread, mark, span, flow, name.
    pub kind: &'static str,
    /// Its name in the recording.
    pub name: String,
    /// In how many events it stands.
    pub events: u64,
}

impl<'a> Mapper<'a> {
    /// Ready for the first event of a source: its number.
    pub fn new(system: &'a System, map: &'a Map, source: u16) -> Self {
        Self {
            system,
            map,
            clock: Clock::exact(source),
            threads: Vec::new(),
            awake: Vec::new(),
            cores: BTreeMap::new(),
            subjects: BTreeMap::new(),
            unmapped: BTreeMap::new(),
        }
    }

    /// Takes an event, and gives what was seen by it to `out`, in the order in which it happened, by the source's own clock.
    pub fn take(&mut self, event: &Event, names: &Names, mut out: impl FnMut(Seen)) {
        let clock = self.clock;
        let mut say = |what| out(Seen { at_ns: event.at_ns, clock, what });
        match event.what {
            What::Switch { from, to, leaves } => self.switch(event.cpu, (from, to, leaves), names, &mut say),
            What::Wakes { who, .. } => {
                if let Threads { who: Some(Who::Task(task)), jobs: true } = self.thread(who, names)
                    && !self.set_awake(who, true)
                {
                    say(Happening::Arrives { task, number: None });
                }
            }
            What::Migrates { .. } => {}
            What::InterruptBegins { line } => {
                if let Some(core) = self.core(event.cpu) {
                    say(Happening::InterruptBegins { core, line });
                }
            }
            What::InterruptEnds { line } => {
                if let Some(core) = self.core(event.cpu) {
                    say(Happening::InterruptEnds { core, line });
                }
            }
            What::SpanBegins { name, on } => self.span(event.cpu, (name, on, true), names, &mut say),
            What::SpanEnds { name, on } => self.span(event.cpu, (name, on, false), names, &mut say),
            What::Mark { text } => self.mark(event.cpu, text, names, &mut say),
            What::Frame { flow, bytes } => self.frame(flow, bytes, names, &mut say),
            What::Told { word, who, number } => {
                let subject = self.subject(word, who, names);
                self.tell(event.cpu, (word, subject, who, number), &mut say);
            }
            What::Lost { .. } => {
                self.forget();
                // What was lost on a cpu that is no core of the board touches none of them.
                if event.cpu == Cpu::UNKNOWN {
                    say(Happening::Gap { core: None, ends: true });
                } else if let Some(core) = self.core(event.cpu) {
                    say(Happening::Gap { core: Some(core), ends: true });
                }
            }
        }
    }

    /// What neither the map nor the system names, by kind and name.
    pub fn unmapped(&self, names: &Names) -> Vec<Unmapped> {
        let called = |kind: Kind, number: u32| match kind {
            Kind::Cpu => number.to_string(),
            _ => match names.get(Name(number)) {
                Named { text, id: Some(id) } => format!("{text} ({id})"),
                Named { text, id: None } => text.clone(),
            },
        };
        let all = self.unmapped.iter();
        let mut list: Vec<Unmapped> = all
            .map(|((kind, number), events)| Unmapped {
                kind: kind.word(),
                name: called(*kind, *number),
                events: *events,
            })
            .collect();
        list.sort_unstable();
        list
    }

    fn miss(&mut self, kind: Kind, name: Name) {
        self.miss_number(kind, name.0);
    }

    fn miss_number(&mut self, kind: Kind, number: u32) {
        *self.unmapped.entry((kind, number)).or_default() += 1;
    }

    /// Events were lost: whether a thread is awake is not known until it is seen to wait.
    pub fn forget(&mut self) {
        self.awake.clear();
    }

    /// The core that a cpu is.
    pub fn core(&mut self, cpu: Cpu) -> Option<CoreId> {
        let number = cpu.number()?;
        let (system, map) = (self.system, self.map);
        let core = *self.cores.entry(number).or_insert_with(|| core_of(system, map, number));
        if core.is_none() {
            self.miss_number(Kind::Cpu, u32::from(number));
        }
        core
    }

    fn switch(&mut self, cpu: Cpu, change: (Name, Name, Leaves), names: &Names, say: &mut impl FnMut(Happening)) {
        let (from, to, leaves) = change;
        let leaving = self.thread(from, names);
        let coming = self.thread(to, names);
        self.set_awake(from, leaves == Leaves::Ready);
        self.set_awake(to, true);
        if let Threads { who: Some(Who::Task(task)), jobs: true } = leaving
            && leaves != Leaves::Ready
        {
            say(Happening::Completes { task, number: None });
        }
        if let Some(core) = self.core(cpu) {
            say(Happening::Runs { core, who: coming.who, leaves: Some(leaves) });
        }
    }

    fn thread(&mut self, name: Name, names: &Names) -> Threads {
        let index = name.0 as usize;
        if self.threads.len() <= index {
            self.threads.resize(names.len().max(index + 1), None);
        }
        let known = self.threads[index];
        let thread = known.unwrap_or_else(|| {
            let thread = thread_of(self.map, name, names.get(name));
            self.threads[index] = Some(thread);
            thread
        });
        if let Some(Who::Foreign(_)) = thread.who {
            self.miss(Kind::Thread, name);
        }
        thread
    }

    /// Says whether a thread is awake from now on; whether it was until now.
    fn set_awake(&mut self, name: Name, awake: bool) -> bool {
        let index = name.0 as usize;
        if self.awake.len() <= index {
            self.awake.resize(index + 1, true);
        }
        std::mem::replace(&mut self.awake[index], awake)
    }

    fn subject(&mut self, word: Word, who: Name, names: &Names) -> Option<Subject> {
        subject::takes(word)?;
        let system = self.system;
        let text = &names.get(who).text;
        let found = *self.subjects.entry((word, who)).or_insert_with(|| subject::find(system, word, text));
        if found.is_none() && !subject::may_be_of_nobody(word) {
            self.miss(Kind::Word, who);
        }
        found
    }

    fn mark(&mut self, cpu: Cpu, text: Name, names: &Names, say: &mut impl FnMut(Happening)) {
        let map = self.map;
        let words = &names.get(text).text;
        match map.marks.iter().find(|mark| mark.text.fits(words)) {
            Some(mark) => self.tell(cpu, (mark.means, mark.of, text, None), say),
            None if map.is_sync(words) => {}
            None => self.miss(Kind::Mark, text),
        }
    }

    fn span(&mut self, cpu: Cpu, span: (Name, Name, bool), names: &Names, say: &mut impl FnMut(Happening)) {
        let (name, on, begins) = span;
        let map = self.map;
        let (text, track) = (&names.get(name).text, &names.get(on).text);
        let fits = |span: &&Span| span.name.fits(text) && span.track.as_ref().is_none_or(|wanted| wanted.fits(track));
        let Some(found) = map.spans.iter().find(fits) else {
            self.miss(Kind::Span, name);
            return;
        };
        let Some(core) = found.core.or_else(|| self.core(cpu)) else { return };
        say(match (found.is_window, found.who, begins) {
            (true, Who::Partition(partition), true) => Happening::WindowBegins { core, partition },
            (true, Who::Partition(partition), false) => Happening::WindowEnds { core, partition },
            (_, who, true) => Happening::Runs { core, who: Some(who), leaves: None },
            (_, _, false) => Happening::Runs { core, who: None, leaves: None },
        });
    }

    fn frame(&mut self, flow: Name, bytes: u32, names: &Names, say: &mut impl FnMut(Happening)) {
        let map = self.map;
        let text = &names.get(flow).text;
        match map.flows.iter().find(|(pattern, _)| pattern.fits(text)) {
            Some((_, channel)) => say(Happening::Writes { channel: *channel, bytes: Some(bytes) }),
            None => self.miss(Kind::Flow, flow),
        }
    }

    /// What a word of the plan says of a subject.
    fn tell(
        &mut self,
        cpu: Cpu,
        told: (Word, Option<Subject>, Name, Option<NonZeroU32>),
        say: &mut impl FnMut(Happening),
    ) {
        let (word, subject, who, number) = told;
        if let Some(what) = self.on_core(word, subject, who, cpu).or_else(|| of_subject(word, subject, who, number)) {
            say(what);
        }
    }

    /// What happens on a core.
    fn on_core(&mut self, word: Word, subject: Option<Subject>, who: Name, cpu: Cpu) -> Option<Happening> {
        let is_of_core = matches!(word, Word::WindowBegins | Word::WindowEnds | Word::Runs | Word::Idles);
        let core = if is_of_core { self.core(cpu)? } else { return None };
        match (word, subject) {
            (Word::WindowBegins, Some(Subject::Partition(partition))) => {
                Some(Happening::WindowBegins { core, partition })
            }
            (Word::WindowEnds, Some(Subject::Partition(partition))) => Some(Happening::WindowEnds { core, partition }),
            (Word::Runs, subject) => {
                let who = match subject {
                    Some(Subject::Task(task)) => Who::Task(task),
                    Some(Subject::Partition(partition)) => Who::Partition(partition),
                    _ => Who::Foreign(who),
                };
                Some(Happening::Runs { core, who: Some(who), leaves: None })
            }
            (Word::Idles, _) => Some(Happening::Runs { core, who: None, leaves: None }),
            _ => None,
        }
    }
}

/// What happens to a subject, on whatever core.
fn of_subject(word: Word, subject: Option<Subject>, who: Name, number: Option<NonZeroU32>) -> Option<Happening> {
    let partition = |subject| match subject {
        Some(Subject::Partition(partition)) => Some::<PartitionId>(partition),
        _ => None,
    };
    Some(match (word, subject) {
        (Word::Arrives, Some(Subject::Task(task))) => Happening::Arrives { task, number },
        (Word::Completes, Some(Subject::Task(task))) => Happening::Completes { task, number },
        (Word::Dropped, Some(Subject::Task(task))) => Happening::Dropped { task },
        (Word::Writes, Some(Subject::Channel(channel, _))) => Happening::Writes { channel, bytes: None },
        (Word::Reads, Some(Subject::Channel(channel, receiver))) => Happening::Reads { channel, receiver },
        (Word::Overflows, Some(Subject::Channel(channel, receiver))) => Happening::Overflows { channel, receiver },
        (Word::FaultBegins, subject) => Happening::FaultBegins { fault: who, of: partition(subject) },
        (Word::FaultEnds, _) => Happening::FaultEnds { fault: who },
        (Word::Noticed, subject) => Happening::Noticed { partition: partition(subject)? },
        (Word::RestartsWarm, subject) => Happening::Restarts { partition: partition(subject)?, start: Start::Warm },
        (Word::RestartsCold, subject) => Happening::Restarts { partition: partition(subject)?, start: Start::Cold },
        (Word::Operational, subject) => Happening::Operational { partition: partition(subject)? },
        (Word::Stopped, subject) => Happening::Stopped { partition: partition(subject)? },
        (Word::Schedule, Some(Subject::Schedule(schedule))) => Happening::Schedule { schedule },
        (Word::Frame, _) => Happening::Frame,
        _ => return None,
    })
}

/// The core that the map gives for a cpu, or the one that is named by its number; where no core is named by a number, the
/// one of that place.
fn core_of(system: &System, map: &Map, number: u16) -> Option<CoreId> {
    let given = map.cpus.iter().find(|(cpu, _)| *cpu == number).map(|(_, core)| *core);
    let cores = &system.board.cores;
    let text = number.to_string();
    let named = || cores.iter().position(|core| core.name.value == text);
    let are_words = cores.iter().all(|core| core.name.value.parse::<u16>().is_err());
    let placed = || Some(usize::from(number)).filter(|place| are_words && *place < cores.len());
    given.or_else(|| named().or_else(placed).map(CoreId::new))
}

fn thread_of(map: &Map, name: Name, named: &Named) -> Threads {
    let fits = |thread: &&super::Thread| {
        thread.name.as_ref().is_none_or(|pattern| pattern.fits(&named.text))
            && thread.id.is_none_or(|id| named.id == Some(id))
    };
    if let Some(thread) = map.threads.iter().find(fits) {
        return Threads { who: Some(thread.who), jobs: thread.jobs };
    }
    let is_idle = named.id == Some(0);
    Threads { who: (!is_idle).then_some(Who::Foreign(name)), jobs: false }
}
