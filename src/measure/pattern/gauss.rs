//! How likely a row of figures is, where it is a shape of unknown size in noise.

use std::f64::consts::TAU;

/// A standard deviation and the row of figures that it moves all at once.
pub(super) type Term<'a> = (f64, &'a [f64]);

/// The logarithm of the normal density of `figures` with independent variances and terms that they share; minus infinity
/// where it is no number.
///
/// The covariance is a diagonal and a few outer products, so the matrix to be factored has one row a term, however many
/// figures there are (Woodbury's identity).
pub(super) fn ln_density(figures: &[f64], variances: &[f64], terms: &[Term<'_>]) -> f64 {
    let dot = |one: &[f64], other: &[f64]| -> f64 {
        let products = one.iter().zip(other).zip(variances);
        products.map(|((one, other), v)| one * other / v).sum()
    };
    let count = terms.len();
    let mut matrix = vec![vec![0.0; count]; count];
    let mut column = vec![0.0; count];
    for (row, (sd, shape)) in terms.iter().enumerate() {
        for (other, (other_sd, other_shape)) in terms.iter().enumerate().take(row + 1) {
            matrix[row][other] = sd * other_sd * dot(shape, other_shape);
        }
        matrix[row][row] += 1.0;
        column[row] = sd * dot(shape, figures);
    }
    let mut quadratic = dot(figures, figures);
    let mut ln_determinant: f64 = variances.iter().take(figures.len()).map(|v| v.ln()).sum();
    // Cholesky's factors, row by row, and the column solved on the way.
    for row in 0..count {
        for other in 0..=row {
            let sum: f64 = (0..other).map(|k| matrix[row][k] * matrix[other][k]).sum();
            let rest = matrix[row][other] - sum;
            matrix[row][other] = if row == other {
                rest.sqrt()
            } else {
                rest / matrix[other][other]
            };
        }
        let sum: f64 = (0..row).map(|k| matrix[row][k] * column[k]).sum();
        column[row] = (column[row] - sum) / matrix[row][row];
        quadratic -= column[row] * column[row];
        ln_determinant += 2.0 * matrix[row][row].ln();
    }
    let density = -0.5 * (quadratic + ln_determinant + figures.len() as f64 * TAU.ln());
    if density.is_nan() {
        f64::NEG_INFINITY
    } else {
        density
    }
}

/// The square of the distance of `figures` from zero, measured by their covariance: chi squared, where they are noise alone.
pub(super) fn chi_squared(figures: &[f64], variances: &[f64], terms: &[Term<'_>]) -> f64 {
    let zeros = vec![0.0; figures.len()];
    2.0 * (ln_density(&zeros, variances, terms) - ln_density(figures, variances, terms))
}

/// The logarithm of a sum, of the logarithms of its parts; minus infinity for no parts.
pub(super) fn ln_sum(parts: &[f64]) -> f64 {
    let largest = parts.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !largest.is_finite() {
        return f64::NEG_INFINITY;
    }
    let sum: f64 = parts.iter().map(|part| (part - largest).exp()).sum();
    largest + sum.ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn densities_agree_with_another_library() {
        // scipy.stats.multivariate_normal.logpdf with the covariance written out.
        let figures = [0.5, -0.2, 0.9];
        let variances = [0.04, 0.09, 0.01];
        let ones = [1.0; 3];
        let slope = [0.2, 0.5, 0.8];
        for (terms, expected) in [
            (vec![], -41.48804201208216),
            (vec![(0.3, &ones[..])], -8.628835337564519),
            (
                vec![(0.3, &ones[..]), (2.0, &slope[..])],
                -5.017550780284887,
            ),
        ] {
            let computed = ln_density(&figures, &variances, &terms);
            assert!((computed - expected).abs() < 1e-11, "{computed} {expected}");
        }
        let chi = chi_squared(&figures, &variances, &[(0.3, &ones[..])]);
        assert!((chi - 19.392033542976943).abs() < 1e-10, "{chi}");
    }

    #[test]
    fn sums_of_logarithms() {
        assert!((ln_sum(&[0.25_f64.ln(), 0.5_f64.ln()]) - 0.75_f64.ln()).abs() < 1e-15);
        // Too small for the parts themselves.
        assert!((ln_sum(&[-2000.0, -2000.0]) - (-2000.0 + 2_f64.ln())).abs() < 1e-9);
        assert_eq!(ln_sum(&[]), f64::NEG_INFINITY);
        assert_eq!(ln_sum(&[f64::NEG_INFINITY]), f64::NEG_INFINITY);
    }
}
