//! Which clip of a net sits on which of its points.
//!
//! Leads of one net all answer when any of its points is touched. How far each lies
//! from the touched point is measured ([`super::look::apart`]), but a clip has more
//! resistance than a short wire. Once all points of the net were touched, each clip is
//! in the sum of every way to match leads with points exactly once, so that it drops
//! out of the comparison: the true matching has the least sum, less than any other by
//! twice the wire that lies between the points that it exchanges.

use loomproof_core::instrument::{NOISE, REFERENCE, SOURCE};

/// What two matchings have to differ by to be told apart, in ohms: five standard
/// deviations of the four distances that an exchange of two leads changes, each of two
/// voltages of 64 conversions at 2.3 mA, in `looks` looks.
#[must_use]
pub fn margin(looks: u32) -> f64 {
    let current = REFERENCE.0 / (2.0 * SOURCE.0);
    let voltage = NOISE.0 * (2.0_f64 / 64.0).sqrt();
    let one = voltage / current / f64::from(looks.max(1)).sqrt();
    // The clip's own unrest (3 mΩ, common practice) is of the same kind.
    let unrest = 0.003 / (64.0 * f64::from(looks.max(1))).sqrt();
    5.0 * (4.0 * (one * one + unrest * unrest)).sqrt()
}

/// The column of each row with the least sum, where every other matching is worse by
/// `margin`: rows of which that cannot be said are `None`. Rows and columns are of one
/// number; `None` for all where they are not.
#[must_use]
pub fn matched(costs: &[Vec<f64>], margin: f64) -> Vec<Option<usize>> {
    let n = costs.len();
    if costs
        .iter()
        .any(|row| row.len() != n || row.iter().any(|cost| !cost.is_finite()))
    {
        return vec![None; n];
    }
    let best = least(costs, None);
    let sum = total(costs, &best);
    (0..n)
        .map(|row| {
            let column = *best.get(row)?;
            // The best without this pair: no worse by the margin, no answer.
            let other = total(costs, &least(costs, Some((row, column))));
            (n == 1 || other - sum > margin).then_some(column)
        })
        .collect()
}

/// More than any resistance: a pair that may not be.
const NEVER: f64 = 1e9;

fn cost(costs: &[Vec<f64>], row: usize, column: usize) -> f64 {
    let found = costs.get(row).and_then(|row| row.get(column));
    found.copied().unwrap_or(NEVER)
}

fn total(costs: &[Vec<f64>], columns: &[usize]) -> f64 {
    let pairs = columns.iter().enumerate();
    pairs.map(|(row, column)| cost(costs, row, *column)).sum()
}

/// The column of each row with the least sum (Kuhn, "The Hungarian method for the
/// assignment problem", 1955, in the form with potentials; from memory), without one
/// pair.
fn least(costs: &[Vec<f64>], without: Option<(usize, usize)>) -> Vec<usize> {
    let n = costs.len();
    let price = |row: usize, column: usize| {
        if without == Some((row, column)) {
            NEVER
        } else {
            cost(costs, row, column)
        }
    };
    // Column `n` stands for the row that is being placed.
    let mut row_of = vec![None; n + 1];
    let (mut of_rows, mut of_columns) = (vec![0.0; n], vec![0.0; n + 1]);
    for row in 0..n {
        row_of[n] = Some(row);
        let mut at = n;
        let mut slack = vec![f64::INFINITY; n];
        let mut from = vec![n; n];
        let mut used = vec![false; n + 1];
        while let Some(here) = row_of[at] {
            used[at] = true;
            let (mut step, mut next) = (f64::INFINITY, at);
            for column in (0..n).filter(|column| !used[*column]) {
                let left = price(here, column) - of_rows[here] - of_columns[column];
                if left < slack[column] {
                    slack[column] = left;
                    from[column] = at;
                }
                if slack[column] < step {
                    step = slack[column];
                    next = column;
                }
            }
            for (column, used) in used.iter().enumerate() {
                if *used {
                    if let Some(row) = row_of[column] {
                        of_rows[row] += step;
                    }
                    of_columns[column] -= step;
                } else if let Some(slack) = slack.get_mut(column) {
                    *slack -= step;
                }
            }
            at = next;
        }
        while at != n {
            let before = from[at];
            row_of[at] = row_of[before];
            at = before;
        }
    }
    let mut columns = vec![0; n];
    for (column, row) in row_of.iter().take(n).enumerate() {
        if let Some(row) = row {
            columns[*row] = column;
        }
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All matchings, one after the other.
    fn by_trial(costs: &[Vec<f64>]) -> f64 {
        fn rest(costs: &[Vec<f64>], row: usize, taken: &mut Vec<usize>) -> f64 {
            if row == costs.len() {
                return 0.0;
            }
            let mut best = f64::INFINITY;
            for column in 0..costs.len() {
                if !taken.contains(&column) {
                    taken.push(column);
                    best = best.min(costs[row][column] + rest(costs, row + 1, taken));
                    taken.pop();
                }
            }
            best
        }
        rest(costs, 0, &mut Vec::new())
    }

    #[test]
    fn the_sum_is_the_least_of_all_matchings() {
        let mut seed = 7_u64;
        let mut draw = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 40) as f64 / 1e6
        };
        for n in 1..=6 {
            for _ in 0..40 {
                let costs: Vec<Vec<f64>> =
                    (0..n).map(|_| (0..n).map(|_| draw()).collect()).collect();
                let found = total(&costs, &least(&costs, None));
                assert!((found - by_trial(&costs)).abs() < 1e-9, "{costs:?}");
            }
        }
    }

    /// Three points on a splice, wires of 60, 45 and 50 mΩ to it, clips of 80, 210 and
    /// 140 mΩ: a clip has more than the wires.
    #[test]
    fn clips_of_any_resistance_drop_out() {
        let (wires, clips) = ([0.060, 0.045, 0.050], [0.080, 0.210, 0.140]);
        // Lead 0 sits on point 2, lead 1 on point 0, lead 2 on point 1.
        let sits = [2, 0, 1];
        let costs: Vec<Vec<f64>> = (0..3)
            .map(|point| {
                let lead = |lead: usize| {
                    let other = sits[lead];
                    let wire = if other == point {
                        0.0
                    } else {
                        wires[point] + wires[other]
                    };
                    clips[lead] + wire
                };
                (0..3).map(lead).collect()
            })
            .collect();
        assert_eq!(matched(&costs, margin(2)), [Some(1), Some(2), Some(0)]);
        // Two points with hardly a wire between them cannot be told apart; the third can.
        let near: Vec<Vec<f64>> = vec![
            vec![0.080, 0.211, 0.300],
            vec![0.081, 0.210, 0.300],
            vec![0.240, 0.370, 0.140],
        ];
        assert_eq!(matched(&near, margin(2)), [None, None, Some(2)]);
    }

    #[test]
    fn a_net_with_more_clips_than_points_says_nothing() {
        assert_eq!(matched(&[vec![0.1, 0.2]], 0.01), [None]);
        assert_eq!(matched(&[vec![0.1]], 0.01), [Some(0)]);
        assert_eq!(matched(&[vec![f64::NAN]], 0.01), [None]);
        assert_eq!(matched(&[], 0.01), Vec::<Option<usize>>::new());
    }
}
