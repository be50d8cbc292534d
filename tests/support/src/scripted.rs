//! A broker that answers by rote, for answers a real one is hard to bring to.

use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::thread;

use crate::packet::Packet;

/// Accepts connections on loopback and answers each packet by its first byte.
#[derive(Debug)]
pub struct Scripted {
    port: u16,
}

impl Scripted {
    /// Answers a packet that begins with the byte of a line by the bytes beside it; other packets not
    /// at all. It listens until the test process ends.
    ///
    /// # Panics
    /// When there is no port to listen on.
    pub fn new(script: &[(u8, &[u8])]) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a loopback port");
        let port = listener.local_addr().expect("it is bound").port();
        let script: Vec<_> = script.iter().map(|(first, answer)| (*first, answer.to_vec())).collect();
        thread::spawn(move || {
            for client in listener.incoming().flatten() {
                let script = script.clone();
                thread::spawn(move || answer(client, &script));
            }
        });
        Self { port }
    }

    /// Its port on 127.0.0.1.
    pub fn port(&self) -> u16 {
        self.port
    }
}

fn answer(mut client: TcpStream, script: &[(u8, Vec<u8>)]) {
    while let Ok(packet) = Packet::read(&mut client) {
        let answer = script.iter().find(|(first, _)| *first == packet.first).map(|(_, answer)| answer);
        if answer.is_some_and(|bytes| client.write_all(bytes).is_err()) {
            return;
        }
    }
}
