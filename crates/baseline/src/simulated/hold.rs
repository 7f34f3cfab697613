//! What others have run, against the bounds.

use super::observed::observed;
use super::protections;
use super::search::Phases;
use super::verdicts::Comparison;
use crate::Alarms;
use claim::{FoundBy, Verdict};
use model::System;
use plan::Plan;
use simulator::{Machine, Protections, Seen};

/// A claim, and a bound above which something was seen.
#[derive(Debug, Clone, Copy)]
pub struct Above<'a> {
    /// The id of the claim.
    pub id: &'a str,
    bound: u64,
}

impl Above<'_> {
    /// Whether these runs of the same kind saw it.
    pub fn is_in(&self, machine: &Machine, seen: &Seen) -> bool {
        observed(machine, 0, seen).iter().any(|(id, value)| id == self.id && *value > self.bound)
    }
}

/// Holds what runs saw against the bounds: runs without faults under the first module schedule with everything up, times drawn,
/// tasks in the phases that are declared, and every protection on. Where it is not shown that no core is throttled, bounds say
/// nothing of such runs, and nothing is held. `reproduces` gives the scenario file of a run that is above.
///
/// # Errors
/// [`Alarms`] where something was seen above a bound, each with the scenario file.
pub fn hold(
    (system, plan): (&System, &Plan),
    machine: &Machine,
    verdicts: &mut [Verdict],
    seen: &Seen,
    mut reproduces: impl FnMut(Above<'_>) -> String,
) -> Result<(), Alarms> {
    if protections(system, plan) != Protections::ALL {
        return Ok(());
    }
    let mut comparison = Comparison::new(verdicts);
    for (id, value) in observed(machine, 0, seen) {
        let Some(bound) = comparison.bound(&id) else { continue };
        let scenario = || reproduces(Above { id: &id, bound });
        comparison.take(&id, value, FoundBy::Search, Phases::Declared, scenario);
    }
    comparison.finish()?;
    Ok(())
}
