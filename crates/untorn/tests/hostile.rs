//! Hostile input at the command line: every row runs the built program on something broken and looks
//! at its exit code, at what standard error names (the file and the remedy) and at what is still shown.
//!
//! In: the demo's catalogue, reference pictures and one of its photos; small samples of the `photo`
//! crate. Rows that need a mount run in a mount namespace of their own and print a note where the
//! system grants none. All failures of a test are shown at once. Never here: what an opinion says.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    clippy::disallowed_methods,
    reason = "test helpers stop the test, as they should; notes go to the test's output"
)]

use std::ffi::OsStr;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// No row takes a tenth of this; a hang is a failure and not a stuck test.
const PATIENCE: Duration = Duration::from_secs(180);
/// What a script says when the mount that it needs was refused.
const NO_MOUNT: i32 = 77;
/// The good photo's line on standard output.
const SEEN: &str = "a front (";

fn source(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(path)
}

fn bytes_of(path: &str) -> Vec<u8> {
    fs::read(source(path)).unwrap()
}

fn good() -> Vec<u8> {
    bytes_of("demo/offers/pf-2055/01.jpg")
}

fn sample(name: &str) -> Vec<u8> {
    bytes_of(&format!("crates/photo/tests/samples/{name}"))
}

/// What one run of the program left.
struct Run {
    code: Option<i32>,
    out: String,
    err: String,
}

/// A folder with a small library, and the failures so far.
struct Ground {
    root: tempfile::TempDir,
    failures: Vec<String>,
    runs: usize,
}

impl Ground {
    fn new() -> Self {
        let mut ground = Self { root: tempfile::tempdir().unwrap(), failures: Vec::new(), runs: 0 };
        let library = ground.library();
        let run = ground.run(&add_catalogue(&library));
        assert_eq!(run.code, Some(0), "the library could not be made: {}", run.err);
        ground
    }

    fn library(&self) -> PathBuf {
        self.root.path().join("library")
    }

    fn path(&self, name: &str) -> PathBuf {
        self.root.path().join(name)
    }

    /// Makes a folder with these files and gives its path.
    fn folder(&self, name: &str, files: &[(&str, &[u8])]) -> PathBuf {
        let folder = self.path(name);
        fs::create_dir_all(&folder).unwrap();
        for (file, bytes) in files {
            fs::write(folder.join(file), bytes).unwrap();
        }
        folder
    }

    fn start(&mut self, program: &str, args: &[impl AsRef<OsStr>]) -> Started {
        self.runs += 1;
        let [out, err] = ["out", "err"].map(|kind| self.path(&format!("run-{}.{kind}", self.runs)));
        let child = Command::new(program)
            .args(args)
            .stdin(Stdio::null())
            .stdout(File::create(&out).unwrap())
            .stderr(File::create(&err).unwrap())
            .spawn()
            .unwrap();
        Started { child, out, err }
    }

    fn run(&mut self, args: &[impl AsRef<OsStr>]) -> Run {
        self.start(env!("CARGO_BIN_EXE_untorn"), args).finish()
    }

    /// Runs a shell script in a mount namespace of its own; `None` where the system grants none.
    fn in_namespace(&mut self, script: &str) -> Option<Run> {
        let run = self.start("unshare", &["-rm", "sh", "-c", script]).finish();
        let refused = run.code == Some(NO_MOUNT) || run.err.starts_with("unshare:");
        if refused {
            eprintln!("note: no mount is granted here, so this was not tested: {script}\n{}", run.err);
        }
        (!refused).then_some(run)
    }

    /// Notes every way in which a run is not as it should be.
    fn expect(&mut self, what: &str, run: &Run, code: i32, err: &[&str], out: &[&str]) {
        let mut wrong = Vec::new();
        if run.code != Some(code) {
            wrong.push(format!("exit code {:?}, not {code}", run.code));
        }
        for (name, text, words) in [("error", &run.err, err), ("output", &run.out, out)] {
            for word in words.iter().filter(|word| !text.contains(**word)) {
                wrong.push(format!("standard {name} lacks {word:?}"));
            }
        }
        if code == 0 && err.is_empty() && !run.err.is_empty() {
            wrong.push("standard error is not empty".to_owned());
        }
        if !wrong.is_empty() {
            let shown: String = run.out.lines().take(8).collect::<Vec<_>>().join("\n");
            self.failures.push(format!("{what}: {}\n  err: {}\n  out: {shown}", wrong.join("; "), run.err));
        }
    }

