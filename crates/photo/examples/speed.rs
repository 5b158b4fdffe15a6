//! How long the parts of reading a photo take: `cargo run --release -p photo --example speed [FILE]`.
//! Without a file it makes a 12-megapixel JPEG. Prints the least and the median of nine runs in
//! milliseconds, and nanoseconds a pixel for the colour kernels.
#![allow(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::hint::black_box;
use std::time::Instant;

use photo::colour::fast::delta_e_2000_linear_slice;
use photo::colour::{Lab, delta_e_2000, delta_e_2000_slice};
use photo::{Limits, Photo, Seen, decode, fingerprint, quality};

type Outcome = Result<(), Box<dyn std::error::Error>>;

fn main() -> Outcome {
    let bytes = match std::env::args().nth(1) {
        Some(path) => std::fs::read(path)?,
        None => twelve_megapixels()?,
    };
    let limits = Limits::default();
    let photo = decode(&bytes, "speed", &limits)?;
    println!(
        "{} × {}, {} bytes, {} threads",
        photo.width(),
        photo.height(),
        bytes.len(),
        rayon::current_num_threads()
    );
    timed("decode", || decode(&bytes, "speed", &limits).map(|p| p.width()).ok());
    timed("small_luma(1600)", || photo.small_luma(1600));
    timed("small_luma(800)", || photo.small_luma(800));
    timed("reduced_linear(4)", || photo.reduced_linear(4));
    timed("quality", || quality::measure(&photo));
    timed("fingerprint", || fingerprint(&photo));
    warp(&photo);
    colours();
    Ok(())
}

/// Runs nine times; prints the least and the median of the wall clock and the least processor time of
/// all threads (Linux), which other programs on the machine disturb less. Gives the least wall clock.
fn timed<T>(what: &str, mut work: impl FnMut() -> T) -> f64 {
    let mut runs = Vec::new();
    let mut processor = f64::MAX;
    for _ in 0..9 {
        let (start, before) = (Instant::now(), processor_ms());
        black_box(work());
        runs.push(start.elapsed().as_secs_f64() * 1e3);
        processor = processor.min(processor_ms() - before);
    }
    runs.sort_by(f64::total_cmp);
    println!("{what}: {:.1} ms, median {:.1} ms, processor {processor:.1} ms", runs[0], runs[4]);
    runs[0]
}

/// Processor time of all threads of this process so far, ms; 0 where /proc does not tell.
fn processor_ms() -> f64 {
    let tasks = std::fs::read_dir("/proc/self/task").into_iter().flatten().flatten();
    let spent = tasks.filter_map(|task| {
        let text = std::fs::read_to_string(task.path().join("schedstat")).ok()?;
        text.split(' ').next()?.parse::<f64>().ok()
    });
    spent.sum::<f64>() / 1e6
}

/// A patch of one megapixel at a slant, on one thread.
fn warp(photo: &Photo) {
    let places: Vec<[f64; 2]> = (0..1_000_000)
        .map(|i| {
            let (x, y) = (f64::from(i % 1000), f64::from(i / 1000));
            [100.0 + 1.1 * x + 0.2 * y, 300.0 - 0.2 * x + 1.1 * y]
        })
        .collect();
    let mut light = vec![[0.0; 3]; places.len()];
    let mut seen = vec![Seen::Outside; places.len()];
    let least = timed("sample_span, 1 MP", || photo.sample_span(&places, &mut light, &mut seen));
    println!("  {:.1} ns a sample", least);
}

fn colours() {
    let n = 1_000_000;
    let plane = |seed: u32, low: f32, high: f32| -> Vec<f32> {
        let mut state = seed;
        (0..n)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                low + (high - low) * (state >> 8) as f32 / 16_777_216.0
            })
            .collect()
    };
    let lab = |s| [plane(s, 0.0, 100.0), plane(s + 1, -60.0, 60.0), plane(s + 2, -60.0, 60.0)];
    let rgb = |s| [plane(s, 0.0, 1.0), plane(s + 1, 0.0, 1.0), plane(s + 2, 0.0, 1.0)];
    let (p, q, r, s) = (lab(1), lab(11), rgb(21), rgb(31));
    let slices = |p: &'_ [Vec<f32>; 3], q: &'_ [Vec<f32>; 3], out: &mut [f32], kernel: Kernel| {
        kernel(p.each_ref().map(Vec::as_slice), q.each_ref().map(Vec::as_slice), out);
    };
    let mut out = vec![0.0; n];
    let fast = timed("CIEDE2000 of 1 MP CIELAB, one core", || slices(&p, &q, &mut out, delta_e_2000_slice));
    let whole = timed("CIEDE2000 of 1 MP linear RGB, one core", || {
        slices(&r, &s, &mut out, delta_e_2000_linear_slice)
    });
    let scalar = timed("CIEDE2000 of 0.1 MP CIELAB, scalar", || {
        (0..n / 10)
            .map(|i| {
                let at = |p: &[Vec<f32>; 3]| Lab::new(p[0][i].into(), p[1][i].into(), p[2][i].into());
                delta_e_2000(at(&p), at(&q))
            })
            .sum::<f64>()
    });
    println!("  {fast:.1}, {whole:.1}, {:.1} ns a pixel", scalar * 10.0);
}

type Kernel = fn([&[f32]; 3], [&[f32]; 3], &mut [f32]);

/// 4000 × 3000, smooth colour, texture and edges, quality 92 at half chroma resolution is what phones
/// write; this encoder keeps chroma whole, which costs the decoder a little more.
fn twelve_megapixels() -> Result<Vec<u8>, Box<dyn std::error::Error>> {
    let (w, h) = (4000_u32, 3000_u32);
    let mut codes = Vec::new();
    let mut state = 1_u32;
    for y in 0..h {
        for x in 0..w {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let grain = (state >> 28) as u8;
            let stripe = if (x / 37 + y / 53) % 2 == 0 { 90 } else { 0 };
            let base = (x * 120 / w) as u8;
            codes.extend([
                base + stripe + grain,
                (y * 120 / h) as u8 + stripe + grain,
                60 + stripe / 2 + grain,
            ]);
        }
    }
    let mut file = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, 92).encode(
        &codes,
        w,
        h,
        image::ExtendedColorType::Rgb8,
    )?;
    Ok(file)
}
