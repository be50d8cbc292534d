//! The splitter tree as a drawing in the margin: one row a basin, one column a level.
//!
//! Water comes in at the top of column 0. A splitter's side a runs straight on along its row; its
//! side b falls down its column to the first row of the b side and turns there.

use crate::model::{Node, SplitterIx, System};

/// The pipes beside one basin.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct PipeRow {
    /// Columns of the whole drawing.
    pub columns: usize,
    /// Column in which the water comes down into this row.
    pub enters: usize,
    /// Columns in which a pipe runs through from top to bottom.
    pub through: Vec<usize>,
    /// Splitters on the way along this row; each also feeds a row below.
    pub splitters: Vec<SplitterMark>,
}

/// A splitter in the drawing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SplitterMark {
    /// Its column.
    pub column: usize,
    /// Its id.
    pub id: String,
    /// An open finding is about it, or it is surely off by more than can wait.
    pub trouble: bool,
}

impl PipeRow {
    /// Rows of `system` from top to bottom, each with the index of its basin.
    pub fn draw(system: &System, is_troubled: impl Fn(SplitterIx) -> bool) -> Vec<(usize, Self)> {
        let columns = system.basin_ixs().map(|b| system.tree().path(b).len()).max().unwrap_or(0).max(1);
        let mut drawing = Drawing { system, is_troubled, columns, rows: Vec::new() };
        drawing.walk(system.tree().root(), 0, Self { columns, ..Self::default() });
        drawing.rows
    }
}

struct Drawing<'a, F> {
    system: &'a System,
    is_troubled: F,
    columns: usize,
    rows: Vec<(usize, PipeRow)>,
}

impl<F: Fn(SplitterIx) -> bool> Drawing<'_, F> {
    /// Draws what `node` feeds, with its own symbol in `column` of the row begun as `row`.
    fn walk(&mut self, node: Node, column: usize, mut row: PipeRow) {
        let splitter = match node {
            Node::Basin(basin) => return self.rows.push((basin.0 as usize, row)),
            Node::Splitter(splitter) => splitter,
        };
        let [a, b] = self.system.tree().feeds(splitter);
        row.splitters.push(SplitterMark {
            column,
            id: self.system.splitter(splitter).id.to_string(),
            trouble: (self.is_troubled)(splitter),
        });
        let first = self.rows.len();
        self.walk(a, column + 1, row);
        // The pipe to side b passes every row of side a but the first, where it begins.
        for (_, passed) in &mut self.rows[first + 1..] {
            passed.through.push(column);
        }
        self.walk(b, column + 1, PipeRow { columns: self.columns, enters: column, ..PipeRow::default() });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::samples;

    fn sketch(system: &System) -> Vec<String> {
        PipeRow::draw(system, |s| s.0 == 1)
            .into_iter()
            .map(|(basin, row)| {
                let marks: Vec<String> = row
                    .splitters
                    .iter()
                    .map(|s| format!("{}{}{}", s.id, if s.trouble { "!" } else { "" }, s.column))
                    .collect();
                format!("{basin}: from {} past {:?} {}", row.enters, row.through, marks.join(" "))
            })
            .collect()
    }

    #[test]
    fn side_a_runs_on_and_side_b_falls_to_its_own_row() {
        // s1 feeds s2 and s3; s2 feeds basins 0 and 1; s3 feeds basins 2 and 3.
        assert_eq!(
            sketch(&samples::terrace()),
            [
                "0: from 0 past [] s10 s2!1",
                "1: from 1 past [0] ",
                "2: from 0 past [] s31",
                "3: from 1 past [] ",
            ]
        );
    }

    #[test]
    fn a_single_basin_hangs_on_one_pipe() {
        assert_eq!(sketch(&samples::single()), ["0: from 0 past [] "]);
        assert_eq!(PipeRow::draw(&samples::single(), |_| false)[0].1.columns, 1);
    }
}
