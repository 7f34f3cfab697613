//! What a dossier says of its verdicts.

mod common;

use claim::{Kind, Relation, Status, Verdict};
use common::*;
use diagnostic::{Diagnostic, Severity, codes};
use evidence::{Dossier, Inputs, PlanMatch};
use jiff::civil::date;
use model::Digest;
use model::system::ProvenanceClass;
use std::sync::Arc;

fn status_with(verdicts: Vec<Verdict>, change: impl FnOnce(&mut Inputs)) -> u8 {
    let mut inputs = Inputs { verdicts, ..inputs_of(system()) };
    change(&mut inputs);
    Dossier::compose(inputs).exit_status()
}

fn only(status: Status) -> Vec<Verdict> {
    vec![verdict("response/SAFE.stop", Kind::Response, status, 1, 2)]
}

#[test]
fn verdicts_come_by_kind_and_id() {
    let dossier = dossier();
    let ids: Vec<_> = dossier.verdicts().iter().map(|v| v.id.as_str()).collect();
    assert_eq!(
        ids,
        [
            "response/SAFE.stop",
            "response/WORK.run",
            "reaction/E1",
            "refresh/CH01",
            "margin/core/0",
            "boot/SAFE",
            "restart/SAFE/cold",
            "restart/SAFE/warm"
        ]
    );
}

#[test]
fn the_exit_status_is_that_of_the_contract() {
    assert_eq!(status_with(only(Status::Shown), |_| ()), 0);
    for status in [Status::NotShown, Status::Violated, Status::NotAnalysed] {
        assert_eq!(status_with(only(status), |_| ()), 1, "{status:?}");
    }
    assert_eq!(status_with(only(Status::NotAnalysed), |i| i.allow_not_analysed = true), 0);
    assert_eq!(status_with(only(Status::NotShown), |i| i.allow_not_analysed = true), 1);
}

#[test]
fn an_error_in_the_input_outranks_every_verdict() {
    let diagnostic = |code| Diagnostic::new(code, span(), "no");
    let warning = codes::all().find(|code| code.severity == Severity::Warning).expect("there are warnings");
    assert_eq!(status_with(only(Status::Shown), |i| i.diagnostics = vec![diagnostic(warning)]), 0);
    assert_eq!(status_with(only(Status::Violated), |i| i.diagnostics = vec![error()]), 2);
}

#[test]
fn an_acceptance_excuses_up_to_and_on_its_last_day() {
    for (until, excused) in [(date(2026, 6, 29), false), (date(2026, 6, 30), true), (date(2026, 7, 1), true)] {
        let dossier = dossier_accepting(vec![accepted("response/WORK.run", until)]);
        assert_eq!(dossier.deviation("response/WORK.run").is_some(), excused, "{until}");
        let deviation = &dossier.deviations()[0];
        assert_eq!(deviation.status, Some(Status::Violated), "a deviation keeps its own status");
        assert_eq!(deviation.remarks().is_empty(), excused);
    }
}

#[test]
fn an_acceptance_without_use_is_said() {
    let far = date(2030, 1, 1);
    let dossier = dossier_accepting(vec![accepted("response/SAFE.stop", far), accepted("response/NONE", far)]);
    let remarks: Vec<_> = dossier.deviations().iter().map(|d| d.remarks().join(" ")).collect();
    assert!(remarks[0].contains("holds again"), "{remarks:?}");
    assert!(remarks[1].contains("no claim of this id"), "{remarks:?}");
    assert_eq!(dossier.exit_status(), 1);
}

#[test]
fn accepting_every_open_claim_gives_status_0() {
    let open = ["response/WORK.run", "refresh/CH01", "boot/SAFE", "restart/SAFE/cold", "restart/SAFE/warm"];
    let all = open.map(|id| accepted(id, date(2030, 1, 1)));
    assert_eq!(dossier_accepting(all.to_vec()).exit_status(), 0);
    assert_eq!(dossier_accepting(all[1..].to_vec()).exit_status(), 1);
}

