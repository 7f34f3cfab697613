//! What is gained where a response counts only what other masters of the memory can ask for meanwhile.

use crate::dossier::Dossier;
use crate::show::{count, signed_percent};
use claim::{Kind, Verdict};
use quantity::Duration;

/// As many are named in a line.
const NAMED: usize = 3;

/// The two bounds of a response, the lower one below the request-driven one.
#[derive(Debug, Clone, Copy)]
struct Gain<'v> {
    verdict: &'v Verdict,
    generic_ns: u64,
    aware_ns: u64,
}

impl<'v> Gain<'v> {
    fn of(verdict: &'v Verdict) -> Option<Self> {
        let (generic_ns, aware_ns) = verdict.generic.zip(verdict.table_aware)?;
        (verdict.kind == Kind::Response).then_some(Self { verdict, generic_ns, aware_ns })
    }

    /// How much lower, in parts per million of the request-driven bound.
    fn ppm(self) -> i64 {
        let less = u128::from(self.generic_ns.saturating_sub(self.aware_ns)) * 1_000_000;
        -(less.checked_div(u128::from(self.generic_ns)).unwrap_or(0) as i64) // At most a million.
    }

    fn words(self) -> String {
        let (generic, aware) = (Duration::from_ns(self.generic_ns), Duration::from_ns(self.aware_ns));
        format!("{aware} instead of {generic}, {}", signed_percent(self.ppm()))
    }
}

/// Both bounds of a response in a sentence; none where they are the same or only one is known.
pub(crate) fn of_verdict(verdict: &Verdict) -> Option<String> {
    let gain = Gain::of(verdict).filter(|gain| gain.aware_ns < gain.generic_ns)?;
    let judges = if verdict.bound == Some(gain.generic_ns) { "the request-driven bound judges" } else { "it judges" };
    Some(format!("Counting only what other masters can ask for meanwhile: {}; {judges}.", gain.words()))
}

/// How many bounds that lowers, and the largest gains; none where no response has both bounds.
pub(crate) fn in_short(dossier: &Dossier) -> Option<String> {
    let both: Vec<_> = dossier.of_kind(Kind::Response).filter_map(Gain::of).collect();
    let mut lower: Vec<_> = both.iter().filter(|gain| gain.aware_ns < gain.generic_ns).collect();
    lower.sort_by_key(|gain| gain.ppm());
    let of = count(both.len(), "response bound");
    match lower.len() {
        _ if both.is_empty() => None,
        0 => Some(format!("Counting only what other masters can ask for meanwhile lowers none of {of}.")),
        n => {
            let named = lower.iter().take(NAMED).map(|gain| format!("{} {}", gain.verdict.subject, gain.words()));
            let named = named.collect::<Vec<_>>().join("; ");
            Some(format!("Counting only what other masters can ask for meanwhile lowers {n} of {of}: {named}."))
        }
    }
}
