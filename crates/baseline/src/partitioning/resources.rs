//! Whether what a partition has stays its own, and what it does wrong stays with it.

use super::{Part, Subject};
use claim::{Kind, Verdict};
use model::system::{Device, Placed, RegionOwner};

/// What robust resource partitioning of a partition is put together from.
pub(super) fn parts(subject: &Subject<'_>) -> Vec<Part> {
    vec![storage(subject), consumption(subject), faults(subject)]
}

/// Its memory and that of its regions with their banks, the devices that reach them, the caches of its cores with their colours, and the
/// lines of these.
fn storage(subject: &Subject<'_>) -> Part {
    let Subject { system, id, .. } = subject;
    let regions = system.regions.iter().filter(|region| {
        region.owner == RegionOwner::Partition(*id) || region.access.iter().any(|(who, _)| who.value == *id)
    });
    let ranges: Vec<&str> =
        std::iter::once(subject.name()).chain(regions.map(|region| region.name.value.as_str())).collect();
    let cores = subject.cores();
    let devices = system.board.devices.iter().filter(|device| touches(subject, device));
    let devices: Vec<&str> = devices.map(|device| device.name.value.as_str()).collect();
    let caches = system.board.caches.iter().filter(|cache| cache.cores.iter().any(|core| cores.contains(core)));
    let caches: Vec<&str> = caches.map(|cache| cache.name.value.as_str()).collect();
    let lines = system.board.devices.iter().flat_map(|device| &device.interrupts);
    let lines = lines.filter(|line| line.core.as_ref().is_none_or(|core| cores.contains(&core.value)));
    let lines: Vec<&str> = lines.map(|line| line.line.value.as_str()).collect();
    let claims: Vec<&Verdict> =
        [(Kind::Memory, ranges), (Kind::Device, devices), (Kind::Cache, caches), (Kind::Interrupt, lines)]
            .into_iter()
            .flat_map(|(kind, names)| subject.claims(kind, |about| is_of(about, &names)))
            .collect();
    Part::of("storage", &claims, "no claim speaks of its memory")
}

/// Whether a claim is about one of these, about the colours of one of these, or about the banks of some memory: whoever has pages there
/// shares them or does not.
fn is_of(about: &str, names: &[&str]) -> bool {
    names.contains(&about.trim_end_matches("/colours")) || about.starts_with("banks/")
}

/// Whether a device is the partition's own, or moves memory that is.
fn touches(subject: &Subject<'_>, device: &Device) -> bool {
    let is_own = device.owner.as_ref().is_some_and(|owner| owner.value == subject.id);
    let reaches = |what: &Placed| match what {
        Placed::Partition(id) => *id == subject.id,
        Placed::Region(index) => subject.system.regions[*index].owner == RegionOwner::Partition(subject.id),
    };
    is_own || device.memory.is_some() || device.reaches.iter().any(|what| reaches(&what.value))
}

/// What is asked for of the memory path and of the devices that it uses.
fn consumption(subject: &Subject<'_>) -> Part {
    let uses = |device: &&Device| {
        let all = device.owner.iter().chain(&device.shared_with);
        all.into_iter().any(|user| user.value == subject.id)
    };
    let devices: Vec<&str> =
        subject.system.board.devices.iter().filter(uses).map(|device| device.name.value.as_str()).collect();
    let is_about = |about: &str| ["memory", "dma"].contains(&about) || devices.contains(&about);
    let claims = subject.claims(Kind::Bandwidth, is_about);
    let masters = subject.system.board.interconnect.as_ref().map_or(0, |interconnect| interconnect.masters.len());
    let is_free = subject.system.platform.regulation.is_none() && masters > 1;
    let missing = is_free.then_some("no regulation keeps any master to what it is given of the memory path");
    let part = Part::of("consumption", &claims, "it shares no path to memory and no device");
    let nothing_shared = part.claims.is_empty() && !is_free;
    let part = if nothing_shared { Part { status: claim::Status::Shown, ..part } } else { part };
    part.but_missing(missing)
}

/// Whom its faults reach, as far as campaigns tell.
fn faults(subject: &Subject<'_>) -> Part {
    let claims = subject.claims(Kind::Containment, |about| about == subject.name());
    Part::of("its own faults", &claims, "no [[containment]] says whom they may reach")
}
