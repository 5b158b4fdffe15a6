//! Mirror reflections: small bright colourless places that stand out from what is around them.
//!
//! In: mean luminance and bright colourless pixels by cells of 8 × 8. Out: their share by tile.
//! Never here: whether film, foil or a sleeve reflects; a single photo cannot tell white ink from a
//! reflection of the same brightness.
//!
//! A cell counts when the darker side of its surroundings (the lower quartile of the cells on a ring
//! around it) is under half as bright as the cell's bright pixels must be: a white label is bright
//! over more than the ring, a reflection falls off. The idea that highlights are bright, unsaturated
//! and compact is `klinker1988`'s; the cell test is ours.

use super::TILE_PX;

/// Side of a cell in pixels.
pub(crate) const CELL_PX: usize = 8;
/// A pixel may be a reflection when every channel is at this share of the top code or above:
/// 230 of 255, about 0.79 of white in linear light.
pub(crate) const BRIGHT: f64 = 230.0 / 255.0;
/// Mean luminance of the darker surroundings must be under this: half of what [`BRIGHT`] is in light.
const FALLOFF: f32 = 0.39;
/// Half the side of the ring in cells: 6 cells are 48 pixels.
const RING: isize = 6;

/// One cell while it is counted.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Cell {
    sum: f32,
    pixels: u16,
    bright: u16,
}

impl Cell {
    /// Adds a run of pixels: sum of their luminance, their number, how many may be reflections.
    #[inline(always)]
    pub(crate) fn add(&mut self, luminance: f32, pixels: u32, bright: u32) {
        self.sum += luminance;
        self.pixels += pixels as u16;
        self.bright += bright as u16;
    }

    fn mean(&self) -> f32 {
        self.sum / f32::from(self.pixels.max(1))
    }
}

/// All cells of a photo.
pub(crate) struct Cells {
    columns: usize,
    rows: usize,
    cells: Vec<Cell>,
}

impl Cells {
    pub(crate) fn new(width: usize, height: usize) -> Self {
        let (columns, rows) = (width.div_ceil(CELL_PX), height.div_ceil(CELL_PX));
        Self { columns, rows, cells: vec![Cell::default(); columns * rows] }
    }

    /// Puts the cells of a block, rows first, at photo pixel (left, top).
    pub(crate) fn put(&mut self, left: usize, top: usize, block: &[Cell]) {
        let (column, row) = (left / CELL_PX, top / CELL_PX);
        let wide = super::BLOCK_TILES.0 * TILE_PX / CELL_PX;
        for (i, line) in block.chunks_exact(wide).enumerate() {
            if row + i < self.rows {
                let count = wide.min(self.columns - column);
                let at = (row + i) * self.columns + column;
                self.cells[at..at + count].copy_from_slice(&line[..count]);
            }
        }
    }

    /// Share of reflecting pixels by tile, rows first.
    pub(crate) fn specular_by_tile(&self, columns: usize, rows: usize) -> Vec<f32> {
        let per = TILE_PX / CELL_PX;
        let mut shares = vec![0.0; columns * rows];
        for (i, share) in shares.iter_mut().enumerate() {
            let (mut bright, mut pixels) = (0_u32, 0_u32);
            for row in i / columns * per..((i / columns + 1) * per).min(self.rows) {
                for column in i % columns * per..((i % columns + 1) * per).min(self.columns) {
                    let cell = &self.cells[row * self.columns + column];
                    pixels += u32::from(cell.pixels);
                    if cell.bright > 0 && self.surroundings(column, row) < FALLOFF {
                        bright += u32::from(cell.bright);
                    }
                }
            }
            *share = bright as f32 / pixels.max(1) as f32;
        }
        shares
    }

    /// Lower quartile of the mean luminance on the ring around a cell, as far as it lies inside.
    fn surroundings(&self, column: usize, row: usize) -> f32 {
        let mut ring = [0.0_f32; 8 * RING as usize];
        let mut count = 0;
        for step in -RING..RING {
            for (dx, dy) in [(step, -RING), (RING, step), (-step, RING), (-RING, -step)] {
                let x = column.checked_add_signed(dx).filter(|x| *x < self.columns);
                let y = row.checked_add_signed(dy).filter(|y| *y < self.rows);
                if let (Some(x), Some(y)) = (x, y) {
                    ring[count] = self.cells[y * self.columns + x].mean();
                    count += 1;
                }
            }
        }
        if count == 0 {
            return 1.0;
        }
        let ring = &mut ring[..count];
        *ring.select_nth_unstable_by(count / 4, f32::total_cmp).1
    }
}
