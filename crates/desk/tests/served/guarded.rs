//! What the desk refuses, over real connections: other hosts and origins, changes without the token,
//! names that lead elsewhere, too much, and pages that would run something.

use crate::support::{multipart, photo, start};

#[test]
fn other_hosts_and_origins_are_refused() {
    let desk = start();
    let own = format!("127.0.0.1:{}", desk.port);
    let ask = |host: &str, more: &str| {
        desk.raw(format!("GET / HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{more}\r\n").as_bytes())
            .status
    };
    assert_eq!(ask(&own, ""), 200);
    assert_eq!(ask(&format!("localhost:{}", desk.port), ""), 200);
    // DNS rebinding: a foreign name that points to this machine.
    for host in ["desk.example", "127.0.0.1", "127.0.0.1:1", "", "127.0.0.1.example:80", "[::ffff:127.0.0.1]"]
    {
        assert!(matches!(ask(host, ""), 400 | 421), "{host}");
    }
    assert_eq!(ask(&own, "Origin: https://example.org\r\n"), 403);
    assert_eq!(ask(&own, "Origin: null\r\n"), 403);
    assert_eq!(ask(&own, "Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: no-cors\r\n"), 403);
    // A token does not help a foreign page.
    let body = format!("token={}&look=dark", desk.token);
    let form = "application/x-www-form-urlencoded";
    assert_eq!(desk.send("/look", &[("Origin", "http://evil.example")], form, body.as_bytes()).status, 403);
    assert_eq!(
        desk.send("/look", &[("Origin", &format!("http://{own}"))], form, body.as_bytes()).status,
        303
    );
}

#[test]
fn changes_need_the_token() {
    let desk = start();
    let form = "application/x-www-form-urlencoded";
    for body in ["look=dark", "token=&look=dark", "token=0000&look=dark"] {
        assert_eq!(desk.send("/look", &[], form, body.as_bytes()).status, 403, "{body}");
    }
    let jpeg = photo("pf-2041/01.jpg");
    let files: &[(&str, &[u8])] = &[("a.jpg", &jpeg)];
    let kind = "multipart/form-data; boundary=XX";
    for fields in [vec![], vec![("token", "wrong")]] {
        let answer = desk.send("/offers", &[], kind, &multipart(&fields, files));
        assert_eq!(answer.status, 403, "{}", answer.text());
    }
    // Files before the token are not written.
    let mut late = multipart(&[], files);
    late.truncate(late.len() - 8);
    late.extend_from_slice(&multipart(&[("token", &desk.token)], &[])[..]);
    assert_eq!(desk.send("/offers", &[], kind, &late).status, 403);
    assert!(std::fs::read_dir(desk.data.join("offers")).unwrap().next().is_none(), "nothing was taken");
    assert!(std::fs::read_dir(desk.data.join("desk/incoming")).unwrap().next().is_none(), "nothing was left");
    // Reading changes nothing, whatever the address says.
    assert!(matches!(desk.get("/case/x/do/away").status, 404 | 405));
}

#[test]
fn names_lead_nowhere() {
    let desk = start();
    for path in [
        "/assets/../../../etc/passwd",
        "/assets/x/..%2f..%2f..%2fetc%2fpasswd",
        "/photo/..%2f..%2fdesk%2ftoken",
        "/photo/%2e%2e/desk/token",
        "/shown/..%2f../token",
        "/shown/%2e%2e/%2e%2e",
        "/case/..%2f..%2fdesk",
        "/case/%2e%2e",
        "/board/..%2ftoken",
        "/library/specimen/..%2f..%2ftoken",
        "/library/product/../../..",
        "//etc/passwd",
        "/case/a%00b",
    ] {
        let answer = desk.get(path);
        assert!(matches!(answer.status, 400 | 404), "{path} gave {}", answer.status);
        assert!(!answer.text().contains(&desk.token) || answer.text().contains("<html"), "{path}");
        assert!(!answer.text().contains("root:"), "{path}");
    }
}

