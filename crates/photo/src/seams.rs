//! Seams of a collage: where one picture file was put together from several photos.
//!
//! In: a photo. Out: its tiles, each the rectangle that one of the photos fills; none for a single
//! photo. Never here: what a tile shows.
//!
//! Only a program draws a line that is exactly along the pixels over the whole width or height, has
//! the same place to the pixel at both ends, and separates two sides that are each continuous. An
//! edge in the scene is a little slanted or bent by the lens, so that it leaves the window of a few
//! pixels somewhere, or it ends. So each of up to [`STRIPS`] strips along the line votes: the range of
//! values in a window across the line must exceed [`RATIO`] times that in the windows on both sides. A
//! seam has the votes of nearly all strips in nearly all eighths of its length. The window is wide
//! enough for a seam softened by scaling, or for a thin gutter as a whole; a wide gutter gives two
//! seams with a flat band between them. Flat bands (gutters, the bars and text panels of a
//! screenshot) and narrow ones are no tiles.
//!
//! Read [`collage_tiles`], then `cuts` (one direction) and `split` (one direction after the other).

use crate::photo::{Codes, Photo};

/// Strips along a line that vote; fewer in a smaller picture.
const STRIPS: usize = 64;
/// Rows (or columns) averaged in a strip, so that the camera's noise does not vote.
const LINES: usize = 8;
/// A line with fewer strips is too short to tell.
const MIN_STRIPS: usize = 16;
/// Widths of the window in pixels: a sharp seam; one softened by enlarging, or a gutter of up to six.
const WINDOWS_PX: [usize; 2] = [4, 8];
/// The range across a seam against that beside it. Where nothing changes the two are alike; ringing
/// of JPEG beside a step stays under a quarter of it.
const RATIO: f32 = 2.0;
/// What the range across must have more, codes of 8 bits summed over the three channels: the blocks of
/// JPEG leave steps of 1 or 2 in each channel between smooth blocks.
const FLOOR: f32 = 9.0;
/// Share of the strips that must vote. Of 733 photos without a seam of the calibration set none had
/// 0.63 together with an eighth of [`MIN_EIGHTH`]; its 11 collages had 0.83 or more (December 2026).
const MIN_SHARE: f32 = 0.75;
/// The same share in the second-worst eighth of the length: at most 0.25 in photos without a seam, at
/// least 0.75 in collages (same data). One eighth may fail: two photos of one table can meet in one tone.
const MIN_EIGHTH: f32 = 0.5;
/// Hits at most this far apart are one seam, pixels.
const MERGE_PX: usize = 4;
/// A tile is at least this share of the picture wide and high.
const MIN_TILE: f64 = 0.2;
/// Share of a flat band that lies within [`FLAT_CODES`] of its median colour.
const FLAT_SHARE: f64 = 0.5;
/// Codes of 8 bits.
const FLAT_CODES: f32 = 4.0;
/// Seams within tiles within tiles: rows of columns of rows.
const MAX_DEPTH: usize = 3;

/// One photo of a collage: a rectangle of pixels, right and bottom excluded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CollageTile {
    /// First column.
    pub left: usize,
    /// First row.
    pub top: usize,
    /// Column after the last.
    pub right: usize,
    /// Row after the last.
    pub bottom: usize,
}

impl CollageTile {
    /// Whether a place of the picture lies in the tile or at most `margin_px` outside it.
    ///
    /// # Input
    /// `at_px`: x, y in pixels, (0, 0) the centre of the top-left pixel; a NaN is outside.
    ///
    /// # Example
    /// ```
    /// let tile = photo::CollageTile { left: 10, top: 0, right: 20, bottom: 30 };
    /// assert!(tile.holds([19.4, 0.0], 0.0) && !tile.holds([19.6, 0.0], 0.0));
    /// assert!(tile.holds([8.0, 0.0], 2.0));
    /// ```
    #[must_use]
    pub fn holds(&self, at_px: [f64; 2], margin_px: f64) -> bool {
        let inside = |at: f64, from: usize, to: usize| {
            at >= from as f64 - 0.5 - margin_px && at <= to as f64 - 0.5 + margin_px
        };
        inside(at_px[0], self.left, self.right) && inside(at_px[1], self.top, self.bottom)
    }

    const fn width(&self) -> usize {
        self.right - self.left
    }

    const fn height(&self) -> usize {
        self.bottom - self.top
    }
}

