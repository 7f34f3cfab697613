//! The shape of the coverage of faults of exchange.

use crate::dossier::Dossier;
use separation::exchange::{Exchange, Stand};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct CoverageShape<'d> {
    exchanges: Vec<ExchangeShape<'d>>,
    /// Exchanges that are not looked at, since they stay within one level and declare no measures.
    left_out: usize,
}

#[derive(Serialize)]
struct ExchangeShape<'d> {
    exchange: &'d str,
    protection: Option<&'d str>,
    faults: Vec<FaultShape<'d>>,
}

/// One kind of fault, with what stands against it and the shown claims that this rests on.
#[derive(Serialize)]
struct FaultShape<'d> {
    fault: &'static str,
    stands: &'static str,
    told: Vec<&'d str>,
    rests_on: Vec<&'d str>,
}

pub(super) fn shape(dossier: &Dossier) -> CoverageShape<'_> {
    let matrix = dossier.exchange();
    CoverageShape { exchanges: matrix.exchanges.iter().map(exchange).collect(), left_out: matrix.left_out }
}

fn exchange(of: &Exchange) -> ExchangeShape<'_> {
    let faults = of.stands.iter().map(|(fault, stand)| {
        let (told, rests_on) = said(stand);
        FaultShape { fault: fault.word(), stands: stand.word(), told, rests_on }
    });
    ExchangeShape { exchange: &of.subject, protection: of.protection.as_deref(), faults: faults.collect() }
}

fn said(stand: &Stand) -> (Vec<&str>, Vec<&str>) {
    match stand {
        Stand::Measures(all) | Stand::PassedOn { measures: all, .. } => {
            (all.iter().map(String::as_str).collect(), Vec::new())
        }
        Stand::CannotOccur(reason) => (vec![reason], Vec::new()),
        Stand::Construction { why, rests_on } => (vec![why], rests_on.iter().map(String::as_str).collect()),
        Stand::Nothing => (Vec::new(), Vec::new()),
    }
}
