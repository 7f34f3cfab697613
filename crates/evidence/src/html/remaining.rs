//! Claims that have no drawing of their own.

use super::claims::of_kinds;
use super::names::note;
use crate::dossier::Dossier;
use claim::Kind;
use maud::Markup;

const KINDS: [Kind; 1] = [Kind::Window];

pub(super) fn part(dossier: &Dossier) -> Markup {
    if KINDS.into_iter().all(|kind| dossier.of_kind(kind).next().is_none()) {
        return note("There is no other claim.");
    }
    of_kinds(dossier, &KINDS)
}
