//! A fault campaign: the isolation matrix, counter-examples drawn, what each protection carries.

use super::claims::of_kinds;
use super::names::{compact_table, note, table};
use super::run::drawn;
use crate::dossier::Dossier;
use crate::run::{CampaignFound, RunDrawn};
use ::campaign::{Carried, Cell, Faulty, Measure, Reached, binomial, containment};
use claim::Kind;
use maud::{Markup, html};
use quantity::Duration;
use simulator::fault::fault_text;
use simulator::{Keeper, What};

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
    html! {
        p class="caution" { strong { "Caution." } " " (CAUTION) }
        p {
            (found.summary.runs) " runs of " (Duration::from_ns(found.settings.span_ns)) ", each with one fault and without; seed "
            (found.settings.seed) "."
        }
        (claims)
        (matrix(found))
        (reached(found))
        (counter_examples(found, &shades))
        h3 { "What the isolation rests on" }
        (load_bearing(found))
    }
}

/// The partitions that run, in order.
fn partitions(found: &CampaignFound) -> Vec<usize> {
    (0..found.machine.partitions.len()).filter(|partition| found.machine.runs(*partition)).collect()
}

/// Who is faulty down, who is harmed across: in how many runs, and what none at all may still hide.
fn matrix(found: &CampaignFound) -> Markup {
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
                @for partition in &columns { (cell(found, *faulty, *partition)) }
                td class="n" { (binomial::upper_ppb(0, *runs, binomial::ONE_IN).div_ceil(1000)) " ppm" }
            }
        }
    };
    html! {
        (table("Isolation matrix: the runs in which a fault of the row harmed the column", &head, rows))
        (note("A dot is none in all runs of its row: at 95 % confidence (exact binomial bound) fewer faults drawn like these \
               than the last column says harm that partition. In brackets stands what a fault does to its own partition."))
    }
}

fn cell(found: &CampaignFound, faulty: Faulty, partition: usize) -> Markup {
    let cell = found.summary.matrix.cell(faulty, partition);
    let own = faulty == Faulty::Partition(partition);
    let words = containment::worst_words(&cell);
    html! {
        td class="n" title=(words) {
            @match (cell.harmed, own) {
                (0, false) => "·",
                (harmed, true) => { "(" (harmed) ")" }
                (harmed, false) => { strong { (harmed) } }
            }
        }
    }
}

/// Everybody harmed by somebody else, with the worst of each measure.
fn reached(found: &CampaignFound) -> Markup {
    let pairs: Vec<_> = found.summary.matrix.harmed_pairs().collect();
    if pairs.is_empty() {
        return note("No fault harmed any partition but its own.");
    }
    let rows = html! {
        @for (faulty, partition) in &pairs {
            @let cell = found.summary.matrix.cell(*faulty, *partition);
            tr {
                th scope="row" { (faulty.name(&found.machine)) " → " (found.machine.partitions[*partition].name) }
                td class="n" { (cell.harmed) }
                @for measure in Measure::ALL { td class="n" { (worst(&cell, measure)) } }
                td { @if let Some(run) = cell.counter_example() { "run " (run) ": " code { (fault_of(found, run)) } } }
            }
        }
    };
    let head = ["Faulty → harmed", "#Runs", "#More response", "#Missed", "#Stale", "#Lost", "#Undone", "Such as"];
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

fn counter_examples(found: &CampaignFound, shades: &[usize]) -> Markup {
    let pairs: Vec<_> = found.summary.matrix.harmed_pairs().collect();
    let runs = pairs.iter().take(MOST_DRAWN).filter_map(|(faulty, partition)| {
        let run = found.summary.matrix.cell(*faulty, *partition).counter_example()?;
        Some((*faulty, *partition, run))
    });
    html! {
        @for (faulty, partition, run) in runs {
            @let told = example(found, run, partition, shades);
            @let (from, to) = (faulty.name(&found.machine), &found.machine.partitions[partition].name);
            (drawn(&format!("example{run}-{partition}"), &format!("Counter-example: {from} harms {to}"), &told.told()))
        }
        @if pairs.len() > MOST_DRAWN {
            (note(&format!("{} further pairs are not drawn; `cofferdam simulate --scenario` draws any counter-example of the \
                            campaign's folder.", pairs.len() - MOST_DRAWN)))
        }
    }
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
    let pairs = |carried: &Carried| {
        let name = |one: &Reached| {
            format!("{} → {}", one.faulty.name(&found.machine), found.machine.partitions[one.partition].name)
        };
        carried.reached.iter().map(name).collect::<Vec<_>>().join(", ")
    };
    let rows = html! {
        @for carried in &found.carried {
            tr {
                th scope="row" { (carried.protection.key()) }
                td class="n" { (carried.reached.len()) }
                td { @if carried.reached.is_empty() { "no run showed that anything rests on it" } @else { (pairs(carried)) } }
            }
        }
    };
    html! {
        (compact_table("", &["Protection switched off", "#Pairs", "Who then harms whom, and did not before"], rows))
        (note("That no run showed it does not say that a protection carries nothing."))
    }
}