#[test]
fn acceptances_do_not_change_the_system() {
    let plain = dossier();
    let excused = dossier_accepting(vec![accepted("response/WORK.run", date(2030, 1, 1))]);
    assert_eq!(plain.system_digest(), excused.system_digest());
    assert_eq!(plain.verdicts(), excused.verdicts());
}

#[test]
fn what_was_not_analysed_is_counted_with_its_reasons() {
    let dossier = dossier();
    let open: Vec<_> = dossier.not_analysed().into_iter().map(|e| (e.kind, e.ids.len(), e.reasons)).collect();
    assert_eq!(
        open,
        [
            (Kind::Boot, 1, vec![("no stages are declared".to_owned(), 1)]),
            (Kind::Restart, 2, vec![("no detection time is declared".to_owned(), 2)]),
        ]
    );
    assert!(dossier.kinds_without_claims().contains(&Kind::Health));
    assert!(!dossier.kinds_without_claims().contains(&Kind::Boot));
}

#[test]
fn the_tightest_are_those_of_least_relative_slack() {
    // Slack over limit: 622/10000, 100/300, 253/600.
    let dossier = dossier();
    let tightest: Vec<_> = dossier.tightest(2).into_iter().map(|v| v.id.as_str()).collect();
    assert_eq!(tightest, ["response/SAFE.stop", "margin/core/0"]);
    assert_eq!(dossier.tightest(9).len(), 3, "only shown claims with a limit");
}

#[test]
fn a_limit_of_zero_is_never_the_tightest() {
    let zero = verdict("memory/SAFE", Kind::Memory, Status::Shown, 0, 0);
    let full = Verdict {
        relation: Relation::AtLeast,
        ..verdict("margin/core/0", Kind::Margin, Status::Shown, 300_000, 300_000)
    };
    let dossier = Dossier::compose(Inputs { verdicts: vec![zero, full], ..inputs_of(system()) });
    assert_eq!(dossier.tightest(3).len(), 1);
    assert_eq!(dossier.tightest(3)[0].id, "margin/core/0");
}

#[test]
fn the_demand_is_split_by_where_it_comes_from() {
    // 200 us / 10 ms = 0.02 by static analysis, 1600 us / 20 ms = 0.08 estimated: 20 % and 80 %.
    let shares = dossier().demand_shares().expect("the system was given");
    let of = |class| shares.rows.iter().find(|row| row.class == class).expect("every class has a row");
    assert_eq!(of(Some(ProvenanceClass::StaticAnalysis)).ppm, 200_000);
    assert_eq!(of(Some(ProvenanceClass::Estimate)).ppm, 800_000);
    assert_eq!(of(Some(ProvenanceClass::Measured)).ppm, 0);
    assert_eq!((of(None).ppm, of(None).tasks), (0, 1));
    assert_eq!(shares.tasks_without_wcet, 1);
    assert_eq!(shares.unproven_ppm(), 800_000);
}

#[test]
fn the_plan_is_held_against_the_system() {
    let with = |made_for| {
        let plan = plan_for(made_for);
        Dossier::compose(Inputs { plan: Some(Arc::new(plan)), ..inputs_of(system()) }).plan_match()
    };
    assert_eq!(with(Some(system().digest())), PlanMatch::Matches);
    assert_eq!(with(Some(Digest::of_bytes(b"another"))), PlanMatch::Differs);
    assert_eq!(with(None), PlanMatch::NotSaid);
    assert_eq!(Dossier::compose(Inputs::default()).plan_match(), PlanMatch::NoPlan);
}

#[test]
fn the_register_lists_what_rests_on_each_assumption() {
    let dossier = dossier();
    let counts: Vec<_> = dossier.register().iter().map(|e| (e.assumption.id(), e.verdicts.len())).collect();
    assert_eq!(counts, [("A1".to_owned(), 5), ("A8".to_owned(), 3)]);
}

#[test]
fn nothing_at_all_is_said_to_be_nothing() {
    let dossier = Dossier::compose(Inputs::default());
    assert_eq!(dossier.sentence(), "There is no claim to judge.");
    assert!(dossier.demand_shares().is_none());
}
