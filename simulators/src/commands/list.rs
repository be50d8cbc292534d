//! `simulators list`

use simulators::scenario::Library;

use super::Done;

/// Prints every scenario with what it shows.
pub(super) fn run() -> Done {
    let library = Library::shipped();
    let names = library.names()?;
    let width = names.iter().map(String::len).max().unwrap_or(0);
    for name in &names {
        let scenario = library.load(name)?;
        println!("{name:width$}  {:>5}  {}", scenario.duration.to_string(), scenario.shows);
    }
    Ok(())
}
