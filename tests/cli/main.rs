//! The command line from outside: what the program prints, and how it ends.

mod check;
mod decode;
mod deploy;
mod ending;
mod help;
mod password;
mod program;
mod readme;
mod settings;
