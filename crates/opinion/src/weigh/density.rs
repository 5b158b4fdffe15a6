//! Class densities that few specimens can carry: multivariate Student with shared shape.
//!
//! Each feature has a robust location and scale per class (maximum likelihood under Student's t with
//! [`DEGREES`] degrees of freedom); correlations are pooled within classes and shrunk; differences
//! between the classes that the specimens do not show clearly are shrunk to none. A feature that
//! could not be read is marginalised exactly, by leaving its row and column out.
//!
//! Products differ, and so do lines: a line's sealed specimens may lie off the centre of all, and a
//! product's off that of its line, each by as much as its own specimens show and no more. So a library
//! that begins with shipped specimens of other lines comes to speak of its own as they accumulate.
//!
//! In: [`Sample`]s. Out: [`ClassModel`] with the log density of a row under both classes, up to a
//! term common to both. Never here: calibration.
//!
//! Sources: `lange1989` (t by EM), `schaefer2005` (shrunk correlations), `tibshirani2002` (shrunken
//! centroids), `jcgm100` (variances of independent noise add).

use casebook::elementary::{exp, ln};

use super::Sample;
use crate::numeric::matrix::Cholesky;
use crate::numeric::order::weighted_median;
use crate::table::Cell;

/// Degrees of freedom of every class density: tails that let single outliers count little.
pub(crate) const DEGREES: f64 = 5.0;
/// Least correlation shrinkage, so that a handful of specimens never gives a singular matrix.
const MIN_SHRINKAGE: f64 = 0.1;
/// Weight, in specimens, of the pooled scale when a class has its own.
const SCALE_PRIOR: f64 = 8.0;
/// Residuals are cut here, in scales, before correlations are taken.
const CLIP: f64 = 3.0;
/// Steps of the EM iteration; the location moves by less than 1e-3 scales after ten.
const EM_STEPS: usize = 10;
/// Lines and products with at least that many sealed specimens have a centre of their own.
const MIN_PER_PRODUCT: f64 = 3.0;

/// What the two classes share and how strongly unclear differences are shrunk.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// Whether each class has its own scales (shrunk to the pooled ones) or both share them.
    pub own_scales: bool,
    /// Whether correlations are used.
    pub correlations: bool,
    /// Differences below that many standard errors are taken as none, larger ones reduced by it.
    pub threshold: f64,
    /// Whether class densities have the tails of a normal distribution of the same variance instead of
    /// Student's.
    pub normal: bool,
}

/// Where an item stands among the specimens: its line and its product, each as an index, where any
/// specimen has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Kin {
    /// The line.
    pub line: Option<usize>,
    /// The product.
    pub product: Option<usize>,
}

/// Levels above the single specimen, for one level the offsets of its groups from what is above and the
/// variance between groups, by column.
#[derive(Debug, Clone, PartialEq, Default)]
struct Level {
    offsets: Vec<Vec<f64>>,
    between: Vec<f64>,
}

impl Level {
    /// Offset and added variance for a member of a group, or for one that is in none of them.
    fn of(&self, group: Option<usize>, column: usize) -> (f64, f64) {
        match group.and_then(|g| self.offsets.get(g)) {
            Some(own) => (own.get(column).copied().unwrap_or(0.0), 0.0),
            None => (0.0, self.between.get(column).copied().unwrap_or(0.0)),
        }
    }
}

/// One class: location and scale a column.
#[derive(Debug, Clone, PartialEq)]
struct Class {
    location: Vec<f64>,
    scale: Vec<f64>,
    /// Specimens (not rows) with the column.
    count: Vec<f64>,
}

/// Both classes of one comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassModel {
    classes: [Class; 2],
    /// Pooled within-class correlations, row-major.
    correlation: Vec<f64>,
    /// Mean squared standard uncertainty that the training rows already carry, by column.
    carried: Vec<f64>,
    /// Lines against the grand sealed centre, and products against their line.
    levels: [Level; 2],
    normal: bool,
}

/// What a set of rows says before anything is shrunk; the same for every [`Shape`].
#[derive(Debug, Clone, PartialEq)]
pub struct Base {
    classes: [Class; 2],
    correlation: Vec<f64>,
    carried: Vec<f64>,
    levels: [Level; 2],
}

