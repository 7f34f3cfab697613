//! `campaign`: many runs with faults, whom they reach, and what that shows.

mod answer;
mod ask;
mod folder;
mod join;
mod room;
mod sample;
mod told;
mod twins;
mod work;

pub use sample::sample;
pub use told::told;

use super::session::{self, Wanted};
use crate::args::{CampaignArgs, ColorChoice, Format};
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::{Result, bail};
use ask::{Asked, Shard};
use folder::{Folder, Inputs};

pub fn run(args: &CampaignArgs, color: ColorChoice) -> Result<Exit> {
    let done = match &args.system {
        Some(system) => make(args, system, color),
        None => join::merge(args),
    };
    done.map_err(|error| room::named(error, &args.out))
}

fn make(args: &CampaignArgs, system: &std::path::Path, color: ColorChoice) -> Result<Exit> {
    let session = session::load(system, Wanted::given_or_named(args.plan.as_ref()))?;
    session.complain(color);
    if session.baseline.has_errors() {
        return session.refused(args.format == Format::Json);
    }
    let inputs = Inputs::of(&session.baseline)?;
    let loaded = inputs.load()?;
    let asked = Asked::of(args, &inputs);
    let shard = args.shard.as_deref().map_or(Ok(Shard::WHOLE), str::parse::<Shard>);
    let mut wrong = asked.wrong(&loaded.machine);
    wrong.extend(shard.as_ref().err().map(ToString::to_string));
    if !wrong.is_empty() {
        bail!(wrong.join("\nerror: "));
    }
    let shard = shard?;
    let folder = begin(args, &asked, shard, &inputs)?;
    if work::work(&loaded.machine, &asked, shard, &folder, args.threads.map(usize::from))? {
        let next = format!("interrupted; what is finished is kept in {0}: go on with --resume\n", args.out.display());
        terminal::complain(&next);
        return Ok(Exit::Interrupted);
    }
    if shard != Shard::WHOLE {
        terminal::print(&answer::part(args, shard))?;
        return Ok(Exit::Shown);
    }
    let folders = [folder];
    let found = join::assemble(&loaded, &asked, &folders, &args.out)?;
    answer::tell(args, &found)
}

/// The folder of the campaign: a new one, or with `--resume` the one that is there.
fn begin(args: &CampaignArgs, asked: &Asked, shard: Shard, inputs: &Inputs) -> Result<Folder> {
    if args.resume && Folder::is_there(&args.out) {
        let (known, known_shard, folder) = Folder::open(&args.out)?;
        if &known != asked || known_shard != shard {
            bail!("{} holds another campaign: {}", args.out.display(), known.difference(asked, known_shard, shard));
        }
        return Ok(folder);
    }
    let begun = args.resume && Folder::is_hardly_begun(&args.out);
    if !(begun || files::is_free(&args.out)?) {
        let out = args.out.display();
        match Folder::is_there(&args.out) {
            true => bail!("{out} is not empty; go on with --resume, or name another folder"),
            false => bail!("{out} is not empty and holds no campaign to go on with; name another folder with --out"),
        }
    }
    Folder::begin(&args.out, asked, shard, inputs)
}
