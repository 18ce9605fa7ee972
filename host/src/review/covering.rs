//! Covering sets: fewest-ish rows in which every pair of values occurs.

/// All combinations of `levels[i]` values each, or `None` past `most`.
#[must_use]
pub fn all(levels: &[usize], most: usize) -> Option<Vec<Vec<usize>>> {
    let total = levels
        .iter()
        .try_fold(1_usize, |product, &level| product.checked_mul(level))?;
    if total > most {
        return None;
    }
    let mut rows = Vec::with_capacity(total);
    let mut row = vec![0; levels.len()];
    for _ in 0..total {
        rows.push(row.clone());
        for (digit, &level) in row.iter_mut().zip(levels) {
            *digit += 1;
            if *digit < level {
                break;
            }
            *digit = 0;
        }
    }
    Some(rows)
}

/// Rows in which every pair of values of every two columns occurs at least
/// once. Greedy: each row starts with a pair that is missing and takes, column
/// by column, the value that covers most of what is missing. The first row is
/// all zeros.
#[must_use]
pub fn pairwise(levels: &[usize]) -> Vec<Vec<usize>> {
    let columns = levels.len();
    let first = vec![0; columns];
    if columns < 2 {
        let single = levels.first().map_or(0..0, |&level| 0..level);
        let rows: Vec<Vec<usize>> = single.map(|value| vec![value]).collect();
        return if rows.is_empty() { vec![first] } else { rows };
    }
    let mut missing = std::collections::BTreeSet::new();
    for a in 0..columns {
        for b in a + 1..columns {
            for x in 0..levels[a] {
                for y in 0..levels[b] {
                    missing.insert((a, x, b, y));
                }
            }
        }
    }
    let mut rows = vec![first];
    loop {
        if let Some(row) = rows.last() {
            for a in 0..columns {
                for b in a + 1..columns {
                    missing.remove(&(a, row[a], b, row[b]));
                }
            }
        }
        let Some(&(a, x, b, y)) = missing.iter().next() else {
            return rows;
        };
        let mut row: Vec<Option<usize>> = vec![None; columns];
        row[a] = Some(x);
        row[b] = Some(y);
        for column in 0..columns {
            if row[column].is_some() {
                continue;
            }
            let gain = |value: usize| {
                let others = row.iter().enumerate();
                let met = others.filter_map(|(other, chosen)| {
                    let chosen = (*chosen)?;
                    let pair = if other < column {
                        (other, chosen, column, value)
                    } else {
                        (column, value, other, chosen)
                    };
                    Some(missing.contains(&pair))
                });
                met.filter(|met| *met).count()
            };
            let best = (0..levels[column]).rev().max_by_key(|&value| gain(value));
            row[column] = best;
        }
        rows.push(row.into_iter().map(|value| value.unwrap_or(0)).collect());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn all_combinations_are_all_different() {
        let rows = all(&[2, 3, 2], 12).unwrap();
        let different: std::collections::BTreeSet<_> = rows.iter().collect();
        assert_eq!((rows.len(), different.len()), (12, 12));
        assert_eq!(all(&[2, 3, 2], 11), None);
        assert_eq!(all(&[8; 100], 1 << 40), None);
        assert_eq!(all(&[], 5), Some(vec![vec![]]));
    }

    proptest! {
        #[test]
        fn every_pair_occurs(levels in prop::collection::vec(2_usize..5, 1..12)) {
            let rows = pairwise(&levels);
            for a in 0..levels.len() {
                for b in 0..a {
                    for x in 0..levels[a] {
                        for y in 0..levels[b] {
                            prop_assert!(rows.iter().any(|row| row[a] == x && row[b] == y));
                        }
                    }
                }
            }
            let product: usize = levels.iter().product();
            prop_assert!(rows.len() <= product.max(1) + 1);
        }
    }
}
