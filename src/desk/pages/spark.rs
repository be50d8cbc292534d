//! A week of moisture as a small curve.

use std::fmt::Write;

use maud::{Markup, html};

use crate::desk::sheet::{Spark, SparkBin};
use crate::desk::words;

/// Width and height of the drawing, px; the width is one for each hour of the week.
const WIDTH: f64 = 168.0;
const HEIGHT: f64 = 44.0;

/// The curve, with what it says in words below.
pub(super) fn spark(spark: &Spark) -> Markup {
    let y = |content: f64| HEIGHT - content / spark.top * HEIGHT;
    html! {
        figure class="spark" {
            svg viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } preserveAspectRatio="none" aria-hidden="true" {
                @for day in 1..7 { line class="day" x1=(day * 24) y1="0" x2=(day * 24) y2=(HEIGHT) {} }
                @let capacity = format!("{:.1}", y(spark.field_capacity));
                line class="capacity" x1="0" y1=(capacity) x2=(WIDTH) y2=(capacity) {}
                @for run in spark.bins.chunk_by(|a, b| b.hour <= a.hour + 3) {
                    path class="range" d=(band(run, y)) {}
                    path class="mean" d=(curve(run, y)) {}
                }
            }
            figcaption {
                "7 days: lowest " b { (words::percent(spark.low)) } ", highest " b { (words::percent(spark.high)) }
            }
        }
    }
}

fn curve(run: &[SparkBin], y: impl Fn(f64) -> f64) -> String {
    let mut path = String::new();
    for bin in run {
        point(&mut path, bin.hour, y(bin.mean));
    }
    if let [only] = run {
        point(&mut path, only.hour + 1, y(only.mean));
    }
    path
}

/// From lowest to highest, there along the top and back along the bottom.
fn band(run: &[SparkBin], y: impl Fn(f64) -> f64) -> String {
    let mut path = String::new();
    for bin in run {
        point(&mut path, bin.hour, y(bin.max));
    }
    for bin in run.iter().rev() {
        point(&mut path, bin.hour, y(bin.min));
    }
    path.push('Z');
    path
}

fn point(path: &mut String, hour: u16, y: f64) {
    let step = if path.is_empty() { 'M' } else { 'L' };
    write!(path, "{step}{hour} {y:.1}").expect("writing to a string cannot fail");
}
