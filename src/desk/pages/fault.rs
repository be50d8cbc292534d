//! Pages that say why there is no page, and where to go on.

use maud::html;

use super::layout::{Page, layout_with};
use crate::desk::assets;
use crate::desk::sheet::Chrome;

/// A page with a heading, what it means, and the ways on.
pub fn fault(chrome: &Chrome, heading: &str, says: &str) -> String {
    let page = Page { title: heading, here: "", fragment: "", live: false };
    let main = html! {
        h1 { (heading) }
        p { (says) }
        search { form class="acts" method="get" action="/" {
            label class="act" { span { "Search systems" } " " input type="search" name="text" maxlength="100" autocomplete="off"; }
            button type="submit" { "Search" }
        } }
        p { a class="target" href="/" { "All systems" } }
    };
    layout_with(chrome, &page, &[&assets::FORMS], &main).into_string()
}
