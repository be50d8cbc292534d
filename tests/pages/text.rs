//! What a page says, without how it is drawn: one line a block.

/// Elements that begin a line of their own.
const BLOCKS: [&str; 32] = [
    "address",
    "article",
    "button",
    "caption",
    "dd",
    "details",
    "div",
    "dl",
    "dt",
    "fieldset",
    "figcaption",
    "figure",
    "form",
    "h1",
    "h2",
    "h3",
    "h4",
    "label",
    "legend",
    "li",
    "main",
    "nav",
    "ol",
    "option",
    "p",
    "section",
    "summary",
    "table",
    "td",
    "th",
    "tr",
    "ul",
];
/// Elements that are left out with all they contain.
const DRAWN: [&str; 4] = ["svg", "script", "style", "select"];

/// The words of the page's `main`. Of long tables of times only the head is told.
pub(crate) fn words(page: &str) -> String {
    let main = page.split_once("<main").map_or(page, |(_, main)| main);
    let main = main.split_once('>').map_or(main, |(_, main)| main);
    let main = main.rsplit_once("</main>").map_or(main, |(main, _)| main);
    let mut text = String::new();
    let (mut rest, mut hidden) = (main, 0_usize);
    while let Some((before, tag)) = rest.split_once('<') {
        let (tag, after) = tag.split_once('>').unwrap_or((tag, ""));
        if hidden == 0 {
            text.push_str(before);
        }
        let name: String =
            tag.trim_start_matches('/').chars().take_while(char::is_ascii_alphanumeric).collect();
        let is_end = tag.starts_with('/');
        let is_long = name == "tbody" && main.contains("class=\"times\"") && is_within_times(main, rest);
        if DRAWN.contains(&name.as_str()) || (is_long && hidden == 0) || (name == "tbody" && hidden > 0) {
            hidden = if is_end { hidden.saturating_sub(1) } else { hidden + 1 };
        }
        if hidden == 0 && BLOCKS.contains(&name.as_str()) {
            text.push(if matches!(name.as_str(), "td" | "th" | "dd") && !is_end { '|' } else { '\n' });
        }
        rest = after;
    }
    tidy(&(text + rest))
}

/// Whether what is left of `main` begins inside a table of times.
fn is_within_times(main: &str, rest: &str) -> bool {
    let so_far = &main[..main.len() - rest.len()];
    let begun = so_far.rfind("class=\"times\"");
    begun.is_some_and(|begun| so_far.rfind("</table>").is_none_or(|ended| ended < begun))
}

/// Entities read, blanks joined, empty lines left out, cells of a row on one line.
fn tidy(text: &str) -> String {
    let text = text.replace("\n|", "|").replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"");
    let text = text.replace("&#39;", "'").replace('\u{a0}', " ").replace("&amp;", "&");
    let lines = text.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "));
    let lines = lines.map(|line| line.replace('|', " | ").trim_matches([' ', '|']).to_owned());
    lines.filter(|line| !line.is_empty()).map(|line| line + "\n").collect()
}

#[test]
fn a_page_is_told_in_lines() {
    let page = "<html><main id=\"main\"><h1>Two <b>trees</b></h1><svg><text>drawn</text></svg><p>A &amp; B</p>\
                <table><tr><th>Basin</th><td>25&nbsp;</td></tr></table></main><footer>foot</footer></html>";
    assert_eq!(words(page), "Two trees\nA & B\nBasin | 25&nbsp;\n");
}
