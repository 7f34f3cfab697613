//! Who writes a channel and who reads it, where the recording does not say: told from what stands beside it.
//!
//! A guess is made only where one and the same task fits every time, and it is marked as one.

use quantity::TaskId;

/// So many times at least tell.
const FEWEST: u64 = 2;

/// Whom one end of a channel can belong to.
#[derive(Debug, Clone, Default)]
pub struct End {
    /// Those that began or completed at the very instant, every time.
    beside: Option<Vec<TaskId>>,
    /// Those that executed then, every time.
    executing: Option<Vec<TaskId>>,
    /// How often it was used.
    pub times: u64,
}

/// What was found of an end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Told {
    /// Each time this task began (a reader) or completed (a writer) at that instant.
    Beside(TaskId),
    /// Each time this task, and no other one each time, executed.
    Executing(TaskId),
    /// It does not follow.
    No,
}

impl End {
    /// It was used: right behind that task's begin or completion, while these executed.
    pub(super) fn used(&mut self, beside: Option<TaskId>, executing: impl Iterator<Item = TaskId>) {
        self.times += 1;
        keep(&mut self.beside, beside.into_iter().collect());
        keep(&mut self.executing, executing.collect());
    }

    /// Whose it is.
    pub fn told(&self) -> Told {
        let only = |list: &Option<Vec<TaskId>>| match list.as_deref() {
            Some([only]) if self.times >= FEWEST => Some(*only),
            _ => None,
        };
        let executing = only(&self.executing).map_or(Told::No, Told::Executing);
        only(&self.beside).map_or(executing, Told::Beside)
    }
}

/// Of those that fitted until now, the ones that fit now too.
fn keep(so_far: &mut Option<Vec<TaskId>>, now: Vec<TaskId>) {
    match so_far {
        Some(list) => list.retain(|task| now.contains(task)),
        None => *so_far = Some(now),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_is_told_by_the_one_task_that_fits_every_time() {
        let [a, b] = [0, 1].map(TaskId::new);
        let mut end = End::default();
        end.used(Some(a), [b].into_iter());
        assert_eq!(end.told(), Told::No, "once is chance");
        end.used(Some(a), [b].into_iter());
        assert_eq!(end.told(), Told::Beside(a));
        end.used(None, [a, b].into_iter());
        assert_eq!(end.told(), Told::Executing(b));
        end.used(None, [a].into_iter());
        assert_eq!(end.told(), Told::No);
    }
}
