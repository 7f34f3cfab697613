//! `[[accepted]]`

use super::section::Section;
use super::{Context, Document};
use crate::system::Accepted;

pub(super) static SECTION: Section = Section {
    head: "[[accepted]]",
    summary: "A claim that is known not to hold and is accepted for a while.",
    keys: &[],
};

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Vec<Accepted> {
    Vec::new()
}
