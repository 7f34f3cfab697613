//! What a campaign found, for people and for programs.

use super::ask::{Asked, Shard, Variant};
use super::folder::Loaded;
use crate::args::{CampaignArgs, Format};
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::Result;
use campaign::{Carried, Cell, Faulty, Measure, Reached, Settings, Summary, binomial, carried, containment};
use claim::{Status, Verdict};
use evidence::Deviation;
use jiff::civil::Date;
use model::Digest;
use model::system::Accepted;
use serde_json::{Value, json};
use simulator::Protections;
use simulator::fault::{fault_text, write_scenario};
use std::fmt::Write as _;
use std::path::Path;

/// A finished campaign.
pub struct Found<'a> {
    loaded: &'a Loaded,
    asked: Asked,
    variant: Variant,
    summary: Summary,
    carried: Vec<Carried>,
    verdicts: Vec<Verdict>,
    /// The names of the files of records, and their digests.
    written: Vec<(String, Digest)>,
}

const CAUTION: &str = "A campaign is no proof: it speaks of faults drawn like these, in simulation.";

impl<'a> Found<'a> {
    /// What the summaries of all variants come to, the one with every protection on first.
    pub fn of(
        loaded: &'a Loaded,
        asked: Asked,
        variants: Vec<Variant>,
        summaries: Vec<Summary>,
        written: Vec<(String, Digest)>,
    ) -> Self {
        let mut both = variants.into_iter().zip(summaries);
        // The first variant has every protection on and is always there.
        let (variant, summary) = both.next().expect("a campaign has a variant");
        let without: Vec<_> = both.filter_map(|(one, summary)| Some((one.off?, summary.matrix))).collect();
        let carried = carried(&summary.matrix, &without);
        let evidence =
            containment::Evidence { machine: &loaded.machine, settings: &variant.settings, matrix: &summary.matrix };
        let verdicts = containment::verdicts(&loaded.system, Some(evidence));
        Self { loaded, asked, variant, summary, carried, verdicts, written }
    }

    /// The accepted containment claims; without today their last days are not judged.
    fn deviations(&self, today: Option<Date>) -> Vec<Deviation> {
        let about_containment = |accepted: &&Accepted| accepted.claim.value.starts_with("containment/");
        let accepted = self.loaded.system.accepted.iter().filter(about_containment);
        accepted.map(|accepted| Deviation::judge(accepted, &self.verdicts, today)).collect()
    }

    fn exit(&self, deviations: &[Deviation]) -> Exit {
        let excused = |verdict: &Verdict| deviations.iter().any(|one| one.claim == verdict.id && one.excuses());
        let passes = |verdict: &Verdict| verdict.status == Status::Shown || excused(verdict);
        if self.verdicts.iter().all(passes) { Exit::Shown } else { Exit::Open }
    }

    fn fault(&self, run: u64) -> String {
        fault_text(&self.variant.settings.fault(run), &self.loaded.machine)
    }

    fn partition(&self, partition: usize) -> &str {
        &self.loaded.machine.partitions[partition].name
    }

    /// What is kept knows no day, so that it is the same bytes on any.
    fn json(&self, today: Option<Date>) -> Value {
        let deviations = self.deviations(today);
        json!({
            "schema_version": evidence::json::SCHEMA_VERSION,
            "tool_version": self.asked.tool_version,
            "exit_status": self.exit(&deviations).code(),
            "baseline": self.asked.inputs.iter().map(|(name, digest)| json!({ "name": name, "digest": digest })).collect::<Vec<_>>(),
            "campaign": { "seed": self.asked.seed, "runs": self.summary.runs, "frames": self.asked.frames,
                "span_ns": self.variant.settings.span_ns, "faults": self.asked.faults },
            "caution": CAUTION,
            "records": self.written.iter().map(|(name, digest)| json!({ "file": name, "digest": digest })).collect::<Vec<_>>(),
            "left_out": self.loaded.machine.left_out.iter().map(|left| json!({ "partition": self.partition(left.partition), "reason": left.reason })).collect::<Vec<_>>(),
            "matrix": self.rows(),
            "protections": self.carried.iter().map(|one| self.carried_json(one)).collect::<Vec<_>>(),
            "without_fault": self.twins(),
            "deviations": deviations.iter().map(deviation_json).collect::<Vec<_>>(),
            "verdicts": self.verdicts.iter().map(verdict_json).collect::<Vec<_>>(),
        })
    }

