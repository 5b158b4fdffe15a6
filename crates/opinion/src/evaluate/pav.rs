//! Pool adjacent violators: the best monotone calibration of scores on themselves.
//!
//! Sources: `ayer1955`, `brummer2006`.

use casebook::elementary::log10;

use super::Scored;

/// The log10 likelihood ratios that the pool-adjacent-violators algorithm gives the same items, in
/// the same order. Each side weighs one half. Ends of one kind only become infinite.
#[must_use]
pub fn pav_log10_lr(scored: &Scored) -> Scored {
    let (n1, n2) = (scored.first.len(), scored.second.len());
    let mut all: Vec<(f64, bool, usize)> = Vec::with_capacity(n1 + n2);
    all.extend(scored.first.iter().enumerate().map(|(i, x)| (*x, true, i)));
    all.extend(scored.second.iter().enumerate().map(|(i, x)| (*x, false, i)));
    all.sort_by(|a, b| a.0.total_cmp(&b.0));

    /// Numbers of both kinds in a block, and where it ends.
    struct Block {
        first: f64,
        second: f64,
        end: usize,
    }
    // The share of the first kind, each side weighing one half.
    let share = |b: &Block| (b.first / n1 as f64) / (b.first / n1 as f64 + b.second / n2 as f64);
    let mut blocks: Vec<Block> = Vec::new();
    let mut at = 0;
    while at < all.len() {
        // Equal scores cannot be told apart: one block.
        let mut block = Block { first: 0.0, second: 0.0, end: at };
        while block.end < all.len() && all[block.end].0 == all[at].0 {
            if all[block.end].1 {
                block.first += 1.0
            } else {
                block.second += 1.0
            }
            block.end += 1;
        }
        at = block.end;
        blocks.push(block);
        while let [.., before, last] = blocks.as_slice()
            && share(before) >= share(last)
        {
            let merged =
                Block { first: before.first + last.first, second: before.second + last.second, end: at };
            blocks.truncate(blocks.len() - 2);
            blocks.push(merged);
        }
    }
    let mut out = Scored { first: vec![0.0; n1], second: vec![0.0; n2] };
    let mut from = 0;
    for block in &blocks {
        let ratio = log10((block.first / n1 as f64) / (block.second / n2 as f64));
        for (_, is_first, index) in &all[from..block.end] {
            if *is_first { out.first[*index] = ratio } else { out.second[*index] = ratio }
        }
        from = block.end;
    }
    out
}
