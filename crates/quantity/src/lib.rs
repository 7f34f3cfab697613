//! Exact time, sizes, addresses, rates, ratios and typed ids. Knows nothing else.
//!
//! Every quantity is an integer of its smallest unit and is read from text without rounding: a text that is
//! not a whole number of that unit is refused. Every value stays at or below [`LIMIT`], so that it survives
//! a trip through JSON and so that sums of thousands of them cannot overflow.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod address;
mod bit_rate;
mod bytes;
mod duration;
mod id;
mod rate;
mod ratio;
mod text;

pub use address::Address;
pub use bit_rate::BitRate;
pub use bytes::Bytes;
pub use duration::{Duration, Instant};
pub use id::{
    CacheId, ChainId, ChannelId, CoreId, CoreSetId, DeviceId, MemoryId, PartitionId, ScheduleId, TaskId, ZoneId,
};
pub use rate::Rate;
pub use ratio::{Ppm, exact_ratio_ppm};
pub use text::QuantityError;

/// The largest value of any quantity: 2^53 - 1, the largest integer that every JSON reader keeps exactly.
pub const LIMIT: u64 = (1 << 53) - 1;
