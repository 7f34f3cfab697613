//! The only place that reads and writes files.

use anyhow::{Context, Result, bail};
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

/// SYSTEM as given is a file or a folder that holds `system.toml`.
pub fn system_file(given: &Path) -> PathBuf {
    if given.is_dir() { given.join("system.toml") } else { given.to_owned() }
}

/// Why a file could not be read.
pub enum ReadError {
    /// It is longer than the limit.
    TooLarge,
    /// The system's own words.
    Other(std::io::Error),
}

/// Reads a file, but no more than `limit` bytes of it, so that a huge file costs nothing.
pub fn read_at_most(path: &Path, limit: u64) -> Result<Vec<u8>, ReadError> {
    let file = fs::File::open(path).map_err(ReadError::Other)?;
    let mut bytes = Vec::new();
    file.take(limit + 1).read_to_end(&mut bytes).map_err(ReadError::Other)?;
    if bytes.len() as u64 > limit { Err(ReadError::TooLarge) } else { Ok(bytes) }
}

/// Makes a folder, and those above it.
pub fn make_folder(path: &Path) -> Result<()> {
    fs::create_dir_all(path).with_context(|| format!("cannot make the folder {}", path.display()))
}

/// Whether a folder is missing or empty, so that nothing of the user's is lost by filling it.
pub fn is_free(path: &Path) -> Result<bool> {
    if !path.exists() {
        return Ok(true);
    }
    if !path.is_dir() {
        bail!("{} is there and is no folder", path.display());
    }
    let mut entries = fs::read_dir(path).with_context(|| format!("cannot read the folder {}", path.display()))?;
    Ok(entries.next().is_none())
}

/// Writes a file whole: to a neighbour first, which then takes its name, so that nobody ever sees half of it.
pub fn write_whole(path: &Path, text: &str) -> Result<()> {
    let mut neighbour = path.as_os_str().to_owned();
    neighbour.push(".part");
    let neighbour = PathBuf::from(neighbour);
    let written = fs::write(&neighbour, text).and_then(|()| fs::rename(&neighbour, path));
    if written.is_err() {
        let _ = fs::remove_file(&neighbour);
    }
    written.with_context(|| format!("cannot write {}", path.display()))
}
