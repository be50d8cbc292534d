//! Probes in simulated soil: what was poured is found, measured, and nothing else is.

use super::ground::{self, Draws, Probe, Record};
use super::probe::ProbeSignal;
use super::wetting::Wetting;
use crate::model::{EventTime, Soil, Span};
use crate::stats::robust::median_and_deviation;

fn probe_every(minutes: i64) -> Probe {
    Probe { noise: 0.002, ripple: 0.005, resolution: 0.000_1, every: Span::from_mins(minutes) }
}

/// Twice a day for some days, 12 mm and upwards, in eight minutes.
fn doses(days: i64, seed: u64) -> Vec<(EventTime, f64)> {
    let mut draws = Draws(seed);
    let mut at_hours = |hours: f64| {
        let at = EventTime::from_secs(0) + Span::from_hours_f64(hours + 0.5 * draws.normal());
        (at, 12.0 + 16.0 * draws.uniform())
    };
    (0..days)
        .flat_map(|day| [7.0, 19.0].map(|hour| (day as f64).mul_add(24.0, hour)))
        .map(&mut at_hours)
        .collect()
}

fn run(soil: Soil, probe: Probe, days: i64, doses: &[(EventTime, f64)]) -> Record {
    let length = Span::from_mins(8);
    ground::run(soil, probe, days, 3, |at| {
        let now = doses.iter().filter(|(began, _)| (*began..*began + length).contains(&at));
        now.map(|(_, mm)| mm / length.mins_f64()).sum()
    })
}

fn wettings(signal: &mut ProbeSignal, record: &Record) -> Vec<Wetting> {
    record.readings.iter().filter_map(|&(at, value)| signal.note(at, value).ended).collect()
}

/// Dose in the eight hours before each wetting, with the wetting.
fn matched(doses: &[(EventTime, f64)], wettings: &[Wetting]) -> Vec<(f64, Wetting)> {
    let fed = |w: &Wetting| {
        let before = Span::from_hours(8);
        doses.iter().filter(|(at, _)| *at <= w.began && *at >= w.began - before).map(|(_, mm)| mm).sum()
    };
    wettings.iter().map(|w| (fed(w), *w)).filter(|(mm, _)| *mm > 0.0).collect()
}

#[test]
fn what_is_gained_is_in_proportion_to_what_was_poured() {
    for (soil, minutes) in [
        (Soil::Sand, 5),
        (Soil::SandyLoam, 1),
        (Soil::SandyLoam, 5),
        (Soil::SandyLoam, 15),
        (Soil::SandyLoam, 60),
    ] {
        let doses = doses(30, 5);
        let mut signal = ProbeSignal::default();
        let found = wettings(&mut signal, &run(soil, probe_every(minutes), 30, &doses));
        let pairs = matched(&doses, &found);
        let learnt = &pairs[12..];
        let mut ratios: Vec<f64> = learnt.iter().map(|(mm, w)| (w.gained.value / mm).ln()).collect();
        let (_, spread) = median_and_deviation(&mut ratios);
        let what = format!(
            "{soil:?} every {minutes} min: {} of {} wettings, spread {spread:.3}",
            pairs.len(),
            found.len()
        );
        assert!(pairs.len() >= 54 && found.len() - pairs.len() <= 2, "{what}");
        assert!(spread < 0.12, "{what}");
    }
}

#[test]
fn noise_and_drying_are_learnt_through_the_wettings() {
    let mut signal = ProbeSignal::default();
    wettings(&mut signal, &run(Soil::SandyLoam, probe_every(5), 30, &doses(30, 6)));
    assert!((signal.deviation() / 0.002 - 1.0).abs() < 0.15, "{}", signal.deviation());
    let (dry, wet) = (signal.drying().drainage().at(0.34), signal.drying().drainage().at(0.40));
    assert!(wet > 3.0 * dry && wet > 0.005, "{dry} {wet}");
}