/// Each row's weight: a specimen counts once, however often it was photographed.
fn weights(samples: &[&Sample], multiplicity: &[f64]) -> Vec<f64> {
    let top = samples.iter().map(|s| s.specimen + 1).max().unwrap_or(0);
    let mut rows = vec![0.0_f64; top];
    for sample in samples {
        rows[sample.specimen] += 1.0;
    }
    samples
        .iter()
        .map(|s| multiplicity.get(s.specimen).copied().unwrap_or(1.0) / rows[s.specimen].max(1.0))
        .collect()
}

/// Location and scale of weighted values under Student's t, by EM from median and mean deviation.
fn student_fit(pairs: &[(f64, f64)]) -> (f64, f64) {
    let total: f64 = pairs.iter().map(|p| p.1).sum();
    let mut location = weighted_median(pairs);
    let deviations: Vec<(f64, f64)> = pairs.iter().map(|p| ((p.0 - location).abs(), p.1)).collect();
    // 1.4826 MAD is the standard deviation of a normal; the iteration corrects it for Student's.
    let mut variance = weighted_median(&deviations) * 1.4826;
    variance *= variance;
    if variance == 0.0 {
        variance =
            pairs.iter().map(|p| p.1 * (p.0 - location) * (p.0 - location)).sum::<f64>() / total.max(1e-300);
    }
    if variance.is_nan() || variance <= 0.0 {
        return (location, 0.0);
    }
    for _ in 0..EM_STEPS {
        let (mut w_sum, mut x_sum) = (0.0, 0.0);
        for (value, weight) in pairs {
            let z = (value - location) * (value - location) / variance;
            let w = weight * (DEGREES + 1.0) / (DEGREES + z);
            w_sum += w;
            x_sum += w * value;
        }
        location = x_sum / w_sum;
        let mut s_sum = 0.0;
        for (value, weight) in pairs {
            let d = (value - location) * (value - location);
            s_sum += weight * (DEGREES + 1.0) / (DEGREES + d / variance) * d;
        }
        variance = (s_sum / total).max(1e-300);
    }
    (location, variance.sqrt())
}

impl Base {
    /// Fits both classes, feature by feature.
    ///
    /// # Input
    /// `samples`: rows of equal length of both classes. `multiplicity`: how often each specimen
    /// counts (1 each; other values when specimens are resampled); missing entries count 1.
    ///
    /// # Result
    /// `None` when a class has no row or there is no column.
    #[must_use]
    pub fn fit(samples: &[&Sample], multiplicity: &[f64]) -> Option<Self> {
        let columns = samples.first()?.cells.len();
        if columns == 0 || !(0..2).all(|class| samples.iter().any(|s| s.class == class)) {
            return None;
        }
        let weights = weights(samples, multiplicity);
        let raw = |s: &Sample, column: usize| s.cells[column].map(|cell| cell.0);
        let lines = level(samples, &weights, columns, &|s| s.line, &raw);
        let within = |s: &Sample, column: usize| raw(s, column).map(|v| v - lines.of(Some(s.line), column).0);
        let products = level(samples, &weights, columns, &|s| s.product, &within);
        let value =
            |s: &Sample, column: usize| within(s, column).map(|v| v - products.of(Some(s.product), column).0);
        let classes = [0, 1].map(|class| Class::fit(samples, &weights, class, columns, &value));
        let carried = (0..columns)
            .map(|column| {
                let (mut sum, mut total) = (0.0, 0.0);
                for (sample, weight) in samples.iter().zip(&weights) {
                    if let Some((_, u)) = sample.cells[column] {
                        sum += weight * u * u;
                        total += weight;
                    }
                }
                if total > 0.0 { sum / total } else { 0.0 }
            })
            .collect();
        let correlation = correlations(samples, &weights, &classes, columns, &value);
        Some(Self { classes, correlation, carried, levels: [lines, products] })
    }

    /// The model of one shape.
    #[must_use]
    pub fn shaped(&self, shape: Shape) -> ClassModel {
        let mut classes = self.classes.clone();
        shrink(&mut classes, shape);
        ClassModel {
            classes,
            correlation: if shape.correlations {
                self.correlation.clone()
            } else {
                identity(self.carried.len())
            },
            carried: self.carried.clone(),
            levels: self.levels.clone(),
            normal: shape.normal,
        }
    }
}

