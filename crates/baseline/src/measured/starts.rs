//! Outages and boots that a recording shows, beside their bounds less what the recording does not show.

use super::{Rows, id};
use claim::{Kind, PartKind, Unit, Verdict, sum_of_parts};
use evidence::recording::Beside;
use quantity::PartitionId;
use trace::judge::{OutageSeen, Rule, Since, Status};
use trace::seen::Start;

/// The rows of restarts, then of boot.
pub(super) fn rows(rows: &Rows<'_>) -> Vec<Beside> {
    let outages = rows.judgement.outages.iter().map(|outage| of_outage(rows, outage));
    let partitions = rows.system.partition_ids().zip(&rows.judgement.boots);
    let boots = partitions.filter_map(|(partition, most)| {
        let claim = id(Kind::Boot, &rows.system.partition(partition).name.value);
        // The recording does not say when the board was reset: the stages before the first frame are not in what it shows.
        let (claim, bound) = less(rows, claim, PartKind::Stage, "from the first frame");
        let row = rows.row_below(claim, (*most)?, Unit::Nanoseconds, bound);
        Some(Beside { is_claimed: rows.judgement.disturbances() == (0, 0), ..row })
    });
    outages.chain(boots).collect()
}

/// What a bound says of a restart holds for one that nothing else disturbs, in windows that come as planned.
fn of_outage(rows: &Rows<'_>, outage: &OutageSeen) -> Beside {
    let word = match outage.start {
        Start::Warm => "warm",
        Start::Cold => "cold",
    };
    let claim = id(Kind::Restart, &format!("{}/{word}", rows.system.partition(outage.partition).name.value));
    let (claim, bound) = match outage.since {
        Since::Fault => {
            let bound = rows.bound(&claim);
            (claim, bound)
        }
        Since::Noticed => less(rows, claim, PartKind::Detection, "once noticed"),
    };
    let row = rows.row_below(claim, outage.most, Unit::Nanoseconds, bound);
    Beside { is_claimed: is_alone(rows, outage.partition), ..row }
}

/// The bound of a claim without its parts of one kind, and the claim with what that leaves, where it has such parts.
fn less(rows: &Rows<'_>, claim: String, kind: PartKind, left: &str) -> (String, Option<u64>) {
    let parts = |verdict: &Verdict| verdict.parts.iter().filter(|part| part.kind == kind).cloned().collect::<Vec<_>>();
    let verdict = rows.verdict(&claim);
    let missing_ns = verdict.map_or(0, |verdict| sum_of_parts(&parts(verdict)));
    let bound = verdict.and_then(|verdict| verdict.bound).map(|bound| bound.saturating_sub(missing_ns));
    (if missing_ns > 0 { format!("{claim} ({left})") } else { claim }, bound)
}

/// Whether one start is all that disturbed the system, and the partition's windows came as planned as far as that was judged.
fn is_alone(rows: &Rows<'_>, partition: PartitionId) -> bool {
    let (judgement, name) = (rows.judgement, &rows.system.partition(partition).name.value);
    let is_window = |rule| matches!(rule, Rule::WindowStart | Rule::WindowEnd | Rule::Foreign | Rule::Switch);
    let of_windows = judgement.findings.iter().filter(|found| is_window(found.rule) && found.subject == *name);
    let are_kept = of_windows.into_iter().all(|found| !matches!(found.status, Status::Violated | Status::NotShown(_)));
    are_kept && matches!(judgement.disturbances(), (0 | 1, 1))
}
