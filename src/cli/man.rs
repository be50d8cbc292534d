//! `basinward man`: manual pages, made from the same definitions as the help.

use std::fs;
use std::io::{self, Write, stdout};
use std::path::{Path, PathBuf};

use clap::{Command, CommandFactory};
use clap_mangen::Man;
use clap_mangen::roff::{Roff, bold, line_break, roman};

use super::{Cli, Failure};
use crate::settings::{self, SECTIONS};

/// Arguments of `man`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  basinward man | man -l -
  basinward man /usr/local/share/man")]
pub struct ManArgs {
    /// Folder to write all pages into, as man1 and man5 [default: print the main page]
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
    let (commands, formats) = (folder.join("man1"), folder.join("man5"));
    fs::create_dir_all(&commands)?;
    fs::create_dir_all(&formats)?;
    fs::write(commands.join("basinward.1"), main_page(root)?)?;
    write_below(root, &commands)?;
    fs::write(formats.join("basinward.toml.5"), settings_page()?)
}

/// Writes the pages of all commands below `command`, theirs too.
fn write_below(command: &Command, folder: &Path) -> io::Result<()> {
    for below in command.get_subcommands().filter(|below| below.get_name() != "help") {
        let man = Man::new(below.clone());
        let mut page = Vec::new();
        man.render(&mut page)?;
        fs::write(folder.join(man.get_filename()), page)?;
        write_below(below, folder)?;
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
    man.render_extra_section(&mut page)?;
    files_section().to_writer(&mut page)?;
    man.render_version_section(&mut page)?;
    Ok(page)
}

/// `basinward.toml(5)`.
fn settings_page() -> io::Result<Vec<u8>> {
    let mut roff = Roff::new();
    roff.control("TH", ["basinward.toml", "5", "", concat!("basinward ", env!("CARGO_PKG_VERSION")), ""]);
    roff.control("SH", ["NAME"]);
    roff.text([roman("basinward.toml - settings of the Basinward daemon")]);
    roff.control("SH", ["DESCRIPTION"]);
    roff.text([roman(
        "Each setting stands in its [section] of this file, or in the environment as \
         BASINWARD__SECTION__KEY, which wins. A secret may lie in a file of its own: password_file beside \
         password. Relative paths start at the file. Defaults in parentheses. `basinward check --explain` \
         shows what is in force and where it comes from.",
    )]);
    roff.control("SH", ["SETTINGS"]);
    for section in SECTIONS {
        roff.control("SS", [section.name]);
        roff.text([roman(format!("{}.", section.meaning))]);
        for setting in section.settings {
            let default = if setting.default.is_empty() { "not set" } else { setting.default };
            let unit = setting.kind.unit().map(|unit| format!(" {unit}")).unwrap_or_default();
            entry(&mut roff, setting.key, &format!(" ({default}{unit})"), &format!("{}.", setting.meaning));
        }
    }
    roff.control("SH", ["CHANNELS, CONTACTS, ROUTES"]);
    roff.control("nf", []);
    let example: Vec<_> = settings::notices_example().flat_map(|line| [roman(line), line_break()]).collect();
    roff.text(example);
    roff.control("fi", []);
    roff.control("SH", ["SEE ALSO"]);
    roff.text([bold("basinward"), roman("(1), "), bold("basinward-check"), roman("(1)")]);
    let mut page = Vec::new();
    roff.to_writer(&mut page)?;
    Ok(page)
}

fn files_section() -> Roff {
    let files = [
        ("./basinward.toml", "Settings, if there is one in the working folder: basinward.toml(5)."),
        ("/etc/basinward/basinward.toml", "Settings otherwise."),
        ("systems/<id>.toml", "One file a system: its splitters, basins and sensors."),
    ];
    let mut roff = Roff::new();
    roff.control("SH", ["FILES"]);
    for (path, meaning) in files {
        entry(&mut roff, path, "", meaning);
    }
    roff
}

fn entry(roff: &mut Roff, name: &str, more: &str, meaning: &str) {
    roff.control("TP", []);
    roff.text([bold(name), roman(more)]);
    roff.text([roman(meaning)]);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pages_tell_commands_exit_codes_settings_and_nested_commands() {
        let mut root = Cli::command();
        root.build();
        let folder = tempfile::tempdir().expect("a folder");
        write_all(&root, folder.path()).expect("written");
        let page = |name: &str| fs::read_to_string(folder.path().join(name)).expect("a page");
        for (name, words) in [
            ("man1/basinward.1", &["basinward\\-replay(1)", "Exit codes", "/etc/basinward"][..]),
            ("man1/basinward-person-add.1", &["\\-\\-role"]),
            ("man5/basinward.toml.5", &["commit_every_ms", "[routes.now]", "escalate = "]),
        ] {
            let page = page(name);
            for word in words {
                assert!(page.contains(word), "{word} is missing from {name}:\n{page}");
            }
        }
    }
}
