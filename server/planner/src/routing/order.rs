//! A numbering of stops in which near stops have near numbers.

/// Cells on one side of the grid that the curve fills.
const SIDE: u32 = 1 << 16;

/// The order of points along a Hilbert curve.
///
/// A problem whose stops are numbered in this order is searched faster: rows of its cost matrix and the stops
/// themselves then lie near each other in memory. See D. Hilbert, Über die stetige Abbildung einer Linie auf ein
/// Flächenstück, Mathematische Annalen 38, 1891.
pub fn spatial_order(points: &[(f64, f64)]) -> Vec<usize> {
    let bounds = |of: fn(&(f64, f64)) -> f64| {
        points
            .iter()
            .map(of)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| {
                (low.min(at), high.max(at))
            })
    };
    let ((left, right), (low, high)) = (bounds(|point| point.0), bounds(|point| point.1));
    let scale = f64::from(SIDE - 1) / (right - left).max(high - low).max(f64::MIN_POSITIVE);
    let cell = |at: f64, from: f64| ((at - from) * scale) as u32;
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by_cached_key(|&at| along(cell(points[at].0, left), cell(points[at].1, low)));
    order
}

/// Distance along the curve of the cell in column `x` and row `y`.
fn along(mut x: u32, mut y: u32) -> u64 {
    let mut distance = 0;
    let mut size = SIDE / 2;
    while size > 0 {
        let (right, upper) = (u32::from(x & size > 0), u32::from(y & size > 0));
        distance += u64::from(size) * u64::from(size) * u64::from((3 * right) ^ upper);
        if upper == 0 {
            if right == 1 {
                (x, y) = (SIDE - 1 - x, SIDE - 1 - y);
            }
            (x, y) = (y, x);
        }
        size /= 2;
    }
    distance
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Guards the curve: successive cells of a full grid must be neighbours, which no other order of cells gives.
    #[test]
    fn successive_cells_touch() {
        let points: Vec<(f64, f64)> = (0..16)
            .flat_map(|x| (0..16).map(move |y| (f64::from(x), f64::from(y))))
            .collect();
        let order = spatial_order(&points);
        for pair in order.windows(2) {
            let (a, b) = (points[pair[0]], points[pair[1]]);
            let step = (a.0 - b.0).abs() + (a.1 - b.1).abs();
            assert!((step - 1.0).abs() < 1e-9, "{a:?} to {b:?}");
        }
    }
}
