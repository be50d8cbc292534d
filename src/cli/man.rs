//! `basinward man`: manual pages, made from the same definitions as the help.

use std::fs;
use std::io::{self, Write, stdout};
use std::path::{Path, PathBuf};

use clap::{Command, CommandFactory};
use clap_mangen::Man;
use clap_mangen::roff::{Roff, bold, roman};

use super::{Cli, Failure};
use crate::settings::SECTIONS;

/// Arguments of `man`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward man | man -l -
  basinward man /usr/local/share/man/man1")]
pub struct ManArgs {
    /// Folder to write all pages into [default: print the main page]
    #[arg(value_name = "DIR")]
    pub folder: Option<PathBuf>,
}

/// Prints the main page, or writes every page into the folder.
pub(super) fn man(args: &ManArgs) -> Result<(), Failure> {
    let mut root = Cli::command();
    root.build();
    match &args.folder {
        None => stdout().write_all(&main_page(&root)?)?,
        Some(folder) => write_all(&root, folder)?,
    }
    Ok(())
}

fn write_all(root: &Command, folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    fs::write(folder.join("basinward.1"), main_page(root)?)?;
    for command in root.get_subcommands().filter(|command| command.get_name() != "help") {
        let mut page = Vec::new();
        Man::new(command.clone()).render(&mut page)?;
        fs::write(folder.join(format!("basinward-{}.1", command.get_name())), page)?;
    }
    Ok(())
}

fn main_page(root: &Command) -> io::Result<Vec<u8>> {
    let mut page = Vec::new();
    let man = Man::new(root.clone());
    man.render_title(&mut page)?;
    man.render_name_section(&mut page)?;
    man.render_synopsis_section(&mut page)?;
    man.render_description_section(&mut page)?;
    man.render_options_section(&mut page)?;
    man.render_subcommands_section(&mut page)?;
    settings_section().to_writer(&mut page)?;
    man.render_extra_section(&mut page)?;
    files_section().to_writer(&mut page)?;
    man.render_version_section(&mut page)?;
    Ok(page)
}

fn settings_section() -> Roff {
    let mut roff = Roff::new();
    roff.control("SH", ["SETTINGS"]);
    roff.text([roman(
        "Each setting stands in its [section] of the settings file, or in the environment as \
         BASINWARD__SECTION__KEY, which wins. Defaults in parentheses.",
    )]);
    for section in SECTIONS {
        roff.control("SS", [section.name]);
        roff.text([roman(format!("{}.", section.meaning))]);
        for setting in section.settings {
            let default = if setting.default.is_empty() { "not set" } else { setting.default };
            let unit = setting.kind.unit().map(|unit| format!(" {unit}")).unwrap_or_default();
            roff.control("TP", []);
            roff.text([bold(setting.key), roman(format!(" ({default}{unit})"))]);
            roff.text([roman(format!("{}.", setting.meaning))]);
        }
    }
    roff
}

fn files_section() -> Roff {
    let files = [
        ("./basinward.toml", "Settings, if there is one in the working folder."),
        ("/etc/basinward/basinward.toml", "Settings otherwise."),
        ("systems/<id>.toml", "One file a system: its splitters, basins and sensors."),
    ];
    let mut roff = Roff::new();
    roff.control("SH", ["FILES"]);
    for (path, meaning) in files {
        roff.control("TP", []);
        roff.text([bold(path)]);
        roff.text([roman(meaning)]);
    }
    roff
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_main_page_tells_commands_settings_and_exit_codes() {
        let mut root = Cli::command();
        root.build();
        let page = String::from_utf8(main_page(&root).expect("rendered")).expect("text");
        for word in ["basinward\\-replay(1)", "commit_every_ms", "Exit codes", "/etc/basinward"] {
            assert!(page.contains(word), "{word} is missing:\n{page}");
        }
    }
}
