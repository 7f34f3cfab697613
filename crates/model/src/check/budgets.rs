//! Budgets: not longer than their period, given before the next one, and longer than what the head of one window takes.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::partition::{BUDGET_ABOVE_PERIOD, BUDGET_IS_HEAD, SERVER_LATE};
use diagnostic::{Diagnostic, Located};
use quantity::Duration;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for partition in doc.root.tables("partition") {
        let asked = [Some(partition), partition.table("server"), partition.table("need")];
        for fields in asked.into_iter().flatten() {
            above_period(partition, fields).into_iter().for_each(|fault| cx.report(fault));
        }
        if let Some(server) = partition.table("server") {
            let faults = [late_server(partition, server), after_the_next(partition, server)];
            faults.into_iter().flatten().for_each(|fault| cx.report(fault));
        }
        is_head(doc, partition).into_iter().for_each(|fault| cx.report(fault));
    }
}

fn above_period(partition: &Fields, fields: &Fields) -> Option<Diagnostic> {
    let (budget, period) = (fields.time("budget")?, fields.time("period")?);
    longer(partition, "budget", budget, "period", period)
}

/// A server that must give its budget within a deadline cannot give more than fits before it.
fn late_server(partition: &Fields, server: &Fields) -> Option<Diagnostic> {
    let (budget, deadline) = (server.time("budget")?, server.time("deadline")?);
    let fits_period = server.time("period").is_none_or(|period| budget.value <= period.value);
    longer(partition, "budget", budget, "deadline", deadline).filter(|_| fits_period)
}

/// A budget that may still be owed when the next one is given is no supply that a bound could count on.
fn after_the_next(partition: &Fields, server: &Fields) -> Option<Diagnostic> {
    let (period, deadline) = (server.time("period")?, server.time("deadline")?);
    if deadline.value <= period.value {
        return None;
    }
    let message = format!(
        "partition {}: the deadline of its server, {}, is later than the period, {}",
        name(partition),
        deadline.value,
        period.value
    );
    let fault = Diagnostic::new(&SERVER_LATE, deadline.span, message).also(period.span, "the period");
    Some(fault.help(format!("write {} or less, or leave `deadline` out, which is the period", period.value)))
}

fn longer(
    partition: &Fields,
    what: &str,
    value: Located<Duration>,
    limit: &str,
    most: Located<Duration>,
) -> Option<Diagnostic> {
    if value.value <= most.value {
        return None;
    }
    let message =
        format!("partition {}: the {what}, {}, passes the {limit}, {}", name(partition), value.value, most.value);
    let fault = Diagnostic::new(&BUDGET_ABOVE_PERIOD, value.span, message);
    Some(fault.also(most.span, format!("the {limit}")).help(format!("lower the {what} to {} or less", most.value)))
}

/// The budget of windows has the heads in it, so one no longer than a head gives no time at all.
fn is_head(doc: &Document, partition: &Fields) -> Option<Diagnostic> {
    let budget = partition.time("budget")?;
    let platform = doc.root.table("platform")?;
    let parts: Vec<_> = ["switch", "refill"].iter().filter_map(|key| platform.time(key)).collect();
    let head = parts.iter().fold(0_u64, |sum, part| sum.saturating_add(part.value.ns()));
    if budget.value.ns() > head || head == 0 {
        return None;
    }
    let head = Duration::from_ns(head);
    let message = format!(
        "partition {}: a budget of {} is not longer than the head of one window, {head}",
        name(partition),
        budget.value
    );
    let mut fault = Diagnostic::new(&BUDGET_IS_HEAD, budget.span, message);
    for part in parts {
        fault = fault.also(part.span, "a part of every head");
    }
    Some(fault.help(format!("the switch and the refill are taken out of the budget: ask for more than {head}")))
}
