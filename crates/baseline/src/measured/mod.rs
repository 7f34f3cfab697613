//! What recordings show, held against the bounds of analysis: the third witness meets the first.

mod cut;
mod starts;

pub use cut::Cut;

use claim::{Kind, Unit, Verdict};
use evidence::recording::Beside;
use model::System;
use model::system::{Channel, Need};
use quantity::{ChannelId, TaskId};
use trace::judge::{Judgement, Most};

/// The most that a recording shows of responses, ports, chains, restarts and boot, beside the bounds of `verdicts`.
///
/// A bound speaks of a system in which nothing fails and one schedule is in force: elsewhere more may be seen without alarm.
pub fn beside(system: &System, judgement: &Judgement, verdicts: &[Verdict]) -> Vec<Beside> {
    let rows = Rows { system, judgement, verdicts };
    [rows.responses(), rows.depths(), rows.ages(), rows.chains(), starts::rows(&rows)].concat()
}

struct Rows<'a> {
    system: &'a System,
    judgement: &'a Judgement,
    verdicts: &'a [Verdict],
}

impl Rows<'_> {
    fn responses(&self) -> Vec<Beside> {
        let all = self.judgement.responses.iter().enumerate();
        let row = |(task, most): (usize, &Option<Most>)| {
            Some(self.row(id(Kind::Response, &self.system.task_label(TaskId::new(task))), (*most)?, Unit::Nanoseconds))
        };
        all.filter_map(row).collect()
    }

    fn depths(&self) -> Vec<Beside> {
        let all = self.judgement.depths.iter().enumerate();
        let row = |(channel, receivers): (usize, &Vec<Option<Most>>)| {
            let most = receivers.iter().flatten().copied().max_by_key(|most| most.surely)?;
            let name = &self.system.channel(ChannelId::new(channel)).name.value;
            Some(self.row(id(Kind::QueueDepth, name), most, Unit::Messages))
        };
        all.filter_map(row).collect()
    }

    /// The bound of a refresh period is the longest time between two writes, and above every age at which one is read.
    fn ages(&self) -> Vec<Beside> {
        let all = self.judgement.ages.iter().zip(&self.system.channels);
        let row = |(most, channel): (&Option<Most>, &Channel)| {
            Some(self.row(id(Kind::Refresh, &channel.name.value), (*most)?, Unit::Nanoseconds))
        };
        all.filter_map(row).collect()
    }

    /// Reaction and held data age of each chain. The bound of either is one of both, and the claim is about what is asked for.
    fn chains(&self) -> Vec<Beside> {
        let all = self.system.chains.iter().zip(&self.judgement.chains);
        let rows = all.flat_map(|(chain, seen)| {
            let name = &chain.name.value;
            let asked = match chain.need {
                Need::Reaction(_) => Kind::Reaction,
                Need::DataAge(_) => Kind::DataAge,
            };
            let bound = self.bound(&id(asked, name));
            let row = move |(kind, most): (Kind, Option<Most>)| {
                Some(self.row_below(id(kind, name), most?, Unit::Nanoseconds, bound))
            };
            [(Kind::Reaction, seen.reaction), (Kind::DataAge, seen.age)].into_iter().filter_map(row)
        });
        rows.collect()
    }

    fn row(&self, claim: String, most: Most, unit: Unit) -> Beside {
        let bound = self.bound(&claim);
        self.row_below(claim, most, unit, bound)
    }

    fn row_below(&self, claim: String, most: Most, unit: Unit, bound: Option<u64>) -> Beside {
        let is_claimed = self.judgement.is_undisturbed();
        Beside {
            claim,
            seen: most.value,
            surely: most.surely,
            unit,
            count: most.seen,
            at_ns: most.at_ns,
            bound,
            is_claimed,
        }
    }

    fn bound(&self, claim: &str) -> Option<u64> {
        self.verdict(claim)?.bound
    }

    /// What is claimed. Claims of one of several module schedules have its name behind: the first is in force at the beginning.
    fn verdict(&self, claim: &str) -> Option<&Verdict> {
        let within = format!("{claim}@{}", self.system.schedules[0].name.value);
        self.verdicts.iter().find(|verdict| verdict.id == claim || verdict.id == within)
    }
}

fn id(kind: Kind, subject: &str) -> String {
    format!("{}/{subject}", kind.key())
}
