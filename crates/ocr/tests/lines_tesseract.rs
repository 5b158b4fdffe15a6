//! The recogniser against Debian's tesseract on the same lines.
//!
//! `checks/words` holds 40 lines drawn by FreeType, softened and seen at 8 to 24 pixels, and 6 lines of
//! a real photographed page; its README names who made them. Tesseract's readings stand in `reads.csv`.
//! The model is no part of this tree: with `UNTORN_WORDS_MODEL` unset the test says that it did not run;
//! `./check --install` sets it.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a test's helpers may fail the test and say that it did not run"
)]

use std::path::{Path, PathBuf};

use ocr::{LINE_PX, MODEL_FILE, OcrError, Recogniser, align, folded};
use photo::Plane;
use photo::colour::transfer::srgb_to_linear;

/// Rows of `truth.csv`; a shorter file would prove less.
const LINES: usize = 46;

fn checks() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../checks/words")
}

fn table(name: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(checks().join(name)).unwrap();
    reader.records().map(Result::unwrap).collect()
}

fn recogniser() -> Option<Recogniser> {
    let Some(file) = std::env::var_os("UNTORN_WORDS_MODEL") else {
        eprintln!("not run: UNTORN_WORDS_MODEL names no {MODEL_FILE}; ./install-words puts it in place");
        return None;
    };
    let bytes = std::fs::read(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    Some(Recogniser::from_bytes(bytes).unwrap())
}

/// The picture enlarged to the recogniser's height, linear light.
fn line(name: &str) -> [Plane<f32>; 3] {
    let picture = image::open(checks().join("lines").join(name)).unwrap().to_luma8();
    let (w, h) = (picture.width() as usize, picture.height() as usize);
    let codes = Plane::from_vec(w, h, picture.pixels().map(|p| f32::from(p.0[0])).collect()).unwrap();
    let width = (w as f64 * LINE_PX as f64 / h as f64).round() as usize;
    let scale = (w as f64 / width as f64, h as f64 / LINE_PX as f64);
    let plane = Plane::from_fn(width, LINE_PX, |x, y| {
        let at = ((x as f64 + 0.5) * scale.0 - 0.5, (y as f64 + 0.5) * scale.1 - 0.5);
        srgb_to_linear(f64::from(codes.sample(at.0, at.1).unwrap_or(255.0)) / 255.0) as f32
    });
    [plane.clone(), plane.clone(), plane]
}

fn wrong(expected: &str, read: &[char]) -> usize {
    align(&folded(expected), read).iter().filter(|e| e.differs()).count()
}

#[test]
fn fewer_letters_are_wrong_than_by_tesseract() {
    let Some(recogniser) = recogniser() else { return };
    let (truth, reads) = (table("truth.csv"), table("reads.csv"));
    assert_eq!((truth.len(), reads.len()), (LINES, LINES));
    let (mut ours, mut theirs, mut letters, mut right) = (0, 0, 0, 0);
    for (truth, read) in truth.iter().zip(&reads) {
        assert_eq!(truth[0], read[0]);
        let text = &truth[3];
        let columns = recogniser.read(&line(&truth[0]), &folded(text)).unwrap();
        let best = columns.best();
        let own = wrong(text, &best.letters);
        ours += own;
        theirs += wrong(text, &folded(&read[1]));
        letters += folded(text).len();
        right += usize::from(own == 0);
        if own == 0 {
            // What is read without a fault must also be what fits best, and another wording fit worse.
            let mut other = folded(text);
            let last = other.len() - 1;
            other[last] = if other[last] == 'q' { 'z' } else { 'q' };
            assert!(columns.log_likelihood(&folded(text)) > columns.log_likelihood(&other), "{text}");
        }
    }
    eprintln!(
        "of {letters} letters wrong: {ours} by this recogniser, {theirs} by tesseract; {right} of {LINES} lines right"
    );
    assert!(ours * 2 <= theirs, "{ours} letters wrong, tesseract {theirs}");
    assert!(right >= 38, "{right} of {LINES} lines right");
}

#[test]
fn a_line_of_another_shape_is_refused() {
    let Some(recogniser) = recogniser() else { return };
    for (w, h) in [(100, 47), (4, 48), (4_000, 48), (0, 48)] {
        let plane = Plane::filled(w, h, 0.5_f32);
        let error = recogniser.read(&[plane.clone(), plane.clone(), plane], &[]).unwrap_err();
        assert!(matches!(error, OcrError::Line { .. }), "{error}");
    }
}

#[test]
fn other_bytes_are_not_run() {
    let error = Recogniser::from_bytes(b"no network".to_vec()).unwrap_err();
    assert!(error.to_string().contains("it is not run"), "{error}");
}
