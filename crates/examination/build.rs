//! Names the version of everything that measures: the BLAKE3 of the sources of `photo`, `placement`
//! and `examine`. A library keeps what was measured of its specimens under this name, so a change
//! in the measuring code measures them again, and nothing else does.

use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let own = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let mut files = vec![own.join("src/specimens.rs")];
    for name in ["photo", "placement", "examine"] {
        collect(&own.join("..").join(name).join("src"), &mut files)?;
    }
    files.sort();
    let mut hasher = blake3::Hasher::new();
    for file in files {
        hasher.update(&fs::read(&file)?);
    }
    // Build scripts speak to cargo on standard output.
    let lines = format!(
        "cargo::rustc-env=UNTORN_MEASURING={}\ncargo::rerun-if-changed=src/specimens.rs\n\
         cargo::rerun-if-changed=../photo/src\ncargo::rerun-if-changed=../placement/src\n\
         cargo::rerun-if-changed=../examine/src\n",
        hasher.finalize().to_hex()
    );
    io::Write::write_all(&mut io::stdout(), lines.as_bytes())
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            collect(&path, files)?;
        } else {
            files.push(path);
        }
    }
    Ok(())
}
