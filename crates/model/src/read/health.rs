//! `[health]`

use super::section::Section;
use super::{Context, Document};
use crate::system::Health;

pub(super) static SECTION: Section = Section { head: "[health]", summary: "The health-monitor table.", keys: &[] };

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Option<Health> {
    None
}
