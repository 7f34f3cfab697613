//! The files of a recording: what format each is of, and how it is opened.

use crate::terminal;
use anyhow::{Context, Result, bail};
use indicatif::{ProgressBar, ProgressBarIter};
use std::fs::File;
use std::io::Read;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use trace::clock::Fit;
use trace::intake::csv::TableLines;
use trace::intake::ctf::Folder;
use trace::intake::pcap::Pcap;
use trace::intake::text::SchedulerText;
use trace::intake::threads::Lines;
use trace::intake::trace_event::TraceEvent;
use trace::intake::{Format, Reader, sniff};
use trace::map::Map;
use trace::recording::{Source, Stream, fit_marks, sync_marks};

/// The bytes by which a format is recognised.
const HEAD: u64 = 4096;
/// The most bytes that a folder's metadata may have.
const MOST_METADATA: u64 = 16 << 20;

/// The files and folders of a recording, each of a known format.
pub struct Files {
    list: Vec<(PathBuf, Format)>,
    told: Vec<(String, &'static str)>,
}

impl Files {
    /// Finds the format of each; what cannot be read, or is of no known format, is refused, all of it at once.
    pub fn find(paths: &[PathBuf]) -> Result<Self> {
        let mut files = Self { list: Vec::new(), told: Vec::new() };
        let mut wrong = Vec::new();
        for path in paths {
            match format_of(path) {
                Ok(format) => {
                    files.list.push((path.clone(), format));
                    files.told.push((path.display().to_string(), words(format)));
                }
                Err(why) => wrong.push(format!("{why:#}")),
            }
        }
        if wrong.is_empty() { Ok(files) } else { bail!("{}", wrong.join("\n")) }
    }

    /// The name and the format of each.
    pub fn told(&self) -> &[(String, &'static str)] {
        &self.told
    }

    /// Opens each from its front, with a bar of what is read of all of them where somebody watches.
    pub fn open(&self) -> Result<Vec<Box<dyn Source>>> {
        let (threads, bar) = (threads_each(self.list.len()), terminal::reading());
        (0u16..).zip(&self.list).map(|(number, (path, format))| open(path, *format, number, threads, &bar)).collect()
    }

    /// How each clock is read as the first one's, by the marks that the map says are common; the same where it says nothing.
    pub fn fits(&self, map: &Map) -> Result<Vec<Fit>> {
        if self.list.len() < 2 || !map.has_sync() {
            return Ok(vec![Fit::SAME; self.list.len()]);
        }
        let marks: Vec<_> = self.open()?.iter_mut().map(|source| sync_marks(map, source.as_mut())).collect();
        let mut fits = vec![Fit::SAME];
        for (own, (name, _)) in marks.iter().zip(&self.told).skip(1) {
            let fit = fit_marks(own, &marks[0]).with_context(|| {
                format!("{name} and {} have no marks in common by which to fit their clocks", self.told[0].0)
            })?;
            fits.push(fit);
        }
        Ok(fits)
    }
}

const fn words(format: Format) -> &'static str {
    match format {
        Format::Text => "scheduler text",
        Format::Csv => "CSV table",
        Format::Ctf => "Common Trace Format",
        Format::TraceEvent => "Trace Event JSON",
        Format::Capture => "packet capture",
    }
}

/// More threads than these are not used for a source: one puts together what all others read.
const MOST_THREADS: usize = 8;

/// On how many threads each of so many sources is read: all have the machine's processors between them.
fn threads_each(sources: usize) -> NonZeroUsize {
    let all = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
    NonZeroUsize::new((all / sources.max(1)).min(MOST_THREADS)).unwrap_or(NonZeroUsize::MIN)
}

/// A file whose reading is seen on a bar.
type Watched = ProgressBarIter<File>;

fn open_file(path: &Path, bar: &ProgressBar) -> Result<Watched> {
    let file = File::open(path).with_context(|| cannot_read(path))?;
    bar.inc_length(file.metadata().map_or(0, |about| about.len()));
    Ok(bar.wrap_read(file))
}

fn open(path: &Path, format: Format, number: u16, threads: NonZeroUsize, bar: &ProgressBar) -> Result<Box<dyn Source>> {
    let file = || open_file(path, bar);
    let by = |reader: Box<dyn Reader>| anyhow::Ok(Box::new(Stream::new(number, file()?, reader)));
    Ok(match format {
        Format::Ctf => open_folder(path, number, threads, bar)?,
        Format::Text => Box::new(Lines::new(Box::new(SchedulerText), number, file()?, threads)),
        Format::Csv => Box::new(TableLines::new(number, file()?, threads)),
        Format::TraceEvent => by(Box::new(TraceEvent::new(number)))?,
        Format::Capture => by(Box::new(Pcap::new(number)))?,
    })
}

/// A folder of the Common Trace Format: its streams by name.
fn open_folder(path: &Path, number: u16, threads: NonZeroUsize, bar: &ProgressBar) -> Result<Box<dyn Source>> {
    let folder = if path.is_dir() { path } else { path.parent().unwrap_or(Path::new(".")) };
    let mut metadata = Vec::new();
    let file = File::open(folder.join("metadata")).with_context(|| cannot_read(path))?;
    file.take(MOST_METADATA).read_to_end(&mut metadata).with_context(|| cannot_read(path))?;
    let entries = std::fs::read_dir(folder).with_context(|| cannot_read(folder))?;
    let mut streams: Vec<PathBuf> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|file| file.is_file() && file.file_name().is_some_and(|name| name != "metadata"))
        .collect();
    streams.sort();
    let opened = streams.iter().map(|file| open_file(file, bar));
    let folder = Folder::open(&metadata, opened.collect::<Result<Vec<_>>>()?, number, threads);
    match folder {
        Ok(folder) => Ok(Box::new(folder)),
        Err(refusal) => bail!("{}: {}; {}", path.display(), refusal.why, refusal.remedy),
    }
}

fn cannot_read(path: &Path) -> String {
    format!("cannot read {}", path.display())
}

/// The format of a file or folder, by its first bytes.
fn format_of(path: &Path) -> Result<Format> {
    let about = std::fs::metadata(path).with_context(|| cannot_read(path))?;
    let file = if about.is_dir() { path.join("metadata") } else { path.to_owned() };
    if about.is_dir() && !file.is_file() {
        bail!(
            "{} is a folder without a `metadata` file; name a file, or a folder of the Common Trace Format",
            path.display()
        );
    }
    if !about.is_dir() && !about.is_file() {
        bail!("{} is a pipe or a device; save what it gives to a file first", path.display());
    }
    let mut head = Vec::new();
    let opened = File::open(&file).with_context(|| cannot_read(&file))?;
    opened.take(HEAD).read_to_end(&mut head).with_context(|| cannot_read(&file))?;
    if head.is_empty() {
        bail!("{} is empty: nothing was recorded", file.display());
    }
    sniff(&head, &file.display().to_string()).with_context(|| {
        format!(
            "{} is in no known format; `cofferdam trace --help` and docs/traces.md list those that are read",
            path.display()
        )
    })
}
