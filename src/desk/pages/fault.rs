//! Pages that say why there is no page, and where to go on.

use maud::html;

use super::layout::{Page, layout_with};
use crate::desk::assets;
use crate::desk::sheet::Chrome;

/// A page with a heading, what it means, and the ways on: the one that mends it first, an address in words, if there is
/// one for whoever looks.
pub fn fault(chrome: &Chrome, heading: &str, says: &str, mend: Option<(&str, &str)>) -> String {
    let page = Page { title: heading, here: "", fragment: "", live: false };
    let main = html! {
        h1 { (heading) }
        p { (says) }
        @if let Some((address, words)) = mend { p { a class="target" href=(address) { (words) } } }
        search { form class="acts" method="get" action="/" {
            label class="act" { span { "Search systems" } " " input type="search" name="text" maxlength="100" autocomplete="off"; }
            button type="submit" { "Search" }
        } }
        p { a class="target" href="/" { "All systems" } }
    };
    layout_with(chrome, &page, &[&assets::FORMS], &main).into_string()
}
