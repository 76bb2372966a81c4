//! Cholesky's factors of a matrix that is mostly zero.
//!
//! A wall and a turn link neighbours, and only a check links corners far apart: most rows of a room's normal matrix start close to
//! the diagonal, and so do those of its factor (George & Liu, *Computer Solution of Large Sparse Positive Definite Systems*,
//! ch. 4: envelope methods). A room of 200 walls takes a hundredth of the work of a full matrix.

use nalgebra::{DMatrix, DVector};

/// The lower half of a symmetric matrix, every row from its first entry that can differ from zero.
#[derive(Clone)]
pub(super) struct Envelope(Vec<Row>);

#[derive(Clone)]
struct Row {
    first: usize,
    /// From `first` to the diagonal.
    entries: Vec<f64>,
}

impl Row {
    fn diagonal(&self) -> f64 {
        self.entries[self.entries.len() - 1]
    }

    /// The entries left of a column, from another on; the latter not before the first.
    fn between(&self, from: usize, to: usize) -> &[f64] {
        &self.entries[from - self.first..to - self.first]
    }
}

impl Envelope {
    /// Zeros, for sums of products of these rows of coefficients.
    pub fn of(unknowns: usize, rows: &[Vec<(usize, f64)>]) -> Self {
        let mut first: Vec<usize> = (0..unknowns).collect();
        for row in rows {
            let least = row.iter().map(|it| it.0).min().unwrap_or_default();
            for &(i, _) in row {
                first[i] = first[i].min(least);
            }
        }
        let row = |(i, first): (usize, usize)| Row { first, entries: vec![0.0; i + 1 - first] };
        Self(first.into_iter().enumerate().map(row).collect())
    }

    /// Adds to the entry at row `i`, column `j ≤ i`.
    pub fn add(&mut self, i: usize, j: usize, by: f64) {
        let row = &mut self.0[i];
        row.entries[j - row.first] += by;
    }

    pub fn diagonal(&self) -> DVector<f64> {
        DVector::from_iterator(self.0.len(), self.0.iter().map(Row::diagonal))
    }

    /// Multiplies every row and every column.
    pub fn scale(&mut self, by: &DVector<f64>) {
        for (i, row) in self.0.iter_mut().enumerate() {
            let columns = row.first..;
            columns.zip(&mut row.entries).for_each(|(j, it)| *it *= by[i] * by[j]);
        }
    }

    pub fn full(&self) -> DMatrix<f64> {
        let mut full = DMatrix::zeros(self.0.len(), self.0.len());
        for (i, row) in self.0.iter().enumerate() {
            for (j, &it) in (row.first..).zip(&row.entries) {
                full[(i, j)] = it;
                full[(j, i)] = it;
            }
        }
        full
    }

    /// `None` when the matrix is not positive definite.
    pub fn cholesky(&self) -> Option<Factor> {
        let mut rows: Vec<Row> = Vec::with_capacity(self.0.len());
        for row in &self.0 {
            let mut row = row.clone();
            for at in 0..row.entries.len() {
                let j = row.first + at;
                let Some(other) = rows.get(j) else { break };
                let from = row.first.max(other.first);
                row.entries[at] -= dot(row.between(from, j), other.between(from, j));
                row.entries[at] /= other.diagonal();
            }
            let last = row.entries.len() - 1;
            let pivot = row.entries[last] - dot(&row.entries[..last], &row.entries[..last]);
            if !(pivot > 0.0 && pivot.is_finite()) {
                return None;
            }
            row.entries[last] = libm::sqrt(pivot);
            rows.push(row);
        }
        Some(Factor(Envelope(rows)))
    }
}

fn dot(one: &[f64], other: &[f64]) -> f64 {
    one.iter().zip(other).map(|(a, b)| a * b).sum()
}

/// A lower triangle L with LL' the matrix.
pub(super) struct Factor(Envelope);

impl Factor {
    /// The least square of a pivot: near zero when some unknown is not determined.
    pub fn least_pivot(&self) -> f64 {
        self.0.0.iter().map(|it| it.diagonal() * it.diagonal()).fold(f64::INFINITY, f64::min)
    }

    pub fn solve(&self, right: &DVector<f64>) -> DVector<f64> {
        let mut solution = right.clone();
        self.solve_from(0, solution.as_mut_slice());
        solution
    }

    pub fn inverse(&self) -> DMatrix<f64> {
        let unknowns = self.0.0.len();
        let mut inverse = DMatrix::zeros(unknowns, unknowns);
        let mut column = vec![0.0; unknowns];
        for j in 0..unknowns {
            column.fill(0.0);
            column[j] = 1.0;
            self.solve_from(j, &mut column);
            for i in j..unknowns {
                inverse[(i, j)] = column[i];
                inverse[(j, i)] = column[i];
            }
        }
        inverse
    }

    /// Solves in place for the unknowns from `start` on, when all that is before it on the right is zero.
    fn solve_from(&self, start: usize, right: &mut [f64]) {
        let rows = self.0.0.iter().enumerate().skip(start);
        for (i, row) in rows.clone() {
            let from = row.first.max(start);
            right[i] = (right[i] - dot(row.between(from, i), &right[from..i])) / row.diagonal();
        }
        for (i, row) in rows.rev() {
            right[i] /= row.diagonal();
            let (known, from) = (right[i], row.first.max(start));
            let left = row.between(from, i);
            right[from..i].iter_mut().zip(left).for_each(|(it, by)| *it -= by * known);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A band with one far link: the inverse times the matrix is one, and the solution that of nalgebra's full matrix.
    #[test]
    fn the_envelope_gives_what_the_full_matrix_gives() {
        let rows: Vec<Vec<(usize, f64)>> = (0..9)
            .map(|i| if i == 8 { vec![(7, 0.5), (1, -0.25)] } else { vec![(i, 1.0 + i as f64), (i + 1, -0.5)] })
            .chain([vec![(8, 1.0)]])
            .collect();
        let mut envelope = Envelope::of(9, &rows);
        for row in &rows {
            for &(i, a) in row {
                row.iter().filter(|it| it.0 <= i).for_each(|&(j, b)| envelope.add(i, j, a * b));
            }
        }
        let full = envelope.full();
        let factor = envelope.cholesky().unwrap();
        let one = &full * factor.inverse();
        assert!((one - DMatrix::identity(9, 9)).amax() < 1e-12);
        let right = DVector::from_fn(9, |i, _| i as f64 - 3.0);
        let expected = nalgebra::Cholesky::new(full).unwrap().solve(&right);
        assert!((factor.solve(&right) - expected).amax() < 1e-12);
    }

    #[test]
    fn what_nothing_fixes_has_no_factor() {
        assert!(Envelope::of(2, &[vec![(0, 1.0)]]).cholesky().is_none());
    }
}
