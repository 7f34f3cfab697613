//! A fault campaign: the isolation matrix, counter-examples drawn, what each protection carries.

use super::claims::of_kinds;
use super::names::{compact_table, fault, note, table};
use super::run::drawn;
use crate::dossier::Dossier;
use crate::run::{CampaignFound, RunDrawn};
use ::campaign::{Carried, Cell, Faulty, Measure, Reached, binomial, containment};
use claim::Kind;
use maud::{Markup, html};
use model::system::Containment;
use quantity::Duration;
use simulator::fault::fault_text;
use simulator::{Keeper, What};
use std::collections::{BTreeMap, BTreeSet};

const CAUTION: &str = "A campaign is no proof: it speaks of faults drawn like these, in simulation. An empty cell says how \
                       rare an effect may still be among them, and nothing of other faults.";
/// The counter-examples that are drawn, and the frames that each drawing shows at most.
const MOST_DRAWN: usize = 6;
const MOST_FRAMES: u64 = 3;

pub(super) fn part(dossier: &Dossier) -> Markup {
    let claims = of_kinds(dossier, &[Kind::Containment]);
    let Some(found) = dossier.campaign() else {
        return html! {
            (note("No campaign was given. `cofferdam campaign` makes one, and `report --campaign DIR` takes it up."))
            (claims)
        };
    };
    let shades = dossier.system().map(crate::run::shades).unwrap_or_default();
    let sets = dossier.system().map_or(&[][..], |system| system.containments.as_slice());
    html! {
        p class="caution" { strong { "Caution." } " " (CAUTION) }
        p {
            (found.summary.runs) " runs of " (Duration::from_ns(found.settings.span_ns)) ", each with one fault and without; seed "
            (found.settings.seed) "."
        }
        (claims)
        (matrix(found, sets))
        (reached(found, sets))
        (counter_examples(found, sets, &shades))
        h3 { "What the isolation rests on" }
        (load_bearing(found))
    }
}

/// The partitions that run, in order.
fn partitions(found: &CampaignFound) -> Vec<usize> {
    (0..found.machine.partitions.len()).filter(|partition| found.machine.runs(*partition)).collect()
}

/// Whether faults of one may reach a partition as far as the declared sets go.
fn may_reach(sets: &[Containment], faulty: Faulty, partition: usize) -> bool {
    let own = sets.iter().find(|set| faulty == Faulty::Partition(set.partition.value.index()));
    own.is_some_and(|set| set.within.iter().any(|one| one.value.index() == partition))
}

/// Who is faulty down, who is harmed across: in how many runs, and what none at all may still hide.
fn matrix(found: &CampaignFound, sets: &[Containment]) -> Markup {
    let columns = partitions(found);
    let names = columns.iter().map(|partition| format!("#{}", found.machine.partitions[*partition].name));
    let head: Vec<String> =
        ["Faulty".to_owned(), "#Runs".to_owned()].into_iter().chain(names).chain(["#None: below".to_owned()]).collect();
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let rows = html! {
        @for (faulty, runs) in &found.summary.matrix.runs {
            tr {
                th scope="row" { (faulty.name(&found.machine)) }
                td class="n" { (runs) }
                @for partition in &columns { (cell(found, sets, *faulty, *partition)) }
                td class="n" { (binomial::upper_ppb(0, *runs, binomial::ONE_IN).div_ceil(1000)) " ppm" }
            }
        }
    };
    html! {
        (table("Isolation matrix: the runs in which a fault of the row harmed the column", &head, rows))
        (note("A dot is none in all runs of its row: at 95 % confidence (exact binomial bound) fewer faults drawn like these \
               than the last column says harm that partition. In brackets stands what a fault does to its own partition. Bold is \
               who is in no declared set of the row; of cores and of partitions without a set that is everybody."))
    }
}

fn cell(found: &CampaignFound, sets: &[Containment], faulty: Faulty, partition: usize) -> Markup {
    let cell = found.summary.matrix.cell(faulty, partition);
    let own = faulty == Faulty::Partition(partition);
    let words = containment::worst_words(&cell);
    html! {
        td class="n" title=(words) {
            @match (cell.harmed, own) {
                (0, false) => "·",
                (harmed, true) => { "(" (harmed) ")" }
                (harmed, false) if may_reach(sets, faulty, partition) => (harmed),
                (harmed, false) => { strong { (harmed) } }
            }
        }
    }
}

/// Everybody harmed by somebody else, with the worst of each measure.
fn reached(found: &CampaignFound, sets: &[Containment]) -> Markup {
    let pairs: Vec<_> = found.summary.matrix.harmed_pairs().collect();
    if pairs.is_empty() {
        return note("No fault harmed any partition but its own.");
    }
    let rows = html! {
        @for (faulty, partition) in &pairs {
            @let cell = found.summary.matrix.cell(*faulty, *partition);
            tr {
                th scope="row" class="keep" {
                    @let names = format!("{} → {}", faulty.name(&found.machine), found.machine.partitions[*partition].name);
                    @if may_reach(sets, *faulty, *partition) { (names) } @else { strong { (names) } }
                }
                td class="n" { (cell.harmed) }
                @for measure in Measure::ALL { td class="n" { (worst(&cell, measure)) } }
                @let run = cell.counter_example();
                td class="n" { @if let Some(run) = run { (run) } }
                td { @if let Some(run) = run { (fault(&fault_of(found, run))) } }
            }
        }
    };
    let head =
        ["Faulty → harmed", "#Runs", "#Longer by", "#Missed", "#Stale", "#Lost", "#Undone", "#Run", "With the fault"];
    table("Who harmed whom, at worst", &head, rows)
}