impl ClassModel {
    /// Fits both classes; see [`Base::fit`].
    #[must_use]
    pub fn fit(samples: &[&Sample], multiplicity: &[f64], shape: Shape) -> Option<Self> {
        Some(Base::fit(samples, multiplicity)?.shaped(shape))
    }

    /// Log densities (natural, up to a common term) of a row under sealed and under the alternative,
    /// and the squared distances from both, with the number of columns that were read.
    ///
    /// Noise beyond what the training rows carry widens the density; so do a line or a product that no
    /// specimen stands for, and the error of the fitted location.
    #[must_use]
    pub fn log_densities(&self, cells: &[Option<Cell>], kin: Kin) -> Densities {
        let used: Vec<usize> = (0..cells.len())
            .filter(|c| cells[*c].is_some() && self.classes.iter().all(|class| class.count[*c] >= 2.0))
            .collect();
        let d = used.len();
        let mut out = Densities { log: [0.0; 2], squared_distance: [0.0; 2], columns: d };
        if d == 0 {
            return out;
        }
        for (index, class) in self.classes.iter().enumerate() {
            let mut scale = Vec::with_capacity(d);
            let mut deviation = Vec::with_capacity(d);
            for column in &used {
                let (value, u) = cells[*column].unwrap_or((0.0, 0.0));
                let own = class.scale[*column] * class.scale[*column] * (1.0 + 1.0 / class.count[*column]);
                let noise = (u * u - self.carried[*column]).max(0.0);
                let (of_line, strange_line) = self.levels[0].of(kin.line, *column);
                let (of_product, strange_product) = self.levels[1].of(kin.product, *column);
                scale.push((own + noise + strange_line + strange_product).sqrt());
                let offset = of_line + of_product;
                deviation.push(value - offset - class.location[*column]);
            }
            let size = self.carried.len();
            let mut matrix = vec![0.0; d * d];
            for (i, a) in used.iter().enumerate() {
                for (j, b) in used.iter().enumerate() {
                    matrix[i * d + j] = self.correlation[a * size + b];
                }
            }
            let z: Vec<f64> = deviation.iter().zip(&scale).map(|(x, s)| x / s).collect();
            let (distance, half_ln_det) = Cholesky::new(&matrix, d).map_or_else(
                || (z.iter().map(|v| v * v).sum(), 0.0),
                |factor| (factor.squared_distance(&z), factor.half_ln_determinant()),
            );
            let ln_scales: f64 = scale.iter().map(|s| ln(*s)).sum();
            out.squared_distance[index] = distance;
            let tails = if self.normal {
                // A normal distribution with the variance that Student's has.
                distance * (DEGREES - 2.0) / DEGREES / 2.0
            } else {
                (DEGREES + d as f64) / 2.0 * ln(1.0 + distance / DEGREES)
            };
            out.log[index] = -ln_scales - half_ln_det - tails;
        }
        out
    }
}

/// Log densities of one row under both classes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Densities {
    /// Natural logarithms, up to a term common to both.
    pub log: [f64; 2],
    /// Squared Mahalanobis distances.
    pub squared_distance: [f64; 2],
    /// Columns used.
    pub columns: usize,
}

impl Class {
    fn fit(
        samples: &[&Sample],
        weights: &[f64],
        class: usize,
        columns: usize,
        value: &impl Fn(&Sample, usize) -> Option<f64>,
    ) -> Self {
        let mut out =
            Self { location: vec![0.0; columns], scale: vec![0.0; columns], count: vec![0.0; columns] };
        for column in 0..columns {
            let pairs: Vec<(f64, f64)> = samples
                .iter()
                .zip(weights)
                .filter(|(s, w)| s.class == class && **w > 0.0)
                .filter_map(|(s, w)| value(s, column).map(|v| (v, *w)))
                .collect();
            if !pairs.is_empty() {
                (out.location[column], out.scale[column]) = student_fit(&pairs);
                out.count[column] = pairs.iter().map(|p| p.1).sum();
            }
        }
        out
    }
}

