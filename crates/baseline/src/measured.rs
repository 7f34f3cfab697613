//! What recordings show, held against the bounds of analysis: the third witness meets the first.

use claim::{Unit, Verdict};
use evidence::recording::Beside;
use model::System;
use quantity::{ChannelId, TaskId};
use trace::judge::{Judgement, Most};

/// The most that a recording shows of responses and queues, beside the bounds of `verdicts`.
///
/// A bound speaks of a system in which nothing fails and one schedule is in force: elsewhere more may be seen without alarm.
pub fn beside(system: &System, judgement: &Judgement, verdicts: &[Verdict]) -> Vec<Beside> {
    let is_claimed = judgement.is_undisturbed();
    let row = |claim: String, most: Most, unit: Unit| {
        let verdict = verdicts.iter().find(|verdict| verdict.id == claim);
        let bound = verdict.and_then(|verdict| verdict.bound);
        Beside { claim, seen: most.value, unit, count: most.seen, at_ns: most.at_ns, bound, is_claimed }
    };
    let responses = judgement.responses.iter().enumerate().filter_map(|(task, most)| {
        Some(row(format!("response/{}", system.task_label(TaskId::new(task))), (*most)?, Unit::Nanoseconds))
    });
    let depths = judgement.depths.iter().enumerate().filter_map(|(channel, receivers)| {
        let most = receivers.iter().flatten().copied().max_by_key(|most| most.value)?;
        let name = &system.channel(ChannelId::new(channel)).name.value;
        Some(row(format!("queue_depth/{name}"), most, Unit::Messages))
    });
    responses.chain(depths).collect()
}
