//! A rehearsal for people at a terminal: what it is first, what could not be kept, then what was found.

use super::layout::Page;
use crate::recording::REHEARSAL;
use crate::rehearsal::Rehearsal;

/// Everything, with what is kept only where `all` is asked for.
pub(super) fn draw(page: &mut Page, rehearsal: &Rehearsal<'_>, all: bool) {
    let name = &rehearsal.own.system.name.value;
    page.paragraph(0, &format!("{name}: rehearsed"));
    page.paragraph(2, REHEARSAL);
    page.heading("What was not kept, or else than on the target");
    rehearsal.not_kept.iter().for_each(|remark| page.hanging(2, 4, &format!("- {remark}")));
    if let Ok(kernel) = &rehearsal.kernel {
        page.heading(&format!("{name}: who executed, as the kernel saw it"));
        super::recording::draw(page, kernel, all);
    }
    page.heading(&format!("{name}: what the stand-ins recorded"));
    super::recording::draw(page, &rehearsal.own, all);
}
