//! Small symmetric matrices, row-major, up to a few dozen rows.
//!
//! In: a symmetric matrix. Out: its Cholesky factor, and from it determinant and distance. Plain
//! loops in a fixed order, so that the bits do not depend on the processor.

/// Lower Cholesky factor `L` of a symmetric positive definite matrix, `A = L Lᵀ`.
#[derive(Debug, Clone, PartialEq)]
pub struct Cholesky {
    size: usize,
    lower: Vec<f64>,
}

impl Cholesky {
    /// Factors the `size × size` matrix; `None` when it is not positive definite.
    #[must_use]
    pub fn new(matrix: &[f64], size: usize) -> Option<Self> {
        let mut lower = vec![0.0; size * size];
        for i in 0..size {
            for j in 0..=i {
                let mut sum = *matrix.get(i * size + j)?;
                for k in 0..j {
                    sum -= lower[i * size + k] * lower[j * size + k];
                }
                if i == j {
                    if sum.is_nan() || sum <= 1e-12 {
                        return None;
                    }
                    lower[i * size + i] = sum.sqrt();
                } else {
                    lower[i * size + j] = sum / lower[j * size + j];
                }
            }
        }
        Some(Self { size, lower })
    }

    /// The product of the factor's diagonal, whose square is the determinant, as a sum of logarithms.
    #[must_use]
    pub fn half_ln_determinant(&self) -> f64 {
        (0..self.size).map(|i| casebook::elementary::ln(self.lower[i * self.size + i])).sum()
    }

    /// `xᵀ A⁻¹ x`.
    #[must_use]
    pub fn squared_distance(&self, x: &[f64]) -> f64 {
        let mut solved = vec![0.0; self.size];
        let mut sum = 0.0;
        for i in 0..self.size {
            let mut value = x[i];
            for (k, earlier) in solved[..i].iter().enumerate() {
                value -= self.lower[i * self.size + k] * earlier;
            }
            solved[i] = value / self.lower[i * self.size + i];
            sum += solved[i] * solved[i];
        }
        sum
    }

    /// `L z`: turns independent deviates into correlated ones.
    #[must_use]
    pub fn correlate(&self, z: &[f64]) -> Vec<f64> {
        (0..self.size).map(|i| (0..=i).map(|k| self.lower[i * self.size + k] * z[k]).sum()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn factor_rebuilds_the_matrix() {
        let a = [4.0, 2.0, 0.6, 2.0, 5.0, 1.0, 0.6, 1.0, 3.0];
        let factor = Cholesky::new(&a, 3).unwrap();
        for i in 0..3 {
            let column: Vec<f64> = (0..3).map(|k| f64::from(u8::from(k == i))).collect();
            // e_i = A x  ⇔  squared distance of A e_i from 0 is e_iᵀ A e_i = a_ii.
            let image: Vec<f64> = (0..3).map(|r| (0..3).map(|c| a[r * 3 + c] * column[c]).sum()).collect();
            assert!((factor.squared_distance(&image) - a[i * 3 + i]).abs() < 1e-12);
        }
        // Determinant by Sarrus.
        let det = 4.0 * (15.0 - 1.0) - 2.0 * (6.0 - 0.6) + 0.6 * (2.0 - 3.0);
        let ours = casebook::elementary::exp(2.0 * factor.half_ln_determinant());
        assert!((ours - det).abs() < 1e-9, "{ours} {det}");
        assert_eq!(Cholesky::new(&[1.0, 2.0, 2.0, 1.0], 2), None);
    }
}
