//! A run as a picture in a file of its own.

use super::{Told, scenario_words};
use crate::html::STYLE;

/// The part of a run as an SVG file, with the report's style inside; an empty drawing where the part is empty.
pub fn picture(told: &Told<'_>) -> String {
    let title = format!(
        "Run {} of seed {}: {}",
        told.scenario.run,
        told.scenario.seed,
        scenario_words(told.scenario, told.machine)
    );
    let drawing = crate::svg::run_lanes("run", &title, told)
        .map_or_else(|| "<svg></svg>".to_owned(), |drawing| drawing.into_string());
    // The drawing is one element, so its head ends at the first `>`.
    let (head, rest) = drawing.split_once('>').unwrap_or((&drawing, ""));
    let head = head.replacen("<svg", "<svg xmlns=\"http://www.w3.org/2000/svg\"", 1);
    format!("{head}>\n<style>\n{STYLE}svg {{ background: var(--paper); }}\n</style>\n{rest}\n")
}