    /// Every pair of somebody who was faulty and somebody else, or itself.
    fn rows(&self) -> Vec<Value> {
        let machine = &self.loaded.machine;
        let pairs = self.summary.matrix.runs.iter().flat_map(|(faulty, runs)| {
            (0..machine.partitions.len())
                .filter(|partition| machine.runs(*partition))
                .map(move |to| (*faulty, to, *runs))
        });
        pairs.map(|(faulty, to, runs)| self.row(faulty, to, runs)).collect()
    }

    fn row(&self, faulty: Faulty, to: usize, runs: u64) -> Value {
        let cell = self.summary.matrix.cell(faulty, to);
        let mut row = self.harm(faulty, to, &cell);
        row["runs"] = json!(runs);
        row["none_at_most_ppb"] = json!((cell.harmed == 0).then(|| binomial::upper_ppb(0, runs, binomial::ONE_IN)));
        row
    }

    /// What the faults of one did to a partition.
    fn harm(&self, faulty: Faulty, to: usize, cell: &Cell) -> Value {
        let mut harm = json!({
            "faulty": faulty.name(&self.loaded.machine),
            "affected": self.partition(to),
            "runs_harmed": cell.harmed,
            "runs_touched": cell.touched,
            "counter_example": cell.counter_example().map(|run| json!({ "run": run, "fault": self.fault(run) })),
        });
        for measure in Measure::ALL {
            harm[format!("worst_{}", measure.key())] = json!(cell.worst(measure).value);
        }
        harm
    }

    fn carried_json(&self, one: &Carried) -> Value {
        let reached = one.reached.iter().map(|one| self.harm(one.faulty, one.partition, &one.cell));
        json!({ "off": one.protection.key(), "reached_then": reached.collect::<Vec<_>>() })
    }

    /// The longest times of the runs without fault.
    fn twins(&self) -> Value {
        let (machine, twins) = (&self.loaded.machine, &self.summary.twins);
        let tasks = machine.tasks.iter().zip(&twins.tasks).map(|(task, seen)| {
            json!({ "task": task.label, "jobs": seen.jobs, "longest_response_ns": seen.most_ns, "missed_deadlines": seen.missed })
        });
        let inputs = machine.inputs.iter().zip(&twins.inputs).map(|(input, seen)| {
            json!({ "channel": machine.channels[input.channel].name, "partition": self.partition(input.partition),
                "greatest_age_ns": seen.most_age_ns, "stale_reads": seen.stale, "lost_messages": seen.lost, "most_held": seen.most_held })
        });
        let chains = machine.chains.iter().zip(&twins.chains).map(|(chain, seen)| {
            json!({ "chain": chain.name, "longest_reaction_ns": seen.reaction_ns, "greatest_age_ns": seen.age_ns })
        });
        json!({ "tasks": tasks.collect::<Vec<_>>(), "inputs": inputs.collect::<Vec<_>>(), "chains": chains.collect::<Vec<_>>() })
    }

    fn text(&self, deviations: &[Deviation]) -> String {
        let machine = &self.loaded.machine;
        let mut text = format!(
            "{}, each with a fault and without; seed {}\n\n",
            containment::runs(self.summary.runs),
            self.asked.seed
        );
        for one in deviations {
            let (claim, status, owner) = (&one.claim, one.status_words(), &one.owner);
            let _ =
                writeln!(text, "Accepted: {claim}: {status}; {owner} accepts it until {}: {}", one.until, one.reason);
            one.remarks().iter().for_each(|remark| text += &format!("  ! {remark}\n"));
        }
        for (faulty, runs) in &self.summary.matrix.runs {
            let _ = writeln!(text, "{}: faulty in {}", faulty.name(machine), containment::runs(*runs));
            self.reached(*faulty, *runs, &mut text);
        }
        for one in &self.carried {
            let told = |one: &Reached| {
                let run = one.cell.counter_example().unwrap_or_default();
                format!("{} -> {} (run {run})", one.faulty.name(machine), self.partition(one.partition))
            };
            let reached: Vec<_> = one.reached.iter().map(told).collect();
            let reached = if reached.is_empty() { "nobody more was reached".to_owned() } else { reached.join(", ") };
            let _ = writeln!(text, "Without {}: {reached}", one.protection.key());
        }
        for verdict in &self.verdicts {
            let reason = verdict.reason.as_deref().unwrap_or_default();
            let _ = writeln!(text, "{}: {}: {reason}", verdict.id, verdict.status.words());
        }
        for left in &machine.left_out {
            let _ = writeln!(text, "{} was left out: {}", self.partition(left.partition), left.reason);
        }
        let _ = writeln!(text, "{CAUTION}");
        text
    }

