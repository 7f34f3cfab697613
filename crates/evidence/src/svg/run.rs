//! A part of a run: whom each core serves, what it executes below, and what happens.

use super::axis::time_axis;
use super::gantt::{LANE, LEFT, Lane, Piece, RIGHT, WIDTH, named_windows};
use super::{Px, Scale, figure, hatching, line, rect, text, text_width, tip};
use crate::run::{Told, event_words, grouped, stall_words, times_more};
use crate::show::{percent, permille_up};
use maud::{Markup, html};
use quantity::Duration;
use simulator::timeline::{CoreLine, Doing, Stretch};
use simulator::{Event, What};

const PITCH: i64 = 78;
const ROW: i64 = 24;
const STRIP: Px = Px::whole(16);
const LINE: i64 = 15;
const FONT: i64 = 10;
/// Stretches nearer together than this are drawn as one mark.
const NARROW: Px = Px(5);
/// More arrivals than this below a core would be a smear.
const MOST_ARRIVALS: usize = 300;
/// The tasks that get a row of their own, and the events that are listed.
const MOST_ROWS: usize = 12;
const MOST_LISTED: usize = 12;

/// The drawing, where the part is longer than nothing.
pub(crate) fn run_lanes(id: &str, title: &str, told: &Told<'_>) -> Option<Markup> {
    let part = (told.timeline.from_ns, told.timeline.to_ns);
    if part.1 <= part.0 {
        return None;
    }
    let scale = Scale::new(part, (LEFT, RIGHT));
    let (cores, late) = (active_cores(told), late_tasks(told));
    let marks = told.marks();
    let first = Px::whole(if marks.is_empty() { 16 } else { 30 });
    let below = first + Px::whole(count(cores.len()) * PITCH);
    let bottom = below + Px::whole(count(late.len()) * ROW - if late.is_empty() { 14 } else { 0 });
    let listed = listed(told, &marks);
    let height = bottom + Px::whole(26 + count(listed.len()) * LINE);
    let hatch = format!("{id}-hatch");
    let content = html! {
        (hatching(&hatch))
        (time_axis(part, scale, (Px::whole(0), bottom), 11))
        @for (&core, place) in cores.iter().zip(0i64..) {
            (core_lane(told, core, first + Px::whole(place * PITCH), scale, &hatch))
        }
        @for (&task, place) in late.iter().zip(0i64..) {
            (task_row(told, task, below + Px::whole(place * ROW), scale))
        }
        @for (letter, event) in &marks { (mark(*letter, event.at_ns, scale, bottom)) }
        @for (words, place) in listed.iter().zip(1i64..) {
            (text("", (Px::whole(0), bottom + Px::whole(20 + place * LINE)), words))
        }
    };
    Some(figure(WIDTH, height, title, &description(told, &cores), content))
}

fn count(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(0)
}

fn description(told: &Told<'_>, cores: &[usize]) -> String {
    let missed = told.timeline.events.iter().filter(|event| matches!(event.what, What::Misses { .. })).count();
    format!(
        "{} from {} to {}: above whom each core serves, below what it executes. {} in this part.",
        crate::show::count(cores.len(), "core"),
        Duration::from_ns(told.timeline.from_ns),
        Duration::from_ns(told.timeline.to_ns),
        crate::show::count(missed, "missed deadline"),
    )
}

/// The cores on which anything is to be seen.
fn active_cores(told: &Told<'_>) -> Vec<usize> {
    let seen = |core: &&usize| {
        let line = &told.timeline.cores[**core];
        !line.served.is_empty() || !line.stretches.is_empty()
    };
    (0..told.timeline.cores.len()).collect::<Vec<_>>().iter().filter(seen).copied().collect()
}

/// The tasks that miss a deadline in this part, in order.
fn late_tasks(told: &Told<'_>) -> Vec<usize> {
    let missed = |event: &Event| if let What::Misses { task, .. } = event.what { Some(task) } else { None };
    let mut tasks: Vec<_> = told.timeline.events.iter().filter_map(missed).collect();
    tasks.sort_unstable();
    tasks.dedup();
    tasks.truncate(MOST_ROWS);
    tasks
}

fn core_lane(told: &Told<'_>, core: usize, top: Px, scale: Scale, hatch: &str) -> Markup {
    let line_of = &told.timeline.cores[core];
    let strip = top + LANE;
    let arrivals = arrivals(told, core);
    html! {
        (named_windows(&lane(told, core, line_of), top, scale, (scale.from, scale.to), hatch))
        (rect("spare", (LEFT, strip), (RIGHT - LEFT, STRIP)))
        @for stretch in visible(&line_of.stretches, scale) { (segment(told, stretch, (strip, STRIP), scale)) }
        @for at in arrivals {
            (line("period", (scale.at(at), strip + STRIP), (scale.at(at), strip + STRIP + Px::whole(4))))
        }
    }
}

fn lane(told: &Told<'_>, core: usize, line: &CoreLine) -> Lane {
    let piece = |served: &simulator::timeline::Served| Piece {
        name: told.lane(served.lane),
        shade: told.shades.get(told.partition_of(served.lane)).copied().unwrap_or(0),
        span: (served.from_ns, served.to_ns),
        head_ns: served.head_ns,
    };
    let busy = line.stretches.iter().filter(|one| !matches!(one.doing, Doing::Stalls(_)));
    let busy: u64 = busy.map(|one| one.to_ns - one.from_ns).fold(0, u64::saturating_add);
    let name = told.machine.cores.get(core).map_or("?", |core| &core.name);
    Lane {
        name: format!("core {name}"),
        note: format!(
            "{} busy",
            permille_up(busy, told.timeline.to_ns - told.timeline.from_ns).map_or_else(String::new, percent)
        ),
        pieces: line.served.iter().map(piece).collect(),
        period_ns: 0,
    }
}

