//! A desk on a folder of its own and a client that sends any bytes at all, for the tests of the server.

use std::fmt::Write as _;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// A desk that answers until the tests end.
pub(crate) struct Server {
    pub(crate) port: u16,
    pub(crate) token: String,
    pub(crate) data: PathBuf,
    // Removed when the test ends.
    _folder: tempfile::TempDir,
}

/// An answer.
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) head: String,
    pub(crate) body: Vec<u8>,
}

impl Answer {
    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| {
            let (own, value) = line.split_once(':')?;
            own.eq_ignore_ascii_case(name).then_some(value.trim())
        })
    }
}

/// Starts a desk on an empty folder.
pub(crate) fn start() -> Server {
    let folder = tempfile::tempdir().expect("a folder");
    let data = folder.path().join("data");
    let desk = desk::Desk::open(&data, 0, jiff::Timestamp::now).expect("a desk");
    let address = desk.address();
    let port = address.trim_end_matches('/').rsplit(':').next().expect("a port").parse().expect("a number");
    std::thread::spawn(move || desk.serve());
    let token = std::fs::read_to_string(data.join("desk/token")).expect("a token");
    Server { port, token, data, _folder: folder }
}

impl Server {
    /// Sends bytes as they are and reads until the desk closes.
    pub(crate) fn raw(&self, bytes: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("a connection");
        stream.set_read_timeout(Some(Duration::from_secs(60))).expect("a timeout");
        // The desk may refuse and close before everything was sent.
        let _ = stream.write_all(bytes);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let split = all.windows(4).position(|w| w == b"\r\n\r\n").unwrap_or(all.len());
        let head = String::from_utf8_lossy(&all[..split]).into_owned();
        let status = head.split(' ').nth(1).and_then(|word| word.parse().ok()).unwrap_or(0);
        let mut body = all.get(split + 4..).unwrap_or_default().to_vec();
        if head.to_ascii_lowercase().contains("transfer-encoding: chunked") {
            body = unchunked(&body);
        }
        Answer { status, head, body }
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        self.raw(
            format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\r\n", self.port)
                .as_bytes(),
        )
    }

    pub(crate) fn send(&self, path: &str, extra: &[(&str, &str)], kind: &str, body: &[u8]) -> Answer {
        let mut head = format!(
            "POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\nContent-Type: {kind}\r\nContent-Length: {}\r\n",
            self.port,
            body.len()
        );
        for (name, value) in extra {
            write!(head, "{name}: {value}\r\n").expect("a string");
        }
        head.push_str("\r\n");
        let mut bytes = head.into_bytes();
        bytes.extend_from_slice(body);
        self.raw(&bytes)
    }

    /// Posts a form with the token.
    pub(crate) fn form(&self, path: &str, pairs: &[(&str, &str)]) -> Answer {
        let mut body = format!("token={}", self.token);
        for (name, value) in pairs {
            write!(body, "&{name}={}", encoded(value)).expect("a string");
        }
        self.send(path, &[], "application/x-www-form-urlencoded", body.as_bytes())
    }

    /// Uploads files, with the token, as the desk's own script would.
    pub(crate) fn upload(&self, path: &str, files: &[(&str, &[u8])]) -> Answer {
        let body = multipart(&[("token", &self.token)], files);
        self.send(path, &[("Accept", "application/json")], "multipart/form-data; boundary=XX", &body)
    }

    /// Waits until a page of a case says something.
    pub(crate) fn wait_for(&self, path: &str, words: &str) -> String {
        let start = Instant::now();
        loop {
            let text = self.get(path).text();
            if text.contains(words) {
                return text;
            }
            assert!(start.elapsed() < Duration::from_secs(120), "{path} never said {words:?}: {text}");
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

/// A multipart body with the boundary `XX`.
pub(crate) fn multipart(fields: &[(&str, &str)], files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, value) in fields {
        body.extend_from_slice(
            format!("--XX\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").as_bytes(),
        );
    }
    for (name, bytes) in files {
        body.extend_from_slice(
            format!("--XX\r\nContent-Disposition: form-data; name=\"files\"; filename=\"{name}\"\r\n\r\n")
                .as_bytes(),
        );
        body.extend_from_slice(bytes);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(b"--XX--\r\n");
    body
}

fn encoded(text: &str) -> String {
    text.bytes().fold(String::new(), |mut all, byte| {
        write!(all, "%{byte:02X}").expect("a string");
        all
    })
}

fn unchunked(mut bytes: &[u8]) -> Vec<u8> {
    let mut whole = Vec::new();
    while let Some(end) = bytes.windows(2).position(|w| w == b"\r\n") {
        let size = std::str::from_utf8(&bytes[..end])
            .ok()
            .and_then(|text| usize::from_str_radix(text.trim(), 16).ok());
        let Some(size) = size.filter(|size| *size > 0) else { break };
        whole.extend_from_slice(bytes.get(end + 2..end + 2 + size).unwrap_or_default());
        bytes = bytes.get(end + 4 + size..).unwrap_or_default();
    }
    whole
}

/// A photo of the demo.
pub(crate) fn photo(name: &str) -> Vec<u8> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/offers").join(name);
    std::fs::read(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()))
}
