//! Campaigns over the survey vessel: the same bytes however they are cut, and effects where the plan lets them through.

use campaign::{Choice, Settings, Summary, Wrong, carried, containment, run_chunk, run_chunk_slowly};
use claim::{Status, Verdict};
use model::{FileError, FileSource, System};
use plan::Plan;
use simulator::fault::declared::Declared;
use simulator::table::Unfit;
use simulator::{Machine, Protection, Protections, Seen, Table};

const FILES: [(&str, &str); 4] = [
    ("system.toml", include_str!("../../../examples/survey-vessel/system.toml")),
    ("tasks.csv", include_str!("../../../examples/survey-vessel/tasks.csv")),
    ("channels.csv", include_str!("../../../examples/survey-vessel/channels.csv")),
    ("board.dts", include_str!("../../../examples/survey-vessel/board.dts")),
];
const PLAN: &str = include_str!("../../../examples/survey-vessel/plan.toml");

/// The vessel's files, with text in the place of its own containment sets.
struct Vessel<'a>(&'a str);

impl FileSource for Vessel<'_> {
    fn read(&mut self, path: &str) -> Result<Vec<u8>, FileError> {
        let (_, text) = FILES.iter().find(|(name, _)| *name == path).ok_or(FileError::NotFound)?;
        Ok(match text.split_once("[[containment]]") {
            Some((before, _)) => format!("{before}\n{}", self.0).into_bytes(),
            None => text.as_bytes().to_vec(),
        })
    }
}

fn vessel(added: &str) -> (System, Plan, Machine) {
    let mut reading = model::read_system("system.toml", &mut Vessel(added));
    let system = reading.system.unwrap_or_else(|| panic!("{:?}", reading.diagnostics));
    let (plan, _) = plan::read_plan("plan.toml", PLAN.as_bytes(), &system, &mut reading.sources);
    let plan = plan.expect("the vessel's plan is read");
    let machine = simulator::compile::machine(&system, &plan);
    (system, plan, machine)
}

fn settings(machine: &Machine, choices: Vec<Choice>, runs: u64) -> Settings {
    Settings { seed: 3, runs, span_ns: machine.frame_ns * 6, choices, protections: Protections::ALL }
}

fn crash_of(machine: &Machine, name: &str) -> Vec<Choice> {
    let partition = machine.partitions.iter().position(|one| one.name == name).expect("the vessel has it");
    let kind = Declared::named("crash").expect("a kind of fault");
    vec![Choice { kind, targets: vec![simulator::fault::Target::Partition(partition)] }]
}

fn whole(machine: &Machine, settings: &Settings) -> Summary {
    let mut summary = Summary::nothing(machine);
    summary.add(&run_chunk(machine, settings, 0..settings.runs), machine);
    summary
}

#[test]
fn chunks_in_any_order_come_to_the_same_as_one_stretch() {
    let (_, _, machine) = vessel("");
    let settings = settings(&machine, Choice::all(&machine), 60);
    let once = whole(&machine, &settings);
    let mut joined = Summary::nothing(&machine);
    for runs in [41..60, 0..7, 7..8, 8..41] {
        let mut part = Summary::nothing(&machine);
        part.add(&run_chunk(&machine, &settings, runs), &machine);
        joined.join(&part);
    }
    assert_eq!(joined, once);
    assert_eq!(once.runs, 60);
    assert_eq!(once.twins.runs, 60);
    assert_eq!(once.matrix.runs.values().sum::<u64>(), 60);
}

#[test]
fn one_thread_makes_what_many_make() {
    let (_, _, machine) = vessel("");
    let settings = settings(&machine, Choice::all(&machine), 40);
    let pool = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads can be made");
    let one = pool(1).install(|| run_chunk(&machine, &settings, 0..40));
    assert_eq!(pool(3).install(|| run_chunk(&machine, &settings, 0..40)), one);
}

#[test]
fn every_kind_is_drawn_at_what_it_may_happen_to() {
    let (_, _, machine) = vessel("");
    let settings = settings(&machine, Choice::all(&machine), 2000);
    let faults: Vec<_> = (0..2000).map(|run| settings.fault(run)).collect();
    for choice in &settings.choices {
        let of_kind = faults.iter().filter(|fault| fault.kind.declared().0.word == choice.kind.word);
        assert!(of_kind.clone().count() > 50, "{} is drawn about as often as the others", choice.kind.word);
        assert!(of_kind.clone().all(|fault| choice.targets.contains(&fault.target)));
    }
    assert!(faults.iter().all(|fault| fault.at_ns < settings.span_ns / 2));
    assert!(faults.iter().any(|fault| fault.at_ns > settings.span_ns * 2 / 5));
}

#[test]
fn a_campaign_of_nothing_is_refused() {
    let (_, _, machine) = vessel("");
    assert_eq!(settings(&machine, Choice::all(&machine), 0).check(), Err(Wrong::NoRuns));
    assert_eq!(settings(&machine, Vec::new(), 1).check(), Err(Wrong::NoFaults));
    assert_eq!(settings(&machine, Choice::all(&machine), 1).check(), Ok(()));
}