#[test]
fn a_daily_swing_is_no_wetting() {
    for (minutes, ripple) in [(5, 0.005), (5, 0.02), (15, 0.015), (60, 0.015)] {
        let mut signal = ProbeSignal::default();
        let record = run(Soil::SandyLoam, Probe { ripple, ..probe_every(minutes) }, 60, &[]);
        let mut found = wettings(&mut signal, &record);
        // A large swing has to be seen once to be known.
        found.retain(|w| w.began > EventTime::from_secs(2 * 86_400));
        assert_eq!(found, [], "{minutes} min, ripple {ripple}");
    }
}

#[test]
fn what_drained_while_it_came_is_counted() {
    // An hour of trickle into sand: much has passed the probe by the time of the peak.
    let trickle: Vec<_> = (0..20)
        .flat_map(|day| {
            (0..8).map(move |part| (EventTime::from_secs(day * 86_400 + 25_200 + part * 480), 3.0))
        })
        .collect();
    let mut signal = ProbeSignal::default();
    let found = wettings(&mut signal, &run(Soil::Sand, probe_every(5), 20, &trickle));
    let last = found.last().expect("a trickle of 24 mm is seen");
    assert!(last.gained.value > 1.05 * last.amplitude, "{last:?}");
    assert!(last.delay > Span::from_mins(20), "{last:?}");
}

#[test]
fn a_spike_a_gap_and_a_drop_are_no_wettings() {
    let mut signal = ProbeSignal::default();
    let record = run(Soil::SandyLoam, probe_every(15), 12, &[]);
    let broken = record.readings.iter().filter(|(at, _)| {
        let hours = at.millis() as f64 / 3_600_000.0;
        !(100.0..124.0).contains(&hours)
    });
    for (i, &(at, value)) in broken.enumerate() {
        let value = match i {
            300 => value + 0.2,
            500.. => value - 0.05,
            _ => value,
        };
        assert_eq!(signal.note(at, value).ended, None, "reading {i}");
    }
    let level = signal.content().expect("fed");
    assert!((level - record.readings.last().expect("readings").1 + 0.05).abs() < 0.01, "{level}");
}

#[test]
fn a_probe_at_its_ceiling_only_bounds() {
    let doses = doses(30, 8);
    let mut record = run(Soil::SandyLoam, probe_every(5), 30, &doses);
    for (_, value) in &mut record.readings {
        *value = value.min(0.39);
    }
    let found = wettings(&mut ProbeSignal::default(), &record);
    let at_ceiling = found.iter().filter(|w| w.peak > 0.387).count();
    let censored = found.iter().filter(|w| w.censored).count();
    assert!(at_ceiling > 10 && censored >= at_ceiling - 4, "{censored} of {at_ceiling} of {}", found.len());
    assert!(found.iter().filter(|w| w.peak < 0.38).all(|w| !w.censored));
}

#[test]
fn a_coarse_probe_does_not_invent_water() {
    let mut signal = ProbeSignal::default();
    let record = run(Soil::SandyLoam, Probe { resolution: 0.01, ..probe_every(15) }, 60, &[]);
    let found = wettings(&mut signal, &record);
    assert!(found.len() <= 3, "{found:?}");
    assert!(signal.resolution() > 0.02, "{}", signal.resolution());
}

#[test]
fn a_snapshot_in_the_midst_of_a_wetting_changes_nothing() {
    let record = run(Soil::SandyLoam, probe_every(15), 10, &doses(10, 9));
    let mut signal = ProbeSignal::default();
    let mut cut: Option<ProbeSignal> = None;
    for &(at, value) in &record.readings {
        let noted = signal.note(at, value);
        if let Some(restored) = &mut cut {
            assert_eq!(restored.note(at, value), noted);
        } else if signal.rising_since().is_some() && at > EventTime::from_secs(4 * 86_400) {
            let bytes = postcard::to_allocvec(&signal).expect("plain numbers serialise");
            cut = Some(postcard::from_bytes(&bytes).expect("what was written can be read"));
        }
    }
    assert_eq!(cut, Some(signal));
}
