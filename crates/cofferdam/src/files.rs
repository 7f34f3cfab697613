//! The only place that reads and writes files.

use anyhow::{Context, Result, bail};
use diagnostic::codes::input::UNREADABLE_FILE;
use diagnostic::{Diagnostic, Sources, Span};
use model::{Digest, Digesting, FileError, MOST_BYTES};
use std::fs;
use std::io::{ErrorKind, Read};
use std::path::{Component, Path, PathBuf};

/// SYSTEM as given is a file or a folder that holds `system.toml`.
pub fn system_file(given: &Path) -> PathBuf {
    if given.is_dir() { given.join("system.toml") } else { given.to_owned() }
}

/// Reads a file, but no more than `limit` bytes of it, so that a huge file costs nothing. Pipes and devices, which may
/// never end or never begin, are refused unread.
pub fn read_at_most(path: &Path, limit: u64) -> Result<Vec<u8>, FileError> {
    let about = fs::metadata(path).map_err(file_error)?;
    if about.is_dir() {
        return Err(FileError::Other("it is a folder".to_owned()));
    }
    if !about.is_file() {
        return Err(FileError::Other("it is a pipe or a device; save what it gives to a file first".to_owned()));
    }
    if about.len() > limit {
        return Err(FileError::TooLarge);
    }
    let file = fs::File::open(path).map_err(file_error)?;
    let mut bytes = Vec::new();
    file.take(limit + 1).read_to_end(&mut bytes).map_err(file_error)?;
    if bytes.len() as u64 > limit { Err(FileError::TooLarge) } else { Ok(bytes) }
}

/// The complaint about a file of that kind that the call names, such as "map file", and that could not be read.
pub fn unreadable(kind: &str, name: String, why: FileError, sources: &mut Sources) -> Diagnostic {
    let message = match why {
        FileError::NotFound => format!("there is no {kind} `{name}`"),
        FileError::TooLarge => format!("the {kind} `{name}` is larger than {} MiB", MOST_BYTES >> 20),
        FileError::Other(why) => format!("the {kind} `{name}` cannot be read: {why}"),
    };
    let file = sources.add_unread(name);
    Diagnostic::new(&UNREADABLE_FILE, Span::new(file, 0..0), message)
}

/// Why a file could not be read, in words.
pub fn why_unread(why: &FileError) -> String {
    match why {
        FileError::NotFound => "it is not there".to_owned(),
        FileError::TooLarge => "it is larger than any that this program writes".to_owned(),
        FileError::Other(why) => why.clone(),
    }
}

/// The digest of a file of any size, read piece by piece.
pub fn digest(path: &Path) -> std::io::Result<Digest> {
    let mut file = fs::File::open(path)?;
    let (mut digest, mut piece) = (Digesting::default(), vec![0; 1 << 16]);
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(digest.finish()),
            read => digest.add(&piece[..read]),
        }
    }
}

fn file_error(why: std::io::Error) -> FileError {
    match why.kind() {
        ErrorKind::NotFound => FileError::NotFound,
        _ => FileError::Other(why.to_string()),
    }
}

/// A file's name counted from a folder, with `/` between folders, wherever the program runs; `None` where either is
/// not there or the name is no text.
pub fn name_from(folder: &Path, file: &Path) -> Option<String> {
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let (folder, file) = (fs::canonicalize(folder).ok()?, fs::canonicalize(file).ok()?);
    let (folder, file): (Vec<_>, Vec<_>) = (folder.components().collect(), file.components().collect());
    let shared = folder.iter().zip(&file).take_while(|(one, other)| one == other).count();
    let up = folder[shared..].iter().map(|_| Some(".."));
    let down = file[shared..].iter().map(|part: &Component<'_>| part.as_os_str().to_str());
    up.chain(down).collect::<Option<Vec<_>>>().map(|parts| parts.join("/"))
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

/// Refuses a file that cannot come to be, before long work is done for it.
pub fn expect_writable(path: &Path) -> Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !folder.is_dir() {
        bail!("cannot write {}: there is no folder {}", path.display(), folder.display());
    }
    if path.is_dir() {
        bail!("cannot write {}: it is a folder; name a file in it", path.display());
    }
    Ok(())
}

/// Writes a file whole: to a neighbour first, which then takes its name, so that nobody ever sees half of it.
pub fn write_whole(path: &Path, text: &str) -> Result<()> {
    write_bytes_whole(path, text.as_bytes())
}

/// The same for a file that is no text.
pub fn write_bytes_whole(path: &Path, bytes: &[u8]) -> Result<()> {
    let mut neighbour = path.as_os_str().to_owned();
    neighbour.push(".part");
    let neighbour = PathBuf::from(neighbour);
    let written = fs::write(&neighbour, bytes).and_then(|()| fs::rename(&neighbour, path));
    if written.is_err() {
        let _ = fs::remove_file(&neighbour);
    }
    written.with_context(|| format!("cannot write {}", path.display()))
}
