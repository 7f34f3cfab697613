//! A disk without room for the results.

use anyhow::{Error, anyhow};
use std::io::ErrorKind::{FileTooLarge, QuotaExceeded, StorageFull, WriteZero};
use std::path::Path;

/// Says what to do where something could not be written for want of room; any other error as it is.
pub fn named(error: Error, out: &Path) -> Error {
    let want = error.chain().find_map(|cause| {
        let cause = cause.downcast_ref::<std::io::Error>()?;
        matches!(cause.kind(), StorageFull | QuotaExceeded | FileTooLarge | WriteZero).then(|| cause.to_string())
    });
    match want {
        Some(why) => anyhow!(
            "{error}: {why}; what is finished is kept in {}: make room there and go on with --resume",
            out.display()
        ),
        None => error,
    }
}
