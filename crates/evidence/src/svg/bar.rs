//! The bar in a table row: how much of its limit a claim uses.

use super::{Px, Scale, figure, line, rect};
use claim::Status;
use maud::{Markup, html};

const WIDTH: Px = Px::whole(120);
const HEIGHT: Px = Px::whole(12);
/// The bar ends here: a quarter above the limit.
const MOST_PERMILLE: u64 = 1250;

/// A bar for a share of something in tenths of a percent, with a mark at the whole. One that runs out of its cell ends
/// ragged.
pub(crate) fn bar(permille: u64, status: Status, whole: &str) -> Markup {
    let scale = Scale::new((0, MOST_PERMILLE), (Px::whole(0), WIDTH));
    let (end, limit) = (scale.at(permille), scale.at(1000));
    let (y, height) = (Px::whole(3), Px::whole(6));
    let words = format!("{} of the {whole}", crate::show::percent(permille));
    let content = html! {
        (rect("bar-room", (Px::whole(0), y), (limit, height)))
        (rect(&format!("bar {}", status.key()), (Px::whole(0), y), (end, height)))
        @if permille > MOST_PERMILLE {
            path class="bar-torn" d={ "M" (end - Px::whole(7)) " 1 l3 3.5 -3 3 3 3.5" } {}
        }
        (line("bar-limit", (limit, Px::whole(0)), (limit, HEIGHT)))
    };
    figure(WIDTH, HEIGHT, &words, "", content)
}
