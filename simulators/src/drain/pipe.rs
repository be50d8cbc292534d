//! Flow in a partly filled round pipe: Manning's formula, Q = (1/n) A R^(2/3) S^(1/2).

use std::f64::consts::PI;

/// A pipe laid to a fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pipe {
    /// Inside diameter (m).
    pub diameter_m: f64,
    /// Fall (m/m).
    pub slope: f64,
    /// Manning's roughness (s m^(-1/3)).
    pub roughness: f64,
}

/// What flows at one depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// Depth of the water (mm).
    pub depth_mm: f64,
    /// Water in a metre of pipe (L/m).
    pub litres_per_m: f64,
    /// Flow (L/min).
    pub l_min: f64,
    /// Mean velocity (m/s).
    pub velocity_m_s: f64,
}

impl Pipe {
    /// Smooth plastic of 2 inches at 1/4 inch a foot: the least that Utah R317-401-7 allows. Roughness 0.011 is the
    /// low end for smooth plastic in the EPA SWMM 5 manual.
    pub const DRAIN: Self = Self { diameter_m: 0.0508, slope: 1.0 / 48.0, roughness: 0.011 };

    /// The flow when the wetted part of the wall spans the angle `angle` (rad, 0 to 2π) at the pipe's centre.
    fn at_angle(&self, angle: f64) -> Flow {
        let radius = 0.5 * self.diameter_m;
        let area = 0.5 * radius * radius * (angle - angle.sin());
        let hydraulic_radius = area / (radius * angle);
        let velocity = hydraulic_radius.powf(2.0 / 3.0) * self.slope.sqrt() / self.roughness;
        Flow {
            depth_mm: 1000.0 * radius * (1.0 - (0.5 * angle).cos()),
            litres_per_m: 1000.0 * area,
            l_min: 60_000.0 * area * velocity,
            velocity_m_s: velocity,
        }
    }

    /// The flow that just fills the pipe.
    pub fn full(&self) -> Flow {
        self.at_angle(2.0 * PI)
    }

    /// The steady flow of `l_min`, found by bisection up to the depth of greatest flow (an angle of 302.4°).
    pub fn steady(&self, l_min: f64) -> Flow {
        let (mut low, mut high) = (1e-6, 5.278);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if self.at_angle(middle).l_min < l_min {
                low = middle;
            } else {
                high = middle;
            }
        }
        self.at_angle(low)
    }
}
