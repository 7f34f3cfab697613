//! Robust partitioning: what each verdict is put together from, line by line, with the claims behind it.

use super::claims::{links, of_kinds, status};
use super::names::{coded, note, table};
use crate::dossier::Dossier;
use crate::partitioning::RobustLine;
use claim::{Kind, Verdict};
use maud::{Markup, html};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let claimed = || dossier.of_kind(Kind::RobustTime).chain(dossier.of_kind(Kind::RobustResources));
    html! {
        @if claimed().next().is_none() {
            (note("The system does not claim robust partitioning; `robust_partitioning = true` under [system] does."))
        }
        @for (kind, title) in [(Kind::RobustTime, "Time"), (Kind::RobustResources, "Resources")] {
            @if dossier.of_kind(kind).any(|verdict| dossier.robust_lines(&verdict.id).next().is_some()) {
                h3 { (title) ", part by part" }
                (lines(dossier, kind))
            }
        }
        (of_kinds(dossier, &[Kind::RobustTime, Kind::RobustResources]))
    }
}

fn lines(dossier: &Dossier, kind: Kind) -> Markup {
    let rows = html! { @for verdict in dossier.of_kind(kind) { (rows_of(dossier, verdict)) } };
    table("", &["Partition", "Part", "What is known", "Status"], rows)
}

fn rows_of(dossier: &Dossier, verdict: &Verdict) -> Markup {
    let lines: Vec<&RobustLine> = dossier.robust_lines(&verdict.id).collect();
    html! {
        @for (at, line) in lines.iter().enumerate() {
            tr {
                th scope="row" { @if at == 0 { (verdict.subject) } }
                td { (line.what) }
                td {
                    @if line.claims.is_empty() { (coded(&line.told)) } @else {
                        details {
                            summary { (coded(&line.told)) }
                            (links(line.claims.iter().map(String::as_str)))
                        }
                    }
                }
                td { (status(line.status)) }
            }
        }
    }
}
