//! Devices: whose each is, whom it serves, what its stream reaches; and what interrupts do outside their owners' windows.

use super::claims::of_kinds;
use super::names::{core, head, note, partition, placed, table};
use crate::dossier::Dossier;
use claim::Kind;
use maud::{Markup, html};
use model::System;
use model::system::{Device, InterruptPolicy};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let devices = dossier.system().filter(|system| !system.board.devices.is_empty());
    html! {
        @match devices {
            Some(system) => { (owners(system)) (interrupts(system)) }
            None => (note("No device is declared.")),
        }
        (of_kinds(dossier, &[Kind::Device, Kind::Interrupt]))
    }
}

/// Whose each device is, and what it may touch.
fn owners(system: &System) -> Markup {
    let rows = html! {
        @for device in &system.board.devices {
            tr {
                (head(&device.name.value, None))
                td { (device.owner.as_ref().map_or("nobody", |owner| partition(system, owner.value))) }
                td {
                    @if device.shared_with.is_empty() { "–" } @else {
                        (device.shared_with.iter().map(|id| partition(system, id.value)).collect::<Vec<_>>().join(", "))
                        span class="why" { (device.service.as_ref().map_or("no service declared", |service| &service.value)) }
                    }
                }
                td { (reach(system, device)) }
            }
        }
    };
    table("", &["Device", "Owner", "Serves, and what it lets through", "Its stream reaches"], rows)
}

fn reach(system: &System, device: &Device) -> String {
    if device.dma_stream.is_none() && device.dma_rate.is_none() {
        return "– (it moves no memory)".to_owned();
    }
    let whole = device.memory.and_then(|id| system.board.memories.get(id.index()));
    let whole = whole.map(|memory| format!("the whole of {}", memory.name.value));
    let named: Vec<String> = device.reaches.iter().map(|what| placed(system, &what.value)).chain(whole).collect();
    let bits = device.dma_address_bits.map_or_else(String::new, |bits| format!(", by addresses of {bits} bits"));
    if named.is_empty() { "not declared".to_owned() } else { format!("{}{bits}", named.join(", ")) }
}

fn interrupts(system: &System) -> Markup {
    let lines =
        || system.board.devices.iter().flat_map(|device| device.interrupts.iter().map(move |line| (device, line)));
    let rows = html! {
        @for (device, line) in lines() {
            tr {
                (head(&line.line.value, None))
                td { (device.name.value) }
                td { (line.core.as_ref().map_or_else(|| "not declared".to_owned(), |id| core(system, id.value))) }
                td {
                    @match line.policy.as_ref().map(|policy| policy.value) {
                        Some(InterruptPolicy::Pended) => "kept until its owner's window",
                        Some(InterruptPolicy::Immediate) => "handled at once",
                        None => "not declared",
                    }
                }
                td class="n" { (line.min_interarrival.as_ref().map_or_else(|| "–".to_owned(), |time| time.value.to_string())) }
                td class="n" { (line.handler.as_ref().map_or_else(|| "–".to_owned(), |time| time.value.to_string())) }
            }
        }
    };
    html! {
        @if lines().next().is_some() {
            (table("", &["Line", "Device", "Routed to", "Outside its owner's windows", "#At least apart", "#Handler"], rows))
        }
    }
}