#[test]
fn sent_names_are_taken_as_words() {
    let desk = start();
    let jpeg = photo("pf-2041/01.jpg");
    let answer = desk.upload("/offers", &[("../../../outside.jpg", &jpeg)]);
    assert_eq!(answer.status, 200, "{}", answer.text());
    assert!(answer.text().contains("outside.jpg") && !answer.text().contains(".."), "{}", answer.text());
    let case = std::fs::read_dir(desk.data.join("offers")).unwrap().next().unwrap().unwrap().path();
    assert!(case.join("outside.jpg").is_file());
    assert!(!desk.data.parent().unwrap().join("outside.jpg").exists());
    let odd = photo("pf-2041/02.jpg");
    let answer = desk
        .upload("/offers", &[("<img src=x onerror=alert(1)>.jpg", &odd), ("..", &photo("pf-2041/03.jpg"))]);
    assert_eq!(answer.status, 200, "{}", answer.text());
}

#[test]
fn what_is_no_photo_is_refused_by_name() {
    let desk = start();
    let svg = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>";
    let answer = desk.upload("/offers", &[("a.svg", svg), ("b.jpg", b"GIF89a nothing"), ("c.jpg", b"")]);
    assert_eq!(answer.status, 422);
    for part in ["a.svg", "b.jpg", "c.jpg", "JPEG"] {
        assert!(answer.text().contains(part), "{}", answer.text());
    }
    let huge = png_header(30_000, 30_000);
    let answer = desk.upload("/offers", &[("huge.png", &huge), ("good.jpg", &photo("pf-2041/01.jpg"))]);
    assert_eq!(answer.status, 200, "the good one is taken: {}", answer.text());
    assert!(answer.text().contains("megapixels"), "{}", answer.text());
}

/// A PNG that claims a size and holds nothing.
fn png_header(width: u32, height: u32) -> Vec<u8> {
    let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
    let mut chunk = b"IHDR".to_vec();
    for number in [width, height] {
        png.extend_from_slice(&number.to_be_bytes());
        chunk.extend_from_slice(&number.to_be_bytes());
    }
    png.extend_from_slice(&[8, 2, 0, 0, 0]);
    chunk.extend_from_slice(&[8, 2, 0, 0, 0]);
    let crc = !chunk.iter().fold(u32::MAX, |mut crc, byte| {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xedb8_8320 } else { crc >> 1 };
        }
        crc
    });
    png.extend_from_slice(&crc.to_be_bytes());
    png.extend_from_slice(b"\0\0\0\0IDAT");
    png
}

#[test]
fn too_much_is_refused() {
    let desk = start();
    let form = "application/x-www-form-urlencoded";
    let long = format!("token={}&text={}", desk.token, "x".repeat(2 << 20));
    assert_eq!(desk.send("/look", &[], form, long.as_bytes()).status, 413);
    // A field that never ends.
    let kind = "multipart/form-data; boundary=XX";
    let text = "x".repeat(100 << 10);
    let answer =
        desk.send("/offers", &[], kind, &multipart(&[("token", &desk.token), ("title", &text)], &[]));
    assert_eq!(answer.status, 413, "{}", answer.text());
    // One photo too large, another one good.
    let mut large = vec![0_u8; (64 << 20) + 1];
    large[..3].copy_from_slice(b"\xff\xd8\xff");
    let answer = desk.upload("/offers", &[("large.jpg", &large), ("good.jpg", &photo("pf-2041/01.jpg"))]);
    assert_eq!(answer.status, 200);
    assert!(answer.text().contains("64 MiB") && answer.text().contains("good.jpg"), "{}", answer.text());
    // Too many files.
    let files: Vec<(String, Vec<u8>)> =
        (0..130).map(|i| (format!("{i}.jpg"), vec![0xff, 0xd8, 0xff])).collect();
    let files: Vec<(&str, &[u8])> =
        files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    assert_eq!(desk.upload("/offers", &files).status, 413);
    // More than the body may have is refused before it is sent.
    let head = format!(
        "POST /offers HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\nContent-Type: {kind}\r\nContent-Length: 99999999999\r\n\r\n",
        desk.port
    );
    assert!(matches!(desk.raw(head.as_bytes()).status, 403 | 413), "a body of 100 GB");
    assert_eq!(std::fs::read_dir(desk.data.join("desk/incoming")).unwrap().count(), 0, "nothing was left");
}

