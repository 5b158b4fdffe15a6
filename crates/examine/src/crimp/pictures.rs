//! Pictures of the end seals: both ends one above the other, profile, spectrum, local map.
//!
//! In: readings. Out: [`Picture`]s. Never here: findings' numbers, a verdict in colour.

use std::f64::consts::PI;

use casebook::catalogue::RidgeDirection;
use casebook::elementary::{cos, hypot, ln, sin};
use casebook::picture::{Content, Curve, Mark, MarkRole, Picture, Plot};
use image::ImageEncoder;

use super::evenness::FLAT_BELOW;
use super::joint::SeenEnd;
use super::map::{STEP_MM, WINDOW_MM};
use super::view::{End, EndView};
use crate::drawing::code;

/// What is shown of an end, mm: outward and inward of the nominal cut edge.
const SHOWN_MM: (f64, f64) = (2.5, 12.0);
/// Space between both ends, pixels.
const GAP_PX: usize = 8;
/// Quality of the JPEG: ridges must not drown in blocks.
const JPEG_QUALITY: u8 = 88;

/// Rows of a view that are shown, outermost first.
fn shown_rows(view: &EndView) -> (usize, usize) {
    let row =
        |d: f64| ((d - view.origin_mm[1]) * view.px_per_mm).round().clamp(0.0, view.height as f64) as usize;
    (row(-SHOWN_MM.0), row(SHOWN_MM.1))
}

fn pixels(view: &EndView) -> Vec<u8> {
    let (from, to) = shown_rows(view);
    let mut rows: Vec<usize> = (from..to).collect();
    if view.end == End::Bottom {
        rows.reverse();
    }
    let mut out = Vec::with_capacity(rows.len() * view.width * 3);
    for row in rows {
        for column in 0..view.width {
            let at = row * view.width + column;
            out.extend([0, 1, 2].map(|k| code(view.rgb[k][at])));
        }
    }
    out
}

/// JPEG of interleaved RGB.
#[must_use]
pub(crate) fn jpeg(pixels: &[u8], width: usize, height: usize) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY)
        .write_image(
            pixels,
            u32::try_from(width).ok()?,
            u32::try_from(height).ok()?,
            image::ExtendedColorType::Rgb8,
        )
        .ok()?;
    Some(bytes)
}

/// Both ends of one face in one photo, as they lie on the pack: top above, bottom below.
///
/// Marks outline the places where ridges explain less than a third of what is seen, and hidden ones.
#[must_use]
pub(crate) fn both_ends(
    id: String,
    file: &str,
    top: Option<&SeenEnd>,
    bottom: Option<&SeenEnd>,
) -> Option<Picture> {
    let ends: Vec<&SeenEnd> = [top, bottom].into_iter().flatten().collect();
    let first = ends.first()?;
    let width = first.reading.at.view.width;
    let scale = first.reading.at.view.px_per_mm;
    let mut data = Vec::new();
    let mut marks = Vec::new();
    let mut height = 0;
    for (k, end) in ends.iter().enumerate() {
        let view = &end.reading.at.view;
        // Ends of one photo may differ in scale by perspective; the second is laid on the first's grid.
        let rows = pixels(view);
        let (from, to) = shown_rows(view);
        let count = to - from;
        if k > 0 {
            data.resize(data.len() + GAP_PX * width * 3, 255);
            height += GAP_PX;
        }
        let ratio = view.px_per_mm / scale;
        let target = (count as f64 / ratio).round() as usize;
        for row in 0..target {
            let source = ((row as f64 + 0.5) * ratio) as usize;
            for column in 0..width {
                let x = ((column as f64 + 0.5) * ratio) as usize;
                let at = (source.min(count - 1) * view.width + x.min(view.width - 1)) * 3;
                data.extend_from_slice(&rows[at..at + 3]);
            }
        }
        mark_flat(end, height as f64, target as f64, scale, &mut marks);
        height += target;
    }
    let bytes = jpeg(&data, width, height)?;
    let which = match (top, bottom) {
        (Some(_), Some(_)) => "Both end seals, top above bottom",
        (Some(_), None) => "The top end seal",
        _ => "The bottom end seal",
    };
    let flat = marks.iter().filter(|m| m.role == MarkRole::Difference).count();
    Some(Picture {
        id,
        caption: format!("{which}, straightened from {file}, under the photo's own light"),
        alt: format!(
            "{which}; {flat} places of {WINDOW_MM} mm are outlined because hardly any ridges show there"
        ),
        content: Content::Image {
            media_type: "image/jpeg",
            bytes,
            width: u32::try_from(width).ok()?,
            height: u32::try_from(height).ok()?,
            px_per_mm: Some(scale),
            marks,
        },
    })
}

