//! The bar of a headroom: how far something may grow, beside others.

use super::{Px, Scale, figure, line, rect};
use claim::Status;
use maud::{Markup, html};

const WIDTH: Px = Px::whole(170);
const HEIGHT: Px = Px::whole(12);

/// A bar from zero growth, as long as `ppm` is of `longest`; none where it must shrink.
pub(crate) fn headroom_bar(ppm: i64, longest: i64, status: Status) -> Markup {
    let scale = Scale::new((0, u64::try_from(longest).unwrap_or(0)), (Px::whole(1), WIDTH));
    let end = scale.at(u64::try_from(ppm).unwrap_or(0));
    let content = html! {
        (rect(&format!("bar {}", status.key()), (Px::whole(1), Px::whole(3)), (end - Px::whole(1), Px::whole(6))))
        (line("bar-limit", (Px::whole(1), Px::whole(0)), (Px::whole(1), HEIGHT)))
    };
    figure(WIDTH, HEIGHT, &format!("{} of growth left", crate::show::signed_percent(ppm)), "", content)
}
