//! `completions` and `man`: for shells and packagers, from the command line as it is.

use super::{Cli, Common, End, Ended, Trouble, output};
use crate::source::SourceError;
use clap::CommandFactory;
use clap_complete::Shell;
use std::path::PathBuf;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The shell that completes
    shell: Shell,
}

#[derive(clap::Args)]
pub(crate) struct Man {
    /// The command, such as plan or hook install; without one the page of shearbook itself
    command: Vec<String>,
    /// Write into this folder: the page of the command, or without one those of all commands
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(crate) fn run(arguments: &Arguments) -> Ended {
    let mut script = Vec::new();
    clap_complete::generate(
        arguments.shell,
        &mut Cli::command(),
        "shearbook",
        &mut script,
    );
    output::say(&String::from_utf8_lossy(&script));
    Ok(End::Fine)
}

pub(crate) fn man(common: &Common, arguments: &Man) -> Ended {
    let mut whole = Cli::command().disable_help_subcommand(true);
    whole.build();
    let page = |command: &clap::Command| {
        let mut page = Vec::new();
        let written = clap_mangen::Man::new(command.clone()).render(&mut page);
        written.map_err(|error| Trouble::Ours(format!("a page could not be made: {error}")))?;
        Ok::<_, Trouble>(page)
    };
    let mut command = &whole;
    for name in &arguments.command {
        command = command.find_subcommand(name).ok_or_else(|| {
            let names = command.get_subcommands().map(clap::Command::get_name);
            let meant = crate::text::nearest(name, names)
                .map(|meant| format!("; did you mean {meant}?"))
                .unwrap_or_default();
            Trouble::Usage(format!(
                "there is no command {}{meant}",
                arguments.command.join(" ")
            ))
        })?;
    }
    let Some(folder) = &arguments.out else {
        output::say(&String::from_utf8_lossy(&page(command)?));
        return Ok(End::Fine);
    };
    std::fs::create_dir_all(folder).map_err(|error| {
        SourceError::new(
            format!("the folder {} cannot be made: {error}", folder.display()),
            "look at its permissions, or name another folder",
        )
    })?;
    let mut open = vec![command];
    while let Some(command) = open.pop() {
        let name = command.get_display_name().unwrap_or(command.get_name());
        let file = folder.join(format!("{name}.1"));
        output::write_whole(&file, &page(command)?)?;
        if !common.quiet {
            output::say(&format!("made {}\n", file.display()));
        }
        if arguments.command.is_empty() {
            let below = command.get_subcommands();
            open.extend(below.filter(|command| !command.is_hide_set()));
        }
    }
    Ok(End::Fine)
}
