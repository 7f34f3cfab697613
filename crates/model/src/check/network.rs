//! The network: there where channels need it, forwarded by the partition that has that role and a task of it.

use super::name;
use crate::read::{Context, Document, Fields, role_of};
use crate::system::Role;
use diagnostic::Diagnostic;
use diagnostic::codes::policy::{FORWARDING_TASK, NO_NETWORK, NOT_A_FORWARDER};

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(network) = doc.root.table("network") else {
        if !doc.root.has("network") {
            doc.channels().filter_map(without_network).for_each(|fault| cx.report(fault));
        }
        return;
    };
    let Some(forwarder) = network.text("forwarder").and_then(|name| doc.names.partitions.get(&name.value)) else {
        return;
    };
    other_role(doc, network, forwarder).into_iter().for_each(|fault| cx.report(fault));
    other_task(doc, network, forwarder).into_iter().for_each(|fault| cx.report(fault));
}

fn without_network(channel: &Fields) -> Option<Diagnostic> {
    let forwarded = channel.flag("forwarded").filter(|flag| flag.value)?;
    let message = format!("channel {} is forwarded and the system has no network", name(channel));
    let help = "add [network] with the partition that forwards, or leave out `forwarded`";
    Some(Diagnostic::new(&NO_NETWORK, forwarded.span, message).help(help))
}

fn other_role(doc: &Document, network: &Fields, forwarder: usize) -> Option<Diagnostic> {
    let named = network.text("forwarder")?;
    let partition = doc.root.tables("partition").nth(forwarder)?;
    let role = role_of(partition);
    let unread = partition.has("role") && role.is_none();
    if unread || role.is_some_and(|role| role.value == Role::Forwarder) {
        return None;
    }
    let (word, place) = partition.text("role").map_or(("guest".to_owned(), partition.span), |r| (r.value, r.span));
    let message = format!("partition `{}` is to forward messages, which the role \"{word}\" does not do", named.value);
    let fault = Diagnostic::new(&NOT_A_FORWARDER, named.span, message).also(place, "its role");
    Some(fault.help("give it role = \"forwarder\", or name the partition that has that role"))
}

fn other_task(doc: &Document, network: &Fields, forwarder: usize) -> Option<Diagnostic> {
    let task = network.text("task")?;
    let of = doc.tasks.get(doc.names.tasks.get(&task.value)?)?.partition;
    if of == forwarder {
        return None;
    }
    let named = network.text("forwarder")?;
    let message = format!("`{}` is to forward messages and is no task of partition `{}`", task.value, named.value);
    let fault = Diagnostic::new(&FORWARDING_TASK, task.span, message).also(named.span, "the partition that forwards");
    Some(fault.help("name a task of the partition that forwards"))
}
