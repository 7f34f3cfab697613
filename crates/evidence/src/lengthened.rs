//! Who lengthens whom: how much of the responses of a partition each other master of the memory makes up.

use crate::dossier::Dossier;
use crate::show::permille_up;
use claim::{Kind, Part, PartKind, Verdict};
use model::System;
use quantity::Duration;

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
    let rows: Vec<Row<'_>> = system
        .partitions
        .iter()
        .enumerate()
        .filter_map(|(index, partition)| {
            let by: Vec<_> = masters.iter().map(|master| most(dossier, system, index, master)).collect();
            by.iter().any(Option::is_some).then_some(Row { partition: &partition.name.value, by })
        })
        .collect();
    (!rows.is_empty()).then_some(Lengthened { masters, rows })
}

fn most<'d>(dossier: &'d Dossier, system: &System, partition: usize, master: &str) -> Option<Most<'d>> {
    let own = |verdict: &&Verdict| {
        system
            .task_ids()
            .any(|id| system.task(id).partition.index() == partition && system.task_label(id) == verdict.subject)
    };
    let lengthened = dossier.of_kind(Kind::Response).filter(own).filter_map(|verdict| by(verdict, master));
    // Of equal ones the first.
    lengthened.reduce(|most, one| if one.permille > most.permille { one } else { most })
}

fn by<'d>(verdict: &'d Verdict, master: &str) -> Option<Most<'d>> {
    // On whichever core is free it is not known which of them the others are.
    let is_by =
        |part: &&Part| part.kind == PartKind::Interference && part.what.split(" or ").any(|name| name == master);
    let parts = verdict.parts.iter().filter(is_by);
    let ns = parts.fold(0, |sum: u64, part| sum.saturating_add(part.ns));
    let permille = permille_up(ns, verdict.bound?)?;
    (ns > 0).then_some(Most { task: &verdict.subject, ns, permille })
}
