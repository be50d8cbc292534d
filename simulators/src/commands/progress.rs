//! A bar for work that takes more than a moment. It shows on a terminal only.

use indicatif::{ProgressBar, ProgressStyle};

/// A bar over `total` steps called `unit`, under a title.
pub(super) fn bar(title: &str, total: u64, unit: &str) -> ProgressBar {
    let template = format!("{{msg}} [{{bar:30}}] {{pos}}/{{len}} {unit}, {{eta}} left");
    let style = ProgressStyle::with_template(&template)
        .unwrap_or_else(|_| ProgressStyle::default_bar())
        .progress_chars("=> ");
    ProgressBar::new(total).with_style(style).with_message(title.to_owned())
}
