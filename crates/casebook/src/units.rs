//! Quantities with their unit in the type, and a value that never travels without its uncertainty.
//!
//! In: plain numbers. Out: newtypes that serialise as the number alone; the field's name or the
//! schema says the unit. Never here: arithmetic that mixes units.
//!
//! Sources: `jcgm100` (standard uncertainty).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// The unit's symbol as reports print it.
            pub const SYMBOL: &'static str = $symbol;
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                if let Some(digits) = f.precision() {
                    write!(f, "{:.*} {}", digits, self.0, $symbol)
                } else {
                    write!(f, "{} {}", self.0, $symbol)
                }
            }
        }
    };
}

unit!(
    /// A length on a face, in millimetres.
    Millimetres, "mm"
);
unit!(
    /// A weight of evidence: log10 of a likelihood ratio, in bans.
    /// Positive supports the first hypothesis named. Source: `good1985`.
    Bans, "ban"
);
unit!(
    /// A plane angle in degrees.
    Degrees, "°"
);
unit!(
    /// Photo resolution on the face: pixels per millimetre.
    PxPerMm, "px/mm"
);

/// An axis-parallel rectangle on a face: origin top-left of the face, x right, y down, millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RectMm {
    /// Left edge, mm from the face's left edge.
    pub x: f64,
    /// Top edge, mm from the face's top edge.
    pub y: f64,
    /// Width in mm, positive.
    pub width: f64,
    /// Height in mm, positive.
    pub height: f64,
}

impl RectMm {
    /// The rectangle from its corner and size, all in mm.
    #[must_use]
    pub const fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self { x, y, width, height }
    }

    /// Centre (x, y) in mm.
    #[must_use]
    pub fn centre(&self) -> (f64, f64) {
        (self.x + self.width / 2.0, self.y + self.height / 2.0)
    }

    /// Corners (x, y) in mm: top-left, top-right, bottom-right, bottom-left.
    #[must_use]
    pub fn corners(&self) -> [(f64, f64); 4] {
        let (right, bottom) = (self.x + self.width, self.y + self.height);
        [(self.x, self.y), (right, self.y), (right, bottom), (self.x, bottom)]
    }

    /// Whether width and height are positive and every number is finite.
    #[must_use]
    pub fn is_proper(&self) -> bool {
        [self.x, self.y, self.width, self.height].iter().all(|v| v.is_finite())
            && self.width > 0.0
            && self.height > 0.0
    }
}

/// A physical fact with the tolerance its source gives: `value ± tolerance` in the field's unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Toleranced {
    /// Nominal value.
    pub value: f64,
    /// Half-width of the interval that genuine items keep to; rectangular distribution assumed,
    /// so the standard uncertainty is `tolerance / √3` (`jcgm100` 4.3.7).
    pub tolerance: f64,
}

impl Toleranced {
    /// Standard uncertainty of the fact (k = 1).
    #[must_use]
    pub fn standard_uncertainty(&self) -> f64 {
        self.tolerance / 3.0_f64.sqrt()
    }
}
