//! Devices: their DMA streams, interrupt lines and owners.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::codes::board::{DMA_WITHOUT_STREAM, LINE_SHARED, SHARED_WITHOUT_OWNER, STREAM_SHARED};
use diagnostic::codes::shape::KEY_ALONE;
use diagnostic::{Code, Diagnostic, Located};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let Some(board) = doc.root.table("board") else { return };
    let mut streams = Users::new(&STREAM_SHARED, "DMA stream");
    let mut lines = Users::new(&LINE_SHARED, "interrupt line");
    for device in board.tables("device") {
        without_stream(device).into_iter().for_each(|fault| cx.report(fault));
        oddly_shared(device).into_iter().for_each(|fault| cx.report(fault));
        burst_without_rate(device).into_iter().for_each(|fault| cx.report(fault));
        service_for_nobody(device).into_iter().for_each(|fault| cx.report(fault));
        streams.add(device, device.text("dma_stream"), cx);
        device.tables("interrupt").for_each(|interrupt| lines.add(device, interrupt.text("line"), cx));
    }
}

fn without_stream(device: &Fields) -> Option<Diagnostic> {
    let rate = device.rate("dma_rate").filter(|_| !device.has("dma_stream"))?;
    let message = format!("device {} moves memory at {} and has no stream", name(device), rate.value);
    let help = "name its stream at the I/O memory unit in `dma_stream`; without one nothing confines its accesses";
    Some(Diagnostic::new(&DMA_WITHOUT_STREAM, rate.span, message).help(help))
}

fn oddly_shared(device: &Fields) -> Option<Diagnostic> {
    let others = device.texts("shared_with");
    let first = others.first()?;
    let Some(owner) = device.text("owner") else {
        let message = format!("device {} is shared and has no owner", name(device));
        let help = "name in `owner` the partition whose service the others use";
        return (!device.has("owner")).then(|| Diagnostic::new(&SHARED_WITHOUT_OWNER, first.span, message).help(help));
    };
    let same = others.iter().find(|other| other.value == owner.value)?;
    let message = format!("device {} is shared with its own owner, `{}`", name(device), owner.value);
    let fault = Diagnostic::new(&SHARED_WITHOUT_OWNER, same.span, message);
    Some(fault.also(owner.span, "the owner").help("list only the other partitions"))
}

fn burst_without_rate(device: &Fields) -> Option<Diagnostic> {
    let burst = device.key_span("dma_burst").filter(|_| !device.has("dma_rate"))?;
    let message = format!("device {} has a `dma_burst` and no `dma_rate`", name(device));
    let fault = Diagnostic::new(&KEY_ALONE, burst, message);
    Some(fault.help("add `dma_rate` with the rate that it keeps to beside, or leave `dma_burst` out"))
}

fn service_for_nobody(device: &Fields) -> Option<Diagnostic> {
    let service = device.key_span("service").filter(|_| !device.has("shared_with"))?;
    let message = format!("device {} has a `service` and is shared with nobody", name(device));
    let fault = Diagnostic::new(&KEY_ALONE, service, message);
    Some(fault.help("add `shared_with` with those who are served, or leave `service` out"))
}

/// Who uses a thing that only devices of one owner may share.
struct Users {
    code: &'static Code,
    what: &'static str,
    first: BTreeMap<String, (Located<String>, Option<String>)>,
}

impl Users {
    fn new(code: &'static Code, what: &'static str) -> Self {
        Self { code, what, first: BTreeMap::new() }
    }

    fn add(&mut self, device: &Fields, thing: Option<Located<String>>, cx: &mut Context) {
        let Some(thing) = thing else { return };
        let owner = device.text("owner").map(|owner| owner.value);
        let Some((first, its_owner)) = self.first.get(&thing.value) else {
            self.first.insert(thing.value.clone(), (thing, owner));
            return;
        };
        if *its_owner == owner {
            return;
        }
        let who = |owner: &Option<String>| owner.as_ref().map_or("nobody".to_owned(), |name| format!("`{name}`"));
        let message = format!(
            "the {} `{}` is used by devices of {} and of {}",
            self.what,
            thing.value,
            who(its_owner),
            who(&owner)
        );
        let fault = Diagnostic::new(self.code, thing.span, message).also(first.span, "first used here");
        cx.report(fault.help("give each one of its own, or both devices to one partition"));
    }
}
