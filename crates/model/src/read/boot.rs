//! `[boot]`

use super::section::Section;
use super::{Context, Document};
use crate::system::Boot;

pub(super) static SECTION: Section =
    Section { head: "[boot]", summary: "What happens from reset to the first frame.", keys: &[] };

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Option<Boot> {
    None
}
