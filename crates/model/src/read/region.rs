//! `[[region]]`

use super::section::Section;
use super::{Context, Document};
use crate::system::Region;

pub(super) static SECTION: Section =
    Section { head: "[[region]]", summary: "Memory asked for beyond the partitions' own RAM.", keys: &[] };

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Vec<Region> {
    Vec::new()
}
