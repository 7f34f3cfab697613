//! The ways of a cache: a row of cells for everybody who has some.

use super::{Px, figure, rect, text};
use maud::{Markup, html};

const LEFT: Px = Px::whole(110);
const CELL: i64 = 26;
const PITCH: i64 = 24;

/// One row for each holder; cells that two rows fill stand above each other.
pub(crate) fn ways(title: &str, ways: u32, rows: &[(String, u64)]) -> Markup {
    // Masks have 64 bits, and so have drawings.
    let count = i64::from(ways.min(64));
    let left = |way: i64| LEFT + Px::whole(way * CELL);
    let content = html! {
        @for way in 0..count {
            (text("tick middle", (left(way) + Px::whole(CELL / 2), Px::whole(12)), &way.to_string()))
        }
        @for ((holder, mask), place) in rows.iter().zip(0i64..) {
            @let top = Px::whole(18 + place * PITCH);
            (text("label end", (LEFT - Px::whole(8), top + Px::whole(14)), holder))
            @for way in 0..count {
                @let class = if mask >> way & 1 == 1 { "window shade3" } else { "spare" };
                (rect(class, (left(way), top), (Px::whole(CELL - 2), Px::whole(18))))
            }
        }
    };
    let height = Px::whole(20 + PITCH * i64::try_from(rows.len()).unwrap_or(0));
    figure(
        left(count),
        height,
        title,
        "A row for each holder, a cell for each way, filled where the holder has it.",
        content,
    )
}
