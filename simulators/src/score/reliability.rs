//! Whether stated probabilities hold: when a finding says 0.9, it should be right about nine times in ten.

use std::collections::BTreeMap;

use serde::Serialize;

use super::tally::Part;

/// What one finding claimed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Claim {
    /// Its kind.
    pub finding: String,
    /// The probability that it stated.
    pub stated: f64,
    /// Whether it was right.
    pub right: bool,
}

/// Claims of one kind, or of about the same probability.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reliability {
    /// The kind of finding, or the range of the probability.
    pub of: String,
    /// Mean of what was stated.
    pub stated: f64,
    /// How many were right.
    pub right: Part,
}

/// Kinds whose probability is weighed anew each time, among explanations that sum to one.
const WEIGHED: [&str; 3] = ["blocked-outlet", "uneven-split", "sensor-implausible"];
/// Ends of the ranges of weighed probabilities.
const RANGES: [f64; 5] = [0.7, 0.8, 0.9, 0.95, 1.0];

/// Claims by kind, and those that were weighed by range.
pub fn reliability(claims: &[Claim]) -> Vec<Reliability> {
    let mut kinds: BTreeMap<&str, Vec<&Claim>> = BTreeMap::new();
    for claim in claims {
        kinds.entry(&claim.finding).or_default().push(claim);
    }
    let by_kind = kinds.into_iter().filter_map(|(kind, claims)| told(kind.to_owned(), &claims));
    let mut from = 0.0;
    let by_range = RANGES.map(|to| {
        let within = |claim: &&Claim| claim.stated > from && claim.stated <= to;
        let weighed = claims.iter().filter(|claim| WEIGHED.contains(&claim.finding.as_str()));
        let of = if from > 0.0 { format!("weighed, {from} to {to}") } else { format!("weighed, up to {to}") };
        let told = told(of, &weighed.filter(within).collect::<Vec<_>>());
        from = to;
        told
    });
    by_kind.chain(by_range.into_iter().flatten()).collect()
}

fn told(of: String, claims: &[&Claim]) -> Option<Reliability> {
    let all = claims.len();
    let right = Part { of: claims.iter().filter(|claim| claim.right).count(), all };
    let stated = claims.iter().map(|claim| claim.stated).sum::<f64>() / all as f64;
    (all > 0).then_some(Reliability { of, stated, right })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn claim(finding: &str, stated: f64, right: bool) -> Claim {
        Claim { finding: finding.to_owned(), stated, right }
    }

    #[test]
    fn claims_are_held_against_what_came_true() {
        let claims = [
            claim("ponding", 0.9, true),
            claim("uneven-split", 0.72, false),
            claim("uneven-split", 0.78, true),
            claim("blocked-outlet", 0.97, true),
        ];
        let told = reliability(&claims);
        let of = |name: &str| told.iter().find(|it| it.of == name).expect("told");
        assert_eq!(of("uneven-split").right, Part { of: 1, all: 2 });
        assert!((of("weighed, 0.7 to 0.8").stated - 0.75).abs() < 1e-9);
        assert_eq!(of("weighed, 0.95 to 1").right, Part { of: 1, all: 1 });
        assert!(told.iter().all(|it| it.of != "weighed, 0.8 to 0.9"));
    }
}
