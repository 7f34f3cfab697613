//! One function for each method that a case may name: from its input to answers by the product's public functions.

mod blocking;
mod chains;
mod cyclic;
mod demand;
mod memory;
mod network;
mod packing;
mod periodic;
mod responses;
mod several_cores;
mod statistics;
mod supply;

use crate::case::Case;
use crate::compare::{Answer, Answers};
use serde::de::DeserializeOwned;
use serde_json::Value;

/// The answers for `case`.
///
/// # Errors
/// Where no method has that name, the input is not what the method takes, or the analysis gives up.
pub fn answers(case: &Case) -> Result<Answers, String> {
    let input = &case.input;
    match case.method.as_str() {
        "response" => responses::response(&read(input)?),
        "scheduling-points" => responses::scheduling_points(&read(input)?),
        "aligned-response" => responses::aligned_response(&read(input)?),
        "verdicts" => responses::verdicts(&read(input)?),
        "rate-monotonic-against-edf" => responses::rate_monotonic_against_edf(&read(input)?),
        "utilisation-table" => demand::utilisation_table(&read(input)?),
        "demand" => demand::demand(&read(input)?),
        "periodic-supply" => supply::periodic_supply(&read(input)?),
        "worst-placement" => supply::worst_placement(&read(input)?),
        "least-budget" => supply::least_budget(&read(input)?),
        "cyclic-table" => cyclic::cyclic_table(&read(input)?),
        "strictly-periodic-pairs" => periodic::strictly_periodic_pairs(&read(input)?),
        "token-bucket" => network::token_bucket(&read(input)?),
        "t-spec" => network::t_spec(&read(input)?),
        "time-slot" => network::time_slot(&read(input)?),
        "virtual-link" => network::virtual_link(&read(input)?),
        "blocking" => blocking::blocking(&read(input)?),
        "placement" => several_cores::placement(&read(input)?),
        "least-makespan" => several_cores::least_makespan(&read(input)?),
        "packing" => packing::packing(&read(input)?),
        "chain-generic" => chains::generic(&read(input)?),
        "chain-equivalence" => chains::equivalence(&read(input)?),
        "chain-logical-points" => chains::logical_points(&read(input)?),
        "tolerance-sizes" => statistics::tolerance_sizes(&read(input)?),
        "kolmogorov-critical" => statistics::kolmogorov_critical(&read(input)?),
        "binomial-intervals" => statistics::binomial_intervals(&read(input)?),
        "block-maxima" => statistics::block_maxima(&read(input)?),
        "largest-of-blocks" => statistics::largest_of_blocks(&read(input)?),
        "excesses" => statistics::excesses(&read(input)?),
        "page-colours" => memory::page_colours(&read(input)?),
        "peak-bandwidth" => memory::peak_bandwidth(&read(input)?),
        other => Err(format!("no method is called {other}")),
    }
}

fn read<T: DeserializeOwned>(input: &Value) -> Result<T, String> {
    serde_json::from_value(input.clone()).map_err(|why| format!("input: {why}"))
}

fn value(value: impl Into<Value>) -> Answer {
    Answer::Value(value.into())
}

fn table<N: ToString>(entries: impl IntoIterator<Item = (N, Answer)>) -> Answer {
    Answer::Table(entries.into_iter().map(|(name, answer)| (name.to_string(), answer)).collect())
}

fn fields<const N: usize>(entries: [(&str, Answer); N]) -> Answers {
    entries.into_iter().map(|(name, answer)| (name.to_owned(), answer)).collect()
}
