//! Who may come in: the first person by the printed code, others by the command line, nobody else.

use serde_json::{Value, json};
use support::{Mosquitto, until};

use crate::interface::{bearer, key_with};
use crate::rig::{PATIENCE, Yard};

fn status(answer: &str) -> &str {
    answer.split(' ').nth(1).unwrap_or_default()
}

fn header<'a>(answer: &'a str, name: &str) -> &'a str {
    let prefix = format!("{name}: ");
    answer.lines().find_map(|line| line.strip_prefix(prefix.as_str())).unwrap_or_default().trim()
}

#[test]
fn the_first_person_comes_in_with_the_printed_code_and_only_once() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    let nobody = yard.ask("GET / HTTP/1.1\r\n", "");
    assert_eq!((status(&nobody), header(&nobody, "location")), ("303", "/welcome"));
    let log = yard.log();
    let code = log.split("code=").nth(1).and_then(|rest| rest.get(..19)).expect("the log tells the code");
    let form = |code: &str| {
        format!("code={code}&name=Maria&password=rake+trowel+spirit+level&again=rake+trowel+spirit+level")
    };
    let wrong = yard.ask("POST /welcome HTTP/1.1\r\n", &form("AAAA-BBBB-CCCC-DDDD"));
    assert_eq!(status(&wrong), "403");
    let from_elsewhere = yard.ask("POST /welcome HTTP/1.1\r\nOrigin: https://evil.example\r\n", &form(code));
    assert_eq!(status(&from_elsewhere), "403");
    let right = yard.ask("POST /welcome HTTP/1.1\r\n", &form(&code.to_lowercase()));
    assert_eq!((status(&right), header(&right, "location")), ("303", "/"));
    let given = header(&right, "set-cookie");
    assert!(given.contains("HttpOnly") && given.contains("SameSite=Lax"), "{given}");
    let cookie = given.split(';').next().expect("a cookie");
    let page = yard.ask(&format!("GET / HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    assert!(status(&page) == "200" && page.contains("Maria"), "{page}");
    let again = yard.ask("POST /welcome HTTP/1.1\r\n", &form(code));
    assert_eq!(status(&again), "409", "{again}");
}

#[test]
fn a_lost_password_is_replaced_from_the_command_line_while_the_daemon_runs() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    let cookie = yard.sign_in("Maria");
    let page = || yard.ask(&format!("GET / HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    assert_eq!(status(&page()), "200");
    yard.new_password("maria", "spirit level rake trowel");
    assert_eq!(status(&page()), "303", "the old browsers are signed out");
    let answer = yard.ask("POST /sign-in HTTP/1.1\r\n", "name=Maria&password=spirit+level+rake+trowel");
    assert_eq!(status(&answer), "303", "{answer}");
    let old = yard.ask("POST /sign-in HTTP/1.1\r\n", "name=Maria&password=rake+trowel+spirit+level");
    assert_eq!(status(&old), "403");
}

#[test]
fn guessing_is_stopped_and_forms_of_other_sites_are_refused() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    let cookie = yard.sign_in("Maria");
    let change = |extra: &str, form: &str| {
        let head = format!("POST /people HTTP/1.1\r\nCookie: {cookie}\r\n{extra}");
        status(&yard.ask(&head, form)).to_owned()
    };
    let eve = "name=Eve&role=owner&reach=all&password=rake+trowel+spirit+level";
    assert_eq!(change("", eve), "403", "no token of our forms");
    let page = yard.ask(&format!("GET /people HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    let csrf = page.split("name=\"csrf\" content=\"").nth(1).and_then(|rest| rest.split('"').next());
    let ours = format!("{eve}&csrf={}", csrf.expect("the page carries the token"));
    assert_eq!(change("Origin: https://evil.example\r\n", &ours), "403");
    assert_eq!(change("Sec-Fetch-Site: cross-site\r\n", &ours), "403");
    assert_eq!(change("", &ours), "303");
    for _ in 0..5 {
        let guess = yard.ask("POST /sign-in HTTP/1.1\r\n", "name=Maria&password=a+guess+at+it");
        assert_eq!(status(&guess), "403");
    }
    let guess = yard.ask("POST /sign-in HTTP/1.1\r\n", "name=maria&password=rake+trowel+spirit+level");
    assert_eq!(status(&guess), "429", "even the right one has to wait");
}

#[test]
fn somebody_with_one_property_sees_nothing_of_another() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    yard.write(
        "systems/elsewhere.toml",
        "id = \"elsewhere\"\nname = \"Hidden grove\"\nproperty = \"elm-row\"\ntimezone = \"UTC\"\n\
         soil = \"loam\"\n[[basin]]\nid = \"secret-fig\"\narea_m2 = 1.2\nmoisture = {}\n",
    );
    let _daemon = yard.start();
    yard.let_in("Maria", "owner", &[]);
    yard.let_in("Sam", "technician", &["home"]);
    until(PATIENCE, "the reading is there", || {
        broker.publish("greywater/elsewhere/secret-fig/moisture", "0.25");
        !yard.readings("elsewhere", "secret-fig/moisture").is_empty()
    });
    let cookie = yard.sign_in("Sam");
    let get = |path: &str| yard.ask(&format!("GET {path} HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
    for path in ["/", "/fragments/first", "/fragments/first?parts=s-elsewhere"] {
        let page = get(path);
        assert!(status(&page) == "200" && !page.contains("grove") && !page.contains("secret-fig"), "{page}");
    }
    for path in ["/systems/elsewhere", "/fragments/systems/elsewhere"] {
        assert_eq!(status(&get(path)), "404", "{path}");
    }
    assert_eq!(status(&get("/heard")), "403");
    assert_eq!(status(&get("/people")), "403");
    assert_eq!(status(&get("/systems/yard-0")), "200");
    for path in ["/api/v1/systems", "/api/v1/latest", "/api/v1/findings"] {
        let answer = get(path);
        assert!(status(&answer) == "200" && !answer.contains("elsewhere"), "{answer}");
    }
}

/// The lines that a session brings along, and the status of the answer that began it.
fn session(yard: &Yard, path: &str, sent: &Value) -> (String, String) {
    let answer =
        yard.send(&format!("POST /api/v1{path} HTTP/1.1\r\n"), "application/json", &sent.to_string());
    let cookie = header(&answer, "set-cookie").split(';').next().unwrap_or_default();
    let body = answer.split_once("\r\n\r\n").map(|(_, body)| body).unwrap_or_default();
    let begun: Value = serde_json::from_str(body).expect("JSON");
    let csrf = begun["csrf"].as_str().unwrap_or_default();
    (status(&answer).to_owned(), format!("Cookie: {cookie}\r\nX-CSRF-Token: {csrf}\r\n"))
}

#[test]
fn a_program_signs_in_changes_the_password_and_signs_out_as_a_browser_does() {
    const FIRST: &str = "rake trowel spirit level";
    const SECOND: &str = "spirit level rake trowel";
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    let log = yard.log();
    let code = log.split("code=").nth(1).and_then(|rest| rest.get(..19)).expect("the log tells the code");
    let founder = |code: &str| json!({ "code": code, "name": "Maria", "password": FIRST });
    assert_eq!(session(&yard, "/first-owner", &founder("AAAA-BBBB-CCCC-DDDD")).0, "403");
    assert_eq!(session(&yard, "/first-owner", &founder(code)).0, "201");
    assert_eq!(session(&yard, "/first-owner", &founder(code)).0, "409", "there is an owner now");

    let credentials = |password: &str| json!({ "name": "maria", "password": password });
    let (begun, maria) = session(&yard, "/session", &credentials(FIRST));
    assert_eq!(begun, "201");
    let (known, me) = yard.call("GET", "/api/v1/me", &maria, &Value::Null);
    assert_eq!((known, me["name"].as_str(), me["role"].as_str()), (200, Some("Maria"), Some("owner")));
    let only_cookie = maria.lines().next().map(|cookie| format!("{cookie}\r\n")).expect("a cookie");
    let new = |present: &str| json!({ "present": present, "password": SECOND });
    let change = |head: &str, sent: &Value| yard.call("PUT", "/api/v1/me/password", head, sent).0;
    assert_eq!(change(&only_cookie, &new(FIRST)), 403, "a cookie alone could be another site's doing");
    assert_eq!(change(&format!("{maria}Origin: https://evil.example\r\n"), &new(FIRST)), 403);
    assert_eq!(change(&maria, &new(SECOND)), 403, "that is not the present one");
    let (_, other) = session(&yard, "/session", &credentials(FIRST));
    assert_eq!(change(&maria, &new(FIRST)), 204);
    let me = |head: &str| yard.call("GET", "/api/v1/me", head, &Value::Null).0;
    assert_eq!((me(&maria), me(&other)), (200, 401), "other sessions are over");
    assert_eq!(session(&yard, "/session", &credentials(FIRST)).0, "403");

    let leave = |head: &str| yard.call("DELETE", "/api/v1/session", head, &Value::Null).0;
    assert_eq!((leave(&only_cookie), leave(""), leave(&maria)), (403, 401, 204));
    assert_eq!(me(&maria), 401);
    let key = bearer(&key_with(&yard, &session(&yard, "/session", &credentials(SECOND)).1, &["see"]));
    assert_eq!(leave(&key), 409, "a key is not a session");

    let guess = |word: &str| session(&yard, "/session", &credentials(word)).0;
    let guesses: Vec<String> = (0..5).map(|_| guess("a guess at the word")).collect();
    assert_eq!(guesses, ["403"; 5]);
    assert_eq!(guess(SECOND), "429", "even the right one has to wait");
    let form = format!("name=Maria&password={}", SECOND.replace(' ', "+"));
    assert_eq!(status(&yard.ask("POST /sign-in HTTP/1.1\r\n", &form)), "429", "on the page as well");
}
