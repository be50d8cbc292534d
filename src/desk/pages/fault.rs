//! Pages that say why there is no page.

use maud::html;

use super::layout::{Page, layout};
use crate::desk::sheet::Chrome;

/// A page with a heading, what it means, and the way back.
pub fn fault(chrome: &Chrome, heading: &str, says: &str) -> String {
    let page = Page { title: heading, here: "", fragment: "", live: false };
    let main = html! {
        h1 { (heading) }
        p { (says) }
        p { a href="/" { "To all systems" } }
    };
    layout(chrome, &page, &main).into_string()
}
