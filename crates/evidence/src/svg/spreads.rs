//! Three spans of time beside each other: how values lie before, during and after a fault, on one scale.

use super::axis::{tick_words, ticks};
use super::{Px, Scale, figure, line, rect, text};
use crate::recording::{Compared, Spread};
use maud::{Markup, html};
use quantity::Duration;

const WIDTH: Px = Px::whole(410);
const LEFT: Px = Px::whole(50);
const RIGHT: Px = Px::whole(330);
const LANES: [(&str, i64); 3] = [("before", 8), ("during", 26), ("after", 44)];
const LANE: i64 = 12;
const BOTTOM: Px = Px::whole(60);
const HEIGHT: Px = Px::whole(78);

/// A lane for each span: a line from the least to the most, a bar between the tenth and nine tenths, a stroke at the median.
pub(crate) fn three_spans(row: &Compared) -> Markup {
    let most = row.spreads.iter().flatten().map(|spread| spread.most).max().unwrap_or(0);
    let least = row.spreads.iter().flatten().map(|spread| spread.least).min().unwrap_or(0);
    // Times that hardly differ are drawn from near the least on, others from zero.
    let from = if least / 2 > most - least { least - (most - least) / 4 } else { 0 };
    let range = (from, most.max(from + 1));
    let x = Scale::new(range, (LEFT, RIGHT));
    let content = html! {
        @for tick in ticks(range, 4) {
            (line("grid", (x.at(tick), Px::whole(2)), (x.at(tick), BOTTOM + Px::whole(3))))
            (text("tick middle", (x.at(tick), BOTTOM + Px::whole(14)), &tick_words(tick)))
        }
        @for ((name, top), spread) in LANES.iter().zip(&row.spreads) {
            (text("tick end", (LEFT - Px::whole(6), Px::whole(top + 10)), name))
            @match spread {
                Some(spread) => (lane(spread, Px::whole(*top), x)),
                None => (text("tick", (LEFT + Px::whole(6), Px::whole(top + 10)), "nothing measured")),
            }
        }
    };
    figure(WIDTH, HEIGHT, &format!("{} before, during and after the fault", row.name), &description(row), content)
}

fn lane(spread: &Spread, top: Px, x: Scale) -> Markup {
    let middle = top + Px::whole(LANE).half();
    let (tenth, nine_tenths, median) = (x.at(spread.tenth), x.at(spread.nine_tenths), x.at(spread.median));
    html! {
        (line("reach", (x.at(spread.least), middle), (x.at(spread.most), middle)))
        (rect("class", (tenth, top + Px::whole(1)), ((nine_tenths - tenth).max(Px::whole(2)), Px::whole(LANE - 2))))
        (line("median", (median, top), (median, top + Px::whole(LANE))))
        (line("high-water", (x.at(spread.most), top), (x.at(spread.most), top + Px::whole(LANE))))
        (text("tick", (RIGHT + Px::whole(6), top + Px::whole(10)), &Duration::from_ns(spread.most).to_string()))
    }
}

fn description(row: &Compared) -> String {
    let said = LANES.iter().zip(&row.spreads).map(|((name, _), spread)| match spread {
        Some(spread) => format!("{name} {} at most, of {} values", Duration::from_ns(spread.most), spread.values),
        None => format!("{name} nothing"),
    });
    format!("{}.", said.collect::<Vec<_>>().join("; "))
}
