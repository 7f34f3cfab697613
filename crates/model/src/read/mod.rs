//! Text to resolved [`System`], with everything that is wrong with it.
//!
//! ```text
//! bytes -> text -> tree of values -> Fields (of declared kinds) -> Document (names known) -> Draft -> System
//!  source           toml_text         open, datum                   document                  one reader per section
//!                   csv_text
//! ```
//!
//! A section is declared once as a [`section::Section`]. Unknown, missing and mistyped keys, the JSON Schema and the
//! tables of the documentation all come from that declaration. Files and tables become the same tree, so that a task
//! in a CSV table is read by the very code that reads one in TOML.
//!
//! # How to add a section
//!
//! 1. Write `read/NAME.rs` with `pub(super) static SECTION: Section`, whose keys each have a kind and a sentence, and
//!    `pub(super) fn read(doc: &Document, cx: &mut Context) -> T`. The fields of the section are `doc.root.table(KEY)`
//!    or `doc.root.tables(KEY)`, every value already of its kind. Resolve names through `doc.names`, which reports
//!    those that nothing has. What cannot be made without a missing value is `None`: it has been reported already.
//! 2. Name the section in `root.rs` and call its reader in `draft.rs`.
//! 3. Checks of sense go to `crate::check`, one file each, with a code of its own.
//! 4. Write `docs/system-file/NAME.md` with an empty block `<!-- keys of HEAD -->` … `<!-- end -->` for every section;
//!    `COFFERDAM_WRITE_PAGES=1 cargo test -p cofferdam-model --test pages` fills it.

pub(crate) mod context;
mod csv_text;
mod datum;
mod document;
mod draft;
pub(crate) mod fields;
pub(crate) mod file;
pub(crate) mod names;
mod open;
mod root;
mod schema;
pub(crate) mod section;
mod source;
mod tables_of_keys;
mod toml_text;
mod value;

mod accepted;
mod board;
mod boot;
mod chain;
mod channel;
mod containment;
mod core_set;
mod device;
mod devicetree;
mod flow;
mod grant;
mod growth_rule;
mod health;
mod network;
mod partition;
mod path;
mod platform;
mod port_end;
mod protection;
mod region;
mod restart;
mod schedule;
mod shared;
mod system;
mod task;
mod zone;

pub use schema::schema;
pub use source::{FileError, FileSource, MOST_BYTES};
pub use tables_of_keys::{KeyTable, key_tables};

pub(crate) use board::{ADDRESS_BITS, GRANULE, mask, peak};
pub(crate) use channel::{PortKind, port_kind_of};
pub(crate) use context::Context;
pub(crate) use core_set::{Policy, policy_of};
pub(crate) use document::Document;
pub(crate) use fields::Fields;
pub(crate) use growth_rule::is_share_of_whole;
pub(crate) use health::{action_of, action_word, level_of};
pub(crate) use names::Names;
pub(crate) use partition::{GuestKind, guest_of, role_of};
pub(crate) use port_end::{Ends, ends_of, partition_of};
pub(crate) use protection::answer_to;
pub(crate) use region::{is_shared, owning_partition, rights_of};
pub(crate) use shared::{closure_of as shared_closure, kind_of as shared_kind};
pub(crate) use system::phase;
pub(crate) use task::is_aligned;

use crate::System;
use crate::system::Devicetree;
use diagnostic::codes::input::{FILE_TOO_LARGE, NOT_TEXT, PATH_NOT_RELATIVE, TABLE_SYNTAX, TOO_MANY, UNREADABLE_FILE};
use diagnostic::codes::shape::MISSING_KEY;
use diagnostic::{Code, Diagnostic, Diagnostics, FileId, Located, Sources};
use draft::Draft;
use source::Loader;

/// What came of reading a system.
#[derive(Debug)]
pub struct Reading {
    /// All texts that were read; spans of the system and of the diagnostics point into them.
    pub sources: Sources,
    /// The system; `None` where an error was found.
    pub system: Option<System>,
    /// Everything that is wrong, in the order of files and places.
    pub diagnostics: Vec<Diagnostic>,
}

