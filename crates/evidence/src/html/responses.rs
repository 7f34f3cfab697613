//! Response times and output jitter.

use super::claims::of_kinds;
use super::names::note;
use crate::dossier::Dossier;
use crate::waiting::in_short;
use claim::Kind;
use maud::{Markup, html};

pub(super) fn part(dossier: &Dossier) -> Markup {
    html! {
        (of_kinds(dossier, &[Kind::Response]))
        (note("A bound is exact where a scenario attains it. Growth is that of the task's charged time alone which \
               keeps every deadline of its partition, rounded down."))
        @if let Some(words) = in_short(dossier) { (note(&words)) }
        (of_kinds(dossier, &[Kind::OutputJitter]))
    }
}
