//! Objectives: no row says more than the worst of its claims, and what is missing is no pass.

mod common;

use claim::{Kind, Status, Verdict};
use common::*;
use evidence::{Dossier, Inputs, OBJECTIVES};
use std::collections::BTreeSet;

/// A dossier with one claim of every kind, all shown but those of one kind.
fn with(kind: Option<Kind>, status: Status) -> Dossier {
    let verdict = |of: Kind| {
        let shown = Verdict { status: Status::Shown, ..Verdict::not_analysed(of, "A", basis(&[]), "because") };
        if Some(of) == kind { Verdict { status, ..shown } } else { shown }
    };
    Dossier::compose(Inputs { verdicts: Kind::ALL.into_iter().map(verdict).collect(), ..Inputs::default() })
}

/// The ten keys of the objectives (from memory).
#[test]
fn the_ten_multicore_objectives_are_there() {
    let keys: Vec<_> = OBJECTIVES.iter().map(|o| o.key).filter(|key| key.starts_with("MCP_")).collect();
    let expected = [
        "MCP_Planning_1",
        "MCP_Planning_2",
        "MCP_Resource_Usage_1",
        "MCP_Resource_Usage_2",
        "MCP_Resource_Usage_3",
        "MCP_Resource_Usage_4",
        "MCP_Software_1",
        "MCP_Software_2",
        "MCP_Error_Handling_1",
        "MCP_Accomplishment_Summary_1",
    ];
    assert_eq!(keys, expected);
    assert_eq!(OBJECTIVES.iter().map(|o| (o.source, o.key)).collect::<BTreeSet<_>>().len(), OBJECTIVES.len());
}

#[test]
fn every_row_is_as_bad_as_the_worst_of_its_claims() {
    for kind in Kind::ALL {
        for status in [Status::NotAnalysed, Status::NotShown, Status::Violated] {
            let dossier = with(Some(kind), status);
            for row in dossier.objectives() {
                let objective = row.objective;
                let speaks = objective.needs.contains(&kind) || objective.also.contains(&kind);
                let is_process = objective.needs.is_empty();
                let expected = match (is_process, speaks) {
                    (true, _) => Status::NotAnalysed,
                    (false, true) => status,
                    (false, false) => Status::Shown,
                };
                assert_eq!(row.status, expected, "{} with {kind:?}", objective.key);
                let open: Vec<&str> = row.open.iter().map(|verdict| verdict.kind.key()).collect();
                assert_eq!(open, if speaks { vec![kind.key()] } else { vec![] });
            }
        }
    }
}

#[test]
fn what_is_asked_of_processes_is_never_shown() {
    let dossier = with(None, Status::Shown);
    let rows = dossier.objectives();
    let open: Vec<_> = rows.iter().filter(|row| row.status != Status::Shown).map(|row| row.objective.key).collect();
    assert_eq!(open, ["MCP_Planning_1", "MCP_Planning_2", "MCP_Accomplishment_Summary_1"]);
    assert!(rows[..3].iter().all(|row| row.told().starts_with("outside this program: ")), "open ones come first");
}

#[test]
fn a_kind_without_claims_is_no_pass() {
    for kind in Kind::ALL {
        let verdicts = with(None, Status::Shown).verdicts().iter().filter(|v| v.kind != kind).cloned().collect();
        let dossier = Dossier::compose(Inputs { verdicts, ..Inputs::default() });
        for row in dossier.objectives().iter().filter(|row| row.objective.needs.contains(&kind)) {
            let key = row.objective.key;
            assert_eq!((row.status, row.missing.as_slice()), (Status::NotAnalysed, &[kind][..]), "{key}");
            assert!(row.told().contains(kind.title()));
        }
    }
    let nothing = Dossier::compose(Inputs::default());
    assert!(nothing.objectives().iter().all(|row| row.status == Status::NotAnalysed));
}
