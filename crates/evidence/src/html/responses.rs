//! Response times and output jitter.

use super::claims::of_kinds;
use super::lengthened;
use super::names::note;
use crate::dossier::Dossier;
use crate::{concurrent, waiting};
use claim::Kind;
use maud::{Markup, html};

pub(super) fn part(dossier: &Dossier) -> Markup {
    html! {
        (of_kinds(dossier, &[Kind::Response]))
        (note("A bound is exact where a scenario attains it. Growth is that of the task's charged time alone which \
               keeps every deadline of its partition, rounded down."))
        @for words in [waiting::in_short(dossier), concurrent::in_short(dossier)].iter().flatten() { (note(words)) }
        (lengthened::matrix(dossier))
        (of_kinds(dossier, &[Kind::OutputJitter]))
    }
}