fn worst(cell: &Cell, measure: Measure) -> String {
    match (measure, cell.worst(measure).value) {
        (_, 0) => "–".to_owned(),
        (Measure::Extra, ns) => Duration::from_ns(ns).to_string(),
        (_, count) => count.to_string(),
    }
}

fn fault_of(found: &CampaignFound, run: u64) -> String {
    fault_text(&found.settings.fault(run), &found.machine)
}

/// The pairs worth a drawing: those outside the declared sets first, one of each who is faulty, and no run twice.
fn worth_drawing(found: &CampaignFound, sets: &[Containment]) -> Vec<(Faulty, usize, u64)> {
    let mut pairs: Vec<_> = found.summary.matrix.harmed_pairs().collect();
    pairs.sort_by_key(|(faulty, partition)| {
        let unexpected = matches!(faulty, Faulty::Partition(_)) && !may_reach(sets, *faulty, *partition);
        (!unexpected, *faulty, *partition)
    });
    let (mut drawn, mut runs) = (BTreeSet::new(), BTreeSet::new());
    let fresh = |(faulty, partition): (Faulty, usize)| {
        let run = found.summary.matrix.cell(faulty, partition).counter_example()?;
        (!drawn.contains(&faulty) && runs.insert(run)).then(|| {
            drawn.insert(faulty);
            (faulty, partition, run)
        })
    };
    pairs.into_iter().filter_map(fresh).take(MOST_DRAWN).collect()
}

fn counter_examples(found: &CampaignFound, sets: &[Containment], shades: &[usize]) -> Markup {
    let runs = worth_drawing(found, sets);
    let others = found.summary.matrix.harmed_pairs().count() - runs.len();
    html! {
        @if !runs.is_empty() { h3 { "Runs that show it" } }
        @for (faulty, partition, run) in runs {
            @let told = example(found, run, partition, shades);
            @let (from, to) = (faulty.name(&found.machine), &found.machine.partitions[partition].name);
            (drawn(&format!("example{run}-{partition}"), &format!("{from} harms {to}"), &told.told()))
        }
        @if others > 0 {
            (note(&format!(
                "{} not drawn; `cofferdam simulate --scenario` draws any of the campaign's `counter-examples`.",
                more_pairs(others)
            )))
        }
    }
}

fn more_pairs(count: usize) -> String {
    if count == 1 { "1 more pair is".to_owned() } else { format!("{count} more pairs are") }
}

/// The frames from the fault to the first missed deadline of whom it harms.
fn example(found: &CampaignFound, run: u64, partition: usize, shades: &[usize]) -> RunDrawn {
    let (machine, scenario) = (found.machine.clone(), found.settings.scenario(run));
    let frame = machine.frame_ns.max(1);
    let at = scenario.faults.first().map_or(0, |fault| fault.at_ns);
    let mut keeper = Keeper::new(machine.cores.len(), at, scenario.span_ns);
    simulator::Engine::new(&machine).run(&scenario, &mut simulator::Seen::nothing(&machine), &mut keeper);
    let harms = |event: &&simulator::Event| match event.what {
        What::Misses { task, .. } => machine.tasks.get(task).is_some_and(|task| task.partition == partition),
        What::Lost { input } | What::Reads { input, stale: true, .. } => {
            machine.inputs.get(input).is_some_and(|input| input.partition == partition)
        }
        _ => false,
    };
    let line = keeper.finish(scenario.span_ns);
    let harmed = line.remarkable.iter().filter(|event| event.at_ns >= at).find(harms).map_or(at, |event| event.at_ns);
    let end = (harmed / frame).saturating_add(1).saturating_mul(frame).min(scenario.span_ns);
    let begin = (at / frame).saturating_mul(frame).max(end.saturating_sub(frame.saturating_mul(MOST_FRAMES)));
    RunDrawn::of(machine, scenario, (begin, end), shades.to_vec())
}

/// Who is harmed once a protection is off, and was not with all on.
fn load_bearing(found: &CampaignFound) -> Markup {
    if found.carried.is_empty() {
        return note("The campaign was not made again with protections off: `cofferdam campaign --protections` does.");
    }
    let rows = html! {
        @for carried in &found.carried {
            tr {
                th scope="row" { (carried.protection.key()) }
                td class="n" { (carried.reached.len()) }
                td { @if carried.reached.is_empty() { "no run showed that anything rests on it" } @else { (reached_then(found, carried)) } }
            }
        }
    };
    html! {
        (compact_table("", &["Protection switched off", "#Pairs", "Who then harms whom, and did not before"], rows))
        (note("That no run showed it does not say that a protection carries nothing."))
    }
}

/// Who harms whom with a protection off, one after the other.
fn reached_then(found: &CampaignFound, carried: &Carried) -> String {
    let mut harmed: BTreeMap<Faulty, Vec<&str>> = BTreeMap::new();
    for Reached { faulty, partition, .. } in &carried.reached {
        harmed.entry(*faulty).or_default().push(&found.machine.partitions[*partition].name);
    }
    let told =
        |(faulty, names): (&Faulty, &Vec<&str>)| format!("{} → {}", faulty.name(&found.machine), names.join(", "));
    harmed.iter().map(told).collect::<Vec<_>>().join("; ")
}
