//! Pictures of a face's print: aligned pair, difference map, ink chart.
//!
//! In: what was measured. Out: encoded pictures with caption and alternative text.
//! Never here: measuring.
//!
//! The difference map's colours run from dark blue (none) to yellow, evenly in lightness, so they keep
//! their order for every kind of colour vision and in grey print. Source: `nunez2018` (cividis; here a
//! nine-point table of that map).

use std::io::Cursor;

use casebook::picture::{Content, Mark, MarkRole, Picture};
use image::codecs::jpeg::JpegEncoder;
use image::{ImageFormat, Rgb, RgbImage};
use photo::Plane;
use photo::colour::transfer::srgb_code;
use photo::colour::{Lab, delta_e_2000_slice, linear_from_lab};

use super::examiner::{Read, ReadPhoto};
use super::findings::{Drawn, chromatic};
use crate::ItemView;
use crate::compare::patches::patches;

/// ΔE00 at the top of the difference map.
const TOP: f32 = 12.0;
/// Cividis at 0, ⅛ … 1.
const CIVIDIS: [[f32; 3]; 9] = [
    [0.0, 34.0, 78.0],
    [18.0, 53.0, 112.0],
    [59.0, 73.0, 108.0],
    [87.0, 93.0, 109.0],
    [112.0, 113.0, 115.0],
    [138.0, 134.0, 120.0],
    [166.0, 156.0, 117.0],
    [205.0, 186.0, 100.0],
    [254.0, 232.0, 56.0],
];
const JPEG_QUALITY: u8 = 86;
/// Misfit from which a region is marked as different.
const STANDS_OUT: f64 = 3.5;

pub(super) fn draw(view: &ItemView<'_>, read: &Read<'_>) -> Drawn {
    let Some(best) = read.photos.first() else { return Drawn::default() };
    let name = |what: &str| format!("{}-print-{}-{what}", view.item, read.face.id);
    let face = &read.face.id;
    let mut drawn = Drawn::default();
    let scale = Some(read.reference.grid.px_per_mm);
    if let Some(content) = photograph(&best.comparison.corrected, scale, offered_marks(read)) {
        drawn.face.push(Picture {
            id: name("offered"),
            caption: format!(
                "The {face} as offered ({}), straightened, camera and light taken out",
                best.file
            ),
            alt: format!(
                "The {face} of the item in {}, aligned with the reference, with the named regions outlined",
                best.file
            ),
            content,
        });
    }
    if let Some(content) = photograph(&read.reference.layer.rgb, scale, reference_marks(read)) {
        drawn.face.push(Picture {
            id: name("reference"),
            caption: format!("The {face} of the genuine product, same scale"),
            alt: format!(
                "The library's flat reference picture of the {face} with its named regions outlined"
            ),
            content,
        });
    }
    if let Some(content) = difference(best, scale) {
        drawn.face.push(Picture {
            id: name("difference"),
            caption: format!("Colour difference of the {face}, 0 (dark blue) to {TOP:.0} ΔE00 and more (yellow); glare, seals and edges are left white"),
            alt: format!("Map of the colour difference between the {face} as offered and the reference, camera and light taken out; a bar below runs from 0 to {TOP:.0} in CIEDE2000 units"),
            content,
        });
    }
    drawn.inks.extend(chart(read, name("inks")));
    drawn
}

fn photograph(rgb: &[Plane<f32>; 3], px_per_mm: Option<f64>, marks: Vec<Mark>) -> Option<Content> {
    let (w, h) = (rgb[0].width(), rgb[0].height());
    let table = codes();
    let mut pixels = Vec::with_capacity(w * h * 3);
    for y in 0..h {
        let rows = [rgb[0].row(y), rgb[1].row(y), rgb[2].row(y)];
        for x in 0..w {
            pixels.extend(rows.map(|r| code(&table, r[x])));
        }
    }
    let mut bytes = Vec::new();
    let (width, height) = (u32::try_from(w).ok()?, u32::try_from(h).ok()?);
    JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY)
        .encode(&pixels, width, height, image::ExtendedColorType::Rgb8)
        .ok()?;
    Some(Content::Image { media_type: "image/jpeg", bytes, width, height, px_per_mm, marks })
}

/// sRGB codes on 4096 steps of light.
fn codes() -> Vec<u8> {
    (0..=4096_u16).map(|i| srgb_code(f32::from(i) / 4096.0)).collect()
}