/// The tiles of a collage, row by row or column by column as its seams divide it.
///
/// # Input
/// An upright photo of any size. Reads at most `STRIPS` × `LINES` rows and as many columns of each
/// part, so the time grows with its sides and never faster than its pixels.
///
/// # Result
/// At least two tiles, each at least a fifth of the picture wide and high, which do not overlap; or
/// none when no seam divides the picture into several photos: a single photo, a screenshot of one, a
/// picture that is too small. A seam between two photos that look alike along it (both on white) is
/// not found. Never an error.
#[must_use]
pub fn collage_tiles(photo: &Photo) -> Vec<CollageTile> {
    let whole = CollageTile { left: 0, top: 0, right: photo.width, bottom: photo.height };
    let mut tiles = Vec::new();
    split(photo, whole, 0, &mut tiles);
    if tiles.len() < 2 {
        tiles.clear();
    }
    tiles
}

/// Direction of a seam.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Seam {
    /// From top to bottom.
    Upright,
    /// From left to right.
    Level,
}

fn split(photo: &Photo, part: CollageTile, depth: usize, tiles: &mut Vec<CollageTile>) {
    for seam in [Seam::Upright, Seam::Level] {
        let found = if depth < MAX_DEPTH { cuts(photo, part, seam) } else { Vec::new() };
        if found.is_empty() {
            continue;
        }
        let (length, whole) = match seam {
            Seam::Upright => (part.width(), photo.width),
            Seam::Level => (part.height(), photo.height),
        };
        let starts = std::iter::once(0).chain(found.iter().map(|cut| cut.1));
        let ends = found.iter().map(|cut| cut.0).chain(std::iter::once(length));
        for (start, end) in starts.zip(ends) {
            if (end.saturating_sub(start) as f64) < MIN_TILE * whole as f64 {
                continue;
            }
            let mut band = part;
            match seam {
                Seam::Upright => (band.left, band.right) = (part.left + start, part.left + end),
                Seam::Level => (band.top, band.bottom) = (part.top + start, part.top + end),
            }
            split(photo, band, depth + 1, tiles);
        }
        return;
    }
    if !is_flat(photo, part) {
        tiles.push(part);
    }
}

/// The seams of one direction in a part, from first to last: first and last place, counted from the
/// part's edge, between which each lies. Place c is the border between pixels c − 1 and c.
fn cuts(photo: &Photo, part: CollageTile, seam: Seam) -> Vec<(usize, usize)> {
    let strips = strips(photo, part, seam);
    if strips.len() < MIN_STRIPS {
        return Vec::new();
    }
    let mut hits: Vec<usize> = WINDOWS_PX.iter().flat_map(|window| hits(&strips, *window)).collect();
    hits.sort_unstable();
    let mut cuts: Vec<(usize, usize)> = Vec::new();
    for hit in hits {
        match cuts.last_mut() {
            Some(cut) if hit - cut.1 <= MERGE_PX => cut.1 = hit,
            _ => cuts.push((hit, hit)),
        }
    }
    cuts
}

/// Places where nearly all strips vote for a seam.
fn hits(strips: &[Vec<[f32; 3]>], window: usize) -> Vec<usize> {
    let length = strips.first().map_or(0, Vec::len);
    // Before place c lie a window and a half, after it as much.
    let first = window + window / 2;
    if length < 2 * first {
        return Vec::new();
    }
    let mut votes = vec![[0_u16; 8]; length - 2 * first + 1];
    let mut of = [0_u16; 8];
    for (index, strip) in strips.iter().enumerate() {
        let eighth = index * 8 / strips.len();
        of[eighth] += 1;
        let ranges: Vec<f32> = strip.windows(window).map(range).collect();
        for (place, vote) in votes.iter_mut().enumerate() {
            let beside = ranges[place].max(ranges[place + 2 * window]);
            vote[eighth] += u16::from(ranges[place + window] > RATIO * beside + FLOOR);
        }
    }
    let passes = |vote: &[u16; 8]| {
        let all = f32::from(vote.iter().sum::<u16>()) / strips.len() as f32;
        let mut shares = [0.0_f32; 8];
        for ((share, vote), of) in shares.iter_mut().zip(vote).zip(of) {
            *share = f32::from(*vote) / f32::from(of.max(1));
        }
        shares.sort_unstable_by(f32::total_cmp);
        all >= MIN_SHARE && shares[1] >= MIN_EIGHTH
    };
    votes.iter().enumerate().filter(|(_, vote)| passes(vote)).map(|(place, _)| place + first).collect()
}

