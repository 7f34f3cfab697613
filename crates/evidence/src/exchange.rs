//! The coverage of faults of exchange in words, for pages and terminals alike.

use crate::show::count;
use model::system::ExchangeFault;
use separation::exchange::{Exchange, Matrix, Stand};

/// What the marks mean.
pub(crate) const LEGEND: &str = "M a declared measure, R a declared reason why it cannot occur, P a measure that messages bring that are passed on, C its construction, where claims are shown that this rests on; \
     a dash: nothing.";

/// What is said where no exchange is looked at.
pub(crate) const NOTHING: &str =
    "No channel or region carries between partitions of different levels, and none declares measures.";

/// `M`, `R`, `P`, `C`, or a dash.
pub(crate) const fn mark(stand: &Stand) -> &'static str {
    match stand {
        Stand::Measures(_) => "M",
        Stand::CannotOccur(_) => "R",
        Stand::PassedOn { .. } => "P",
        Stand::Construction { .. } => "C",
        Stand::Nothing => "–",
    }
}

/// What each kind of fault is.
pub(crate) fn meanings() -> String {
    let of = |fault: ExchangeFault| {
        let meaning = fault.meaning().trim_end_matches('.');
        let (first, rest) = meaning.split_at(1);
        format!("{}: {}{rest}", fault.word(), first.to_lowercase())
    };
    let all: Vec<String> = ExchangeFault::ALL.into_iter().map(of).collect();
    format!("The kinds after ISO 26262-6 annex D.2.4 (from memory). {}.", crate::show::capital(&all.join("; ")))
}

/// How many exchanges are not looked at; none where all are.
pub(crate) fn left_out(matrix: &Matrix) -> Option<String> {
    let words = || {
        format!(
            "{} between partitions of one level and without measures: not looked at.",
            count(matrix.left_out, "exchange")
        )
    };
    (matrix.left_out > 0).then(words)
}

/// What is said of each exchange, kinds of which the same is said together; exchanges that say the same together.
pub(crate) fn answers(matrix: &Matrix) -> Vec<(Vec<&Exchange>, Vec<String>)> {
    let mut groups: Vec<(Vec<&Exchange>, Vec<String>)> = Vec::new();
    for exchange in &matrix.exchanges {
        let answers = answers_of(exchange);
        match groups.iter_mut().find(|(_, known)| *known == answers) {
            Some((exchanges, _)) => exchanges.push(exchange),
            None => groups.push((vec![exchange], answers)),
        }
    }
    groups
}

fn answers_of(exchange: &Exchange) -> Vec<String> {
    let mut groups: Vec<(Vec<&str>, String)> = Vec::new();
    for (fault, stand) in &exchange.stands {
        let words = match stand {
            Stand::Nothing => "nothing".to_owned(),
            Stand::Measures(_) | Stand::PassedOn { .. } => stand.told(),
            Stand::CannotOccur(_) => format!("cannot occur, {}", stand.told()),
            Stand::Construction { why, rests_on } => format!("by construction, {}", built(why, rests_on)),
        };
        match groups.iter_mut().find(|(_, known)| *known == words) {
            Some((faults, _)) => faults.push(fault.word()),
            None => groups.push((vec![fault.word()], words)),
        }
    }
    groups.into_iter().map(|(faults, words)| format!("{}: {words}", faults.join(", "))).collect()
}

/// What a construction is and rests on: the kinds of claims without their subject, so that exchanges alike read alike.
fn built(why: &str, rests_on: &[String]) -> String {
    let mut kinds: Vec<&str> = rests_on.iter().filter_map(|id| id.split('/').next()).collect();
    kinds.dedup();
    if kinds.is_empty() { why.to_owned() } else { format!("{why} (`{}` of it is shown)", kinds.join("`, `")) }
}
