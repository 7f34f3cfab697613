//! Whether a cpu is left by the thread that it went to: where it is not, switches between the two are missing, of which no
//! recorder's mark tells. Some kernels leave out those from the idle thread.

use crate::event::{Event, What};
use crate::names::{Name, Names};

/// Who is on each cpu, as far as it was told.
#[derive(Debug, Default)]
pub struct Continuity {
    /// By the cpu's number.
    on: Vec<Option<Name>>,
}

impl Continuity {
    /// Takes the next event of a source; whether switches of its cpu are missing before it.
    #[inline]
    pub fn breaks_at(&mut self, event: &Event, names: &Names) -> bool {
        match event.what {
            What::Switch { from, to, .. } => {
                let Some(cpu) = event.cpu.number().map(usize::from) else { return false };
                if self.on.len() <= cpu {
                    self.on.resize(cpu + 1, None);
                }
                self.on[cpu].replace(to).is_some_and(|on| !is_same(on, from, names))
            }
            What::Lost { .. } => {
                let cpus = event.cpu.number().map_or(0..self.on.len(), |cpu| usize::from(cpu)..usize::from(cpu) + 1);
                self.on.get_mut(cpus).into_iter().flatten().for_each(|on| *on = None);
                false
            }
            _ => false,
        }
    }
}

/// A thread may be renamed while it executes, but keeps its number; all idle threads have the same. One whose number is not told
/// can be any.
fn is_same(on: Name, leaving: Name, names: &Names) -> bool {
    on == leaving || names.get(leaving).id.is_none_or(|id| names.get(on).id.is_none_or(|on| on == id))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{Cpu, Leaves};

    #[test]
    fn a_cpu_is_left_by_the_thread_that_it_went_to() {
        let mut names = Names::default();
        let [idle, a, renamed, b] =
            [("swapper/0", 0), ("a", 7), ("a2", 7), ("b", 8)].map(|(text, id)| names.thread(text, id));
        let gone = names.text(":-1");
        let cpu = |number| Cpu::new(number).expect("it is one");
        let switch =
            |on, from, to| Event { at_ns: 0, cpu: cpu(on), what: What::Switch { from, to, leaves: Leaves::Ready } };
        let lost = |on| Event { at_ns: 0, cpu: on, what: What::lost(0) };
        let cases = [
            // Nothing is known of a cpu before its first switch.
            (switch(0, a, b), false),
            (switch(1, idle, a), false),
            (switch(0, b, a), false),
            (switch(0, renamed, idle), false),
            (switch(0, a, b), true),
            // The other cpu is another one.
            (switch(1, a, idle), false),
            (lost(cpu(0)), false),
            (switch(0, a, idle), false),
            (switch(1, b, a), true),
            (lost(Cpu::UNKNOWN), false),
            (switch(0, a, b), false),
            (switch(1, b, a), false),
            (switch(1, gone, b), false),
            (switch(1, a, b), true),
        ];
        let mut continuity = Continuity::default();
        for (number, (event, expected)) in cases.iter().enumerate() {
            assert_eq!(continuity.breaks_at(event, &names), *expected, "event {number}");
        }
    }
}
