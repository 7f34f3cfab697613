//! What is made of an event by its name: switches, wake-ups, migrations, interrupts, the words of a plan, marks.

use super::layout::Slot;
use crate::event::Word;

/// A thread's fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Thread<N = Slot, T = Slot> {
    /// Its name, a text.
    pub name: Option<T>,
    /// Its number.
    pub id: N,
}

/// What an event is taken for, with where the numbers and texts stand that say more: in slots, or at fixed offsets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning<N = Slot, T = Slot> {
    /// `sched_switch`.
    Switch {
        /// Who leaves.
        from: Thread<N, T>,
        /// The state in which it does.
        state: N,
        /// Who comes.
        to: Thread<N, T>,
    },
    /// `sched_waking`, `sched_wakeup`, `sched_wakeup_new`.
    Wakes {
        /// Who.
        who: Thread<N, T>,
        /// Where to.
        on: Option<N>,
    },
    /// `sched_migrate_task`.
    Migrates {
        /// Who.
        who: Thread<N, T>,
        /// Where to.
        to: N,
    },
    /// `irq_handler_entry`.
    InterruptBegins {
        /// The line's number.
        line: N,
        /// Its name, a text.
        name: Option<T>,
    },
    /// `irq_handler_exit`.
    InterruptEnds {
        /// The line's number.
        line: N,
    },
    /// An event named with a word of a plan.
    Told {
        /// The word.
        word: Word,
        /// Of whom, a text.
        who: Option<T>,
        /// The job's or message's number.
        number: Option<N>,
    },
    /// `mark`.
    Mark {
        /// The text.
        text: T,
    },
    /// None of these.
    Unknown,
}

/// The slot of a field, by its name without leading underscore.
type Find<'a> = &'a dyn Fn(&str) -> Option<Slot>;

impl Meaning {
    /// What an event of this name with these numbers and texts is taken for. A provider before a colon counts for nothing.
    pub fn of(name: &str, number: Find<'_>, text: Find<'_>) -> Self {
        let name = name.rsplit(':').next().unwrap_or(name);
        Self::known(name, number, text).unwrap_or(Self::Unknown)
    }

    fn known(name: &str, number: Find<'_>, text: Find<'_>) -> Option<Self> {
        let thread = |prefix: &str| {
            let id = number(&format!("{prefix}tid")).or_else(|| number(&format!("{prefix}pid")))?;
            Some(Thread { name: text(&format!("{prefix}comm")), id })
        };
        Some(match name {
            "sched_switch" => {
                Self::Switch { from: thread("prev_")?, state: number("prev_state")?, to: thread("next_")? }
            }
            "sched_wakeup" | "sched_wakeup_new" => Self::Wakes { who: thread("")?, on: number("target_cpu") },
            "sched_migrate_task" => Self::Migrates { who: thread("")?, to: number("dest_cpu")? },
            "irq_handler_entry" => Self::InterruptBegins { line: number("irq")?, name: text("name") },
            "irq_handler_exit" => Self::InterruptEnds { line: number("irq")? },
            "mark" => Self::Mark { text: text("text")? },
            _ => {
                let word = Word::of(name)?;
                let who = text("who");
                if who.is_none() && word != Word::Idles {
                    return None;
                }
                Self::Told { word, who, number: number("number") }
            }
        })
    }

    /// The same with the places that `number` and `text` know for its slots; `None` where they do not know one.
    pub fn placed<N, T>(
        &self,
        number: &dyn Fn(Slot) -> Option<N>,
        text: &dyn Fn(Slot) -> Option<T>,
    ) -> Option<Meaning<N, T>> {
        let some = |slot: Option<Slot>| slot.map_or(Some(None), |slot| number(slot).map(Some));
        let some_text = |slot: Option<Slot>| slot.map_or(Some(None), |slot| text(slot).map(Some));
        let thread = |thread: Thread| Some(Thread { name: some_text(thread.name)?, id: number(thread.id)? });
        Some(match *self {
            Self::Switch { from, state, to } => {
                Meaning::Switch { from: thread(from)?, state: number(state)?, to: thread(to)? }
            }
            Self::Wakes { who, on } => Meaning::Wakes { who: thread(who)?, on: some(on)? },
            Self::Migrates { who, to } => Meaning::Migrates { who: thread(who)?, to: number(to)? },
            Self::InterruptBegins { line, name } => {
                Meaning::InterruptBegins { line: number(line)?, name: some_text(name)? }
            }
            Self::InterruptEnds { line } => Meaning::InterruptEnds { line: number(line)? },
            Self::Told { word, who, number } => Meaning::Told { word, who: some_text(who)?, number: some(number)? },
            Self::Mark { text: slot } => Meaning::Mark { text: text(slot)? },
            Self::Unknown => Meaning::Unknown,
        })
    }
}