    /// Examines a path without keeping the examination.
    fn examine(&mut self, what: &str, path: &Path, code: i32, err: &[&str], out: &[&str]) {
        let library = self.library();
        let run = self.run(&examine(&library, path, &["--forget"]));
        self.expect(what, &run, code, err, out);
    }

    fn end(self) {
        assert!(self.failures.is_empty(), "{} rows:\n{}", self.failures.len(), self.failures.join("\n"));
    }
}

struct Started {
    child: std::process::Child,
    out: PathBuf,
    err: PathBuf,
}

impl Started {
    fn finish(mut self) -> Run {
        let began = Instant::now();
        let code = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status.code();
            }
            if began.elapsed() > PATIENCE {
                self.child.kill().unwrap();
                self.child.wait().unwrap();
                break None;
            }
            std::thread::sleep(Duration::from_millis(10));
        };
        let text = |path: &Path| String::from_utf8_lossy(&fs::read(path).unwrap()).into_owned();
        Run { code, out: text(&self.out), err: text(&self.err) }
    }
}

fn add_catalogue(library: &Path) -> Vec<PathBuf> {
    let catalogue = source("demo/catalogue/kelpwright/night-dredge.toml");
    let words = ["library", "--library"].map(PathBuf::from);
    let rest =
        [library.to_owned(), "add-catalogue".into(), catalogue, "--faces".into(), source("demo/faces")];
    words.into_iter().chain(rest).collect()
}

fn examine(library: &Path, path: &Path, more: &[&str]) -> Vec<PathBuf> {
    let own = ["examine".into(), "--library".into(), library.to_owned(), path.to_owned()];
    own.into_iter().chain(more.iter().map(PathBuf::from)).collect()
}

/// The CRC of a PNG chunk (polynomial of the PNG specification, bit by bit).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xEDB8_8320 * (crc & 1)))
    })
}

/// A whole PNG whose header claims other sides than its data have.
fn png_claiming(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = sample("alpha.png");
    bytes[16..20].copy_from_slice(&width.to_be_bytes());
    bytes[20..24].copy_from_slice(&height.to_be_bytes());
    let crc = crc32(&bytes[12..29]);
    bytes[29..33].copy_from_slice(&crc.to_be_bytes());
    bytes
}

fn png_of(picture: &image::DynamicImage) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// The good photo with an EXIF segment of these bytes.
fn with_exif(tiff: &[u8]) -> Vec<u8> {
    let whole = good();
    let length = u16::try_from(2 + 6 + tiff.len()).unwrap().to_be_bytes();
    [&whole[..2], &[0xFF, 0xE1], &length, b"Exif\0\0", tiff, &whole[2..]].concat()
}

