//! How well each part of a photo can be read: sharpness, clipping, darkness, reflections, exposure.
//!
//! In: a photo. Out: a grid of tiles, each with shares of its area and the blur of its sharpest edges.
//! Never here: what is good enough; every examiner knows what it needs.
//!
//! Read [`measure`] (and [`blur_over`] for a part), then `blur` (edge width by re-blurring) and `glare` (reflections). The work goes
//! block by block, in parallel; a tile's result depends on its own surroundings only, never on the
//! order of the blocks.
//!
//! Sources: `zhuo2011` (blur), see the modules.

mod blur;
mod glare;

use rayon::prelude::*;

use crate::colour::RgbSpace;
use crate::photo::{Codes, Photo};

/// Side of a tile in photo pixels.
pub const TILE_PX: usize = 32;
/// A pixel is near black when no channel is above this share of the top code: 4 of 255.
pub const NEAR_BLACK: f64 = 4.0 / 255.0;

/// Tiles a block is wide and high; a block is what one task works on, small enough for the cache.
const BLOCK_TILES: (usize, usize) = (8, 4);

/// What one tile of a photo shows.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TileQuality {
    /// Standard deviation of the blur of the tile's sharper edges, in pixels, as of a Gaussian;
    /// nothing where the tile has too few clear edges. It is an upper bound on the camera's own
    /// blur: print may be soft too.
    pub blur_sigma_px: Option<f32>,
    /// Standard uncertainty (k = 1) of that, in pixels.
    pub blur_u_px: Option<f32>,
    /// Share of the pixels with a channel at its top code.
    pub clipped: f32,
    /// Share of the pixels with all channels near code 0.
    pub near_black: f32,
    /// Share of the pixels that look like mirror reflections: as bright as white, colourless, and
    /// standing out from darker surroundings. White print on dark ground counts too when it is as bright.
    pub specular: f32,
    /// Mean relative luminance in linear light, 0 to 1.
    pub mean_exposure: f32,
}

/// The quality of a photo, tile by tile, rows first. Tiles at the right and bottom may be smaller.
#[derive(Debug, Clone, PartialEq)]
pub struct Quality {
    columns: usize,
    rows: usize,
    width: usize,
    height: usize,
    tiles: Vec<TileQuality>,
}

impl Quality {
    /// Side of a tile in photo pixels.
    #[must_use]
    pub const fn tile_px(&self) -> usize {
        TILE_PX
    }

    /// Tiles in a row.
    #[must_use]
    pub const fn columns(&self) -> usize {
        self.columns
    }

    /// Rows of tiles.
    #[must_use]
    pub const fn rows(&self) -> usize {
        self.rows
    }

    /// All tiles, rows first.
    #[must_use]
    pub fn tiles(&self) -> &[TileQuality] {
        &self.tiles
    }

    /// The tile that holds a photo pixel; nothing outside.
    #[must_use]
    pub fn at(&self, x: usize, y: usize) -> Option<&TileQuality> {
        if x >= self.width || y >= self.height {
            return None;
        }
        self.tiles.get(y / TILE_PX * self.columns + x / TILE_PX)
    }

