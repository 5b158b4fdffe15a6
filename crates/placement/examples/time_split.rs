//! Where the time of placing one photo goes, shortest of several runs.
//!
//! `cargo run --release -p placement --example time_split -- CATALOGUE FACES PHOTO [ENLARGE]`: the
//! photo's pixels are repeated ENLARGE times either way, to reach the size of a phone's photo.
//! RAYON_NUM_THREADS sets the number of threads.

mod library;

use std::error::Error;
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

use casebook::units::RectMm;
use library::references;
use photo::{Codes, Limits, Photo};
use placement::{FaceIndex, References, rectify, refine};

const RUNS: usize = 12;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().collect();
    let [_, catalogue, faces, photo, rest @ ..] = arguments.as_slice() else {
        return Err("usage: time_split CATALOGUE FACES PHOTO [ENLARGE]".into());
    };
    let enlarge: usize = rest.first().map_or(Ok(1), |n| n.parse())?;
    let photo =
        enlarged(&photo::read(Path::new(photo), &Limits::default())?, enlarge).ok_or("only 8-bit photos")?;
    let references = references(Path::new(catalogue), Path::new(faces))?;
    let mut out = std::io::stdout().lock();
    let (build, whole) = timed(1, || FaceIndex::build(&references));
    let whole = whole?;
    let none = FaceIndex::build(&[])?;
    let (luma, _) = timed(RUNS, || photo.small_luma(1280));
    let (features, _) = timed(RUNS, || none.place(&photo, &references));
    let (all, found) = timed(RUNS, || whole.place(&photo, &references));
    writeln!(
        out,
        "{} × {} pixels, {} faces, {} threads",
        photo.width(),
        photo.height(),
        whole.len(),
        rayon::current_num_threads()
    )?;
    writeln!(out, "describing the library once            {build}")?;
    writeln!(out, "reducing the photo                     {luma}")?;
    writeln!(out, "finding and describing its features    {}", features - luma)?;
    writeln!(out, "matching, estimating, comparing        {}", all - features)?;
    writeln!(out, "place() in all                         {all}, {} found", found.len())?;
    if let Some(p) = found.first() {
        let reference = references.reference(&p.face).ok_or("the face is in the library")?;
        let (dense, _) = timed(RUNS, || refine(&photo, &reference, &p.mm_to_px));
        writeln!(out, "refine() alone                         {dense}")?;
        let rect = RectMm { x: 0.0, y: 0.0, width: p.size_mm.0, height: p.size_mm.1 };
        let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build()?;
        let (cut, _) = timed(RUNS, || pool.install(|| rectify(&photo, &p.mm_to_px, rect, 10.0)));
        writeln!(
            out,
            "rectify() at 10 px/mm, one thread      {cut}, {:.0} × {:.0} mm at {:.1} px/mm",
            p.size_mm.0, p.size_mm.1, p.px_per_mm
        )?;
    }
    Ok(())
}

/// The shortest of several runs and the mean processor time of one, milliseconds, and the last result.
fn timed<T>(runs: usize, mut work: impl FnMut() -> T) -> (Time, T) {
    let before = processor_ms();
    let mut once = || {
        let started = Instant::now();
        let result = work();
        (started.elapsed().as_secs_f64() * 1e3, result)
    };
    let (mut wall, mut result) = once();
    for _ in 1..runs {
        let (time, next) = once();
        (wall, result) = (wall.min(time), next);
    }
    let cpu = processor_ms().zip(before).map_or(f64::NAN, |(b, a)| (b - a) / runs as f64);
    (Time { wall, cpu }, result)
}

#[derive(Clone, Copy)]
struct Time {
    wall: f64,
    cpu: f64,
}

impl std::ops::Sub for Time {
    type Output = Time;

    fn sub(self, other: Time) -> Time {
        Time { wall: self.wall - other.wall, cpu: self.cpu - other.cpu }
    }
}

impl std::fmt::Display for Time {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:8.1} ms, processor {:8.1} ms", self.wall, self.cpu)
    }
}

/// User and system time of this process where Linux tells it: fields 14 and 15 of its `stat`, in
/// hundredths of a second. On a busy machine it says more than the wall clock.
fn processor_ms() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let fields: Vec<&str> = stat.rsplit(')').next()?.split_whitespace().collect();
    let ticks = |k: usize| fields.get(k).and_then(|v| v.parse::<f64>().ok());
    Some((ticks(11)? + ticks(12)?) * 10.0)
}

fn enlarged(photo: &Photo, by: usize) -> Option<Photo> {
    let codes = photo.codes8()?;
    let (w, h) = (photo.width(), photo.height());
    let mut out = Vec::with_capacity(codes.len() * by * by);
    for y in 0..h * by {
        for x in 0..w * by {
            let at = 3 * ((y / by) * w + x / by);
            out.extend_from_slice(&codes[at..at + 3]);
        }
    }
    Photo::from_codes("enlarged", w * by, h * by, Codes::Eight(out), photo.encoding().clone())
}
