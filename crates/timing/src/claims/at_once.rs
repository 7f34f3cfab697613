//! Interrupts that are handled at once on a core, from whoever's time it is.

use super::partition_supply::Losses;
use super::scope::Scope;
use crate::handlers::{Handlers, Line};
use model::system::{Interrupt, InterruptPolicy};
use quantity::CoreId;

/// The handlers that run at once on a core; none where interrupts are not counted.
///
/// # Errors
/// Which datum of a line is missing, or that they may keep the core for themselves.
pub(super) fn those(scope: &Scope<'_>, core: CoreId, losses: Losses) -> Result<Handlers, String> {
    let declared = declared(scope, core)?;
    Ok(if losses.interrupted { declared } else { Handlers::default() })
}

fn declared(scope: &Scope<'_>, core: CoreId) -> Result<Handlers, String> {
    let lines: Vec<Option<Line>> = scope.interrupts_on(core).map(line).collect::<Result<_, _>>()?;
    Handlers::new(lines.into_iter().flatten()).map_err(|_| {
        format!("the interrupts that are handled at once may keep core {} for themselves", scope.core_name(core))
    })
}

/// A line that is handled at once; none where it is kept.
fn line(interrupt: &Interrupt) -> Result<Option<Line>, String> {
    let line = &interrupt.line.value;
    match interrupt.policy.as_ref().map(|policy| policy.value) {
        Some(InterruptPolicy::Pended) => Ok(None),
        Some(InterruptPolicy::Immediate) => {
            let missing = |key: &str| format!("interrupt `{line}` is handled at once, and its `{key}` is not given");
            let gap = interrupt.min_interarrival.as_ref().ok_or_else(|| missing("min_interarrival"))?;
            let handler = interrupt.handler.as_ref().ok_or_else(|| missing("handler"))?;
            Ok(Some(Line { gap_ns: gap.value.ns(), handler_ns: handler.value.ns() }))
        }
        None => Err(format!("what happens to interrupt `{line}` outside its owner's windows is not given")),
    }
}