/// Largest minus smallest value, summed over the channels.
fn range(window: &[[f32; 3]]) -> f32 {
    let (mut low, mut high) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
    for pixel in window {
        for channel in 0..3 {
            low[channel] = low[channel].min(pixel[channel]);
            high[channel] = high[channel].max(pixel[channel]);
        }
    }
    (0..3).map(|channel| high[channel] - low[channel]).sum()
}

/// Mean colours across the seam's direction, codes of 8 bits: one list for each strip along it.
fn strips(photo: &Photo, part: CollageTile, seam: Seam) -> Vec<Vec<[f32; 3]>> {
    let (along, across) = match seam {
        Seam::Upright => (part.height(), part.width()),
        Seam::Level => (part.width(), part.height()),
    };
    let count = STRIPS.min(along);
    (0..count)
        .map(|strip| {
            let (start, end) = (strip * along / count, (strip + 1) * along / count);
            let lines = LINES.min(end - start);
            let mut sums = vec![[0.0_f32; 3]; across];
            for line in 0..lines {
                let at = start + (2 * line + 1) * (end - start) / (2 * lines);
                for (place, sum) in sums.iter_mut().enumerate() {
                    let code = match seam {
                        Seam::Upright => code(photo, part.left + place, part.top + at),
                        Seam::Level => code(photo, part.left + at, part.top + place),
                    };
                    for channel in 0..3 {
                        sum[channel] += code[channel];
                    }
                }
            }
            for value in sums.iter_mut().flatten() {
                *value /= lines as f32;
            }
            sums
        })
        .collect()
}

/// The codes of a pixel inside the photo as if of 8 bits.
#[inline]
fn code(photo: &Photo, x: usize, y: usize) -> [f32; 3] {
    let at = (y * photo.width + x) * 3;
    match &photo.codes {
        Codes::Eight(codes) => [0, 1, 2].map(|channel| f32::from(codes[at + channel])),
        Codes::Sixteen(codes) => [0, 1, 2].map(|channel| f32::from(codes[at + channel]) / 257.0),
    }
}

