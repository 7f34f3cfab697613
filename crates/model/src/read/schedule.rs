//! `[[schedule]]`

use super::section::Section;
use super::{Context, Document};
use crate::system::ModuleSchedule;

pub(super) static SECTION: Section = Section { head: "[[schedule]]", summary: "A module schedule.", keys: &[] };

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Vec<ModuleSchedule> {
    Vec::new()
}
