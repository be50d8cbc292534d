//! Green–Ampt infiltration against Chow, Maidment & Mays (1988), *Applied Hydrology*, and against a
//! root-finding solution with `scipy.optimize.brentq` (falling-head times confirmed there by adaptive
//! integration of the differential equation to 1e-8). Centimetres and hours.

use basinward::stats::infiltration::GreenAmpt;

use crate::assert_close;

/// Example 4.3.1: silt loam at 30 % effective saturation, water standing for an hour. The book's answers
/// (3.17 cm and 1.81 cm/h, from memory) round Δθ to 0.340.
#[test]
fn example_4_3_1_of_applied_hydrology() {
    let soil = GreenAmpt { conductivity: 0.65, suction: 16.7, deficit: 0.3402 };
    let depth = soil.infiltrated(1.0);
    assert_close("depth, unrounded", depth, 3.167_21, 1e-5);
    assert_close("rate, unrounded", soil.rate(depth), 1.815_97, 1e-5);
    assert_close("depth of the book", depth, 3.17, 0.005);
    assert_close("rate of the book", soil.rate(depth), 1.81, 0.01);
}

/// Examples 4.4.1 and 4.4.2: the same soil with ψΔθ = 5.68 cm under steady rain. The book's answers: ponding
/// after 10.5 h at 1 cm/h and 0.17 h at 5 cm/h; then 3.02 cm and 1.87 cm/h after an hour (from memory).
#[test]
fn examples_4_4_1_and_4_4_2_of_applied_hydrology() {
    let soil = GreenAmpt { conductivity: 0.65, suction: 5.68 / 0.34, deficit: 0.34 };
    for (rain, computed, book, rounding) in [(1.0, 10.5486, 10.5, 0.05), (5.0, 0.169_747, 0.17, 0.005)] {
        let ponding = soil.time_to_ponding(rain).expect("rain above the conductivity ponds");
        assert_close("time to ponding", ponding, computed, 1e-4);
        assert_close("time to ponding of the book", ponding, book, rounding);
    }
    let depth = soil.infiltrated_under(5.0, 1.0);
    assert_close("depth", depth, 3.017_65, 1e-5);
    assert_close("rate", soil.rate(depth), 1.873_47, 1e-5);
    assert_close("depth of the book", depth, 3.02, 0.005);
    assert_close("rate of the book", soil.rate(depth), 1.87, 0.005);
    assert_close("before ponding all of it goes in", soil.infiltrated_under(5.0, 0.1), 0.5, 1e-12);
    assert_close("gentle rain goes in for ever", soil.infiltrated_under(0.5, 100.0), 50.0, 1e-12);
}

/// Soil parameters of Rawls, Brakensiek & Miller (1983), J. Hydraul. Eng. 109:62, at half effective
/// saturation: K, ψ, Δθ; depth and rate after an hour under a thin sheet; time for doses of 2, 5 and 10 cm to
/// soak away.
type Soil = (&'static str, [f64; 3], [f64; 2], [f64; 3]);
const SOILS: [Soil; 11] = [
    ("sand", [11.78, 4.95, 0.2085], [14.5839, 12.6137], [0.069_529_4, 0.236_216, 0.538_669]),
    ("loamy sand", [2.99, 6.13, 0.2005], [4.980_98, 3.727_79], [0.253_626, 0.893_02, 2.076_88]),
    ("sandy loam", [1.09, 11.01, 0.206], [3.002_42, 1.9134], [0.496_109, 1.984_97, 4.992_44]),
    ("loam", [0.34, 8.89, 0.217], [1.382_37, 0.814_477], [1.748_67, 6.744_86, 16.5568]),
    ("silt loam", [0.65, 16.68, 0.243], [2.747_78, 1.608_81], [0.556_945, 2.503_84, 6.857_66]),
    ("sandy clay loam", [0.15, 21.85, 0.165], [1.1423, 0.623_419], [2.658_03, 11.7961, 32.0419]),
    ("clay loam", [0.1, 20.88, 0.1545], [0.871_243, 0.470_271], [4.323_23, 18.7876, 50.224]),
    ("silty clay loam", [0.1, 27.3, 0.216], [1.153_65, 0.611_144], [2.719_23, 13.165, 38.4701]),
    ("sandy clay", [0.06, 23.9, 0.1605], [0.719_04, 0.380_089], [6.355_17, 28.5737, 78.4397]),
    ("silty clay", [0.05, 29.22, 0.2115], [0.819_812, 0.426_917], [5.238_51, 25.5823, 75.3673]),
    ("clay", [0.03, 31.63, 0.1925], [0.624_586, 0.322_455], [8.852_74, 43.2075, 127.275]),
];

#[test]
fn eleven_textures_under_a_sheet_of_water() {
    for (name, [conductivity, suction, deficit], [depth, rate], _) in SOILS {
        let soil = GreenAmpt { conductivity, suction, deficit };
        assert_close(name, soil.infiltrated(1.0) / depth, 1.0, 5e-6);
        assert_close(name, soil.rate(soil.infiltrated(1.0)) / rate, 1.0, 5e-6);
        assert_close(name, soil.time_to_infiltrate(depth), 1.0, 2e-5);
    }
}

#[test]
fn eleven_textures_drink_a_dose() {
    for (name, [conductivity, suction, deficit], _, times) in SOILS {
        let soil = GreenAmpt { conductivity, suction, deficit };
        for (dose, time) in [2.0, 5.0, 10.0].into_iter().zip(times) {
            assert_close(name, soil.time_to_dry(dose) / time, 1.0, 5e-6);
            assert_close(name, soil.infiltrated_of_dose(dose, time), dose, 1e-4);
            assert_close(name, soil.infiltrated_of_dose(dose, 2.0 * time), dose, 0.0);
        }
    }
}

/// EPA SWMM 5.2.4 (swmm-toolkit 0.17.0), a storage node with the same three parameters and 5 cm of water: empty
/// after 2.060 h on sandy loam, 7.036 h on loam, 2.580 h on silt loam. It runs 3 to 4 % slower than the closed
/// form.
#[test]
fn a_storm_water_model_agrees_within_five_per_cent() {
    for (conductivity, suction, deficit, swmm) in
        [(1.09, 11.01, 0.206, 2.060), (0.34, 8.89, 0.217, 7.036), (0.65, 16.68, 0.243, 2.580)]
    {
        let soil = GreenAmpt { conductivity, suction, deficit };
        assert_close("time to dry", soil.time_to_dry(5.0) / swmm, 1.0, 0.05);
    }
}

/// The falling head by brute force: dF/dt = K (1 + Δθ (ψ + H₀ − F)/F), Darcy's law with the head H₀ − F above
/// a front at depth F/Δθ.
#[test]
fn the_falling_head_solves_darcys_law() {
    let soil = GreenAmpt { conductivity: 0.34, suction: 8.89, deficit: 0.217 };
    let head = 5.0;
    let rate = |depth: f64| soil.conductivity * (1.0 + soil.deficit * (soil.suction + head - depth) / depth);
    // Time is the integral of 1/rate over depth, here by the midpoint rule.
    let steps = 20_000;
    let width = head / f64::from(steps);
    let time: f64 = (0..steps).map(|i| width / rate(width * (f64::from(i) + 0.5))).sum();
    assert_close("time to dry", soil.time_to_dry(head), time, 1e-6);
}