/// Whether most of a part has one colour, on a grid of about 64 × 64 of its pixels.
fn is_flat(photo: &Photo, part: CollageTile) -> bool {
    let grid = |from: usize, to: usize| (from..to).step_by(((to - from) / 64).max(1));
    let colours: Vec<[f32; 3]> = grid(part.top, part.bottom)
        .flat_map(|y| grid(part.left, part.right).map(move |x| (x, y)))
        .map(|(x, y)| code(photo, x, y))
        .collect();
    let median = [0, 1, 2].map(|channel| {
        let mut values: Vec<f32> = colours.iter().map(|colour| colour[channel]).collect();
        let middle = values.len() / 2;
        if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f32::total_cmp).1 }
    });
    let near = |colour: &&[f32; 3]| (0..3).all(|c| (colour[c] - median[c]).abs() <= FLAT_CODES);
    colours.iter().filter(near).count() as f64 > FLAT_SHARE * colours.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Encoding, Limits, decode};

    type Colour = [u8; 3];

    fn picture(width: usize, height: usize, colour: impl Fn(usize, usize) -> Colour) -> Photo {
        let codes = (0..width * height).flat_map(|i| colour(i % width, i / width)).collect();
        Photo::from_codes("made", width, height, Codes::Eight(codes), Encoding::srgb()).unwrap()
    }

    /// A table with slow shading and grain; `tone` is the light it was taken in.
    fn table(tone: f64, x: usize, y: usize) -> Colour {
        let grain = (x * 7_919 + y * 104_729 + x * y * 31) % 7;
        let v = tone + x as f64 * 0.06 + y as f64 * 0.04 + grain as f64;
        [v, v * 0.8, v * 0.6].map(|v| v.clamp(0.0, 255.0) as u8)
    }

    /// The same through the compressor, after a change of size.
    fn sent(photo: &Photo, width: u32, height: u32, quality: u8) -> Photo {
        let Codes::Eight(codes) = &photo.codes else { unreachable!() };
        let image =
            image::RgbImage::from_raw(photo.width as u32, photo.height as u32, codes.clone()).unwrap();
        let image = image::imageops::resize(&image, width, height, image::imageops::FilterType::CatmullRom);
        let mut bytes = Vec::new();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality).encode_image(&image).unwrap();
        decode(&bytes, "sent", &Limits::default()).unwrap()
    }

    fn edges(photo: &Photo) -> Vec<[usize; 4]> {
        collage_tiles(photo).iter().map(|t| [t.left, t.top, t.right, t.bottom]).collect()
    }

    #[test]
    fn a_seam_divides_side_by_side_and_one_over_the_other() {
        let beside = picture(600, 400, |x, y| table(if x < 290 { 90.0 } else { 120.0 }, x, y));
        let got = edges(&beside);
        assert_eq!(got.len(), 2);
        assert!(got[0][2].abs_diff(290) <= 4 && got[1][0].abs_diff(290) <= 4, "{got:?}");
        assert_eq!((got[0][0], got[0][3], got[1][2]), (0, 400, 600));
        let over = picture(400, 600, |x, y| table(if y < 310 { 90.0 } else { 120.0 }, x, y));
        assert!(edges(&over)[1][1].abs_diff(310) <= 4);
    }

    #[test]
    fn a_seam_survives_scaling_and_two_compressions() {
        let made = picture(900, 600, |x, y| table(if x < 450 { 80.0 } else { 140.0 }, x % 450, y));
        let got = edges(&sent(&sent(&made, 700, 467, 80), 1_000, 667, 70));
        assert_eq!(got.len(), 2, "{got:?}");
        assert!(got[0][2].abs_diff(500) <= 6 && got[1][0].abs_diff(500) <= 6, "{got:?}");
    }

    #[test]
    fn gutters_thin_and_wide_are_no_tiles() {
        for gutter in [1, 2, 3, 4, 5, 6, 7, 8, 20, 60] {
            let made = picture(600, 400, |x, y| {
                if (280..280 + gutter).contains(&x) { [255; 3] } else { table(100.0, x, y) }
            });
            let got = edges(&made);
            assert_eq!(got.len(), 2, "gutter of {gutter}: {got:?}");
            assert!(got[0][2] <= 281 && got[1][0] >= 280 + gutter - 1, "gutter of {gutter}: {got:?}");
        }
    }

    #[test]
    fn four_photos_in_two_rows_are_four_tiles() {
        let made = picture(600, 600, |x, y| {
            table([60.0, 140.0, 100.0, 20.0][x / 300 + 2 * (y / 300)], x % 300, y % 300)
        });
        assert_eq!(edges(&made).len(), 4);
    }

    #[test]
    fn an_edge_of_the_scene_is_no_seam() {
        // A table's edge that drifts by 12 pixels over the height, and one that ends half-way.
        let slanted =
            picture(600, 400, |x, y| table(if x * 100 < 29_000 + 3 * y { 60.0 } else { 140.0 }, x, y));
        assert_eq!(edges(&slanted), [] as [[usize; 4]; 0]);
        let ends = picture(600, 400, |x, y| table(if x < 290 && y < 200 { 60.0 } else { 140.0 }, x, y));
        assert_eq!(edges(&ends), [] as [[usize; 4]; 0]);
    }

    #[test]
    fn blocks_of_strong_compression_are_no_seams() {
        let plain = picture(600, 400, |x, y| table(100.0, x, y));
        for quality in [5, 15, 30, 60] {
            assert_eq!(edges(&sent(&plain, 600, 400, quality)), [] as [[usize; 4]; 0], "quality {quality}");
        }
    }

    #[test]
    fn the_bars_of_a_screenshot_are_no_tiles() {
        let shot =
            picture(
                400,
                900,
                |x, y| {
                    if (60..600).contains(&y) { table(100.0, x, y) } else { [250, 250, 250] }
                },
            );
        assert_eq!(edges(&shot), [] as [[usize; 4]; 0]);
    }

    #[test]
    fn tiny_and_plain_pictures_have_none_and_sixteen_bits_are_alike() {
        for (width, height) in [(1, 1), (1, 500), (500, 1), (3, 3), (23, 40), (64, 16)] {
            assert_eq!(edges(&picture(width, height, |_, _| [9; 3])), [] as [[usize; 4]; 0]);
            edges(&picture(width, height, |x, y| table(20.0, x * 99, y)));
        }
        assert_eq!(edges(&picture(600, 400, |_, _| [128; 3])), [] as [[usize; 4]; 0]);
        let eight = picture(600, 400, |x, y| table(if x < 290 { 90.0 } else { 120.0 }, x, y));
        let Codes::Eight(codes) = &eight.codes else { unreachable!() };
        let codes = Codes::Sixteen(codes.iter().map(|c| u16::from(*c) * 257).collect());
        let sixteen = Photo::from_codes("deep", 600, 400, codes, Encoding::srgb()).unwrap();
        assert_eq!(collage_tiles(&sixteen), collage_tiles(&eight));
    }
}
