//! `[network]`

use super::section::Section;
use super::{Context, Document};
use crate::system::Network;

pub(super) static SECTION: Section = Section { head: "[network]", summary: "The network inside the board.", keys: &[] };

pub(super) fn read(_doc: &Document, _cx: &mut Context) -> Option<Network> {
    None
}
