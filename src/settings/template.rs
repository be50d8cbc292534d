//! The commented settings file, made from the setting table.

use std::fmt::Write;

use super::{Kind, SECTIONS, Setting};

const HEAD: &str = "\
# Settings of the Basinward daemon.
#
# Every setting stands here with its default, commented out: remove the # before a line to change it.
# Environment variables win over this file: BASINWARD__MQTT__BROKER sets `broker` of [mqtt].
# `basinward check --explain` shows every value in force and where it came from.
";

/// The whole settings file with every default commented out.
pub fn template() -> String {
    let mut text = HEAD.to_owned();
    for section in SECTIONS {
        // Writing to a String cannot fail.
        let _ = write!(text, "\n# {}.\n[{}]\n", section.meaning, section.name);
        for setting in section.settings {
            let _ = write!(text, "\n# {}.\n", comment(setting));
            let _ = writeln!(text, "#{} = {}", setting.key, literal(setting));
            if matches!(setting.kind, Kind::Secret) {
                let _ = writeln!(text, "#{}_file = \"\"", setting.key);
            }
        }
    }
    text
}

fn comment(setting: &Setting) -> String {
    let meaning = setting.meaning;
    if let Kind::Whole { min, max, unit } = setting.kind {
        format!("{meaning} ({unit}, {min} to {max})")
    } else if let Kind::OneOf(choices) = setting.kind {
        format!("{meaning} ({})", choices.join(", "))
    } else {
        meaning.to_owned()
    }
}

fn literal(setting: &Setting) -> String {
    if setting.kind.is_text() { format!("\"{}\"", setting.default) } else { setting.default.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `UPDATE=1 cargo test template` rewrites the file.
    #[test]
    fn the_committed_settings_file_is_the_generated_one() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("deploy/basinward.toml");
        if std::env::var_os("UPDATE").is_some() {
            std::fs::write(&path, template()).expect("deploy/ can be written");
        }
        assert_eq!(std::fs::read_to_string(&path).expect("deploy/basinward.toml is there"), template());
    }
}
