//! Faults of exchange in tables made by hand.

mod common;

use claim::Status::{NotAnalysed, NotShown, Shown};
use claim::{Basis, Kind, Status, Verdict};
use common::system;
use model::System;
use model::system::ExchangeFault::{self, *};
use separation::exchange::{Matrix, check, matrix};
use std::collections::{BTreeMap, BTreeSet};

fn partition(name: &str, level: &str) -> String {
    format!(
        "[[partition]]\nname = \"{name}\"\nguest = \"fixed priority\"\nlevel = \"{level}\"\n\
         [[partition.task]]\nname = \"t\"\nperiod = \"20 ms\"\npriority = 1\nwcet = \"1 ms\"\n"
    )
}

fn channel(name: &str, kind: &str, to: &str, more: &str) -> String {
    let kind =
        if kind == "queuing" { "kind = \"queuing\"\ndepth = 4" } else { "kind = \"sampling\"\nrefresh = \"50 ms\"" };
    format!("[[channel]]\nname = \"{name}\"\n{kind}\nsize = \"8 B\"\nfrom = \"A.t\"\nto = [{to}]\n{more}\n")
}

/// Three partitions, the second of a higher level, and what they exchange.
fn exchanging(parts: &str) -> System {
    system(&[partition("A", "low"), partition("B", "high"), partition("C", "low"), parts.to_owned()].concat())
}

/// A claim of another analysis.
fn of_others(kind: Kind, subject: &str, status: Status) -> Verdict {
    let basis = Basis { analysis: "none", source: "a test", assumptions: Vec::new() };
    Verdict { status, ..Verdict::not_analysed(kind, subject, basis, String::new()) }
}

fn open(matrix: &Matrix, subject: &str) -> BTreeSet<ExchangeFault> {
    let of = matrix.exchanges.iter().find(|exchange| exchange.subject == subject).expect("an exchange");
    of.open().collect()
}

fn said(matrix: &Matrix) -> BTreeMap<String, (Status, String)> {
    let verdicts = check(matrix).into_iter();
    verdicts.map(|verdict| (verdict.id, (verdict.status, verdict.reason.unwrap_or_default()))).collect()
}

/// By hand, for each kind of port, number of readers, and claim about it that is shown or not.
#[test]
fn a_port_leaves_open_what_neither_it_nor_a_shown_claim_closes() {
    let all: BTreeSet<ExchangeFault> = ExchangeFault::ALL.into_iter().collect();
    for (kind, is_shown, several, expected) in [
        ("sampling", true, false, vec![Repetition, Corruption]),
        ("sampling", false, false, vec![Repetition, Corruption, Loss, Delay]),
        ("sampling", true, true, vec![Repetition, Corruption, Asymmetry, Subset]),
        ("queuing", true, false, vec![Delay, Corruption]),
        ("queuing", false, false, vec![Delay, Corruption, Loss, Blocking]),
        ("queuing", true, true, vec![Delay, Corruption, Asymmetry, Subset]),
    ] {
        let to = if several { "\"B.t\", \"C.t\"" } else { "\"B.t\"" };
        let system = exchanging(&channel("CH", kind, to, ""));
        let claims = if kind == "queuing" { Kind::QueueDepth } else { Kind::Refresh };
        let second = if is_shown { Shown } else { NotShown };
        let about = [of_others(claims, "CH/B.t", Shown), of_others(claims, "CH@night", second)];
        let matrix = matrix(&system, &about);
        assert_eq!(open(&matrix, "CH"), expected.into_iter().collect(), "{kind} {is_shown} {several}");
        assert!(open(&separation::exchange::matrix(&system, &[]), "CH").len() >= open(&matrix, "CH").len());
        let of_another = [of_others(claims, "CH2", Shown)];
        assert!(open(&separation::exchange::matrix(&system, &of_another), "CH").is_subset(&all));
        let words: Vec<&str> = ExchangeFault::ALL
            .into_iter()
            .filter(|f| open(&matrix, "CH").contains(f))
            .map(ExchangeFault::word)
            .collect();
        let reason = format!("no `measures` are declared, and its construction leaves open {}", words.join(", "));
        assert_eq!(said(&matrix)["exchange/CH"], (NotAnalysed, reason));
    }
}

/// A forwarded channel passes through a partition, and a device writes what it likes: only the number of readers counts.
#[test]
fn nothing_is_copied_by_the_hypervisor_alone_where_others_carry_it() {
    let device = "[[board.device]]\nname = \"D\"\nowner = \"A\"\n";
    let own = channel("CH", "sampling", "\"B.t\"", "").replace("A.t", "D");
    let system = exchanging(&(device.to_owned() + &own));
    let shown = [of_others(Kind::Refresh, "CH", Shown)];
    let closed: BTreeSet<ExchangeFault> = [Asymmetry, Subset].into();
    let expected: BTreeSet<ExchangeFault> = ExchangeFault::ALL.into_iter().filter(|f| !closed.contains(f)).collect();
    assert_eq!(open(&matrix(&system, &shown), "CH"), expected);
}

