//! The plan of a draft: the windows that the recording tells, where they come again.

use crate::draft::measure::Measures;
use crate::draft::pattern::Pattern;
use crate::draft::text::{quoted, time};
use model::System;

/// The plan: what recurs in the frame, counted from the first whole window seen.
pub(super) fn plan(system: &System, measures: &Measures, patterns: &[Option<Pattern>], frame: Option<u64>) -> String {
    let mut text = "# Drafted with system.toml: windows as they were seen first, counted from the begin of the first whole one.\n\
                    # What was given is not what is needed, and where the frame begins is not known. Windows of partitions without a\n\
                    # pattern are missing.\n\n[plan]\n"
        .to_owned();
    let first_rows =
        measures.partitions.iter().flat_map(|partition| &partition.windows).map(|windows| &windows.first_row);
    let origin = first_rows.filter_map(|row| row.first()).map(|(begin, _)| *begin).min();
    let (Some(origin), Some(_)) = (origin, frame) else { return text };
    for ((partition, measured), pattern) in system.partitions.iter().zip(&measures.partitions).zip(patterns) {
        let Some(pattern) = pattern else { continue };
        for (core, windows) in system.board.cores.iter().zip(&measured.windows) {
            for (begin, length) in windows.first_row.iter().take(pattern.windows) {
                let length = if pattern.windows == 1 { pattern.budget_ns } else { *length };
                for (start, length) in
                    within(begin.saturating_sub(origin) % pattern.period_ns, length, pattern.period_ns)
                {
                    text += &format!(
                        "\n[[window]]\ncore = {}\npartition = {}\nstart = {}\nlength = {}\nevery = {}\n",
                        quoted(&core.name.value),
                        quoted(&partition.name.value),
                        quoted(&time(start)),
                        quoted(&time(length)),
                        quoted(&time(pattern.period_ns))
                    );
                }
            }
        }
    }
    text
}

/// The parts of a window within a period: one that passes its end goes on at its begin.
fn within(start: u64, length: u64, period: u64) -> impl Iterator<Item = (u64, u64)> {
    let length = length.min(period);
    let before = length.min(period - start);
    [(start, before), (0, length - before)].into_iter().filter(|(_, length)| *length > 0)
}

#[cfg(test)]
mod tests {
    use super::within;

    #[test]
    fn a_window_across_the_end_of_its_period_has_two_parts() {
        assert_eq!(within(2, 3, 10).collect::<Vec<_>>(), [(2, 3)]);
        assert_eq!(within(8, 5, 10).collect::<Vec<_>>(), [(8, 2), (0, 3)]);
        assert_eq!(within(8, 2, 10).collect::<Vec<_>>(), [(8, 2)]);
    }
}
