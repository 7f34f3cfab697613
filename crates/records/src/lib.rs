//! The records of a campaign as columns of a Parquet file: a row for each partition that a run affected, and one row for a
//! run that affected nobody.
//!
//! | column | type | meaning |
//! |---|---|---|
//! | `run` | integer | the number of the run |
//! | `fault` | text | the fault with its instant and parameters, as `cofferdam simulate --fault` reads it |
//! | `kind` | text | its kind |
//! | `target` | text | what it happens to |
//! | `faulty` | text | whose fault it counts as: a partition, a device that nobody owns, or a core |
//! | `at_ns` | integer | the instant at which it begins, in nanoseconds from the run's beginning |
//! | `affected` | text, may be missing | the partition for which anything was other than without the fault |
//! | `extra_response_ns` | integer | how much longer the longest response of one of its tasks was, or an opaque guest's wait for its budget, in nanoseconds |
//! | `missed_deadlines` | integer | deadlines missed beyond those without the fault |
//! | `stale_reads` | integer | reads of sampled messages that found none within its refresh period, beyond those without the fault |
//! | `lost_messages` | integer | messages lost beyond those without the fault |
//! | `jobs_undone` | integer | jobs that completed without the fault and not with it |
//!
//! Integers are 64 bits, rows by run and partition. Its key-value metadata says from which campaign a file is. The same records give the same bytes.

#![deny(clippy::float_arithmetic, clippy::disallowed_types, clippy::disallowed_methods, clippy::disallowed_macros)]

mod columns;
mod read;
mod write;

pub use bytes::Bytes;
pub use read::Reader;
pub use write::Writer;

/// Why records cannot be written or read.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The file cannot be written, or is not whole.
    #[error("{0}")]
    Parquet(#[from] parquet::errors::ParquetError),
    /// The file holds other columns, or other values than these.
    #[error("it does not hold the records of such a campaign: {0}")]
    Other(String),
}
