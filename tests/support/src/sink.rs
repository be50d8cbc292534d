//! An HTTP server that takes what is posted to it, and misbehaves when told so.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// Takes posts on a loopback port of its own.
#[derive(Debug, Clone)]
pub struct Sink {
    port: u16,
    state: Arc<Mutex<State>>,
}

#[derive(Debug, Default)]
struct State {
    posts: Vec<Post>,
    script: VecDeque<Reaction>,
}

/// One request.
#[derive(Debug, Clone)]
pub struct Post {
    /// When it was read to its end.
    pub at: Instant,
    /// Names in lower case.
    pub headers: Vec<(String, String)>,
    /// As text.
    pub body: String,
    /// The status that it was answered with, 0 for none.
    pub answered: u16,
}

/// What to do with a request.
#[derive(Debug, Clone, Copy)]
pub enum Reaction {
    /// Answer with this status.
    Answer(u16),
    /// Answer 429 and ask for this many seconds of peace.
    Later(u32),
    /// Close the connection without an answer.
    Close,
    /// Answer with something that is no HTTP.
    Nonsense,
    /// Say nothing for so long, then answer 204.
    Hang(Duration),
}

impl Sink {
    /// Starts; without a script every request is answered with 204.
    ///
    /// # Panics
    /// When no port is free.
    pub fn start() -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a free port");
        let port = listener.local_addr().expect("an address").port();
        let sink = Self { port, state: Arc::default() };
        let serving = sink.clone();
        thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let sink = serving.clone();
                thread::spawn(move || sink.serve(&stream));
            }
        });
        sink
    }

    /// Its address.
    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}/hook", self.port)
    }

    /// What to do with the next requests, in turn.
    pub fn will(&self, reactions: impl IntoIterator<Item = Reaction>) {
        self.state().script.extend(reactions);
    }

    /// Everything posted so far.
    pub fn posts(&self) -> Vec<Post> {
        self.state().posts.clone()
    }

    /// Number of requests answered with 2xx.
    pub fn taken(&self) -> usize {
        self.state().posts.iter().filter(|post| (200..300).contains(&post.answered)).count()
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn serve(&self, stream: &TcpStream) {
        let mut from = BufReader::new(stream);
        let mut to = stream;
        while let Some((headers, body)) = read(&mut from) {
            let at = Instant::now();
            let reaction = self.state().script.pop_front().unwrap_or(Reaction::Answer(204));
            let (answered, answer) = match reaction {
                Reaction::Answer(status) => (status, plain(status)),
                Reaction::Later(seconds) => (
                    429,
                    format!("HTTP/1.1 429 Too Many\r\nRetry-After: {seconds}\r\nContent-Length: 0\r\n\r\n"),
                ),
                Reaction::Close => (0, String::new()),
                Reaction::Nonsense => (0, "what?\r\n\r\n".to_owned()),
                Reaction::Hang(time) => {
                    thread::sleep(time);
                    (204, plain(204))
                }
            };
            self.state().posts.push(Post { at, headers, body, answered });
            if to.write_all(answer.as_bytes()).is_err() || answered == 0 {
                // Both directions, since the reader shares the socket.
                let _ = stream.shutdown(std::net::Shutdown::Both);
                return;
            }
        }
    }
}

impl Post {
    /// The value of a header.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }
}

fn plain(status: u16) -> String {
    format!("HTTP/1.1 {status} As asked\r\nContent-Length: 0\r\n\r\n")
}

/// One request's headers and body.
fn read(from: &mut BufReader<&TcpStream>) -> Option<(Vec<(String, String)>, String)> {
    let mut line = String::new();
    from.read_line(&mut line).ok().filter(|read| *read > 0)?;
    let mut headers = Vec::new();
    loop {
        let mut line = String::new();
        from.read_line(&mut line).ok().filter(|read| *read > 0)?;
        let Some((name, value)) = line.trim_end().split_once(':') else { break };
        headers.push((name.to_lowercase(), value.trim().to_owned()));
    }
    let length = headers.iter().find(|(name, _)| name == "content-length");
    let length = length.and_then(|(_, value)| value.parse().ok()).unwrap_or(0);
    let mut body = vec![0; length];
    from.read_exact(&mut body).ok()?;
    Some((headers, String::from_utf8_lossy(&body).into_owned()))
}
