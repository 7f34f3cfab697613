//! A cache is ways times sets times line large, with a whole number of sets; nobody uses more lines than all caches have.

use super::name;
use crate::read::{Context, Document, Fields};
use diagnostic::Diagnostic;
use diagnostic::codes::board::CACHE_GEOMETRY;
use diagnostic::codes::partition::LINES_ABOVE_CACHES;
use quantity::Bytes;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    let caches = || doc.root.table("board").into_iter().flat_map(|board| board.tables("cache"));
    caches().filter_map(fault).for_each(|fault| cx.report(fault));
    // Without any cache nothing is known of them.
    let held: Option<Vec<u64>> = caches().map(lines).collect();
    let Some(held) = held.filter(|held| !held.is_empty()) else { return };
    let held = held.into_iter().fold(0, u64::saturating_add);
    for partition in doc.root.tables("partition") {
        let too_many = ["useful_lines", "evicting_lines"].into_iter().filter_map(|key| above(partition, key, held));
        too_many.for_each(|fault| cx.report(fault));
    }
}

/// The lines that a cache holds; `None` where its size does not say.
fn lines(cache: &Fields) -> Option<u64> {
    cache.size("size")?.get().checked_div(cache.size("line")?.get())
}

/// A partition that uses more lines than `held`, which all caches hold.
fn above(partition: &Fields, key: &str, held: u64) -> Option<Diagnostic> {
    let used = partition.count(key).filter(|used| used.value > held)?;
    let message = format!("partition {} has {} `{key}`, and all caches hold {held}", name(partition), used.value);
    let help = "count each line once, as the cache holds it; what does not fit is fetched anew without any pause";
    Some(Diagnostic::new(&LINES_ABOVE_CACHES, used.span, message).help(help))
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
