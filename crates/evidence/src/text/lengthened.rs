//! Who lengthens whom, at the terminal.

use super::layout::{Align, Page};
use crate::dossier::Dossier;
use crate::lengthened::{LEGEND, Most, of};
use crate::show::percent;

pub(super) fn draw(page: &mut Page, dossier: &Dossier) {
    let Some(lengthened) = of(dossier) else { return };
    page.heading("Who lengthens whom, and by how much at the most");
    let head = std::iter::once("").chain(lengthened.masters.iter().copied()).map(str::to_owned).collect();
    let rows = lengthened.rows.iter().map(|row| {
        let cells = row.by.iter().map(|by| by.map_or_else(|| "–".to_owned(), |most| percent(most.permille)));
        std::iter::once(row.partition.to_owned()).chain(cells).collect()
    });
    let rows: Vec<Vec<String>> = std::iter::once(head).chain(rows).collect();
    let aligns: Vec<Align> =
        std::iter::once(Align::Left).chain(lengthened.masters.iter().map(|_| Align::Right)).collect();
    page.table(2, &aligns, &rows);
    page.paragraph(2, LEGEND);
    for row in &lengthened.rows {
        let by = |(master, most): (&&str, &Option<Most<'_>>)| Some(format!("{master}: {}", most.as_ref()?.words()));
        let all: Vec<String> = lengthened.masters.iter().zip(&row.by).filter_map(by).collect();
        page.hanging(2, 4, &format!("{}. {}.", row.partition, all.join("; ")));
    }
}
