//! Weights as binary logarithms: ten thousand reads of probability ½ a bit
//! are beyond what a float holds otherwise.

/// The logarithm of nothing.
pub(super) const NOTHING: f64 = f64::NEG_INFINITY;

/// The logarithm of a sum.
pub(super) fn plus(a: f64, b: f64) -> f64 {
    let (large, small) = if a >= b { (a, b) } else { (b, a) };
    if small == NOTHING { large } else { large + libm::log2(1.0 + libm::exp2(small - large)) }
}

/// The logarithm of the sum of many.
pub(super) fn sum(weights: impl IntoIterator<Item = f64>) -> f64 {
    weights.into_iter().fold(NOTHING, plus)
}

/// The logarithm of a difference; nothing where rounding makes it negative.
pub(super) fn minus(a: f64, b: f64) -> f64 {
    if b == NOTHING {
        a
    } else if b >= a {
        NOTHING
    } else {
        a + libm::log2(1.0 - libm::exp2(b - a))
    }
}
