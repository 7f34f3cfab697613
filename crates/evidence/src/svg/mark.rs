//! The shape that goes with each status word.

use claim::Status;
use maud::{Markup, html};

/// A shape of its own for each status, so that none rests on colour: a full disc, a half disc, a triangle, a ring.
pub(crate) fn mark(status: Status) -> Markup {
    html! {
        svg class={ "mark " (status.key()) } viewBox="0 0 12 12" width="12" height="12" aria-hidden="true" {
            @match status {
                Status::Shown => { circle cx="6" cy="6" r="4.5" {} }
                Status::NotShown => {
                    circle class="hollow" cx="6" cy="6" r="4.5" {}
                    path d="M6 1.5 a4.5 4.5 0 0 0 0 9 z" {}
                }
                Status::Violated => { path d="M6 0.8 L11.4 10.8 H0.6 z" {} }
                Status::NotAnalysed => { circle class="hollow dashed" cx="6" cy="6" r="4.5" {} }
            }
        }
    }
}
