//! The shape of the shared-resource matrix.

use crate::dossier::Dossier;
use model::System;
use quantity::PartitionId;
use separation::covert::{Access, Capacity, CovertPath, Resource};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct CovertShape<'d> {
    resources: Vec<ResourceShape<'d>>,
    ways: Vec<WayShape<'d>>,
}

#[derive(Serialize)]
struct ResourceShape<'d> {
    resource: &'d str,
    why: &'d str,
    modify: Vec<&'d str>,
    read: Vec<&'d str>,
}

/// A way from a partition to another of which the policy permits no flow; a null rate was not computed.
#[derive(Serialize)]
struct WayShape<'d> {
    from: &'d str,
    to: &'d str,
    resource: &'d str,
    millibits_per_s: Option<u64>,
}

pub(super) fn shape(dossier: &Dossier) -> CovertShape<'_> {
    let matrix = dossier.covert();
    CovertShape {
        resources: matrix.resources.iter().map(|row| resource_shape(dossier.system(), row)).collect(),
        ways: matrix.paths.iter().map(|path| way_shape(dossier, path)).collect(),
    }
}

fn resource_shape<'d>(system: Option<&'d System>, row: &'d Resource) -> ResourceShape<'d> {
    let who = |may: fn(Access) -> bool| {
        let all = system.map(|system| system.partitions.as_slice()).unwrap_or_default();
        let those = all.iter().zip(&row.access).filter(|(_, access)| may(**access));
        those.map(|(partition, _)| partition.name.value.as_str()).collect()
    };
    ResourceShape {
        resource: &row.name,
        why: &row.why,
        modify: who(|access| access.modify),
        read: who(|access| access.read),
    }
}

fn way_shape<'d>(dossier: &'d Dossier, path: &CovertPath) -> WayShape<'d> {
    let name = |id: PartitionId| dossier.system().and_then(|system| system.partitions.get(id.index()));
    let name = |id| name(id).map_or("", |partition| partition.name.value.as_str());
    WayShape {
        from: name(path.from),
        to: name(path.to),
        resource: &dossier.covert().resources[path.resource].name,
        millibits_per_s: match path.capacity {
            Capacity::AtMost(rate) => Some(rate.millibits_per_s()),
            Capacity::NotComputed => None,
        },
    }
}
