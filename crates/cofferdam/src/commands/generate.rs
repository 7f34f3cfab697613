//! `schema`, `completions`, `manual`: what is generated from the program's own declarations.

use crate::args::Cli;
use crate::exit::Exit;
use crate::{files, terminal};
use anyhow::Result;
use clap::CommandFactory;
use std::path::Path;

pub fn schema() -> Result<Exit> {
    terminal::print(&format!("{:#}\n", model::schema()))?;
    Ok(Exit::Shown)
}

pub fn completions(shell: clap_complete::Shell) -> Result<Exit> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "cofferdam", &mut script);
    terminal::print(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Shown)
}

/// One page for the program and one for each command.
pub fn manual(folder: &Path) -> Result<Exit> {
    files::make_folder(folder)?;
    let mut command = Cli::command();
    command.build();
    let pages = std::iter::once(command.clone()).chain(shown(&command).cloned().map(renamed));
    for page in pages.filter(|page| page.get_name() != "cofferdam-help") {
        let mut text = Vec::new();
        let name = page.get_name().to_owned();
        clap_mangen::Man::new(page).render(&mut text)?;
        files::write_whole(&folder.join(format!("{name}.1")), &String::from_utf8_lossy(&text))?;
    }
    terminal::print(&format!("Wrote the manual pages to {}\n", folder.display()))?;
    Ok(Exit::Shown)
}

/// The commands that are for users.
fn shown(command: &clap::Command) -> impl Iterator<Item = &clap::Command> {
    command.get_subcommands().filter(|command| !command.is_hide_set())
}

/// A command's page is named after the program and the command, as is usual: `cofferdam-check`.
fn renamed(command: clap::Command) -> clap::Command {
    let name: &'static str = Box::leak(format!("cofferdam-{}", command.get_name()).into_boxed_str());
    command.name(name)
}
