//! A recording of scheduler switches read by the library's readers, timed: of each thread's number how many slices of a cpu it
//! had, their sum and the longest, as the peers compute them.

use crate::timed::checksum;
use serde::Serialize;
use std::collections::BTreeMap;
use std::error::Error;
use std::fs::File;
use std::num::NonZeroUsize;
use std::path::Path;
use std::time::Instant;
use trace::event::What;
use trace::intake::Found;
use trace::intake::csv::TableLines;
use trace::intake::ctf::Folder;
use trace::intake::text::SchedulerText;
use trace::intake::threads::Lines;
use trace::note::Refusal;
use trace::recording::Source;

/// What is measured, and how.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// In which format.
    pub format: FormatName,
    /// On how many threads.
    pub threads: NonZeroUsize,
}

/// The formats that the generator writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FormatName {
    Text,
    Csv,
    Ctf,
}

/// What the peers print too, under the same names.
#[derive(Serialize)]
pub struct Figures {
    peer: &'static str,
    threads: NonZeroUsize,
    bytes: u64,
    seconds: f64,
    mb_per_s: f64,
    cpu_s: Option<f64>,
    mb_per_cpu_s: Option<f64>,
    events: u64,
    events_per_s: f64,
    notes: usize,
    peak_rss_mb: Option<f64>,
    checksum: u64,
}

impl Options {
    /// # Errors
    /// A sentence where a word is not known or lacks its value.
    pub fn read(words: &[&str]) -> Result<Self, Box<dyn Error>> {
        let mut options = Self { format: FormatName::Text, threads: NonZeroUsize::MIN };
        for pair in words.chunks(2) {
            match pair {
                ["--format", "text"] => options.format = FormatName::Text,
                ["--format", "csv"] => options.format = FormatName::Csv,
                ["--format", "ctf"] => options.format = FormatName::Ctf,
                ["--threads", count] => options.threads = count.parse()?,
                other => return Err(format!("{} is no option of trace, or lacks its value", other.join(" ")).into()),
            }
        }
        Ok(options)
    }
}

/// Reads the recording in a folder that the generator has written.
///
/// # Errors
/// A sentence where a file cannot be read, or is refused.
pub fn run(folder: &Path, options: &Options) -> Result<Figures, Box<dyn Error>> {
    let (peer, path) = match options.format {
        FormatName::Text => ("cofferdam-text", folder.join("trace.txt")),
        FormatName::Csv => ("cofferdam-csv", folder.join("trace.csv")),
        FormatName::Ctf => ("cofferdam-ctf", folder.join("ctf")),
    };
    let bytes = size(&path)?;
    let (begin, cpu_begin) = (Instant::now(), cpu_seconds());
    let (mut found, mut slices, mut notes) = (Found::default(), Slices::default(), 0);
    let mut source = open(&path, options)?;
    let mut more = true;
    while more {
        more = source.read(&mut found).map_err(refused)?;
        slices.take(&mut found);
        notes += found.notes.drain(..).count();
    }
    let sum = checksum(slices.by_id(&found).flatten().map(Some));
    let (seconds, cpu_s) =
        (begin.elapsed().as_secs_f64(), cpu_begin.zip(cpu_seconds()).map(|(begin, end)| end - begin));
    let megabytes = bytes as f64 / 1e6;
    Ok(Figures {
        peer,
        threads: options.threads,
        bytes,
        seconds,
        mb_per_s: megabytes / seconds,
        cpu_s,
        mb_per_cpu_s: cpu_s.map(|cpu_s| megabytes / cpu_s),
        events: slices.events,
        events_per_s: slices.events as f64 / seconds,
        notes,
        peak_rss_mb: peak_rss_mb(),
        checksum: sum,
    })
}

/// The bytes of a file, or of the files of a folder.
fn size(path: &Path) -> Result<u64, Box<dyn Error>> {
    let about = std::fs::metadata(path)?;
    if about.is_file() {
        return Ok(about.len());
    }
    let sizes = std::fs::read_dir(path)?.map(|entry| Ok(entry?.metadata()?.len()));
    sizes.sum()
}