/// Reads a system file and the tables that it names, and checks everything about the system that can be checked
/// without a plan. All that is wrong is found in one run.
pub fn read_system(main_name: &str, files: &mut dyn FileSource) -> Reading {
    let mut out = Diagnostics::new();
    let mut loader = Loader::new(main_name, files);
    let input = loader.main_with_text(&mut out).map(|main| open_files(main, &mut loader, &mut out));
    let sources = loader.sources;
    let mut cx = Context::new(out, input.as_ref().is_some_and(|input| input.broken));
    let system = input.and_then(|input| {
        let doc = Document::new(input, &mut cx);
        let draft = Draft::read(&doc, &mut cx);
        crate::check::check(&doc, &mut cx);
        if cx.has_errors() { None } else { draft.finish() }
    });
    Reading { diagnostics: cx.into_diagnostics().into_sorted(&sources), sources, system }
}

/// The fields of all files, names not yet known.
pub(crate) struct Input {
    root: Fields,
    task_rows: Vec<Fields>,
    channel_rows: Vec<Fields>,
    /// The memory of the devicetree that the board names.
    tree: Option<Devicetree>,
    /// Whether parts of the system file may be missing.
    broken: bool,
    /// Whether parts of the tables may be missing.
    broken_tables: bool,
}

fn open_files(main: FileId, loader: &mut Loader<'_>, out: &mut Diagnostics) -> Input {
    let text = loader.sources.get(main).map(|file| file.text.clone()).unwrap_or_default();
    let root = toml_text::parse(&text, main, out);
    // A syntax error may have swallowed sections; that they are missing is then no finding.
    let broken = out.has_errors();
    let mut found = Diagnostics::new();
    let root = open::open(&root::ROOT, root, &mut found);
    out.extend(found.into_iter().filter(|d| !broken || d.code != &MISSING_KEY));
    let before = out.len();
    let task_rows = rows(&root, "tasks", &task::SECTION, loader, out);
    let channel_rows = rows(&root, "channels", &channel::SECTION, loader, out);
    let broken_tables = out.since(before).any(|d| TABLE_FAULTS.contains(&d.code));
    let tree = devicetree::open(&root, loader, out);
    Input { root, task_rows, channel_rows, tree, broken, broken_tables }
}

/// Faults after which rows of a table are missing.
static TABLE_FAULTS: &[&Code] = &[&UNREADABLE_FILE, &FILE_TOO_LARGE, &NOT_TEXT, &PATH_NOT_RELATIVE, &TABLE_SYNTAX];

/// The rows of all tables named under `key`.
fn rows(
    root: &Fields,
    key: &str,
    section: &'static section::Section,
    loader: &mut Loader<'_>,
    out: &mut Diagnostics,
) -> Vec<Fields> {
    let paths = root.table("tables").map(|tables| tables.texts(key)).unwrap_or_default();
    let mut rows = Vec::new();
    for path in paths {
        let Some(file) = loader.named(&path, out) else { continue };
        let text = loader.sources.get(file).map(|file| file.text.as_str()).unwrap_or_default();
        for row in csv_text::parse(text, file, section, out) {
            rows.push(open::open(section, row, out));
        }
    }
    cap(rows, key, out)
}

/// No more rows than elements of any list.
fn cap(mut rows: Vec<Fields>, key: &str, out: &mut Diagnostics) -> Vec<Fields> {
    if let Some(first_beyond) = rows.get(datum::MOST_ELEMENTS) {
        let message =
            format!("the tables of {key} have {} rows; at most {} are read", rows.len(), datum::MOST_ELEMENTS);
        out.push(Diagnostic::new(&TOO_MANY, first_beyond.span, message));
        rows.truncate(datum::MOST_ELEMENTS);
    }
    rows
}

/// A value with no place of its own, at the place of what it is about.
pub(crate) fn assumed<T>(value: T, about: diagnostic::Span) -> Located<T> {
    Located::new(value, about)
}
