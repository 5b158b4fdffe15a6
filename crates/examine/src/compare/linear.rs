//! Small symmetric systems: accumulate, factorise, solve, invert.
//!
//! In: rows of a least-squares problem. Out: solutions and covariances. Written out here so that the
//! bits do not depend on which vector instructions a machine has.
//! Never here: what the unknowns mean.

/// A symmetric matrix of order n, kept whole, row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Symmetric {
    n: usize,
    a: Vec<f64>,
}

impl Symmetric {
    /// All zeros.
    #[must_use]
    pub fn zeros(n: usize) -> Self {
        Self { n, a: vec![0.0; n * n] }
    }

    /// Its order.
    #[must_use]
    pub fn order(&self) -> usize {
        self.n
    }

    /// The value in row i, column j.
    #[must_use]
    pub fn at(&self, i: usize, j: usize) -> f64 {
        if i >= j { self.a[i * self.n + j] } else { self.a[j * self.n + i] }
    }

    /// Adds to the value at (i, j) and (j, i).
    pub fn add(&mut self, i: usize, j: usize, value: f64) {
        let (i, j) = if i >= j { (i, j) } else { (j, i) };
        self.a[i * self.n + j] += value;
    }

    /// Adds `weight` × row × rowᵀ (lower triangle).
    pub fn add_outer(&mut self, row: &[f64], weight: f64) {
        for (i, r) in row.iter().enumerate().take(self.n) {
            let f = weight * r;
            if f != 0.0 {
                for (a, c) in self.a[i * self.n..=i * self.n + i].iter_mut().zip(row) {
                    *a += f * c;
                }
            }
        }
    }

    /// Adds `factor` × another of the same order.
    pub fn add_scaled(&mut self, other: &Self, factor: f64) {
        for (a, b) in self.a.iter_mut().zip(&other.a) {
            *a += factor * b;
        }
    }

    /// Cholesky factor; nothing when the matrix is not positive definite.
    #[must_use]
    pub fn factor(&self) -> Option<Factor> {
        let n = self.n;
        let mut l = self.a.clone();
        for i in 0..n {
            for j in 0..=i {
                let (row_i, row_j) = (&l[i * n..i * n + j], &l[j * n..j * n + j]);
                let dot: f64 = row_i.iter().zip(row_j).map(|(a, b)| a * b).sum();
                let rest = l[i * n + j] - dot;
                if i == j {
                    if !(rest > 0.0 && rest.is_finite()) {
                        return None;
                    }
                    l[i * n + i] = rest.sqrt();
                } else {
                    l[i * n + j] = rest / l[j * n + j];
                }
            }
        }
        Some(Factor { n, l })
    }
}

/// The lower-triangular Cholesky factor L of A = L Lᵀ.
#[derive(Debug, Clone, PartialEq)]
pub struct Factor {
    n: usize,
    l: Vec<f64>,
}

impl Factor {
    /// x of A x = b.
    #[must_use]
    #[allow(clippy::needless_range_loop)] // Triangles are read by index.
    pub fn solve(&self, b: &[f64]) -> Vec<f64> {
        let mut x = self.forward(b);
        for i in (0..self.n).rev() {
            let mut rest = x[i];
            for k in i + 1..self.n {
                rest -= self.l[k * self.n + i] * x[k];
            }
            x[i] = rest / self.l[i * self.n + i];
        }
        x
    }

    /// y of L y = b, so that bᵀ A⁻¹ c = y_b · y_c.
    #[must_use]
    pub fn forward(&self, b: &[f64]) -> Vec<f64> {
        let mut y = b.to_vec();
        for i in 0..self.n {
            let dot: f64 = self.l[i * self.n..i * self.n + i].iter().zip(&y).map(|(a, v)| a * v).sum();
            y[i] = (y[i] - dot) / self.l[i * self.n + i];
        }
        y
    }

    /// Natural logarithm of the determinant of A.
    #[must_use]
    pub fn ln_determinant(&self) -> f64 {
        2.0 * (0..self.n).map(|i| casebook::elementary::ln(self.l[i * self.n + i])).sum::<f64>()
    }
}

/// Inner product in a fixed order.
#[must_use]
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
#[allow(clippy::needless_range_loop)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_solution_solves(rows in proptest::collection::vec(proptest::collection::vec(-1.0..1.0_f64, 6), 12),
                               b in proptest::collection::vec(-1.0..1.0_f64, 6)) {
            let mut a = Symmetric::zeros(6);
            for row in &rows { a.add_outer(row, 1.0); }
            for i in 0..6 { a.add(i, i, 0.05); }
            let factor = a.factor().expect("positive by construction");
            let x = factor.solve(&b);
            for i in 0..6 {
                let back: f64 = (0..6).map(|j| a.at(i, j) * x[j]).sum();
                prop_assert!((back - b[i]).abs() < 1e-9);
            }
            let y = factor.forward(&b);
            prop_assert!((dot(&y, &y) - dot(&b, &x)).abs() < 1e-9 * (1.0 + dot(&b, &x)));
        }
    }

    #[test]
    fn indefinite_is_refused() {
        let mut a = Symmetric::zeros(2);
        a.add(0, 0, 1.0);
        a.add(1, 1, 1.0);
        a.add(1, 0, 2.0);
        assert!(a.factor().is_none());
    }
}
