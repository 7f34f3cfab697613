//! How close runs come to response bounds in which line requests wait only for what others ask for at the same time.

use crate::dossier::Dossier;
use crate::show::{count, percent, permille_up};
use claim::{Kind, Simulated, Verdict};
use quantity::Duration;
use std::cmp::Reverse;

/// As many are named in a line.
const NAMED: usize = 3;

/// What such runs saw of a response.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Concurrent<'v> {
    verdict: &'v Verdict,
    /// The largest response, and in how many runs it was looked for.
    pub(crate) seen: Simulated,
}

impl<'v> Concurrent<'v> {
    /// `None` where no such run was made.
    pub(crate) fn of(verdict: &'v Verdict) -> Option<Self> {
        Some(Self { verdict, seen: verdict.concurrent? })
    }

    /// The share of the bound that judges, in thousandths, rounded up.
    pub(crate) fn of_bound(self) -> Option<u64> {
        permille_up(self.seen.largest, self.verdict.bound?)
    }

    /// The share of the request-driven bound, and of the one by what others can ask for, where both are known.
    pub(crate) fn of_both(self) -> Option<(u64, u64)> {
        let (generic, aware) = self.verdict.generic.zip(self.verdict.table_aware)?;
        permille_up(self.seen.largest, generic).zip(permille_up(self.seen.largest, aware))
    }

    fn words(self) -> String {
        match (self.of_both(), self.of_bound()) {
            (Some((generic, aware)), _) if generic != aware => {
                let (generic, aware) = (percent(generic), percent(aware));
                format!("{generic} of the request-driven bound, {aware} of that by what others can ask for")
            }
            (_, Some(share)) => format!("{} of the bound", percent(share)),
            (_, None) => "without a bound".to_owned(),
        }
    }
}

/// What such runs saw of a response, in a sentence; none where none was made.
pub(crate) fn of_verdict(verdict: &Verdict) -> Option<String> {
    let concurrent = Concurrent::of(verdict)?;
    let largest = Duration::from_ns(concurrent.seen.largest);
    Some(format!("Runs with concurrent requests: at most {largest}, {}.", concurrent.words()))
}

/// How many responses such runs were held against, and the closest ones; none where no such run was made.
pub(crate) fn in_short(dossier: &Dossier) -> Option<String> {
    let all = dossier.of_kind(Kind::Response).filter_map(Concurrent::of);
    let mut closest: Vec<_> = all.filter_map(|one| Some((one.of_bound()?, one.verdict))).collect();
    if closest.is_empty() {
        return None;
    }
    closest.sort_by_key(|(share, verdict)| (Reverse(*share), &verdict.id));
    let named = closest.iter().take(NAMED).map(|(share, verdict)| format!("{} {}", verdict.subject, percent(*share)));
    Some(format!(
        "Runs in which line requests wait only for what others ask for at the same time pass none of {}; the closest come to {} \
         of theirs.",
        count(closest.len(), "response bound"),
        named.collect::<Vec<_>>().join(", ")
    ))
}