/// The stretches that can be told apart: of several in the same half of a pixel the first.
fn visible(stretches: &[Stretch], scale: Scale) -> Vec<&Stretch> {
    let mut last: Option<Px> = None;
    let apart = |stretch: &&Stretch| {
        let (start, end) = (scale.at(stretch.from_ns), scale.at(stretch.to_ns));
        let kept = end - start >= NARROW || last.is_none_or(|last| start - last >= NARROW);
        if kept {
            last = Some(start);
        }
        kept
    };
    stretches.iter().filter(apart).collect()
}

/// When jobs of the tasks at home on a core arrive; none where they are too many to tell apart.
fn arrivals(told: &Told<'_>, core: usize) -> Vec<u64> {
    let homes: Vec<_> = (0..told.machine.tasks.len()).map(|task| told.home(task)).collect();
    let arrives = |event: &Event| match event.what {
        What::Arrives { task, .. } if homes.get(task) == Some(&Some(core)) => Some(event.at_ns),
        _ => None,
    };
    let at: Vec<_> = told.timeline.events.iter().filter_map(arrives).collect();
    if at.len() > MOST_ARRIVALS { Vec::new() } else { at }
}

fn segment(told: &Told<'_>, stretch: &Stretch, (top, height): (Px, Px), scale: Scale) -> Markup {
    let (start, end) = (scale.at(stretch.from_ns), scale.at(stretch.to_ns));
    let (class, name, words) = match stretch.doing {
        Doing::Job { task, job } => {
            let label = told.task(task);
            let own = label.split_once('.').map_or(label, |(_, own)| own);
            ("seg-task", own.to_owned(), format!("{label}, job {job}"))
        }
        Doing::Initialises { partition } => {
            let name = told.partition(partition);
            ("segment kind-initialisation", "starting".to_owned(), format!("{name} initialises"))
        }
        Doing::Stalls(why) => ("stall", String::new(), stall_words(why).to_owned()),
    };
    let fits = !name.is_empty() && text_width(&name, FONT) + Px::whole(2) <= end - start;
    html! {
        g {
            (tip(&words, (stretch.from_ns, stretch.to_ns)))
            (rect(class, (start, top + Px::whole(1)), ((end - start).max(NARROW), height - Px::whole(2))))
            @if fits { (text("name middle", (start + (end - start).half(), top + height.half() + Px(35)), &name)) }
        }
    }
}

/// A task that misses deadlines: when it executes, when its jobs arrive and when they are late.
fn task_row(told: &Told<'_>, task: usize, top: Px, scale: Scale) -> Markup {
    let base = top + STRIP;
    let mine: Vec<Stretch> = told
        .timeline
        .cores
        .iter()
        .flat_map(|core| &core.stretches)
        .copied()
        .filter(|stretch| matches!(stretch.doing, Doing::Job { task: which, .. } if which == task))
        .collect();
    let at = |wanted: &dyn Fn(What) -> bool| -> Vec<Px> {
        told.timeline.events.iter().filter(|event| wanted(event.what)).map(|event| scale.at(event.at_ns)).collect()
    };
    let arrives = at(&|what| matches!(what, What::Arrives { task: which, .. } if which == task));
    let misses = at(&|what| matches!(what, What::Misses { task: which, .. } if which == task));
    html! {
        (text("tick end", (LEFT - Px::whole(8), top + Px::whole(12)), told.task(task)))
        (line("lane", (LEFT, base), (RIGHT, base)))
        @for stretch in visible(&mine, scale) { (segment(told, stretch, (top, STRIP), scale)) }
        @for x in arrives { path class="release" d={ "M" (x) " " (base) " v-15 m-3 4 l3 -4 l3 4" } {} }
        @for x in misses { path class="missed" d={ "M" (x) " " (top) " l4 8 h-8 z" } {} }
    }
}

fn mark(letter: char, at: u64, scale: Scale, bottom: Px) -> Markup {
    let x = scale.at(at);
    html! {
        (line("event", (x, Px::whole(12)), (x, bottom)))
        (text("event-letter middle", (x, Px::whole(10)), &letter.to_string()))
    }
}

/// The marks and the misses in words, by time; of more than fit, how many there are.
fn listed(told: &Told<'_>, marks: &[(char, Event)]) -> Vec<String> {
    let line = told.timeline;
    let inside = |event: &&Event| (line.from_ns..line.to_ns).contains(&event.at_ns);
    let groups = grouped(line.remarkable.iter().filter(inside));
    let words = |(event, count): &(Event, u64)| {
        let marked = marks.iter().find(|(_, marked)| marked == event).map(|(letter, _)| *letter);
        let missed = if matches!(event.what, What::Misses { .. }) { '▲' } else { '·' };
        let words = event_words(event.what, told.machine, told.scenario);
        let at = Duration::from_ns(event.at_ns);
        format!("{}  {at}  {words}{}", marked.unwrap_or(missed), times_more(*count))
    };
    let mut lines: Vec<_> = groups.iter().take(MOST_LISTED).map(words).collect();
    if groups.len() > MOST_LISTED {
        lines.push(format!("and {} more in this part", groups.len() - MOST_LISTED));
    }
    lines
}
