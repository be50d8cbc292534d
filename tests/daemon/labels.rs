//! The labels for the lids, their codes judged by an independent reader.

use support::Mosquitto;

use crate::calendar::understood;
use crate::rig::Yard;

#[test]
fn every_code_on_the_labels_reads_as_the_address_of_its_part() {
    let broker = Mosquitto::start();
    let yard = Yard::new(1).listening_to(broker.port());
    let _daemon = yard.start();
    let page = yard.page("/systems/yard-0/labels");
    let Some(said) = understood("labels", &page) else { return };
    let codes = said.as_array().expect("a list");
    // Level Q restores about a quarter of the code (ISO/IEC 18004).
    assert!(codes.iter().all(|code| code["correction"] == "Q"), "{said}");
    let cookie = yard.sign_in("Maria");
    let mut parts = Vec::new();
    for code in codes {
        let text = code["text"].as_str().expect("text");
        assert!(page.contains(text), "the label also says {text} in letters");
        let (_, part) =
            text.split_once("/at/yard-0/").unwrap_or_else(|| panic!("{text} is no address of ours"));
        let answer = yard.ask(&format!("GET /at/yard-0/{part} HTTP/1.1\r\nCookie: {cookie}\r\n"), "");
        assert!(answer.starts_with("HTTP/1.1 307"), "{text} leads nowhere: {answer}");
        parts.push(part.to_owned());
    }
    for part in ["splitter:s1", "basin:quince", "basin:fig"] {
        assert!(parts.iter().any(|it| it == part), "{part} has no label: {parts:?}");
    }
}
