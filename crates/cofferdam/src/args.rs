//! The arguments of every command. Help, completions and the manual pages come from these declarations.

use clap::{Args, Parser, Subcommand, ValueEnum};
use quantity::Duration;
use std::ffi::OsString;
use std::path::PathBuf;

const CAUTION: &str = "\
Results support an engineering argument; acceptance rests with the certification authority or assessor. \
The tool is not qualified. Inputs are taken as valid: a wrong input gives a wrong answer with the same confident look.

Exit status: 0 every claim is shown or accepted; 1 some claim is violated, not shown or not analysed, or no plan \
was found; 2 the input or the call is wrong; 3 internal alarm; 130 interrupted.";

/// The seed of a call that names none.
pub const DEFAULT_SEED: u64 = 1;

/// Plan, check and report guest systems that share one multicore board under a partitioning hypervisor.
#[derive(Debug, Parser)]
#[command(name = "cofferdam", version, after_help = CAUTION, propagate_version = true)]
pub struct Cli {
    /// When to colour what goes to a terminal; NO_COLOR is honoured.
    #[arg(long, global = true, value_enum, default_value_t = ColorChoice::Auto, value_name = "WHEN")]
    pub color: ColorChoice,
    #[command(subcommand)]
    pub command: Command,
}

/// When to use colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ColorChoice {
    /// On a terminal only.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// What a command that gives verdicts prints.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people.
    Text,
    /// One JSON object, and nothing else on standard output.
    Json,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// The whole job on the bundled survey vessel: read, plan, check, report.
    #[command(after_help = "Example:\n  cofferdam demo --out my-demo")]
    Demo(DemoArgs),
    /// Write a commented starter system that checks clean.
    #[command(after_help = "Example:\n  cofferdam new tram && cofferdam check tram")]
    New(NewArgs),
    /// Judge every claim of a system under a plan.
    #[command(after_help = "\
Examples:
  cofferdam check vessel/                       the plan named in vessel/system.toml
  cofferdam check vessel/ --plan other.toml     another plan
  cofferdam check vessel/ --format json         one JSON object for a build server
  cofferdam check vessel/ --allow-not-analysed  while work is in progress")]
    Check(CheckArgs),
    /// Make a plan from a system's demands, or complete one; pinned windows stay.
    #[command(after_help = "\
Examples:
  cofferdam plan vessel/ --out plan.toml
  cofferdam plan vessel/ --keep half-done.toml --out plan.toml --seed 7")]
    Plan(PlanArgs),
    /// Run a system under a plan, event by event: one run as a timeline, many as statistics beside the bounds.
    #[command(after_help = "\
Examples:
  cofferdam simulate vessel/                                   one run, drawn
  cofferdam simulate vessel/ --runs 1000 --execution ends      statistics of a thousand
  cofferdam simulate vessel/ --fault crash:NAVF@120ms --svg run.svg --timeline run.json
  cofferdam simulate vessel/ --fault overrun:OBJT.trk,extra=2ms --off window-enforcement

A simulation is not a bound: it shows what happened in the runs that were made.")]
    Simulate(SimulateArgs),
    /// Run a system many times with faults drawn by seed, and see whom they reach.
    #[command(after_help = "\
Examples:
  cofferdam campaign vessel/ --runs 100000 --out found/      every kind of fault at every partition, device and core
  cofferdam campaign vessel/ --fault crash --fault babble:RECD --out found/
  cofferdam campaign vessel/ --protections --out found/      and again with each protection off
  cofferdam campaign vessel/ --out found/ --resume           go on after Ctrl-C
  cofferdam campaign vessel/ --shard 2/8 --out part2/        a part of it; then on any machine
  cofferdam campaign --merge part1/ part2/ ... --out found/")]
    Campaign(CampaignArgs),
    /// Run a plan on this machine, with processes as partitions, and judge what was recorded: no statement about the target.
    #[command(after_help = "\
