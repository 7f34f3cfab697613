//! The files of a recording: what format each is of, and its bytes a block at a time.

use anyhow::{Context, Result, bail};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use trace::clock::Fit;
use trace::intake::Reader;
use trace::intake::csv::CsvReader;
use trace::intake::lines::LineReader;
use trace::intake::text::SchedulerText;
use trace::map::Map;
use trace::recording::{Blocks, fit_marks, sync_marks};

/// The bytes read at once.
const BLOCK: usize = 1 << 20;
/// The bytes by which a format is recognised.
const HEAD: usize = 4096;

/// Open files, read from the front.
pub struct Files {
    paths: Vec<PathBuf>,
    told: Vec<(String, &'static str)>,
    open: Vec<File>,
    block: Vec<u8>,
}

impl Files {
    /// Opens every file; what cannot be opened, or is of no known format, is refused, all of it at once.
    pub fn open(paths: &[PathBuf]) -> Result<Self> {
        let mut files = Self { paths: paths.to_vec(), told: Vec::new(), open: Vec::new(), block: vec![0; BLOCK] };
        let mut wrong = Vec::new();
        for path in paths {
            match format_of(path) {
                Ok(format) => files.told.push((path.display().to_string(), format)),
                Err(why) => wrong.push(format!("{why:#}")),
            }
        }
        if !wrong.is_empty() {
            bail!("{}", wrong.join("\n"));
        }
        files.rewind()?;
        Ok(files)
    }

    /// The name and the format of each.
    pub fn told(&self) -> &[(String, &'static str)] {
        &self.told
    }

    /// A reader for each.
    pub fn readers(&self) -> Result<Vec<Box<dyn Reader>>> {
        let numbers = (0u16..).zip(&self.told);
        Ok(numbers.map(|(source, (_, format))| reader(format, source)).collect())
    }

    /// How each clock is read as the first one's, by the marks that the map says are common; the same where it says nothing.
    pub fn fits(&mut self, map: &Map) -> Result<Vec<Fit>> {
        let count = self.told.len();
        if count < 2 || !map.has_sync() {
            return Ok(vec![Fit::SAME; count]);
        }
        let mut readers = self.readers()?;
        let marks: Vec<_> = readers
            .iter_mut()
            .enumerate()
            .map(|(source, reader)| sync_marks(map, reader.as_mut(), source, self))
            .collect();
        self.rewind()?;
        let mut fits = vec![Fit::SAME];
        for (own, (name, _)) in marks.iter().zip(&self.told).skip(1) {
            let fit = fit_marks(own, &marks[0]).with_context(|| {
                format!("{name} and {} have no marks in common by which to fit their clocks", self.told[0].0)
            })?;
            fits.push(fit);
        }
        Ok(fits)
    }

    fn rewind(&mut self) -> Result<()> {
        let opened = self.paths.iter().map(|path| File::open(path).with_context(|| cannot_read(path)));
        self.open = opened.collect::<Result<_>>()?;
        Ok(())
    }
}

impl Blocks for Files {
    fn next(&mut self, source: usize) -> Result<&[u8], String> {
        let read = self.open[source].read(&mut self.block).map_err(|why| why.to_string())?;
        Ok(&self.block[..read])
    }
}

fn cannot_read(path: &Path) -> String {
    format!("cannot read {}", path.display())
}

const CSV: &str = "CSV table";
const TEXT: &str = "scheduler text";

fn reader(format: &str, source: u16) -> Box<dyn Reader> {
    match format {
        CSV => Box::new(CsvReader::new(source)),
        _ => Box::new(LineReader::new(SchedulerText, source)),
    }
}

/// The format of a file, by its first bytes.
fn format_of(path: &Path) -> Result<&'static str> {
    let about = std::fs::metadata(path).with_context(|| cannot_read(path))?;
    if !about.is_file() {
        bail!("{} is no file; save what it gives to one first", path.display());
    }
    let mut head = Vec::new();
    File::open(path).with_context(|| cannot_read(path))?.take(HEAD as u64).read_to_end(&mut head)?;
    if head.is_empty() {
        bail!("{} is empty: nothing was recorded", path.display());
    }
    let first = head.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let is_table = first.contains(&b',') && first.iter().any(|byte| *byte == b'_');
    Ok(if is_table { CSV } else { TEXT })
}
