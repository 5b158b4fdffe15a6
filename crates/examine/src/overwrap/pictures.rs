//! Pictures of a film: the lattice over a photo, one mark averaged from all, excess against repeat.
//!
//! In: what was read. Out: encoded pictures with caption and alternative text. Never here: measuring.

use casebook::picture::{Content, Curve, Mark, MarkRole, Picture, Plot};
use photo::Plane;

use super::cell::Cell;
use super::examiner::{CLEAR, Facts, Read, ReadPhoto};
use super::findings::{Drawn, in_words};
use super::lattice::{Found, Lattice};
use super::residual::length;
use crate::ItemView;
use crate::drawing::jpeg;

/// Pixels a millimetre of the averaged mark.
const CELL_PX_PER_MM: f64 = 8.0;
/// Veil that is drawn white, L* at mid print; as much the other way is black.
const WHITE: f64 = 6.0;
/// Radius of the marks drawn over a photo, mm.
const MARK_MM: f64 = 5.0;
/// Most marks drawn over a photo.
const MOST_MARKS: usize = 60;
/// Points of the curve.
const POINTS: usize = 161;

pub(super) fn draw(view: &ItemView<'_>, facts: &Facts, read: &Read<'_>) -> Drawn {
    let mut drawn = Drawn::default();
    let Some(found) = read.clear().or(read.at).or(read.any) else { return drawn };
    let name = |what: &str| format!("{}-film-{what}", view.item);
    let clear = read.clear().is_some();
    let cells = read.photos.iter().filter_map(|p| Some((p, Cell::fold(&p.residual, &found.lattice)?)));
    if let Some((photo, cell)) = cells.max_by(|a, b| a.1.power().total_cmp(&b.1.power())) {
        let lattice = if clear { marks(photo, &cell, &found.lattice) } else { Vec::new() };
        let words = if clear {
            format!("with the places where a mark is found, {}", in_words(&found))
        } else {
            "in which no repeated mark stands out".to_owned()
        };
        if let Some(content) = jpeg(&photo.comparison.corrected, Some(photo.px_per_mm), lattice) {
            drawn.film.push(Picture {
                id: name("lattice"),
                caption: format!("The {} in {}, straightened, {words}", photo.face, photo.file),
                alt: format!("The {} of the box, camera and light taken out, {words}", photo.face),
                content,
            });
        }
        if let Some(content) = averaged(&cell, &found.lattice) {
            drawn.film.push(Picture {
                id: name("mark"),
                caption: format!(
                    "What lies over the print of the {}, averaged over all repeats {}; white is lighter than the print",
                    photo.face,
                    in_words(&found)
                ),
                alt: if clear {
                    "Two by two repeats of the averaged mark, enlarged".to_owned()
                } else {
                    "Two by two repeats of the average, in which no mark stands out".to_owned()
                },
                content,
            });
        }
    }
    drawn.film.push(Picture {
        id: name("repeat"),
        caption: "How much more alike than by chance the film is to itself, by the repeat that is tried"
            .to_owned(),
        alt: format!(
            "Curve of the excess over chance against the repeat in millimetres; highest {:.1} at {:.1} mm",
            found.excess,
            found.lattice.repeat_mm()
        ),
        content: Content::Plot(curve(facts, read, &found)),
    });
    drawn
}

/// Rings where the lattice puts its marks.
fn marks(photo: &ReadPhoto<'_>, cell: &Cell, lattice: &Lattice) -> Vec<Mark> {
    let s = photo.px_per_mm;
    let plane = &photo.comparison.corrected[0];
    let (w, h) = (plane.width() as f64 / s, plane.height() as f64 / s);
    let [cx, cy] = cell.centre();
    let mut out = Vec::new();
    let inside = |x: f64, y: f64| x > 0.0 && y > 0.0 && x < w && y < h;
    let far = (w * w + h * h).sqrt() + length([cx, cy]);
    let mut shifts = lattice.shifts(far);
    shifts.extend(shifts.clone().into_iter().map(|[x, y]| [-x, -y]));
    shifts.push([0.0, 0.0]);
    for [dx, dy] in shifts {
        let (x, y) = (cx + dx, cy + dy);
        if inside(x, y) && out.len() < MOST_MARKS {
            let r = MARK_MM;
            let corners = [(x - r, y), (x, y - r), (x + r, y), (x, y + r)];
            out.push(Mark {
                points: corners.iter().map(|(x, y)| (x * s, y * s)).collect(),
                label: if out.is_empty() { "mark".to_owned() } else { String::new() },
                role: MarkRole::Outline,
            });
        }
    }
    out
}

/// Two by two repeats of the cell, grey for no veil.
fn averaged(cell: &Cell, lattice: &Lattice) -> Option<Content> {
    let side = (2.0 * length(lattice.b) * CELL_PX_PER_MM).round().clamp(16.0, 900.0) as usize;
    let scale = side as f64 / (2.0 * length(lattice.b)).max(1.0);
    let grey = Plane::from_fn(side, side, |x, y| {
        let veil = cell.veil([(x as f64 + 0.5) / scale, (y as f64 + 0.5) / scale]).unwrap_or(0.0);
        // Perceived lightness is about the root of light: a square makes equal steps look equal.
        let tone = (0.5 + 0.5 * veil / WHITE).clamp(0.0, 1.0) as f32;
        tone * tone
    });
    jpeg(&[grey.clone(), grey.clone(), grey], Some(scale), Vec::new())
}

fn curve(facts: &Facts, read: &Read<'_>, found: &Found) -> Plot {
    let (low, high) = read.range_mm;
    let shape = found.lattice;
    let repeat = shape.repeat_mm().max(1.0);
    let points: Vec<(f64, f64)> = (0..POINTS)
        .map(|i| {
            let r = low + (high - low) * i as f64 / (POINTS - 1) as f64;
            let k = r / repeat;
            let scaled = Lattice { a: shape.a.map(|v| v * k), b: shape.b.map(|v| v * k) };
            (r, scaled.in_map(&read.map).excess)
        })
        .collect();
    let top = points.iter().map(|p| p.1).fold(CLEAR, f64::max);
    let mut curves = vec![Curve { label: "this film".to_owned(), points, dashed: false }];
    for (make, stated) in facts.repeats() {
        curves.push(Curve {
            label: format!("repeat of {make}"),
            points: vec![(stated.value - 1e-3, 0.0), (stated.value + 1e-3, top)],
            dashed: true,
        });
    }
    Plot {
        x_label: "repeat (mm)".to_owned(),
        y_label: "excess over chance (standard deviations)".to_owned(),
        curves,
        band: Some((-2.0, CLEAR, "reached by chance".to_owned())),
    }
}
