//! `[flow]`

use super::section::Section;
use super::{Context, Document};
use crate::system::FlowPolicy;

pub(super) static SECTION: Section =
    Section { head: "[flow]", summary: "The direct flows between zones that are permitted.", keys: &[] };

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Option<FlowPolicy> {
    None
}
