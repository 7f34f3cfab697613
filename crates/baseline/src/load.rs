//! Reading a system and its plan.

use diagnostic::codes::plan::{NO_PLAN, UNREADABLE_PLAN};
use diagnostic::{Diagnostic, Sources, Span};
use model::{FileError, FileSource};
use model::{Digest, System};
use plan::Plan;
use std::sync::Arc;

/// Which plan a system is judged under.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PlanChoice {
    /// The one that the system file names.
    Named,
    /// This text, under this name.
    Given {
        /// The name shown to people.
        name: String,
        /// The file's bytes.
        bytes: Vec<u8>,
    },
    /// None is wanted.
    None,
}

/// An identified set of inputs, as far as it could be read.
#[derive(Debug, Clone)]
pub struct Baseline {
    /// Every text that was read.
    pub sources: Arc<Sources>,
    /// The system; `None` where an error stands in the way.
    pub system: Option<Arc<System>>,
    /// The plan; `None` where there is none or an error stands in the way.
    pub plan: Option<Arc<Plan>>,
    /// Everything that is wrong with the inputs, by file and place.
    pub diagnostics: Vec<Diagnostic>,
}

impl Baseline {
    /// Whether anything read is refused.
    pub fn has_errors(&self) -> bool {
        self.diagnostics.iter().any(Diagnostic::is_error)
    }

    /// The name and digest of every text in the order of reading.
    pub fn input_digests(&self) -> Vec<(String, Digest)> {
        self.sources.iter().map(|file| (file.name.clone(), Digest::of_bytes(file.text.as_bytes()))).collect()
    }
}

/// Reads the system file `main` and what it refers to, and the plan chosen.
pub fn load(main: &str, choice: PlanChoice, files: &mut dyn FileSource) -> Baseline {
    let mut reading = model::read_system(main, files);
    let plan = match &reading.system {
        Some(system) => read_plan(system, choice, files, &mut reading.sources, &mut reading.diagnostics),
        None => None,
    };
    Baseline {
        sources: Arc::new(reading.sources),
        system: reading.system.map(Arc::new),
        plan: plan.map(Arc::new),
        diagnostics: reading.diagnostics,
    }
}

fn read_plan(
    system: &System,
    choice: PlanChoice,
    files: &mut dyn FileSource,
    sources: &mut Sources,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<Plan> {
    let (name, bytes) = match choice {
        PlanChoice::None => return None,
        PlanChoice::Given { name, bytes } => (name, bytes),
        PlanChoice::Named => match named_plan(system, files) {
            Ok(found) => found,
            Err(diagnostic) => {
                diagnostics.push(*diagnostic);
                return None;
            }
        },
    };
    let (plan, found) = plan::read_plan(&name, &bytes, system, sources);
    diagnostics.extend(found);
    plan
}

/// The plan that the system file names, or what is wrong with naming it.
fn named_plan(system: &System, files: &mut dyn FileSource) -> Result<(String, Vec<u8>), Box<Diagnostic>> {
    let Some(path) = &system.plan else {
        let message = format!("the system `{}` names no plan, and none was given", system.name.value);
        let head = Span::head(system.name.span.file);
        let help = "write `plan = \"plan.toml\"` under [system], or give --plan; `cofferdam plan` makes one";
        return Err(Box::new(Diagnostic::new(&NO_PLAN, head, message).help(help)));
    };
    files.read(&path.value).map(|bytes| (path.value.clone(), bytes)).map_err(|error| {
        let message = match error {
            FileError::TooLarge => format!("the plan `{}` is too large", path.value),
            FileError::NotFound => format!("there is no plan `{}`", path.value),
            FileError::Other(why) => format!("the plan `{}` cannot be read: {why}", path.value),
        };
        let help = "make one with `cofferdam plan SYSTEM --out PLAN`, or correct the path";
        Box::new(Diagnostic::new(&UNREADABLE_PLAN, path.span, message).help(help))
    })
}
