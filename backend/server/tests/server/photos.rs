//! Photos by browser and over the interface: from a telephone's file to what others see.

use std::io::Cursor;

use actix_web::http::{Method, StatusCode};
use image::{ImageFormat, Rgb, RgbImage};
use serde_json::json;
use spareloop_api::exchange::HoldView;
use spareloop_api::photos::PhotoView;
use spareloop_api::problem::ProblemCode;

use crate::browser::{Browser, Shown};
use crate::exchange::Pair;
use crate::yard::{Answer, Call, Yard, new_id};

fn png(width: u32, height: u32) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    let picture = RgbImage::from_pixel(width, height, Rgb([120, 80, 40]));
    picture.write_to(&mut file, ImageFormat::Png).unwrap();
    file.into_inner()
}

/// Sends a page's form with a file, as a browser does (RFC 7578).
async fn send_file(
    browser: &Browser,
    yard: &Yard,
    page: &Shown,
    action: &str,
    file: &[u8],
) -> Answer {
    let form = page.form(action);
    let mut body = Vec::new();
    for (name, value) in form.fields.iter().filter(|(name, _)| name != "picture") {
        let part =
            format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
        body.extend(part.bytes());
    }
    body.extend(
        b"--edge\r\nContent-Disposition: form-data; name=\"picture\"; filename=\"shelf.png\"\r\n\
          Content-Type: image/png\r\n\r\n",
    );
    body.extend(file);
    body.extend(b"\r\n--edge--\r\n");
    let cookies: Vec<String> =
        browser.cookies.iter().map(|(name, value)| format!("{name}={value}")).collect();
    let call = Call::new(Method::POST, action)
        .header("cookie", &cookies.join("; "))
        .raw("multipart/form-data; boundary=edge", body);
    yard.send(call).await
}

#[actix_web::test]
async fn a_photo_is_put_beside_an_offer_by_browser_seen_by_the_network_and_taken_back() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let offer = pair.offer(10).await;
    let mut dora = Browser::signed_in(yard, "dora").await;
    let address = format!("/offers/{}/photos", offer.offer);
    let page = dora.open(yard, &format!("/offers/{}", offer.offer)).await;
    let page = dora.open(yard, &page.link(&address)).await;
    page.must_say("Every farm of the network sees them").must_say("no proof");
    let empty = send_file(&dora, yard, &page, &address, b"").await;
    assert!(empty.text().contains("no picture was chosen"), "{}", empty.text());
    let other = send_file(&dora, yard, &page, &address, b"%PDF-1.7").await;
    assert_eq!(other.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(other.text().contains("only JPEG and PNG pictures"), "{}", other.text());
    let page = dora.open(yard, &address).await;
    let done = send_file(&dora, yard, &page, &address, &png(2000, 500)).await;
    assert_eq!(done.header("location"), Some(format!("{address}?done=photo").as_str()));
    let twice = send_file(&dora, yard, &page, &address, &png(2000, 500)).await;
    assert_eq!(twice.status, StatusCode::SEE_OTHER, "sent twice, put there once");

    let mut emil = Browser::signed_in(yard, "emil").await;
    let page = emil.open(yard, &address).await;
    page.must_say("dora");
    assert_eq!(page.html.matches("<img ").count(), 1);
    assert!(page.html.contains("width=\"1600\" height=\"400\""), "{}", page.html);
    let source = page.html.split("src=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let picture = emil.ask(yard, &Method::GET, &source, "").await;
    assert_eq!(picture.header("content-type"), Some("image/jpeg"));
    let read = image::load_from_memory_with_format(&picture.body, ImageFormat::Jpeg).unwrap();
    assert_eq!((read.width(), read.height()), (1600, 400));
    let mut nobody = Browser::default();
    let hidden = nobody.ask(yard, &Method::GET, &source, "").await;
    assert_eq!(hidden.status, StatusCode::SEE_OTHER, "a sign-in is asked for first");
    let page = dora.open(yard, &address).await;
    let page = dora.send(yard, &page, &page.link_of_form("/remove"), &[]).await;
    page.must_say("The photo is removed").must_say("None yet");
}

#[actix_web::test]
async fn a_photo_of_a_hold_is_between_its_two_farms_and_a_form_without_our_token_puts_none() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let offer = pair.offer(10).await;
    let hold: HoldView = pair.ask(&offer, 4).await.ok();
    let path = format!("/holds/{}/photos", hold.hold);
    let call = |file: Vec<u8>| {
        Call::new(Method::POST, &format!("/api/v1{path}?photo={}", new_id()))
            .raw("application/octet-stream", file)
            .once()
            .by(pair.taker.token())
    };
    let early = yard.send(call(png(40, 30))).await;
    assert_eq!(early.code(), ProblemCode::Refused);
    let agree = format!("/holds/{}/agree", hold.hold);
    let _: HoldView = pair.act(&pair.giver, &agree, &json!({})).await.ok();
    let made: PhotoView = yard.send(call(png(40, 30))).await.ok();
    assert_eq!((made.width, made.height), (40, 30));
    let large = yard.send(call(vec![0; 17 * 1024 * 1024])).await;
    assert_eq!(large.code(), ProblemCode::TooLarge);
    let listed: Vec<PhotoView> = yard.send(Call::get(&path).by(pair.giver.token())).await.ok();
    assert_eq!(listed.len(), 1);
    let seen = yard.send(Call::get(&path).by(pair.clara.token())).await;
    assert_eq!(seen.code(), ProblemCode::NotFound);

    let dora = Browser::signed_in(yard, "dora").await;
    let mut page = dora.clone().open(yard, &path).await;
    page.html = page.html.replace("name=\"form_token\" value=\"", "name=\"form_token\" value=\"x");
    let forged = send_file(&dora, yard, &page, &path, &png(40, 30)).await;
    assert!(forged.text().contains("from a page of this server"), "{}", forged.text());
    let listed: Vec<PhotoView> = yard.send(Call::get(&path).by(pair.giver.token())).await.ok();
    assert_eq!(listed.len(), 1);
}
