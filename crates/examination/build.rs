//! Names the version of everything that measures: the BLAKE3 of the sources of `photo`, `placement`,
//! `ocr` and `examine`. A library keeps what was measured of its specimens under this name, so a change
//! in the measuring code measures them again, and nothing else does. Fitted weights are kept in the
//! library's cache under the version of `opinion` in the same way.

use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let crates = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default()).join("..");
    let measuring = ["examination/src/specimens.rs", "photo/src", "placement/src", "ocr/src", "examine/src"];
    let fitting = ["opinion/src"];
    let mut lines = String::new();
    for (name, sources) in [("UNTORN_MEASURING", &measuring[..]), ("UNTORN_FITTING", &fitting[..])] {
        lines += &format!("cargo::rustc-env={name}={}\n", version(&crates, sources)?);
        for source in sources {
            lines += &format!("cargo::rerun-if-changed=../{source}\n");
        }
    }
    // Build scripts speak to cargo on standard output.
    io::Write::write_all(&mut io::stdout(), lines.as_bytes())
}

/// BLAKE3 of the bytes of all files below the sources, by name.
fn version(crates: &Path, sources: &[&str]) -> io::Result<String> {
    let mut files = Vec::new();
    for source in sources {
        collect(&crates.join(source), &mut files)?;
    }
    files.sort();
    let mut hasher = blake3::Hasher::new();
    for file in files {
        hasher.update(&fs::read(&file)?);
    }
    Ok(hasher.finalize().to_hex().to_string())
}

fn collect(path: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    if path.is_file() {
        files.push(path.to_owned());
        return Ok(());
    }
    for entry in fs::read_dir(path)? {
        collect(&entry?.path(), files)?;
    }
    Ok(())
}
