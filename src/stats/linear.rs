//! A dense linear solver for the small systems met here.

/// Solves `matrix · x = right` by elimination with partial pivoting; `matrix` is square, in rows.
///
/// `None` when the matrix is singular to working precision.
pub(super) fn solve(mut matrix: Vec<Vec<f64>>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let size = right.len();
    for column in 0..size {
        let pivot =
            (column..size).max_by(|&i, &j| matrix[i][column].abs().total_cmp(&matrix[j][column].abs()))?;
        if matrix[pivot][column].abs() < f64::MIN_POSITIVE {
            return None;
        }
        matrix.swap(column, pivot);
        right.swap(column, pivot);
        let (done, below) = matrix.split_at_mut(column + 1);
        let lead = &done[column];
        let (solved, rest) = right.split_at_mut(column + 1);
        for (row, value) in below.iter_mut().zip(rest) {
            let factor = row[column] / lead[column];
            for (entry, above) in row[column..].iter_mut().zip(&lead[column..]) {
                *entry -= factor * above;
            }
            *value -= factor * solved[column];
        }
    }
    for row in (0..size).rev() {
        let known: f64 = (row + 1..size).map(|j| matrix[row][j] * right[j]).sum();
        right[row] = (right[row] - known) / matrix[row][row];
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solve_needs_its_pivoting() {
        let x =
            solve(vec![vec![0.0, 2.0, 1.0], vec![1.0, 1.0, 1.0], vec![2.0, 1.0, 3.0]], vec![7.0, 6.0, 13.0]);
        let expected = [1.0, 2.0, 3.0];
        assert!(x.is_some_and(|x| x.iter().zip(expected).all(|(x, e)| (x - e).abs() < 1e-12)));
    }

    #[test]
    fn a_singular_matrix_has_no_solution() {
        assert_eq!(solve(vec![vec![1.0, 2.0], vec![2.0, 4.0]], vec![1.0, 2.0]), None);
    }
}
