//! The times of one task against each other.

use super::task_name;
use crate::read::{Context, Document, Fields, is_aligned};
use diagnostic::codes::shape::KEY_ALONE;
use diagnostic::codes::task::{
    BCET_ABOVE_WCET, JITTER_NOT_BELOW_PERIOD, MEASURED_ABOVE_WCET, OFFSET_NOT_BELOW_PERIOD, SECTION_ABOVE_WCET,
    SPORADIC_ALIGNED, VIRTUAL_CORE, WCET_ABOVE_DEADLINE,
};
use diagnostic::{Code, Diagnostic, Located};
use quantity::Duration;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let cores = doc.root.tables("partition").map(|p| p.small("virtual_cores").map_or(1, |count| count.value));
    let cores: Vec<u32> = cores.collect();
    for (index, task) in doc.tasks.iter().enumerate() {
        let who = || task_name(doc, index);
        let fields = &task.fields;
        let orders = orders(fields).into_iter().filter_map(|order| order.fault(who));
        let virtual_cores = cores.get(task.partition).copied().unwrap_or(1);
        let rest = [alignment(fields), virtual_core(fields, virtual_cores)].into_iter().flatten();
        let rest =
            rest.map(|(diagnostic, what)| Diagnostic { message: format!("task {} {what}", who()), ..diagnostic });
        orders.chain(rest).for_each(|fault| cx.report(fault));
    }
}

/// Two times of which the first may not pass the second, or not even reach it.
struct Order {
    code: &'static Code,
    small: (&'static str, Option<Located<Duration>>),
    large: (&'static str, Option<Located<Duration>>),
    /// Whether the two may be equal.
    equal: bool,
    help: &'static str,
}

fn orders(task: &Fields) -> Vec<Order> {
    let (wcet, period) = (("WCET", task.time("wcet")), ("period", task.time("period")));
    let deadline = match task.time("deadline") {
        None if !task.has("deadline") => ("deadline, which is the period", period.1),
        given => ("deadline", given),
    };
    let measured = task.table("provenance").and_then(|provenance| provenance.time("measured_max"));
    let mut orders = vec![
        Order {
            code: &BCET_ABOVE_WCET,
            small: ("BCET", task.time("bcet")),
            large: wcet,
            equal: true,
            help: "the shortest execution time is at most the longest; have the two been exchanged?",
        },
        Order {
            code: &WCET_ABOVE_DEADLINE,
            small: wcet,
            large: deadline,
            equal: true,
            help: "no schedule can help: shorten the task or give it a later deadline",
        },
        Order {
            code: &OFFSET_NOT_BELOW_PERIOD,
            small: ("offset", task.time("offset")),
            large: period,
            equal: false,
            help: "arrivals repeat with the period: take whole periods out of the offset",
        },
        Order {
            code: &MEASURED_ABOVE_WCET,
            small: ("highest measured time", measured),
            large: wcet,
            equal: true,
            help: "a WCET that a measurement passed is none: raise `wcet`",
        },
        Order {
            code: &JITTER_NOT_BELOW_PERIOD,
            small: ("jitter", task.time("jitter")),
            large: period,
            equal: false,
            help: "several jobs may then be released at one instant; is the unit right?",
        },
    ];
    orders.extend(task.tables("sections").map(|section| Order {
        code: &SECTION_ABOVE_WCET,
        small: ("longest hold of a resource", section.time("length")),
        large: wcet,
        equal: true,
        help: "a resource is held in execution time, so at most for the WCET",
    }));
    orders
}

impl Order {
    fn fault(&self, who: impl Fn() -> String) -> Option<Diagnostic> {
        let (small, large) = (self.small.1?, self.large.1?);
        if small.value < large.value || (self.equal && small.value == large.value) {
            return None;
        }
        let verb = if self.equal { "passes" } else { "is not below" };
        let message = format!(
            "task {}: the {}, {}, {verb} the {}, {}",
            who(),
            self.small.0,
            small.value,
            self.large.0,
            large.value
        );
        let fault = Diagnostic::new(self.code, small.span, message);
        Some(fault.also(large.span, format!("the {}", self.large.0)).help(self.help))
    }
}

type Fault = Option<(Diagnostic, String)>;

/// Offsets belong to frame-aligned tasks, and those come with every period.
fn alignment(task: &Fields) -> Fault {
    let release = task.value("release").map(|release| release.span);
    if is_aligned(task) {
        let sporadic = task.flag("sporadic").filter(|flag| flag.value)?;
        let fault = Diagnostic::new(&SPORADIC_ALIGNED, sporadic.span, "");
        let fault = release.into_iter().fold(fault, |fault, span| fault.also(span, "frame-aligned here"));
        let help = "a frame-aligned task arrives in every period; leave out one of the two";
        return Some((fault.help(help), "is both sporadic and frame-aligned".to_owned()));
    }
    let offset = task.key_span("offset").filter(|_| !task.has("release") || task.text("release").is_some())?;
    let fault =
        Diagnostic::new(&KEY_ALONE, offset, "").help("add release = \"frame-aligned\", or leave out the offset");
    Some((fault, "has an offset and is not frame-aligned".to_owned()))
}

fn virtual_core(task: &Fields, cores: u32) -> Fault {
    let core = task.small("virtual_core").filter(|core| core.value >= cores)?;
    let fault = Diagnostic::new(&VIRTUAL_CORE, core.span, "").help("they are counted from 0");
    Some((fault, format!("is pinned to virtual core {} and its partition has {cores}", core.value)))
}