fn mark_flat(end: &SeenEnd, top_px: f64, height_px: f64, scale: f64, marks: &mut Vec<Mark>) {
    let reading = &end.reading;
    let Some(map) = &reading.map else { return };
    let view = &reading.at.view;
    let lie = &reading.at.lie;
    let place = |film_x: f64, d: f64| {
        let x = lie.to_view(film_x, view.face_mm[0]);
        let from_cut = reading.at.line.course_at(x) + d;
        let px = (x - view.origin_mm[0]) * scale;
        let inward = (from_cut + SHOWN_MM.0) * scale;
        let py = match view.end {
            End::Top => top_px + inward,
            End::Bottom => top_px + height_px - inward,
        };
        (px, py)
    };
    let band = &reading.band.strip;
    let tall = band.height as f64 / band.px_per_mm / map.rows.max(1) as f64;
    for (i, window) in map.windows.iter().enumerate() {
        let row = (i / map.columns.max(1)) as f64;
        let (d0, d1) = (band.d0_mm + row * tall, band.d0_mm + (row + 1.0) * tall);
        let (x, role, label) = match window {
            Some(w) if w.explained < FLAT_BELOW => (w.x_mm, MarkRole::Difference, "hardly any ridges"),
            Some(_) => continue,
            None => {
                let column = (i % map.columns.max(1)) as f64;
                (band.x0_mm + WINDOW_MM / 2.0 + column * STEP_MM, MarkRole::Unread, "not readable")
            }
        };
        let half = STEP_MM / 2.0;
        let points = vec![place(x - half, d0), place(x + half, d0), place(x + half, d1), place(x - half, d1)];
        marks.push(Mark { points, label: label.to_owned(), role });
    }
}

/// Profile across the ridges with the fitted wave, light relative to the surroundings.
#[must_use]
pub(crate) fn profile(id: String, seen: &SeenEnd) -> Option<Picture> {
    let reading = &seen.reading;
    let (direction, fx, fy) = reading.wave?;
    let field = &reading.field;
    let along = direction == RidgeDirection::Along;
    let count = if along { field.width } else { field.height };
    let (mut sum, mut weight) = (vec![0.0; count], vec![0.0; count]);
    // Shear along the ridges, so that slanted ridges are not averaged away; about the middle.
    let middle = if along { field.height as f64 / 2.0 } else { field.width as f64 / 2.0 };
    for row in 0..field.height {
        for column in 0..field.width {
            let (main, side, slope) = if along { (column, row, fy / fx) } else { (row, column, fx / fy) };
            let at = main as f64 + slope * (side as f64 - middle);
            if at < 0.0 || at >= count as f64 {
                continue;
            }
            let w = f64::from(field.weight[row * field.width + column]);
            sum[at as usize] += w * f64::from(field.value[row * field.width + column]);
            weight[at as usize] += w;
        }
    }
    let origin = if along { field.x0_mm } else { field.d0_mm };
    let points: Vec<(f64, f64)> = (0..count)
        .map(|i| {
            let value = if weight[i] > 0.0 { sum[i] / weight[i] } else { f64::NAN };
            (origin + i as f64 / field.px_per_mm, value)
        })
        .collect();
    let f = hypot(fx, fy);
    let (mut c, mut s, mut n) = (0.0, 0.0, 0.0);
    for (x, v) in points.iter().filter(|p| p.1.is_finite()) {
        c += v * cos(2.0 * PI * f * x);
        s += v * sin(2.0 * PI * f * x);
        n += 1.0;
    }
    if n < 8.0 {
        return None;
    }
    let fit = points
        .iter()
        .map(|(x, _)| (*x, 2.0 / n * (c * cos(2.0 * PI * f * x) + s * sin(2.0 * PI * f * x))))
        .collect();
    let end = reading.at.end.word();
    let axis = if along { "place along the end (mm)" } else { "place inward from the cut (mm)" };
    Some(Picture {
        id,
        caption: format!("Ridge profile of the {end} end with the wave of {:.3} mm that fits it", 1.0 / f),
        alt: format!(
            "Curve of light across the ridges of the {end} end over a dashed wave of {:.3} mm",
            1.0 / f
        ),
        content: Content::Plot(Plot {
            x_label: axis.to_owned(),
            y_label: "light against the surroundings (1)".to_owned(),
            curves: vec![
                Curve { label: "measured".to_owned(), points, dashed: false },
                Curve { label: format!("wave of {:.3} mm", 1.0 / f), points: fit, dashed: true },
            ],
            band: None,
        }),
    })
}

