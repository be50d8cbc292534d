//! What surrounds every page.

use super::Moment;

/// Head and foot of a page.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Chrome {
    /// A note that must not be missed, such as that the clock is not the real one.
    pub banner: Option<String>,
    /// That systems learn anew.
    pub learning: Option<String>,
    /// That system files cannot be read.
    pub faulty: Option<String>,
    /// How the connection to the broker is.
    pub link: String,
    /// Since when.
    pub link_since: Option<Moment>,
    /// When the page was drawn.
    pub as_of: Option<Moment>,
    /// Which state of the board the page was drawn from; the live script compares it.
    pub stamp: u64,
    /// Who looks; none on the way in.
    pub who: Option<Who>,
}

/// Who looks at a page.
#[expect(clippy::struct_excessive_bools, reason = "each is one thing that a page offers or leaves out")]
#[derive(Clone, Debug, PartialEq)]
pub struct Who {
    /// What they are called.
    pub name: String,
    /// They have signed in, rather than sitting before a machine where nobody was named.
    pub is_person: bool,
    /// What forms bring along in their field `csrf`.
    pub csrf: String,
    /// The pages about what belongs to no property are open to them.
    pub sees_everything: bool,
    /// They may take steps with alerts.
    pub attends: bool,
    /// They may change systems and plan work.
    pub plans: bool,
    /// They decide who may come in.
    pub governs: bool,
}

impl Chrome {
    /// The connection to the broker: `connected, since today 08:15`.
    pub fn link_words(&self) -> String {
        match &self.link_since {
            Some(since) => format!("{}, since {}", self.link, since.words),
            None => self.link.clone(),
        }
    }
}