fn code(table: &[u8], light: f32) -> u8 {
    table.get((light.clamp(0.0, 1.0) * 4096.0) as usize).copied().unwrap_or(0)
}

fn difference(photo: &ReadPhoto<'_>, px_per_mm: Option<f64>) -> Option<Content> {
    let comparison = photo.comparison;
    let (a, b) = (&comparison.corrected_lab, &comparison.reference_lab);
    let (w, h) = (a[0].width(), a[0].height());
    let mut delta = vec![0.0_f32; w * h];
    delta_e_2000_slice(
        [a[0].data(), a[1].data(), a[2].data()],
        [b[0].data(), b[1].data(), b[2].data()],
        &mut delta,
    );
    let bar = 14;
    let (width, height) = (u32::try_from(w).ok()?, u32::try_from(h + bar + 4).ok()?);
    let mut out = RgbImage::from_pixel(width, height, Rgb([255, 255, 255]));
    for (i, (d, u)) in delta.iter().zip(comparison.usable.data()).enumerate() {
        if *u > 0.5 {
            out.put_pixel((i % w) as u32, (i / w) as u32, Rgb(shade(d / TOP)));
        }
    }
    for x in 0..w {
        for y in h + 4..h + 4 + bar {
            out.put_pixel(x as u32, y as u32, Rgb(shade(x as f32 / w.max(1) as f32)));
        }
    }
    let ticks = [0.0_f32, 0.25, 0.5, 0.75].map(|t| {
        let x = f64::from(t) * w as f64;
        Mark {
            points: vec![(x, (h + 4) as f64), (x, (h + 4 + bar) as f64)],
            label: format!("{:.0} ΔE00", t * TOP),
            role: MarkRole::Outline,
        }
    });
    let bytes = png(&out)?;
    Some(Content::Image { media_type: "image/png", bytes, width, height, px_per_mm, marks: ticks.into() })
}

fn shade(t: f32) -> [u8; 3] {
    let at = t.clamp(0.0, 1.0) * 8.0;
    let i = (at as usize).min(7);
    let f = at - i as f32;
    [0, 1, 2].map(|c| (CIVIDIS[i][c] + (CIVIDIS[i + 1][c] - CIVIDIS[i][c]) * f + 0.5) as u8)
}

fn png(image: &RgbImage) -> Option<Vec<u8>> {
    let mut bytes = Cursor::new(Vec::new());
    image.write_to(&mut bytes, ImageFormat::Png).ok()?;
    Some(bytes.into_inner())
}

fn reference_marks(read: &Read<'_>) -> Vec<Mark> {
    let s = read.reference.grid.px_per_mm;
    read.face
        .regions
        .iter()
        .map(|region| Mark {
            points: region.rect_mm.corners().iter().map(|(x, y)| (x * s, y * s)).collect(),
            label: region.name.clone(),
            role: MarkRole::Outline,
        })
        .collect()
}

fn offered_marks(read: &Read<'_>) -> Vec<Mark> {
    let s = read.reference.grid.px_per_mm;
    let mut marks = Vec::new();
    for (index, region) in read.face.regions.iter().enumerate() {
        let joint = read.reading.regions.iter().find(|r| r.index == index);
        let (cx, cy) = region.rect_mm.centre();
        let points = region.rect_mm.corners().map(|(x, y)| {
            let (u, v) = (x - cx, y - cy);
            joint.map_or((x * s, y * s), |j| {
                let [dx, dy, k, turn] = j.similarity.map(|v| v.value);
                // A turn of a few degrees: its sine is the turn.
                ((cx + dx + (1.0 + k) * (u - turn * v)) * s, (cy + dy + (1.0 + k) * (v + turn * u)) * s)
            })
        });
        let role = match joint {
            Some(j) if j.misfit > STANDS_OUT => MarkRole::Difference,
            Some(_) => MarkRole::Outline,
            None => MarkRole::Unread,
        };
        marks.push(Mark { points: points.to_vec(), label: region.name.clone(), role });
    }
    marks.extend(disagreements(read));
    marks
}