Examples:
  cofferdam rehearse lock/                                      five seconds under the plan that lock/system.toml names
  cofferdam rehearse lock/ --fault crash:SLUC@2s --out seen/     a partition is killed; the recording is kept
  cofferdam rehearse lock/ --fault memory-burst:DIAG@1s,for=2s --for 10s
  cofferdam trace lock/ seen/recording.csv --map seen/map.toml   judge what was kept once more
The right to real-time priority (CAP_SYS_NICE) keeps windows well; without it the answer says what it could not keep.")]
    Rehearse(RehearseArgs),
    /// The process of a partition; `rehearse` starts it.
    #[command(name = "rehearsal-process", hide = true)]
    RehearsalProcess(RehearsalProcessArgs),
    /// Hold recordings from a board or a bench against plan and claims.
    #[command(after_help = "\
Examples:
  cofferdam trace vessel/ run.csv                            a table of events that the bench wrote
  cofferdam trace vessel/ sched.txt --map map.toml --tolerance \"20 us\"
  cofferdam trace vessel/ core0.csv core1.csv --map map.toml --format json")]
    Trace(TraceArgs),
    /// Draft a system file from recordings of guests of which nothing else is known.
    #[command(after_help = "\
Examples:
  cofferdam draft run.csv --out drafted/                     names said in a plan's own words define themselves
  cofferdam draft sched.txt --map map.toml --out drafted/    threads become tasks by a map
  cofferdam check drafted/ --allow-not-analysed              what can be said of the draft already

What was measured is no bound: the highest execution time seen is no WCET.")]
    Draft(DraftArgs),
    /// Write the evidence as one HTML file that needs nothing else.
    #[command(after_help = "\
Examples:
  cofferdam report vessel/ --out evidence/
  cofferdam report vessel/ --out evidence/ --campaign faults/
  cofferdam report vessel/ --out evidence/ --recording run.csv --map map.toml")]
    Report(ReportArgs),
    /// Explain a code or an analysis: what it means, its source, an example.
    #[command(
        after_help = "Examples:\n  cofferdam explain E0301\n  cofferdam explain free-running\n  cofferdam explain"
    )]
    Explain(ExplainArgs),
    /// Print the JSON Schema of the system file, for editors.
    #[command(after_help = "Example:\n  cofferdam schema > system.schema.json")]
    Schema,
    /// Print completions for a shell.
    #[command(after_help = "Example:\n  cofferdam completions bash > /etc/bash_completion.d/cofferdam")]
    Completions(CompletionsArgs),
    /// Write the manual pages.
    #[command(after_help = "Example:\n  cofferdam manual --out man1/")]
    Manual(ManualArgs),
}

#[derive(Debug, Args)]
pub struct DemoArgs {
    /// The folder to write to.
    #[arg(long, default_value = "cofferdam-demo", value_name = "DIR")]
    pub out: PathBuf,
}

#[derive(Debug, Args)]
pub struct NewArgs {
    /// The folder to make; it must not exist, or be empty.
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
}