/// The source in the format asked for, as the readers of the library open it.
fn open(path: &Path, options: &Options) -> Result<Box<dyn Source>, Box<dyn Error>> {
    Ok(match options.format {
        FormatName::Text => Box::new(Lines::new(Box::new(SchedulerText), 0, File::open(path)?, options.threads)),
        FormatName::Csv => Box::new(TableLines::new(0, File::open(path)?, options.threads)),
        FormatName::Ctf => Box::new(open_folder(path, options.threads)?),
    })
}

/// A folder of the Common Trace Format.
fn open_folder(folder: &Path, threads: NonZeroUsize) -> Result<Folder<File>, Box<dyn Error>> {
    let mut paths: Vec<_> =
        std::fs::read_dir(folder)?.map(|entry| Ok(entry?.path())).collect::<std::io::Result<_>>()?;
    paths.retain(|path| !path.ends_with("metadata"));
    paths.sort();
    let streams = paths.iter().map(File::open).collect::<std::io::Result<Vec<File>>>()?;
    Folder::open(&std::fs::read(folder.join("metadata"))?, streams, 0, threads).map_err(refused)
}

fn refused(refusal: Refusal) -> Box<dyn Error> {
    format!("{:?}: {}; {}", refusal.place.at, refusal.why, refusal.remedy).into()
}

/// The slices of each name, and when each cpu switched last.
#[derive(Default)]
struct Slices {
    events: u64,
    last_ns: Vec<Option<u64>>,
    of_names: Vec<Slice>,
}

#[derive(Clone, Copy, Default)]
struct Slice {
    count: u64,
    sum_ns: u64,
    most_ns: u64,
}

impl Slices {
    fn take(&mut self, found: &mut Found) {
        self.of_names.resize(found.names.len(), Slice::default());
        for event in &found.events {
            let (What::Switch { from, .. }, Some(cpu)) = (event.what, event.cpu.number()) else { continue };
            let cpu = usize::from(cpu);
            if cpu >= self.last_ns.len() {
                self.last_ns.resize(cpu + 1, None);
            }
            self.events += 1;
            if let Some(last_ns) = self.last_ns[cpu].replace(event.at_ns) {
                self.of_names[from.0 as usize].add(1, event.at_ns - last_ns, event.at_ns - last_ns);
            }
        }
        found.events.clear();
    }

    /// Number, count, sum and most of each thread's number that has slices.
    fn by_id(&self, found: &Found) -> impl Iterator<Item = [u64; 4]> + use<> {
        let mut by_id: BTreeMap<u32, Slice> = BTreeMap::new();
        for ((_, named), slice) in found.names.iter().zip(&self.of_names).filter(|(_, slice)| slice.count > 0) {
            let Some(id) = named.id else { continue };
            by_id.entry(id).or_default().add(slice.count, slice.sum_ns, slice.most_ns);
        }
        by_id.into_iter().map(|(id, slice)| [u64::from(id), slice.count, slice.sum_ns, slice.most_ns])
    }
}

impl Slice {
    fn add(&mut self, count: u64, sum_ns: u64, most_ns: u64) {
        self.count += count;
        self.sum_ns += sum_ns;
        self.most_ns = self.most_ns.max(most_ns);
    }
}

/// The processor time of all threads of this process, to a hundredth, where the system tells it.
fn cpu_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    // The program's name stands in brackets and may hold blanks.
    let mut fields = text.rsplit_once(')')?.1.split_whitespace().skip(11);
    let ticks: [f64; 2] = [fields.next()?.parse().ok()?, fields.next()?.parse().ok()?];
    Some((ticks[0] + ticks[1]) / 100.0)
}

/// The most memory that was resident, where the system tells it.
fn peak_rss_mb() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let kib: f64 =
        text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?.split_whitespace().next()?.parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}
