//! Faults of exchange at the terminal: the coverage as a matrix of letters, then what stands against what.

use super::layout::{Align, Page};
use crate::dossier::Dossier;
use crate::exchange::{LEGEND, NOTHING, answers, left_out, mark, meanings};
use model::system::ExchangeFault;

/// As many letters of a kind stand above its column.
const SHORT: usize = 3;

pub(super) fn draw(page: &mut Page, dossier: &Dossier) {
    if dossier.system().is_none() {
        return;
    }
    page.heading("Faults of exchange: what stands against each kind");
    let matrix = dossier.exchange();
    if matrix.exchanges.is_empty() {
        page.paragraph(2, NOTHING);
    } else {
        let short = |fault: ExchangeFault| fault.word().chars().take(SHORT).collect::<String>();
        let head = std::iter::once(String::new()).chain(ExchangeFault::ALL.map(short)).collect();
        let rows = matrix.exchanges.iter().map(|exchange| {
            let marks = exchange.stands.iter().map(|(_, stand)| mark(stand).to_owned());
            std::iter::once(exchange.subject.clone()).chain(marks).collect()
        });
        let rows: Vec<Vec<String>> = std::iter::once(head).chain(rows).collect();
        page.table(2, &[Align::Left; 1 + ExchangeFault::ALL.len()], &rows);
        page.paragraph(2, LEGEND);
        page.paragraph(2, &meanings());
        for (exchanges, answers) in answers(matrix) {
            let names: Vec<&str> = exchanges.iter().map(|exchange| exchange.subject.as_str()).collect();
            page.hanging(2, 4, &format!("{}:", names.join(", ")));
            answers.iter().for_each(|answer| page.hanging(4, 6, answer));
        }
    }
    if let Some(words) = left_out(matrix) {
        page.paragraph(2, &words);
    }
}