#[test]
fn photos_that_are_broken_or_something_else() {
    let mut ground = Ground::new();
    let good = good();
    let beside = |ground: &mut Ground, name: &str, bytes: &[u8], err: &[&str]| {
        let case = ground.folder(&format!("beside {name}"), &[("good.jpg", &good), (name, bytes)]);
        let named: Vec<&str> = err.iter().copied().chain([name]).collect();
        ground.examine(name, &case, 2, &named, &[SEEN, name]);
    };
    beside(&mut ground, "empty.jpg", b"", &["is empty (0 bytes)", "copy or download it again"]);
    beside(&mut ground, "tiny.png", &png_of(&image::DynamicImage::new_rgb8(1, 1)), &["1 × 1"]);
    beside(&mut ground, "huge.png", &png_claiming(30_000, 30_000), &["30000 × 30000"]);
    beside(&mut ground, "page.jpg", b"<html>moved</html>", &["not a JPEG, PNG, WebP or HEIC photo"]);
    for (name, words) in [
        ("cmyk.jpg", "save it as an 8-bit RGB JPEG"),
        ("animated.png", "give a still photo"),
        ("animated.webp", "give a still photo"),
        ("animated.gif", "a GIF picture"),
        ("picture.avif", "save it as JPEG"),
    ] {
        beside(&mut ground, name, &sample(name), &[words]);
    }

    // Cut at many lengths, all in one case: each is named, the whole one is still examined.
    let lengths: Vec<usize> =
        (1..24).chain((1..24).map(|n| good.len() * n / 24)).chain([good.len() - 1]).collect();
    let names: Vec<String> = lengths.iter().map(|length| format!("cut-{length:06}.jpg")).collect();
    let mut files: Vec<(&str, &[u8])> = vec![("good.jpg", &good)];
    files.extend(names.iter().zip(&lengths).map(|(name, length)| (name.as_str(), &good[..*length])));
    let case = ground.folder("cut", &files);
    let named: Vec<&str> = names.iter().map(String::as_str).chain(["download or send it again"]).collect();
    ground.examine("cut short", &case, 2, &named, &[SEEN]);

    let fine = |ground: &mut Ground, name: &str, bytes: &[u8], out: &str| {
        let case = ground.folder(&format!("alone {name}"), &[(name, bytes)]);
        ground.examine(name, &case, 0, &[], &[out]);
    };
    fine(&mut ground, "mislabelled.png", &good, SEEN);
    fine(&mut ground, "no-ending", &good, SEEN);
    fine(&mut ground, "exif-of-noise.jpg", &with_exif(&[0xA5; 300]), SEEN);
    // Little-endian TIFF whose first directory lies far outside; then one that claims 65,535 entries
    // with an orientation of 99.
    fine(&mut ground, "exif-far.jpg", &with_exif(b"II*\0\xFF\xFF\xFF\x7F"), SEEN);
    let greedy = b"II*\0\x08\0\0\0\xFF\xFF\x12\x01\x03\0\x01\0\0\0\x63\0\0\0";
    fine(&mut ground, "exif-greedy.jpg", &with_exif(greedy), SEEN);
    let sixteen = image::DynamicImage::ImageRgb16(image::load_from_memory(&good).unwrap().to_rgb16());
    fine(&mut ground, "sixteen.png", &png_of(&sixteen), SEEN);
    fine(&mut ground, "scene.jpg", &sample("baseline.jpg"), "no face of the library found");
    let other = bytes_of("demo/offers/pf-2062/01.jpg");
    fine(&mut ground, "other-product.jpg", &other, "no face of the library found");
    ground.end();
}

#[cfg(unix)]
#[test]
fn odd_names_and_odd_files() {
    use std::os::unix::ffi::OsStrExt;
    let mut ground = Ground::new();
    let good = good();
    let case = ground.folder("odd names", &[("a b'\"$(x).jpg", &good)]);
    fs::write(case.join(OsStr::from_bytes(b"b\xFF.jpg")), b"").unwrap();
    fs::write(case.join("c\u{1b}[31m.jpg"), b"").unwrap();
    ground.examine("names that are no text", &case, 2, &["is empty (0 bytes)"], &[SEEN]);
    let run = Command::new("mkfifo").arg(ground.folder("pipe", &[]).join("case.toml")).status();
    if run.is_ok_and(|status| status.success()) {
        let case = ground.folder("pipe", &[("good.jpg", &good)]);
        ground.examine("case.toml is a pipe", &case, 2, &["case.toml", "not a regular file"], &[]);
    }
    let case = ground.folder("is a folder", &[("good.jpg", &good)]);
    fs::create_dir(case.join("case.toml")).unwrap();
    ground.examine("case.toml is a folder", &case, 2, &["case.toml", "not a regular file"], &[]);
    ground.end();
}

