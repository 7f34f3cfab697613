//! The report: one page that needs nothing else, on screen and on paper.

mod assumptions;
mod breaks_first;
mod campaign;
mod chains;
mod channels;
mod claims;
mod core_sets;
mod cover;
mod covert;
mod devices;
mod exchange;
mod failures;
mod flow;
mod frame;
mod health;
mod lengthened;
mod margins;
mod memory;
mod names;
mod network;
mod objectives;
mod ports;
mod recording;
mod recovery;
mod remaining;
mod responses;
mod robust;
mod run;
mod space;
mod supply;
mod validation;

pub(crate) use names::shade;

use crate::caution::CAUTIONS;
use crate::dossier::Dossier;
use crate::svg::part_patterns;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The style of everything drawn.
pub(crate) const STYLE: &str = include_str!("style.css");

/// A part of the report.
struct Part {
    anchor: &'static str,
    title: &'static str,
    /// Whether it begins a page in print.
    breaks: bool,
    content: fn(&Dossier) -> Markup,
}

/// The parts in order: what is not known comes before what is.
const PARTS: [Part; 32] = [
    Part { anchor: "not-analysed", title: "What was not analysed", breaks: false, content: cover::not_analysed },
    Part { anchor: "deviations", title: "Accepted deviations", breaks: false, content: cover::deviations },
    Part { anchor: "failures", title: "Violated and not shown", breaks: false, content: failures::part },
    Part { anchor: "cautions", title: "Cautions", breaks: false, content: cautions },
    Part { anchor: "breaks-first", title: "What breaks first", breaks: false, content: breaks_first::part },
    Part { anchor: "frame", title: "The major time frame", breaks: true, content: frame::part },
    Part { anchor: "core-sets", title: "Core sets", breaks: false, content: core_sets::part },
    Part { anchor: "supply", title: "Supply and demand", breaks: false, content: supply::part },
    Part { anchor: "responses", title: "Response times", breaks: true, content: responses::part },
    Part { anchor: "chains", title: "Chains", breaks: true, content: chains::part },
    Part { anchor: "ports", title: "Ports", breaks: false, content: ports::part },
    Part { anchor: "network", title: "Internal network", breaks: false, content: network::part },
    Part { anchor: "recovery", title: "Boot and restarts", breaks: true, content: recovery::part },
    Part { anchor: "health", title: "Health monitor", breaks: false, content: health::monitor },
    Part { anchor: "changes", title: "Schedule changes", breaks: false, content: health::changes },
    Part { anchor: "run", title: "A run", breaks: true, content: run::part },
    Part { anchor: "campaign", title: "Fault campaign", breaks: false, content: campaign::part },
    Part { anchor: "recordings", title: "Recordings", breaks: false, content: recording::part },
    Part { anchor: "margins", title: "Margins", breaks: false, content: margins::part },
    Part { anchor: "memory", title: "Memory map", breaks: false, content: memory::part },
    Part {
        anchor: "shared",
        title: "Cache ways, page colours and bandwidth budgets",
        breaks: false,
        content: space::shared,
    },
    Part { anchor: "devices", title: "Devices and interrupts", breaks: false, content: devices::part },
    Part { anchor: "flow", title: "Information flow and criticality", breaks: false, content: flow::part },
    Part { anchor: "exchange", title: "Faults of exchange", breaks: false, content: exchange::part },
    Part { anchor: "channels", title: "Interference channels and settings", breaks: true, content: channels::part },
    Part { anchor: "robust", title: "Robust partitioning", breaks: false, content: robust::part },
    Part { anchor: "covert", title: "Covert channels", breaks: true, content: covert::part },
    Part { anchor: "objectives", title: "Objectives", breaks: true, content: objectives::part },
    Part { anchor: "remaining", title: "All other claims", breaks: false, content: remaining::part },
    Part { anchor: "assumptions", title: "Assumptions and provenance", breaks: false, content: assumptions::part },
    Part { anchor: "validation", title: "Published examples", breaks: false, content: validation::part },
    Part { anchor: "baseline", title: "Baseline", breaks: false, content: cover::baseline },
];

/// The report of a dossier.
pub fn report(dossier: &Dossier) -> String {
    let name = cover::name(dossier);
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (name) " – evidence" }
                style { (PreEscaped(STYLE)) (PreEscaped(running_foot(dossier))) }
            }
            body {
                (part_patterns())
                (cover::head(dossier))
                (contents())
                main {
                    @for part in &PARTS { (section(part, dossier)) }
                    (foot(dossier))
                }
            }
        }
    };
    page.into_string()
}

fn contents() -> Markup {
    html! {
        nav aria-label="Contents" {
            h2 { "Contents" }
            ol { @for part in &PARTS { li { a href={ "#part-" (part.anchor) } { (part.title) } } } }
        }
    }
}

fn section(part: &Part, dossier: &Dossier) -> Markup {
    html! {
        section id={ "part-" (part.anchor) } class=[part.breaks.then_some("part-break")] {
            h2 { (part.title) }
            ((part.content)(dossier))
        }
    }
}

fn cautions(_: &Dossier) -> Markup {
    html! { ol class="cautions" { @for caution in &CAUTIONS { li { (caution.text) } } } }
}

fn foot(dossier: &Dossier) -> Markup {
    html! { footer { p { "Cofferdam " (dossier.tool_version()) ". " (cover::baseline_words(dossier)) } } }
}

/// The baseline at the foot of every printed page. A digest is hexadecimal: nothing in it can leave the string.
fn running_foot(dossier: &Dossier) -> String {
    let baseline = cover::baseline_words(dossier);
    format!(
        "@page {{ @bottom-left {{ content: \"{baseline}\"; font: 7.5pt sans-serif; color: #555; }} \
         @bottom-right {{ content: counter(page) \" / \" counter(pages); font: 7.5pt sans-serif; color: #555; }} }}"
    )
}