/// Spectrum across the ridges of both ends.
#[must_use]
pub(crate) fn spectrum(id: String, ends: &[&SeenEnd]) -> Option<Picture> {
    let mut curves = Vec::new();
    for seen in ends {
        let along = seen.reading.wave.is_none_or(|w| w.0 == RidgeDirection::Along);
        let points: Vec<(f64, f64)> = seen
            .reading
            .spectrum
            .section(along, 2.4)
            .into_iter()
            .map(|(f, power)| (f, 10.0 * ln(power.max(1e-12)) / std::f64::consts::LN_10))
            .collect();
        curves.push(Curve {
            label: format!("{} end", seen.reading.at.end.word()),
            points,
            dashed: !curves.is_empty(),
        });
    }
    (!curves.is_empty()).then(|| Picture {
        id,
        caption: "Spectrum across the ridges: one sharp line and its multiples where ridges are even"
            .to_owned(),
        alt: "Curves of power over ridges per millimetre, one for each end".to_owned(),
        content: Content::Plot(Plot {
            x_label: "ridges per millimetre (1/mm)".to_owned(),
            y_label: "power of the modulation (dB)".to_owned(),
            curves,
            band: None,
        }),
    })
}

/// Local map: how much of what is seen the ridges explain, along both ends.
#[must_use]
pub(crate) fn local_map(id: String, ends: &[&SeenEnd]) -> Option<Picture> {
    let mut curves = Vec::new();
    for seen in ends {
        let Some(map) = &seen.reading.map else { continue };
        let points = (0..map.columns)
            .map(|column| {
                let windows: Vec<_> =
                    (0..map.rows).filter_map(|row| map.windows[row * map.columns + column]).collect();
                let x = seen.reading.band.strip.x0_mm + WINDOW_MM / 2.0 + column as f64 * STEP_MM;
                let mean = windows.iter().map(|w| w.explained).sum::<f64>() / windows.len().max(1) as f64;
                (x, if windows.is_empty() { f64::NAN } else { 100.0 * mean })
            })
            .collect();
        let label = format!("{} end", seen.reading.at.end.word());
        curves.push(Curve { label, points, dashed: !curves.is_empty() });
    }
    (!curves.is_empty()).then(|| Picture {
        id,
        caption: "How much of the light and dark along each end is evenly spaced ridges".to_owned(),
        alt: "Curves of the share that ridges explain over the place along the end".to_owned(),
        content: Content::Plot(Plot {
            x_label: "place along the end (mm)".to_owned(),
            y_label: "explained by ridges (%)".to_owned(),
            curves,
            band: Some((0.0, 100.0 * FLAT_BELOW, "hardly any ridges".to_owned())),
        }),
    })
}
