//! Pictures of lines: as offered above, as on the reference below, differing words boxed.
//!
//! In: what was measured and the cut-out lines. Out: encoded pictures. Never here: measuring.

use casebook::names::PhotoFile;
use casebook::picture::{Mark, MarkRole, Picture};
use photo::Plane;
use placement::Patch;

use super::examiner::{ReadFace, ReadLine};
use super::findings::{STANDS_OUT, deviation, differing_words};
use super::lines::Line;
use crate::{ItemView, drawing};

/// Rows of each of the two pictures.
pub(super) const ROWS: usize = 96;
/// Rows between them.
const BETWEEN: usize = 6;
/// Most lines of a face that are shown.
const MOST: usize = 3;

/// A line's picture of the photo and of the reference, and the photo's name.
type Pair<'a> = (Patch, Patch, &'a PhotoFile);

/// Pictures of the lines that differ most; of the first line when none does.
pub(super) fn draw<'a>(
    view: &ItemView<'_>,
    read: &ReadFace<'_>,
    pair: impl Fn(&Line, usize) -> Option<Pair<'a>>,
) -> Vec<Picture> {
    let mut order: Vec<(usize, &ReadLine<'_>)> =
        read.lines.iter().enumerate().filter(|(_, l)| l.joint.is_some()).collect();
    let oddness = |l: &ReadLine<'_>| {
        let wrong = l.joint.as_ref().map_or(0.0, |j| j.wrong_letters().0);
        let sizes = (0..l.words.len()).filter_map(|k| deviation(l, k)).map(|v| v.value.abs() / v.u);
        wrong.max(sizes.fold(0.0, f64::max) / STANDS_OUT)
    };
    order.sort_by(|a, b| oddness(b.1).total_cmp(&oddness(a.1)).then(a.0.cmp(&b.0)));
    let odd = order.iter().filter(|(_, l)| oddness(l) > 0.5).count();
    order
        .into_iter()
        .take(odd.clamp(1, MOST))
        .filter_map(|(index, line)| {
            let joint = line.joint.as_ref()?;
            let (there, own, file) = pair(line.line, *joint.photos.first()?)?;
            let (width, scale) = (there.width().max(own.width()), there.px_per_mm);
            let stacked = [0, 1, 2].map(|c| {
                Plane::from_fn(width, 2 * ROWS + BETWEEN, |x, y| {
                    let (plane, y) = if y < ROWS { (&there.rgb[c], y) } else { (&own.rgb[c], y.saturating_sub(ROWS + BETWEEN)) };
                    let gap = (ROWS..ROWS + BETWEEN).contains(&y) && std::ptr::eq(plane, &there.rgb[c]);
                    if gap { 1.0 } else { plane.nearest(x as isize, y as isize).unwrap_or(1.0) }
                })
            });
            let said = differing_words(line);
            let face = &read.face.id;
            let told = if said.is_empty() {
                format!("reads \"{}\"", line.line.text())
            } else {
                said.iter().map(|d| d.words.clone()).collect::<Vec<_>>().join("; ")
            };
            let left = line.line.read_rect().x;
            let mut marks: Vec<Mark> = said.iter().filter_map(|d| boxed(line.line, d.word, left, scale, &d.words)).collect();
            marks.extend((0..line.words.len()).filter_map(|k| {
                let v = deviation(line, k).filter(|v| v.value.abs() > STANDS_OUT * v.u)?;
                boxed(line.line, k, left, scale, &format!("{:+.0} ± {:.0} %", 100.0 * v.value, 100.0 * v.u))
            }));
            Some(Picture {
                id: format!("{}-words-{face}-{index}", view.item),
                caption: format!("A line of the {face} in {file} (above) and on the reference (below): {told}"),
                alt: format!(
                    "The line \"{}\" of the {face} cut out of {file} and straightened, over the same line of the reference; {told}",
                    line.line.text()
                ),
                content: drawing::jpeg(&stacked, Some(scale), marks)?,
            })
        })
        .collect()
}

/// A box round a word, where the reference has it.
fn boxed(line: &Line, word: usize, left: f64, scale: f64, label: &str) -> Option<Mark> {
    let letters = line.words.get(word)?.letters;
    let middles: Vec<f64> = line.middles[letters[0]..letters[1]].iter().flatten().copied().collect();
    let (first, last) = (*middles.first()?, *middles.last()?);
    let half = if middles.len() > 1 {
        0.6 * (last - first) / (middles.len() - 1) as f64
    } else {
        0.4 * line.rect.height
    };
    let (a, b) = ((first - half - left) * scale, (last + half - left) * scale);
    let (top, bottom) = (2.0, ROWS as f64 - 2.0);
    Some(Mark {
        points: vec![(a, top), (b, top), (b, bottom), (a, bottom)],
        label: label.to_owned(),
        role: MarkRole::Difference,
    })
}
