//! What a chain must keep: one need, of a kind that is said, with some of it left for the tasks.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::Diagnostic;
use diagnostic::codes::chain::{CHAIN_NEED, NEED_USED_UP};
use quantity::Duration;

const KINDS: &str = "`reaction` is the longest time from a stimulus to the last output that it causes; `data_age` is \
    how old the data behind an output may get before the next output";

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for chain in doc.root.tables("chain") {
        need(chain).into_iter().for_each(|fault| cx.report(fault));
        used_up(chain).into_iter().for_each(|fault| cx.report(fault));
    }
}

fn need(chain: &Fields) -> Option<Diagnostic> {
    match (chain.value("reaction"), chain.value("data_age")) {
        (Some(reaction), Some(age)) => {
            let message = format!("chain {} has both a `reaction` and a `data_age`", name(chain));
            let fault = Diagnostic::new(&CHAIN_NEED, age.span, message).also(reaction.span, "the other one");
            Some(fault.help(format!("keep one, or make two chains of it: {KINDS}")))
        }
        (None, None) if !chain.has("latency") => {
            let message = format!("chain {} has neither a `reaction` nor a `data_age`", name(chain));
            Some(Diagnostic::new(&CHAIN_NEED, chain.span, message).help(format!("add one: {KINDS}")))
        }
        _ => None,
    }
}

fn used_up(chain: &Fields) -> Option<Diagnostic> {
    let (kind, need) = ["reaction", "data_age"].iter().find_map(|key| Some((*key, chain.time(key)?)))?;
    let outside: Vec<_> = ["before", "after"].iter().filter_map(|key| chain.time(key)).collect();
    // Every time is below 2^53 ns, so the sum stays within 64 bits.
    let sum = outside.iter().map(|time| time.ns()).sum::<u64>();
    if sum < need.ns() {
        return None;
    }
    let sum = Duration::from_ns(sum);
    let message =
        format!("chain {}: before and after its tasks {sum} pass, and its {kind} is {}", name(chain), need.value);
    let fault = outside.iter().fold(Diagnostic::new(&NEED_USED_UP, need.span, message), |fault, time| {
        fault.also(time.span, "outside the board")
    });
    Some(fault.help("nothing is left for the tasks: check the units, or ask for less"))
}