/// Shrinks what the specimens do not show clearly.
fn shrink(classes: &mut [Class; 2], shape: Shape) {
    let columns = classes[0].location.len();
    for column in 0..columns {
        let [n0, n1] = [0, 1].map(|c: usize| classes[c].count[column]);
        let [v0, v1] = [0, 1].map(|c: usize| classes[c].scale[column] * classes[c].scale[column]);
        let pooled = (n0 * v0 + n1 * v1) / (n0 + n1).max(1e-300);
        // A scale of nothing (all specimens alike to the last digit) would make any other value
        // infinitely improbable: the pooled scale stands in for a twentieth, or any positive number.
        let floor = (pooled * 0.0025).max(1e-18);
        let errors = (pooled * (1.0 / n0.max(1.0) + 1.0 / n1.max(1.0))).sqrt();
        let difference = classes[1].location[column] - classes[0].location[column];
        let kept = (difference.abs() - shape.threshold * errors).max(0.0) * difference.signum();
        if n0 >= 1.0 && n1 >= 1.0 {
            classes[1].location[column] = classes[0].location[column] + kept;
        }
        // Standard error of half the log variance ratio of normal samples: √(1/2n₀ + 1/2n₁).
        let ratio = if v0 > 0.0 && v1 > 0.0 { 0.5 * ln(v1 / v0) } else { 0.0 };
        let ratio_error = (0.5 / n0.max(1.0) + 0.5 / n1.max(1.0)).sqrt();
        let clear = (ratio.abs() - shape.threshold * ratio_error).max(0.0) * ratio.signum();
        for (class, n) in [(0, n0), (1, n1)] {
            let variance = if shape.own_scales && pooled > 0.0 {
                // The log ratio that is kept is spread over both classes around the pooled scale.
                let own_ln = if class == 0 { -clear * n1 / (n0 + n1) } else { clear * n0 / (n0 + n1) };
                let own = pooled * exp(2.0 * own_ln);
                (n * own + SCALE_PRIOR * pooled) / (n + SCALE_PRIOR)
            } else {
                pooled
            };
            classes[class].scale[column] = variance.max(floor).sqrt();
        }
    }
}

fn identity(size: usize) -> Vec<f64> {
    (0..size * size).map(|at| f64::from(u8::from(at / size == at % size))).collect()
}

/// Within-class correlations of cut residuals, shrunk towards none.
fn correlations(
    samples: &[&Sample],
    weights: &[f64],
    classes: &[Class; 2],
    columns: usize,
    value: &impl Fn(&Sample, usize) -> Option<f64>,
) -> Vec<f64> {
    let residuals: Vec<Vec<Option<f64>>> = samples
        .iter()
        .map(|s| {
            (0..columns)
                .map(|c| {
                    let class = &classes[s.class];
                    value(s, c)
                        .filter(|_| class.scale[c] > 0.0)
                        .map(|v| ((v - class.location[c]) / class.scale[c]).clamp(-CLIP, CLIP))
                })
                .collect()
        })
        .collect();
    let mut raw = identity(columns);
    let (mut noise, mut signal) = (0.0, 0.0);
    for i in 0..columns {
        for j in 0..i {
            let (mut xy, mut xx, mut yy, mut n) = (0.0, 0.0, 0.0, 0.0);
            for (row, weight) in residuals.iter().zip(weights) {
                if let (Some(x), Some(y)) = (row[i], row[j]) {
                    xy += weight * x * y;
                    xx += weight * x * x;
                    yy += weight * y * y;
                    n += weight;
                }
            }
            if n >= 3.0 && xx > 0.0 && yy > 0.0 {
                let r = (xy / (xx * yy).sqrt()).clamp(-1.0, 1.0);
                raw[i * columns + j] = r;
                raw[j * columns + i] = r;
                // Large-sample variance of a correlation.
                noise += (1.0 - r * r) * (1.0 - r * r) / (n - 1.0);
                signal += r * r;
            }
        }
    }
    let mut shrinkage = if signal > 0.0 { (noise / signal).clamp(MIN_SHRINKAGE, 1.0) } else { 1.0 };
    // Correlations over different specimens need not make a possible matrix; shrink until they do.
    loop {
        let mut out = raw.clone();
        for (at, r) in out.iter_mut().enumerate() {
            if at / columns != at % columns {
                *r *= 1.0 - shrinkage;
            }
        }
        if shrinkage >= 1.0 || Cholesky::new(&out, columns).is_some() {
            return out;
        }
        shrinkage = (shrinkage + 0.1).min(1.0);
    }
}

