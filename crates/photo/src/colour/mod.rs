//! CIE colour: transfer functions, RGB spaces, XYZ, CIELAB and the CIEDE2000 difference.
//!
//! In: numbers in a stated space and range. Out: the same in another. Never here: files, pictures'
//! geometry, a judgement of what a difference means.
//!
//! Read [`transfer`] (code value to light), [`space`] (primaries, matrices, adaptation), [`lab`],
//! [`difference`] (the scalar reference of CIEDE2000) and [`fast`] (the same over slices, with a
//! stated error bound).

pub mod difference;
pub mod fast;
pub mod lab;
pub mod space;
pub mod transfer;

pub use difference::delta_e_2000;
pub use fast::{delta_e_2000_slice, linear_to_lab_slice};
pub use lab::{Lab, lab_from_linear, lab_from_xyz, linear_from_lab, xyz_from_lab};
pub use space::{Matrix3, RgbSpace, WhitePoint};
pub use transfer::Transfer;
