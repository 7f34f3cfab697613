//! `draft`: a system file from recordings of guests of which nothing else is known.

mod answer;

use super::map_file::MapFile;
use super::trace::sources::Files;
use crate::args::{ColorChoice, DraftArgs, Format};
use crate::exit::Exit;
use crate::{files, terminal};
use answer::Drafted;
use anyhow::{Result, bail};
use diagnostic::Sources;
use std::path::PathBuf;
use trace::draft::{Names, Origin};

pub fn run(args: &DraftArgs, color: ColorChoice) -> Result<Exit> {
    if !files::is_free(&args.out)? {
        bail!("{} is not empty; name a folder that does not exist yet", args.out.display());
    }
    let mut sources = Sources::new();
    let map = match MapFile::read(args.map.as_deref(), &mut sources) {
        Ok(map) => map,
        Err(found) => return super::refuse(&found, &sources, args.format, color),
    };
    let recordings = Files::find(&args.traces)?;
    let names = match Names::find(map.declared(), &mut recordings.open()?) {
        Ok(names) => names,
        Err(why) => bail!("there is nothing to draft: {}", why.join("; ")),
    };
    let map = match map.resolve(&names.system, &mut sources) {
        Ok(map) => map,
        Err(found) => return super::refuse(&found, &sources, args.format, color),
    };
    let (measures, taking) = names.measure(&map, recordings.open()?, recordings.fits(&map)?);
    let origin = Origin { recordings: in_words(&args.traces) };
    let Some(draft) = names.draft(&measures, &origin) else {
        let span = quantity::Duration::from_ns(measures.even_span_ns());
        bail!(
            "there is nothing to draft: of no partition was execution seen through whole {span}; record for longer, with switches \
             or `runs` and `idles`, and without lost events"
        );
    };
    files::make_folder(&args.out)?;
    files::write_whole(&args.out.join("system.toml"), &draft.system)?;
    files::write_whole(&args.out.join("plan.toml"), &draft.plan)?;
    files::write_whole(&args.out.join("measured.csv"), &draft.measured)?;
    let exit = if taking.refusals.is_empty() { Exit::Shown } else { Exit::Wrong };
    let drafted =
        Drafted { names: &names, measures: &measures, taking: &taking, draft: &draft, sources: recordings.told() };
    terminal::print(&match args.format {
        Format::Text => drafted.text(&args.out),
        Format::Json => drafted.json(&args.out, exit),
    })?;
    Ok(exit)
}

/// The names of the recordings without their folders: the draft is the same wherever they lie.
fn in_words(traces: &[PathBuf]) -> String {
    let name = |path: &PathBuf| {
        path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
    };
    traces.iter().map(name).collect::<Vec<_>>().join(", ")
}
