//! Blocking through named resources.

use super::{fields, value};
use crate::compare::Answers;
use serde::Deserialize;
use timing::blocking::{Protocol, User, longest_ns};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sections {
    /// The longest section of each task, the most urgent first, on each resource; 0 where it does not use it.
    delta: Vec<Vec<u64>>,
}

pub fn blocking(input: &Sections) -> Result<Answers, String> {
    let user = |(level, row): (i64, &Vec<u64>)| User {
        suffers: level,
        blocks: level,
        sections: row.iter().copied().enumerate().filter(|section| section.1 > 0).collect(),
    };
    let users: Vec<User> = (0..).zip(&input.delta).map(user).collect();
    Ok(fields([
        ("B_pip_exact", value(longest_ns(&users, Protocol::Inheritance))),
        ("B_pcp", value(longest_ns(&users, Protocol::Ceiling))),
    ]))
}
