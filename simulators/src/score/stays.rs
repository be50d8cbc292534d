//! How long water stood in a basin, and how long it has to for a flood.

use crate::ground::GreenAmpt;
use crate::run::Truth;
use crate::site::Site;
use crate::span::Span;
use crate::standing::Level;

/// Water that sinks below a float for no longer than this has not gone: a float falls some millimetres lower than it
/// rises, and a silted floor takes minutes for each.
const DIP_MS: i64 = Span::minutes(15).ms();
/// Standing water is no flood before this, unless the system file says otherwise (its contract).
const FLOOD_AT_LEAST_MS: i64 = Span::hours(6).ms();
/// A flood stands for so many times what the soil should need (the same contract).
const TIMES_THE_SOIL: f64 = 2.0;
/// Open space between chips, and the least water that is reckoned with (mm), both as the daemon's guide states them.
const VOIDS: f64 = 0.5;
const LEAST_WATER_MM: f64 = 20.0;
/// Height of a float nobody stated (mm).
const FLOAT_MM: f64 = 120.0;
/// Step of the sinking pond (h).
const STEP_H: f64 = 0.01;

/// Stays of water above a level of a basin, from and until (Unix ms), oldest first.
pub(super) fn stays(truth: &Truth, basin: usize, level: Level) -> Vec<(i64, i64)> {
    let own = truth.spells.iter().filter(|(of, spell)| *of == basin && spell.level == level);
    let mut stays: Vec<(i64, i64)> = own.map(|(_, spell)| (spell.from_ms, spell.until_ms)).collect();
    stays.sort_unstable();
    stays.dedup_by(|next, stay| {
        let goes_on = next.0 - stay.1 <= DIP_MS;
        if goes_on {
            stay.1 = stay.1.max(next.1);
        }
        goes_on
    });
    stays
}

/// How long water must stand above a basin's float to be a flood, by the contract of the system file: what the file
/// says, or the longer of six hours and twice what the soil's class should need for the water between the float and the
/// mulch's surface, above which none should ever stand.
pub(super) fn flood_hold_ms(site: &Site, basin: usize) -> i64 {
    let built = &site.basins[basin];
    if let Some(hold) = built.flood_hold {
        return hold.as_millis() as i64;
    }
    let surface_mm = built.mulch_depth_mm.min(built.depth_mm);
    let water_mm = VOIDS * (surface_mm - built.float_height_mm.unwrap_or(FLOAT_MM));
    let soil_ms = soak_h(site, water_mm.max(LEAST_WATER_MM)) * Span::hours(1).ms() as f64;
    FLOOD_AT_LEAST_MS.max((TIMES_THE_SOIL * soil_ms) as i64)
}

/// Time (h) in which soil of the site's class at field capacity takes water standing on it, in small steps.
fn soak_h(site: &Site, water_mm: f64) -> f64 {
    let table = site.soil.hydraulics();
    let residual = table.porosity - table.effective_porosity;
    let deficit = (table.effective_porosity - (table.field_capacity - residual)).max(0.02);
    let soil = GreenAmpt {
        conductivity_mm_h: table.conductivity_mm_h,
        suction_mm: table.suction_mm,
        resistance_h: 0.0,
    };
    let (mut left_mm, mut hours) = (water_mm, 0.0);
    while left_mm > 0.0 {
        let front_mm = (water_mm - left_mm) / deficit;
        left_mm -= soil.infiltrated_mm(front_mm, deficit, left_mm, STEP_H);
        hours += STEP_H;
    }
    hours
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site(soil: &str, basin: &str) -> Site {
        let text = format!(
            "id = \"yard\"\ntimezone = \"UTC\"\nsoil = \"{soil}\"\n[[basin]]\nid = \"fig\"\narea_m2 = 1.0\n\
             mulch = {{ depth_mm = 200 }}\n{basin}\n"
        );
        Site::parse(&text).unwrap()
    }

    fn hold_h(soil: &str, basin: &str) -> f64 {
        flood_hold_ms(&site(soil, basin), 0) as f64 / Span::hours(1).ms() as f64
    }

    /// Green and Ampt under a falling head: with a = 1 − Δθ and b = Δθ (H + ψ), a K t = H − (b/a) ln(1 + a H/b).
    #[test]
    fn soil_that_needs_long_is_given_twice_that() {
        for (soil, k, suction, deficit, float_mm) in
            [("loam", 3.4, 88.9, 0.231, 15.0), ("clay-loam", 1.0, 208.8, 0.154, 40.0)]
        {
            let (head, a) = (0.5 * (200.0 - float_mm), 1.0 - deficit);
            let b: f64 = deficit * (head + suction);
            let hours = (head - b / a * (a * head / b).ln_1p()) / (a * k);
            let hold = hold_h(soil, &format!("float = {{ height_mm = {float_mm} }}"));
            assert!((hold / (2.0 * hours) - 1.0).abs() < 0.02, "{soil}: {hold} {hours}");
        }
    }

    #[test]
    fn a_flood_is_six_hours_at_least_or_what_the_file_says() {
        assert!((hold_h("sand", "float = { height_mm = 40 }") - 6.0).abs() < 1e-9);
        assert!((hold_h("clay", "flood_hold = \"3h\"") - 3.0).abs() < 1e-9);
    }
}
