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

/// From A by way of B, of another level, to C; what is declared for the first and the second channel.
fn by_way_of_b(first: &str, second: &str) -> Matrix {
    let parts = channel("CH1", "sampling", "\"B.t\"", first)
        + &channel("CH2", "sampling", "\"C.t\"", second).replace("from = \"A.t\"", "from = \"B.t\"");
    let shown = ["CH1", "CH2"].map(|name| of_others(Kind::Refresh, name, Shown));
    matrix(&exchanging(&parts), &shown)
}

const PASSED: &str = "passes_on = \"CH1\"";

/// What B may do to a message is a fault of the exchange once that is A's: only its measures, who reads and who waits stand against it.
#[test]
fn measures_that_are_passed_on_stand_against_faults_of_who_passes_them_on() {
    let own = by_way_of_b("measures = { corruption = \"CRC-32\" }", "");
    assert_eq!(open(&own, "CH2"), [Repetition, Corruption].into(), "an exchange of its own, with messages of B");

    let some = by_way_of_b("measures = { corruption = \"CRC-32\", sequence = \"number\" }", PASSED);
    assert_eq!(open(&some, "CH1"), [Repetition].into());
    assert_eq!(open(&some, "CH2"), [Repetition, Loss, Delay, Insertion, Masquerade].into());
    let words = "nothing stands against repetition, loss, delay, insertion, masquerade: declare a measure, or why it cannot occur";
    assert_eq!(said(&some)["exchange/CH2"], (NotShown, words.to_owned()));
    let told: Vec<String> = some.exchanges[1].stands.iter().map(|(_, stand)| stand.told()).collect();
    assert_eq!(told[6], "CRC-32 (attached for CH1)");
    assert_eq!(told[9], "nobody waits at a port of its way");

    let all = "measures = { repetition = \"number\", loss = \"number\", delay = \"time stamp\", insertion = \"number\", \
               masquerade = \"code with a key\", sequence = \"number\", corruption = \"code with a key\" }";
    let whole = (Shown, "7 kinds by measures passed on, 3 kinds by construction".to_owned());
    assert_eq!(said(&by_way_of_b(all, PASSED))["exchange/CH2"], whole);
    let second = format!("{PASSED}\nmeasures = {{ corruption = \"CRC-16\" }}");
    let both = (Shown, "1 kind by measures, 6 kinds by measures passed on, 3 kinds by construction".to_owned());
    assert_eq!(said(&by_way_of_b(all, &second))["exchange/CH2"], both);
}

#[test]
fn a_reason_that_holds_for_one_port_is_not_passed_on_and_nothing_declared_is_not_analysed() {
    let reason = by_way_of_b("measures = { corruption = { cannot_occur = \"ECC\" }, repetition = \"number\" }", PASSED);
    assert!(open(&reason, "CH2").contains(&Corruption) && !open(&reason, "CH2").contains(&Repetition));
    let none = by_way_of_b("", PASSED);
    assert_eq!(said(&none)["exchange/CH2"].0, NotAnalysed);
    assert_eq!(open(&none, "CH2").len(), 7);
}

/// A third channel passes on what the second passes on; a second reader anywhere on the way may get another message.
#[test]
fn measures_come_along_any_way_and_readers_are_counted_on_all_of_it() {
    let parts = |to: &str| {
        channel("CH1", "sampling", to, "measures = { corruption = \"CRC-32\" }")
            + &channel("CH2", "sampling", "\"C.t\"", PASSED).replace("from = \"A.t\"", "from = \"B.t\"")
            + &channel("CH3", "sampling", "\"A\"", "passes_on = \"CH2\"").replace("from = \"A.t\"", "from = \"C.t\"")
    };
    let alone = matrix(&exchanging(&parts("\"B.t\"")), &[]);
    assert!(!open(&alone, "CH3").contains(&Corruption), "C and A are of one level, and measures are declared");
    assert!(!open(&alone, "CH3").contains(&Asymmetry));
    let several = matrix(&exchanging(&parts("\"B.t\", \"C.t\"")), &[]);
    assert!(open(&several, "CH3").contains(&Asymmetry) && open(&several, "CH3").contains(&Subset));
}