/// A set around a partition, and the verdict of a campaign of its crashes.
fn judged(partition: &str, within: &[&str], runs: u64) -> Verdict {
    let within: Vec<_> = within.iter().map(|name| format!("\"{name}\"")).collect();
    let set =
        format!("[[containment]]\npartition = \"{partition}\"\nwithin = [{}]\nat_most = \"10 %\"\n", within.join(", "));
    let (system, _, machine) = vessel(&set);
    let settings = settings(&machine, crash_of(&machine, partition), runs);
    let summary = whole(&machine, &settings);
    let evidence = containment::Evidence { machine: &machine, settings: &settings, matrix: &summary.matrix };
    containment::verdicts(&system, Some(evidence)).remove(0)
}

fn names(machine: &Machine) -> Vec<&str> {
    machine.partitions.iter().map(|one| one.name.as_str()).collect()
}

#[test]
fn a_set_around_everybody_is_shown_once_there_are_runs_enough() {
    let (_, _, machine) = vessel("");
    let first = machine.partitions[0].name.clone();
    let shown = judged(&first, &names(&machine), 29);
    // 1 - 0.05^(1/29) is below 10 %, 1 - 0.05^(1/28) is above: common practice, no source.
    assert_eq!((shown.status, shown.bound.is_some_and(|bound| bound <= 100_000)), (Status::Shown, true), "{shown:?}");
    let few = judged(&first, &names(&machine), 28);
    assert_eq!(few.status, Status::NotShown);
    assert!(few.reason.is_some_and(|reason| reason.contains("29 runs")));
}

#[test]
fn without_a_campaign_nothing_is_analysed() {
    let (system, ..) = vessel("[[containment]]\npartition = \"OBJT\"\n");
    let open = containment::verdicts(&system, None).remove(0);
    assert_eq!((open.id.as_str(), open.status), ("containment/OBJT", Status::NotAnalysed));
    assert!(open.reason.is_some_and(|reason| reason.contains("cofferdam campaign")));
}

#[test]
fn with_nothing_switched_off_nothing_is_carried() {
    let (_, _, machine) = vessel("");
    let settings = settings(&machine, Choice::all(&machine), 50);
    let matrix = whole(&machine, &settings).matrix;
    let carried = carried(&matrix, &[(Protection::Regulation, matrix.clone())]);
    assert!(carried[0].reached.is_empty());
    assert!(matrix.cells.keys().all(|(faulty, _)| matrix.runs_of(*faulty) > 0), "who reaches anybody was faulty");
}

/// The vessel as the fast engine takes it: nothing watches chains, and nobody is kept waiting.
fn plain_vessel() -> Machine {
    let (_, _, mut machine) = vessel("");
    assert_eq!(Table::new(&machine, 0).err(), Some(Unfit::Chains), "the vessel as it is needs the general engine");
    machine.chains.clear();
    machine.tasks.iter_mut().for_each(|task| task.blocking_ns = 0);
    machine
}

#[test]
fn both_engines_find_the_same() {
    let machine = plain_vessel();
    let settings = settings(&machine, Choice::all(&machine), 300);
    let fast = run_chunk(&machine, &settings, 0..300);
    let slow = run_chunk_slowly(&machine, &settings, 0..300);
    assert_eq!(fast, slow);
    let mut table = Table::new(&machine, 0).expect("the plain vessel fits");
    let mut rooms = (Seen::nothing(&machine), Seen::nothing(&machine));
    let mut fits = |run| table.pair(&settings.scenario(run), &mut rooms.0, &mut rooms.1).is_ok();
    let by_table = (0..300).filter(|run| fits(*run)).count();
    assert!((60..300).contains(&by_table), "some runs are made by each engine: {by_table} of 300 by the fast one");
}

#[test]
fn whom_no_run_has_is_not_shown_to_be_unharmed() {
    let (system, _, mut machine) = vessel("[[containment]]\npartition = \"OBJT\"\nat_most = \"50 %\"\n");
    let settings = settings(&machine, crash_of(&machine, "OBJT"), 8);
    let matrix = campaign::Matrix {
        runs: [(campaign::Faulty::of(settings.fault(0).target, &machine), 8)].into(),
        ..Default::default()
    };
    let judge = |machine: &Machine| {
        let evidence = containment::Evidence { machine, settings: &settings, matrix: &matrix };
        containment::verdicts(&system, Some(evidence)).remove(0)
    };
    assert_eq!(judge(&machine).status, Status::Shown);
    let partition = machine.partitions.iter().position(|one| one.name == "STOP").expect("the vessel has it");
    machine.left_out.push(simulator::machine::LeftOut { partition, reason: "`wcet` is not declared".to_owned() });
    let open = judge(&machine);
    assert_eq!((open.status, open.bound), (Status::NotAnalysed, None));
    assert_eq!(open.reason.as_deref(), Some("STOP is outside the set and not simulated: `wcet` is not declared"));
}
