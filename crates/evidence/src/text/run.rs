//! One run in characters: who executes when on each core, and what happens.

use super::layout::{Align, Page, columns};
use super::timeline::axis;
use crate::run::{Told, event_words, grouped, stall_words, times_more};
use crate::show::count;
use quantity::Duration;
use simulator::What;
use simulator::timeline::{Doing, Served, Stretch};

/// The events listed below a timeline; of more, how many there are is said.
const MOST_EVENTS: usize = 24;
const LABEL: usize = 24;

/// The part of the timeline over an axis, and what happened in the whole run.
pub(super) fn draw(page: &mut Page, told: &Told<'_>) {
    let line = told.timeline;
    let rows: Vec<(Option<String>, Vec<Row>)> = (0..line.cores.len()).map(|core| core_rows(told, core)).collect();
    let labels = rows.iter().flat_map(|(_, rows)| rows).map(|row| columns(&row.label));
    let label = labels.max().unwrap_or(0).clamp(5, LABEL);
    let grid = Grid { from: line.from_ns, to: line.to_ns, width: page.style.width - label - 4, label };
    if line.to_ns > line.from_ns {
        marks_row(page, told, &grid);
        for (head, rows) in &rows {
            head.iter().for_each(|head| page.line(head));
            rows.iter().for_each(|row| drawn(page, &grid, row));
        }
        page.line(&format!("{}{}", " ".repeat(label + 4), axis(grid.width, (grid.from, grid.to))));
        legend(page);
    }
    if line.left_out > 0 {
        page.paragraph(0, &format!("{} of this part did not fit: it is incomplete.", count_of(line.left_out)));
    }
    events(page, told);
}

fn count_of(n: u64) -> String {
    format!("{n} stretches or events")
}

/// Where a row's cells are.
struct Grid {
    from: u64,
    to: u64,
    width: usize,
    label: usize,
}

impl Grid {
    /// Where the cell begins; the cell past the last one begins at the end.
    fn begin(&self, cell: usize) -> u64 {
        let span = u128::from(self.to - self.from) * cell as u128 / self.width as u128;
        self.from + span as u64 // At most the span itself, which is a u64.
    }

    /// The cell that an instant lies in.
    fn cell(&self, at: u64) -> usize {
        let after = u128::from(at.clamp(self.from, self.to) - self.from);
        let cell = (after * self.width as u128 / u128::from(self.to - self.from)) as usize; // At most the width.
        // Cells begin rounded down, so an instant just before a cell's begin may come out one too early.
        let cell = if cell < self.width && self.begin(cell + 1) <= at { cell + 1 } else { cell };
        cell.min(self.width - 1)
    }

    /// How much of each cell stretches cover, in nanoseconds.
    fn covered(&self, stretches: &[(u64, u64)]) -> Vec<u64> {
        let mut covered = vec![0; self.width];
        for &(from, to) in stretches {
            for (cell, covered) in covered.iter_mut().enumerate().take(self.cell(to) + 1).skip(self.cell(from)) {
                *covered += to.min(self.begin(cell + 1)).saturating_sub(from.max(self.begin(cell)));
            }
        }
        covered
    }
}

/// What one row says: when it executes, when it could, when jobs arrive and miss.
#[derive(Default)]
struct Row {
    label: String,
    executes: Vec<(u64, u64)>,
    served: Vec<(u64, u64)>,
    arrives: Vec<u64>,
    misses: Vec<u64>,
}

fn core_rows(told: &Told<'_>, core: usize) -> (Option<String>, Vec<Row>) {
    let line = &told.timeline.cores[core];
    let mut lanes: Vec<usize> = Vec::new();
    for served in &line.served {
        if !lanes.contains(&served.lane) {
            lanes.push(served.lane);
        }
    }
    let mut rows: Vec<Row> = lanes.into_iter().flat_map(|lane| lane_rows(told, core, lane)).collect();
    let stalls = line.stretches.iter().filter_map(|stretch| match stretch.doing {
        Doing::Stalls(why) => Some((stall_words(why), span(stretch))),
        Doing::Job { .. } | Doing::Initialises { .. } => None,
    });
    for (why, stalled) in stalls {
        match rows.iter_mut().find(|row| row.label == why) {
            Some(row) => row.executes.push(stalled),
            None => rows.push(Row { label: why.to_owned(), executes: vec![stalled], ..Row::default() }),
        }
    }
    let name = told.machine.cores.get(core).map_or("?", |core| &core.name);
    ((!rows.is_empty()).then(|| format!("core {name}")), rows)
}

const fn span(stretch: &Stretch) -> (u64, u64) {
    (stretch.from_ns, stretch.to_ns)
}

