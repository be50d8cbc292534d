//! A small writer of SVG.

use std::fmt::Write as _;

/// A picture being drawn.
#[derive(Debug)]
pub(super) struct Svg {
    body: String,
    width: f64,
}

/// Where a text's anchor lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl Svg {
    pub(super) fn new(width: f64) -> Self {
        Self { body: String::new(), width }
    }

    pub(super) fn rect(&mut self, [x, y, width, height]: [f64; 4], style: &str) {
        let (width, height) = (width.max(0.0), height.max(0.0));
        self.push(&format!("<rect x='{x:.1}' y='{y:.1}' width='{width:.1}' height='{height:.1}' {style}/>"));
    }

    pub(super) fn line(&mut self, [x1, y1]: [f64; 2], [x2, y2]: [f64; 2], style: &str) {
        self.push(&format!("<line x1='{x1:.1}' y1='{y1:.1}' x2='{x2:.1}' y2='{y2:.1}' {style}/>"));
    }

    pub(super) fn circle(&mut self, [x, y]: [f64; 2], radius: f64, style: &str) {
        self.push(&format!("<circle cx='{x:.1}' cy='{y:.1}' r='{radius:.1}' {style}/>"));
    }

    /// A line through points, or the area that they bound when the style fills it.
    pub(super) fn path(&mut self, points: &[[f64; 2]], style: &str) {
        let Some(([x, y], rest)) = points.split_first() else { return };
        let mut path = format!("M{x:.1} {y:.1}");
        for [x, y] in rest {
            write!(path, "L{x:.1} {y:.1}").expect("a String takes all that is written");
        }
        self.push(&format!("<path d='{path}' {style}/>"));
    }

    pub(super) fn text(&mut self, [x, y]: [f64; 2], size: f64, anchor: Anchor, style: &str, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let text = escape(text);
        self.push(&format!(
            "<text x='{x:.1}' y='{y:.1}' font-size='{size:.0}' text-anchor='{anchor}' {style}>{text}</text>"
        ));
    }

    /// The whole document, `height` high.
    pub(super) fn finish(self, height: f64) -> String {
        let Self { body, width } = self;
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {width:.0} {height:.0}' width='{width:.0}' \
             height='{height:.0}' font-family='sans-serif' fill='#222'>\n\
             <rect width='100%' height='100%' fill='#fff'/>\n{body}</svg>\n"
        )
    }

    fn push(&mut self, element: &str) {
        self.body.push_str(element);
        self.body.push('\n');
    }
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::{Anchor, Svg};

    #[test]
    fn names_cannot_break_the_document() {
        let mut svg = Svg::new(10.0);
        svg.text([0.0, 0.0], 10.0, Anchor::Start, "", "<b> & co");
        assert!(svg.finish(10.0).contains("&lt;b&gt; &amp; co"));
    }
}
