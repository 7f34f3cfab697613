//! Faults of exchange: what stands against each kind, exchange by exchange.

use super::claims::of_kinds;
use super::names::{coded, note, table};
use crate::dossier::Dossier;
use crate::exchange::{LEGEND, NOTHING, answers, left_out, mark};
use claim::Kind;
use maud::{Markup, html};
use model::system::ExchangeFault;
use separation::exchange::{Exchange, Matrix};

pub(super) fn part(dossier: &Dossier) -> Markup {
    let matrix = dossier.exchange();
    html! {
        @if matrix.exchanges.is_empty() { (note(NOTHING)) }
        @else { (coverage(matrix)) (what_stands(matrix)) }
        @if let Some(words) = left_out(matrix) { (note(&words)) }
        (of_kinds(dossier, &[Kind::Exchange]))
    }
}

/// A row for each exchange, a column for each kind of fault.
fn coverage(matrix: &Matrix) -> Markup {
    let kinds = ExchangeFault::ALL.into_iter().map(ExchangeFault::word);
    let titles: Vec<&str> = std::iter::once("Exchange").chain(kinds).collect();
    let rows = html! {
        @for exchange in &matrix.exchanges {
            tr {
                th scope="row" { (exchange.subject) }
                @for (_, stand) in &exchange.stands { td { (mark(stand)) } }
            }
        }
    };
    html! {
        (table("What stands against each kind of fault", &titles, rows))
        (note(LEGEND))
        (note(&crate::exchange::meanings()))
    }
}

/// The same in words; exchanges of which the same is said stand together.
fn what_stands(matrix: &Matrix) -> Markup {
    let rows = html! {
        @for (exchanges, answers) in answers(matrix) {
            tr {
                th scope="row" { (names(&exchanges)) }
                td { ul class="plain" { @for answer in &answers { li { (coded(answer)) } } } }
            }
        }
    };
    table("", &["Exchanges", "What stands against what"], rows)
}

fn names(exchanges: &[&Exchange]) -> String {
    exchanges.iter().map(|exchange| exchange.subject.as_str()).collect::<Vec<_>>().join(", ")
}