/// The largest places whose pattern is missing or added, as boxes.
fn disagreements(read: &Read<'_>) -> Vec<Mark> {
    let Some(best) = read.photos.first() else { return Vec::new() };
    let n = best.comparison.structure.reduction as f64;
    let cell = 1.0 / (best.comparison.structure.grid.px_per_mm * best.comparison.structure.grid.px_per_mm);
    let mut found = patches(&read.reading.disagreement);
    found.sort_by_key(|p| std::cmp::Reverse(p.len()));
    found
        .iter()
        .take(4)
        .filter(|p| p.len() as f64 * cell >= 4.0)
        .map(|patch| {
            let x = |f: fn(usize, usize) -> usize, start| patch.iter().map(|p| p.0).fold(start, f) as f64;
            let y = |f: fn(usize, usize) -> usize, start| patch.iter().map(|p| p.1).fold(start, f) as f64;
            let (x0, x1) = (x(usize::min, usize::MAX) * n, (x(usize::max, 0) + 1.0) * n);
            let (y0, y1) = (y(usize::min, usize::MAX) * n, (y(usize::max, 0) + 1.0) * n);
            let kind =
                patch.first().and_then(|(x, y)| read.reading.disagreement.get(*x, *y)).copied().unwrap_or(1);
            Mark {
                points: vec![(x0, y0), (x1, y0), (x1, y1), (x0, y1)],
                label: format!(
                    "{} {:.0} mm²",
                    if kind == 1 { "not found" } else { "added" },
                    patch.len() as f64 * cell
                ),
                role: MarkRole::Difference,
            }
        })
        .collect()
}

/// Pairs of patches: reference above, photo (camera taken out) below, one pair an ink.
fn chart(read: &Read<'_>, id: String) -> Option<Picture> {
    const W: usize = 64;
    const H: usize = 40;
    let inks = &read.reading.inks;
    if inks.is_empty() {
        return None;
    }
    let table = codes();
    let (width, height) = (u32::try_from(inks.len() * (W + 8)).ok()?, u32::try_from(2 * H).ok()?);
    let mut out = RgbImage::from_pixel(width, height, Rgb([255, 255, 255]));
    let mut marks = Vec::new();
    let mut words = Vec::new();
    for (k, ink) in inks.iter().enumerate() {
        let colour = *read.reference.inks.colours.get(ink.index)?;
        let shown = linear_from_lab(moved(colour, ink.lch.map(|v| v.value)));
        let reference = linear_from_lab(colour);
        let x0 = k * (W + 8);
        for y in 0..2 * H {
            let light = if y < H { reference } else { shown };
            let pixel = light.map(|v| code(&table, v as f32));
            for x in x0..x0 + W {
                out.put_pixel(x as u32, y as u32, Rgb(pixel));
            }
        }
        let v = chromatic(ink);
        let label = format!("{}: {:.1} ± {:.1}", read.reference.inks.word(ink.index), v.value, v.u);
        words.push(label.clone());
        let (l, r) = (x0 as f64, (x0 + W) as f64);
        marks.push(Mark {
            points: vec![(l, 0.0), (r, 0.0), (r, 2.0 * H as f64), (l, 2.0 * H as f64)],
            label,
            role: if ink.misfit > STANDS_OUT { MarkRole::Difference } else { MarkRole::Outline },
        });
    }
    Some(Picture {
        id,
        caption: format!(
            "Inks of the {}: reference above, as offered below, the camera judged by the other inks; ΔE00 in hue and strength",
            read.face.id
        ),
        alt: format!("Colour patches of the inks of the {}, in ΔE00: {}", read.face.id, words.join("; ")),
        content: Content::Image {
            media_type: "image/png",
            bytes: png(&out)?,
            width,
            height,
            px_per_mm: None,
            marks,
        },
    })
}

/// A colour moved by (ΔL, ΔC, ΔH) over CIEDE2000's weights.
fn moved(colour: Lab, lch: [f64; 3]) -> Lab {
    let axes = crate::compare::response::axes(colour);
    // The axes' rows are orthogonal in (a, b) up to a*'s stretch; invert the 2 × 2 part.
    let det = axes[1][1] * axes[2][2] - axes[1][2] * axes[2][1];
    let a = (axes[2][2] * lch[1] - axes[1][2] * lch[2]) / det;
    let b = (-axes[2][1] * lch[1] + axes[1][1] * lch[2]) / det;
    Lab::new((colour.l + lch[0] / axes[0][0]).clamp(0.0, 100.0), colour.a + a, colour.b + b)
}
