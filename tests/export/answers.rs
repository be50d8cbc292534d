//! A server that answers by a script, for answers that a real one is hard to bring to.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use flate2::read::GzDecoder;

/// One write as it came in.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    /// Path and query.
    pub(crate) target: String,
    /// The `Authorization` header.
    pub(crate) authorization: String,
    /// The lines, unpacked.
    pub(crate) lines: String,
}

/// What the server does.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Answer {
    /// Takes the lines.
    Taken,
    /// Answers with a status and a body.
    Says(u16, &'static str),
    /// Says nothing, for ever.
    Hangs,
    /// Closes the connection in the middle of its answer.
    BreaksOff,
}

/// It runs until the test process ends.
pub(crate) struct Server {
    pub(crate) url: String,
    requests: Arc<Mutex<Vec<(Request, bool)>>>,
}

impl Server {
    /// Answers each request as `script` says; it is given the number of the request, from 0.
    pub(crate) fn new(script: impl Fn(usize, &Request) -> Answer + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a loopback port");
        let url = format!("http://{}", listener.local_addr().expect("it is bound"));
        let requests: Arc<Mutex<Vec<(Request, bool)>>> = Arc::default();
        let (script, kept) = (Arc::new(script), Arc::clone(&requests));
        thread::spawn(move || {
            for client in listener.incoming().flatten() {
                let (script, kept) = (Arc::clone(&script), Arc::clone(&kept));
                thread::spawn(move || while serve(&client, &*script, &kept).is_some() {});
            }
        });
        Self { url, requests }
    }

    /// All requests so far.
    pub(crate) fn requests(&self) -> Vec<Request> {
        let requests = self.requests.lock().unwrap_or_else(PoisonError::into_inner);
        requests.iter().map(|(request, _)| request.clone()).collect()
    }

    /// Every line taken so far, sorted, each once.
    pub(crate) fn taken(&self) -> Vec<String> {
        let requests = self.requests.lock().unwrap_or_else(PoisonError::into_inner);
        let taken = requests.iter().filter(|(_, taken)| *taken);
        let mut lines: Vec<String> = taken.flat_map(|(it, _)| it.lines.lines().map(str::to_owned)).collect();
        lines.sort();
        lines.dedup();
        lines
    }
}

fn serve(
    mut client: &TcpStream,
    script: &(impl Fn(usize, &Request) -> Answer + ?Sized),
    kept: &Mutex<Vec<(Request, bool)>>,
) -> Option<()> {
    let request = read(client)?;
    let answer = {
        let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
        let answer = script(kept.len(), &request);
        kept.push((request, matches!(answer, Answer::Taken)));
        answer
    };
    match answer {
        Answer::Taken => client.write_all(b"HTTP/1.1 204 No Content\r\n\r\n").ok(),
        Answer::Says(status, body) => {
            let length = body.len();
            let says = format!("HTTP/1.1 {status} Scripted\r\nContent-Length: {length}\r\n\r\n{body}");
            client.write_all(says.as_bytes()).ok()
        }
        Answer::Hangs => {
            thread::sleep(Duration::from_hours(1));
            None
        }
        Answer::BreaksOff => {
            let _ = client.write_all(b"HTTP/1.1 5");
            None
        }
    }
}

fn read(client: &TcpStream) -> Option<Request> {
    let mut from = BufReader::new(client);
    let mut head = Vec::new();
    loop {
        let mut line = String::new();
        if from.read_line(&mut line).ok()? == 0 {
            return None;
        }
        if line == "\r\n" {
            break;
        }
        head.push(line.trim_end().to_owned());
    }
    let header = |name: &str| {
        head.iter().filter_map(|line| line.split_once(": ")).find(|(key, _)| key.eq_ignore_ascii_case(name))
    };
    assert_eq!(header("content-encoding").map(|(_, value)| value), Some("gzip"));
    let length = header("content-length")?.1.parse().ok()?;
    let mut body = vec![0; length];
    from.read_exact(&mut body).ok()?;
    let mut lines = String::new();
    GzDecoder::new(&body[..]).read_to_string(&mut lines).expect("gzip with UTF-8 in it");
    Some(Request {
        target: head.first()?.split(' ').nth(1)?.to_owned(),
        authorization: header("authorization").map(|(_, value)| value.to_owned()).unwrap_or_default(),
        lines,
    })
}
