//! The χ² distribution for whole degrees of freedom.
//!
//! With a whole number of degrees its tail is a finite sum (Abramowitz & Stegun, *Handbook of Mathematical Functions*,
//! 26.4.4 and 26.4.5), so no library is needed, and the same bits come out on every machine.

use core::f64::consts::PI;

/// The probability that χ² with these degrees of freedom exceeds `x`.
pub fn beyond(x: f64, degrees: usize) -> f64 {
    if x <= 0.0 || degrees == 0 {
        return if x <= 0.0 { 1.0 } else { 0.0 };
    }
    let half = x / 2.0;
    let (mut sum, first) = if degrees.is_multiple_of(2) { (0.0, 0.0) } else { (libm::erfc(libm::sqrt(half)), 0.5) };
    // Terms half^k e^-half ÷ k! for k from 0 or 1/2 on, below half the degrees.
    let mut k = first;
    let mut term = match degrees % 2 {
        0 => -half,
        _ => -half + 0.5 * libm::log(half) - libm::log(libm::sqrt(PI) / 2.0),
    };
    while k < degrees as f64 / 2.0 {
        sum += libm::exp(term);
        k += 1.0;
        term += libm::log(half / k);
    }
    sum.min(1.0)
}

/// The value that χ² with these degrees of freedom exceeds with this probability, which lies between 0 and 1.
pub fn limit(probability: f64, degrees: usize) -> f64 {
    if degrees == 0 {
        return 0.0;
    }
    let (mut low, mut high) = (0.0, 10.0 + 2.0 * degrees as f64);
    while beyond(high, degrees) > probability {
        high *= 2.0;
    }
    // Bisection, until there is no number left between the two.
    loop {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            return high;
        }
        if beyond(middle, degrees) > probability { low = middle } else { high = middle }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// χ² table, e.g. Abramowitz & Stegun table 26.8, and the values that the shop's notes recompute.
    #[test]
    fn limits_are_those_of_the_tables() {
        let upper =
            [(1, 3.841), (2, 5.991), (3, 7.815), (4, 9.488), (5, 11.070), (6, 12.592), (8, 15.507), (10, 18.307)];
        for (degrees, printed) in upper {
            assert!((limit(0.05, degrees) - printed).abs() < 5e-4 + 1e-9, "{degrees} degrees");
        }
        for (degrees, low, high) in
            [(1, 0.001, 5.024), (2, 0.0506, 7.378), (3, 0.2158, 9.348), (5, 0.831, 12.833), (10, 3.247, 20.483)]
        {
            assert!((limit(0.975, degrees) - low).abs() < 5.1e-4, "{degrees} degrees");
            assert!((limit(0.025, degrees) - high).abs() < 5.1e-4, "{degrees} degrees");
        }
        for (degrees, printed) in [(1, 10.828), (2, 13.816), (3, 16.266)] {
            assert!((limit(0.001, degrees) - printed).abs() < 5.1e-4, "{degrees} degrees");
        }
        // Abramowitz & Stegun table 26.8: 100 degrees, 0.05 and 0.001.
        assert!((limit(0.05, 100) - 124.342).abs() < 1e-3 && (limit(0.001, 100) - 149.449).abs() < 1e-3);
    }

    #[test]
    fn a_limit_is_exceeded_as_often_as_asked() {
        for degrees in [1, 2, 3, 7, 40, 401, 2_000] {
            for probability in [0.999, 0.5, 0.05, 0.001] {
                assert!((beyond(limit(probability, degrees), degrees) - probability).abs() < 1e-10, "{degrees}");
            }
        }
    }
}
