//! `new`: a commented starter system that checks clean.

use crate::args::NewArgs;
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::{Result, bail};

const STARTER: [(&str, &str); 2] = [
    ("system.toml", include_str!("../../starter/system.toml")),
    ("plan.toml", include_str!("../../starter/plan.toml")),
];

pub fn run(args: &NewArgs) -> Result<Exit> {
    let shown = args.dir.display();
    if !files::is_free(&args.dir)? {
        bail!("{shown} is not empty; name a folder that does not exist yet");
    }
    files::make_folder(&args.dir)?;
    for (name, text) in STARTER {
        files::write_whole(&args.dir.join(name), text)?;
    }
    terminal::print(&format!("Wrote {shown}/system.toml and {shown}/plan.toml.\nNext: cofferdam check {shown}\n"))?;
    Ok(Exit::Shown)
}
