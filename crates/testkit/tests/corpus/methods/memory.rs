//! Memory and caches.

use super::{fields, table, value};
use crate::compare::Answers;
use quantity::{Bytes, Rate};
use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caches {
    caches: BTreeMap<String, Cache>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Cache {
    size_bytes: u64,
    ways: u32,
    page_bytes: u64,
    slices: u32,
}

pub fn page_colours(input: &Caches) -> Result<Answers, String> {
    let colours = |cache: &Cache| {
        let (size, page) = (Bytes::new(cache.size_bytes), Bytes::new(cache.page_bytes));
        separation::page_colours(size, cache.slices, cache.ways, page)
    };
    let of_each = input.caches.iter().map(|(name, cache)| (name, value(colours(cache))));
    Ok(fields([("colours", table(of_each))]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Channel {
    transfers_million_per_s: Vec<u64>,
    bus_bytes: u64,
}

/// In millions of bytes a second, as modules are named.
pub fn peak_bandwidth(input: &Channel) -> Result<Answers, String> {
    let peak = |million: &u64| {
        let rate = Rate::of_transfers(*million, input.bus_bytes * 8).ok_or("the rate is beyond every limit")?;
        Ok((million.to_string(), value(rate.bytes_per_s() / 1_000_000)))
    };
    let of_each: Vec<_> = input.transfers_million_per_s.iter().map(peak).collect::<Result<_, String>>()?;
    Ok(fields([("MB_per_s", table(of_each))]))
}
