//! The desk as a program: killed in the middle, started again; nothing accepted is lost.
#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::unwrap_used,
    reason = "helpers of tests; a panic is the failure"
)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Uploads that are accepted before the desk is killed.
const UPLOADS: usize = 8;

struct Desk {
    child: Child,
    port: u16,
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn open(data: &Path) -> Desk {
    let mut child = Command::new(env!("CARGO_BIN_EXE_untorn"))
        .args(["desk", "--port", "0", "--data"])
        .arg(data)
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program");
    let mut line = String::new();
    BufReader::new(child.stdout.take().expect("its output")).read_line(&mut line).expect("a line");
    let port = line.split("127.0.0.1:").nth(1).and_then(|rest| rest.split('/').next()).expect("an address");
    let port = port.parse().expect("a port");
    Desk { child, port }
}

fn exchange(port: u16, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("a connection");
    stream.set_read_timeout(Some(Duration::from_secs(120))).expect("a timeout");
    stream.write_all(bytes).expect("sent");
    let mut all = Vec::new();
    stream.read_to_end(&mut all).expect("an answer");
    String::from_utf8_lossy(&all).into_owned()
}

fn get(port: u16, path: &str) -> String {
    exchange(
        port,
        format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n").as_bytes(),
    )
}

fn upload(port: u16, token: &str, photo: &[u8], name: &str) -> String {
    let mut body = format!(
        "--XX\r\nContent-Disposition: form-data; name=\"token\"\r\n\r\n{token}\r\n--XX\r\nContent-Disposition: form-data; name=\"files\"; filename=\"{name}\"\r\n\r\n"
    )
    .into_bytes();
    body.extend_from_slice(photo);
    body.extend_from_slice(b"\r\n--XX--\r\n");
    let mut bytes = format!(
        "POST /offers HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\nAccept: application/json\r\nContent-Type: multipart/form-data; boundary=XX\r\nContent-Length: {}\r\n\r\n",
        body.len()
    )
    .into_bytes();
    bytes.extend_from_slice(&body);
    exchange(port, &bytes)
}

fn photos() -> Vec<PathBuf> {
    let offers = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/offers");
    let mut found = Vec::new();
    for entry in std::fs::read_dir(offers).expect("the demo's offers") {
        let file = entry.expect("a readable folder").path().join("01.jpg");
        if file.is_file() {
            found.push(file);
        }
    }
    found.sort();
    found
}

#[test]
fn killed_in_the_middle_it_loses_no_accepted_upload() {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("data");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let mut library = casebook::library::Library::open(&data.join("library")).expect("a library");
    library
        .add_catalogue(
            &demo.join("catalogue/kelpwright/night-dredge.toml"),
            &demo.join("faces"),
            jiff::Timestamp::now(),
        )
        .expect("a catalogue");
    drop(library);
    let mut desk = open(&data);
    let token = std::fs::read_to_string(data.join("desk/token")).expect("a token");
    let mut accepted = Vec::new();
    for (index, file) in photos().iter().take(UPLOADS).enumerate() {
        let answer =
            upload(desk.port, &token, &std::fs::read(file).expect("a photo"), &format!("photo-{index}.jpg"));
        let id = answer.split("\"case\":\"").nth(1).and_then(|rest| rest.split('"').next());
        accepted.push((
            id.unwrap_or_else(|| panic!("{answer}")).to_owned(),
            std::fs::read(file).expect("a photo"),
        ));
    }
    // SIGKILL: no handler runs.
    desk.child.kill().expect("killed");
    desk.child.wait().expect("ended");
    drop(desk);

    let desk = open(&data);
    assert_eq!(token, std::fs::read_to_string(data.join("desk/token")).expect("a token"), "open pages go on");
    let start = Instant::now();
    for (id, bytes) in &accepted {
        loop {
            let page = get(desk.port, &format!("/case/{id}"));
            if page.contains("Findings, heaviest first") && !page.contains("<case-progress>") {
                break;
            }
            assert!(start.elapsed() < Duration::from_secs(300), "{id} was not examined: {page}");
            std::thread::sleep(Duration::from_millis(200));
        }
        let kept = std::fs::read_dir(data.join("offers").join(id)).expect("its folder").flatten();
        let kept: Vec<Vec<u8>> = kept.filter_map(|entry| std::fs::read(entry.path()).ok()).collect();
        assert!(kept.contains(bytes), "{id}: its photo is not what was sent");
    }
    let library = casebook::library::Library::open(&data.join("library")).expect("a library");
    assert!(library.check().expect("a check").is_empty());
}
