//! What no page of ours would send: strange ids, bodies, values and JSON.

use pennyweight::store::new_id;

/// Ids of another shape, ids that do not exist, and what is meant to reach further than an id may.
pub(super) fn ids() -> Vec<String> {
    let mut strange: Vec<String> = [
        "0",
        "-1",
        "x",
        "%20",
        "%00",
        "%ff%fe",
        "%0d%0aset-cookie:%20a=b",
        "..",
        "..%2f..%2f..%2fetc%2fpasswd",
        "%2e%2e%2f%2e%2e%2fetc%2fpasswd",
        "%27%20OR%201=1%20--",
        "%3Cscript%3Ealert(1)%3C/script%3E",
        "copper-2",
        "USD",
        "9999999999999999999999",
        "%F0%9F%A6%86",
    ]
    .map(str::to_string)
    .into();
    strange.push(new_id());
    strange.push(new_id().to_uppercase());
    strange.push("a".repeat(4000));
    strange
}

/// A body as no page of ours sends it: its kind and its bytes.
pub(super) fn bodies() -> Vec<(&'static str, Vec<u8>)> {
    let form = "application/x-www-form-urlencoded";
    let parts = "multipart/form-data; boundary=x";
    let garbage: Vec<u8> = (0..4096u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    vec![
        (form, Vec::new()),
        (form, b"version=%00&id=%00&name=%00&reading=%00&grade=%00&label=%00".to_vec()),
        (form, garbage.clone()),
        (form, b"version=%ff%fe&id=%ff&name=%c3%28&reading=%ff".to_vec()),
        (form, b"version=\xff\xfe&id=\xff&name=\xc3\x28\0&reading=\xff".to_vec()),
        (form, b"=&=&&&&%&%%&%zz=%zz&version=999999999999999999999".to_vec()),
        (form, [b"version=1&note=".to_vec(), vec![b'a'; 1024 * 1024]].concat()),
        (form, "a=1&".repeat(20_000).into_bytes()),
        (parts, Vec::new()),
        (parts, garbage),
        (parts, b"--x\r\nContent-Disposition: form-data; name=\"id\"\r\n\r\n\0\r\n--x--\r\n".to_vec()),
        (
            parts,
            b"--x\r\nContent-Disposition: form-data; name=\"\xff\"; filename=\"\0\"\r\n\r\n\xff".to_vec(),
        ),
        ("multipart/form-data", b"--x--".to_vec()),
        ("application/json", b"{}".to_vec()),
        ("text/plain", b"version=1".to_vec()),
        ("", b"version=1".to_vec()),
    ]
}

/// What a database may mind in a field, and a program that asks none must refuse.
pub(super) const NO_DATABASE_KEEPS: [&str; 2] = ["\0", "99999999999999999999999999999999999999"];

/// What else is typed into a field that asks for something else; `None` is no such field.
pub(super) fn values() -> Vec<Option<String>> {
    let strange = [
        "",
        "-1",
        "1e400",
        "NaN",
        "0.00000000000000000000000000000001",
        "\u{202e}\u{feff}\u{7f}\u{1}",
        "🦆",
        "=HYPERLINK(\"http://evil.example\")",
        "' OR 1=1 --",
        "<script>alert(1)</script>",
        "9999-12-31",
        "a\r\nb\r\n\r\nc",
    ];
    let more = [new_id(), "9".repeat(100_000)];
    [None].into_iter().chain(strange.map(str::to_string).into_iter().chain(more).map(Some)).collect()
}

/// JSON that is cut off, of another shape, or without end.
pub(super) fn json() -> Vec<(&'static str, Vec<u8>)> {
    let lot = new_id();
    let texts = [
        "null".to_string(),
        "[]".to_string(),
        "{}".to_string(),
        "\"".to_string(),
        "{\"id\":".to_string(),
        "[".repeat(100_000),
        "1e999999".to_string(),
        format!("{{\"id\":\"{lot}\",\"lot\":\"{lot}\",\"reading\":\"\\u0000\"}}"),
        format!("{{\"id\":\"{lot}\",\"lot\":\"{lot}\",\"reading\":{{}}}}"),
        format!("{{\"id\":\"{lot}\",\"lot\":\"\\ud800\",\"reading\":\"1 lb\"}}"),
        format!("{{\"id\":\"{}\",\"reading\":\"1 lb\"}}", "a".repeat(1024 * 1024)),
    ];
    texts.map(|text| ("application/json", text.into_bytes())).into()
}
