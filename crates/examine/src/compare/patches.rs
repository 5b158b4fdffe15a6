//! Connected patches of a map.
//!
//! In: a plane in which some places are marked. Out: their patches. Never here: what a mark means.

use photo::Plane;

/// Connected patches (four neighbours) of non-zero places, in the order of their first pixel; each is a
/// list of (x, y).
#[must_use]
pub fn patches(map: &Plane<u8>) -> Vec<Vec<(usize, usize)>> {
    let (w, h) = (map.width(), map.height());
    let mut seen = vec![false; w * h];
    let mut out = Vec::new();
    for start in 0..w * h {
        if seen[start] || map.data()[start] == 0 {
            continue;
        }
        let mut patch = Vec::new();
        let mut open = vec![start];
        seen[start] = true;
        while let Some(at) = open.pop() {
            let (x, y) = (at % w, at / w);
            patch.push((x, y));
            let neighbours = [
                (x > 0).then(|| at - 1),
                (x + 1 < w).then(|| at + 1),
                (y > 0).then(|| at - w),
                (y + 1 < h).then(|| at + w),
            ];
            for next in neighbours.into_iter().flatten() {
                if !seen[next] && map.data()[next] > 0 {
                    seen[next] = true;
                    open.push(next);
                }
            }
        }
        out.push(patch);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patches_are_found_whole() {
        let mut map = Plane::filled(8, 5, 0_u8);
        for (x, y) in [(1, 1), (2, 1), (2, 2), (6, 3)] {
            map.row_mut(y)[x] = 1;
        }
        let found = patches(&map);
        assert_eq!(found.iter().map(Vec::len).collect::<Vec<_>>(), [3, 1]);
        assert_eq!(found[1], [(6, 3)]);
    }
}