/// A system and the plan that it is judged under.
#[derive(Debug, Args)]
pub struct Baseline {
    /// The system file, or a folder that holds `system.toml`.
    #[arg(value_name = "SYSTEM")]
    pub system: PathBuf,
    /// The plan; without it the one that the system names.
    #[arg(long, value_name = "PLAN")]
    pub plan: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct CheckArgs {
    #[command(flatten)]
    pub baseline: Baseline,
    /// Text for people, or JSON for programs.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Let what is not analysed pass, for work in progress.
    #[arg(long)]
    pub allow_not_analysed: bool,
    /// Judge the containment sets by the campaign in a folder, which must be one of this system and plan.
    #[arg(long, value_name = "DIR")]
    pub campaign: Option<PathBuf>,
    /// List every claim, not only those that are not shown.
    #[arg(long)]
    pub all: bool,
    /// Say only the outcome and what is not shown, a line each.
    #[arg(long, conflicts_with = "all")]
    pub quiet: bool,
}

#[derive(Debug, Args)]
pub struct PlanArgs {
    /// The system file, or a folder that holds `system.toml`.
    #[arg(value_name = "SYSTEM")]
    pub system: PathBuf,
    /// The file to write the plan to; an older one is replaced.
    #[arg(long, value_name = "PLAN")]
    pub out: PathBuf,
    /// A plan whose pinned windows and placements are kept.
    #[arg(long, value_name = "PLAN")]
    pub keep: Option<PathBuf>,
    /// The seed of every choice made by chance.
    #[arg(long, default_value_t = DEFAULT_SEED, value_name = "N")]
    pub seed: u64,
    /// End the search after this time; the answer then says so, and another run may find another plan.
    #[arg(long, value_name = "SECONDS")]
    pub time_limit: Option<u64>,
    /// Text for people, or JSON for programs.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

#[derive(Debug, Args)]
pub struct TraceArgs {
    #[command(flatten)]
    pub baseline: Baseline,
    /// The recordings: several are joined, by their clocks.
    #[arg(value_name = "TRACE", required = true)]
    pub recordings: Vec<PathBuf>,
    #[command(flatten)]
    pub judging: JudgingArgs,
    /// Say what measured times come to as samples: high-water marks, tolerance limits, rare levels.
    #[arg(long)]
    pub samples: bool,
    #[command(flatten)]
    pub answer: FindingsArgs,
}

/// How what was found in recordings is answered.
#[derive(Debug, Args)]
pub struct FindingsArgs {
    /// Text for people, or JSON for programs.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Let rules pass of which the recording says nothing.
    #[arg(long)]
    pub allow_not_analysed: bool,
    /// List every rule, not only those that are violated.
    #[arg(long)]
    pub all: bool,
    /// Use only ASCII in the answer.
    #[arg(long)]
    pub ascii: bool,
}

/// How recordings are judged.
#[derive(Debug, Args)]
pub struct JudgingArgs {
    /// Which names, ids and cpus of the recordings are which partitions, tasks, ports and cores.
    #[arg(long, value_name = "FILE", requires = "recordings")]
    pub map: Option<PathBuf>,
    /// By how much windows may begin and end earlier or later than planned; goes before what the map says.
    #[arg(long, value_name = "TIME", requires = "recordings")]
    pub tolerance: Option<Duration>,
    /// An instant of the first recording at which a frame begins; fitted to its windows where nobody says it.
    #[arg(long, value_name = "TIME", requires = "recordings")]
    pub frame_at: Option<Duration>,
    /// When a fault began, where the recording does not say it: then what was measured before, during and after is compared.
    #[arg(long, value_name = "TIME", requires = "recordings")]
    pub fault_from: Option<Duration>,
    /// When the fault ended, where the recording does not say it.
    #[arg(long, value_name = "TIME", requires = "recordings")]
    pub fault_to: Option<Duration>,
    /// By how much times of others may shift while a fault lasts and after it.
    #[arg(long, value_name = "TIME", requires = "recordings")]
    pub shift: Option<Duration>,
    /// A partition that fails, beside those that are seen to start anew; it is nobody's victim. Several combine.
    #[arg(long, value_name = "PARTITION", requires = "recordings")]
    pub faulty: Vec<String>,
}

#[derive(Debug, Args)]
pub struct DraftArgs {
    /// The recordings: several are joined, by their clocks.
    #[arg(value_name = "TRACE", required = true)]
    pub traces: Vec<PathBuf>,
    /// Which names, ids and cpus are which partitions, tasks, channels and cores.
    #[arg(long, value_name = "FILE")]
    pub map: Option<PathBuf>,
    /// The folder to write `system.toml`, `plan.toml` and `measured.csv` to; it must not exist, or be empty.
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// Text for people, or JSON for programs.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

#[derive(Debug, Args)]
pub struct RehearseArgs {
    #[command(flatten)]
    pub baseline: Baseline,
    /// A fault: KIND:TARGET[@TIME][,key=value...], such as crash:NAV@2s,start=cold; several combine.
    #[arg(long = "fault", value_name = "FAULT")]
    pub faults: Vec<String>,
    /// How long it lasts: a frame at least, ten minutes at most.
    #[arg(long = "for", value_name = "TIME", default_value = "5 s")]
    pub span: Duration,
    /// The seed of execution times and free arrivals.
    #[arg(long, value_name = "N", default_value_t = DEFAULT_SEED)]
    pub seed: u64,
    /// By how much windows may begin and end earlier or later than planned.
    #[arg(long, value_name = "TIME", default_value = "1 ms")]
    pub tolerance: Duration,
    /// By how much times of others may shift while a fault lasts and after it.
    #[arg(long, value_name = "TIME")]
    pub shift: Option<Duration>,
    /// The folder to keep the recording, its map and the answer in.
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub answer: FindingsArgs,
}

#[derive(Debug, Args)]
pub struct RehearsalProcessArgs {
    /// Look at the clock until told to end, for a measurement of how fast a process is stopped.
    #[arg(long)]
    pub spin: bool,
    /// Measure how fast processes are stopped here, by both means of the kernel, in so many rounds.
    #[arg(long, value_name = "N", conflicts_with = "spin")]
    pub measure: Option<usize>,
}

#[derive(Debug, Args)]
pub struct SimulateArgs {
    #[command(flatten)]
    pub baseline: Baseline,
    /// How many runs; one is drawn, of more the largest values are printed.
    #[arg(long, default_value_t = 1, value_name = "N", value_parser = clap::value_parser!(u64).range(1..))]
    pub runs: u64,
    /// The seed of every draw.
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// The run of that number alone, from 0, as it is among many.
    #[arg(long, value_name = "K", conflicts_with = "runs")]
    pub run: Option<u64>,
    /// How long each run lasts; ten frames where not given.
    #[arg(long = "for", value_name = "TIME")]
    pub span: Option<Duration>,
    /// Begin with the first frame, where partitions initialise, and not with everything operational.
    #[arg(long)]
    pub from_boot: bool,
    /// A fault: KIND:TARGET[@TIME][,key=value...], such as crash:NAV@2.5ms,start=cold; several combine.
    #[arg(long = "fault", value_name = "FAULT")]
    pub faults: Vec<String>,
    /// A scenario file; what the call says beside goes before what the file says.
    #[arg(long, value_name = "FILE")]
    pub scenario: Option<PathBuf>,
    /// A protection that is switched off, such as window-enforcement; several combine.
    #[arg(long = "off", value_name = "PROTECTION")]
    pub off: Vec<String>,
    /// Which execution times jobs take.
    #[arg(long, value_enum, value_name = "WHICH")]
    pub execution: Option<Execution>,
    /// For what line requests wait: each for a request of every other master, or for what others ask for at the same time.
    #[arg(long, value_enum, value_name = "WHICH")]
    pub contention: Option<Contention>,
    /// Write the run as a recording, a table of events that `trace` reads, to this file.
    #[arg(long, value_name = "FILE")]
    pub record: Option<PathBuf>,
    /// The module schedule in force at the beginning.
    #[arg(long, value_name = "NAME")]
    pub schedule: Option<String>,
    /// The part of the run that is drawn, such as 100ms..300ms; the first two frames where not given.
    #[arg(long, value_name = "FROM..TO", value_parser = window)]
    pub window: Option<(u64, u64)>,
    /// Text for people, or JSON for programs.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Draw with ASCII characters only.
    #[arg(long)]
    pub ascii: bool,
    /// Write the run as Trace Event JSON: the part of --window, or all.
    #[arg(long, value_name = "FILE.json")]
    pub timeline: Option<PathBuf>,
    /// Draw the part of the run as a picture.
    #[arg(long, value_name = "FILE.svg")]
    pub svg: Option<PathBuf>,
}

/// Which execution times jobs take, from the shortest to the charged one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Execution {
    /// Drawn evenly.
    Even,
    /// The shortest.
    Least,
    /// The longest.
    Most,
    /// The shortest or the longest, drawn.
    Ends,
}

/// For what line requests wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Contention {
    /// Each for a request of every other master, as jobs are charged.
    Full,
    /// For what other masters ask for at the same time.
    Concurrent,
}

/// Two instants with two points between them, the first one before the other.
fn window(text: &str) -> Result<(u64, u64), String> {
    let (from, to) = text.split_once("..").ok_or("write FROM..TO, such as 100ms..300ms")?;
    let instant =
        |text: &str| text.trim().parse::<Duration>().map(Duration::ns).map_err(|why| format!("`{text}` {why}"));
    let (from, to) = (instant(from)?, instant(to)?);
    if from < to { Ok((from, to)) } else { Err("FROM must lie before TO".to_owned()) }
}

#[derive(Debug, Args)]
pub struct CampaignArgs {
    /// The system file, or a folder that holds `system.toml`.
    #[arg(value_name = "SYSTEM", required_unless_present = "merge")]
    pub system: Option<PathBuf>,
    /// The plan; without it the one that the system names.
    #[arg(long, value_name = "PLAN")]
    pub plan: Option<PathBuf>,
    /// How many runs, each with one fault.
    #[arg(long, default_value_t = 10_000, value_name = "N")]
    pub runs: u64,
    /// The seed of every choice made by chance.
    #[arg(long, default_value_t = DEFAULT_SEED, value_name = "N")]
    pub seed: u64,
    /// How many frames each run lasts; faults begin in its first half.
    #[arg(long, default_value_t = 20, value_name = "N")]
    pub frames: u64,
    /// A kind of fault, at one target or at every one; several may be named. Without it every kind is drawn.
    #[arg(long, value_name = "KIND[:TARGET]")]
    pub fault: Vec<String>,
    /// Make the campaign again with each protection off, to see what each carries.
    #[arg(long)]
    pub protections: bool,
    /// Make part I of N, to be merged with the others.
    #[arg(long, value_name = "I/N")]
    pub shard: Option<String>,
    /// Go on with what is in the folder.
    #[arg(long)]
    pub resume: bool,
    /// The folder to write to.
    #[arg(long, default_value = "cofferdam-campaign", value_name = "DIR")]
    pub out: PathBuf,
    /// How many threads; all processors where not given.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Join the parts of a campaign.
    #[arg(long, value_name = "DIR", num_args = 1.., conflicts_with_all = ["system", "plan", "runs", "seed", "frames", "fault", "protections", "shard", "resume", "threads"])]
    pub merge: Vec<PathBuf>,
    /// Text for people, or JSON for programs.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

#[derive(Debug, Args)]
pub struct ReportArgs {
    #[command(flatten)]
    pub baseline: Baseline,
    /// The folder to write `report.html` and `verdicts.json` to; older ones there are replaced.
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
    /// The folder of a finished campaign of this system and plan, to be told of.
    #[arg(long, value_name = "DIR")]
    pub campaign: Option<PathBuf>,
    /// A recording of this system and plan, to be judged and told of; several are joined, by their clocks.
    #[arg(long = "recording", value_name = "TRACE")]
    pub recordings: Vec<PathBuf>,
    #[command(flatten)]
    pub judging: JudgingArgs,
    /// Text for people, or JSON for programs.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Let what is not analysed pass, for work in progress.
    #[arg(long)]
    pub allow_not_analysed: bool,
}

#[derive(Debug, Args)]
pub struct ExplainArgs {
    /// A code such as E0101, or the name of an analysis; without it, the list of both.
    #[arg(value_name = "CODE")]
    pub code: Option<String>,
}

#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell.
    #[arg(value_enum, value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

#[derive(Debug, Args)]
pub struct ManualArgs {
    /// The folder to write to.
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
}

/// Whether the words of a call ask for JSON, even where the call could not be understood.
pub fn asks_for_json(words: &[OsString]) -> bool {
    has_value(words, "--format", "json")
}

/// When the words of a call that could not be understood want colour.
pub fn asked_color(words: &[OsString]) -> ColorChoice {
    let named = |choice: &&ColorChoice| {
        choice.to_possible_value().is_some_and(|value| has_value(words, "--color", value.get_name()))
    };
    ColorChoice::value_variants().iter().find(named).copied().unwrap_or(ColorChoice::Auto)
}

fn has_value(words: &[OsString], option: &str, value: &str) -> bool {
    let joined = format!("{option}={value}");
    let apart = words.windows(2).any(|pair| pair[0] == option && pair[1] == value);
    apart || words.iter().any(|word| *word == *joined)
}