/// The tasks that may execute on a lane; the guest as a whole where none does.
fn lane_rows(told: &Told<'_>, core: usize, lane: usize) -> Vec<Row> {
    let line = &told.timeline.cores[core];
    let partition = told.partition_of(lane);
    let mine = line.served.iter().filter(|served| served.lane == lane);
    let served: Vec<_> = mine.map(|Served { from_ns, to_ns, .. }| (*from_ns, *to_ns)).collect();
    let executes = |doing: &dyn Fn(Doing) -> bool| -> Vec<(u64, u64)> {
        line.stretches.iter().filter(|stretch| doing(stretch.doing)).map(span).collect()
    };
    let initialises = executes(&|doing| doing == Doing::Initialises { partition });
    let mut rows = Vec::new();
    if !initialises.is_empty() {
        let label = format!("{} starting", told.lane(lane));
        rows.push(Row { label, executes: initialises, served: served.clone(), ..Row::default() });
    }
    let tasks = told.machine.partitions.get(partition).map_or(0..0, |partition| partition.tasks.clone());
    if tasks.is_empty() {
        rows.push(Row { label: told.lane(lane), served: served.clone(), ..Row::default() });
    }
    for task in tasks {
        let home = told.home(task) == Some(core);
        let at = |wanted: &dyn Fn(What) -> bool| -> Vec<u64> {
            let mine = told.timeline.events.iter().filter(|event| home && wanted(event.what));
            mine.map(|event| event.at_ns).collect()
        };
        let row = Row {
            label: told.task(task).to_owned(),
            executes: executes(&|doing| matches!(doing, Doing::Job { task: which, .. } if which == task)),
            served: served.clone(),
            arrives: at(&|what| matches!(what, What::Arrives { task: which, .. } if which == task)),
            misses: at(&|what| matches!(what, What::Misses { task: which, .. } if which == task)),
        };
        let pinned = told.machine.tasks.get(task).and_then(|task| task.lane);
        if !row.executes.is_empty() || !row.misses.is_empty() || pinned.map_or(home, |pinned| pinned == lane) {
            rows.push(row);
        }
    }
    rows
}

struct Glyphs {
    whole: char,
    part: char,
    served: char,
    none: char,
    arrives: char,
}

const UNICODE: Glyphs = Glyphs { whole: '█', part: '▒', served: '─', none: '·', arrives: '↑' };
const ASCII: Glyphs = Glyphs { whole: '#', part: '+', served: '-', none: '.', arrives: '^' };

const fn glyphs(unicode: bool) -> Glyphs {
    if unicode { UNICODE } else { ASCII }
}

fn drawn(page: &mut Page, grid: &Grid, row: &Row) {
    let glyphs = glyphs(page.style.unicode);
    let (executes, served) = (grid.covered(&row.executes), grid.covered(&row.served));
    let mut cells: Vec<char> = (0..grid.width)
        .map(|cell| match (executes[cell], grid.begin(cell + 1) - grid.begin(cell)) {
            (0, _) if served[cell] > 0 => glyphs.served,
            (0, _) => glyphs.none,
            (covered, whole) if covered >= whole => glyphs.whole,
            _ => glyphs.part,
        })
        .collect();
    for &at in &row.arrives {
        let cell = grid.cell(at);
        if executes[cell] == 0 {
            cells[cell] = glyphs.arrives;
        }
    }
    row.misses.iter().for_each(|&at| cells[grid.cell(at)] = '!');
    let cells: String =
        cells.into_iter().map(|cell| if cell == '!' { page.paint("31;1", "!") } else { cell.into() }).collect();
    let short: String = row.label.chars().take(grid.label).collect();
    page.line(&format!("  {short:<label$}  {cells}", label = grid.label));
}

/// The letters of what happens, above the cores; where two fall into one cell, the later one goes to the right.
fn marks_row(page: &mut Page, told: &Told<'_>, grid: &Grid) {
    let marks = told.marks();
    if marks.is_empty() {
        return;
    }
    let mut cells = vec![' '; grid.width];
    let mut free = 0;
    for (letter, event) in marks {
        let cell = grid.cell(event.at_ns).max(free);
        if let Some(place) = cells.get_mut(cell) {
            *place = letter;
            free = cell + 1;
        }
    }
    let cells = page.paint("33;1", cells.iter().collect::<String>().trim_end());
    page.line(&format!("  {:<label$}  {cells}", "marks", label = grid.label));
}

fn legend(page: &mut Page) {
    let Glyphs { whole, part, served, arrives, .. } = glyphs(page.style.unicode);
    let words = format!(
        "{whole} executes, {part} part of the time, {served} its window, {arrives} arrives, ! misses its deadline; letters stand below"
    );
    page.paragraph(0, &words);
}

/// What happened in the whole run, by time.
fn events(page: &mut Page, told: &Told<'_>) {
    let line = told.timeline;
    let groups = grouped(&line.remarkable);
    if line.remarkable.is_empty() {
        page.heading("What happened: no fault, no start, no missed deadline, nothing lost or stale");
        return;
    }
    page.heading(&format!("What happened: {}", count(line.remarkable.len(), "event")));
    let marks = told.marks();
    let row = |(event, count): &(simulator::Event, u64)| {
        let letter = marks.iter().find(|(_, marked)| marked == event).map(|(letter, _)| *letter);
        let letter = letter.or(matches!(event.what, What::Misses { .. }).then_some('!')).unwrap_or(' ');
        let words = event_words(event.what, told.machine, told.scenario) + &times_more(*count);
        vec![Duration::from_ns(event.at_ns).to_string(), letter.to_string(), words]
    };
    let rows: Vec<Vec<String>> = groups.iter().take(MOST_EVENTS).map(row).collect();
    page.table(2, &[Align::Right, Align::Left, Align::Left], &rows);
    let more = groups.len().saturating_sub(MOST_EVENTS);
    if more > 0 {
        page.paragraph(2, &format!("and {more} more kinds; --format json lists every event"));
    }
    if line.remarkable_left_out > 0 {
        page.paragraph(2, &format!("{} later events were counted and not kept", line.remarkable_left_out));
    }
}
