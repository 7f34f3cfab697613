//! `[[growth_rule]]`

use super::section::Section;
use super::{Context, Document};
use crate::system::GrowthRule;

pub(super) static SECTION: Section =
    Section { head: "[[growth_rule]]", summary: "A share that must be left at a milestone.", keys: &[] };

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Vec<GrowthRule> {
    Vec::new()
}
