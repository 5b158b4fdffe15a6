//! Lists everything in `assets/` for `src/assets.rs`: name, bytes, and one hash over all of them, which
//! is part of every address, so that browsers may keep what they have.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let here = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let folder = here.join("assets");
    let mut files = Vec::new();
    collect(&folder, &mut files)?;
    files.sort();
    let mut hasher = blake3::Hasher::new();
    let mut table = String::from("pub(crate) const FILES: &[(&str, &[u8])] = &[\n");
    for file in &files {
        let name = file.strip_prefix(&folder).unwrap_or(file).to_string_lossy().replace('\\', "/");
        hasher.update(name.as_bytes());
        hasher.update(&fs::read(file)?);
        writeln!(table, "    ({name:?}, include_bytes!({:?})),", file.display().to_string())
            .map_err(io::Error::other)?;
    }
    let style = here.join("src/pages/page.css");
    hasher.update(&fs::read(style)?);
    let hash = hasher.finalize().to_hex();
    writeln!(table, "];\npub(crate) const SET: &str = {:?};", hash.get(..16).unwrap_or_default())
        .map_err(io::Error::other)?;
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default()).join("assets.rs");
    // Build scripts speak to cargo on standard output.
    io::Write::write_all(
        &mut io::stdout(),
        b"cargo::rerun-if-changed=assets\ncargo::rerun-if-changed=src/pages/page.css\n",
    )?;
    let mut handle = fs::File::create(out)?;
    io::Write::write_all(&mut handle, table.as_bytes())
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    let Ok(entries) = fs::read_dir(folder) else { return Ok(()) };
    for entry in entries {
        let path = entry?.path();
        let hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
        if path.is_dir() {
            collect(&path, files)?;
        } else if !hidden {
            files.push(path);
        }
    }
    Ok(())
}
