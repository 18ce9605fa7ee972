//! Blocks in which every two of some classes meet exactly once: the lines of
//! projective planes.
//!
//! The plane of order q has q² + q + 1 points and as many lines, q + 1 points
//! on each line, and one line through every two points. Its lines are the
//! shifts of a perfect difference set modulo q² + q + 1 (Singer 1938); the sets
//! are `from memory` and the test below holds every one of them against the
//! definition.

/// Perfect difference sets, with their modulus.
const DIFFERENCES: &[(usize, &[usize])] = &[
    (3, &[0, 1]),
    (7, &[0, 1, 3]),
    (13, &[0, 1, 3, 9]),
    (21, &[0, 1, 4, 14, 16]),
    (31, &[0, 1, 3, 8, 12, 18]),
    (57, &[0, 1, 3, 13, 32, 36, 43, 52]),
    (73, &[0, 1, 3, 7, 15, 31, 36, 54, 63]),
    (91, &[0, 1, 3, 9, 27, 49, 56, 61, 77, 81]),
    (133, &[0, 1, 3, 12, 20, 34, 38, 81, 88, 94, 104, 109]),
];

/// A projective plane, its points numbered so that those of one line come last:
/// without them the rest is an affine plane.
#[derive(Debug, Clone)]
pub(super) struct Plane {
    /// The points of each line.
    pub(super) lines: Vec<Vec<usize>>,
}

/// Every plane that is known here, the smallest first.
pub(super) fn planes() -> impl Iterator<Item = Plane> {
    DIFFERENCES.iter().map(|(modulus, differences)| {
        let (first, last): (Vec<usize>, Vec<usize>) =
            (0..*modulus).partition(|point| !differences.contains(point));
        let mut number = vec![0; *modulus];
        for (at, point) in first.into_iter().chain(last).enumerate() {
            if let Some(slot) = number.get_mut(point) {
                *slot = at;
            }
        }
        let point = |shift: usize, difference: &usize| {
            let at = (shift + difference) % modulus;
            number.get(at).copied().unwrap_or_default()
        };
        let line = |shift| differences.iter().map(|d| point(shift, d)).collect();
        Plane {
            lines: (0..*modulus).map(line).collect(),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_two_points_lie_on_one_line() {
        for Plane { lines } in planes() {
            let points = lines.len();
            for a in 0..points {
                for b in 0..a {
                    let on_both = lines.iter().filter(|l| l.contains(&a) && l.contains(&b));
                    assert_eq!(on_both.count(), 1, "{points}: {a}, {b}");
                }
            }
        }
    }

    #[test]
    fn the_points_of_one_line_come_last() {
        for Plane { lines } in planes() {
            let (points, on_a_line) = (lines.len(), lines[0].len());
            let last: Vec<usize> = (points - on_a_line..points).collect();
            let sorted = |line: &Vec<usize>| {
                let mut line = line.clone();
                line.sort_unstable();
                line
            };
            assert!(lines.iter().any(|line| sorted(line) == last));
        }
    }
}
