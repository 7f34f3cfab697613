//! What a planning run answers.

use plan::Plan;
use std::ops::ControlFlow;

/// What a run may use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Orders the search after its first descent; the same seed gives the same plan.
    pub seed: u64,
    /// The number of search steps after which the run ends with what it has. No clock ends it.
    pub step_limit: u64,
}

impl Default for Options {
    fn default() -> Self {
        Self { seed: 0, step_limit: 200_000 }
    }
}

/// How far a run is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// The search steps so far.
    pub steps: u64,
    /// The steps at which the run ends.
    pub step_limit: u64,
    /// The windows beyond one a period in the best plan so far, where there is one.
    pub extra_windows: Option<u64>,
}

/// The answer of a run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// A plan that keeps every demand and has no window beyond one a period: none has fewer.
    Optimal(Plan),
    /// A plan that keeps every demand; one with fewer windows may exist.
    Feasible(Plan),
    /// No plan can keep these demands; each sentence is a reason with its numbers.
    Impossible(Vec<String>),
    /// The search ended without a plan that keeps every demand, and without a proof that there is none.
    GaveUp {
        /// What was missing or missed, one sentence each.
        reasons: Vec<String>,
        /// A plan that keeps everything but the reasons, where one was found.
        best: Option<Box<Plan>>,
    },
}

/// An answer with what the user should know about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// The answer.
    pub answer: Answer,
    /// What was chosen, what binds each core, what was left out: one sentence each.
    pub notes: Vec<String>,
}

impl Answer {
    /// The word for people: `optimal`, `feasible`, `impossible`, `gave up`.
    pub const fn words(&self) -> &'static str {
        match self {
            Self::Optimal(_) => "optimal",
            Self::Feasible(_) => "feasible",
            Self::Impossible(_) => "impossible",
            Self::GaveUp { .. } => "gave up",
        }
    }

    /// The plan, complete or not, where there is one.
    pub fn plan(&self) -> Option<&Plan> {
        match self {
            Self::Optimal(plan) | Self::Feasible(plan) => Some(plan),
            Self::Impossible(_) => None,
            Self::GaveUp { best, .. } => best.as_deref(),
        }
    }
}

/// Why a part of the problem has no solution.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Obstacle {
    /// Proven: no plan can mend it.
    Impossible(String),
    /// Something is unknown, or the search did not find a way.
    Open(String),
}

/// Collects what the parts of a run have to say.
#[derive(Debug, Default)]
pub(crate) struct Report {
    pub(crate) obstacles: Vec<Obstacle>,
    pub(crate) notes: Vec<String>,
}

impl Report {
    pub(crate) fn impossible(&mut self, reason: impl Into<String>) {
        self.obstacles.push(Obstacle::Impossible(reason.into()));
    }

    pub(crate) fn open(&mut self, reason: impl Into<String>) {
        self.obstacles.push(Obstacle::Open(reason.into()));
    }

    pub(crate) fn note(&mut self, note: impl Into<String>) {
        self.notes.push(note.into());
    }

    pub(crate) fn is_impossible(&self) -> bool {
        self.obstacles.iter().any(|o| matches!(o, Obstacle::Impossible(_)))
    }

    /// The answer where the obstacles decide it: impossible before open.
    pub(crate) fn verdict(&self, best: Option<Plan>) -> Option<Answer> {
        if self.is_impossible() {
            let reasons = self.obstacles.iter().filter_map(|o| match o {
                Obstacle::Impossible(reason) => Some(reason.clone()),
                Obstacle::Open(_) => None,
            });
            return Some(Answer::Impossible(reasons.collect()));
        }
        if self.obstacles.is_empty() {
            return None;
        }
        let reasons = self.obstacles.iter().map(|o| match o {
            Obstacle::Impossible(reason) | Obstacle::Open(reason) => reason.clone(),
        });
        Some(Answer::GaveUp { reasons: reasons.collect(), best: best.map(Box::new) })
    }
}

/// Counts steps and asks the caller now and then whether to go on.
pub(crate) struct Clock<'a> {
    pub(crate) steps: u64,
    pub(crate) limit: u64,
    pub(crate) extra_windows: Option<u64>,
    stopped: bool,
    progress: &'a mut dyn FnMut(Progress) -> ControlFlow<()>,
}

/// Steps between two calls of the caller.
const STEPS_PER_CALL: u64 = 64;

impl<'a> Clock<'a> {
    pub(crate) fn new(limit: u64, progress: &'a mut dyn FnMut(Progress) -> ControlFlow<()>) -> Self {
        Self { steps: 0, limit, extra_windows: None, stopped: false, progress }
    }

    /// Counts one step; `false` where the search must end.
    pub(crate) fn step(&mut self) -> bool {
        if self.is_over() {
            return false;
        }
        if self.steps.is_multiple_of(STEPS_PER_CALL) {
            let report = Progress { steps: self.steps, step_limit: self.limit, extra_windows: self.extra_windows };
            self.stopped = (self.progress)(report).is_break();
        }
        self.steps += 1;
        !self.stopped
    }

    /// Whether no step is left.
    pub(crate) fn is_over(&self) -> bool {
        self.stopped || self.steps >= self.limit
    }

    /// Why the search ended early, in words.
    pub(crate) fn why_over(&self) -> String {
        match self.stopped {
            true => "the caller stopped the search".to_owned(),
            false => format!("the limit of {} search steps was reached", self.limit),
        }
    }
}
