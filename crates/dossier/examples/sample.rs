//! Writes the reports of the invented cases and an index page of them, to look at:
//! `cargo run -p dossier --example sample -- DIR`.

#[path = "../tests/invented/mod.rs"]
mod invented;

use std::fs::File;
use std::io::{Error, Write as _};
use std::path::Path;

use dossier::{SetEntry, SetInput, set_report};

fn main() -> Result<(), Error> {
    let dir = std::env::args().nth(1).ok_or_else(|| Error::other("name a folder to write into"))?;
    let dir = Path::new(&dir);
    std::fs::create_dir_all(dir)?;
    let cases = invented::cases::all();
    let mut links = Vec::new();
    for case in &cases {
        let name = format!("{}.html", case.examination.case);
        File::create(dir.join(&name))?.write_all(case.html().as_bytes())?;
        links.push(name);
    }
    let entries: Vec<SetEntry<'_>> = cases
        .iter()
        .zip(&links)
        .map(|(case, link)| SetEntry {
            examination: &case.examination,
            thumb: case.photos.first(),
            link: Some(link),
        })
        .collect();
    let input = SetInput {
        title: "Five invented offers",
        introduction: "Everything here is invented, the numbers too.",
        entries: &entries,
        generated_at: Some("25 November 2026, 09:00 UTC"),
        program: "untorn 0.1.0",
    };
    File::create(dir.join("index.html"))?.write_all(set_report(&input).as_bytes())
}