#[test]
fn what_is_declared_counts_and_what_is_missing_is_named() {
    let judged = |measures: &str| {
        let system = exchanging(&channel("CH", "sampling", "\"B.t\"", measures));
        let shown = [of_others(Kind::Refresh, "CH", Shown)];
        let matrix = matrix(&system, &shown);
        (check(&matrix).remove(0), matrix)
    };
    let both = "measures = { corruption = [\"CRC-32\", \"range check\"], repetition = { cannot_occur = \"the reader takes a value once\" } }";
    let (verdict, coverage) = judged(both);
    assert_eq!((verdict.status, verdict.bound, verdict.limit), (Shown, Some(0), Some(0)));
    assert_eq!(
        verdict.reason.as_deref(),
        Some("1 kind by measures, 1 kind declared not to occur, 8 kinds by construction")
    );
    let told: Vec<String> = coverage.exchanges[0]
        .stands
        .iter()
        .map(|(fault, stand)| format!("{} {}", fault.word(), stand.told()))
        .collect();
    assert_eq!(told[0], "repetition the reader takes a value once");
    assert_eq!(told[1], "loss a reader is told when a message is too old (refresh/CH)");
    assert_eq!(told[6], "corruption CRC-32; range check");
    let (verdict, _) = judged("measures = { corruption = \"CRC-32\" }");
    let words = "nothing stands against repetition: declare a measure, or why it cannot occur";
    assert_eq!((verdict.status, verdict.bound, verdict.reason.as_deref()), (NotShown, Some(1), Some(words)));
}

#[test]
fn a_declared_set_of_measures_serves_many() {
    let protection =
        "[[protection]]\nname = \"end to end\"\nmeasures = { corruption = \"CRC-32\", repetition = \"counter\" }\n";
    let parts = protection.to_owned()
        + &channel("CH1", "sampling", "\"B.t\"", "measures = \"end to end\"")
        + &channel("CH2", "sampling", "\"C.t\"", "measures = \"end to end\"")
        + &channel("CH3", "sampling", "\"C.t\"", "");
    let shown = ["CH1", "CH2"].map(|name| of_others(Kind::Refresh, name, Shown));
    let matrix = matrix(&exchanging(&parts), &shown);
    let both = (Shown, "2 kinds by measures of `end to end`, 8 kinds by construction".to_owned());
    let expected = ["exchange/CH1", "exchange/CH2"].map(|id| (id.to_owned(), both.clone()));
    assert_eq!(said(&matrix), expected.into(), "CH3 stays within one level and declares nothing");
    assert_eq!(matrix.left_out, 1);
}

#[test]
fn a_region_has_one_writer_and_one_reader_or_leaves_that_open() {
    let open_of = |keys: &str| {
        let region = format!("[[region]]\nname = \"R\"\nsize = \"4 KiB\"\n{keys}\n");
        open(&matrix(&exchanging(&region), &[]), "region/R")
    };
    let all: BTreeSet<ExchangeFault> = ExchangeFault::ALL.into_iter().collect();
    let without = |closed: &[ExchangeFault]| all.iter().copied().filter(|fault| !closed.contains(fault)).collect();
    let one =
        "owner = \"shared\"\naccess = [{ partition = \"A\", rights = \"rw\" }, { partition = \"B\", rights = \"r\" }]";
    assert_eq!(open_of(one), without(&[Insertion, Masquerade, Asymmetry, Subset]));
    let two_readers =
        "owner = \"A\"\naccess = [{ partition = \"B\", rights = \"r\" }, { partition = \"C\", rights = \"r\" }]";
    assert_eq!(open_of(two_readers), without(&[Insertion, Masquerade]));
    let two_writers = "owner = \"A\"\naccess = [{ partition = \"B\", rights = \"rw\" }]";
    assert_eq!(open_of(two_writers), all);
    let is_reader = "owner = \"A\"\nowner_rights = \"r\"\naccess = [{ partition = \"B\", rights = \"w\" }]";
    assert_eq!(open_of(is_reader), without(&[Insertion, Masquerade, Asymmetry, Subset]));
}

#[test]
fn what_stays_within_one_level_is_not_asked() {
    let judged = matrix(&exchanging(&channel("CH", "sampling", "\"C.t\"", "")), &[]);
    assert_eq!((judged.exchanges.len(), judged.left_out, check(&judged).len()), (0, 1, 0));
}
