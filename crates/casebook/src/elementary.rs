//! Elementary functions that give the same bits on every machine.
//!
//! The standard library leaves the accuracy of `sin`, `exp`, `powf` and their kin to the platform, so
//! a saved opinion would not recompute exactly elsewhere. These are `libm`'s software versions;
//! `clippy.toml` forbids the standard ones. `sqrt`, `abs`, `floor` and `mul_add` are exact by
//! IEEE 754 and stay allowed.
//!
//! In: a float. Out: a float. Never here: anything with a unit.

macro_rules! one {
    ($($(#[$doc:meta])* $name:ident => $f64:ident, $f32:ident, $short:ident;)*) => {$(
        $(#[$doc])*
        #[inline]
        #[must_use]
        pub fn $name(x: f64) -> f64 { libm::$f64(x) }

        #[doc = concat!("[`", stringify!($name), "`] in single precision.")]
        #[inline]
        #[must_use]
        pub fn $short(x: f32) -> f32 { libm::$f32(x) }
    )*};
}

one! {
    /// Sine of an angle in radians.
    sin => sin, sinf, sin32;
    /// Cosine of an angle in radians.
    cos => cos, cosf, cos32;
    /// Tangent of an angle in radians.
    tan => tan, tanf, tan32;
    /// Arc sine in radians; NaN outside −1..1.
    asin => asin, asinf, asin32;
    /// Arc cosine in radians; NaN outside −1..1.
    acos => acos, acosf, acos32;
    /// Arc tangent in radians.
    atan => atan, atanf, atan32;
    /// e to the x.
    exp => exp, expf, exp32;
    /// e to the x, minus 1, accurate near 0.
    exp_m1 => expm1, expm1f, exp_m1_32;
    /// 2 to the x.
    exp2 => exp2, exp2f, exp2_32;
    /// 10 to the x.
    exp10 => exp10, exp10f, exp10_32;
    /// Natural logarithm.
    ln => log, logf, ln32;
    /// Natural logarithm of 1 + x, accurate near 0.
    ln_1p => log1p, log1pf, ln_1p_32;
    /// Logarithm to base 2.
    log2 => log2, log2f, log2_32;
    /// Logarithm to base 10.
    log10 => log10, log10f, log10_32;
    /// Cube root.
    cbrt => cbrt, cbrtf, cbrt32;
    /// Hyperbolic tangent.
    tanh => tanh, tanhf, tanh32;
}

/// `x` to the power `y`.
#[inline]
#[must_use]
pub fn pow(x: f64, y: f64) -> f64 {
    libm::pow(x, y)
}

/// [`pow`] in single precision.
#[inline]
#[must_use]
pub fn pow32(x: f32, y: f32) -> f32 {
    libm::powf(x, y)
}

/// Angle of the point (x, y) from the positive x axis, radians in −π..π.
#[inline]
#[must_use]
pub fn atan2(y: f64, x: f64) -> f64 {
    libm::atan2(y, x)
}

/// [`atan2`] in single precision.
#[inline]
#[must_use]
pub fn atan2_32(y: f32, x: f32) -> f32 {
    libm::atan2f(y, x)
}

/// √(x² + y²) without overflow.
#[inline]
#[must_use]
pub fn hypot(x: f64, y: f64) -> f64 {
    libm::hypot(x, y)
}

/// [`hypot`] in single precision.
#[inline]
#[must_use]
pub fn hypot32(x: f32, y: f32) -> f32 {
    libm::hypotf(x, y)
}
