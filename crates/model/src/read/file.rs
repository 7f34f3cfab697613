//! Another file of the same manner as the system file, read by a section declared elsewhere.

use super::section::Section;
use super::source::Loader;
use super::{Fields, open, toml_text};
use diagnostic::codes::shape::MISSING_KEY;
use diagnostic::{Diagnostics, Sources};
use std::collections::BTreeMap;

/// Reads the bytes of a TOML file by the section that declares its keys, and adds its text to `sources`.
///
/// Everything that is wrong with text, keys and types goes to `out`; `None` where the bytes are no text at all.
pub fn read_file(
    name: &str,
    bytes: &[u8],
    section: &'static Section,
    sources: &mut Sources,
    out: &mut Diagnostics,
) -> Option<Fields> {
    let mut files = BTreeMap::from([(name.to_owned(), bytes.to_vec())]);
    let mut loader = Loader::new(name, &mut files);
    loader.sources = std::mem::take(sources);
    let mut found = Diagnostics::new();
    let file = loader.main(&mut found);
    *sources = loader.sources;
    let text = file.and_then(|file| sources.get(file)).map(|file| file.text.clone());
    let fields = file.zip(text).map(|(file, text)| {
        let root = toml_text::parse(&text, file, &mut found);
        // A syntax error may have swallowed keys; that they are missing is then no finding.
        let broken = found.has_errors();
        let mut opened = Diagnostics::new();
        let fields = open::open(section, root, &mut opened);
        found.extend(opened.into_iter().filter(|d| !broken || d.code != &MISSING_KEY));
        fields
    });
    out.extend(found);
    fields
}