#[test]
fn cases_that_are_wrong() {
    let mut ground = Ground::new();
    let good = good();
    let empty = ground.folder("empty", &[]);
    ground.examine("empty folder", &empty, 2, &["empty: holds no photo", "put the offer's photos"], &[]);
    let nowhere = ground.path("nowhere");
    ground.examine("no such path", &nowhere, 2, &["nowhere", "check that it is there"], &[]);
    let mixed = ground.folder("mixed", &[("good.jpg", &good)]);
    let library = ground.library();
    let file = mixed.join("good.jpg");
    let run = ground.run(&examine(&library, &file, &[mixed.to_str().unwrap(), "--forget"]));
    ground.expect("folder among files", &run, 2, &["mixed: is a folder among photo files"], &[]);

    let deep = format!("schema = \"untorn.case/3\"\nid = \"x\"\nnotes = {}", "[".repeat(100_000));
    let head = "schema = \"untorn.case/3\"\nid = \"x\"\n";
    let refused: [(&str, Vec<u8>, &str); 11] = [
        ("no TOML", b"schema = \"untorn".to_vec(), "correct that place"),
        ("nested deep", deep.into_bytes(), "correct that place"),
        ("unknown field", format!("{head}colour = 3\n").into_bytes(), "unknown field `colour`"),
        ("no mark", b"id = \"x\"\n".to_vec(), "needs `schema = \"untorn.case/3\"`"),
        ("another mark", b"schema = \"untorn.truth/1\"\nid = \"x\"\n".to_vec(), "needs `schema"),
        ("newer", b"schema = \"untorn.case/4\"\nid = \"x\"\nnew = 1\n".to_vec(), "update the program"),
        ("not UTF-8", b"schema = \"untorn.case/3\"\nid = \"\xE9\"\n".to_vec(), "save it as UTF-8"),
        ("UTF-16", b"\xFF\xFEs\0c\0h\0".to_vec(), "save it as UTF-8"),
        (
            "unlisted item",
            format!(
                "{head}photos = [{{ file = \"good.jpg\", shows = [{{ item = \"q\", face = \"front\" }}] }}]\n"
            )
            .into_bytes(),
            "shows item \"q\", which is not listed",
        ),
        (
            "path outside",
            format!("{head}photos = [{{ file = \"../good.jpg\" }}]\n").into_bytes(),
            "../good.jpg",
        ),
        ("empty", Vec::new(), "needs `schema"),
    ];
    for (name, toml, words) in refused {
        let case = ground.folder(&format!("case {name}"), &[("good.jpg", &good), ("case.toml", &toml)]);
        ground.examine(name, &case, 2, &["case.toml", words], &[]);
    }

    let corners = "corners_px = [[0, 0], [9, 0], [9, 9], [0, 9]]";
    let case = |ground: &Ground, name: &str, more: &str| {
        let toml = format!("{head}{more}");
        ground.folder(&format!("case {name}"), &[("good.jpg", &good), ("case.toml", toml.as_bytes())])
    };
    let gone = case(&ground, "gone", "photos = [{ file = \"gone.jpg\" }, { file = \"good.jpg\" }]\n");
    ground.examine(
        "missing photo",
        &gone,
        2,
        &["gone.jpg: cannot be opened", "check that it is there"],
        &[SEEN],
    );
    let unknown = "items = [{ id = \"a\", product = \"kelpwright/no-such/pack\" }]\n";
    let scene = sample("baseline.jpg");
    let toml = format!("{head}{unknown}");
    let other = ground.folder("unknown", &[("scene.jpg", &scene), ("case.toml", toml.as_bytes())]);
    let words = ["kelpwright/no-such/pack", "not covered", "add its catalogue"];
    ground.examine(
        "unknown product",
        &other,
        0,
        &words,
        &["no face of the library found", "The library has no such product"],
    );
    let other = case(&ground, "unknown product, other photo", unknown);
    ground.examine("unknown product, other photo", &other, 0, &words, &[SEEN]);
    for (name, items, face, words) in [
        (
            "corners, unknown product",
            unknown,
            "front",
            "no product \"kelpwright/no-such/pack\"; add its catalogue",
        ),
        (
            "corners, unknown face",
            "items = [{ id = \"a\", product = \"kelpwright/night-dredge/pack\" }]\n",
            "lid",
            "has no face \"lid\"; correct `face`",
        ),
        ("corners, no product", "items = [{ id = \"a\" }]\n", "front", "add it under items"),
    ] {
        let shown = format!("{{ item = \"a\", face = \"{face}\", {corners} }}");
        let toml = format!("{items}photos = [{{ file = \"good.jpg\", shows = [{shown}] }}]\n");
        let folder = case(&ground, name, &toml);
        ground.examine(name, &folder, 2, &["good.jpg", words], &[]);
    }
    ground.end();
}

