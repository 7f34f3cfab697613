//! Who lengthens whom: how much of the responses of a partition each other master of the memory makes up.

use crate::dossier::Dossier;
use crate::show::permille_up;
use claim::{Kind, Part, PartKind, Verdict};
use quantity::Duration;
use std::collections::BTreeMap;

/// What the matrix says.
pub(crate) const LEGEND: &str = "Of the task whose bound that master makes up most of: how long it is held up there at the most, as part \
     of the bound. A dash: none of its bounds that are told by their parts holds anything of that master.";

/// How the responses of all partitions are lengthened.
pub(crate) struct Lengthened<'d> {
    /// The masters, as declared.
    pub(crate) masters: Vec<&'d str>,
    /// The partitions of which some bound is lengthened.
    pub(crate) rows: Vec<Row<'d>>,
}

/// How those of one partition are.
pub(crate) struct Row<'d> {
    pub(crate) partition: &'d str,
    /// By each master, in their order.
    pub(crate) by: Vec<Option<Most<'d>>>,
}

/// The task that one master lengthens most.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Most<'d> {
    /// `PARTITION.task`.
    pub(crate) task: &'d str,
    pub(crate) ns: u64,
    /// The part of its bound, in thousandths, rounded up.
    pub(crate) permille: u64,
}

impl Most<'_> {
    /// As it stands in a cell.
    pub(crate) fn words(&self) -> String {
        format!("{} of {}", Duration::from_ns(self.ns), self.task)
    }
}

/// None where nobody waits for anybody.
pub(crate) fn of(dossier: &Dossier) -> Option<Lengthened<'_>> {
    let system = dossier.system()?;
    let masters = &system.board.interconnect.as_ref()?.masters;
    let masters: Vec<&str> = masters.iter().map(|master| master.name.value.as_str()).collect();
    let partition_of: BTreeMap<String, usize> =
        system.task_ids().map(|id| (system.task_label(id), system.task(id).partition.index())).collect();
    let mut most = vec![vec![None; masters.len()]; system.partitions.len()];
    for verdict in dossier.of_kind(Kind::Response) {
        let Some(row) = partition_of.get(&verdict.subject).and_then(|partition| most.get_mut(*partition)) else {
            continue;
        };
        row.iter_mut().zip(&masters).for_each(|(most, master)| *most = greater(*most, by(verdict, master)));
    }
    let rows = system.partitions.iter().zip(most).filter(|(_, by)| by.iter().any(Option::is_some));
    let rows: Vec<Row<'_>> = rows.map(|(partition, by)| Row { partition: &partition.name.value, by }).collect();
    (!rows.is_empty()).then_some(Lengthened { masters, rows })
}

/// Of equal ones the first.
fn greater<'d>(one: Option<Most<'d>>, other: Option<Most<'d>>) -> Option<Most<'d>> {
    match (one, other) {
        (Some(one), Some(other)) if other.permille > one.permille => Some(other),
        (one, other) => one.or(other),
    }
}

/// How much of a bound a master makes up.
fn by<'d>(verdict: &'d Verdict, master: &str) -> Option<Most<'d>> {
    // On whichever core is free it is not known which of them the others are.
    let is_by =
        |part: &&Part| part.kind == PartKind::Interference && part.what.split(" or ").any(|name| name == master);
    let parts = verdict.parts.iter().filter(is_by);
    let ns = parts.fold(0, |sum: u64, part| sum.saturating_add(part.ns));
    let permille = permille_up(ns, verdict.bound?)?;
    (ns > 0).then_some(Most { task: &verdict.subject, ns, permille })
}
