//! Files in, texts out: the only part that asks for files, through a trait that the caller implements.

use diagnostic::codes::input::{EMPTY_FILE, FILE_TOO_LARGE, NOT_TEXT, PATH_NOT_RELATIVE, UNREADABLE_FILE};
use diagnostic::{Diagnostic, Diagnostics, FileId, Located, Sources, Span};

/// The largest file that is read.
pub const MOST_BYTES: u64 = 16 << 20;

/// Where the reader gets its files. The model does no input or output of its own.
pub trait FileSource {
    /// The bytes of a file.
    ///
    /// `path` is the main name as given to [`super::read_system`], or a path relative to the folder of that file. It
    /// is handed on as it stands; a path that climbs out of the folder by `..` is for the implementer to judge.
    ///
    /// # Errors
    /// [`FileError::TooLarge`] for a file beyond [`MOST_BYTES`], best found before reading it; else why it cannot be read.
    fn read(&mut self, path: &str) -> Result<Vec<u8>, FileError>;
}

/// Why there are no bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FileError {
    /// No such file.
    NotFound,
    /// Larger than [`MOST_BYTES`].
    TooLarge,
    /// Anything else, in words that end a sentence.
    Other(String),
}

/// Files from memory: names with their bytes, for tests and for an editor that holds unsaved texts.
impl FileSource for std::collections::BTreeMap<String, Vec<u8>> {
    fn read(&mut self, path: &str) -> Result<Vec<u8>, FileError> {
        self.get(path).cloned().ok_or(FileError::NotFound)
    }
}

/// Reads files and keeps their texts for spans to point into.
pub(crate) struct Loader<'a> {
    files: &'a mut dyn FileSource,
    main_name: &'a str,
    pub sources: Sources,
}

impl<'a> Loader<'a> {
    pub fn new(main_name: &'a str, files: &'a mut dyn FileSource) -> Self {
        Self { files, main_name, sources: Sources::new() }
    }

    /// The text of the file itself, which may be empty.
    pub fn main(&mut self, out: &mut Diagnostics) -> Option<FileId> {
        let read = self.files.read(self.main_name).and_then(small);
        match read {
            Ok(bytes) => self.text(self.main_name.to_owned(), bytes, out),
            Err(error) => {
                let file = self.sources.add_unread(self.main_name);
                out.push(unreadable(self.main_name, &error, Span::head(file)));
                None
            }
        }
    }

    /// The same of a file that says something.
    pub fn main_with_text(&mut self, out: &mut Diagnostics) -> Option<FileId> {
        let file = self.main(out)?;
        let empty = self.sources.get(file).is_some_and(|f| f.text.trim_start_matches('\u{feff}').trim().is_empty());
        if empty {
            let help = "begin with the sections [system], [board], [[board.core]] and [[partition]]";
            out.push(Diagnostic::new(&EMPTY_FILE, Span::head(file), "the system file is empty").help(help));
        }
        (!empty).then_some(file)
    }

    /// The text of a file that the system file names.
    pub fn named(&mut self, path: &Located<String>, out: &mut Diagnostics) -> Option<FileId> {
        if !is_relative(&path.value) {
            let message = format!("the path `{}` is not relative to the system file", super::value::short(&path.value));
            let help = "write the path from the folder of the system file, with `/` between folders";
            out.push(Diagnostic::new(&PATH_NOT_RELATIVE, path.span, message).help(help));
            return None;
        }
        match self.files.read(&path.value).and_then(small) {
            Ok(bytes) => self.text(beside(self.main_name, &path.value), bytes, out),
            Err(error) => {
                out.push(unreadable(&path.value, &error, path.span));
                None
            }
        }
    }

    fn text(&mut self, name: String, bytes: Vec<u8>, out: &mut Diagnostics) -> Option<FileId> {
        let error = match String::from_utf8(bytes) {
            Ok(text) => return Some(self.sources.add(name, text)),
            Err(error) => error,
        };
        let at = error.utf8_error().valid_up_to();
        let byte = error.as_bytes().get(at).copied().unwrap_or_default();
        let readable = String::from_utf8_lossy(&error.as_bytes()[..at]).into_owned();
        let file = self.sources.add(name, readable + "\u{fffd}");
        let span = Span::new(file, at..at + '\u{fffd}'.len_utf8());
        let message = format!("this file is not UTF-8 text: byte {at} is 0x{byte:02X}");
        let help = "save the file as UTF-8; in a spreadsheet choose \"CSV UTF-8\"";
        out.push(Diagnostic::new(&NOT_TEXT, span, message).label("the first byte that is no text").help(help));
        None
    }
}

fn small(bytes: Vec<u8>) -> Result<Vec<u8>, FileError> {
    if bytes.len() as u64 > MOST_BYTES { Err(FileError::TooLarge) } else { Ok(bytes) }
}

fn unreadable(path: &str, error: &FileError, span: Span) -> Diagnostic {
    let path = super::value::short(path);
    match error {
        FileError::NotFound => Diagnostic::new(&UNREADABLE_FILE, span, format!("there is no file `{path}`"))
            .help("paths in a system file count from its folder; `cofferdam new DIR` writes a system to begin with"),
        FileError::Other(why) => Diagnostic::new(&UNREADABLE_FILE, span, format!("cannot read `{path}`: {why}")),
        FileError::TooLarge => {
            let message = format!("the file `{path}` is larger than {} MiB", MOST_BYTES >> 20);
            Diagnostic::new(&FILE_TOO_LARGE, span, message).help("a system of thousands of tasks needs about 1 MiB")
        }
    }
}

/// Not from a root, not from a drive, not of the other kind of separator, and with a name at all.
fn is_relative(path: &str) -> bool {
    !path.is_empty() && !path.starts_with('/') && !path.contains(['\\', ':', '\0'])
}

/// The name of a file shown to people: its path beside the main file.
fn beside(main_name: &str, path: &str) -> String {
    match main_name.rsplit_once(['/', '\\']) {
        Some((folder, _)) => format!("{folder}/{path}"),
        None => path.to_owned(),
    }
}