#[test]
fn a_saved_page_is_read_and_never_runs() {
    let desk = start();
    let page = br#"<html><head><title>x</title><script>alert('page')</script>
        <script type="application/ld+json">{"@type":"Product","name":"Pack </script><script>alert('name')</script>",
        "offers":{"price":"7.50","priceCurrency":"EUR"}}</script>
        <meta property="og:title" content="Night pack &lt;script&gt;alert(1)&lt;/script&gt; &lt;svg onload=alert(2)&gt;">
        <meta property="og:description" content="&lt;iframe src=javascript:alert(3)&gt;"></head></html>"#;
    let answer = desk.upload("/offers", &[("offer.html", page), ("a.jpg", &photo("pf-2041/01.jpg"))]);
    assert_eq!(answer.status, 200, "{}", answer.text());
    let case = std::fs::read_dir(desk.data.join("offers")).unwrap().next().unwrap().unwrap();
    let id = case.file_name().to_string_lossy().into_owned();
    let kept = std::fs::read(case.path().join("page.html")).unwrap();
    assert_eq!(kept, page, "the page is kept as evidence");
    for path in ["/".to_owned(), format!("/case/{id}"), format!("/case/{id}/photo/1")] {
        let answer = desk.get(&path);
        assert_eq!(answer.status, 200, "{path}: {}", answer.text());
        let html = scraper::Html::parse_document(&answer.text());
        let active = scraper::Selector::parse("script:not([src]):not([type='application/json']), iframe, object, embed, [onload], [onerror], svg [onload]").unwrap();
        assert_eq!(html.select(&active).count(), 0, "{path}");
        let inline = scraper::Selector::parse("[style], style").unwrap();
        assert_eq!(html.select(&inline).count(), 0, "{path}: the policy forbids inline style");
        assert!(answer.text().contains("Night pack &lt;script&gt;"), "{path}");
    }
    // By hash it is no photo.
    let hash = blake3::hash(page).to_hex().to_string();
    assert_eq!(desk.get(&format!("/photo/{hash}")).status, 404);
}

#[test]
fn every_answer_says_what_may_run() {
    let desk = start();
    let jpeg = photo("pf-2041/01.jpg");
    assert_eq!(desk.upload("/offers", &[("a.jpg", &jpeg)]).status, 200);
    let hash = blake3::hash(&jpeg).to_hex().to_string();
    let style = desk.get("/").text();
    let style = style.split("href=\"/assets/").nth(1).unwrap().split('"').next().unwrap().to_owned();
    for path in [
        "/",
        "/library",
        "/boards",
        "/words",
        "/nowhere",
        &format!("/photo/{hash}"),
        &format!("/assets/{style}"),
    ] {
        let answer = desk.get(path);
        let policy = answer.header("content-security-policy").unwrap_or_default().to_owned();
        assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{path}: {policy}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{path}");
        assert_eq!(answer.header("x-frame-options"), Some("DENY"), "{path}");
        assert_eq!(answer.header("cross-origin-resource-policy"), Some("same-origin"), "{path}");
        assert!(answer.header("access-control-allow-origin").is_none(), "{path}");
    }
    let sent = desk.get(&format!("/photo/{hash}"));
    assert_eq!((sent.header("content-type"), sent.body == jpeg), (Some("image/jpeg"), true));
}