#[test]
fn libraries_that_are_wrong() {
    let mut ground = Ground::new();
    let file = ground.folder("photo", &[("good.jpg", &good())]).join("good.jpg");
    let others = ground.folder("others", &[("letter.txt", b"dear")]);
    let run = ground.run(&examine(&others, &file, &[]));
    ground.expect("other files", &run, 2, &["others: holds files but no library", "choose"], &[]);
    let run = ground.run(&examine(&file, &file, &[]));
    ground.expect("a file", &run, 2, &["good.jpg", "choose a folder"], &[]);

    let index = ground.library().join("index.sqlite");
    let whole = fs::read(&index).unwrap();
    let mut torn = whole.clone();
    torn[200..].fill(0xA5);
    let damages: [(&str, &[u8]); 5] = [
        ("noise", &[0xA5; 5000]),
        ("torn", &torn),
        ("half", &whole[..whole.len() / 2]),
        ("empty", b""),
        ("text", b"once there was a library, but now there is only this text, which is no database"),
    ];
    let library = ground.library();
    for (name, bytes) in damages {
        fs::write(&index, bytes).unwrap();
        let run = ground.run(&examine(&library, &file, &[]));
        ground.expect(
            &format!("index: {name}"),
            &run,
            2,
            &["library", "restore index.sqlite from a copy"],
            &[],
        );
        let check =
            ground.run(&[OsStr::new("library"), "--library".as_ref(), library.as_ref(), "check".as_ref()]);
        let said = format!("{}{}", check.out, check.err);
        if check.code != Some(2) || !said.contains("restore index.sqlite from a copy") {
            ground.failures.push(format!("check, index: {name}: {:?} {said}", check.code));
        }
        if fs::read(&index).unwrap() != bytes {
            ground.failures.push(format!("index: {name}: was changed"));
        }
    }
    fs::remove_file(&index).unwrap();
    let run = ground.run(&examine(&library, &file, &[]));
    ground.expect("index gone", &run, 2, &["library", "no index.sqlite"], &[]);
    fs::write(&index, &whole).unwrap();
    ground.examine("index restored", &file, 0, &[], &[SEEN]);

    let photo = fs::read_dir(library.join("photos")).unwrap().next().unwrap().unwrap().path();
    let photo = fs::read_dir(photo).unwrap().next().unwrap().unwrap().path();
    fs::write(&photo, b"changed").unwrap();
    let name = photo.file_name().unwrap().to_str().unwrap();
    let check =
        ground.run(&[OsStr::new("library"), "--library".as_ref(), library.as_ref(), "check".as_ref()]);
    ground.expect("stored photo changed", &check, 2, &[], &[name, "restore it from a copy"]);
    let run = ground.run(&examine(&library, &file, &[]));
    ground.expect("reference unusable", &run, 2, &["add its catalogue again"], &[]);
    ground.end();
}

#[test]
fn a_cache_that_is_wrong() {
    let mut ground = Ground::new();
    let file = ground.folder("photo", &[("good.jpg", &good())]).join("good.jpg");
    let (library, json) = (ground.library(), ground.path("result.json"));
    let result = |ground: &mut Ground, what: &str| -> Vec<u8> {
        let run = ground.run(&examine(&library, &file, &["--forget", "--json", json.to_str().unwrap()]));
        ground.expect(what, &run, 0, &[], &[SEEN]);
        let bytes = fs::read(&json).unwrap_or_default();
        let _ = fs::remove_file(&json);
        bytes
    };
    let cache = library.join("cache");
    assert!(!cache.exists(), "the library was not looked at yet");
    let first = result(&mut ground, "no cache yet");
    let mut kept: Vec<PathBuf> = Vec::new();
    for kind in fs::read_dir(&cache).unwrap() {
        kept.extend(fs::read_dir(kind.unwrap().path()).unwrap().map(|entry| entry.unwrap().path()));
    }
    kept.sort();
    assert!(kept.len() >= 2, "a face each and the weights: {kept:?}");
    let whole: Vec<Vec<u8>> = kept.iter().map(|path| fs::read(path).unwrap()).collect();
    for damage in ["noise", "half", "empty", "another's", "folder"] {
        for (at, path) in kept.iter().enumerate() {
            let bytes = match damage {
                "noise" => vec![0xA5; 5000],
                "half" => whole[at][..whole[at].len() / 2].to_vec(),
                "another's" => whole[(at + 1) % whole.len()].clone(),
                _ => Vec::new(),
            };
            if path.is_dir() {
                fs::remove_dir(path).unwrap();
            }
            fs::write(path, bytes).unwrap();
            if damage == "folder" {
                fs::remove_file(path).unwrap();
                fs::create_dir(path).unwrap();
            }
        }
        if result(&mut ground, damage) != first {
            ground.failures.push(format!("cache, {damage}: another result"));
        }
        let mended =
            kept.iter().zip(&whole).filter(|(path, bytes)| fs::read(path).ok().as_ref() == Some(bytes));
        if damage != "folder" && mended.count() != kept.len() {
            ground.failures.push(format!("cache, {damage}: was not mended"));
        }
    }
    fs::remove_dir_all(&cache).unwrap();
    fs::write(&cache, b"in the way").unwrap();
    if result(&mut ground, "a file in the way of the cache") != first {
        ground.failures.push("a file in the way of the cache: another result".to_owned());
    }
    ground.end();
}

