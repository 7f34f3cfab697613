//! Which runs a campaign makes: each is a pure function of the settings and its number.

use simulator::draw::{Draw, Purpose};
use simulator::fault::Target;
use simulator::fault::declared::{Declared, KINDS, Unit};
use simulator::scenario::{Begin, Drawn, Spread, Times};
use simulator::{Fault, Machine, Protections, Scenario};
use std::fmt;

/// What a campaign draws from.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The seed of every draw.
    pub seed: u64,
    /// How many runs.
    pub runs: u64,
    /// How long each lasts, in nanoseconds; above zero. Faults begin in its first half.
    pub span_ns: u64,
    /// The kinds of fault with their targets; at least one.
    pub choices: Vec<Choice>,
    /// Which protections are on.
    pub protections: Protections,
}

/// A kind of fault and what it may happen to. A run draws its kind first, then one of its targets, each evenly.
#[derive(Debug, Clone)]
pub struct Choice {
    /// The kind.
    pub kind: &'static Declared,
    /// The targets; at least one.
    pub targets: Vec<Target>,
}

/// Why nothing can be drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wrong {
    /// No runs are asked for.
    NoRuns,
    /// Nothing is left that could fail.
    NoFaults,
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoRuns => "a campaign of zero runs finds nothing; ask for one run at least",
            Self::NoFaults => "no fault can be drawn: no kind named has a target in this system",
        })
    }
}

impl std::error::Error for Wrong {}

impl Settings {
    /// # Errors
    /// [`Wrong`] where no run could be drawn.
    pub fn check(&self) -> Result<(), Wrong> {
        match () {
            () if self.runs == 0 => Err(Wrong::NoRuns),
            () if self.choices.iter().all(|choice| choice.targets.is_empty()) => Err(Wrong::NoFaults),
            () => Ok(()),
        }
    }

    /// The scenario of a run with its fault.
    ///
    /// Times are drawn evenly in even runs and at either end of their range in odd ones, where extremes meet more often;
    /// phases are drawn evenly in all.
    pub fn scenario(&self, run: u64) -> Scenario {
        let spread = if run.is_multiple_of(2) { Spread::Even } else { Spread::Ends };
        Scenario {
            seed: self.seed,
            run,
            begin: Begin::Running,
            schedule: 0,
            span_ns: self.span_ns,
            times: Times::Drawn(Drawn { executions: spread, phases: Spread::Even, jitters: spread, blocking: spread }),
            faults: vec![self.fault(run)],
            protections: self.protections,
            changes: Vec::new(),
            contention: Default::default(),
        }
    }

    /// The fault of a run.
    ///
    /// A time or a count is drawn evenly from a quarter of its default up to four times as much. How a partition is started
    /// again is left to the health monitor, or warm, or cold, one as often as another. What has no default lasts up to
    /// half the span in three of four runs, and for good in the fourth.
    pub fn fault(&self, run: u64) -> Fault {
        let draw = Draw::of(self.seed, run);
        let choice = pick(&self.choices, draw.bits(Purpose::FaultKind, 0, 0));
        let target = *pick(&choice.targets, draw.bits(Purpose::FaultTarget, 0, 0));
        let mut values = choice.kind.defaults();
        for (subject, (value, parameter)) in (0..).zip(values.iter_mut().zip(choice.kind.parameters)) {
            let between = |least, most| draw.between(Purpose::FaultParameter, subject, 0, least, most);
            *value = match (parameter.unit, parameter.default) {
                (Unit::Start, _) => between(0, 2).checked_sub(1),
                (_, Some(usual)) => Some(between((usual / 4).max(1), usual.saturating_mul(4))),
                (_, None) if draw.bits(Purpose::FaultParameter, subject, 1) >> 62 == 0 => None,
                (_, None) => Some(between(1, self.half_span_ns())),
            };
        }
        let at_ns = draw.between(Purpose::FaultInstant, 0, 0, 0, self.half_span_ns() - 1);
        Fault { kind: choice.kind.make(values), target, at_ns }
    }

    /// Half the span, at least 1 ns.
    fn half_span_ns(&self) -> u64 {
        (self.span_ns / 2).max(1)
    }
}

/// One of a list that is not empty.
fn pick<T>(list: &[T], bits: u64) -> &T {
    let place = ((bits >> 32) * list.len() as u64) >> 32;
    &list[place as usize] // Below the length.
}

impl Choice {
    /// Every kind at every partition, device and core that it may happen to; tasks and ports one by one only where
    /// they are asked for.
    pub fn all(machine: &Machine) -> Vec<Self> {
        let choices = KINDS.iter().map(|kind| Self::of_kind(kind, machine));
        choices.filter(|choice| !choice.targets.is_empty()).collect()
    }

    /// One kind at every partition, device and core that it may happen to.
    pub fn of_kind(kind: &'static Declared, machine: &Machine) -> Self {
        let mut targets = kind.targets(machine);
        targets.retain(|target| match *target {
            Target::Partition(partition) => machine.runs(partition),
            Target::Device(_) | Target::Core(_) => true,
            Target::Task(_) | Target::Channel(_) => false,
        });
        Self { kind, targets }
    }

    /// Adds a kind at one target to choices, where it is not among them.
    pub fn add(choices: &mut Vec<Self>, kind: &'static Declared, targets: &[Target]) {
        let place = choices.iter().position(|choice| std::ptr::eq(choice.kind, kind));
        let place = place.unwrap_or_else(|| {
            choices.push(Self { kind, targets: Vec::new() });
            choices.len() - 1
        });
        let known = &mut choices[place].targets;
        known.extend(targets);
        known.sort_unstable();
        known.dedup();
    }
}
