//! The shop's own network at the command line: off, on, devices, and what is carried away of it.

use std::io::{BufRead, BufReader, Write};
use std::process::Stdio;

use crate::shop::{Shop, binary};

const ON: &[&str] = &["lan", "on", "--name", "bench", "--address", "127.0.0.1", "--port", "0", "--pairing-port", "0"];

#[test]
fn the_network_is_off_until_it_is_turned_on_and_nothing_of_it_is_carried_away() {
    let shop = Shop::with_demo();
    let show = shop.run(&["--json", "lan", "show"]).exits(0).json();
    assert!(show["network"].is_null(), "{show}");
    assert!(!shop.path("store/network").exists());
    shop.run(&["lan", "pair", "phone", "--role", "technician", "--person", "Ilse"]).exits(4);
    shop.run(&["lan", "on", "--name", "No Name"]).exits(2);
    shop.run(&["lan", "on", "--name", "bench", "--address", "8.8.8.8"]).exits(4);
    shop.run(&["lan", "on", "--name", "bench", "--address", "10.0.0.1", "--port", "9", "--pairing-port", "9"]).exits(2);
    assert!(!shop.path("store/network").exists(), "what is refused leaves nothing");

    let on = shop.run(&[&["--json"], ON].concat()).exits(0).json();
    let fingerprint = on["fingerprint"].as_str().expect("a fingerprint").to_owned();
    assert_eq!(fingerprint.len(), 95, "32 pairs");
    shop.run(&["lan", "on", "--name", "other", "--address", "127.0.0.1"]).exits(4);
    let words = shop.run(&["lan", "show"]).exits(0).out.clone();
    for part in ["https://bench.home.arpa:", "https://bench.local:", "https://127.0.0.1:", &fingerprint[..20]] {
        assert!(words.contains(part), "{part}: {words}");
    }
    let offer = shop.run(&["--json", "lan", "pair", "phone", "--role", "counter", "--person", "Ilse"]).exits(0).json();
    let (url, code) = (offer["open"].as_str().expect("an address"), offer["code"].as_str().expect("a code"));
    let secret = url.split_once('#').expect("a secret").1;
    assert!(url.starts_with("https://127.0.0.1:") && secret.len() == 32 && code.len() == 9, "{offer}");
    let book = std::fs::read_to_string(shop.path("store/network/devices.json")).expect("a book");
    assert!(book.contains("Ilse") && !book.contains(secret) && !book.contains(code), "{book}");
    shop.run(&["lan", "match", "0000"]).exits(3);
    shop.run(&["lan", "remove", "phone"]).exits(3);
    shop.run(&["lan", "pair", "phone", "--role", "counter", "--person", "Ilse", "--reach", "elsewhere"]).exits(2);
    shop.run(&["lan", "authority", "--out", "authority.crt"]).exits(0);
    assert_eq!(std::fs::read(shop.path("authority.crt")).expect("a file").first(), Some(&0x30), "DER");

    shop.write("words", b"seven bolts one stripe and no leak\n");
    shop.run(&["backup", "--to", "all.backup", "--passphrase-file", "words"]).exits(0);
    shop.run_bare(&["restore", "all.backup", "--to", "back", "--passphrase-file", "words"]).exits(0);
    assert!(shop.path("back/logbook.sqlite").exists() && !shop.path("back/network").exists());
    shop.run(&["export", "--all", "--out", "out"]).exits(0);
    assert!(!shop.path("out/network").exists());
    shop.run(&["verify", "--repair-into", "mended"]).exits(0);
    assert!(!shop.path("mended/network").exists());

    shop.run(&["lan", "off"]).exits(0);
    let show = shop.run(&["--json", "lan", "show"]).exits(0).json();
    assert_eq!(
        (&show["network"]["settings"]["on"], &show["network"]["fingerprint"]),
        (&false.into(), &fingerprint.into())
    );
}

#[test]
fn what_is_wrong_with_the_network_is_said_and_the_bench_opens_here() {
    let shop = Shop::new();
    shop.run(ON).exits(0);
    shop.write("store/network/server.json", b"{");
    shop.run(&["lan", "show"]).exits(6);
    let mut child = binary()
        .current_dir(shop.path("."))
        .args(["--store", "store", "--json", "serve", "--port", "0"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut text = String::new();
    let mut out = BufReader::new(child.stdout.take().expect("its output"));
    while !text.ends_with("}\n") {
        assert!(out.read_line(&mut text).expect("a line") > 0, "it said nothing: {text}");
    }
    let said: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert!(said["network"].is_null() && said["bench"].as_str().is_some(), "{said}");
    child.kill().expect("it ends");
    let output = child.wait_with_output().expect("what it said");
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(told.contains("server.json is not in its form"), "{told}");
}

/// A network that is turned on before the first job is no reason to refuse the folder.
#[test]
fn serve_opens_both_doors_and_closes_them_when_told() {
    let shop = Shop::new();
    shop.run(ON).exits(0);
    let mut child = binary()
        .current_dir(shop.path("."))
        .args(["--store", "store", "--json", "serve", "--port", "0", "--log", "json"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    let mut text = String::new();
    let mut out = BufReader::new(child.stdout.take().expect("its output"));
    while !text.ends_with("}\n") {
        assert!(out.read_line(&mut text).expect("a line") > 0, "it said nothing: {text}");
    }
    let said: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let at = said["network"][0].as_str().expect("where it is open").to_owned();
    // Spoken to in the clear it says nothing of ours.
    let mut stream = std::net::TcpStream::connect(&at).expect("it listens");
    stream.write_all(b"GET / HTTP/1.1\r\nhost: bench.home.arpa\r\n\r\n").expect("it is sent");
    let mut answer = Vec::new();
    let _closed = std::io::Read::read_to_end(&mut stream, &mut answer);
    assert!(!String::from_utf8_lossy(&answer).contains("HTTP"), "{answer:?}");
    let told = std::process::Command::new("kill").args(["-TERM", &child.id().to_string()]).status().expect("kill runs");
    assert!(told.success());
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
    assert!(std::net::TcpStream::connect(&at).is_err(), "closed");
}
