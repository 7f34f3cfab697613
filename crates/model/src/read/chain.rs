//! `[[chain]]`

use super::section::Section;
use super::{Context, Document};
use crate::system::Chain;

pub(super) static SECTION: Section =
    Section { head: "[[chain]]", summary: "A cause-effect chain and what it must keep.", keys: &[] };

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Vec<Option<Chain>> {
    Vec::new()
}