    /// The tiles that a rectangle of photo pixels touches, taken together: shares and exposure are
    /// means over the tiles' pixels, blur is the median of the tiles that have one.
    ///
    /// # Input
    /// Pixel coordinates of the rectangle, left, top included, right, bottom excluded; cut off at the
    /// photo's edges.
    ///
    /// # Result
    /// Nothing when no pixel of the photo is inside.
    #[must_use]
    pub fn over(&self, left: usize, top: usize, right: usize, bottom: usize) -> Option<TileQuality> {
        let (right, bottom) = (right.min(self.width), bottom.min(self.height));
        if left >= right || top >= bottom {
            return None;
        }
        let mut sum = TileQuality::default();
        let mut blurs: Vec<(f32, f32)> = Vec::new();
        let mut area = 0.0_f32;
        for row in top / TILE_PX..=(bottom - 1) / TILE_PX {
            for column in left / TILE_PX..=(right - 1) / TILE_PX {
                let tile = self.tiles.get(row * self.columns + column)?;
                let pixels = (self.side(column, self.width) * self.side(row, self.height)) as f32;
                area += pixels;
                sum.clipped += tile.clipped * pixels;
                sum.near_black += tile.near_black * pixels;
                sum.specular += tile.specular * pixels;
                sum.mean_exposure += tile.mean_exposure * pixels;
                blurs.extend(tile.blur_sigma_px.zip(tile.blur_u_px));
            }
        }
        sum.clipped /= area;
        sum.near_black /= area;
        sum.specular /= area;
        sum.mean_exposure /= area;
        if let Some((sigma, u)) = middle(&mut blurs) {
            sum.blur_sigma_px = Some(sigma);
            sum.blur_u_px = Some(u);
        }
        Some(sum)
    }

    fn side(&self, tile: usize, size: usize) -> usize {
        TILE_PX.min(size - tile * TILE_PX)
    }
}

/// Measures a photo. [`Photo::quality`] keeps the result.
///
/// # Result
/// Every tile of the photo, see [`TileQuality`].
#[must_use]
pub fn measure(photo: &Photo) -> Quality {
    let columns = photo.width().div_ceil(TILE_PX);
    let rows = photo.height().div_ceil(TILE_PX);
    let luminance = Luminance::new(photo);
    let (across, down) = (columns.div_ceil(BLOCK_TILES.0), rows.div_ceil(BLOCK_TILES.1));
    let blocks: Vec<Block> = (0..across * down)
        .into_par_iter()
        .map(|i| Block::measure(photo, &luminance, i % across * BLOCK_TILES.0, i / across * BLOCK_TILES.1))
        .collect();
    let mut tiles = vec![TileQuality::default(); columns * rows];
    let mut cells = glare::Cells::new(photo.width(), photo.height());
    for block in &blocks {
        for (i, tile) in block.tiles.iter().enumerate() {
            let (column, row) = (block.column + i % BLOCK_TILES.0, block.row + i / BLOCK_TILES.0);
            if column < columns && row < rows {
                tiles[row * columns + column] = *tile;
            }
        }
        cells.put(block.column * TILE_PX, block.row * TILE_PX, &block.cells);
    }
    let specular = cells.specular_by_tile(columns, rows);
    for (tile, specular) in tiles.iter_mut().zip(specular) {
        tile.specular = specular;
    }
    Quality { columns, rows, width: photo.width(), height: photo.height(), tiles }
}

/// The blur over a rectangle of photo pixels, as [`Quality::over`] gives it, measured where the rectangle
/// lies and nowhere else: an end seal is a tenth of a photo of 12 megapixels.
///
/// # Input
/// As [`Quality::over`].
///
/// # Result
/// Standard deviation and its standard uncertainty, photo pixels.
///
/// # Cannot tell
/// Nothing when no pixel of the photo is inside or no tile has clear edges.
#[must_use]
pub fn blur_over(photo: &Photo, left: usize, top: usize, right: usize, bottom: usize) -> Option<(f32, f32)> {
    let (right, bottom) = (right.min(photo.width()), bottom.min(photo.height()));
    if left >= right || top >= bottom {
        return None;
    }
    let (columns, rows) = (left / TILE_PX..=(right - 1) / TILE_PX, top / TILE_PX..=(bottom - 1) / TILE_PX);
    let span = |tiles: &std::ops::RangeInclusive<usize>, of: usize| tiles.start() / of..=tiles.end() / of;
    let (across, down) = (span(&columns, BLOCK_TILES.0), span(&rows, BLOCK_TILES.1));
    let places: Vec<(usize, usize)> =
        down.flat_map(|row| across.clone().map(move |column| (column, row))).collect();
    let luminance = Luminance::new(photo);
    let blocks: Vec<Block> = places
        .par_iter()
        .map(|(column, row)| Block::measure(photo, &luminance, column * BLOCK_TILES.0, row * BLOCK_TILES.1))
        .collect();
    let mut blurs: Vec<(f32, f32)> = Vec::new();
    for block in &blocks {
        for (i, tile) in block.tiles.iter().enumerate() {
            let (column, row) = (block.column + i % BLOCK_TILES.0, block.row + i / BLOCK_TILES.0);
            if columns.contains(&column) && rows.contains(&row) {
                blurs.extend(tile.blur_sigma_px.zip(tile.blur_u_px));
            }
        }
    }
    middle(&mut blurs)
}

