//! Memory and caches.

use super::{fields, table, value};
use crate::compare::Answers;
use quantity::Bytes;
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
