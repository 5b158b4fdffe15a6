//! Codes read from photographs, held against zxing-cpp on the same pictures.
//!
//! `checks/codes` holds 160 photographs of EAN-13, EAN-8 and UPC-A symbols that were drawn by
//! python-barcode, bent, tilted up to 60°, blurred and compressed, with their numbers and places
//! (`truth.csv`), and what zxing-cpp reads from them without knowing the place (`reads.csv`). Here the
//! place is known to within what `placement` promises, so at least as many must come out, and none wrongly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]

use std::collections::BTreeMap;
use std::path::Path;

use casebook::elementary::{cos, sin};
use casebook::gtin;
use casebook::units::RectMm;
use examine::barcode::{CodeReading, CodeView, Symbology, read};
use photo::Limits;
use placement::{Homography, rectify};

const TRUTH: &str = include_str!("../../../checks/codes/truth.csv");
const READS: &str = include_str!("../../../checks/codes/reads.csv");

/// How far a placement may be off: 0.3 mm and 0.3° on a face (the figures of `placement`).
const OFF_MM: f64 = 0.3;
const OFF_DEG: f64 = 0.3;

struct Row {
    photo: String,
    kinds: Vec<Symbology>,
    digits: String,
    px_per_module: String,
    tilt: f64,
    rect: RectMm,
    map: Homography,
}

fn rows() -> Vec<Row> {
    TRUTH
        .lines()
        .skip(1)
        .map(|line| {
            let c: Vec<&str> = line.split(',').collect();
            let n = |i: usize| c[i].parse::<f64>().unwrap();
            let kinds = match c[1] {
                "ean8" => vec![Symbology::Ean8, Symbology::UpcE],
                "upca" => vec![Symbology::Ean13, Symbology::UpcE],
                _ => vec![Symbology::Ean13],
            };
            Row {
                photo: c[0].to_owned(),
                kinds,
                digits: c[2].to_owned(),
                px_per_module: c[3].to_owned(),
                tilt: n(4),
                rect: RectMm { x: n(7), y: n(8), width: n(9), height: n(10) },
                map: Homography::new([[n(11), n(12), n(13)], [n(14), n(15), n(16)], [n(17), n(18), n(19)]])
                    .unwrap(),
            }
        })
        .collect()
}

/// The map of a placement that is off by a shift and a turn about the code's middle.
fn off(row: &Row, at: usize) -> Homography {
    let angle = at as f64 * 2.4;
    let turn = if at.is_multiple_of(2) { OFF_DEG } else { -OFF_DEG }.to_radians();
    let (dx, dy) = (OFF_MM * cos(angle), OFF_MM * sin(angle));
    let (mx, my) = (row.rect.x + row.rect.width / 2.0, row.rect.y + row.rect.height / 2.0);
    let (c, s) = (cos(turn), sin(turn));
    let moved = [[c, -s, mx - c * mx + s * my + dx], [s, c, my - s * mx - c * my + dy], [0.0, 0.0, 1.0]];
    let h = row.map.rows();
    let mut out = [[0.0; 3]; 3];
    for i in 0..3 {
        for j in 0..3 {
            out[i][j] = (0..3).map(|k| h[i][k] * moved[k][j]).sum();
        }
    }
    Homography::new(out).unwrap()
}

fn view(row: &Row, at: usize) -> CodeView {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../checks/codes/photos");
    let photo = photo::read(&folder.join(&row.photo), &Limits::default()).unwrap();
    let r = row.rect;
    let rect = RectMm { x: r.x - 1.5, y: r.y - 1.5, width: r.width + 3.0, height: r.height + 3.0 };
    let patch = rectify(&photo, &off(row, at), rect, 16.0);
    CodeView { light: patch.luminance(), px_per_mm: 16.0, seen_px_per_mm: patch.seen_px_per_mm }
}

#[test]
fn reads_more_than_a_general_reader_and_none_wrongly() {
    let general: BTreeMap<&str, Vec<&str>> = READS
        .lines()
        .filter(|l| !l.starts_with('#'))
        .skip(1)
        .filter_map(|l| l.split_once(','))
        .map(|(photo, texts)| (photo, texts.split(' ').map(|t| t.trim_start_matches('\'')).collect()))
        .collect();
    let rows = rows();
    assert_eq!(rows.len(), 160, "a shorter table would prove less");
    assert_eq!(general.len(), 160);
    let mut wrong = Vec::new();
    let mut counts: BTreeMap<&str, [usize; 3]> = BTreeMap::new();
    for (at, row) in rows.iter().enumerate() {
        let count = counts.entry(&row.px_per_module).or_default();
        count[0] += 1;
        count[2] += usize::from(
            general[row.photo.as_str()].iter().any(|t| !t.is_empty() && gtin::same(t, &row.digits)),
        );
        match read(&[view(row, at)], &row.kinds) {
            CodeReading::Read { digits, .. } if gtin::same(&digits, &row.digits) => count[1] += 1,
            CodeReading::Read { digits, .. } => {
                wrong.push(format!("{} ({}°): {} read as {digits}", row.photo, row.tilt, row.digits));
            }
            CodeReading::Disagreeing | CodeReading::Nothing => {}
        }
    }
    for (px, [all, ours, theirs]) in &counts {
        println!("{px} px a module: {ours} of {all} read, zxing-cpp {theirs}");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let total = |k: usize| counts.values().map(|c| c[k]).sum::<usize>();
    assert!(total(1) >= total(2), "{} read, zxing-cpp {}", total(1), total(2));
    for (px, [_, ours, theirs]) in &counts {
        assert!(ours + 2 >= *theirs, "{px} px a module: {ours} read, zxing-cpp {theirs}");
    }
}

#[test]
fn a_second_photo_helps_and_another_number_is_not_taken_for_this_one() {
    let rows = rows();
    // Two codes that both can be read are no two views of one code: they must not give a number.
    let clear: Vec<usize> = (0..rows.len())
        .filter(|i| {
            rows[*i].px_per_module == "3.0" && rows[*i].tilt == 0.0 && rows[*i].kinds == [Symbology::Ean13]
        })
        .take(2)
        .collect();
    let [a, b] = clear[..] else { panic!("two clear codes") };
    let views = [view(&rows[a], a), view(&rows[b], b)];
    let one = read(&views[..1], &rows[a].kinds);
    assert!(matches!(one, CodeReading::Read { .. }), "{one:?}");
    let swapped = read(&[views[1].clone(), views[0].clone()], &rows[a].kinds);
    let CodeReading::Read { digits, views: from, .. } = swapped else { panic!("{swapped:?}") };
    assert_eq!(
        (digits.as_str(), from.as_slice()),
        (rows[b].digits.as_str(), [0].as_slice()),
        "the first clear view decides"
    );
}