/// The blur in the middle of several, by size.
fn middle(blurs: &mut [(f32, f32)]) -> Option<(f32, f32)> {
    blurs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    blurs.get(blurs.len() / 2).copied()
}

/// Relative luminance of a pixel as the sum of three table values.
struct Luminance {
    tables: [Vec<f32>; 3],
    clip: u16,
    black: u16,
    bright: u16,
}

impl Luminance {
    fn new(photo: &Photo) -> Self {
        // Y of linear Rec. 709, led back through the photo's matrix to its own primaries.
        let y = RgbSpace::REC709.to_xyz().map_or([0.2126, 0.7152, 0.0722], |m| m.0[1]);
        let m = &photo.encoding().to_rec709().0;
        let weight = |c: usize| (y[0] * m[0][c] + y[1] * m[1][c] + y[2] * m[2][c]) as f32;
        let tables = [0, 1, 2].map(|c| photo.tables.light[c].iter().map(|v| v * weight(c)).collect());
        let top = f64::from(photo.codes().max_code());
        Self {
            tables,
            clip: photo.clip_code() as u16,
            black: (top * NEAR_BLACK) as u16,
            bright: (top * glare::BRIGHT) as u16,
        }
    }
}

/// Results of one block: tiles and cells, rows first, both padded to the full block.
struct Block {
    column: usize,
    row: usize,
    tiles: Vec<TileQuality>,
    cells: Vec<glare::Cell>,
}

impl Block {
    fn measure(photo: &Photo, luminance: &Luminance, column: usize, row: usize) -> Self {
        match photo.codes() {
            Codes::Eight(codes) => Self::of(photo, codes, luminance, column, row),
            Codes::Sixteen(codes) => Self::of(photo, codes, luminance, column, row),
        }
    }

