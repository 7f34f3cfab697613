//! What verdicts may never say, whatever the system: each such saying is a fault of the program.

use claim::{Kind, Status, Verdict, sum_of_parts};

/// Every contradiction in `verdicts`, in a sentence each. Where there is one, no verdict of the run holds.
pub fn alarms(verdicts: &[Verdict]) -> Vec<String> {
    let checks: [fn(&Verdict) -> Option<String>; 4] =
        [table_above_generic, not_the_smaller, parts_amiss, shown_past_limit];
    let found = verdicts.iter().flat_map(|verdict| {
        checks.iter().filter_map(move |check| check(verdict)).map(move |what| format!("{}: {what}", verdict.id))
    });
    found.collect()
}

fn table_above_generic(verdict: &Verdict) -> Option<String> {
    let (generic, table_aware) = verdict.generic.zip(verdict.table_aware)?;
    (table_aware > generic).then(|| format!("the table-aware bound {table_aware} is above the generic bound {generic}"))
}

fn not_the_smaller(verdict: &Verdict) -> Option<String> {
    let smaller = verdict.generic.into_iter().chain(verdict.table_aware).min()?;
    let bound = verdict.bound?;
    if verdict.kind == Kind::Response && verdict.generic == Some(bound) {
        return None; // Which of the two judges a response is declared.
    }
    (bound != smaller).then(|| format!("the bound {bound} is not the smaller of its two, {smaller}"))
}

fn parts_amiss(verdict: &Verdict) -> Option<String> {
    let (bound, sum) = (verdict.bound?, sum_of_parts(&verdict.parts));
    let amiss = !verdict.parts.is_empty() && sum != bound;
    amiss.then(|| format!("the parts of the bound add up to {sum} and the bound is {bound}"))
}

fn shown_past_limit(verdict: &Verdict) -> Option<String> {
    let (bound, limit) = verdict.bound.zip(verdict.limit)?;
    let amiss = verdict.status == Status::Shown && !verdict.relation.holds(bound, limit);
    amiss.then(|| format!("it is shown with a bound of {bound} and a limit of {limit}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use claim::{Basis, Part, PartKind};

    fn sound() -> Verdict {
        let basis = Basis { analysis: "chains", source: "", assumptions: Vec::new() };
        let part = |kind, ns| Part::new("P.t", kind, ns);
        Verdict {
            status: Status::Shown,
            bound: Some(30),
            limit: Some(30),
            generic: Some(40),
            table_aware: Some(30),
            parts: vec![part(PartKind::Waiting, 10), part(PartKind::Executing, 20)],
            ..Verdict::not_analysed(Kind::Reaction, "E1", basis, "")
        }
    }

    #[test]
    fn sound_verdicts_raise_none() {
        assert!(alarms(&[sound(), Verdict { table_aware: None, generic: None, ..sound() }]).is_empty());
        assert!(alarms(&[Verdict { status: Status::NotShown, limit: Some(29), ..sound() }]).is_empty());
    }

    #[test]
    fn every_contradiction_raises_one() {
        let amiss = [
            (Verdict { table_aware: Some(41), bound: Some(40), parts: Vec::new(), limit: None, ..sound() }, "above"),
            (Verdict { table_aware: Some(29), ..sound() }, "smaller"),
            (Verdict { parts: sound().parts[1..].to_vec(), ..sound() }, "add up to 20"),
            (Verdict { limit: Some(29), ..sound() }, "a limit of 29"),
        ];
        for (verdict, says) in amiss {
            let found = alarms(&[sound(), verdict]);
            assert_eq!(found.len(), 1, "{found:?}");
            assert!(found[0].starts_with("reaction/E1: ") && found[0].contains(says), "{found:?}");
        }
    }
}
