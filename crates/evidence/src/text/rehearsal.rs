//! A rehearsal for people at a terminal: what it is, and what it could not keep.

use super::layout::Page;

/// What every answer about a rehearsal says of itself.
const WHAT_IT_IS: &str = "A rehearsal on another machine: processes and loads stood in for partitions and jobs, and shared this \
                          machine's cpus as its kernel let them. It shows whether plan and recovery work together; it is no \
                          statement about the target, and no figure of it is one of the target.";

/// What it is, and what was not kept.
pub(super) fn head(page: &mut Page, name: &str, remarks: &[String]) {
    page.paragraph(0, &format!("{name}: rehearsed"));
    page.paragraph(2, WHAT_IT_IS);
    page.heading("What was not kept, or else than on the target");
    remarks.iter().for_each(|remark| page.hanging(2, 4, &format!("- {remark}")));
}