#[test]
fn a_library_that_cannot_be_written() {
    let mut ground = Ground::new();
    let file = ground.folder("photo", &[("good.jpg", &good())]).join("good.jpg");
    let library = ground.library();
    let (program, at) = (env!("CARGO_BIN_EXE_untorn"), library.display());
    let mount = format!("mount --bind '{at}' '{at}' && mount -o remount,bind,ro '{at}' || exit {NO_MOUNT}\n");
    let add: Vec<String> = add_catalogue(&library).iter().map(|p| format!("'{}'", p.display())).collect();
    let look = format!("{program} examine --library '{at}' '{}'", file.display());
    if let Some(run) = ground.in_namespace(&format!("{mount}{look}")) {
        ground.expect("examine, read-only", &run, 0, &["cannot be written", "not kept"], &[SEEN]);
    }
    if let Some(run) = ground.in_namespace(&format!("{mount}{program} library --library '{at}' check")) {
        ground.expect("check, read-only", &run, 0, &[], &["as they were written"]);
    }
    if let Some(run) = ground.in_namespace(&format!("{mount}{program} {}", add.join(" "))) {
        ground.expect("add, read-only", &run, 2, &["library", "allow writing there or copy it"], &[]);
    }
    ground.end();
}

#[test]
fn a_full_disk() {
    let mut ground = Ground::new();
    let file = ground.folder("photo", &[("good.jpg", &good())]).join("good.jpg");
    let program = env!("CARGO_BIN_EXE_untorn");
    let disk = ground.folder("disk", &[]);
    let on_disk = disk.join("library");
    let add: Vec<String> = add_catalogue(&on_disk).iter().map(|p| format!("'{}'", p.display())).collect();
    let tmpfs =
        |kib: u32| format!("mount -t tmpfs -o size={kib}k tmpfs '{}' || exit {NO_MOUNT}\n", disk.display());
    for kib in [4, 12, 40, 100, 200, 300] {
        let script = format!(
            "{}{program} {}; code=$?; find '{}' -name '*.part'; exit $code",
            tmpfs(kib),
            add.join(" "),
            disk.display()
        );
        let Some(run) = ground.in_namespace(&script) else { break };
        ground.expect(&format!("new library on {kib} KiB"), &run, 2, &["library", "the disk is full"], &[]);
        if !run.out.is_empty() {
            ground.failures.push(format!("{kib} KiB: left behind {}", run.out));
        }
    }
    // A library that is whole on a disk that fills up: room for nothing; then room to read it (SQLite
    // takes 32 KiB of shared memory) and none to write. The result is shown, and nothing is lost.
    let (own, filler, at) = (ground.library(), disk.join("filler"), on_disk.display());
    for (room, out) in [(0, &["as they were written"][..]), (36, &[SEEN, "as they were written"])] {
        let script = format!(
            "{}cp -r '{}' '{at}'; cat /dev/zero >'{filler}' 2>/dev/null; truncate -s -{room}K '{filler}'
            {program} examine --library '{at}' '{}'; code=$?
            rm '{filler}'; {program} library --library '{at}' check && exit $code",
            tmpfs(4000),
            own.display(),
            file.display(),
            filler = filler.display()
        );
        let Some(run) = ground.in_namespace(&script) else { break };
        ground.expect(&format!("{room} KiB left"), &run, 2, &["library", "the disk is full"], out);
    }
    ground.end();
}