/// How far each group's sealed specimens lie from all of them, shrunk by how well that is known, and
/// the variance between groups. With one group there is nothing to compare: no offset, no variance.
fn level(
    samples: &[&Sample],
    weights: &[f64],
    columns: usize,
    group_of: &dyn Fn(&Sample) -> usize,
    value: &dyn Fn(&Sample, usize) -> Option<f64>,
) -> Level {
    let groups = samples.iter().map(|s| group_of(s) + 1).max().unwrap_or(0);
    let mut offsets = vec![vec![0.0; columns]; groups];
    let mut between = vec![0.0; columns];
    if groups < 2 {
        return Level { offsets, between };
    }
    for column in 0..columns {
        let mut own: Vec<(usize, f64, f64, f64)> = Vec::new(); // group, count, location, scale
        for group in 0..groups {
            let pairs: Vec<(f64, f64)> = samples
                .iter()
                .zip(weights)
                .filter(|(s, w)| s.class == 0 && group_of(s) == group && **w > 0.0)
                .filter_map(|(s, w)| value(s, column).map(|v| (v, *w)))
                .collect();
            let count: f64 = pairs.iter().map(|p| p.1).sum();
            if count >= MIN_PER_PRODUCT {
                let (location, scale) = student_fit(&pairs);
                own.push((group, count, location, scale));
            }
        }
        if own.len() < 2 {
            continue;
        }
        let total: f64 = own.iter().map(|o| o.1).sum();
        let centre = own.iter().map(|o| o.1 * o.2).sum::<f64>() / total;
        let within = own.iter().map(|o| o.1 * o.3 * o.3).sum::<f64>() / total;
        let k = own.len() as f64;
        let spread = own.iter().map(|o| o.1 * (o.2 - centre) * (o.2 - centre)).sum::<f64>();
        // Method of moments for the variance between groups of unequal size.
        let size = (total - own.iter().map(|o| o.1 * o.1).sum::<f64>() / total) / (k - 1.0);
        let variance = ((spread / (k - 1.0) - within) / size).max(0.0);
        between[column] = variance;
        for (group, count, location, _) in own {
            let kept = if variance > 0.0 { variance / (variance + within / count) } else { 0.0 };
            offsets[group][column] = kept * (location - centre);
        }
    }
    Level { offsets, between }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::random::Random;

    #[test]
    fn student_fit_finds_a_known_location_despite_outliers() {
        let mut random = Random::new(3);
        let mut pairs: Vec<(f64, f64)> = (0..400).map(|_| (2.0 + 0.5 * random.normal(), 1.0)).collect();
        for pair in pairs.iter_mut().take(20) {
            pair.0 = 100.0;
        }
        let (location, scale) = student_fit(&pairs);
        assert!((location - 2.0).abs() < 0.1, "{location}");
        assert!((0.35..0.65).contains(&scale), "{scale}");
    }

    #[test]
    fn a_missing_column_is_marginalised_exactly() {
        // Leaving a column out of the row must equal a model that never had it, correlations aside.
        let mut random = Random::new(11);
        let rows: Vec<Sample> = (0..60)
            .map(|i| {
                let class = i % 2;
                let shift = class as f64;
                let cells = (0..3).map(|_| Some((shift + random.normal(), 0.0))).collect();
                Sample { specimen: i, line: 0, product: 0, class, cells }
            })
            .collect();
        let shape = Shape { own_scales: true, correlations: false, threshold: 0.0, normal: false };
        let kin = Kin { line: Some(0), product: Some(0) };
        let full = ClassModel::fit(&rows.iter().collect::<Vec<_>>(), &[], shape).unwrap();
        let short_rows: Vec<Sample> =
            rows.iter().map(|r| Sample { cells: vec![r.cells[0], r.cells[2]], ..r.clone() }).collect();
        let short = ClassModel::fit(&short_rows.iter().collect::<Vec<_>>(), &[], shape).unwrap();
        let a = full.log_densities(&[Some((0.3, 0.0)), None, Some((-0.2, 0.0))], kin);
        let b = short.log_densities(&[Some((0.3, 0.0)), Some((-0.2, 0.0))], kin);
        assert_eq!(a, b);
    }
}
