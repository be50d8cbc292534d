//! Emphasis on a terminal. It only ever repeats what the words say.

use std::io::IsTerminal;

use clap::builder::styling::{AnsiColor, Style};

use crate::telemetry::wants_colour;

/// Whether to emphasise.
#[derive(Debug, Clone, Copy)]
pub(super) struct Paint {
    on: bool,
}

impl Paint {
    /// Emphasis if `stream` is a terminal whose owner does not mind.
    pub(super) fn for_stream(stream: &impl IsTerminal) -> Self {
        Self { on: wants_colour(stream) }
    }

    /// A place or a heading.
    pub(super) fn strong(self, text: &str) -> String {
        self.dress(text, Style::new().bold())
    }

    /// A way out.
    pub(super) fn helpful(self, text: &str) -> String {
        self.dress(text, AnsiColor::Green.on_default())
    }

    /// Something of less weight.
    pub(super) fn quiet(self, text: &str) -> String {
        self.dress(text, Style::new().dimmed())
    }

    fn dress(self, text: &str, style: Style) -> String {
        if self.on { format!("{style}{text}{style:#}") } else { text.to_owned() }
    }
}