#[test]
fn several_processes_on_one_library() {
    let mut ground = Ground::new();
    let library = ground.library();
    let file = ground.folder("photo", &[("good.jpg", &good())]).join("good.jpg");
    let program = env!("CARGO_BIN_EXE_untorn");
    let two = [0, 1].map(|_| ground.start(program, &examine(&library, &file, &[])));
    for run in two.map(Started::finish) {
        ground.expect("two at once", &run, 0, &[], &[SEEN]);
    }
    let of = |library: &Path, act: &str| {
        ["library", "--library", library.to_str().unwrap(), act].map(str::to_owned)
    };
    let run = ground.run(&of(&library, "check"));
    ground.expect("check after two", &run, 0, &[], &["as they were written"]);
    let run = ground.run(&of(&library, "trail"));
    if run.out.lines().filter(|line| line.contains(" examine ")).count() != 2 {
        ground.failures.push(format!("both examinations stand in the trail: {}", run.out));
    }
    for round in 0..8 {
        let fresh = ground.path(&format!("fresh-{round}"));
        let four = [0; 4].map(|_| ground.start(program, &add_catalogue(&fresh)));
        for run in four.map(Started::finish) {
            ground.expect("four on a new library", &run, 0, &[], &["Night Dredge"]);
        }
        let run = ground.run(&of(&fresh, "check"));
        ground.expect("check after four", &run, 0, &[], &["as they were written"]);
    }
    ground.end();
}

#[test]
fn results_that_cannot_be_written_and_usage() {
    let mut ground = Ground::new();
    let library = ground.library();
    let file = ground.folder("photo", &[("good.jpg", &good())]).join("good.jpg");
    let missing = ground.path("missing");
    for option in ["--report", "--json"] {
        let to = missing.join("result.file");
        let run = ground.run(&examine(&library, &file, &[option, to.to_str().unwrap()]));
        ground.expect(option, &run, 2, &["result.file", "make it first"], &[SEEN]);
    }
    let inside = ground.folder("inside", &[]);
    let run = ground.run(&examine(&library, &file, &["--json", inside.to_str().unwrap()]));
    ground.expect("a folder in the way", &run, 2, &["inside: cannot be written", "choose another name"], &[]);
    if missing.exists() || fs::read_dir(&inside).unwrap().next().is_some() {
        ground.failures.push("something was left behind".to_owned());
    }
    let run = ground.run(&["library", "--library", library.to_str().unwrap(), "trail"]);
    if run.out.contains(" examine ") {
        ground.failures.push("an examination whose result was not written is kept".to_owned());
    }
    if Path::new("/dev/full").exists() {
        let script = format!(
            "{} --help >/dev/full; {0} library --library '{}' trail >/dev/full",
            env!("CARGO_BIN_EXE_untorn"),
            library.display()
        );
        let run = ground.start("sh", &["-c", &script]).finish();
        ground.expect("standard output full", &run, 2, &["standard output"], &[]);
        let script = format!(
            "{{ {} library --library '{}' list; echo code $? >&2; }} | true",
            env!("CARGO_BIN_EXE_untorn"),
            library.display()
        );
        let run = ground.start("sh", &["-c", &script]).finish();
        ground.expect("standard output closed", &run, 0, &["code 0"], &[]);
    }
    for (args, code, err, out) in [
        (&["--help"][..], 0, "", "Exit codes: 0 done; 1 a fault of this program; 2"),
        (&["examine", "--help"], 0, "", "--report"),
        (&["--version"], 0, "", "untorn "),
        (&["--no-such"], 2, "--no-such", ""),
        (&["examine"], 2, "CASE", ""),
        (&[], 2, "Usage", ""),
        (&["judge"], 2, "judge", ""),
    ] {
        let run = ground.run(args);
        let err: Vec<&str> = Some(err).into_iter().filter(|words| !words.is_empty()).collect();
        ground.expect(&format!("{args:?}"), &run, code, &err, &[out]);
    }
    ground.end();
}
