//! A cache is ways times sets times line large, with a whole number of sets.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::Diagnostic;
use diagnostic::codes::board::CACHE_GEOMETRY;
use quantity::Bytes;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let caches = doc.root.table("board").into_iter().flat_map(|board| board.tables("cache"));
    caches.filter_map(fault).for_each(|fault| cx.report(fault));
}

fn fault(cache: &Fields) -> Option<Diagnostic> {
    let (size, ways, line) = (cache.size("size")?, cache.small("ways")?, cache.size("line")?);
    let set = u128::from(ways.value) * u128::from(line.get());
    let whole = u128::from(size.get());
    if whole != 0 && whole.is_multiple_of(set) {
        return None;
    }
    let set =
        u64::try_from(set).map_or_else(|_| "more bytes than any cache has".to_owned(), |b| Bytes::new(b).to_string());
    let message = format!("cache {} has {}, which is no whole number of sets of {set}", name(cache), size.value);
    Some(
        Diagnostic::new(&CACHE_GEOMETRY, size.span, message)
            .also(ways.span, format!("{} ways", ways.value))
            .also(line.span, format!("of {} each", line.value))
            .help("the size is ways times sets times line"),
    )
}