    /// Whom the faults of one harmed, and what is known of the others.
    fn reached(&self, faulty: Faulty, runs: u64, text: &mut String) {
        let others = (0..self.loaded.machine.partitions.len()).filter(|to| faulty != Faulty::Partition(*to));
        let others = others.filter(|to| self.loaded.machine.runs(*to));
        let cells: Vec<(usize, Cell)> = others.map(|to| (to, self.summary.matrix.cell(faulty, to))).collect();
        for (to, cell) in cells.iter().filter(|(_, cell)| cell.harmed > 0) {
            let worst = containment::worst_words(cell);
            let run = cell.counter_example().unwrap_or_default();
            let name = self.partition(*to);
            let _ = writeln!(
                text,
                "  {name}: {worst}; in {}, such as run {run}: {}",
                containment::runs(cell.harmed),
                self.fault(run)
            );
        }
        let unharmed = cells.iter().filter(|(_, cell)| cell.harmed == 0).count();
        if unharmed > 0 {
            let ppm = binomial::upper_ppb(0, runs, binomial::ONE_IN).div_ceil(1000);
            let _ = writeln!(
                text,
                "  {unharmed} others: none in {}, so below {ppm} ppm each at 95 % confidence",
                containment::runs(runs)
            );
        }
    }
}

fn deviation_json(one: &Deviation) -> Value {
    json!({
        "claim": one.claim,
        "status": one.status.map(Status::key),
        "reason": one.reason,
        "owner": one.owner,
        "until": one.until.to_string(),
        "excuses": one.excuses(),
        "expired": one.expired,
        "remarks": one.remarks(),
    })
}

fn verdict_json(verdict: &Verdict) -> Value {
    json!({
        "id": verdict.id,
        "kind": verdict.kind.key(),
        "subject": verdict.subject,
        "status": verdict.status.key(),
        "bound": verdict.bound,
        "limit": verdict.limit,
        "unit": verdict.unit.key(),
        "relation": verdict.relation.key(),
        "exact": verdict.exact,
        "reason": verdict.reason,
        "witness": verdict.witness.as_ref().map(|witness| json!({ "summary": witness.summary })),
        "basis": { "analysis": verdict.basis.analysis, "source": verdict.basis.source,
            "assumptions": verdict.basis.assumptions.iter().map(|one| one.id()).collect::<Vec<_>>() },
    })
}

/// Writes the summary, and a scenario for each pair of whom one harms the other, or does once a protection is off.
pub fn write(found: &Found<'_>, out: &Path) -> Result<()> {
    files::write_whole(&out.join("summary.json"), &format!("{:#}\n", found.json(None)))?;
    let (settings, matrix) = (&found.variant.settings, &found.summary.matrix);
    for (faulty, to) in matrix.harmed_pairs() {
        write_counter_example(found, settings, matrix.cell(faulty, to), "run", out)?;
    }
    for one in &found.carried {
        let settings = Settings { protections: Protections::without(one.protection), ..settings.clone() };
        let name = format!("without-{}-run", one.protection.key());
        for reached in &one.reached {
            write_counter_example(found, &settings, reached.cell, &name, out)?;
        }
    }
    Ok(())
}

fn write_counter_example(found: &Found<'_>, settings: &Settings, cell: Cell, name: &str, out: &Path) -> Result<()> {
    let Some(run) = cell.counter_example() else { return Ok(()) };
    let folder = out.join("counter-examples");
    files::make_folder(&folder)?;
    let scenario = write_scenario(&settings.scenario(run), &found.loaded.machine);
    files::write_whole(&folder.join(format!("{name}-{run}.toml")), &scenario)
}

pub fn tell(args: &CampaignArgs, found: &Found<'_>) -> Result<Exit> {
    let today = Some(jiff::ZonedDateTime::now().date());
    let deviations = found.deviations(today);
    terminal::print(&match args.format {
        Format::Json => format!("{:#}\n", found.json(today)),
        Format::Text => format!("{}The results are in {}\n", found.text(&deviations), args.out.display()),
    })?;
    Ok(found.exit(&deviations))
}

/// What is said of a part that is finished.
pub fn part(args: &CampaignArgs, shard: Shard) -> String {
    let Shard { part, of } = shard;
    let out = args.out.display();
    match args.format {
        Format::Text => {
            format!("Part {part} of {of} is finished in {out}\nNext: cofferdam campaign --merge {out} ...\n")
        }
        Format::Json => {
            let object = json!({
                "schema_version": evidence::json::SCHEMA_VERSION,
                "tool_version": env!("CARGO_PKG_VERSION"),
                "exit_status": Exit::Shown.code(),
                "shard": { "part": part, "of": of },
                "verdicts": [],
            });
            format!("{object:#}\n")
        }
    }
}
