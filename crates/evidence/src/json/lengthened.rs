//! The shape of who lengthens whom.

use crate::dossier::Dossier;
use crate::lengthened::of;
use serde::Serialize;

/// The task of a partition of whose bound a master makes up most.
#[derive(Serialize)]
pub(super) struct LengthenedShape<'d> {
    partition: &'d str,
    by: &'d str,
    task: &'d str,
    ns: u64,
    /// The part of the bound, in thousandths, rounded up.
    permille: u64,
}

pub(super) fn all(dossier: &Dossier) -> Vec<LengthenedShape<'_>> {
    let Some(lengthened) = of(dossier) else { return Vec::new() };
    let mut all = Vec::new();
    for row in lengthened.rows {
        for (by, most) in lengthened.masters.iter().zip(row.by) {
            all.extend(most.map(|most| LengthenedShape {
                partition: row.partition,
                by,
                task: most.task,
                ns: most.ns,
                permille: most.permille,
            }));
        }
    }
    all
}