    fn of<T: Copy + Into<u16>>(
        photo: &Photo,
        codes: &[T],
        luminance: &Luminance,
        column: usize,
        row: usize,
    ) -> Self {
        let (width, height) = (photo.width(), photo.height());
        let (left, top) = (column * TILE_PX, row * TILE_PX);
        let (w, h) = (BLOCK_TILES.0 * TILE_PX, BLOCK_TILES.1 * TILE_PX);
        let (right, bottom) = ((left + w).min(width), (top + h).min(height));

        let mut field = blur::Field::new(w, h);
        let [tr, tg, tb] = &luminance.tables;
        // Beyond the photo's edges the outermost pixels repeat.
        for (line, y) in field.lines_mut().zip(0_usize..) {
            let y = (top + y).saturating_sub(blur::MARGIN).min(height - 1);
            let pixels = codes[3 * y * width..3 * (y + 1) * width].as_chunks::<3>().0;
            let mut put = |i: usize, x: usize| {
                let [r, g, b] = pixels[x].map(|c| usize::from(c.into()));
                line[i] = tr[r] + tg[g] + tb[b];
            };
            let inner = left.saturating_sub(blur::MARGIN)..(left + w + blur::MARGIN).min(width);
            let first = inner.start + blur::MARGIN - left;
            for i in 0..first {
                put(i, 0);
            }
            for (i, x) in (first..).zip(inner.clone()) {
                put(i, x);
            }
            for i in first + inner.len()..w + 2 * blur::MARGIN {
                put(i, width - 1);
            }
        }

        let mut tiles = vec![TileQuality::default(); BLOCK_TILES.0 * BLOCK_TILES.1];
        let mut cells = vec![glare::Cell::default(); w / glare::CELL_PX * (h / glare::CELL_PX)];
        let mut counts = vec![[0_u32; 3]; tiles.len()];
        let mut exposure = vec![0.0_f32; tiles.len()];
        for y in top..bottom {
            let line = codes[3 * (y * width + left)..3 * (y * width + right)].as_chunks::<3>().0;
            let light = &field.line(y - top)[..right - left];
            let tile_row = (y - top) / TILE_PX * BLOCK_TILES.0;
            let cell_row = (y - top) / glare::CELL_PX * (w / glare::CELL_PX);
            let runs = line.chunks(glare::CELL_PX).zip(light.chunks(glare::CELL_PX));
            for (i, (pixels, light)) in runs.enumerate() {
                let (mut clipped, mut black, mut bright, mut sum) = (0_u32, 0_u32, 0_u32, 0.0_f32);
                for (pixel, light) in pixels.iter().zip(light) {
                    let [r, g, b] = pixel.map(Into::into);
                    let (most, least) = (r.max(g).max(b), r.min(g).min(b));
                    clipped += u32::from(most >= luminance.clip);
                    black += u32::from(most <= luminance.black);
                    bright += u32::from(least >= luminance.bright);
                    sum += light;
                }
                let tile = tile_row + i * glare::CELL_PX / TILE_PX;
                let count = &mut counts[tile];
                *count = [count[0] + clipped, count[1] + black, count[2] + pixels.len() as u32];
                exposure[tile] += sum;
                cells[cell_row + i].add(sum, pixels.len() as u32, bright);
            }
        }
        for ((tile, [clipped, black, all]), exposure) in tiles.iter_mut().zip(&counts).zip(&exposure) {
            let all = (*all).max(1) as f32;
            tile.clipped = *clipped as f32 / all;
            tile.near_black = *black as f32 / all;
            tile.mean_exposure = exposure / all;
        }
        let blurs = field.blur_by_tile(BLOCK_TILES, (right - left, bottom - top));
        for (tile, blur) in tiles.iter_mut().zip(blurs) {
            tile.blur_sigma_px = blur.map(|b| b.sigma);
            tile.blur_u_px = blur.map(|b| b.u);
        }
        Self { column, row, tiles, cells }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::encoding::Encoding;

    #[test]
    fn a_part_is_read_as_in_the_whole() {
        let (w, h) = (700, 420);
        let codes = (0..w * h)
            .flat_map(|k| {
                let (x, y) = (k % w, k / w);
                let soft = 1 + x / 100;
                let edge = (x % 40) / soft;
                let v = if (y / 30) % 2 == 0 { 60 + 25 * edge.min(6) } else { 200 - 20 * edge.min(7) };
                [v as u8; 3]
            })
            .collect();
        let photo = Photo::from_codes("steps", w, h, Codes::Eight(codes), Encoding::srgb()).expect("a photo");
        let mut read = 0;
        for (left, top, right, bottom) in
            [(0, 0, w, h), (100, 50, 333, 222), (640, 380, 9_999, 9_999), (31, 31, 33, 33), (5, 5, 5, 9)]
        {
            let whole = photo.quality().over(left, top, right, bottom);
            let expected = whole.and_then(|tile| tile.blur_sigma_px.zip(tile.blur_u_px));
            assert_eq!(
                blur_over(&photo, left, top, right, bottom),
                expected,
                "{left} {top} {right} {bottom}"
            );
            read += usize::from(expected.is_some());
        }
        assert!(read >= 2, "only {read} rectangles had edges to read");
    }
}
