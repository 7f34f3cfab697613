//! A rehearsal for people at a terminal: what it is, and what it could not keep.

use super::layout::Page;
use crate::recording::REHEARSAL;

/// What it is, and what was not kept.
pub(super) fn head(page: &mut Page, name: &str, remarks: &[String]) {
    page.paragraph(0, &format!("{name}: rehearsed"));
    page.paragraph(2, REHEARSAL);
    page.heading("What was not kept, or else than on the target");
    remarks.iter().for_each(|remark| page.hanging(2, 4, &format!("- {remark}")));
}
