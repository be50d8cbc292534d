//! Where the water of a flood or pond stands now.

use serde::Serialize;

/// What the floats of a basin say of the water of which a flood or pond was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WaterNow {
    /// The overflow float is up.
    AtRim,
    /// The float is up, and the water was not at the rim.
    AtFloat,
    /// It was at the rim and is there no more; the float below is still up.
    Sunk,
    /// No float is up.
    Gone,
    /// Nothing was heard lately that tells.
    Unheard,
}
