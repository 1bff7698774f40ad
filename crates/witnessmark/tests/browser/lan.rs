//! A phone is paired as a person does it: the picture's address is opened, a PIN chosen, the numbers compared at the bench.

use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

use super::{asked, bench, driver, fits, free_port, ours, seen, until_it_says};

/// A browser that takes the certificate of an authority which is installed in no store here, and finds the bench by name.
async fn browser(driver: u16, folder: &std::path::Path, name: &str, width: u32) -> Client {
    let mut wanted = serde_json::Map::new();
    wanted.insert("acceptInsecureCerts".to_owned(), json!(true));
    let options = json!({
        "args": [
            "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
            "--disable-background-networking", "--disable-component-update", "--disable-sync",
            "--host-resolver-rules=MAP bench.home.arpa 127.0.0.1",
            format!("--user-data-dir={}", folder.join(name).display()),
            format!("--window-size={width},900"),
        ],
        "mobileEmulation": {"deviceMetrics": {"width": width, "height": 900, "pixelRatio": 1.0, "touch": width < 800}},
    });
    wanted.insert("goog:chromeOptions".to_owned(), options);
    let driver = format!("http://127.0.0.1:{driver}");
    ClientBuilder::new(HttpConnector::new()).capabilities(wanted).connect(&driver).await.expect("a browser")
}

async fn text(client: &Client, css: &str) -> String {
    client.find(Locator::Css(css)).await.expect(css).text().await.expect(css)
}

async fn tap(client: &Client, css: &str) {
    client.find(Locator::Css(css)).await.expect(css).click().await.expect(css);
}

async fn type_into(client: &Client, css: &str, text: &str) {
    client.find(Locator::Css(css)).await.expect(css).send_keys(text).await.expect(css);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_phone_is_paired_with_the_bench_signed_out_and_removed() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (port, page) = (free_port().to_string(), free_port().to_string());
    let on = [
        "--store",
        "shop",
        "lan",
        "on",
        "--name",
        "bench",
        "--address",
        "127.0.0.1",
        "--port",
        &port,
        "--pairing-port",
        &page,
    ];
    assert!(ours(folder.path(), &on).output().expect("our own program").status.success());
    let (_running, here) = bench(folder.path(), "shop");
    let (_driver, driver) = driver();
    let owner = browser(driver, folder.path(), "owner", 1280).await;
    let phone = browser(driver, folder.path(), "phone", 390).await;

    phone.goto(&format!("http://127.0.0.1:{page}/")).await.expect("the page in the clear");
    until_it_says(&phone, "nothing is entered here").await;
    let secure =
        phone.execute("return [isSecureContext, 'serviceWorker' in navigator]", Vec::new()).await.expect("script");
    assert_eq!(secure[0], json!(true), "on the machine itself a browser makes an exception");
    fits(&phone, "how to pair").await;
    seen(&phone, "pairing-how").await;

    owner.goto(&format!("{here}/devices")).await.expect("the devices");
    type_into(&owner, "#device-name", "phone of the trial").await;
    type_into(&owner, "#device-person", "Ilse").await;
    tap(&owner, "input[name=role][value=technician]").await;
    tap(&owner, "#device-reach option[value='bench.home.arpa']").await;
    tap(&owner, "#pair button").await;
    until_it_says(&owner, "Point its camera here").await;
    fits(&owner, "the offer").await;
    seen(&owner, "pairing-offer").await;
    let code = text(&owner, ".match").await;

    // What a camera reads is an address; the secret in it is known to the picture alone, so the phone types the code.
    phone.goto(&format!("https://bench.home.arpa:{port}/jobs")).await.expect("the bench");
    until_it_says(&phone, "This device is not paired").await;
    fits(&phone, "not paired").await;
    phone.goto(&format!("https://bench.home.arpa:{port}/pair#{}", "0".repeat(32))).await.expect("the bench");
    until_it_says(&phone, "The picture was read").await;
    let left = phone.execute("return location.hash + document.querySelector('[name=secret]').value", Vec::new()).await;
    assert_eq!(left.expect("script"), Value::from("0".repeat(32)), "in the form, and no more in the address");
    phone.goto(&format!("https://bench.home.arpa:{port}/pair")).await.expect("the bench");
    type_into(&phone, "#code", &code).await;
    type_into(&phone, "#pin", "583920").await;
    type_into(&phone, "#again", "583920").await;
    fits(&phone, "pairing").await;
    seen(&phone, "pairing-phone").await;
    tap(&phone, "main button").await;
    until_it_says(&phone, "Compare the number").await;
    seen(&phone, "pairing-number").await;
    let number = text(&phone, ".match").await;
    until_it_says(&owner, "Does the device show this number?").await;
    assert_eq!(text(&owner, ".match").await, number, "the same on both screens");
    seen(&owner, "pairing-compare").await;
    tap(&owner, "button[value=match]").await;
    until_it_says(&owner, "is paired").await;
    until_it_says(&phone, "Jobs").await;

    // On the network, by a certificate, the phone can do what it needs to work without Wi-Fi.
    let secure =
        phone.execute("return [isSecureContext, 'serviceWorker' in navigator]", Vec::new()).await.expect("script");
    assert_eq!(secure, json!([true, true]));
    assert_eq!(
        phone.execute("return document.cookie", Vec::new()).await.expect("script"),
        json!(""),
        "no script reads the key"
    );
    // It keeps the bench for a day without the shop, and what it sends from its queue comes under its person and its name.
    let worker = phone
        .execute_async(
            "const done = arguments[0]; navigator.serviceWorker.ready.then((r) => done(!!r.active), (e) => done(`${e}`))",
            Vec::new(),
        )
        .await
        .expect("script");
    assert_eq!(worker, json!(true));
    type_into(&phone, "form[action='/jobs'] [name=title]", "Ostrand van, by the phone").await;
    tap(&phone, "form[action='/jobs'] button[type=submit]").await;
    until_it_says(&phone, "Ostrand van, by the phone").await;
    let jobs = asked(&here, "/api/1/jobs");
    let job = jobs["jobs"][0]["id"].as_str().expect("one job").to_owned();
    let entries = asked(&here, &format!("/api/1/jobs/{job}/entries"));
    let opened = &entries["entries"][0];
    assert_eq!((&opened["by"], &opened["device"]), (&json!("Ilse"), &json!("phone of the trial")), "{entries}");
    phone.goto(&format!("https://bench.home.arpa:{port}/queue")).await.expect("the queue");
    until_it_says(&phone, "Nothing waits").await;

    tap(&phone, ".who summary").await;
    tap(&phone, "form[action='/sign-out'] button").await;
    until_it_says(&phone, "PIN of this device").await;
    fits(&phone, "the PIN").await;
    seen(&phone, "pairing-pin").await;
    type_into(&phone, "#pin", "583920").await;
    tap(&phone, "main button").await;
    until_it_says(&phone, "Jobs").await;

    owner.goto(&format!("{here}/devices")).await.expect("the devices");
    until_it_says(&owner, "phone of the trial").await;
    tap(&owner, ".device summary").await;
    tap(&owner, ".device button").await;
    until_it_says(&owner, "No device is paired").await;
    phone.refresh().await.expect("the bench");
    until_it_says(&phone, "This device was removed").await;
    phone.close().await.expect("it closes");
    owner.close().await.expect("it closes");
}
