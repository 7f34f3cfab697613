//! What is made of an event by its name: switches, wake-ups, migrations, interrupts, the words of a plan, marks.

use super::layout::Slot;
use crate::event::Word;

/// A thread's fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Thread {
    /// Its name, a text.
    pub name: Option<Slot>,
    /// Its number.
    pub id: Slot,
}

/// What an event is taken for, with the slots of the fields that say more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// `sched_switch`.
    Switch {
        /// Who leaves.
        from: Thread,
        /// The state in which it does.
        state: Slot,
        /// Who comes.
        to: Thread,
    },
    /// `sched_waking`, `sched_wakeup`, `sched_wakeup_new`.
    Wakes {
        /// Who.
        who: Thread,
        /// Where to.
        on: Option<Slot>,
    },
    /// `sched_migrate_task`.
    Migrates {
        /// Who.
        who: Thread,
        /// Where to.
        to: Slot,
    },
    /// `irq_handler_entry`.
    InterruptBegins {
        /// The line's number.
        line: Slot,
        /// Its name, a text.
        name: Option<Slot>,
    },
    /// `irq_handler_exit`.
    InterruptEnds {
        /// The line's number.
        line: Slot,
    },
    /// An event named with a word of a plan.
    Told {
        /// The word.
        word: Word,
        /// Of whom, a text.
        who: Option<Slot>,
        /// The job's or message's number.
        number: Option<Slot>,
    },
    /// `mark`.
    Mark {
        /// The text.
        text: Slot,
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

    /// The slots of the numbers and of the texts that it needs.
    pub fn slots(&self) -> (Vec<Slot>, Vec<Slot>) {
        match *self {
            Self::Switch { from, state, to } => {
                (vec![from.id, state, to.id], [from.name, to.name].into_iter().flatten().collect())
            }
            Self::Wakes { who, on } => {
                ([Some(who.id), on].into_iter().flatten().collect(), who.name.into_iter().collect())
            }
            Self::Migrates { who, to } => (vec![who.id, to], who.name.into_iter().collect()),
            Self::InterruptBegins { line, name } => (vec![line], name.into_iter().collect()),
            Self::InterruptEnds { line } => (vec![line], Vec::new()),
            Self::Told { who, number, .. } => (number.into_iter().collect(), who.into_iter().collect()),
            Self::Mark { text } => (Vec::new(), vec![text]),
            Self::Unknown => (Vec::new(), Vec::new()),
        }
    }
}
